"""Each printed part's file: a sound mesh, of the right size, where its STEP shape is.

Where a mesh and its STEP shape disagree, what was done to the mesh is guessed: each guess is
undone and tried, and named only when the corners of the STEP then lie on corners of the mesh.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

import numpy as np

from jiggen.files import MANIFEST, STEP_FILE, within
from jiggen.verify import limits
from jiggen.verify.compensation import misdone, undone
from jiggen.verify.geometry import Array, applied, inverse, unrigid
from jiggen.verify.manifest import Compensation, Manifest, Part
from jiggen.verify.mesh import Mesh, MeshError, read_stl
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.step_assembly import StepAssembly, StepPiece, read_assembly

CURED = 0.05  # of the corners that disagreed may still do so after the right guess is undone


@dataclass(frozen=True)
class Misfit:
    """The corners of a STEP shape that lie too far from a mesh's: how many, and the worst, mm."""

    count: int
    worst: float


@dataclass(frozen=True)
class Cause:
    """A guess that fits: its code's last word, its message, and a scale's factor."""

    kind: Literal["compensation", "swapped", "mirrored", "scale"]
    message: str
    factor: float | None = None


def fail_unreadable(about: Subject, error: Exception) -> None:
    """The fault of a file that is missing or cannot be understood."""
    if isinstance(error, FileNotFoundError):
        about.fail("verify.file-missing", "the file is missing")
    else:
        reason = error.strerror if isinstance(error, OSError) else None
        about.fail("verify.unreadable", f"cannot be read: {reason or error}")


def load_step(folder: Path, ledger: Ledger, *, flats: bool = False) -> StepAssembly | None:
    """The folder's STEP assembly, None (and a fault) when it cannot be read.

    `flats` asks for flat faces too.
    """
    about = ledger.about(STEP_FILE, STEP_FILE)
    try:
        assembly = read_assembly(within(folder, STEP_FILE, limits.FILE), flats=flats)
    except (OSError, ValueError) as error:
        fail_unreadable(about, error)
        return None
    message = f"its unit of length is {assembly.unit:g} mm instead of 1 mm"
    right = abs(assembly.unit - 1) < 1e-9
    about.expect(right, "verify.unit", message, assembly.unit, 1.0, 0.0, "mm")
    return assembly


def load_mesh(folder: Path, part: Part, manifest: Manifest, ledger: Ledger) -> Mesh | None:
    """A part's mesh, outside out, None (and a fault) when it cannot be read.

    What was done to it for a printer is undone: it is as designed.
    """
    try:
        mesh = undone(read_stl(within(folder, part.file, limits.FILE)), manifest.done)
    except (OSError, MeshError) as error:
        fail_unreadable(ledger.about(part.file, Path(part.file).name), error)
        return None
    _judge_mesh(mesh, part, ledger.about(part.file, part.name))
    # A mesh that is inside out has been reported; its holes are measured all the same.
    return mesh if mesh.volume > 0 else Mesh(mesh.vertices, mesh.triangles[:, ::-1])


def _judge_mesh(mesh: Mesh, part: Part, about: Subject) -> None:
    count = mesh.open_edges
    message = f"{count} edges are open: not watertight"
    about.within(count, 0, 0, "verify.open-mesh", message, "")
    about.expect(mesh.is_oriented, "verify.winding", "inconsistent facet orientation")
    about.expect(mesh.volume > 0, "verify.winding", "the mesh is inside out", mesh.volume)
    volume, wanted = abs(mesh.volume), part.volume
    ratio = volume / wanted
    message = (
        f"volume {volume:.1f} mm³ instead of {wanted:.1f} mm³, "
        f"{ratio:.5g} times (as if scaled by {abs(ratio) ** (1 / 3):.4g})"
    )
    about.within(volume, wanted, limits.VOLUME * wanted, "verify.volume", message, "mm³")


def judge_matrices(parts: Iterable[Part], ledger: Ledger) -> None:
    """Every matrix of the manifest must be a rigid motion, the part's that of its first piece."""
    for part in parts:
        others = [placed for placed in part.placed if placed.to_ski != part.to_ski]
        for name, matrix in (
            (part.name, part.matrix),
            *((placed.name, placed.matrix) for placed in others),
        ):
            why = unrigid(matrix)
            ledger.about(MANIFEST, name).expect(
                not why,
                "verify.not-rigid",
                f"to_ski is not a rigid motion: {why}",
                float(np.linalg.det(matrix[:3, :3])),
                1.0,
            )
        apart = float(np.abs(part.matrix - part.placed[0].matrix).max())
        message = f"to_ski differs from that of its piece {part.placed[0].name!r}"
        about = ledger.about(MANIFEST, part.name)
        about.within(apart, 0.0, limits.SHAPE, "verify.pose", message, "")


def pieces_of(
    assembly: StepAssembly, parts: Iterable[Part], ledger: Ledger
) -> dict[str, StepPiece]:
    """STEP pieces by the name of the manifest's placed piece; faults for each that is odd."""
    found: dict[str, StepPiece] = {}
    for part in parts:
        for placed in part.placed:
            about = ledger.about(STEP_FILE, placed.name)
            named = [piece for piece in assembly.pieces if placed.name in piece.names]
            if len(named) == 1:
                found[placed.name] = named[0]
                _judge_piece(part, named[0], about)
            else:
                count = f"{len(named)} pieces of that name" if named else "no piece of that name"
                about.fail("verify.piece-missing", count)
    known = {id(piece) for piece in found.values()}
    for piece in assembly.pieces:
        about = ledger.about(STEP_FILE, piece.names[-1])
        message = "a piece that is not in the manifest"
        about.expect(id(piece) in known, "verify.piece-extra", message)
    return found


def _judge_piece(part: Part, piece: StepPiece, about: Subject) -> None:
    message = f"is the part {piece.products[-1]!r} instead of {part.name!r}"
    about.expect(part.name in piece.products, "verify.swapped", message)
    solids = piece.shape.solids
    about.within(solids, 1, 0, "verify.bodies", f"{solids} solids", "")
    why = unrigid(piece.pose)
    about.expect(not why, "verify.not-rigid", f"its place is not a rigid motion: {why}")


def judge_shapes(
    manifest: Manifest,
    meshes: Mapping[str, Mesh],
    pieces: Mapping[str, StepPiece],
    ledger: Ledger,
) -> None:
    """Every corner of each STEP piece must be a corner of its part's mesh, both in the ski frame.

    So a mesh of another part, another size, the other hand or another place is caught, and
    named where it can be.
    """
    corners: dict[str, Array] = {}
    for part in manifest.parts:
        piece = pieces.get(part.placed[0].name)
        if piece:
            corners[part.name] = _in_file(part.matrix, piece)
    for part in manifest.parts:
        mesh = meshes.get(part.name)
        if mesh is None:
            continue
        found = cause(mesh, part.name, corners, part.volume, manifest.done)
        if found:
            wanted = None if found.factor is None else 1.0
            about = ledger.about(part.file, part.name)
            about.expect(False, f"verify.{found.kind}", found.message, found.factor, wanted)
        for placed in part.placed:
            piece = pieces.get(placed.name)
            if piece:
                laid = _in_file(placed.matrix, piece)
                about = ledger.about(part.file, placed.name)
                _judge_shape(len(laid), misfit(mesh.vertices, laid), about)


def _in_file(to_ski: Array, piece: StepPiece) -> Array:
    """A STEP piece's corners (n, 3) in its part's file, as `to_ski` places that, undone."""
    return applied(inverse(to_ski) @ piece.pose, piece.shape.corners)


def _judge_shape(total: int, off: Misfit, about: Subject) -> None:
    message = (
        f"{off.count} of {total} corners of the STEP are not in the STL, "
        f"the worst is {off.worst:.3f} mm off"
    )
    fits = off.count == 0 and total > 0
    about.expect(fits, "verify.shape", message, off.worst, 0.0, limits.SHAPE, "mm")


def misfit(vertices: Array, corners: Array) -> Misfit:
    """Compare a STEP shape's `corners` (n, 3) with a mesh's `vertices` (m, 3) in one frame."""
    from scipy.spatial import cKDTree

    if not np.isfinite(corners).all():
        return Misfit(len(corners), np.inf)
    distance, _ = cKDTree(vertices).query(corners)
    over = distance[distance > limits.SHAPE]
    return Misfit(len(over), float(over.max(initial=0.0)))


def cause(
    mesh: Mesh, part: str, corners: Mapping[str, Array], volume: float, done: Compensation
) -> Cause | None:
    """What makes the mesh of `part` differ from its STEP shape; None when nothing tried fits.

    `corners` holds the STEP corners of every part, each carried to its own printed file's
    frame; `volume` is the part's solid's in mm³; `done` has been undone of the mesh.
    """
    # Shares, not counts: another part may have few corners, and all of them be wrong.
    own = corners.get(part, np.empty((0, 3)))
    before = misfit(mesh.vertices, own).count / max(len(own), 1)
    if not before:
        return None
    for guess, vertices, other in _guesses(mesh, part, corners, volume, done):
        for laid in _laid_over(vertices, other):
            if misfit(vertices, laid).count <= CURED * before * len(laid):
                return guess
    return None


def _guesses(
    mesh: Mesh, part: str, corners: Mapping[str, Array], volume: float, done: Compensation
) -> Iterator[tuple[Cause, Array, Array]]:
    """Guesses, each with vertices and corners that would agree, but for a shift, if it is right."""
    own = corners[part]
    for words, back in misdone(done):
        vertices = mesh.vertices @ back.T
        worst = float(np.linalg.norm(vertices - mesh.vertices, axis=1).max())
        message = f"the part {words}: up to {worst:.3f} mm off"
        yield Cause("compensation", message), vertices, own
    for other, points in corners.items():
        if other != part:
            yield Cause("swapped", f"this file holds the part {other!r}"), mesh.vertices, points
    factor = abs(mesh.volume / volume) ** (1 / 3)
    if abs(factor - 1) > 1e-4 and factor > 1e-4:
        # Shrunk back rather than blown up: the limit is one of the part's true size.
        scaled = Cause("scale", f"the part is scaled by {factor:.4g}", factor)
        yield scaled, mesh.vertices / factor, own
    for axis, name in enumerate("xyz"):
        flip = np.ones(3)
        flip[axis] = -1.0
        mirrored = Cause("mirrored", f"the part is mirrored (in {name} of its file)")
        yield mirrored, mesh.vertices, own * flip


def _laid_over(vertices: Array, corners: Array) -> Iterator[Array]:
    """Corners as they are, then moved so that their box shares a corner with the mesh's."""
    yield corners
    yield corners + (vertices.min(axis=0) - corners.min(axis=0))
    yield corners + (vertices.max(axis=0) - corners.max(axis=0))

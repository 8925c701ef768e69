"""Each printed part's file: a sound mesh, of the right size, where its STEP shape is.

Where a mesh and its STEP shape disagree, what was done to the mesh is guessed: each guess is
undone and tried, and named only when the corners of the STEP then lie on corners of the mesh.
"""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

import numpy as np

from jiggen.files import MANIFEST, STEP_FILE, within
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array, applied, unrigid
from jiggen.verify.reading.entries import NOTHING_DONE, Compensation, Part
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.reading.mesh import Mesh, MeshError, read_stl
from jiggen.verify.reading.step_assembly import StepPiece, read_assembly
from jiggen.verify.results import Ledger, Subject

CURED = 0.05  # of the corners that disagreed may still do so after the right guess is undone
UNCHANGED = 1e-6  # no larger a change by a compensation is one
Cause = tuple[str, str, float | None]
"""A guess that fits: its code's last word, its message, and a scale's factor."""


def fail_unreadable(about: Subject, error: Exception) -> None:
    """The fault of a file that is missing or cannot be understood."""
    if isinstance(error, FileNotFoundError):
        about.fail("verify.file-missing", "the file is missing")
    else:
        reason = error.strerror if isinstance(error, OSError) else None
        about.fail("verify.unreadable", f"cannot be read: {reason or error}")


def load_pieces(folder: Path, manifest: Manifest, ledger: Ledger) -> dict[str, StepPiece]:
    """STEP pieces by the name of the manifest's placed piece; faults for each that is odd."""
    about = ledger.about(STEP_FILE, STEP_FILE)
    try:
        assembly = read_assembly(within(folder, STEP_FILE, limits.FILE))
    except (OSError, ValueError) as error:
        fail_unreadable(about, error)
        return {}
    message = f"its unit of length is {assembly.unit:g} mm instead of 1 mm"
    right = abs(assembly.unit - 1) < 1e-9
    about.expect(right, "verify.unit", message, assembly.unit, 1.0, 0.0, "mm")
    found: dict[str, StepPiece] = {}
    for part in manifest.parts:
        for placed in part.placed:
            about = ledger.about(STEP_FILE, placed.name)
            named = [piece for piece in assembly.pieces if placed.name in piece.names]
            if len(named) == 1:
                piece = found[placed.name] = named[0]
                message = f"is the part {piece.products[-1]!r} instead of {part.name!r}"
                about.expect(part.name in piece.products, "verify.swapped", message)
                solids = piece.shape.solids
                about.within(solids, 1, 0, "verify.bodies", f"{solids} solids", "")
                why = unrigid(piece.pose)
                message = f"its place is not a rigid motion: {why}"
                about.expect(not why, "verify.not-rigid", message)
            else:
                count = f"{len(named)} pieces of that name" if named else "no piece of that name"
                about.fail("verify.piece-missing", count)
    known = {id(piece) for piece in found.values()}
    for piece in assembly.pieces:
        about = ledger.about(STEP_FILE, piece.names[-1])
        message = "a piece that is not in the manifest"
        about.expect(id(piece) in known, "verify.piece-extra", message)
    return found


def load_mesh(folder: Path, part: Part, manifest: Manifest, ledger: Ledger) -> Mesh | None:
    """A part's mesh as designed, outside out; None (and a fault) when it cannot be read."""
    try:
        read = read_stl(within(folder, part.file, limits.FILE))
        mesh = undone(read, manifest.done)
    except (OSError, MeshError) as error:
        fail_unreadable(ledger.about(part.file, Path(part.file).name), error)
        return None
    about = ledger.about(part.file, part.name)
    count = mesh.open_edges
    message = f"{count} edges are open: not watertight"
    about.within(count, 0, 0, "verify.open-mesh", message, "")
    about.expect(mesh.is_oriented, "verify.winding", "inconsistent facet orientation")
    about.expect(mesh.volume > 0, "verify.winding", "the mesh is inside out", mesh.volume)
    odd = read.odd_normals
    message = f"{odd} stored normals are not those of their facets' corners"
    about.within(odd, 0, 0, "verify.normals", message, "")
    volume, wanted = abs(mesh.volume), part.volume
    ratio = volume / wanted
    message = (
        f"volume {volume:.1f} mm³ instead of {wanted:.1f} mm³, "
        f"{ratio:.5g} times (as if scaled by {abs(ratio) ** (1 / 3):.4g})"
    )
    about.within(volume, wanted, limits.VOLUME * wanted, "verify.volume", message, "mm³")
    # A mesh that is inside out has been reported; its holes are measured all the same.
    return mesh if mesh.volume > 0 else Mesh(mesh.vertices, mesh.triangles[:, ::-1])


def judge_poses(parts: Iterable[Part], ledger: Ledger) -> None:
    """Every matrix of the manifest must be a rigid motion, the part's that of its first piece."""
    for part in parts:
        others = [placed for placed in part.placed if placed.to_ski != part.to_ski]
        for one in (part, *others):
            why = unrigid(one.matrix)
            message = f"to_ski is not a rigid motion: {why}"
            size = float(np.linalg.det(one.matrix[:3, :3]))
            ledger.about(MANIFEST, one.name).expect(not why, "verify.not-rigid", message, size, 1.0)
        apart = float(np.abs(part.matrix - part.placed[0].matrix).max())
        message = f"to_ski differs from that of its piece {part.placed[0].name!r}"
        about = ledger.about(MANIFEST, part.name)
        about.within(apart, 0.0, limits.SHAPE, "verify.pose", message, "")


def judge_shapes(evidence: Evidence, ledger: Ledger) -> None:
    """Every corner of each STEP piece must be one of its part's mesh, or the cause is named."""
    manifest, meshes, pieces = evidence.manifest, evidence.meshes, evidence.pieces
    corners: dict[str, Array] = {}
    for part in manifest.parts:
        piece = pieces.get(part.placed[0].name)
        if piece:
            corners[part.name] = _in_file(part.matrix, piece)
    for part in (part for part in manifest.parts if part.name in meshes):
        mesh = meshes[part.name]
        found = _cause(mesh, part, corners, manifest.done)
        if found:
            word, message, factor = found
            wanted = None if factor is None else 1.0
            about = ledger.about(part.file, part.name)
            about.expect(False, f"verify.{word}", message, factor, wanted)
        for placed in (placed for placed in part.placed if placed.name in pieces):
            laid = _in_file(placed.matrix, pieces[placed.name])
            count, worst = _misfit(mesh.vertices, laid)
            message = (
                f"{count} of {len(laid)} corners of the STEP are not in the STL, "
                f"the worst is {worst:.3f} mm off"
            )
            fits = count == 0 and len(laid) > 0
            about = ledger.about(part.file, placed.name)
            about.expect(fits, "verify.shape", message, worst, 0.0, limits.SHAPE, "mm")


def _in_file(to_ski: Array, piece: StepPiece) -> Array:
    """A STEP piece's corners (n, 3) in its part's file, as `to_ski` places that, undone."""
    return applied(np.linalg.pinv(to_ski) @ piece.pose, piece.shape.corners)


def _misfit(vertices: Array, corners: Array) -> tuple[int, float]:
    """How many of a STEP shape's `corners` (n, 3) lie too far from `vertices`, and the worst."""
    from scipy.spatial import cKDTree

    if not np.isfinite(corners).all():
        return len(corners), np.inf
    distance, _ = cKDTree(vertices).query(corners)
    over = distance[distance > limits.SHAPE]
    return len(over), float(over.max(initial=0.0))


def _cause(
    mesh: Mesh, part: Part, corners: Mapping[str, Array], done: Compensation
) -> Cause | None:
    """What makes the mesh of `part` differ from its STEP shape; None when nothing tried fits.

    `corners` are every part's, in its own file's frame; `done` has been undone of the mesh.
    """
    # Shares, not counts: another part may have few corners, and all of them be wrong.
    own = corners.get(part.name, np.empty((0, 3)))
    before = _misfit(mesh.vertices, own)[0] / max(len(own), 1)
    if not before:
        return None
    for guess, vertices, other in _guesses(mesh, part, corners, done):
        for end in (None, np.min, np.max):  # as it is, and with its box in a corner of the mesh's
            by = end(vertices, axis=0) - end(other, axis=0) if end else 0.0
            if _misfit(vertices, other + by)[0] <= CURED * before * len(other):
                return guess
    return None


def _guesses(
    mesh: Mesh, part: Part, corners: Mapping[str, Array], done: Compensation
) -> Iterator[tuple[Cause, Array, Array]]:
    """Guesses, each with vertices and corners that would agree, but for a shift, if it is right."""
    own = corners[part.name]
    right = done.linear
    transposed, exchanged = right.copy(), right.copy()
    transposed[:2, :2] = right[:2, :2].T
    exchanged[:2, :2] = right[1::-1, 1::-1]
    misdone = {
        "is not compensated at all": np.eye(3),
        "is compensated twice": right @ right,
        "is compensated the wrong way round": np.linalg.pinv(right),
        "is skewed the wrong way, its compensation transposed": transposed,
        "is compensated for x along y, and for y along x": exchanged,
    }
    changed = np.abs(right - np.eye(3)).max() >= UNCHANGED
    for words, made in (misdone if changed else {}).items():
        vertices = mesh.vertices @ (np.linalg.pinv(made) @ right).T
        worst = float(np.linalg.norm(vertices - mesh.vertices, axis=1).max())
        message = f"the part {words}: up to {worst:.3f} mm off"
        yield ("compensation", message, None), vertices, own
    for other, points in corners.items():
        if other != part.name:
            swapped = ("swapped", f"this file holds the part {other!r}", None)
            yield swapped, mesh.vertices, points
    factor = abs(mesh.volume / part.volume) ** (1 / 3)
    if abs(factor - 1) > 1e-4 and factor > 1e-4:
        # Shrunk back rather than blown up: the limit is one of the part's true size.
        scaled = ("scale", f"the part is scaled by {factor:.4g}", factor)
        yield scaled, mesh.vertices / factor, own
    for axis, name in zip(np.eye(3), "xyz", strict=True):
        mirrored = ("mirrored", f"the part is mirrored (in {name} of its file)", None)
        yield mirrored, mesh.vertices, own * (1 - 2 * axis)


def undone(mesh: Mesh, done: Compensation) -> Mesh:
    """A mesh as read, with stretch, skew and height undone: as it was designed."""
    if done is NOTHING_DONE:  # the same object: what was computed of it is computed once
        return mesh
    return Mesh(mesh.vertices @ np.linalg.pinv(done.linear).T, mesh.triangles)


def done_again(mesh: Mesh, done: Compensation) -> Mesh:
    """The mesh of :func:`undone` as the printer gets it."""
    return mesh if done is NOTHING_DONE else Mesh(mesh.vertices @ done.linear.T, mesh.triangles)

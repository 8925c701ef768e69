"""Each printed part's file: a sound mesh, of the right size, where its STEP shape is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np

from jiggen.files import within
from jiggen.verify import limits
from jiggen.verify.compensation import undone
from jiggen.verify.diagnose import Corners, Misfit, cause, misfit
from jiggen.verify.frames import Array, applied, inverse, unrigid
from jiggen.verify.manifest import Manifest, Part, Placed
from jiggen.verify.mesh import Mesh, MeshError, read_stl
from jiggen.verify.results import Fault, Ledger
from jiggen.verify.step_assembly import StepAssembly, StepPiece, read_assembly

STEP_FILE = "jig.step"


def unreadable(path: Path, name: str, error: Exception) -> Fault:
    """The fault of a file that is missing or cannot be understood."""
    if isinstance(error, FileNotFoundError):
        return Fault("verify.file-missing", name, path.name, "the file is missing")
    said = error.strerror if isinstance(error, OSError) else None
    return Fault("verify.unreadable", name, path.name, f"cannot be read: {said or error}")


def load_step(folder: Path, ledger: Ledger, *, flats: bool = False) -> StepAssembly | None:
    """The folder's STEP assembly, None (and a fault) when it cannot be read.

    `flats` asks for flat faces too.
    """
    path = folder / STEP_FILE
    try:
        assembly = read_assembly(within(folder, STEP_FILE, limits.FILE), flats=flats)
    except (OSError, ValueError) as error:
        ledger.fail(unreadable(path, STEP_FILE, error))
        return None
    ledger.expect(
        abs(assembly.unit - 1) < 1e-9,
        Fault(
            "verify.unit",
            STEP_FILE,
            STEP_FILE,
            f"its unit of length is {assembly.unit:g} mm instead of 1 mm",
            assembly.unit,
            1.0,
            0.0,
            "mm",
        ),
    )
    return assembly


def load_mesh(folder: Path, part: Part, manifest: Manifest, ledger: Ledger) -> Mesh | None:
    """A part's mesh, outside out, None (and a fault) when it cannot be read.

    What was done to it for a printer is undone: it is as designed.
    """
    path = folder / part.file
    try:
        mesh = undone(read_stl(within(folder, part.file, limits.FILE)), manifest.done)
    except (OSError, MeshError) as error:
        ledger.fail(unreadable(path, part.file, error))
        return None
    _judge_mesh(mesh, part, ledger)
    _judge_volume(mesh, part, ledger)
    # A mesh that is inside out has been said to be; its holes are measured all the same.
    return mesh if mesh.volume > 0 else Mesh(mesh.vertices, mesh.triangles[:, ::-1])


def _judge_mesh(mesh: Mesh, part: Part, ledger: Ledger) -> None:
    def fault(
        code: str,
        message: str,
        found: float | None = None,
        wanted: float | None = None,
        limit: float | None = None,
        unit: str = "",
    ) -> Fault:
        return Fault(code, part.file, part.name, message, found, wanted, limit, unit)

    holes = mesh.open_edges
    ledger.expect(
        holes == 0,
        fault("verify.open-mesh", f"{holes} edges are open: not watertight", holes, 0, 0),
    )
    ledger.expect(mesh.wound, fault("verify.winding", "triangles are wound against one another"))
    ledger.expect(mesh.volume > 0, fault("verify.winding", "the mesh is inside out", mesh.volume))


def _judge_volume(mesh: Mesh, part: Part, ledger: Ledger) -> None:
    volume, wanted, limit = abs(mesh.volume), part.volume, limits.VOLUME * part.volume
    ratio = volume / wanted
    ledger.expect(
        abs(volume - wanted) <= limit,
        Fault(
            "verify.volume",
            part.file,
            part.name,
            f"volume {volume:.1f} mm³ instead of {wanted:.1f} mm³, "
            f"{ratio:.5g} times (as if scaled by {abs(ratio) ** (1 / 3):.4g})",
            volume,
            wanted,
            limit,
            "mm³",
        ),
    )


def judge_matrices(parts: Iterable[Part], ledger: Ledger) -> None:
    """Every matrix of the manifest must be a rigid motion, the part's that of its first piece."""
    for part in parts:
        others = [placed for placed in part.placed if placed.to_ski != part.to_ski]
        for name, matrix in (
            (part.name, part.matrix),
            *((placed.name, placed.matrix) for placed in others),
        ):
            why = unrigid(matrix)
            ledger.expect(
                not why,
                Fault(
                    "verify.not-rigid",
                    "manifest.json",
                    name,
                    f"to_ski is no rigid motion: {why}",
                    float(np.linalg.det(matrix[:3, :3])),
                    1.0,
                ),
            )
        apart = float(np.abs(part.matrix - part.placed[0].matrix).max())
        ledger.expect(
            apart <= limits.SHAPE,
            Fault(
                "verify.pose",
                "manifest.json",
                part.name,
                f"to_ski differs from that of its piece {part.placed[0].name!r}",
                apart,
                0.0,
                limits.SHAPE,
            ),
        )


def pieces_of(
    assembly: StepAssembly, parts: Iterable[Part], ledger: Ledger
) -> dict[str, StepPiece]:
    """STEP pieces by the name of the manifest's placed piece; faults for each that is odd."""
    found: dict[str, StepPiece] = {}
    for part in parts:
        for placed in part.placed:
            named = [piece for piece in assembly.pieces if placed.name in piece.names]
            if len(named) == 1:
                found[placed.name] = named[0]
                _judge_piece(part, placed, named[0], ledger)
            else:
                count = f"{len(named)} pieces of that name" if named else "no piece of that name"
                ledger.fail(Fault("verify.piece-missing", STEP_FILE, placed.name, count))
    taken = {id(piece) for piece in found.values()}
    for piece in assembly.pieces:
        ledger.expect(
            id(piece) in taken,
            Fault(
                "verify.piece-extra",
                STEP_FILE,
                piece.names[-1],
                "a piece that is not in the manifest",
            ),
        )
    return found


def _judge_piece(part: Part, placed: Placed, piece: StepPiece, ledger: Ledger) -> None:
    ledger.expect(
        part.name in piece.products,
        Fault(
            "verify.swapped",
            STEP_FILE,
            placed.name,
            f"is the part {piece.products[-1]!r} instead of {part.name!r}",
        ),
    )
    solids = piece.shape.solids
    ledger.expect(
        solids == 1,
        Fault("verify.bodies", STEP_FILE, placed.name, f"{solids} solids", solids, 1, 0),
    )
    why = unrigid(piece.pose)
    ledger.expect(
        not why, Fault("verify.not-rigid", STEP_FILE, placed.name, f"no rigid place: {why}")
    )


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
    corners: dict[str, Corners] = {}
    for part in manifest.parts:
        piece = pieces.get(part.placed[0].name)
        if piece:
            corners[part.name] = _in_file(part.matrix, piece)
    for part in manifest.parts:
        mesh = meshes.get(part.name)
        if mesh is None:
            continue
        if part.name in corners and misfit(mesh.vertices, corners[part.name]).count:
            _name_cause(mesh, part, corners, manifest, ledger)
        for placed in part.placed:
            piece = pieces.get(placed.name)
            if piece:
                laid = _in_file(placed.matrix, piece)
                _judge_shape(part, placed, laid, misfit(mesh.vertices, laid), ledger)


def _in_file(to_ski: Array, piece: StepPiece) -> Corners:
    """A STEP piece's corners in its part's file, as `to_ski` places that, undone."""
    return Corners(applied(inverse(to_ski) @ piece.pose, piece.shape.corners))


def _name_cause(
    mesh: Mesh, part: Part, corners: Mapping[str, Corners], manifest: Manifest, ledger: Ledger
) -> None:
    found = cause(mesh, part.name, corners, part.volume, manifest.done)
    if found:
        wanted = None if found.factor is None else 1.0
        code = f"verify.{found.kind}"
        ledger.fail(Fault(code, part.file, part.name, found.message, found.factor, wanted))


def _judge_shape(part: Part, placed: Placed, corners: Corners, off: Misfit, ledger: Ledger) -> None:
    total = len(corners.points)
    ledger.expect(
        off.count == 0 and total > 0,
        Fault(
            "verify.shape",
            part.file,
            placed.name,
            f"{off.count} of {total} corners of the STEP are not in the STL, "
            f"the worst is {off.worst:.3f} mm off",
            off.worst,
            0.0,
            limits.SHAPE,
            "mm",
        ),
    )

"""Write what the CAD kernel drew into a folder: STL, 3MF and STEP of any product, and pictures."""

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from jiggen.advice import advise
from jiggen.design.jig import Design
from jiggen.design.settings import Bed
from jiggen.export.manifest import apart
from jiggen.export.meshes import PartMesh, lay_out, stl_bytes, threemf_bytes
from jiggen.export.preview import Shown, draw_preview, inked, ski_piece
from jiggen.files import STEP_FILE
from jiggen.progress import announce
from jiggen.record.entries import PrintBed
from jiggen.solid import Part, mesh_of, step_bytes

Meshes = dict[str, PartMesh]  # by the part's name
MORE_SKI = 60.0  # mm of ski beyond either end of the jig


def write_parts(
    parts: Iterable[Part],
    folder: Path,
    for_printer: Callable[[PartMesh], PartMesh] = lambda mesh: mesh,
    written: Callable[[Path], None] = lambda _: None,
) -> tuple[tuple[Part, ...], Meshes, Meshes]:
    """Write an STL of every part; return the parts, their meshes, and those for the printer.

    `for_printer` makes of a part's mesh what STL and 3MF shall hold.  `written` is called with
    each file that is there whole, before the next part is drawn.
    """
    drawn: list[Part] = []
    meshes, printed = Meshes(), Meshes()
    (folder / "parts").mkdir()
    for part in parts:
        announce(f"files: {part.name}.stl")
        mesh = PartMesh(part.name, *mesh_of(part), count=len(part.piece.placed))
        path = folder / "parts" / f"{part.name}.stl"
        drawn.append(part)
        meshes[part.name], printed[part.name] = mesh, for_printer(mesh)
        path.write_bytes(stl_bytes(printed[part.name]))
        written(path)
    return tuple(drawn), meshes, printed


def lay_beds(
    parts: Iterable[Part], printed: Meshes, bed: Bed, material: str
) -> tuple[PrintBed, ...]:
    """The beds that all pieces are printed on, with advice for a `material` if there is one."""
    names = {part.name: tuple(placed.name for placed in part.piece.placed) for part in parts}
    advice = {part.name: advise(part.piece.kind, material) if material else None for part in parts}
    return lay_out(printed, names, bed, advice)


def write_step(parts: Sequence[Part], folder: Path) -> Path:
    """Write the STEP file of all parts in use; where it is."""
    announce("files: STEP")
    (folder / STEP_FILE).write_bytes(step_bytes(parts))
    return folder / STEP_FILE


def write_beds(printed: Meshes, beds: Iterable[PrintBed], folder: Path) -> None:
    """Write a 3MF file of each bed."""
    announce("files: 3MF")
    for one in beds:
        (folder / one.file).write_bytes(threemf_bytes(printed, one))


def draw_parts(
    parts: Sequence[Part],
    meshes: Meshes,
    path: Path,
    design: Design | None = None,
    zoom: float = 1.5,
) -> None:
    """Write the picture of the parts in use; `meshes` by part, as they are printed.

    A jig, of which the `design` is given, lies on a ski, its halves apart.
    """
    shown, moved = [], {}
    if design:
        moved = apart(design)
        plates = [(body.plate, moved[body.name]) for body in design.bodies]
        start = min(plate.start + dx for plate, dx in plates) - MORE_SKI
        stop = max(plate.stop + dx for plate, dx in plates) + MORE_SKI
        shown.append(ski_piece((start, stop), design.settings.ski.middle))
    for part in parts:
        mesh, piece = meshes[part.name], part.piece
        for placed in piece.placed:
            pose = piece.to_ski(placed)
            pose[0, 3] += moved.get(placed.name, 0.0)
            vertices = mesh.vertices @ pose[:3, :3].T + pose[:3, 3]
            whole = Shown(piece.kind, vertices, mesh.triangles)
            shown += [whole] if piece.floor_z is None else inked(whole, piece.floor_z)
    draw_preview(shown, path, zoom)

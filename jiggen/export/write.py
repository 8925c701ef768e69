"""Write every file of a jig into a folder."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jiggen.design.engraving import DEPTH
from jiggen.design.jig import Design
from jiggen.design.settings import Bed
from jiggen.export.compensation import compensated
from jiggen.export.hole_plan import layout_dxf, layout_svg
from jiggen.export.ladders import apart
from jiggen.export.meshes import PartMesh, stl_bytes
from jiggen.export.preview import Shown, draw_preview, inked, ski_piece
from jiggen.export.step import STEP_END, normalised
from jiggen.export.threemf import write_beds
from jiggen.measure.printer import Compensation
from jiggen.record.model import PrintBed
from jiggen.solid import Model, mesh_of, write_step

Meshes = dict[str, PartMesh]  # by the part's name


def write_files(
    design: Design,
    model: Model,
    folder: Path,
    progress: Callable[[str], None] = lambda _: None,
    compensation: Compensation | None = None,
) -> tuple[PrintBed, ...]:
    """Write STEP, STL, 3MF, drawings and picture; return what is printed at once.

    STL and 3MF, which the printer gets, are compensated for it; all else is as designed.
    """

    def for_printer(meshes: Meshes) -> Meshes:
        return compensated(meshes, compensation) if compensation else meshes

    settings = design.settings
    meshes, beds = write_parts(
        model, settings.bed, settings.bed_margin, folder, progress, for_printer
    )
    progress("drawings")
    ski = (settings.ski.least, settings.ski.most)
    (folder / "layout.svg").write_text(layout_svg(design.layout, ski), encoding="utf-8")
    (folder / "layout.dxf").write_bytes(layout_dxf(design.layout, ski))
    progress("picture")
    draw_preview(_shown(design, model, meshes), folder / "preview.png")
    return beds


def write_parts(
    model: Model,
    bed: Bed,
    margin: float,
    folder: Path,
    progress: Callable[[str], None],
    for_printer: Callable[[Meshes], Meshes] = lambda meshes: meshes,
) -> tuple[Meshes, tuple[PrintBed, ...]]:
    """Write STL, 3MF and STEP of every part; return the nominal meshes and the beds.

    `for_printer` makes of the meshes, by the part's name, what STL and 3MF shall hold; `margin`
    is kept free around each bed, mm.
    """
    progress("meshes")
    meshes = {
        part.name: PartMesh(part.name, *mesh_of(part), count=len(part.piece.placed))
        for part in model.parts
    }
    printed = for_printer(meshes)
    (folder / "parts").mkdir()
    for name, mesh in printed.items():
        (folder / "parts" / f"{name}.stl").write_bytes(stl_bytes(mesh))
    names = {part.name: tuple(placed.name for placed in part.piece.placed) for part in model.parts}
    beds = write_beds(printed, names, bed, margin, folder)
    progress("STEP")
    write_named_step(model, folder / "jig.step")
    return meshes, beds


def write_named_step(model: Model, path: Path) -> None:
    """Write the STEP file, the same bytes from run to run, its products named as the parts.

    Raises OSError when it cannot be written whole.
    """
    write_step(model, path)
    products = {part.piece.placed[0].name: part.name for part in model.parts}
    text = path.read_text(encoding="utf-8")
    if not text.rstrip().endswith(STEP_END):  # the kernel does not notice a disk that is full
        raise OSError(errno.ENOSPC, "cut short, so the disk must be full", str(path))
    path.write_text(normalised(text, products), encoding="utf-8")


def _shown(design: Design, model: Model, meshes: dict[str, PartMesh]) -> list[Shown]:
    moved = apart(design)
    ends = [(b.plate.start + moved[b.name], b.plate.stop + moved[b.name]) for b in design.bodies]
    start, stop = min(low for low, _ in ends), max(high for _, high in ends)
    shown = [ski_piece((start - 60.0, stop + 60.0), design.settings.ski.middle)]
    floors = {"rail": design.mechanism.rail.top_z - DEPTH}
    for part in model.parts:
        mesh = meshes[part.name]
        for placed in part.piece.placed:
            pose = part.piece.to_ski(placed)
            pose[0, 3] += moved[placed.name]
            piece = Shown(part.piece.kind, posed(mesh.vertices, pose), mesh.triangles)
            shown += inked(piece, floors.get(part.name, design.settings.body - DEPTH))
    return shown


def posed(points: NDArray[np.float64], pose: NDArray[np.float64]) -> NDArray[np.float64]:
    """Points (n, 3) carried by a rigid 4×4 `pose`; mm."""
    return np.asarray(points @ pose[:3, :3].T + pose[:3, 3])

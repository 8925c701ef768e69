"""Write the parts of any product into a folder: STL, 3MF and STEP."""

from __future__ import annotations

import errno
from collections.abc import Callable
from pathlib import Path

from jiggen.design.settings import Bed
from jiggen.export.meshes import PartMesh, stl_bytes
from jiggen.export.step import STEP_END, normalised
from jiggen.export.threemf import write_beds
from jiggen.files import STEP_FILE
from jiggen.progress import announce
from jiggen.record.model import PrintBed
from jiggen.solid import Model, mesh_of, write_step

Meshes = dict[str, PartMesh]  # by the part's name


def write_parts(
    model: Model,
    bed: Bed,
    margin: float,
    folder: Path,
    for_printer: Callable[[Meshes], Meshes] = lambda meshes: meshes,
) -> tuple[Meshes, tuple[PrintBed, ...]]:
    """Write STL, 3MF and STEP of every part; return the nominal meshes and the beds.

    `for_printer` makes of the meshes, by the part's name, what STL and 3MF shall hold; `margin`
    is kept free around each bed, mm.
    """
    announce("files: meshes")
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
    announce("files: STEP")
    write_named_step(model, folder / STEP_FILE)
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

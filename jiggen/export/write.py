"""Write the parts of any product into a folder: STL, 3MF and STEP."""

from __future__ import annotations

import errno
import re
from collections.abc import Callable, Mapping
from itertools import count
from pathlib import Path

from jiggen.design.settings import Bed
from jiggen.export.meshes import PartMesh, stl_bytes, write_beds
from jiggen.files import STEP_FILE
from jiggen.progress import announce
from jiggen.record.model import PrintBed
from jiggen.solid import Model, mesh_of, write_step

Meshes = dict[str, PartMesh]  # by the part's name
STEP_END = "END-ISO-10303-21;"  # the last words of every exchange file
CLOCK = re.compile(r"(FILE_NAME\('[^']*',)'[^']*'")
USAGE = re.compile(r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\('\d+'(,[^;]*;)")
PRODUCT = re.compile(r"(= PRODUCT\()'([^']*)','[^']*'")


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


def normalised(text: str, products: Mapping[str, str]) -> str:
    """`text` with a fixed header time, usages numbered from 1, and products renamed.

    A shared solid's product bears the name of its first piece: `products` maps that name to
    the part's. The kernel counts usages over the whole process, and where it breaks their
    lines depends on that count: they are joined.
    """
    text = CLOCK.sub(r"\1'1970-01-01T00:00:00'", text, count=1)
    counter = count(1)

    def numbered(match: re.Match[str]) -> str:
        rest = re.sub(r"\n\s*", "", match[1])
        return f"NEXT_ASSEMBLY_USAGE_OCCURRENCE('{next(counter)}'{rest}"

    text = USAGE.sub(numbered, text)

    def named(match: re.Match[str]) -> str:
        name = products.get(match[2], match[2])
        return f"{match[1]}'{name}','{name}'"

    return PRODUCT.sub(named, text)

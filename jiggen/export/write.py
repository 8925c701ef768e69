"""Write what the CAD kernel drew into a folder: STL, 3MF and STEP of any product, and pictures."""

from __future__ import annotations

import errno
import re
from collections.abc import Callable, Iterator, Mapping
from itertools import count
from pathlib import Path

from jiggen.design.engraving import DEPTH
from jiggen.design.fit_ladder import DEPTH as LADDER_DEPTH
from jiggen.design.fit_ladder import STRIP_HEIGHT
from jiggen.design.gauge import DEPTH as GAUGE_DEPTH
from jiggen.design.gauge import THICKNESS as GAUGE_THICKNESS
from jiggen.design.jig import Design
from jiggen.design.settings import Bed
from jiggen.design.trial import DEPTH as TRIAL_DEPTH
from jiggen.design.trial import THICKNESS as TRIAL_THICKNESS
from jiggen.export.manifest import apart
from jiggen.export.meshes import PartMesh, stl_bytes, write_beds
from jiggen.export.preview import Shown, draw_preview, inked, ski_piece
from jiggen.files import STEP_FILE
from jiggen.progress import announce
from jiggen.record.entries import PrintBed
from jiggen.solid import Model, mesh_of, write_step

Meshes = dict[str, PartMesh]  # by the part's name
STEP_END = "END-ISO-10303-21;"  # the last words of every exchange file
CLOCK = re.compile(r"(FILE_NAME\('[^']*',)'[^']*'")
USAGE = re.compile(r"NEXT_ASSEMBLY_USAGE_OCCURRENCE\('\d+'(,[^;]*;)")
PRODUCT = re.compile(r"(= PRODUCT\()'([^']*)','[^']*'")
GAUGE_ZOOM = 1.15
MORE_SKI = 60.0  # mm of ski beyond either end of the jig


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


# -- pictures ------------------------------------------------------------------------------------


def draw_jig(design: Design, model: Model, meshes: Meshes, path: Path) -> None:
    """Write the picture of a jig on a ski, halves apart; `meshes` by part, as they are printed."""
    moved = apart(design)
    ends = [(b.plate.start + moved[b.name], b.plate.stop + moved[b.name]) for b in design.bodies]
    start, stop = min(low for low, _ in ends), max(high for _, high in ends)
    ski = ski_piece((start - MORE_SKI, stop + MORE_SKI), design.settings.ski.middle)
    floors = {
        **dict.fromkeys(("body", "pinion", "knob"), design.settings.body - DEPTH),
        "rail": design.mechanism.rail.top_z - DEPTH,
    }
    draw_preview([ski, *_shown(model, meshes, floors, moved)], path)


def draw_trial(model: Model, meshes: Meshes, path: Path) -> None:
    """Write the picture of a trial plate."""
    draw_preview(list(_shown(model, meshes, {"plate": TRIAL_THICKNESS - TRIAL_DEPTH})), path)


def draw_gauge(model: Model, meshes: Meshes, path: Path) -> None:
    """Write the picture of a gauge."""
    floors = {"gauge": GAUGE_THICKNESS - GAUGE_DEPTH, "slots": STRIP_HEIGHT - LADDER_DEPTH}
    draw_preview(list(_shown(model, meshes, floors)), path, GAUGE_ZOOM)


def _shown(
    model: Model,
    meshes: Meshes,
    floors: Mapping[str, float],
    moved: Mapping[str, float] | None = None,
) -> Iterator[Shown]:
    """Every piece where it goes, `moved` along the ski by its name, mm.

    `floors` are the heights of engraved floors by kind of part; other kinds have none.
    """
    for part in model.parts:
        mesh, kind = meshes[part.name], part.piece.kind
        for placed in part.piece.placed:
            pose = part.piece.to_ski(placed)
            pose[0, 3] += (moved or {}).get(placed.name, 0.0)
            vertices = mesh.vertices @ pose[:3, :3].T + pose[:3, 3]
            whole = Shown(kind, vertices, mesh.triangles)
            yield from inked(whole, floors[kind]) if kind in floors else [whole]

"""G-code as four common slicing programs write it, of meshes: outer walls and one inner line.

Walls are the mesh's outlines, cut at the middle of each layer and moved in by half a line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
import shapely

from jiggen.verify.reading.mesh import Mesh

LAYER, LINE = 0.2, 0.45
ROUGH = 0.1  # mm: nobody looks at an inner line, and coarser ones are written faster
ROUND = 24  # chords in a quarter of an arc


@dataclass(frozen=True)
class Dialect:
    """How one program says what it lays."""

    start: tuple[str, ...]
    layer: str
    thing: str
    outer: str
    inner: str
    width: str
    settings: tuple[str, ...]


CONFIG = (
    "; perimeters = 4", "; top_solid_layers = 5", "; bottom_solid_layers = 5",
    "; fill_density = 30%", "; filament_type = PETG", "; xy_size_compensation = 0",
    "; estimated printing time (normal mode) = 3h 5m", "; total filament used [g] = 88.4",
)  # fmt: skip
BLOCK = (
    "; CONFIG_BLOCK_START", "; wall_loops = 4", "; top_shell_layers = 5",
    "; bottom_shell_layers = 5", "; sparse_infill_density = 30%", "; filament_type = PETG",
    "; CONFIG_BLOCK_END",
)  # fmt: skip
CHANGED = (  # one text, cut anywhere
    r';SETTING_3 {"global_quality": "[values]\nlayer_height = 0.2\nwall_line_c',
    r';SETTING_3 ount = 4\n", "extruder_quality": ["[values]\ninfill_sparse_dens',
    r';SETTING_3 ity = 30\n"]}',
)
DIALECTS = {
    "one": Dialect(
        ("M82", "G92 E0"), ";LAYER_CHANGE", "; printing object {} id:0 copy 0",
        ";TYPE:External perimeter", ";TYPE:Perimeter", ";WIDTH:0.45", CONFIG,
    ),
    "two": Dialect(
        ("M83",), ";LAYER_CHANGE", "EXCLUDE_OBJECT_START NAME={}",
        ";TYPE:Outer wall", ";TYPE:Inner wall", ";WIDTH:0.45", BLOCK,
    ),
    "three": Dialect(
        ("M83",), "; CHANGE_LAYER", "; start printing object, unique label id: {}",
        "; FEATURE: Outer wall", "; FEATURE: Inner wall", "; LINE_WIDTH: 0.45", BLOCK,
    ),
    "four": Dialect(
        (";TIME:11100", ";Filament used: 29.6m", "M82"), ";LAYER:0", ";MESH:{}",
        ";TYPE:WALL-OUTER", ";TYPE:WALL-INNER", "", CHANGED,
    ),
}  # fmt: skip


def written(
    pieces: Sequence[tuple[str, Mesh, tuple[float, float]]],
    dialect: str = "one",
    *,
    made: np.ndarray | None = None,
    grown: float = 0.0,
    broken: int = 1,
    arcs: bool = False,
    inches: bool = False,
    layer: float = LAYER,
) -> str:
    """The text: each of `pieces` is a name, a mesh and a place; `made` maps x, y before.

    Walls are moved out by `grown`; each is laid in `broken` pieces with a gap after the last;
    round ones as `arcs`.
    """
    way, unit = DIALECTS[dialect], 25.4 if inches else 1.0
    lines = ["G20" if inches else "G21", "G90", *way.start]
    relative, e = "M83" in way.start, 0.0
    high = max(float(mesh.vertices[:, 2].max()) for _, mesh, _ in pieces)
    for number in range(round(high / layer)):
        lines += [way.layer, f"G1 Z{(number + 1) * layer / unit:.5f}"]
        for name, mesh, place in pieces:
            lines.append(way.thing.format(name))
            for role, inset in ((way.inner, 1.5 * LINE), (way.outer, LINE / 2)):
                lines += [role, *([way.width] if way.width else [])]
                shape = moved_in(mesh, (number + 0.5) * layer, inset - grown)
                shape = shape.simplify(ROUGH) if role == way.inner else shape
                for loop in loops(shape):
                    points = loop @ (np.eye(2) if made is None else made).T + place
                    for run in runs(points, broken):
                        x, y = run[0] / unit
                        lines.append(f"G1 X{x:.5f} Y{y:.5f} F7800")
                        for words, stop, length in moves(run, unit, arcs and broken == 1):
                            used = length * layer * LINE / (math.pi * 1.75**2 / 4) / unit
                            e = used if relative else e + used
                            at = stop / unit
                            lines.append(f"{words} X{at[0]:.5f} Y{at[1]:.5f} E{e:.6f}")
    return "\n".join([*lines, "M104 S0", *way.settings]) + "\n"


@lru_cache(maxsize=2000)
def moved_in(mesh: Mesh, z: float, inset: float) -> shapely.Geometry:
    return mesh.material(z).buffer(-inset, join_style="mitre", quad_segs=ROUND)


def loops(shape: shapely.Geometry) -> Iterator[np.ndarray]:
    for part in (part for part in shapely.get_parts(shape) if not part.is_empty):
        for ring in (part.exterior, *part.interiors):
            yield np.array(ring.coords)


def runs(points: np.ndarray, count: int) -> Iterator[np.ndarray]:
    """A loop in pieces, 0.3 mm short of its start."""
    last = points[-1] - points[-2]
    short = max(float(np.hypot(*last)) - 0.3, 0.0) / max(float(np.hypot(*last)), 1e-9)
    points = np.vstack([points[:-1], points[-2] + short * last])
    ends = np.linspace(0, len(points) - 1, count + 1).astype(int)
    for start, stop in pairwise(ends):
        if stop > start:
            yield points[start : stop + 1]


def moves(run: np.ndarray, unit: float, arcs: bool) -> Iterator[tuple[str, np.ndarray, float]]:
    """Lines, or of a round loop two arcs with what leads on to its end; with their lengths."""
    from jiggen.verify.toolpath import fit_circle

    x, y, diameter = fit_circle(run)
    off = np.abs(np.hypot(*(run - (x, y)).T) - diameter / 2).max()
    if arcs and len(run) > 20 and off < 0.02:
        turn = (run[0] - (x, y))[0] * (run[1] - (x, y))[1] - (run[0] - (x, y))[1] * (
            run[1] - (x, y)
        )[0]
        word, half = "G3" if turn > 0 else "G2", len(run) // 2
        for start, stop in ((run[0], run[half]), (run[half], run[-1])):
            i, j = (np.array([x, y]) - start) / unit
            yield f"{word} I{i:.5f} J{j:.5f}", stop, diameter * math.pi / 2
        return
    for start, stop in pairwise(run):
        yield "G1", stop, float(np.hypot(*(stop - start)))

"""The pieces that a toolpath lays, each by its outer walls; mm, in the printer's frame.

Programs name their pieces in many ways, or not at all: what hangs together seen from above is one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array
from jiggen.verify.reading.gcode import Toolpath

SEAM = 0.6  # mm to either side of a wall that still is of its piece: a seam leaves a gap
LOOKED_AT = 10  # layers whose walls tell the pieces apart
STRAY = 3.0  # mm from a piece that a wall of another layer may be
FILAMENTS = (1.75, 2.85)  # mm, diameters that are sold
LEAST_LINE = 0.25  # mm: no usual nozzle lays a narrower line
MOST_PIECES = 200


@dataclass(frozen=True, eq=False)
class Piece:
    """One piece: the runs of its walls (n, 2, 2), of which layer each is, and their layers.

    `tops` are the nozzle's heights and `middles` those of the layers' own middles; `half` is
    half a line's width at each run and `stated` whether the file says it.
    """

    runs: Array
    layer: NDArray[np.int64]
    half: Array
    certain: NDArray[np.bool_]
    tops: Array
    stated: bool

    @cached_property
    def middles(self) -> Array:
        """Heights at which the slicing program cuts the part."""
        return np.asarray((self.tops + np.concatenate([[0.0], self.tops[:-1]])) / 2)

    @property
    def thickness(self) -> float:
        """The layers' usual height."""
        return float(np.median(np.diff(self.tops))) if len(self.tops) > 1 else float(self.tops[0])

    @property
    def box(self) -> tuple[Array, Array]:
        """Least and greatest x, y of the walls' middles."""
        ends = self.runs.reshape(-1, 2)
        return ends.min(axis=0), ends.max(axis=0)


def pieces_of(toolpath: Toolpath) -> list[Piece]:
    """The pieces of a toolpath, from the front left on."""
    import shapely

    stops = np.append(toolpath.starts[1:], len(toolpath.points))
    counts = stops - toolpath.starts
    path_of = np.repeat(np.arange(len(counts)), counts)
    joined = path_of[:-1] == path_of[1:]
    runs = np.stack([toolpath.points[:-1], toolpath.points[1:]], axis=1)[joined]
    path = path_of[:-1][joined]
    tops, layer = np.unique(np.round(toolpath.height, 3), return_inverse=True)
    looked = np.unique(np.linspace(0, len(tops) - 1, LOOKED_AT).astype(int))
    chosen = np.isin(layer, looked)
    lines = [
        shapely.linestrings(toolpath.points[start:stop])
        for start, stop in zip(toolpath.starts[chosen], stops[chosen], strict=True)
        if stop - start > 1
    ]
    bands = shapely.union_all(shapely.buffer(lines, SEAM, quad_segs=1))
    filled = shapely.polygons([part.exterior for part in _polygons(bands)])
    shapes = _polygons(shapely.union_all(filled))[:MOST_PIECES]
    shapes.sort(key=lambda shape: (round(shape.bounds[1], 1), shape.bounds[0]))
    first = toolpath.points[toolpath.starts]
    owner = np.full(len(first), -1)
    for number, shape in enumerate(shapes):
        left, front, right, back = shape.bounds
        near = ((first >= (left, front)) & (first <= (right, back))).all(axis=1) & (owner < 0)
        shapely.prepare(shape)
        owner[np.flatnonzero(near)[shapely.contains_xy(shape, first[near])]] = number
    lost = np.flatnonzero(owner < 0)
    if len(lost) and shapes:
        points = shapely.points(first[lost])
        away = np.array([shapely.distance(shape, points) for shape in shapes])
        owner[lost] = np.where(away.min(axis=0) <= STRAY, away.argmin(axis=0), -1)
    half, stated = _half_widths(toolpath, runs, path, tops, layer)
    found = []
    for number in range(len(shapes)):
        own = owner[path] == number
        if not own.any():
            continue
        mine, which = np.unique(layer[path[own]], return_inverse=True)
        certain = toolpath.certain[path[own]]
        found.append(Piece(runs[own], which, half[own], certain, tops[mine], stated))
    return found


def _polygons(shape: Any) -> list[Any]:
    import shapely

    return [part for part in shapely.get_parts(shape).tolist() if part.geom_type == "Polygon"]


def _half_widths(
    toolpath: Toolpath,
    runs: Array,
    path: NDArray[np.int64],
    tops: Array,
    layer: NDArray[np.int64],
) -> tuple[Array, bool]:
    """Half a line's width at each run, and whether the file states it.

    Where it does not, a line's section is taken for a rectangle, as such programs do (from
    memory), and its width is the middle one of all.
    """
    stated = np.isfinite(toolpath.width) & (toolpath.width > 0)
    if stated.any():
        usual = float(np.median(toolpath.width[stated]))
        return np.where(stated, toolpath.width, usual)[path] / 2, True
    length = np.bincount(path, np.hypot(*(runs[:, 1] - runs[:, 0]).T), len(toolpath.starts))
    thick = np.diff(tops, prepend=0.0)[layer]
    with np.errstate(divide="ignore", invalid="ignore"):
        section = toolpath.plastic / (length * thick)
    usual = float(np.nanmedian(np.where(np.isfinite(section), section, np.nan)))
    widths = [usual * np.pi * diameter**2 / 4 for diameter in FILAMENTS]
    width = next((width for width in widths if width >= LEAST_LINE), widths[-1])
    return np.full(len(runs), width / 2), False

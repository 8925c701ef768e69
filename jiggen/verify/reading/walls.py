"""The pieces that a toolpath lays, each by its outer walls; mm, in the printer's frame.

Programs name their pieces in many ways, or not at all: what hangs together seen from above is one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

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
CELL = 0.2  # mm, at least: pieces are told apart to this
MOST_CELLS = 3000  # to each side: a bed of 600 mm
MOST_STEPS = 20_000_000  # cells that lines go through: 4 km of walls in the layers looked at
STEPS_AT_ONCE = 500_000


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
    stops = np.append(toolpath.starts[1:], len(toolpath.points))
    counts = stops - toolpath.starts
    path_of = np.repeat(np.arange(len(counts)), counts)
    joined = path_of[:-1] == path_of[1:]
    runs = np.stack([toolpath.points[:-1], toolpath.points[1:]], axis=1)[joined]
    path = path_of[:-1][joined]
    tops, layer = np.unique(np.round(toolpath.height, 3), return_inverse=True)
    looked = np.unique(np.linspace(0, len(tops) - 1, LOOKED_AT).astype(int))
    owner = _owners(toolpath.points[toolpath.starts], runs, np.isin(layer, looked)[path])
    half, stated = _half_widths(toolpath, runs, path, tops, layer)
    found = []
    for number in np.unique(owner[owner > 0]):
        own = owner[path] == number
        mine, which = np.unique(layer[path[own]], return_inverse=True)
        certain = toolpath.certain[path[own]]
        found.append(Piece(runs[own], which, half[own], certain, tops[mine], stated))
    found.sort(key=lambda piece: (round(piece.box[0][1], 1), piece.box[0][0]))
    return found


def _owners(first: Array, runs: Array, looked: NDArray[np.bool_]) -> NDArray[np.int64]:
    """The piece of each of the paths that begin at `first`, from 1 on, or 0.

    Pieces are what hangs together of the `looked` at `runs`, each `SEAM` wide to either side, with
    all that they enclose.  They are drawn into cells: whatever crosses what, it ends in time.
    """
    from scipy.ndimage import label

    least, most = runs.min(axis=(0, 1)), runs.max(axis=(0, 1))
    cell = max(CELL, float((most - least).max()) / MOST_CELLS)
    wide, far = math.ceil(SEAM / cell), math.ceil(STRAY / cell)
    origin = least - (wide + far + 1) * cell
    room = tuple(((most - origin) / cell).astype(int) + wide + far + 2)
    drawn = _drawn((runs[looked] - origin) / cell, room)
    bands = np.zeros(room, bool)
    for dx, dy in _disc(SEAM / cell):
        bands[wide:-wide, wide:-wide] |= drawn[
            wide + dx : room[0] - wide + dx, wide + dy : room[1] - wide + dy
        ]
    around, _ = label(~bands)
    shapes, _ = label(around != around[0, 0], np.ones((3, 3)))  # with what they enclose
    shapes[shapes > MOST_PIECES] = 0
    x, y = ((first - origin) / cell).astype(int).T
    owner = np.asarray(shapes[x, y], np.int64)
    for dx, dy in _disc(STRAY / cell):  # the nearest first
        lost = np.flatnonzero(owner == 0)
        if not len(lost):
            break
        owner[lost] = shapes[x[lost] + dx, y[lost] + dy]
    return owner


def _disc(radius: float) -> list[tuple[int, int]]:
    """Cells within `radius`, in cells, of one, the nearest first."""
    reach = range(-math.floor(radius), math.floor(radius) + 1)
    cells = [(x, y) for x in reach for y in reach if math.hypot(x, y) <= radius]
    return sorted(cells, key=lambda place: math.hypot(*place))


def _drawn(runs: Array, room: tuple[int, ...]) -> NDArray[np.bool_]:
    """The cells of `room` on the way of `runs`, whose places are in cells."""
    cells = np.zeros(room, bool)
    length = np.hypot(*(runs[:, 1] - runs[:, 0]).T)
    step = max(1.0, float(length.sum()) / MOST_STEPS)
    steps = np.ceil(length / step).astype(int) + 1
    until = np.cumsum(steps)
    cuts = np.searchsorted(until, np.arange(0, until[-1], STEPS_AT_ONCE))
    for start, stop in pairwise([*cuts, len(runs)]):
        own, count = runs[start:stop], steps[start:stop]
        step_of = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
        share = (step_of / np.repeat(np.maximum(count - 1, 1), count))[:, None]
        begin, way = (np.repeat(part, count, axis=0) for part in (own[:, 0], own[:, 1] - own[:, 0]))
        x, y = (begin + share * way).astype(int).T
        cells[x, y] = True
    return cells


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

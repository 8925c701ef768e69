"""Which part of a folder a piece of a toolpath is, and how its walls lie on the part's outlines."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array
from jiggen.verify.reading.entries import Part
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.walls import Piece
from jiggen.verify.registration import CLOSE, Fit, Outline, Walls, fit, guesses

RUN = 1.0  # mm between two points of a wall that are looked at
LOOKED_AT = 12  # layers between those at the ends
FIRST_ROUNDS = 5  # of a guess, with
FIRST_POINTS = 1500  # points
LEAST_SHARE = 0.8  # of a piece's walls on a part's outline, or it is none of that part
NO_BETTER = 0.01  # of the walls: a guess that comes first is kept against such a one
LEVEL = 2e-3  # mm above and below a cut: one along a level face has the outline of either side
ALL_BUT = 0.98  # of the walls
ALIKE = 1.2  # ratio of the ratios of two boxes' sides, of what may be one part
ASTRAY = 0.3  # mm from its place: no outline is there; at 0.2 mm sharp corners are so far off too


@dataclass(eq=False)
class Known:
    """A part, its mesh as written, and its outlines at heights that were asked for."""

    part: Part
    mesh: Mesh
    _outlines: dict[bytes, Outline] = field(default_factory=dict)

    def outline(self, heights: Array) -> Outline:
        """The outlines at some heights, mm."""
        key = np.round(heights, 4).tobytes()
        if key not in self._outlines:
            self._outlines[key] = Outline(self.mesh, heights)
        return self._outlines[key]

    @cached_property
    def size(self) -> Array:
        """Longer and shorter side seen from above, and height; mm."""
        return _size(self.mesh.vertices[:, :2], float(self.mesh.vertices[:, 2].max()))


@dataclass(frozen=True, eq=False)
class Match:
    """A piece that is a part: how it lies, all its walls' corners, their layers and half widths.

    `astray` is the length of walls in one layer that lie where the part has no outline, and where
    most of it is, in the part's file; mm.
    """

    part: Part
    mesh: Mesh
    piece: Piece
    fit: Fit
    astray: tuple[float, float, float, float]
    vertices: Array
    layers: NDArray[np.int64]
    halves: Array

    def rigid(self, points: Array) -> Array:
        """Points of the toolpath in the part's frame, moved, turned and mirrored back alone."""
        turn, _ = self.fit.parts
        middle = self.vertices.mean(axis=0)
        return np.asarray((points - middle) @ turn + self.fit.applied(middle[None])[0])


def match(piece: Piece, parts: Sequence[Known]) -> Match | None:
    """The part on whose outlines a piece's walls lie best; None when they lie well on none."""
    count = len(piece.tops)
    ends = [*range(1, 4), *range(count - 6, count)]
    layers = np.unique([*ends, *np.linspace(1, count - 1, LOOKED_AT).astype(int).tolist()])
    layers = layers[(layers > 0) & (layers < count)]
    if not len(layers):
        return None
    walls = walls_of(piece, layers)
    if len(walls.points) < 20:
        return None
    few = walls.of(np.arange(len(walls.points)) % (len(walls.points) // FIRST_POINTS + 1) == 0)
    half = float(np.median(piece.half))
    size = _size(walls.points, float(piece.tops[-1]), half)
    best: tuple[float, Known, Fit, Outline] | None = None
    for known in parts:
        ratio = size / known.size
        if ratio.max() > ALIKE * ratio.min():
            continue
        tall = known.size[2] / size[2]
        whole = abs(known.size[2] - size[2]) <= piece.thickness / 2 + 0.01 * known.size[2]
        outline = known.outline(piece.middles[layers] * (1.0 if whole else tall))
        for linear, shift in guesses(walls.points, outline):
            # What lies well may still be a mirrored one that lies better; no turn is.
            if best and best[0] > ALL_BUT and np.linalg.det(linear) > 0:
                continue
            found = fit(few, outline, linear, shift, FIRST_ROUNDS)
            if best is None or found.share > best[0] + NO_BETTER:
                best = found.share, known, found, outline
    if best is None or best[0] < LEAST_SHARE:
        return None
    _, known, first, outline = best
    found = fit(walls, outline, first.linear, first.shift)
    astray = _astray(walls, known, found, piece.middles[layers])
    vertices = piece.runs[:, 1]
    return Match(known.part, known.mesh, piece, found, astray, vertices, piece.layer, piece.half)


def walls_of(piece: Piece, layers: NDArray[np.int64]) -> Walls:
    """Points along a piece's outer walls in some layers, numbered from 0."""
    order = np.full(len(piece.tops), -1)
    order[layers] = np.arange(len(layers))
    used = (order[piece.layer] >= 0) & piece.certain
    runs, half, number = piece.runs[used], piece.half[used], order[piece.layer[used]]
    long = np.hypot(*(runs[:, 1] - runs[:, 0]).T)
    counts = np.maximum(np.ceil(long / RUN).astype(np.int64), 1)
    of = np.repeat(np.arange(len(runs)), counts)
    rank = np.arange(len(of)) - np.repeat(np.cumsum(counts) - counts, counts)
    points = runs[of, 0] + (rank / counts[of])[:, None] * (runs[of, 1] - runs[of, 0])
    return Walls(points, number[of], (long / counts)[of], half[of])


def _size(points: Array, height: float, more: float = 0.0) -> Array:
    import shapely

    frame = shapely.MultiPoint(points).minimum_rotated_rectangle
    if frame.geom_type != "Polygon":
        return np.array([1e-3, 1e-3, height])
    corners = np.array(frame.exterior.coords)[:3]
    sides = np.sort(np.hypot(*np.diff(corners, axis=0).T))[::-1] + 2 * more
    return np.array([*sides, height])


def _astray(
    walls: Walls, known: Known, found: Fit, heights: Array
) -> tuple[float, float, float, float]:
    points = found.applied(walls.points)
    wrong = np.ones(len(points), bool)
    for aside in (0.0, -LEVEL, LEVEL):
        if wrong.any():
            distance, out, _ = known.outline(heights + aside).beside(points, walls.layer)
            off = np.abs(distance - walls.inset - found.narrower)
            wrong &= (off > ASTRAY) | (out > CLOSE)
    lengths = np.bincount(walls.layer, walls.weight * wrong, len(heights))
    worst = int(lengths.argmax())
    chosen = wrong & (walls.layer == worst)
    if not chosen.any():
        return 0.0, 0.0, 0.0, 0.0
    x, y = np.median(points[chosen], axis=0)
    return float(lengths[worst]), float(x), float(y), float(heights[worst])

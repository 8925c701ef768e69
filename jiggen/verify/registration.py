"""Where outer walls lie against the outlines of a part: turned, mirrored, scaled, moved, offset.

An outer wall's middle runs half its width within the part's outline.  Outlines are those of the
written mesh, cut at the middle of each layer; what a slicing program does before it lays its
walls is found as the linear map and the offset that bring one onto the other.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array
from jiggen.verify.reading.mesh import Mesh

STEP = 0.4  # mm between points of an outline, and of a wall's straight run
APART = 1e4  # layers are so far from one another where the nearest outline is looked for
TRIM = (3.0, 1.5, 0.8, 0.4, 0.2, 0.15, 0.15, 0.15)  # mm: farther off is not looked at, by round
SAME_TURN = 2.0  # degrees: a guess so near to another leads to the same
CLOSE = 0.12  # mm from its place: a wall is where it should be
STILL = 1e-3  # share of the points' own weight that holds what nothing else decides


@dataclass(frozen=True, eq=False)
class Walls:
    """Points of outer walls: (n, 2), mm, of which layer, for how many mm they stand, half width."""

    points: Array
    layer: NDArray[np.int64]
    weight: Array
    inset: Array

    def of(self, chosen: NDArray[np.bool_]) -> Walls:
        """Those chosen by (n,) flags."""
        return Walls(
            self.points[chosen], self.layer[chosen], self.weight[chosen], self.inset[chosen]
        )


class Outline:
    """A part's outlines at the heights of some layers, mm."""

    def __init__(self, mesh: Mesh, heights: Array) -> None:
        from scipy.spatial import cKDTree

        starts, ends, layers = [], [], []
        for layer, z in enumerate(heights.tolist()):
            for loop in mesh.section(z):
                ahead = np.roll(loop, -1, axis=0)
                long = np.hypot(*(ahead - loop).T) > 1e-6
                starts.append(loop[long])
                ends.append(ahead[long])
                layers.append(np.full(int(long.sum()), layer))
        none = np.empty((0, 2))
        self.starts = np.concatenate([none, *starts])
        along = np.concatenate([none, *ends]) - self.starts
        self.lengths = np.hypot(*along.T)
        self.along = along / np.maximum(self.lengths, 1e-9)[:, None]
        self.layer = np.concatenate([np.empty(0, np.int64), *layers])
        # Samples (k,): of which edge, and where.
        counts = np.ceil(self.lengths / STEP).astype(np.int64)
        self.edge = np.repeat(np.arange(len(counts)), counts)
        rank = np.arange(len(self.edge)) - np.repeat(np.cumsum(counts) - counts, counts)
        share = (rank + 0.5) / np.maximum(counts[self.edge], 1)
        at = share * self.lengths[self.edge]
        self.samples = self.starts[self.edge] + at[:, None] * self.along[self.edge]
        self.weight = self.lengths[self.edge] / np.maximum(counts[self.edge], 1)
        self.of_sample = self.layer[self.edge]
        flat = np.column_stack([self.samples, APART * self.of_sample])
        self._tree = cKDTree(flat) if len(flat) else None

    @property
    def box(self) -> tuple[Array, Array]:
        """Least and greatest x, y."""
        if not len(self.starts):
            return np.zeros(2), np.zeros(2)
        return self.starts.min(axis=0), self.starts.max(axis=0)

    def beside(self, points: Array, layer: NDArray[np.int64]) -> tuple[Array, Array, Array]:
        """Of (n, 2) `points`: how far from the outline of their layer, how far outside, normals."""
        if self._tree is None:
            far = np.full(len(points), np.inf)
            return far, far, np.zeros((len(points), 2))
        _, near = self._tree.query(np.column_stack([points, APART * layer]))
        edge = self.edge[near]
        away, along = points - self.starts[edge], self.along[edge]
        normal = np.column_stack([along[:, 1], -along[:, 0]])  # material is to the left
        out = (away * normal).sum(axis=1)
        run = (away * along).sum(axis=1)
        past = np.maximum(np.maximum(-run, run - self.lengths[edge]), 0.0)
        wrong = self.of_sample[near] != layer
        distance = np.where(wrong, np.inf, np.hypot(out, past))
        return distance, out, normal


@dataclass(frozen=True, eq=False)
class Fit:
    """Walls brought onto an outline: p ↦ ``linear`` p + ``shift``, and how far within it they lie.

    `narrower` is what the outline was made smaller by all round, beyond half a line, mm; `share`
    of the walls' length that then is where it should be.
    """

    linear: Array
    shift: Array
    narrower: float
    share: float

    def applied(self, points: Array) -> Array:
        """Points of the toolpath in the part's frame, scale and all undone."""
        return np.asarray(points @ self.linear.T + self.shift)

    @property
    def parts(self) -> tuple[Array, Array]:
        """The toolpath's own map, from the part's frame: turn (orthogonal), and stretch."""
        made = np.linalg.inv(self.linear)
        u, size, v = np.linalg.svd(made)
        return np.asarray(u @ v), np.asarray(v.T @ np.diag(size) @ v)

    @property
    def mirrored(self) -> bool:
        """Whether the toolpath mirrors the part."""
        return float(np.linalg.det(self.linear)) < 0

    @property
    def turned(self) -> float:
        """By how many degrees it is turned, from -180 to 180, a mirror in x apart."""
        turn, _ = self.parts
        first = turn[:, 0] * (-1 if self.mirrored else 1)
        return float(np.degrees(np.arctan2(first[1], first[0])))


def fit(walls: Walls, outline: Outline, linear: Array, shift: Array, rounds: int = 8) -> Fit:
    """The map that brings `walls` onto `outline`, from a first guess: by points to lines.

    What nothing decides, as a disc's turn, stays as it is.
    """
    narrower = 0.0
    for trim in TRIM[len(TRIM) - rounds :]:
        at = walls.points @ linear.T + shift
        distance, out, normal = outline.beside(at, walls.layer)
        off = out + walls.inset + narrower
        used = (np.abs(np.where(np.isfinite(off), off, np.inf)) < trim) & (distance < trim + 1.0)
        if used.sum() < 20:
            break
        n, p, w = normal[used], at[used], walls.weight[used]
        middle = np.average(p, axis=0, weights=w)
        reach = max(float(np.sqrt(np.average(((p - middle) ** 2).sum(axis=1), weights=w))), 1.0)
        q = (p - middle) / reach  # all unknowns in mm
        rows = np.column_stack([n * q[:, :1], n * q[:, 1:], n, np.ones(len(q))])
        left = rows.T @ (rows * w[:, None])
        # The outline's size is not told from an offset all round by a disc: that is its size then.
        prior = STILL * w.sum() * np.array([1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1e-3, 1.0])
        right = -rows.T @ (off[used] * w) - np.append(np.zeros(6), prior[6] * narrower)
        step = np.linalg.solve(left + np.diag(prior), right)
        change = np.eye(2) + step[:4].reshape(2, 2).T / reach
        shift = change @ (shift - middle) + middle + step[4:6]
        linear = change @ linear
        narrower += float(step[6])
    return Fit(linear, shift, narrower, share(walls, outline, linear, shift, narrower))


def share(
    walls: Walls, outline: Outline, linear: Array, shift: Array, narrower: float = 0.0
) -> float:
    """Which part of the walls' length lies where it should."""
    distance, out, _ = outline.beside(walls.points @ linear.T + shift, walls.layer)
    right = (np.abs(distance - walls.inset - narrower) < CLOSE) & (out < 0)
    return float(walls.weight[right].sum() / max(walls.weight.sum(), 1e-9))


def guesses(points: Array, outline: Outline) -> Iterator[tuple[Array, Array]]:
    """Maps to begin with: unturned, turned by quarters, by the boxes' turns; each mirrored too."""
    low, high = outline.box
    corners = outline.starts
    if not len(corners):
        return
    frames = long_side(points), long_side(corners)
    for mirrored, angle in ((False, frames[0] - frames[1]), (True, frames[0] + frames[1])):
        yield from _quarters(points, (low + high) / 2, 0.0, mirrored)
        if abs((angle + 45) % 90 - 45) > SAME_TURN:
            yield from _quarters(points, (low + high) / 2, angle, mirrored)


def _quarters(
    points: Array, middle: Array, angle: float, mirrored: bool
) -> Iterator[tuple[Array, Array]]:
    for turn in (angle, angle + 90, angle + 180, angle + 270):
        c, s = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        made = np.array([[c, -s], [s, c]]) @ np.diag([-1.0 if mirrored else 1.0, 1.0])
        linear = made.T
        back = points @ linear.T
        yield linear, middle - (back.min(axis=0) + back.max(axis=0)) / 2


def long_side(points: Array) -> float:
    """The direction in degrees of the longer side of the smallest rectangle around points."""
    import shapely

    frame = shapely.MultiPoint(points).minimum_rotated_rectangle
    if frame.geom_type != "Polygon":
        return 0.0
    corners = np.array(frame.exterior.coords)
    sides = np.diff(corners[:3], axis=0)
    longer = sides[np.argmax(np.hypot(*sides.T))]
    return float(np.degrees(np.arctan2(longer[1], longer[0])))

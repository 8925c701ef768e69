"""A jig as a solid of bricks: finite elements of its STL files, on a ski that only presses.

Bricks of eight nodes with Wilson's incompatible modes, which bend as a beam does though they are
one element thick (Taylor, Beresford and Wilson, 1976, from memory).  Where an outline at a height
passes through a brick, it counts with the part of it that is plastic.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray
from scipy.linalg import solve_triangular
from scipy.sparse import coo_matrix, csc_matrix, diags

Array = NDArray[np.float64]
Outline = Callable[[float], shapely.Geometry]
"""What is plastic at a height z, mm."""

HELD = 1e-3  # N/mm of each standing node
SAMPLES = 3  # points tried along each edge of a brick


@dataclass(frozen=True)
class Plastic:
    """Modulus of the solid in N/mm², walls and skins in mm, and what the infill has of it."""

    modulus: float
    wall: float = 1.8
    skin: float = 1.0
    infill: float = 0.2
    poisson: float = 0.36


def moduli(outline: Outline, edges: Sequence[Array], plastic: Plastic) -> Array:
    """The modulus of each brick between `edges` along x, y and z, 0 where there is nothing."""
    x, y, z = edges
    steps = (np.arange(SAMPLES) + 0.5) / SAMPLES
    xs, ys = ((e[:-1, None] + np.diff(e)[:, None] * steps).ravel() for e in (x, y))
    grid = [one.ravel() for one in np.meshgrid(xs, ys, indexing="ij")]
    middles = (z[1:] + z[:-1]) / 2
    shapes = {float(h): outline(float(h)) for h in middles}
    found = np.zeros((len(x) - 1, len(y) - 1, len(middles)))
    for index, height in enumerate(middles):
        shape = shapes[float(height)]
        deep = shape.buffer(-plastic.wall)
        for other in (height - plastic.skin, height + plastic.skin):
            deep = deep & (outline(other) if z[0] < other < z[-1] else shapely.Polygon())
        shapely.prepare([shape, deep])
        held = shapely.contains_xy(shape, *grid).astype(float)
        held -= (1 - plastic.infill) * shapely.contains_xy(deep, *grid)
        blocks = held.reshape(len(x) - 1, SAMPLES, len(y) - 1, SAMPLES)
        found[:, :, index] = plastic.modulus * blocks.mean(axis=(1, 3))
    found[found < 0.05 * plastic.modulus] = 0.0
    return found


def brick_stiffness(sizes: Array, poisson: float) -> Array:
    """Stiffness (n, 24, 24) of bricks of `sizes` (n, 3) and modulus 1; nodes x first, then y, z."""
    corners = np.array([(i, j, k) for k in (-1, 1) for j in (-1, 1) for i in (-1, 1)], dtype=float)
    lame, shear = poisson / ((1 + poisson) * (1 - 2 * poisson)), 1 / (2 * (1 + poisson))
    elastic = np.diag([*[2 * shear] * 3, *[shear] * 3])
    elastic[:3, :3] += lame
    total = np.zeros((len(sizes), 33, 33))
    for point in np.array(np.meshgrid(*[(-1, 1)] * 3)).reshape(3, -1).T / np.sqrt(3):
        along = 1 + corners * point
        slopes = np.empty((11, 3))
        for axis in range(3):
            others = [a for a in range(3) if a != axis]
            slopes[:8, axis] = corners[:, axis] * along[:, others].prod(axis=1) / 8
        slopes[8:] = np.diag(-2 * point)
        by_axis = slopes[None] * (2 / sizes)[:, None]  # (n, 11, 3)
        strain = np.zeros((len(sizes), 6, 33))
        for axis in range(3):
            strain[:, axis, axis::3] = by_axis[:, :, axis]
        for row, (a, b) in enumerate(((0, 1), (1, 2), (0, 2)), start=3):
            strain[:, row, a::3] = by_axis[:, :, b]
            strain[:, row, b::3] = by_axis[:, :, a]
        volume = sizes.prod(axis=1) / 8
        total += strain.transpose(0, 2, 1) @ elastic @ strain * volume[:, None, None]
    outer, inner = slice(0, 24), slice(24, 33)
    less = np.linalg.solve(total[:, inner, inner], total[:, inner, outer])
    return np.asarray(total[:, outer, outer] - total[:, outer, inner] @ less)


class Solid:
    """Bricks of the given `moduli` between `edges`.

    The lowest node of each column, if no higher than `relief`, may come down on a ski at z = 0.
    """

    def __init__(
        self, edges: Sequence[Array], modulus: Array, poisson: float = 0.36, relief: float = 0.0
    ) -> None:
        self.edges = edges
        shape = tuple(len(e) for e in edges)
        where = np.argwhere(modulus > 0)
        sizes = np.column_stack([np.diff(e)[where[:, a]] for a, e in enumerate(edges)])
        kinds, kind = np.unique(sizes.round(9), axis=0, return_inverse=True)
        own = brick_stiffness(kinds, poisson)[kind.ravel()]
        own = own * modulus[tuple(where.T)][:, None, None]
        steps = np.array([(i, j, k) for k in (0, 1) for j in (0, 1) for i in (0, 1)])
        nodes = np.ravel_multi_index((where[:, None] + steps).transpose(2, 0, 1), shape)
        used, numbered = np.unique(nodes, return_inverse=True)
        numbered = numbered.reshape(nodes.shape)
        places = np.array(np.unravel_index(used, shape)).T
        self.at = np.column_stack([e[places[:, a]] for a, e in enumerate(edges)])
        freedoms = (3 * numbered[:, :, None] + np.arange(3)).reshape(len(where), 24)
        rows, columns = (
            np.broadcast_to(f, own.shape).ravel()
            for f in (freedoms[:, :, None], freedoms[:, None, :])
        )
        size = 3 * len(used)
        self.stiffness: csc_matrix = coo_matrix(
            (own.ravel(), (rows, columns)), (size, size)
        ).tocsc()
        columns = np.unique(places[:, :2], axis=0, return_index=True)[1]  # z is sorted within
        self.standing = np.sort(columns[self.at[columns, 2] <= relief])

    def push(self, force: float, chosen: NDArray[np.bool_]) -> Array:
        """Loads of `force` N down, shared by the `chosen` nodes."""
        loads = np.zeros((len(self.at), 3))
        loads[chosen, 2] = -force / chosen.sum()
        return loads

    def near(self, x: float, y: float, reach: float, z: float = -np.inf) -> NDArray[np.bool_]:
        """Nodes within `reach` of an upright line, from height `z` up."""
        return np.asarray(
            (np.hypot(self.at[:, 0] - x, self.at[:, 1] - y) <= reach) & (self.at[:, 2] >= z)
        )

    def settle(self, loads: Array, surface: Array) -> Array:
        """Movement (n, 3) under `loads` on a ski, `surface` high under each standing node.

        The ski only presses: reactions r ≥ 0 and gaps ≥ 0 of which one is nought at each node.
        """
        free = self.solve(loads.reshape(-1, 1)).reshape(-1, 3)
        apart = free[self.standing, 2] + self.at[self.standing, 2] - surface
        give = self.compliance.reshape(len(self.at), 3, -1)
        own = give[self.standing, 2]
        on = np.ones(len(surface), dtype=bool)
        for _ in range(60):
            press = np.zeros(len(surface))
            press[on] = np.linalg.solve(own[np.ix_(on, on)], -apart[on])
            gap = apart + own @ press
            other = np.where(on, press > 0, gap < -1e-9)
            if (other == on).all():
                return np.asarray(free + give @ press)
            on = other
        raise AssertionError("no rest was found")

    @cached_property
    def compliance(self) -> Array:
        """Movement of every freedom by 1 N up at each standing node."""
        push = np.zeros((3 * len(self.at), len(self.standing)))
        push[3 * self.standing + 2, np.arange(len(self.standing))] = 1.0
        return self.solve(push)

    @cached_property
    def slices(self) -> NDArray[np.intp]:
        """Where the freedoms of each x begin: bricks join those of one x to the next alone."""
        return np.append(3 * np.unique(self.at[:, 0], return_index=True)[1], 3 * len(self.at))

    @cached_property
    def factors(self) -> list[tuple[Array, Array | None]]:
        """By x, Cholesky's factor of its block and the block below it."""
        held = np.zeros_like(self.at)  # so weakly that it only does not drift
        held[self.standing] = HELD
        matrix = (self.stiffness + diags(held.ravel())).tocsr()
        ends, found = self.slices, []
        block = matrix[: ends[1], : ends[1]].toarray()
        for a, b, c in zip(ends, ends[1:], [*ends[2:], None], strict=False):
            factor = np.linalg.cholesky(block)
            if c is None:
                found.append((factor, None))
                break
            below = solve_triangular(factor, matrix[a:b, b:c].toarray(), lower=True).T
            found.append((factor, below))
            block = matrix[b:c, b:c].toarray() - below @ below.T
        return found

    def solve(self, right: Array) -> Array:
        """Movement by loads (freedoms, k), not held by the ski."""
        ends, found = self.slices, right.copy()
        spans = list(pairwise(ends))
        for (a, b), (factor, below) in zip(spans, self.factors, strict=True):
            found[a:b] = solve_triangular(factor, found[a:b], lower=True)
            if below is not None:
                found[b : b + len(below)] -= below @ found[a:b]
        for (a, b), (factor, below) in zip(spans[::-1], self.factors[::-1], strict=True):
            if below is not None:
                found[a:b] -= below.T @ found[b : b + len(below)]
            found[a:b] = solve_triangular(factor, found[a:b], lower=True, trans=1)
        return found

    def give(self, moved: Array, chosen: NDArray[np.bool_]) -> tuple[float, float]:
        """How far the `chosen` nodes went down, and how far they turned about x and y, degrees.

        As a rigid body that is nearest to their movement.
        """
        at, by = self.at[chosen] - self.at[chosen].mean(axis=0), moved[chosen]
        moment = np.cross(at, by - by.mean(axis=0)).sum(axis=0)
        inertia = (at**2).sum() * np.eye(3) - at.T @ at
        turned = np.linalg.solve(inertia, moment)
        return float(-by[:, 2].mean()), float(np.degrees(np.hypot(*turned[:2])))

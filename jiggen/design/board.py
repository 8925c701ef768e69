"""A flat place filled item by item: each takes the free place nearest to where it belongs."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray

STEP = 0.5  # mm between the places tried
AT_ONCE = 400  # places looked at together: the nearest are mostly free


class Board:
    """Free places within `bounds` (x0, y0, x1, y1), `clear` mm from them and from what is taken."""

    def __init__(
        self,
        bounds: tuple[float, float, float, float],
        taken: Iterable[shapely.Geometry],
        clear: float,
    ) -> None:
        self._clear = clear
        self._bounds = np.array(bounds) + clear * np.array([1, 1, -1, -1])
        self._taken = [shape.buffer(clear) for shape in taken]

    def put(
        self, shape: shapely.Geometry, near: tuple[float, float], reach: float
    ) -> shapely.Geometry | None:
        """`shape` moved to the free place nearest to the point `near`, which it then takes.

        Its box comes no farther from the point than `reach` mm; None where nothing is free.
        """
        bounds = np.array(shape.bounds)
        shifts = self._shifts(bounds, np.array(near), reach)
        obstacles = shapely.union_all(self._taken)
        shapely.prepare(obstacles)
        for start in range(0, len(shifts), AT_ONCE):
            some = shifts[start : start + AT_ONCE]
            frames = shapely.box(*(bounds + np.hstack([some, some])).T)
            free = np.flatnonzero(~shapely.intersects(obstacles, frames))
            if free.size:
                self._taken.append(frames[free[0]].buffer(self._clear))
                return shapely.affinity.translate(shape, *some[free[0]])
        return None

    def _shifts(
        self, bounds: NDArray[np.float64], near: NDArray[np.float64], reach: float
    ) -> NDArray[np.float64]:
        """(n, 2) shifts that keep the box within the board and `reach`, the nearest first."""
        size = bounds[2:] - bounds[:2]
        low = np.maximum(self._bounds[:2], near - reach - size) - bounds[:2]
        high = np.minimum(self._bounds[2:], near + reach + size) - bounds[2:]
        axes = [np.arange(start, stop + 1e-9, STEP) for start, stop in zip(low, high, strict=True)]
        shifts = np.column_stack([grid.ravel() for grid in np.meshgrid(*axes)])
        gap = np.maximum(bounds[:2] + shifts - near, near - bounds[2:] - shifts)
        middle = (bounds[:2] + bounds[2:]) / 2 + shifts - near
        away = np.hypot(*np.maximum(gap, 0.0).T)
        # Nearest box first; of those as near, the one that stands centred.
        order = np.argsort(away + 0.1 * np.hypot(*middle.T), kind="stable")
        within: NDArray[np.float64] = shifts[order][away[order] <= reach]
        return within

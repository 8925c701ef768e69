"""A flat place that is filled item by item: each takes the free place nearest to where it belongs."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import Polygon

STEP = 0.5  # mm between the places tried


class Board:
    """Free places within `area`, `clear` mm from its edge and from all that is taken."""

    def __init__(self, area: Polygon, taken: Iterable[shapely.Geometry], clear: float) -> None:
        self._clear = clear
        self._area = area.buffer(-clear)
        self._taken = [shape.buffer(clear) for shape in taken]

    def put(
        self, shape: shapely.Geometry, near: tuple[float, float], reach: float
    ) -> shapely.Geometry | None:
        """`shape` moved to the free place nearest to the point `near`, which it then takes.

        Its box comes no farther from the point than `reach` mm; None where nothing is free.
        """
        x0, y0, x1, y1 = shape.bounds
        offsets = self._offsets((x0, y0, x1, y1), near, reach)
        boxes = np.array([x0, y0, x1, y1]) + np.hstack([offsets, offsets])
        gap = np.maximum(0.0, np.maximum(boxes[:, :2] - near, near - boxes[:, 2:]))
        middle = (boxes[:, :2] + boxes[:, 2:]) / 2 - near
        # Nearest box first; among those the one whose middle is nearest, so names stand centred.
        away = np.hypot(*gap.T) + 0.1 * np.hypot(*middle.T)
        obstacles = shapely.union_all(self._taken)
        shapely.prepare(obstacles)
        shapely.prepare(self._area)
        frames = shapely.box(*boxes.T)
        free = shapely.contains(self._area, frames) & ~shapely.intersects(obstacles, frames)
        if not free.any():
            return None
        best = int(np.argmin(np.where(free, away, np.inf)))
        self._taken.append(frames[best].buffer(self._clear))
        return shapely.affinity.translate(shape, *offsets[best])

    def _offsets(
        self, bounds: tuple[float, float, float, float], near: tuple[float, float], reach: float
    ) -> NDArray[np.float64]:
        """(n, 2) shifts, on whole steps, that keep the box in the area and within `reach`."""
        x0, y0, x1, y1 = bounds
        left, bottom, right, top = self._area.bounds
        axes = [
            np.arange(
                max(low, at - reach - size) - start, min(high, at + reach + size) - stop, STEP
            )
            for low, high, at, start, stop, size in (
                (left, right, near[0], x0, x1, x1 - x0),
                (bottom, top, near[1], y0, y1, y1 - y0),
            )
        ]
        x, y = (grid.ravel() for grid in np.meshgrid(*axes))
        return np.column_stack([x, y])

"""Affine maps of the plane: made, undone, taken apart, and fitted to pairs of points.

target = matrix · source + shift, as in EPSG Guidance Note 7-2, methods 9624 (affine) and 9621
(similarity).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding, InputError

Array = NDArray[np.float64]

_FLAT = 1e-9  # of the points' extent: nearer to a line than this they are on one


@dataclass(frozen=True, eq=False)
class Affine:
    """An affine map: `matrix` (2, 2) and `shift` (2,), the shift in the target's unit.

    It is a distortion (`scale_x`, `scale_y`, `skew`, as a printer's profile has them) turned by
    `turn`; both angles in degrees.
    """

    matrix: Array
    shift: Array

    def __call__(self, points: Array) -> Array:
        """`points` (n, 2) carried over."""
        return np.asarray(points @ self.matrix.T + self.shift)

    def inverse(self) -> Affine:
        """The map that leads back."""
        back = np.asarray(np.linalg.inv(self.matrix), dtype=np.float64)
        return Affine(back, -back @ self.shift)

    @property
    def turn(self) -> float:
        """Degrees by which the x axis is turned anticlockwise."""
        return math.degrees(math.atan2(self.matrix[1, 0], self.matrix[0, 0]))

    @property
    def scale_x(self) -> float:
        """How long a unit along x becomes."""
        return float(np.hypot(*self.matrix[:, 0]))

    @property
    def scale_y(self) -> float:
        """How long a unit along y becomes; negative where the map mirrors."""
        return math.copysign(float(np.hypot(*self.matrix[:, 1])), np.linalg.det(self.matrix))

    @property
    def skew(self) -> float:
        """Degrees by which the y axis leans towards +x: 90 less the angle of the axes."""
        return math.degrees(
            math.asin(float(self.matrix[:, 0] @ self.matrix[:, 1]) / (self.scale_x * self.scale_y))
        )


def distortion(scale_x: float, scale_y: float, skew: float) -> Array:
    """(2, 2) of a map that keeps the x axis's direction; `skew` in degrees."""
    lean = math.radians(skew)
    return np.array(
        [[scale_x, scale_y * math.sin(lean)], [0.0, scale_y * math.cos(lean)]], dtype=np.float64
    )


def fit_affine(source: Array, target: Array) -> Affine:
    """The affine map that leads `source` (n, 2) nearest to `target` (n, 2), by least squares.

    Raises InputError ``printer.points`` unless three of the points are off one line.
    """
    here, middle = _centred(source)
    there, goal = _centred(target)
    sizes = np.linalg.svd(here, compute_uv=False)
    if len(source) < 3 or not sizes[-1] > _FLAT * sizes[0]:
        raise _too_few("three points that are not on one line")
    matrix = np.asarray(np.linalg.lstsq(here, there, rcond=None)[0].T, dtype=np.float64)
    return Affine(matrix, goal - matrix @ middle)


def fit_similarity(source: Array, target: Array) -> Affine:
    """The turn, shift and one scale that lead `source` (n, 2) nearest to `target` (n, 2).

    Raises InputError ``printer.points`` unless two of the points lie apart.
    """
    here, middle = _centred(source)
    there, goal = _centred(target)
    size = float((here**2).sum())
    if not size > 0:
        raise _too_few("two points apart from one another")
    along = float((here * there).sum()) / size
    across = float((here[:, 0] * there[:, 1] - here[:, 1] * there[:, 0]).sum()) / size
    matrix = np.array([[along, -across], [across, along]])
    return Affine(matrix, goal - matrix @ middle)


def _centred(points: Array) -> tuple[Array, Array]:
    """`points` about their middle, and the middle: grid coordinates keep their last digits."""
    middle = points.mean(axis=0)
    return points - middle, middle


def _too_few(wanted: str) -> InputError:
    return InputError(
        Finding("printer.points", f"the map needs {wanted}", hint="Measure more holes.")
    )

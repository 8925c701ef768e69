"""Places of holes that scans tell, as readings of a survey: ``[scanned]`` of its file.

The scans know the plate but for where it lies, so the places allowed are laid upon those scanned
as well as they can be; what is left over, in the independent directions of its covariance, are the
readings, which are 0 in the plate's true shape.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
from pydantic import Field
from scipy.linalg import null_space

from jiggen.inputs.faults import Fault, quoted
from jiggen.inputs.shape import Number, Shape
from jiggen.measure.adjustment import Array

FINEST = 1e-3  # mm; the least standard deviation, so that rounding the covariance does no harm
_LARGEST = 1e4  # mm, or mm² of a variance: no glass is so large (our choice)
_LEAST = 5.0  # mm; no plate is so small (our choice)
_NEGATIVE = 1e-6  # of the largest variance; one so little below 0 is rounding


class Scanned(Shape):
    """``[scanned]``: written by a program, always in mm, as the plate is seen from above."""

    scans: list[str] = Field(default=[], description="names of the pictures")
    distances: list[str] = Field(default=[], description="what gave them their scale")
    places: dict[str, list[Number]] = Field(description="x and y of each hole")
    covariance: list[list[Number]] = Field(
        description="mm²: a row for x and one for y of each hole, each up to its diagonal"
    )

    @property
    def square(self) -> Array:
        """(2n, 2n) the covariance, mm²."""
        lower = np.zeros((2 * len(self.places), 2 * len(self.places)))
        for number, row in enumerate(self.covariance):
            lower[number, : number + 1] = row
        return np.asarray(lower + np.tril(lower, -1).T)


def scanned_faults(scanned: Scanned, holes: Mapping[str, float]) -> Iterator[Fault]:
    """What is wrong with ``[scanned]`` beside the holes of the file."""
    count, hint = 2 * len(scanned.places), "Scan again, or take the table [scanned] out."
    for name in scanned.places:
        if name not in holes:
            message = f"there is no hole {quoted(name)}"
            yield Fault(("scanned", "places", name), "unknown-hole", message, hint)
    for name, place in scanned.places.items():
        if len(place) != 2:
            yield Fault(("scanned", "places", name), "scanned", "a place is x and y", hint)
            return
    places = np.array([*scanned.places.values()])
    sizes = [abs(value) for row in (*scanned.places.values(), *scanned.covariance) for value in row]
    if max(sizes, default=0.0) > _LARGEST:
        message = f"a number is beyond {_LARGEST:g}"
        yield Fault(("scanned",), "scanned", message, hint)
    elif len(places) < 3 or np.ptp(places, axis=0).max() < _LEAST:
        message = f"fewer than three holes were scanned, or all within {_LEAST:g} mm"
        yield Fault(("scanned", "places"), "scanned", message, hint)
    elif [len(row) for row in scanned.covariance] != [*range(1, count + 1)]:
        message = f"the covariance has not {count} rows, each up to its diagonal"
        yield Fault(("scanned", "covariance"), "scanned", message, hint)
    else:
        spreads = np.linalg.eigvalsh(scanned.square)
        if spreads[-1] <= 0 or spreads[0] < -_NEGATIVE * spreads[-1] - FINEST**2:
            message = "the covariance is none: some sum of places would be surer than sure"
            yield Fault(("scanned", "covariance"), "scanned", message, hint)


class ScannedRows:
    """The readings of a `Scanned` in unknowns that begin with x and y of all holes.

    `holes` (k,) are the numbers of those scanned, `at` (k, 2) their places about their mean, mm.
    `values` and `sigmas` (r,) are the readings and their standard uncertainties.
    """

    def __init__(self, scanned: Scanned, index: Mapping[str, int]) -> None:
        self.names = tuple(scanned.places)
        self.holes = np.array([index[name] for name in self.names], dtype=np.int_)
        places = np.array([scanned.places[name] for name in self.names])
        self.at = places - places.mean(axis=0)
        k = len(self.holes)
        turned = np.column_stack([-self.at[:, 1], self.at[:, 0]]).ravel()
        as_one = np.vstack([np.tile([1.0, 0.0], k), np.tile([0.0, 1.0], k), turned])
        inner = null_space(as_one)  # what no shift and no turn of the whole changes
        variances, ways = np.linalg.eigh(inner.T @ scanned.square @ inner)
        self.sigmas = np.sqrt(np.maximum(variances, 0.0) + FINEST**2)
        self._ways = (inner @ ways).T
        self.values = np.asarray(self._ways @ self.at.ravel())

    @property
    def labels(self) -> list[str]:
        """What each reading is called: by the hole whose place it says most of."""
        shares = np.hypot(self._ways[:, 0::2], self._ways[:, 1::2])
        return [f"scanned places, {self.names[n]} most" for n in shares.argmax(axis=1).tolist()]

    def predicted(self, places: Array) -> Array:
        """(r,) the readings, were the holes at `places` (n, 2)."""
        return np.asarray(self._ways @ self._laid(places)[0].ravel())

    def unlike(self, unknowns: Array) -> Array:
        """(m,) mm of the shape seen to that in each column of `unknowns`; far if mirrored."""
        x, y = (unknowns[2 * self.holes + axis] for axis in (0, 1))
        x, y = x - x.mean(axis=0), y - y.mean(axis=0)
        (along, across), (right, up) = (self.at.T @ x, self.at.T @ y)
        fits = np.hypot(along + up, right - across)
        squares = (x**2 + y**2).sum(axis=0) + (self.at**2).sum() - 2 * fits
        return np.asarray(np.sqrt(np.maximum(squares, 0.0)))

    def slopes(self, places: Array, size: int) -> Array:
        """(r, size) how each grows with each unknown."""
        laid, turn, (along, across) = self._laid(places)
        k = len(self.holes)
        way = np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])
        each = np.kron(np.eye(k) - 1 / k, way)
        swung = np.column_stack([-laid[:, 1], laid[:, 0]]).ravel()
        slope_along = self.at.ravel()
        slope_across = np.column_stack([self.at[:, 1], -self.at[:, 0]]).ravel()
        turns = (along * slope_across - across * slope_along) / max(along**2 + across**2, 1e-12)
        found = np.zeros((len(self.sigmas), size))
        columns = np.column_stack([2 * self.holes, 2 * self.holes + 1]).ravel()
        found[:, columns] = self._ways @ (each + np.outer(swung, turns))
        return found

    def distances(self) -> Array:
        """(k, k) mm between the holes as scanned."""
        return np.asarray(np.hypot(*(self.at[:, None] - self.at).transpose(2, 0, 1)))

    def _laid(self, places: Array) -> tuple[Array, float, tuple[float, float]]:
        """The scanned ones of `places` laid upon what was seen, turned by so many rad, and why."""
        own = places[self.holes] - places[self.holes].mean(axis=0)
        along = float((own * self.at).sum())
        across = float(own[:, 0] @ self.at[:, 1] - own[:, 1] @ self.at[:, 0])
        c, s = np.array([along, across]) / max(math.hypot(along, across), 1e-12)
        return own @ np.array([[c, s], [-s, c]]), math.atan2(across, along), (along, across)

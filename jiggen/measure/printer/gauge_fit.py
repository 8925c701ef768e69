"""From a gauge's readings to what its printer does: scales, skew, offsets, and how surely.

What each reading would be:

- a distance: its asked length, over far edges, near ones or centres, stretched as the printer
  stretches that direction, and the offset of the holes or pegs at its ends: a whole one over two
  far edges, minus one between two near ones.  To first order this is the ellipse that a printed
  circle becomes, met along the line of the jaws.
- a diameter: stretched by the mean of both scales, and one offset: measure it both ways and
  write the mean.
- a height: stretched by the scale in z.

What the caliper itself does goes into the printer: a caliper that reads 0.02 % long makes every
scale 0.02 % large (an error of 0.03 mm over 150 mm is within what calipers are sold with: common
practice, no source), and a gauge measured warm from the bed is larger by 0.07 mm a metre and
kelvin (PLA; from memory).  No reading shows either.  Jigs measured with the same caliper at room
temperature carry the same error, so it stays small where it counts.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

from jiggen.measure import REACH
from jiggen.measure.adjustment import (
    Adjustment,
    Array,
    GrossError,
    Readings,
    adjust,
    derivative,
    find_gross_error,
    gains,
    informed,
    refit,
)
from jiggen.measure.printer.jig import distortion
from jiggen.measure.printer.measured import (
    Diameter,
    Distance,
    Height,
    Measurements,
    Reading,
)

Parameter = Literal["scale_x", "scale_y", "skew", "hole", "wall", "scale_z"]
PARAMETERS: tuple[Parameter, ...] = get_args(Parameter)
NEEDED: tuple[Parameter, ...] = ("scale_x", "scale_y")
"""Without these there is no profile."""

TRUE = np.array([1.0, 1.0, 0.0, 0.0, 0.0, 1.0])
SUFFICIENT = np.array([1e-3, 1e-3, 0.1, 0.1, 0.1, 5e-3])
"""Standard uncertainties from which on a parameter counts as not determined: 0.1 % is 0.19 mm at
190 mm; degrees; mm; 0.5 % is 0.07 mm in a body 14 mm high (our choice)."""

_MOST = 4  # readings to add, named at once; a longer list is not worked through
_HEIGHT = 10.0  # mm; any height of the gauge would do
_RIDGE = 1e-9  # keeps what no reading sees finite, and far beyond sufficient


@dataclass(frozen=True, eq=False)
class Rows:
    """Readings as numbers: `asked` (m,) mm along `along` (m, 2), and offsets (m,) of either kind.

    `along` is NaN for what has no direction in the plane; `upright` (m,) tells heights from
    diameters.
    """

    asked: Array
    along: Array
    holes: Array
    walls: Array
    upright: NDArray[np.bool_]

    def predicted(self, parameters: Array) -> Array:
        """(m,) what each would be under all six `parameters`."""
        scale_x, scale_y, skew, hole, wall, scale_z = parameters
        stretched = self.along @ distortion(scale_x, scale_y, skew).T
        stretch = np.hypot(stretched[:, 0], stretched[:, 1])
        stretch = np.where(np.isnan(stretch), (scale_x + scale_y) / 2, stretch)
        stretch = np.where(self.upright, scale_z, stretch)
        return np.asarray(stretch * self.asked + self.holes * hole + self.walls * wall)


@dataclass(frozen=True, eq=False)
class GaugeFit:
    """A gauge's readings and what they say; arrays in the order of `PARAMETERS`.

    `values` and `uncertainties` (standard) are all six; what `free` (6,) leaves out was not
    determined, stays true, and has an infinite uncertainty.
    """

    measurements: Measurements
    rows: Rows
    free: NDArray[np.bool_]
    fit: Adjustment[Readings]

    @cached_property
    def gross_error(self) -> GrossError[Adjustment[Readings]] | None:
        """The reading most likely wrong."""
        return find_gross_error(self.fit, refit)

    @property
    def values(self) -> Array:
        """(6,) scales, degrees and mm."""
        return _filled(self.fit.parameters, self.free)

    def would_be(self, reading: Reading, fit: Adjustment[Readings]) -> float:
        """What `reading` would show in mm under `fit`, which left out one reading, say."""
        row = rows_of(self.measurements, [reading])
        return float(row.predicted(_filled(fit.parameters, self.free))[0])

    @cached_property
    def uncertainties(self) -> Array:
        """(6,) standard uncertainties, coarser where the readings proved to be coarser."""
        found = np.full(len(PARAMETERS), np.inf)
        found[self.free] = self.fit.spread * np.sqrt(np.diag(self.fit.covariance))
        return found

    def value(self, parameter: Parameter) -> float:
        """One parameter: a factor, degrees or mm."""
        return float(self.values[PARAMETERS.index(parameter)])

    def uncertainty(self, parameter: Parameter) -> float:
        """Its standard uncertainty; infinite where it was not determined."""
        return float(self.uncertainties[PARAMETERS.index(parameter)])

    def determined(self, parameter: Parameter) -> bool:
        """Whether the readings say what it is."""
        return bool(self.free[PARAMETERS.index(parameter)])


def fit_gauge(measurements: Measurements) -> GaugeFit:
    """What `measurements` say of the printer; they must determine what is `NEEDED`.

    Parameters that can be done without, and that no reading determines, stay as in a true print.
    """
    rows = rows_of(measurements, measurements.readings)
    loose = loose_parameters(measurements)
    free = np.array([name not in loose for name in PARAMETERS])
    values = np.array([reading.value for reading in measurements.readings])

    def predicted(some: Array) -> Array:
        return rows.predicted(_filled(some, free))

    equations = Readings(
        predicted=predicted,
        slopes=lambda some: derivative(predicted, some),
        values=values,
        weights=np.full(len(values), 1.0 / measurements.caliper),
        basis=np.eye(int(free.sum())),
        readings=len(values),
    )
    return GaugeFit(measurements, rows, free, adjust(equations, TRUE[free]))


def rows_of(measurements: Measurements, readings: Iterable[Reading]) -> Rows:
    """`readings` of the gauge as numbers."""
    rows = [_row(measurements, reading) for reading in readings]
    asked, along, holes, walls, upright = zip(*rows, strict=True)
    return Rows(
        np.array(asked), np.array(along), np.array(holes), np.array(walls), np.array(upright)
    )


def slopes_of(measurements: Measurements, readings: Iterable[Reading]) -> Array:
    """(m, 6) how readings grow, in what the caliper is good to, with what is sufficient."""
    rows = rows_of(measurements, readings)
    return np.asarray(derivative(rows.predicted, TRUE) * SUFFICIENT / measurements.caliper)


def known_of(measurements: Measurements) -> Array:
    """(6, 6) how well the readings say the parameters: a covariance in what is sufficient."""
    slopes = slopes_of(measurements, measurements.readings)
    return np.asarray(np.linalg.inv(slopes.T @ slopes + _RIDGE * np.eye(len(PARAMETERS))))


def loose_parameters(measurements: Measurements) -> tuple[Parameter, ...]:
    """Parameters that the readings do not say well enough."""
    variances = np.diag(known_of(measurements))
    return tuple(name for name, size in zip(PARAMETERS, variances, strict=True) if size > 1.0)


def to_add(measurements: Measurements, loose: tuple[Parameter, ...]) -> tuple[Reading, ...]:
    """Readings that, added one after another, determine what is `loose`; at most four.

    Their values mean nothing.  Each is the one after which the summed variance of what is loose
    is least.
    """
    pairs = combinations(measurements.features.values(), 2)
    candidates: list[Reading] = [
        Distance(one.name, other.name, "outside", 1.0)
        for one, other in pairs
        if one.kind == other.kind
    ]
    candidates += [Diameter(name, 1.0) for name in measurements.features]
    candidates += [Height(_HEIGHT, _HEIGHT)]
    slopes = slopes_of(measurements, candidates)
    known = known_of(measurements)
    wanted = np.eye(len(PARAMETERS))[[PARAMETERS.index(name) for name in loose]]
    chosen: list[Reading] = []
    while len(chosen) < _MOST and np.diag(wanted @ known @ wanted.T).max(initial=0.0) > 1.0:
        best = int(gains(known, slopes, 1.0, wanted).argmax())
        known = informed(known, slopes[best], 1.0)
        chosen.append(candidates[best])
    return tuple(chosen)


_Row = tuple[float, tuple[float, float], float, float, bool]
_NOWHERE = (np.nan, np.nan)


def _row(measurements: Measurements, reading: Reading) -> _Row:
    features = measurements.features
    match reading:
        case Distance():
            ends = [features[name] for name in (reading.first, reading.second)]
            reach = REACH[reading.edges] / 2
            apart = np.subtract(ends[0].at, ends[1].at)
            length = float(np.hypot(*apart))
            holes, walls = (
                reach * sum(end.kind == kind for end in ends) for kind in ("hole", "peg")
            )
            rims = reach * sum(end.diameter for end in ends)
            x, y = apart / length
            return length + rims, (float(x), float(y)), holes, walls, False
        case Diameter():
            feature = features[reading.of]
            is_hole = feature.kind == "hole"
            return feature.diameter, _NOWHERE, float(is_hole), float(not is_hole), False
        case Height():
            return reading.asked, _NOWHERE, 0.0, 0.0, True


def _filled(some: Array, free: NDArray[np.bool_]) -> Array:
    """All six parameters, those that are not `free` as in a true print."""
    every = TRUE.copy()
    every[free] = some
    return every

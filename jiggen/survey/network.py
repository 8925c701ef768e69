"""The survey as equations: what every reading would be, and which places the plate's own rules
allow.

One vector holds all unknowns in mm: x and y of each hole, the place of each edge that was
measured from, and the diameter of each hole (measured too, so that a wrong diameter is found as
any other misreading is).  Rules (left/right pairs, centre line, origin) are all linear in it, so
they are met exactly by writing the unknowns as ``basis @ z`` with fewer, free unknowns `z`; the
plate's shift and turn on the paper, which no distance knows, go the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import null_space

from jiggen.survey.model import EDGES, OPPOSITE, REACH, Reading, Survey

Array = NDArray[np.float64]

_AXIS = {"front": 0, "rear": 0, "left": 1, "right": 1}
_SIGN = {"front": 1.0, "rear": -1.0, "left": 1.0, "right": -1.0}
_NEAR = 1e-9  # mm; keeps two holes put on the same spot from dividing by zero


class Network:
    """The equations of one survey, every reading with its standard uncertainty.

    Rows are the readings in the file's order, then the holes' diameters.  Columns are x0, y0,
    x1, y1 …, then `edges`, then diameters.  `values` and `sigmas` are (m,), `basis` is (p, k)
    with orthonormal columns.  Without `symmetric` the pairs and centre line are not imposed;
    `rules` (r, p), rows that are 0 on every place allowed, then takes their place.
    """

    def __init__(
        self,
        survey: Survey,
        sigma: float | None = None,
        *,
        rules: Array | None = None,
    ) -> None:
        self.survey = survey
        self.holes = len(survey.holes)
        self.index = {name: number for number, name in enumerate(survey.holes)}
        ends = {end for reading in survey.readings for end in (reading.first, reading.second)}
        named = ends | set(survey.origin) | set(survey.middle)
        self.edges = tuple(edge for edge in EDGES if edge in named)
        self._edge_column = {
            edge: 2 * self.holes + number for number, edge in enumerate(self.edges)
        }
        self.size = 3 * self.holes + len(self.edges)
        usual = survey.sigma if sigma is None else sigma
        self.values = np.array([*(r.value for r in survey.readings), *survey.diameters])
        self.sigmas = np.array(
            [*(r.sigma or usual for r in survey.readings), *(usual for _ in survey.holes)]
        )
        self.weights = 1.0 / self.sigmas
        self._chords, self.linear = self._equations(survey.readings)
        self.rules = np.array(list(self._stated_rules())) if rules is None else rules
        self.basis: Array = null_space(self.rules)

    def without(self, row: int) -> Network:
        """The same equations with one row that counts for nothing."""
        other = object.__new__(Network)
        other.__dict__.update(self.__dict__)
        other.weights = self.weights.copy()
        other.weights[row] = 0.0
        return other

    def freed(self, rules: Array) -> Network:
        """The same readings under other rules."""
        other = object.__new__(Network)
        other.__dict__.update(self.__dict__)
        other.__dict__.pop("sides", None)
        other.rules, other.basis = rules, null_space(rules)
        return other

    @property
    def redundancy(self) -> int:
        """Readings that count, less free unknowns; freedom left over is not taken into account."""
        return int(np.count_nonzero(self.weights)) - self.basis.shape[1]

    def label(self, row: int) -> str:
        """What was read in `row`, in words."""
        readings = self.survey.readings
        if row < len(readings):
            return str(readings[row])
        return f"diameter of {self.survey.holes[row - len(readings)]}"

    def places(self, unknowns: Array) -> Array:
        """(n, 2) hole centres in `unknowns` (p,)."""
        return unknowns[: 2 * self.holes].reshape(-1, 2)

    def predicted(self, unknowns: Array) -> Array:
        """(m,) what each reading would be, in mm."""
        predicted = self.linear @ unknowns
        rows, first, second = self._chords
        places = self.places(unknowns)
        predicted[rows] += np.hypot(*(places[first] - places[second]).T)
        return predicted

    def slopes(self, unknowns: Array) -> Array:
        """(m, p) how each reading grows with each unknown: the rigidity matrix and more."""
        slopes = self.linear.copy()
        rows, first, second = self._chords
        places = self.places(unknowns)
        apart = places[first] - places[second]
        apart /= np.hypot(*apart.T)[:, None] + _NEAR
        for axis in (0, 1):
            slopes[rows, 2 * first + axis] += apart[:, axis]
            slopes[rows, 2 * second + axis] -= apart[:, axis]
        return slopes

    def misfits(self, z: Array) -> Array:
        """(m,) predicted less read, in standard uncertainties."""
        return (self.predicted(self.basis @ z) - self.values) * self.weights

    def misfit_slopes(self, z: Array) -> Array:
        """(m, k) derivative of `misfits`."""
        return (self.slopes(self.basis @ z) @ self.basis) * self.weights[:, None]

    @cached_property
    def sides(self) -> Array:
        """(s, p) rows that are positive, in mm, where each hole lies on the side it was said to."""
        survey = self.survey
        rows = []
        mean_x = self._mean(survey.holes, 0)
        for names, axis, sign, less in (
            (survey.front, 0, 1.0, mean_x),
            (survey.rear, 0, -1.0, mean_x),
            (survey.left, 1, 1.0, 0.0),
            (survey.right, 1, -1.0, 0.0),
        ):
            rows += [sign * (self._mean((name,), axis) - less) for name in names]
        rows += [self._mean((a,), 1) - self._mean((b,), 1) for a, b in survey.pairs]
        if survey.along:
            rear, front = survey.along
            rows.append(self._mean((front,), 0) - self._mean((rear,), 0))
        return np.array(rows).reshape(-1, self.size)

    def wrong_side(self, unknowns: Array) -> float:
        """How far holes lie beyond the side they were said to be on, summed, in mm."""
        return float(np.clip(-(self.sides @ unknowns), 0.0, None).sum())

    def chord_slope(self, unknowns: Array, first: int, second: int) -> Array:
        """(p,) how the distance of the centres of two holes grows with each unknown."""
        row = np.zeros(self.size)
        places = self.places(unknowns)
        apart = places[first] - places[second]
        apart = apart / (np.hypot(*apart) + _NEAR)
        row[2 * first : 2 * first + 2] = apart
        row[2 * second : 2 * second + 2] = -apart
        return row

    def hole_distances(self) -> Array:
        """(n, n) centre distances as read, in mm, NaN where none was; twins' readings too."""
        survey = self.survey
        total = np.zeros((self.holes, self.holes))
        count = np.zeros_like(total)
        twins = {self.index[a]: self.index[b] for a, b in survey.twins.items()}
        for reading in survey.readings:
            if reading.first in OPPOSITE or reading.second in OPPOSITE:
                continue
            i, j = self.index[reading.first], self.index[reading.second]
            sizes = (survey.diameters[i] + survey.diameters[j]) / 2
            centre = max(reading.value - REACH[reading.kind] * sizes, 0.1)
            for a, b in {(i, j), (twins.get(i, i), twins.get(j, j))} if (
                i in twins and j in twins
            ) else {(i, j)}:
                total[[a, b], [b, a]] += centre
                count[[a, b], [b, a]] += 1
        with np.errstate(invalid="ignore"):
            distances: Array = total / count
        np.fill_diagonal(distances, 0.0)
        return distances

    def _equations(
        self, readings: Sequence[Reading]
    ) -> tuple[tuple[NDArray[np.int_], NDArray[np.int_], NDArray[np.int_]], Array]:
        """The rows between two holes with both their numbers, and all that is linear."""
        linear = np.zeros((len(readings) + self.holes, self.size))
        chords = []
        for row, reading in enumerate(readings):
            ends = (reading.first, reading.second)
            numbers = [self.index[end] for end in ends if end in self.index]
            for number in numbers:
                linear[row, self.size - self.holes + number] += REACH[reading.kind] / 2
            if len(numbers) == 2:
                chords.append((row, *numbers))
                continue
            # From the outer edge inwards: an edge is ahead of (left of) what it is measured to.
            edge, other = ends if ends[0] in OPPOSITE else ends[::-1]
            linear[row, self._edge_column[edge]] = _SIGN[edge]
            linear[row] -= _SIGN[edge] * self._mean((other,), _AXIS[edge])
        linear[len(readings) :, self.size - self.holes :] = np.eye(self.holes)
        rows, first, second = np.array(chords, dtype=np.int_).reshape(-1, 3).T
        return (rows, first, second), linear

    def _mean(self, names: Iterable[str], axis: int) -> Array:
        """The row that takes the mean x (axis 0) or y of holes and edges."""
        row = np.zeros(self.size)
        names = tuple(names)
        for name in names:
            column = self._edge_column.get(name)
            row[2 * self.index[name] + axis if column is None else column] += 1 / len(names)
        return row

    def _stated_rules(self) -> Iterator[Array]:
        survey = self.survey
        yield self._mean(survey.origin, 0)
        for left, right in survey.pairs:
            yield self._mean((left,), 0) - self._mean((right,), 0)
            yield self._mean((left, right), 1)
        for name in survey.on_centre_line:
            yield self._mean((name,), 1)
        if survey.middle:
            yield self._mean(survey.middle, 1)
        if survey.along:
            yield self._mean(survey.along[:1], 1) - self._mean(survey.along[1:], 1)

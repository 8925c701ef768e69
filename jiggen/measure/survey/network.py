"""The survey as equations: what every reading would be, and which places the plate's own rules
allow.

One vector holds all unknowns in mm: x and y of each hole, the place of each edge that was
measured from, and the diameter of each hole (measured too, so that a wrong diameter is found as
any other gross error is).  Rules (left/right pairs, centre line, origin) are all linear in it, so
they are met exactly by writing the unknowns as ``basis @ z`` with fewer, free unknowns `z`; the
plate's shift and turn on the paper, which no distance knows, go the same way.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import null_space

from jiggen.measure import REACH
from jiggen.measure.adjustment import Array
from jiggen.measure.survey.model import EDGES, OPPOSITE, Reading, Survey

_AXIS = {"front": 0, "rear": 0, "left": 1, "right": 1}
_SIGN = {"front": 1.0, "rear": -1.0, "left": 1.0, "right": -1.0}
_NEAR = 1e-9  # mm; keeps two holes put on the same spot from dividing by zero


ON_THE_LINE = 0.5
"""A hole so little on the wrong side, in mm, may well be on the right one."""


class Claim(NamedTuple):
    """That hole `name` lies where `key` of the survey says; `other` is what it is compared with.

    `row` (p,) takes from the unknowns how far in mm it does so.
    """

    key: str
    name: str
    other: str
    row: Array


class Network:
    """The equations of one survey, every reading with its standard uncertainty.

    Rows are the readings in the file's order, then the holes' diameters.  Columns are x0, y0,
    x1, y1 …, then `edges`, then diameters.  `values` and `sigmas` are (m,) in mm, `rules` (r, p)
    rows that are 0 on every place allowed, `basis` (p, k) orthonormal columns that span those.
    `sigma` in mm takes the place of the survey's own.
    """

    def __init__(self, survey: Survey, sigma: float | None = None) -> None:
        self.survey = survey
        self.holes = len(survey.holes)
        self.index = {name: number for number, name in enumerate(survey.holes)}
        ends = {end for reading in survey.readings for end in (reading.first, reading.second)}
        named = ends | set(survey.origin) | set(survey.middle)
        self.edges = tuple(edge for edge in EDGES if edge in named)
        self._edge_column: dict[str, int] = {
            edge: 2 * self.holes + number for number, edge in enumerate(self.edges)
        }
        self.size = 3 * self.holes + len(self.edges)
        usual = survey.sigma if sigma is None else sigma
        self.values = np.array([*(r.value for r in survey.readings), *survey.diameters])
        self.sigmas = np.array(
            [*(r.sigma or usual for r in survey.readings), *(usual for _ in survey.holes)]
        )
        self.weights = 1.0 / self.sigmas
        self.readings = len(self.values)
        self._chords, self.linear = self._equations(survey.readings)
        self.rules: Array = np.array(list(self._stated_rules()))
        self.basis: Array = null_space(self.rules)

    def without(self, row: int) -> Network:
        """The same equations with one row that counts for nothing."""
        other = object.__new__(Network)
        other.__dict__.update(self.__dict__)
        other.__dict__.pop("hole_distances", None)
        other.weights = self.weights.copy()
        other.weights[row] = 0.0
        return other

    def freed(self, rules: Array) -> Network:
        """The same readings under other rules."""
        other = object.__new__(Network)
        other.__dict__.update(self.__dict__)
        other.rules, other.basis = rules, null_space(rules)
        return other

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

    @cached_property
    def claims(self) -> tuple[Claim, ...]:
        """What the survey says of the sides on which holes lie."""
        survey = self.survey
        claims = [
            Claim(key, name, other, sign * (self._mean((name,), 0) - self._mean((other,), 0)))
            for key, names, sign in (("front", survey.front, 1.0), ("rear", survey.rear, -1.0))
            for name in names
            for other in survey.holes
            if other not in names
        ]
        claims += [
            Claim(key, name, "", sign * self._mean((name,), 1))
            for key, names, sign in (("left", survey.left, 1.0), ("right", survey.right, -1.0))
            for name in names
        ]
        claims += [
            Claim("pairs", a, b, self._mean((a,), 1) - self._mean((b,), 1)) for a, b in survey.pairs
        ]
        if survey.along:
            rear, front = survey.along
            ahead = self._mean((front,), 0) - self._mean((rear,), 0)
            claims.append(Claim("along", rear, front, ahead))
        claims += [
            Claim("edge", name, edge, self._inwards(edge, name))
            for edge in self.edges
            for name in survey.holes
        ]
        return tuple(claims)

    @cached_property
    def _sides(self) -> Array:
        return np.array([claim.row for claim in self.claims]).reshape(-1, self.size)

    def beyond(self, unknowns: Array) -> Array:
        """How far each of `claims` is missed in mm; 0 up to `ON_THE_LINE`, which can be noise."""
        missed: Array = -(self._sides @ unknowns)
        return np.where(missed > ON_THE_LINE, missed, 0.0)

    def wrong_side(self, unknowns: Array) -> float:
        """How far holes lie beyond where the survey says they are, summed, in mm."""
        return float(self.beyond(unknowns).sum())

    def mirrored(self) -> Iterator[tuple[tuple[str, ...], Array]]:
        """Pairs, then holes on the centre line, each with rows (r, p) that are 0 if they are so."""
        for left, right in self.survey.pairs:
            level = self._mean((left,), 0) - self._mean((right,), 0)
            yield (left, right), np.array([level, 2 * self._mean((left, right), 1)])
        for name in self.survey.on_centre_line:
            yield (name,), self._mean((name,), 1)[None]

    def chord_slope(self, unknowns: Array, first: int, second: int) -> Array:
        """(p,) how the distance of the centres of two holes grows with each unknown."""
        row = np.zeros(self.size)
        places = self.places(unknowns)
        apart = places[first] - places[second]
        apart = apart / (np.hypot(*apart) + _NEAR)
        row[2 * first : 2 * first + 2] = apart
        row[2 * second : 2 * second + 2] = -apart
        return row

    @cached_property
    def hole_distances(self) -> Array:
        """(n, n) centre distances as read, in mm, NaN where none was; the mean of several."""
        rows, first, second = (part[self.weights[self._chords[0]] > 0] for part in self._chords)
        sizes = self.linear[rows, -self.holes :] @ self.survey.diameters
        total, count = np.zeros((2, self.holes, self.holes))
        for a, b in ((first, second), (second, first)):
            np.add.at(total, (a, b), np.maximum(self.values[rows] - sizes, 0.1))
            np.add.at(count, (a, b), 1)
        distances: Array = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
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
            linear[row] += self._inwards(edge, other)
        linear[len(readings) :, self.size - self.holes :] = np.eye(self.holes)
        rows, first, second = np.array(chords, dtype=np.int_).reshape(-1, 3).T
        return (rows, first, second), linear

    def _inwards(self, edge: str, other: str) -> Array:
        """The row that takes how far a hole or an edge lies inwards of `edge`."""
        return _SIGN[edge] * (self._mean((edge,), _AXIS[edge]) - self._mean((other,), _AXIS[edge]))

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
        for _, rows in self.mirrored():
            yield from rows
        if survey.middle:
            yield self._mean(survey.middle, 1)
        if survey.along:
            yield self._mean(survey.along[:1], 1) - self._mean(survey.along[1:], 1)

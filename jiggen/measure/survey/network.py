"""The survey as equations: what each reading would be, and which places the plate's rules allow.

One vector holds all unknowns in mm: x and y of each hole, the place of each edge that was
measured from, and the diameter of each hole (measured too, so that a wrong diameter is found as
any other gross error is).  Rules (left/right pairs, centre line, origin) are all linear in it, so
they are met exactly by writing the unknowns as ``basis @ z`` with fewer, free unknowns `z`; the
plate's shift and turn on the paper, which no distance knows, go the same way.
"""

from __future__ import annotations

from collections.abc import Iterator
from copy import copy
from dataclasses import replace
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import null_space

from jiggen.measure import REACH
from jiggen.measure.adjustment import Array, Equations
from jiggen.measure.survey.read import OPPOSITE, Survey
from jiggen.measure.survey.scanned import ScannedRows

Numbers = NDArray[np.int_]

ON_THE_LINE = 0.5  # mm; a hole so little on the wrong side may well be on the right one

# The axis that each edge is across, and whether it is at its far end.
_EDGES = {"front": (0, 1.0), "rear": (0, -1.0), "left": (1, 1.0), "right": (1, -1.0)}
_NEAR = 1e-9  # mm; keeps two holes put on the same spot from dividing by zero


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

    Rows are the readings in the file's order, then the holes' diameters, then what scans tell of
    the places.  Columns are x0, y0, x1,
    y1 …, then `edges`, then diameters.  `linear` (m, p) is what is linear in the readings, `rules`
    (r, p) are 0 on every place allowed.  `sigma` in mm takes the place of the survey's own.
    """

    def __init__(self, survey: Survey, sigma: float | None = None) -> None:
        self.survey = survey
        self.holes = len(survey.holes)
        self.index = {name: number for number, name in enumerate(survey.holes)}
        named = {end for reading in survey.readings for end in (reading.first, reading.second)}
        named.update(survey.file.plate.origin, survey.file.plate.middle)
        self.edges = tuple(edge for edge in _EDGES if edge in named)
        self.size = 3 * self.holes + len(self.edges)
        usual = survey.file.sigma if sigma is None else sigma
        values = np.array([*(reading.value for reading in survey.readings), *survey.diameters])
        self.sigmas = np.array(
            [*(reading.sigma or usual for reading in survey.readings), *[usual] * self.holes]
        )
        scanned = survey.file.scanned
        self.scanned = ScannedRows(scanned, self.index) if scanned else None
        if self.scanned:
            values = np.concatenate([values, self.scanned.values])
            self.sigmas = np.concatenate([self.sigmas, self.scanned.sigmas])
        # rows that take the x, and the y, of holes and edges from the unknowns
        every, places = np.eye(self.size), 2 * self.holes
        self._at = [dict(zip(self.index, every[n:places:2], strict=True)) for n in (0, 1)]
        for edge, row in zip(self.edges, every[places:], strict=False):
            self._at[_EDGES[edge][0]][edge] = row
        self._linear()
        self.rules: Array = np.array(list(self._rules()))
        self.equations = Equations(
            predicted=self.predicted,
            slopes=self.slopes,
            values=values,
            weights=1.0 / self.sigmas,
            basis=null_space(self.rules),
            readings=len(values),
        )

    def without(self, row: int) -> Network:
        """The same with one row that counts for nothing."""
        other = copy(self)
        other.equations = self.equations.without(row)
        return other

    def freed(self) -> Network:
        """The same without rules, but that the mean of all holes is at the origin."""
        rules = [np.mean([at[name] for name in self.index], axis=0) for at in self._at]
        other = copy(self)
        other.equations = replace(self.equations, basis=null_space(np.array(rules)))
        return other

    @property
    def labels(self) -> list[str]:
        """What was read in each row, in words."""
        diameters = (f"diameter of {name}" for name in self.survey.holes)
        scanned = self.scanned.labels if self.scanned else []
        return [*map(str, self.survey.readings), *diameters, *scanned]

    @property
    def typical(self) -> float:
        """The standard uncertainty of a usual reading with a tool, in mm."""
        return float(np.median(self.sigmas[: self.read]))

    @property
    def read(self) -> int:
        """How many rows were read with a tool: distances, then diameters."""
        return len(self.survey.readings) + self.holes

    def places(self, unknowns: Array) -> Array:
        """(n, 2) hole centres in `unknowns` (p,)."""
        return unknowns[: 2 * self.holes].reshape(-1, 2)

    def predicted(self, unknowns: Array) -> Array:
        """(m,) what each reading would be, in mm."""
        predicted = self.linear @ unknowns
        first, second = self._chords.T
        places = self.places(unknowns)
        predicted[self._chord_rows] += np.hypot(*(places[first] - places[second]).T)
        if self.scanned:
            predicted[self.read :] += self.scanned.predicted(places)
        return predicted

    def slopes(self, unknowns: Array) -> Array:
        """(m, p) how each reading grows with each unknown: the rigidity matrix and more."""
        slopes = self.linear.copy()
        slopes[self._chord_rows] += self.chord_slopes(unknowns, self._chords)
        if self.scanned:
            slopes[self.read :] += self.scanned.slopes(self.places(unknowns), self.size)
        return slopes

    def chord_slopes(self, unknowns: Array, pairs: Numbers) -> Array:
        """(c, p) how the distances of the centres of pairs of holes grow with each unknown."""
        first, second = pairs.T
        places = self.places(unknowns)
        apart = places[first] - places[second]
        apart /= np.hypot(*apart.T)[:, None] + _NEAR
        slopes = np.zeros((len(pairs), self.size))
        for axis in (0, 1):
            slopes[range(len(pairs)), 2 * first + axis] = apart[:, axis]
            slopes[range(len(pairs)), 2 * second + axis] = -apart[:, axis]
        return slopes

    @cached_property
    def claims(self) -> tuple[Claim, ...]:
        """What the survey says of the sides on which holes lie."""
        plate, (x, y) = self.survey.file.plate, self._at
        claims = []
        for key, (axis, sign) in _EDGES.items():
            names = getattr(plate, key)
            for name in names:
                others = [other for other in self.index if axis == 0 and other not in names]
                claims += [Claim(key, name, other, sign * (x[name] - x[other])) for other in others]
                claims += [Claim(key, name, "", sign * y[name])] if axis else []
        claims += [Claim("pairs", a, b, y[a] - y[b]) for a, b in plate.pairs]
        if plate.along:
            rear, front = plate.along
            claims.append(Claim("along", rear, front, x[front] - x[rear]))
        for edge in self.edges:
            claims += [Claim("edge", name, edge, self._inwards(edge, name)) for name in self.index]
        return tuple(claims)

    def beyond(self, unknowns: Array) -> Array:
        """How far each of `claims` is missed in mm; 0 up to `ON_THE_LINE`, which can be noise."""
        missed: Array = -(self._sides @ unknowns)
        return np.where(missed > ON_THE_LINE, missed, 0.0)

    @cached_property
    def _sides(self) -> Array:
        return np.array([claim.row for claim in self.claims]).reshape(-1, self.size)

    def mirrored(self) -> Iterator[tuple[tuple[str, ...], Array]]:
        """Pairs, then holes on the centre line, each with rows (r, p) that are 0 if they are so."""
        x, y = self._at
        for a, b in self.survey.file.plate.pairs:
            yield (a, b), np.array([x[a] - x[b], y[a] + y[b]])
        for name in self.survey.file.plate.centre_line:
            yield (name,), y[name][None]

    def hole_distances(self) -> Array:
        """(n, n) centre distances as read, in mm, NaN where none was; the mean of several."""
        counted = self.equations.weights[self._chord_rows] > 0
        rows, (first, second) = self._chord_rows[counted], self._chords[counted].T
        sizes = self.linear[rows, -self.holes :] @ self.survey.diameters
        total, count = np.zeros((2, self.holes, self.holes))
        for pair in ((first, second), (second, first)):
            np.add.at(total, pair, np.maximum(self.equations.values[rows] - sizes, 0.1))
            np.add.at(count, pair, 1)
        distances: Array = np.divide(total, count, out=np.full_like(total, np.nan), where=count > 0)
        if self.scanned:
            distances[np.ix_(self.scanned.holes, self.scanned.holes)] = self.scanned.distances()
        np.fill_diagonal(distances, 0.0)
        return distances

    def _linear(self) -> None:
        """The rows between two holes with both their numbers, and all that is linear."""
        readings, first = self.survey.readings, self.size - self.holes
        self.linear = np.zeros((len(self.sigmas), self.size))
        self.linear[len(readings) : self.read, first:] = np.eye(self.holes)
        rows, chords = [], []
        for row, reading in enumerate(readings):
            ends = (reading.first, reading.second)
            numbers = [self.index[end] for end in ends if end in self.index]
            self.linear[row, [first + number for number in numbers]] = REACH[reading.kind] / 2
            if len(numbers) == 2:
                rows.append(row)
                chords.append(numbers)
            else:  # from the outer edge inwards
                self.linear[row] += self._inwards(*(ends if ends[0] in OPPOSITE else ends[::-1]))
        self._chord_rows = np.array(rows, dtype=np.int_)
        self._chords = np.array(chords, dtype=np.int_).reshape(-1, 2)

    def _inwards(self, edge: str, other: str) -> Array:
        """The row that takes how far a hole or an edge lies inwards of `edge`."""
        axis, sign = _EDGES[edge]
        return np.asarray(sign * (self._at[axis][edge] - self._at[axis][other]))

    def _rules(self) -> Iterator[Array]:
        plate, (x, y) = self.survey.file.plate, self._at
        yield np.mean([x[name] for name in plate.origin], axis=0)
        for _, rows in self.mirrored():
            yield from rows
        if plate.middle:
            yield np.mean([y[name] for name in plate.middle], axis=0)
        if plate.along:
            yield y[plate.along[0]] - y[plate.along[1]]

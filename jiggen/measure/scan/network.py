"""Scans as equations: where each hole would be seen in each picture, and what a caliper would read.

The unknowns in mm and rad: each hole's place, the turn and shift of each scan, two scales and the
angle of the scanner, its distortion as independent shapes, how much the rim's shadow moves each
hole, what all diameters are off by, and each hole's diameter.  All but the turns enter linearly.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import null_space

from jiggen.errors import InputError
from jiggen.measure import EDGES, NAME, REACH, Method
from jiggen.measure.adjustment import Array, Equations
from jiggen.measure.scan.matching import rigid
from jiggen.measure.scan.terms import BIAS, DIAMETER, SCALE, SQUARE, Scatter, modes

_QUARTER = np.array([[0.0, -1.0], [1.0, 0.0]])


@dataclass(frozen=True)
class Distance:
    """A caliper's reading between holes `first` and `second`, mm, and its standard uncertainty."""

    first: str
    second: str
    kind: Method
    value: float
    sigma: float

    def __str__(self) -> str:
        return f"{self.first} to {self.second}, {self.kind}"


@dataclass(frozen=True, eq=False)
class Sightings:
    """Holes as seen, mm: (k,) `scan`, `hole`, `sigma` of the edge, `diameter`; (k, 2) `at`."""

    scan: NDArray[np.int_]
    hole: NDArray[np.int_]
    at: Array
    sigma: Array
    diameter: Array
    names: tuple[str, ...]
    sources: tuple[str, ...]

    @property
    def holes(self) -> int:
        """How many holes there are."""
        return len(self.names)

    def without(self, names: Collection[str]) -> tuple[Sightings, NDArray[np.int_]]:
        """The same but for the holes `names`, and the numbers (n,) of those that stay."""
        staying = np.array([n for n, name in enumerate(self.names) if name not in names], dtype=int)
        rows = np.isin(self.hole, staying)
        seen = Sightings(
            self.scan[rows], np.searchsorted(staying, self.hole[rows]), self.at[rows],
            self.sigma[rows], self.diameter[rows], tuple(self.names[n] for n in staying),
            self.sources,
        )  # fmt: skip
        return seen, staying

    def called(self, names: Mapping[str, str]) -> Sightings:
        """The same with other names; raises InputError ``scan.name`` for what no hole is called."""
        called = tuple(names.get(name, name) for name in self.names)
        for name in called:
            good = NAME.fullmatch(name) and name not in EDGES
            if not good or called.count(name) > 1:
                what = "two holes would be called" if good else "no hole can be called"
                hint = "Each hole has a name of its own of up to 12 letters and digits."
                raise InputError.of("scan.name", f"{what} {name[:40]!r}", hint=hint)
        return replace(self, names=called)


class ScanNetwork:
    """The equations of `seen` for one `scatter`; rows are x, y and diameters seen, then distances,
    then what was known before.
    """

    def __init__(
        self, seen: Sightings, rough: Array, distances: Sequence[Distance], scatter: Scatter
    ) -> None:
        self.seen, self.distances = seen, tuple(distances)
        self.rough = rough
        n, scans, k = seen.holes, len(seen.sources), len(seen.scan)
        shapes = [modes(axis, scatter) for axis in seen.at.T]
        sizes = [2 * n, 3 * scans, 3, 2 * shapes[0].shape[1], 2 * shapes[1].shape[1], n, 1, n]
        ends = np.cumsum([0, *sizes])
        parts = [slice(a, b) for a, b in pairwise(ends.tolist())]
        (
            self.places, self.poses, self.affine, self.across, self.along, self.shade, self.bias,
            self.diameters,
        ) = parts  # fmt: skip
        self.size = int(ends[-1])
        rows = 3 * k + len(self.distances)
        self.linear = np.zeros((rows, self.size))
        self._linear_rows(shapes)
        self.shapes = slice(self.across.start, self.along.stop)
        self.distortion = np.asarray(sum(shape @ shape.T for shape in shapes))
        """(k, k) mm², of both axes."""
        before = np.eye(self.size)[self.affine.start : self.bias.stop]
        self.linear = np.vstack([self.linear, before])
        values = np.concatenate(
            [*seen.at.T, seen.diameter, [d.value for d in self.distances], np.zeros(len(before))]
        )
        noise = np.hypot(seen.sigma, scatter.noise)
        rims = np.array([np.ptp(seen.diameter[seen.hole == n]) for n in range(n)])
        widths = np.maximum(DIAMETER, rims[seen.hole] / 2)  # where more than one rim was seen
        ones = np.ones(self.shapes.stop - self.shapes.start)
        sigmas = np.concatenate(
            [noise, noise, widths, [d.sigma for d in self.distances],
             [SCALE, SCALE, SQUARE], ones, np.full(n, scatter.shade), [BIAS]]
        )  # fmt: skip
        self.equations = Equations(
            self.predicted, self.slopes, values, 1.0 / sigmas, self._basis(), rows
        )

    def _linear_rows(self, shapes: list[Array]) -> None:
        seen, k = self.seen, len(self.seen.scan)
        x, y, size = (self.linear[n * k : (n + 1) * k] for n in range(3))
        each = np.arange(k)
        mean = np.array([seen.diameter[seen.hole == n].mean() for n in range(seen.holes)])
        for axis, rows in enumerate((x, y)):
            rows[each, self.poses.start + 3 * seen.scan + axis] = 1.0
            for part, shape in ((self.across, shapes[0]), (self.along, shapes[1])):
                start = part.start + axis * shape.shape[1]
                rows[:, start : start + shape.shape[1]] = shape
        scale_x, scale_y, square = range(self.affine.start, self.affine.stop)
        x[:, scale_x], x[:, square], y[:, scale_y] = seen.at[:, 0], seen.at[:, 1], seen.at[:, 1]
        y[each, self.shade.start + seen.hole] = 1.0
        size[each, self.diameters.start + seen.hole] = 1.0
        size[:, self.bias.start] = 1.0
        size[:, scale_x] = size[:, scale_y] = mean[seen.hole] / 2
        index = {name: n for n, name in enumerate(seen.names)}
        self.ends = [(index[d.first], index[d.second]) for d in self.distances]
        for row, distance, pair in zip(
            self.linear[3 * k :], self.distances, self.ends, strict=True
        ):
            for hole in pair:
                row[self.diameters.start + hole] = REACH[distance.kind] / 2

    def _basis(self) -> Array:
        """Places whose mean is the origin and that do not turn from the rough ones as a whole."""
        n = self.seen.holes
        rules = np.zeros((3, 2 * n))
        rough = self.rough - self.rough.mean(axis=0)
        rules[0, 0::2] = rules[1, 1::2] = 1.0
        rules[2] = (rough @ _QUARTER.T).ravel()
        basis = np.eye(self.size)[:, 3:]
        basis[self.places, : 2 * n - 3] = null_space(rules)
        return basis

    def known_before(self, unknowns: slice) -> slice:
        """The rows that say what was known of `unknowns`, one for each."""
        first = self.equations.readings - self.affine.start
        return slice(first + unknowns.start, first + unknowns.stop)

    @cached_property
    def start(self) -> Array:
        """(p,) unknowns to begin with: the rough places, each scan laid upon them."""
        unknowns, seen = np.zeros(self.size), self.seen
        rough = self.rough - self.rough.mean(axis=0)
        unknowns[self.places] = rough.ravel()
        for scan in range(len(seen.sources)):
            here = seen.scan == scan
            turn, shift, _ = rigid(rough[seen.hole[here]], seen.at[here])
            begin = self.poses.start + 3 * scan
            unknowns[begin : begin + 3] = *shift, turn
        means = [seen.diameter[seen.hole == n].mean() for n in range(seen.holes)]
        unknowns[self.diameters] = means
        return unknowns

    def predicted(self, unknowns: Array) -> Array:
        """(m,) what would be seen, read and known."""
        k = len(self.seen.scan)
        out = self.linear @ unknowns
        places = unknowns[self.places].reshape(-1, 2)
        out[: 2 * k] += np.einsum(
            "aki,ki->ak", self._ways(unknowns), places[self.seen.hole]
        ).ravel()
        for n, (a, b) in enumerate(self.ends):
            out[3 * k + n] += math.dist(places[a], places[b])
        return np.asarray(out)

    def slopes(self, unknowns: Array) -> Array:
        """(m, p) how each grows with each unknown."""
        seen, k = self.seen, len(self.seen.scan)
        out = self.linear.copy()
        places = unknowns[self.places].reshape(-1, 2)
        each = self._ways(unknowns)
        swung = np.einsum("aki,ki->ak", each, places[seen.hole] @ _QUARTER.T)
        rows = np.arange(k)
        for axis, way in enumerate(each):
            out[axis * k + rows, 2 * seen.hole] += way[:, 0]
            out[axis * k + rows, 2 * seen.hole + 1] += way[:, 1]
            out[axis * k + rows, self.poses.start + 3 * seen.scan + 2] += swung[axis]
        for n, (a, b) in enumerate(self.ends):
            way = (places[a] - places[b]) / max(math.dist(places[a], places[b]), 1e-9)
            out[3 * k + n, 2 * a : 2 * a + 2] += way
            out[3 * k + n, 2 * b : 2 * b + 2] -= way
        return np.asarray(out)

    def _ways(self, unknowns: Array) -> Array:
        """(2, k, 2) by axis: how what is seen of each hole grows with its place."""
        turns = unknowns[self.poses][2::3][self.seen.scan]
        across, along = np.cos(turns), np.sin(turns)
        return np.array([[across, -along], [along, across]]).transpose(0, 2, 1)

    def places_of(self, unknowns: Array) -> Array:
        """(n, 2) the holes' places."""
        return np.asarray(unknowns[self.places].reshape(-1, 2))

    def labels(self) -> list[str]:
        """What was read in each row, in words."""
        seen = self.seen
        which = [
            f"hole {seen.names[hole]} in {seen.sources[scan]}"
            for hole, scan in zip(seen.hole, seen.scan, strict=True)
        ]
        words = [f"{one}, {what}" for what in ("across", "along", "diameter") for one in which]
        return [*words, *map(str, self.distances)]

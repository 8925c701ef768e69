"""From distances between the holes of a finished jig to where it will drill: use it or print again.

Few readings say all there is to say of two bodies and their joint, so what is known of any print
before it is measured counts too, as readings that are not as good.  Where little was measured, the
holes are given as that much less certain.

Scans show every hole, so each may also lie by itself off its place in its body, as far as one
printer puts the same hole twice; one that lies farther off is named, and counts where it is.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from itertools import pairwise
from operator import attrgetter
from typing import Literal, NamedTuple

import numpy as np

from jiggen.measure import adjustment
from jiggen.measure.adjustment import REGION, Adjustment, Array, Equations, derivative, gains
from jiggen.measure.printer.jig import (
    CALIPER_SPARE,
    USUAL_CALIPER,
    Notched,
    PrintedJig,
    Stretch,
    nearest_map,
    take_apart,
)
from jiggen.measure.printer.read import (
    BodyLength,
    PinReadings,
)
from jiggen.measure.printer.sighted import Sighted
from jiggen.tables import before_measured, error_terms, repeatability

Pair = tuple[str, str]
LEAST_LEFT = 3  # holes of a thing that say by their places how it was printed


def usual_limit(jig: PrintedJig) -> float:
    """How far a hole may be off, mm: what the check of the print lets pass at the farthest hole.

    A print that passed it is what the error budget counts on, so it passes here too.
    """
    terms = error_terms()["jig"]
    scale, caliper, square = (
        float(terms[name]["half_width"]) for name in ("print_scale", "caliper", "square")
    )
    across = [one.nominal for one in jig.lengths if one.direction == "across"]
    lean = square * float(np.abs(jig.asked[:, 1]).max()) / max(across) if across else 0.0
    farthest = float(np.hypot(*jig.asked.T).max())
    passed = max(scale * farthest / 100.0, float(terms["print_scale"]["least"]))
    return round(passed + caliper + lean, 2)


class Expected(NamedTuple):
    """Where one hole is expected, in mm: off by `dx` and `dy`, `off` in all, from the layout.

    In a half with a ladder for the boot for which it is worst.  `known` is the reach of its 95 %
    region; `at_worst` is off and known together.
    """

    id: str
    body: str
    dx: float
    dy: float
    off: float
    known: float
    at_worst: float

    def against(self, limit: float) -> Literal["good", "perhaps", "off"]:
        """Whether it surely lies within `limit` mm, perhaps, or surely does not."""
        if self.at_worst <= limit:
            return "good"
        return "off" if self.off - self.known > limit else "perhaps"


@dataclass(frozen=True, eq=False)
class PrintedFit:
    """A finished jig's readings and what they say, compared with `limit` in mm.

    `sighted` is what scans have of it; the holes that `slipped` lie where no other hole has them.
    """

    jig: PrintedJig
    readings: PinReadings
    fit: Adjustment
    limit: float
    sighted: tuple[Sighted, ...] = ()
    slipped: tuple[str, ...] = ()

    @property
    def labels(self) -> list[str]:
        """What was read in each row that is tested."""
        return [*map(str, self.readings.readings), *_labels(self.jig, self.sighted)]

    @property
    def lengths(self) -> list[tuple[BodyLength, Notched]]:
        """What was read on bodies, each with what it should be."""
        return lengths_of(self.jig, self.readings)

    @cached_property
    def places(self) -> Array:
        """(n, 2) where the holes are in use; mm, ski frame."""
        return self.jig.places(self.fit.parameters)

    @cached_property
    def covariance(self) -> Array:
        """(k, k) of the parameters, coarser where the readings proved to be coarser."""
        return np.asarray(self.fit.spread**2 * self.fit.covariance)

    @cached_property
    def expected(self) -> tuple[Expected, ...]:
        """Every hole, in the jig's order, with the jig set on the mark as is worst for it."""
        jig, ways = self.jig, []
        for way in range(jig.ways):
            places = partial(jig.places, way=way)
            slopes = derivative(places, self.fit.parameters)
            spreads = slopes @ self.covariance @ slopes.transpose(0, 2, 1)
            known = REGION * np.sqrt(np.clip(np.linalg.eigvalsh(spreads)[:, -1], 0.0, None))
            dx, dy = (places(self.fit.parameters) - jig.asked).T
            off = np.hypot(dx, dy)
            rows = zip(*(each.tolist() for each in (dx, dy, off, known, off + known)), strict=True)
            holes = ((hole, body.name) for body in jig.bodies for hole in body.holes)
            ways.append([Expected(*hole, *row) for hole, row in zip(holes, rows, strict=True)])
        return tuple(max(each, key=attrgetter("at_worst")) for each in zip(*ways, strict=True))

    @property
    def verdict(self) -> Literal["use", "reprint", "measure"]:
        """``use``: all holes are surely within the limit; ``reprint``: one surely is not."""
        found = {hole.against(self.limit) for hole in self.expected}
        return "reprint" if "off" in found else "measure" if "perhaps" in found else "use"

    @property
    def shapes(self) -> dict[str, Stretch]:
        """What leads the layout nearest to the jig: ``whole``, or each half by its body."""
        if len(self.jig.rigid) == 1:
            return {"whole": nearest_map(self.jig.asked, self.places)}
        ends = np.cumsum([len(body.holes) for body in self.jig.bodies])
        parts = zip(self.jig.bodies, np.split(self.places, ends), strict=False)
        return {body.name: nearest_map(body.at, at) for body, at in parts if len(at) > 1}

    @property
    def parts(self) -> dict[str, tuple[Array, Array]]:
        """What each body's printer does, then the joint, if there is one: numbers, how surely.

        Scale x, scale y and skew; of the ``joint`` gap and offset in mm and bend in degrees.
        """
        size = self.jig.size
        sure = np.sqrt(np.diag(self.covariance)[:size]).reshape(-1, 3)
        pairs = zip(self.fit.parameters[:size].reshape(-1, 3), sure, strict=True)
        return dict(zip([*(body.name for body in self.jig.bodies), "joint"], pairs, strict=False))

    @property
    def printer(self) -> tuple[Array, Array]:
        """Scale x, scale y and skew of the printer, from all bodies together, and how surely."""
        count = len(self.jig.bodies)
        information = np.linalg.inv(self.covariance[: 3 * count, : 3 * count])
        same = np.tile(np.eye(3), (count, 1))
        shared = np.linalg.inv(same.T @ information @ same)
        mean = shared @ same.T @ information @ self.fit.parameters[: 3 * count]
        return np.asarray(mean), np.asarray(np.sqrt(np.diag(shared)))

    @property
    def loose(self) -> bool:
        """Scans have bodies of it that stand on one joint, and none has them as one."""
        bodies = {hole: body.name for body in self.jig.bodies for hole in body.holes}
        joined = [{bodies[hole] for hole in one.holes} for one in self.sighted]
        wanted = [{body.name for body in one.bodies} for one in self.jig.rigid]
        return bool(joined) and not all(any(all_ <= one for one in joined) for all_ in wanted)

    @property
    def next_pair(self) -> tuple[str, str]:
        """Of pairs measured least often, that which makes the least certain hole most certain.

        None is longer than what the caliper has reached already.
        """
        least = max(range(len(self.expected)), key=lambda n: self.expected[n].known)
        times = Counter(frozenset(one.between) for one in self.readings.readings)
        reached = max((one.value for one in self.readings.readings), default=0.0)
        within = self.jig.within(max(reached + CALIPER_SPARE, USUAL_CALIPER)) or self.jig.pairs
        fewest = min(times[frozenset(pair)] for pair in within)
        pairs = [pair for pair in within if times[frozenset(pair)] == fewest]
        slopes = derivative(_chords(self.jig, pairs), self.fit.parameters)
        moves = derivative(self.jig.places, self.fit.parameters)[least]
        return pairs[int(gains(self.covariance, slopes, self.readings.caliper, moves).argmax())]


def fit_printed(
    jig: PrintedJig,
    readings: PinReadings,
    limit: float | None = None,
    sighted: Sequence[Sighted] = (),
) -> PrintedFit:
    """What `readings`, all between holes or on bodies of `jig`, say of where its holes are.

    They may be off by `limit` in mm, or else by the jig's `usual_limit`.
    A length of a body is known as well as its walls are thick or thin: it counts as what is known
    before, and is not tested for a gross error.  So do the distances of what scans have `sighted`,
    which were tested as scans: each hole is tested for lying where the others do not have it.
    """
    # the numbers of a print that comes out true
    bodies = take_apart(np.asarray(np.linalg.inv(jig.matrix)))[:3] * len(jig.bodies)
    own = 2 * len(jig.holes) if sighted else 0
    true = np.array([*bodies, *[0.0] * (jig.size - len(bodies) + own)])
    chords = _chords(jig, [reading.between for reading in readings.readings])
    rows, sigmas = (np.array(column) for column in zip(*_before(jig, len(true)), strict=True))
    count, spans = len(readings.readings), _spans(jig, readings)
    read = [one.value for one in readings.lengths]
    seen = [(one, _chords(jig, one.pairs)) for one in sighted]
    walls = float(error_terms()["jig"]["caliper"]["half_width"]) / math.sqrt(3)

    def measured(parameters: Array) -> Array:
        scans = [one.ways @ apart(parameters) for one, apart in seen]
        own = parameters[jig.size :]
        return np.concatenate([chords(parameters), own, *scans, spans(parameters)])

    ways = [one.values for one in sighted]
    known = [np.full(len(one), 1.0) for one in ways]
    equations = Equations(
        predicted=lambda parameters: np.concatenate([measured(parameters), rows @ parameters]),
        slopes=lambda parameters: np.vstack([derivative(measured, parameters), rows]),
        values=np.concatenate(
            [[one.centres for one in readings.readings], np.zeros(own), *ways, read, rows @ true]
        ),
        weights=np.concatenate(
            [
                np.full(count, 1.0 / readings.caliper),
                np.full(own, 1.0 / repeatability()),
                *known,
                np.full(len(read), 1.0 / walls),
                1.0 / sigmas,
            ]
        ),
        basis=np.eye(len(true)),
        readings=count + own,
    )
    fit = Adjustment(equations, adjustment.minimum(equations, true))
    most = usual_limit(jig) if limit is None else limit
    found = PrintedFit(jig, readings, fit, most, tuple(sighted))
    while found.fit.contradicts and (hole := _astray(found)) is not None:
        fit = found.fit.without(count + 2 * hole).without(count + 2 * hole + 1)
        found = replace(found, fit=fit, slipped=(*found.slipped, jig.holes[hole]))
    return found


def _astray(found: PrintedFit) -> int | None:
    """The hole that scans have farthest from where the others have it; None where none stands out.

    Of each thing that was scanned three must be left.
    """
    read = len(found.readings.readings)
    sizes = np.abs(found.fit.normalised[: found.fit.equations.readings])
    if sizes[read:].max(initial=0.0) <= sizes[:read].max(initial=0.0):
        return None
    off = np.hypot(*sizes[read:].reshape(-1, 2).T)
    for one in found.sighted:
        if len({*one.holes} - {*found.slipped}) <= LEAST_LEFT:
            off[[found.jig.holes.index(hole) for hole in one.holes]] = 0.0
    return int(off.argmax()) if off.max() > 0 else None


def _labels(jig: PrintedJig, sighted: Sequence[Sighted]) -> list[str]:
    ways = ("along", "across") if sighted else ()
    return [f"hole {hole}, {way}" for hole in jig.holes for way in ways]


def lengths_of(jig: PrintedJig, readings: PinReadings) -> list[tuple[BodyLength, Notched]]:
    """What was read on the bodies of `jig`, each with what it should be."""
    named = {f"{one.body}, {one.direction}": one for one in jig.lengths}
    return [(one, named[str(one)]) for one in readings.lengths]


def _spans(jig: PrintedJig, readings: PinReadings) -> Callable[[Array], Array]:
    """What leads parameters to the lengths of bodies that were read, in mm."""
    names = [body.name for body in jig.bodies]
    read = [(spec, names.index(spec.body)) for _, spec in lengths_of(jig, readings)]

    def lengths(parameters: Array) -> Array:
        prints = jig.prints(parameters)
        return np.array([one.of(prints[body]) for one, body in read])

    return lengths


def _chords(jig: PrintedJig, pairs: Sequence[Pair]) -> Callable[[Array], Array]:
    """What leads parameters to the distances of the centres of `pairs` of holes, in mm."""
    ends = [[jig.holes.index(hole) for hole in pair] for pair in pairs]
    first, second = np.array(ends, dtype=np.int64).reshape(-1, 2).T

    def distances(parameters: Array) -> Array:
        places = jig.places(parameters)
        return np.asarray(np.hypot(*(places[first] - places[second]).T))

    return distances


def _before(jig: PrintedJig, size: int) -> Iterator[tuple[Array, float]]:
    """What is known before: rows that take it from `size` parameters, and how surely."""
    every, count = np.eye(size), 3 * len(jig.bodies)
    bodies = every[:count].reshape(-1, 3, size)
    for scale_x, scale_y, skew in bodies:
        yield scale_x, before_measured("scale")
        yield scale_y - scale_x, before_measured("axes")
        yield skew, before_measured("skew")
    for one, other in pairwise(bodies):
        for row, what in zip(one - other, ("scale", "scale", "skew"), strict=True):
            yield row, before_measured(f"next_{what}")
    for of_joint, name in zip(every[count : jig.size], ("gap", "offset", "bend"), strict=False):
        yield of_joint, before_measured(f"joint_{name}")

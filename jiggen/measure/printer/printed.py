"""From distances between the holes of a finished jig to where it will drill: use it or print again.

Few readings say all there is to say of two bodies and their joint, so what is known of any print
before it is measured counts too, as readings that are not as good.  Where little was measured, the
holes are given as that much less certain.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import astuple, dataclass
from functools import cached_property, partial
from itertools import pairwise
from operator import attrgetter
from typing import Literal, NamedTuple

import numpy as np

from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.measure import adjustment
from jiggen.measure.adjustment import REGION, Adjustment, Array, Equations, derivative, gains
from jiggen.measure.printer.gauge_fit import PARAMETERS, beyond, contradiction
from jiggen.measure.printer.jig import (
    CALIPER_SPARE,
    USUAL_CALIPER,
    Notched,
    PrintedJig,
    Stretch,
    nearest_map,
    take_apart,
)
from jiggen.measure.printer.profile import Compensation, Fits, Profile, find_profile
from jiggen.measure.printer.read import (
    BUSH_FITS,
    SLIDES,
    BodyLength,
    PinReadings,
)
from jiggen.tables import before_measured, error_terms
from jiggen.units import counted

Pair = tuple[str, str]


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


@dataclass(frozen=True, eq=False)
class PrintedFit:
    """A finished jig's readings and what they say, compared with `limit` in mm."""

    jig: PrintedJig
    readings: PinReadings
    fit: Adjustment
    limit: float

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
        """``use``: all holes are surely within the limit; ``measure``: perhaps; ``reprint``: no."""
        if all(hole.at_worst <= self.limit for hole in self.expected):
            return "use"
        return "measure" if all(hole.off <= self.limit for hole in self.expected) else "reprint"

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
        sure = np.sqrt(np.diag(self.covariance)).reshape(-1, 3)
        pairs = zip(self.fit.parameters.reshape(-1, 3), sure, strict=True)
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


def fit_printed(jig: PrintedJig, readings: PinReadings, limit: float | None = None) -> PrintedFit:
    """What `readings`, all between holes or on bodies of `jig`, say of where its holes are.

    They may be off by `limit` in mm, or else by the jig's `usual_limit`.
    A length of a body is known as well as its walls are thick or thin: it counts as what is known
    before, and is not tested for a gross error.
    """
    # the numbers of a print that comes out true
    bodies = take_apart(np.asarray(np.linalg.inv(jig.matrix)))[:3] * len(jig.bodies)
    true = np.array([*bodies, *[0.0] * (jig.size - len(bodies))])
    chords = _chords(jig, [reading.between for reading in readings.readings])
    rows, sigmas = (np.array(column) for column in zip(*_before(jig), strict=True))
    count, spans = len(readings.readings), _spans(jig, readings)
    read = [one.value for one in readings.lengths]
    walls = float(error_terms()["jig"]["caliper"]["half_width"]) / math.sqrt(3)
    equations = Equations(
        predicted=lambda parameters: np.concatenate(
            [chords(parameters), spans(parameters), rows @ parameters]
        ),
        slopes=lambda parameters: np.vstack(
            [derivative(chords, parameters), derivative(spans, parameters), rows]
        ),
        values=np.array([*(one.centres for one in readings.readings), *read, *(rows @ true)]),
        weights=1.0 / np.array([*[readings.caliper] * count, *[walls] * len(read), *sigmas]),
        basis=np.eye(jig.size),
        readings=count,
    )
    fit = Adjustment(equations, adjustment.minimum(equations, true))
    return PrintedFit(jig, readings, fit, usual_limit(jig) if limit is None else limit)


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


def _before(jig: PrintedJig) -> Iterator[tuple[Array, float]]:
    """What is known before: rows (k,) that take it from the parameters, and how surely."""
    every, count = np.eye(jig.size), 3 * len(jig.bodies)
    bodies = every[:count].reshape(-1, 3, jig.size)
    for scale_x, scale_y, skew in bodies:
        yield scale_x, before_measured("scale")
        yield scale_y - scale_x, before_measured("axes")
        yield skew, before_measured("skew")
    for one, other in pairwise(bodies):
        for row, what in zip(one - other, ("scale", "scale", "skew"), strict=True):
            yield row, before_measured(f"next_{what}")
    for of_joint, name in zip(every[count:], ("gap", "offset", "bend"), strict=False):
        yield of_joint, before_measured(f"joint_{name}")


def refusals_of_print(found: PrintedFit) -> tuple[Finding, ...]:
    """What stands against it: ``printer.gross-error``, ``.disagree``, ``.off``, ``.unsure``."""
    source, limit = found.readings.source, found.limit
    if found.fit.contradicts:
        return (contradiction(found.fit, found.readings),)
    beyond_it = sum(one.at_worst > limit for one in found.expected)
    if off := [f"{one.id} by {one.off:.2f} mm" for one in found.expected if one.off > limit]:
        message = f"holes are off by more than {limit:g} mm: {adjustment.the_first(off, ', ')}"
        if rest := beyond_it - len(off):
            message += f"; {counted(rest, 'other')} may be, as surely as they are known"
        hint = "Do not drill with it: print it again with the corrected profile."
        return (Finding("printer.off", message, source, hint=hint),)
    worst = [(one.id, one.at_worst) for one in found.expected if one.at_worst > limit]
    if not worst:
        return ()
    named = adjustment.the_first([f"{hole} by {size:.2f} mm" for hole, size in worst], ", ")
    hint = f"Measure {' to '.join(found.next_pair)} as well, then look again."
    message = f"holes may be off by more than {limit:g} mm: {named}"
    return (Finding("printer.unsure", message, source, hint=hint),)


def profile_then(sent: Compensation | None, fits: Fits) -> Profile:
    """The profile that a jig was printed with: the stored one where that is still the same.

    Otherwise what follows from what was done to the jig's meshes, `sent`, and from the `fits`
    that it was designed with.  A jig printed as designed has the profile of a true print.
    """
    if sent is None:
        return Profile(name="as-designed")
    try:
        stored = find_profile(sent.printer)
        now = stored.compensation
        same = stored.fits(fits.bush_fit + stored.hole, fits.slide - stored.wall)
        then, would = (
            [*mesh.matrix.flat, mesh.height, *astuple(holes)]
            for mesh, holes in ((sent, fits), (now, same))
        )
        if np.allclose(then, would, rtol=0, atol=1e-6):
            return stored
    except InputError:  # deleted, or damaged since: the record still holds what matters
        pass
    return Profile(
        name="as-printed",
        scale_z=1.0 / sent.height,
        hole=-fits.hole_fit,
        bush_fit=float(np.clip(fits.bush_fit, *BUSH_FITS)),
        slide=float(np.clip(fits.slide, *SLIDES)),
    )


def corrected(found: PrintedFit, before: Profile, name: str) -> Profile:
    """`before` with the scales and the skew that the finished jig shows, under `name`.

    Raises CheckFailed ``printer.beyond`` where they are more than what is compensated.
    """
    plane, sure = (
        dict(zip(PARAMETERS[:3], np.round(each, 6).tolist(), strict=True)) for each in found.printer
    )
    if against := tuple(beyond(plane, found.readings.source)):
        raise CheckFailed(against)
    uncertainty = before.uncertainty.model_copy(update=sure)
    return before.model_copy(update={**plane, "name": name, "uncertainty": uncertainty})

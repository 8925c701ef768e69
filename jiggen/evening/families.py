"""Which pairs one jig may serve together, and the jigs that are tried for them.

What one jig serves is not monotone: where a range of boots and skis is served, a range within it
may be refused, since its parts find other places.  So nothing is concluded from a refusal but that
this one job has no jig; a jig that is planned is one that was tried, with the range it was tried
for; and how few jigs will do is only said by what no design can change (`_Family.may_serve`).
"""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from jiggen.accuracy.budget import COVERAGE
from jiggen.accuracy.terms import DIVISORS, default_terms
from jiggen.design import Settings, SkiRange
from jiggen.design.ladder import SHIFTS
from jiggen.errors import Finding, InputError
from jiggen.evening.check import Drilled, Pair, Terms
from jiggen.evening.cover import Box, around, fewest, fewest_to_make, joined
from jiggen.evening.owned import JigAtHand
from jiggen.evening.read import Row
from jiggen.job import Interval, Job, boots_alike, design_job, fits, obstacles
from jiggen.layout import motions

# A ski is measured where its pieces sit, and the rails touch it up to 60 mm farther out, where
# its sidecut makes it up to 2 mm wider: 2·(230² - 170²)/(2·R) mm at a radius R of 12 m about the
# mounting mark; tighter ones are rare (common practice, no source).
MARGIN = 2.0
USUAL_SKI = (84.0, 100.0)  # mm: a boot that is not served on these is itself the reason
# mm by which a range that is refused is made wider to find one that is served: boots and skis, at
# either end.  Tried on random ranges of the shipped patterns.
WIDER = (
    ((0.0, 1.0), (0.0, 0.0)),
    ((1.0, 0.0), (0.0, 0.0)),
    ((0.0, 0.0), (5.0, 0.0)),
    ((0.0, 0.0), (10.0, 0.0)),
    ((0.0, 0.0), (20.0, 0.0)),
    ((0.0, 0.0), (0.0, 10.0)),
    ((0.0, 1.0), (20.0, 10.0)),
    ((0.0, 5.0), (0.0, 0.0)),
    ((5.0, 0.0), (0.0, 0.0)),
)
# Of a job refused for these, a wider one is refused as well.
_HOPELESS = {"design.narrow", "design.ski-range", "design.ladder-side", "design.ladder-close"}
_ROUND = 6  # decimals of a shift, mm


@dataclass(frozen=True)
class Spans:
    """The widest ranges, in mm, that one jig may be asked to serve.

    With `slot`, a jig for many boots serves other mount shifts than its own by the slot it has.
    """

    boots: float = math.inf
    ski: float = math.inf
    slot: bool = True


@dataclass(frozen=True, eq=False)
class Need:
    """What one pair needs of a jig."""

    pair: Pair
    drilled: Drilled
    box: Box


@dataclass(frozen=True, eq=False)
class PairedJig:
    """A jig, and what it is for; `owned` is one that is there, None one that is to be made."""

    job: Job
    needs: list[Need]
    owned: JigAtHand | None = None


def slot_error(relief: float) -> float:
    """How much farther off along the ski, in mm, 95 of 100 mounts are by a mark from the slot.

    The slot's 0 is laid on the ski's mark and a new one drawn at a line of it: one more reading and
    one more mark, and the eye twice not straight above, the jig's `relief` over the ski.
    """
    terms = default_terms().jig
    mark, reading, eye = (
        one.reach / DIVISORS[one.distribution]
        for one in (terms.mark, terms.mark_reading, terms.parallax)
    )
    beside = relief * math.tan(math.radians(eye))
    return COVERAGE * math.hypot(mark, reading, beside, beside)


def ski_needed(row: Row) -> Interval:
    """Ski widths in whole mm that a jig must serve for a pair."""
    return skis_around(row.ski_toe, row.ski_heel)


def skis_around(*widths: float) -> Interval:
    """Ski widths in whole mm around those measured, as far as the noses may find others."""
    return float(math.floor(min(widths) - MARGIN)), float(math.ceil(max(widths) + MARGIN))


@dataclass(frozen=True, eq=False)
class Family:
    """Needs that one jig could serve if boots, widths and shifts allowed: `common` is all else."""

    common: Job
    needs: tuple[Need, ...]
    spans: Spans
    fitted: Callable[[Settings], Settings] | None = None
    owned: tuple[JigAtHand, ...] = ()

    def jigs(self) -> tuple[list[PairedJig], int]:
        """The fewest jigs to make that are found for the needs, and how many it takes at least.

        Before them, those owned that are used.
        """
        boxes = [need.box for need in self.needs]
        groups, used = fewest_to_make(boxes, self.serves, [frozenset(one) for one in self.drilled])
        _, least = fewest([need.box for need in self.unowned], self.may_serve)
        groups = joined(groups, least, self.serves_wider)
        found = [
            PairedJig(
                self.owned[number].made()[0],
                [replace(self.needs[n], drilled=self.drilled[number][n]) for n in mine],
                self.owned[number],
            )
            for number, mine in used.items()
        ]
        made = (PairedJig(self.job(box), [self.needs[n] for n in mine]) for mine, box in groups)
        return [*found, *made], least

    @cached_property
    def drilled(self) -> list[dict[int, Drilled]]:
        """For each jig owned the needs that it serves, by index, as it drills them."""
        return [
            {
                number: drilled
                for number, need in enumerate(self.needs)
                if (drilled := jig.drills(need.pair, need.drilled, self.common, self.spans.slot))
            }
            for jig in self.owned
        ]

    @cached_property
    def unowned(self) -> list[Need]:
        """The needs that no jig owned serves."""
        served = {number for mine in self.drilled for number in mine}
        return [need for number, need in enumerate(self.needs) if number not in served]

    def job(self, box: Box) -> Job:
        """The jig that serves `box`, which is served: that of the least range that was tried."""
        self.serves(box)
        return self.tried[min((one for one in self.tried if one.holds(box)), key=Box.size)]

    @cached_property
    def tried(self) -> dict[Box, Job]:
        """The jobs that have a jig, of those that were tried, by what each serves."""
        return {}

    @cached_property
    def refused(self) -> list[Box]:
        """What has no jig of its own."""
        return []

    def serves(self, box: Box) -> bool:
        """Whether one jig serves a box; for a start, a refusal counts for all that hold it."""
        if any(one.holds(box) for one in self.tried):
            return True
        if any(box.holds(one) for one in self.refused):
            return False
        return self._has_jig(box)

    def serves_wider(self, box: Box) -> bool:
        """Whether one jig serves a box, tried itself whatever else was refused, or a wider one."""
        if any(one.holds(box) for one in self.tried) or self._has_jig(box):
            return True
        return any(self._has_jig(wider) for wider in self._wider(box))

    def may_serve(self, box: Box) -> bool:
        """Whether the ranges asked for and the slot's lines let one jig serve a box.

        Of a box that it refuses it refuses every wider one, whatever a design could do.
        """
        still = boots_alike(self.common.pattern, box.boots)
        boots = 0.0 if still else box.boots[1] - box.boots[0]
        return (
            boots <= self.spans.boots
            and box.ski[1] - box.ski[0] <= self.spans.ski
            and box.shift[1] - box.shift[0] <= 2 * SHIFTS
        )

    def _has_jig(self, box: Box) -> bool:
        """Whether a job for just this box has a jig, which is kept in `tried`."""
        for job in self._jobs(box) if self.may_serve(box) else ():
            if self._fits(job) and (box.shift[0] == box.shift[1] or _has_slot(job)):
                self.tried[box] = job
                return True
        self.refused.append(box)
        return False

    def _fits(self, job: Job) -> bool:
        """Whether `job` can be served, and by the parts as the printer needs them too."""
        fitted = replace(job, settings=self.fitted(job.settings)) if self.fitted else job
        return fits(job) and (fitted == job or fits(fitted))

    def _jobs(self, box: Box) -> list[Job]:
        """The jobs that may serve `box`: for other shifts than its own a jig needs a ladder."""
        settings = replace(self.common.settings, ski=SkiRange(*box.ski))
        (low, high), boots = box.shift, [box.boots]
        if low < high and boots_alike(self.common.pattern, box.boots):
            least, most = box.boots
            boots = [(least, most + 1), (least - 1, most)]
        # The nearest to none from which the slot reaches all: in whole mm from each.
        shift = min(max(high - SHIFTS, low % 1), low + SHIFTS) if low < high else low
        jobs = [replace(self.common, boots=b, settings=settings, shift=shift) for b in boots]
        return [job for job in jobs if low == high or _all_move(job)]

    def _wider(self, box: Box) -> Iterator[Box]:
        for (shorter, longer), (narrower, broader) in WIDER:
            boots = box.boots[0] - shorter, box.boots[1] + longer
            yield Box(boots, (box.ski[0] - narrower, box.ski[1] + broader), box.shift)

    # -- what no jig serves ------------------------------------------------------------------------

    def unserved(self) -> Iterator[tuple[int, Finding]]:
        """What no jig can serve even by itself, with its row and why."""
        if not self.unowned or self.serves(around(need.box for need in self.unowned)):
            return
        for boots in dict.fromkeys(need.box.boots for need in self.unowned):
            together = [need for need in self.unowned if need.box.boots == boots]
            if self.serves(around(need.box for need in together)):
                continue
            for need in together:
                if self.serves(need.box):
                    continue
                if self._is_hopeless(need.box) or not self.serves_wider(need.box):
                    why = need.pair.place.at(self._column(need), self._why(need.box))
                    yield need.pair.number, why

    def _is_hopeless(self, box: Box) -> bool:
        """Whether a box is refused for what refuses a wider one as well."""
        codes = {one.code for job in self._jobs(box)[:1] for one in obstacles(job)}
        return bool(codes & _HOPELESS) or not self.may_serve(box)

    def _column(self, need: Need) -> str:
        """The column in which to correct what no jig can serve: the one that, changed, helps."""
        row = need.pair.row
        if row.shift and self._fits(replace(self._jobs(need.box)[0], shift=0.0)):
            return "shift"
        toe, heel = (
            self.serves(replace(need.box, ski=skis_around(width)))
            for width in (row.ski_toe, row.ski_heel)
        )
        if toe != heel:
            return "ski_heel" if toe else "ski_toe"
        usual = replace(need.box, ski=USUAL_SKI)
        return "boot" if not toe and not self.serves(usual) else "ski_toe"

    def _why(self, box: Box) -> Finding:
        least, most = box.ski
        if not self.may_serve(box):
            message = f"this pair alone needs a jig for skis from {least:g} to {most:g} mm"
            hint = f"Allow one jig a wider range of skis than {self.spans.ski:g} mm."
            return Finding("evening.ski-span", message, hint=hint)
        message = f"no jig serves skis from {least:g} to {most:g} mm here"
        for reason in obstacles(self._jobs(box)[0]):
            return Finding("evening.no-jig", f"{message}: {reason.message}", hint=reason.hint)
        return Finding("evening.no-jig", message)


def _all_move(job: Job) -> bool:
    """Whether each half of the jig would have a ladder, and with it a slot."""
    try:
        return not any(motion.still for motion in motions(job.lay_out_all()))
    except InputError:
        return False


def _has_slot(job: Job) -> bool:
    """Whether every half of the jig, which can be made, has a slot for mount shifts."""
    made = design_job(job, engraved=False).reusable
    return made is not None and all(half.tongue for half in made.halves)


def find_families(
    pairs: Iterable[Pair], terms: Terms, spans: Spans, owned: Iterable[JigAtHand] = ()
) -> list[Family]:
    """Needs that one jig might serve: alike but for boot, widths, and shift by a slot.

    Those `owned` are with every family: each says what it serves.
    """
    together: dict[object, tuple[Job, list[Need]]] = {}
    for pair in pairs:
        row, boots = pair.row, (pair.row.boot, pair.row.boot)
        pattern = replace(pair.pattern, source="", note="")  # what two files may differ in
        slot = spans.slot and not boots_alike(pattern, pattern.boot or (boots[0] - 1, boots[0] + 1))
        for drilled in pair.drilled:
            side, drills = drilled.layout.side, tuple(drilled.layout.diameters.tolist())
            shift = round(row.shift, _ROUND)
            need = Need(pair, drilled, Box(boots, ski_needed(row), (shift, shift)))
            common = Job(
                pattern,
                boots,
                terms.settings,
                row.core,
                side,
                shift,
                limits=terms.limits,
                printer=terms.printer,
                copy=terms.copy,
            )
            key = (pattern, drills, round(shift % 1, _ROUND) % 1 if slot else shift, side)
            together.setdefault(key, (common, []))[1].append(need)
    return [
        Family(common, tuple(_one_boot(needs)), spans, terms.fitted, tuple(owned))
        for common, needs in together.values()
    ]


def _one_boot(needs: Sequence[Need]) -> Iterator[Need]:
    """Boots that leave the holes where they are count as one range, so that one jig serves all."""
    pattern = needs[0].pair.pattern
    runs: list[Interval] = []
    for boot in sorted({need.pair.row.boot for need in needs}):
        if runs and boots_alike(pattern, (runs[-1][0], boot)):
            runs[-1] = (runs[-1][0], boot)
        else:
            runs.append((boot, boot))
    starts = [start for start, _ in runs]
    for need in needs:
        run = runs[bisect_right(starts, need.pair.row.boot) - 1]
        yield replace(need, box=replace(need.box, boots=run))

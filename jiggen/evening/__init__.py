"""Room: evening.  Many pairs at once: every row checked, the fewest jigs, the best order."""

import math
from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Literal

from jiggen.design import Settings, SkiRange
from jiggen.errors import Finding, InputError
from jiggen.evening.check import Drilled, Known, Pair, Terms, check_row
from jiggen.evening.cover import Box, Serves, around, fewest, remembered
from jiggen.evening.halves import Half, halves_of
from jiggen.evening.order import Block, Changes, Setting, run_order
from jiggen.evening.read import COLUMNS, Jobs, Row
from jiggen.job import Interval, Job, boots_alike, fits, obstacles
from jiggen.layout import Layout
from jiggen.pattern.model import Side
from jiggen.progress import announce
from jiggen.record.results import DepthStop

# A ski is measured where its pieces sit, and the rails touch it up to 60 mm farther out, where
# its sidecut makes it up to 2 mm wider: 2·(230² - 170²)/(2·R) mm at a radius R of 12 m about the
# mounting mark; tighter ones are rare (common practice, no source).
MARGIN = 2.0

USUAL_SKI = (84.0, 100.0)  # mm: a boot that is not served on these is itself the reason

DRILL_STEP, STOP_STEP = 0.05, 0.1  # mm: as finely as drills are stocked, and a stop can be set;
# common practice, no source


@dataclass(frozen=True)
class Spans:
    """The widest ranges, in mm, that one jig may be asked to serve."""

    boots: float = math.inf
    ski: float = math.inf


@dataclass(frozen=True, eq=False)
class Clamping:
    """One clamping: of the `half` of that name, or of a whole jig; its stops in order, from 1."""

    half: str
    stops: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Task:
    """One pair on one jig: for each ski drilled, its clampings in order."""

    pair: Pair
    drilled: Drilled
    skis: tuple[tuple[Side, tuple[Clamping, ...]], ...]


@dataclass(frozen=True, eq=False)
class PlannedJig:
    """A jig, the halves it is used by, its depth stops, and its tasks in the order they are done.

    A jig that is used whole has no halves.
    """

    job: Job
    halves: tuple[Half, ...]
    stops: tuple[DepthStop, ...]
    tasks: tuple[Task, ...]


@dataclass(frozen=True, eq=False)
class Plan:
    """The evening: pairs in the file's order, jigs in the order they are used.

    No fewer than `bound` jigs can serve the pairs.  `changes` is how often jig, drill and stop
    are changed; `exact` whether no order has fewer.
    """

    pairs: tuple[Pair, ...]
    jigs: tuple[PlannedJig, ...]
    bound: int
    changes: Changes
    exact: bool

    @property
    def skis(self) -> int:
        """How many skis come to the bench."""
        return sum(len(task.skis) for jig in self.jigs for task in jig.tasks)

    @property
    def clampings(self) -> int:
        """How many times a jig, or a half of one, is clamped on a ski."""
        skis = (ways for jig in self.jigs for task in jig.tasks for _, ways in task.skis)
        return sum(map(len, skis))


@dataclass(frozen=True)
class Outcome:
    """What became of a jig: where it is, what is wrong with it if it failed, what to beware of.

    One that is planned is still to be built there.
    """

    state: Literal["planned", "built", "found", "failed"]
    folder: Path
    faults: tuple[Finding, ...] = ()
    warnings: tuple[Finding, ...] = ()


def plan_evening(jobs: Jobs, terms: Terms, spans: Spans = Spans()) -> Plan:
    """Check every row and plan the evening.  Raises InputError with every fault of every row."""
    known: Known = {}
    pairs: list[Pair] = []
    faults = list(jobs.faults)
    for number, place in enumerate(jobs.places):
        if number not in jobs.rows and number not in jobs.partly:
            continue
        whole = jobs.rows.get(number)
        row, unread = (whole, frozenset[str]()) if whole else jobs.partly[number]
        announce(f"checking {place.where}")
        pair, found = check_row(number, row, place, jobs.file.parent, known, terms, unread)
        faults += ((number, finding) for finding in found)
        pairs += [pair] if pair else []
    families = _families(pairs, terms, spans)
    for family in families:
        announce(f"jigs for {family.common.pattern.name}")
        faults += family.unserved()
    if faults:
        order = {name: number for number, name in enumerate(COLUMNS)}
        # in a row, what is of no column comes first
        faults.sort(key=lambda one: (one[0], order.get(one[1].key.rpartition(".")[2], -1)))
        raise InputError(finding for _, finding in faults)
    jigs: list[_Jig] = []
    bound = 0
    for family in families:
        announce(f"fewest jigs for {family.common.pattern.name}")
        groups, least = fewest([need.box for need in family.needs], family.serves)
        bound += least
        jigs += ((family.job(box), [family.needs[n] for n in needs]) for needs, box in groups)
    return _ordered(tuple(pairs), jigs, bound)


@dataclass(frozen=True, eq=False)
class _Need:
    """What one pair needs of a jig."""

    pair: Pair
    drilled: Drilled
    box: Box


_Jig = tuple[Job, list[_Need]]
"""A jig, and what it is for."""


@dataclass(frozen=True, eq=False)
class _Family:
    """Needs that one jig could serve if boots and widths allowed: `common` is all else."""

    common: Job
    needs: tuple[_Need, ...]
    spans: Spans
    fitted: Callable[[Settings], Settings] | None = None

    def job(self, box: Box) -> Job:
        """The jig that serves `box`."""
        settings = replace(self.common.settings, ski=SkiRange(*box.ski))
        return replace(self.common, boots=box.boots, settings=settings)

    @cached_property
    def serves(self) -> Serves:
        """Whether one jig, within the ranges asked for, serves a box."""
        return remembered(lambda box: not self._too_wide(box) and self._fits(self.job(box)))

    def _fits(self, job: Job) -> bool:
        """Whether `job` can be served, and by the parts as the printer needs them too."""
        fitted = replace(job, settings=self.fitted(job.settings)) if self.fitted else job
        return fits(job) and (fitted == job or fits(fitted))

    def _too_wide(self, box: Box) -> bool:
        same = boots_alike(self.common.pattern, box.boots)
        boots = 0.0 if same else box.boots[1] - box.boots[0]
        return boots > self.spans.boots or box.ski[1] - box.ski[0] > self.spans.ski

    def unserved(self) -> Iterator[tuple[int, Finding]]:
        """What no jig can serve even by itself, with its row and why."""
        for boots in dict.fromkeys(need.box.boots for need in self.needs):
            together = [need for need in self.needs if need.box.boots == boots]
            if self.serves(around(need.box for need in together)):
                continue
            for need in together:
                if not self.serves(need.box):
                    why = need.pair.place.at(self._column(need), self._why(need.box))
                    yield need.pair.number, why

    def _column(self, need: _Need) -> str:
        """The column in which to correct what no jig can serve: the one that, changed, helps."""
        row = need.pair.row
        if self.common.shift and self._fits(replace(self.job(need.box), shift=0.0)):
            return "shift"
        toe, heel = (
            self.serves(replace(need.box, ski=_around(width)))
            for width in (row.ski_toe, row.ski_heel)
        )
        if toe != heel:
            return "ski_heel" if toe else "ski_toe"
        usual = Box(need.box.boots, USUAL_SKI)
        return "boot" if not toe and not self.serves(usual) else "ski_toe"

    def _why(self, box: Box) -> Finding:
        least, most = box.ski
        if self._too_wide(box):
            message = f"this pair alone needs a jig for skis from {least:g} to {most:g} mm"
            hint = f"Allow one jig a wider range of skis than {self.spans.ski:g} mm."
            return Finding("evening.ski-span", message, hint=hint)
        message = f"no jig serves skis from {least:g} to {most:g} mm here"
        for reason in obstacles(self.job(box)):
            return Finding("evening.no-jig", f"{message}: {reason.message}", hint=reason.hint)
        return Finding("evening.no-jig", message)


def _families(pairs: Sequence[Pair], terms: Terms, spans: Spans) -> list[_Family]:
    """Needs that differ in boot and widths alone, together."""
    together: dict[object, tuple[Job, list[_Need]]] = {}
    for pair in pairs:
        row, boots = pair.row, (pair.row.boot, pair.row.boot)
        pattern = replace(pair.pattern, source="", note="")  # what two files may differ in
        for drilled in pair.drilled:
            side, drills = drilled.layout.side, tuple(drilled.layout.diameters.tolist())
            need = _Need(pair, drilled, Box(boots, ski_needed(row)))
            common = Job(
                pattern,
                boots,
                terms.settings,
                row.core,
                side,
                row.shift,
                limits=terms.limits,
                printer=terms.printer,
            )
            key = (pattern, drills, row.shift, side)
            together.setdefault(key, (common, []))[1].append(need)
    return [
        _Family(common, tuple(_one_boot(needs)), spans, terms.fitted)
        for common, needs in together.values()
    ]


def _one_boot(needs: Sequence[_Need]) -> Iterator[_Need]:
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


def ski_needed(row: Row) -> Interval:
    """Ski widths in whole mm that a jig must serve for a pair."""
    return _around(row.ski_toe, row.ski_heel)


def _around(*widths: float) -> Interval:
    return float(math.floor(min(widths) - MARGIN)), float(math.ceil(max(widths) + MARGIN))


def _ordered(pairs: tuple[Pair, ...], jigs: Sequence[_Jig], bound: int) -> Plan:
    """The plan with jigs, halves and stops in the order that changes them the fewest times."""
    stops = [_stops(needs[0].drilled) for _, needs in jigs]
    halves = [halves_of(job) for job, _ in jigs]
    order = run_order(
        [
            Block(
                _by_half(needs[0].drilled.layout, own, mine),
                sum(len(need.drilled.skis) for need in needs),
            )
            for (_, needs), own, mine in zip(jigs, halves, stops, strict=True)
        ]
    )
    planned = []
    for number, skis in zip(order.blocks, order.skis, strict=True):
        (job, needs), names = jigs[number], [half.name for half in halves[number]] or [""]
        first = (setting for clamping in skis[0] for setting in clamping.settings)
        numbers = {setting: n for n, setting in enumerate(dict.fromkeys(first), start=1)}
        ways = (
            tuple(
                Clamping(names[half], tuple(numbers[setting] for setting in settings))
                for half, settings in ski
            )
            for ski in skis
        )
        tasks = tuple(
            Task(need.pair, need.drilled, tuple((ski, next(ways)) for ski in need.drilled.skis))
            for need in needs
        )
        mine = tuple(stops[number][setting] for setting in numbers)
        planned.append(PlannedJig(job, halves[number], mine, tasks))
    return Plan(pairs, tuple(planned), bound, order.changes, order.exact)


def _by_half(
    layout: Layout, halves: Sequence[Half], stops: Mapping[Setting, DepthStop]
) -> tuple[tuple[Setting, ...], ...]:
    """The settings that each half needs; all of them where a jig is used whole."""
    shares = [half.drills(layout) for half in halves] or [frozenset(layout.ids)]
    return tuple(
        tuple(setting for setting, stop in stops.items() if share & set(stop.holes))
        for share in shares
    )


def _stops(drilled: Drilled) -> dict[Setting, DepthStop]:
    """The depth stops of a layout, those that a hand cannot tell apart as one."""
    found: dict[Setting, DepthStop] = {}
    for stop in drilled.drilling.stops:
        key = setting_of(stop)
        if first := found.get(key):
            stop = first.model_copy(update={"holes": first.holes + stop.holes})
        found[key] = stop
    return found


def setting_of(stop: DepthStop) -> Setting:
    """The drill and the stop as finely as a hand tells them apart."""
    return Setting(round(stop.drill / DRILL_STEP), round(stop.from_tip / STOP_STEP))

"""Room: evening.  Many pairs at once: every row checked, the fewest jigs, the best order."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from jiggen.errors import Finding, InputError
from jiggen.evening.check import Drilled, Known, Pair, Terms, check_row
from jiggen.evening.families import PairedJig, Spans, find_families, slot_error
from jiggen.evening.halves import Half, halves_of
from jiggen.evening.order import Block, Changes, Setting, run_order
from jiggen.evening.owned import JigAtHand
from jiggen.evening.read import COLUMNS, Jobs
from jiggen.job import Job
from jiggen.layout import Layout
from jiggen.pattern.model import Side
from jiggen.progress import announce
from jiggen.record.results import DepthStop

DRILL_STEP, STOP_STEP = 0.05, 0.1  # mm: as finely as drills are stocked, and a stop can be set;
# common practice, no source


@dataclass(frozen=True, eq=False)
class Clamping:
    """One clamping: of the `half` of that name, or of a whole jig; its stops in order, from 1."""

    half: str
    stops: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class Task:
    """One pair on one jig: for each ski drilled, its clampings in order.

    `by_slot` is the mount shift in mm that is set by the jig's slot, on top of the jig's own.
    """

    pair: Pair
    drilled: Drilled
    skis: tuple[tuple[Side, tuple[Clamping, ...]], ...]
    by_slot: float = 0.0


@dataclass(frozen=True, eq=False)
class PlannedJig:
    """A jig, the halves it is used by, its depth stops, and its tasks in the order they are done.

    A jig that is used whole has no halves.  One that is `owned` is there, any other to be made.
    """

    job: Job
    halves: tuple[Half, ...]
    stops: tuple[DepthStop, ...]
    tasks: tuple[Task, ...]
    owned: JigAtHand | None = None

    @property
    def shifts(self) -> tuple[float, ...]:
        """The mount shifts of its pairs in mm, each once; all but its own are set by its slot."""
        return tuple(sorted({task.pair.row.shift for task in self.tasks}))

    @property
    def slot_error(self) -> float:
        """How much farther off along the ski, in mm, a shift that is set by its slot may be."""
        return slot_error(self.job.settings.relief)


@dataclass(frozen=True, eq=False)
class Plan:
    """The evening: pairs in the file's order, jigs in the order they are used.

    No fewer than `bound` jigs can serve the pairs beside those owned, whatever their design.
    `changes` is how often jig, drill and stop are changed; `exact` whether no order has fewer.
    """

    pairs: tuple[Pair, ...]
    jigs: tuple[PlannedJig, ...]
    bound: int
    changes: Changes
    exact: bool

    @property
    def to_make(self) -> int:
        """How many jigs are not owned."""
        return sum(not jig.owned for jig in self.jigs)

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

    One that is planned is still to be built there, and one that is owned was there before;
    `jig_mark` is that of one that is there.
    """

    state: Literal["planned", "built", "found", "failed", "owned"]
    folder: Path
    faults: tuple[Finding, ...] = ()
    warnings: tuple[Finding, ...] = ()
    jig_mark: str = ""


def plan_evening(
    jobs: Jobs, terms: Terms, spans: Spans | None = None, owned: Sequence[JigAtHand] = ()
) -> Plan:
    """Check every row and plan the evening: those jigs to make are the fewest beside those `owned`.

    Of jigs owned that serve as much, the first ones are used.  Raises InputError with every fault
    of every row.
    """
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
    every = find_families(pairs, terms, spans or Spans(), owned)
    for family in every:
        announce(f"jigs for {family.common.pattern.name}")
        faults += family.unserved()
    if faults:
        order = {name: number for number, name in enumerate(COLUMNS)}
        # in a row, what is of no column comes first
        faults.sort(key=lambda one: (one[0], order.get(one[1].key.rpartition(".")[2], -1)))
        raise InputError(finding for _, finding in faults)
    jigs: list[PairedJig] = []
    bound = 0
    for family in every:
        announce(f"fewest jigs for {family.common.pattern.name}")
        fewest, least = family.jigs()
        bound += least
        jigs += fewest
    return _ordered(tuple(pairs), _each_once(jigs), bound)


def _each_once(jigs: Iterable[PairedJig]) -> list[PairedJig]:
    """The jigs, with one that is owned and serves several families there once."""
    found: dict[object, PairedJig] = {}
    for jig in jigs:
        key = jig.owned or jig
        before = found.get(key)
        found[key] = replace(jig, needs=[*before.needs, *jig.needs]) if before else jig
    return [*found.values()]


def _ordered(pairs: tuple[Pair, ...], jigs: Sequence[PairedJig], bound: int) -> Plan:
    """The plan with jigs, halves and stops in the order that changes them the fewest times."""
    stops = [_stops(jig.needs[0].drilled) for jig in jigs]
    halves = [halves_of(jig.job, jig.owned.made()[1] if jig.owned else {}) for jig in jigs]
    order = run_order(
        [
            Block(
                _by_half(jig.needs[0].drilled.layout, own, mine),
                sum(len(need.drilled.skis) for need in jig.needs),
            )
            for jig, own, mine in zip(jigs, halves, stops, strict=True)
        ]
    )
    planned = []
    for number, skis in zip(order.blocks, order.skis, strict=True):
        jig, names = jigs[number], [half.name for half in halves[number]] or [""]
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
            Task(
                need.pair,
                need.drilled,
                tuple((ski, next(ways)) for ski in need.drilled.skis),
                round(need.pair.row.shift - jig.job.shift, 3) + 0.0,
            )
            for need in jig.needs
        )
        mine = tuple(stops[number][setting] for setting in numbers)
        planned.append(PlannedJig(jig.job, halves[number], mine, tasks, jig.owned))
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

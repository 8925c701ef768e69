"""Common ground: one jig that is asked for; what one can serve, by designing it without CAD."""

import math
from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from jiggen.accuracy.budget import (
    AnyBudget,
    OverBoots,
    boot_budgets,
    jig_budget,
    sheet_budget,
)
from jiggen.accuracy.causes import Print
from jiggen.accuracy.centring import find_centring
from jiggen.accuracy.depth import most_too_deep
from jiggen.accuracy.lift import find_lift
from jiggen.accuracy.reach import find_reach
from jiggen.accuracy.sections import Array
from jiggen.accuracy.support import weak_holes
from jiggen.accuracy.sweep import sweep_stations
from jiggen.accuracy.terms import Terms, default_terms
from jiggen.design import Bush, Design, Settings, SkiRange, design_jig
from jiggen.design.reusable import Reusable, design_reusable
from jiggen.design.settings import BushChoice
from jiggen.drilling import DrillingLimits, SkiState, screws_of
from jiggen.errors import Finding, InputError
from jiggen.files import plain_name
from jiggen.layout import Layout, layouts, motions, whole_boots
from jiggen.measure.printer.profile import Profile
from jiggen.pattern.model import Core, Pattern, Screw, Side
from jiggen.progress import announce
from jiggen.record.results import round_up
from jiggen.tables import USUAL

# What keeps a jig from being made that another bed, ski range or boot may allow.
MENDED = {
    f"design.{code}"
    for code in ("bed", "clash", "ladder-close", "ladder-side", "narrow", "no-place", "no-room")
}
LONGEST_SHOWN = 40  # characters of a pattern's or a printer's name in a folder's
COMMON_BEDS = (220.0, 256.0, 300.0, 350.0)  # mm, square, of printers sold (from memory)

Interval = tuple[float, float]
"""Least and greatest length in mm, both included."""


@dataclass(frozen=True)
class Job:
    """One jig that is asked for; all lengths in mm.

    `boots` are the shortest and the longest boot sole, equal for a single boot; `shift` moves the
    mount, + towards the tip; `side` matters for mirrored patterns alone; `measured` is what is
    known of the ski in hand and `limits` what is asked of its holes; `printer` the profile of the
    printer, None for a true one; `copy` counts the prints of one jig, each with its own jig mark.
    """

    pattern: Pattern
    boots: Interval
    settings: Settings
    core: Core = "plain"
    side: Side = "left"
    shift: float = 0.0
    measured: SkiState = field(default_factory=SkiState)
    limits: DrillingLimits = field(default_factory=DrillingLimits)
    printer: Profile | None = None
    copy: int = 1

    @property
    def skis(self) -> Interval:
        """Narrowest and widest ski."""
        return self.settings.ski.least, self.settings.ski.most

    @property
    def one_boot(self) -> bool:
        """Whether it is for a single boot sole length."""
        return self.boots[0] == self.boots[1]

    @property
    def whole_boots(self) -> Interval:
        """The whole boot lengths around its boots: a ladder has a line for each of them."""
        return float(math.floor(self.boots[0])), float(math.ceil(self.boots[1]))

    @property
    def ski_in_hand(self) -> SkiState:
        """What is known of the ski, with the pattern's area unless another one was measured."""
        return replace(self.measured, area=self.measured.area or self.pattern.area)

    @property
    def screws(self) -> Mapping[str, Screw]:
        """The pattern's screws by the hole that they go into."""
        return screws_of(self.pattern)

    def lay_out(self, boot: float | None = None) -> Layout:
        """The holes for `boot`, or for the shortest of its boots.  Raises InputError."""
        sole = self.boots[0] if boot is None else boot
        return self._lay_out((sole,))[sole]

    def lay_out_all(self) -> dict[float, Layout]:
        """The holes by boot: of the single one, or of every whole length around its boots.

        Raises InputError for boots that the pattern does not serve.
        """
        return self._lay_out(self.boots[:1] if self.one_boot else whole_boots(*self.whole_boots))

    def _lay_out(self, boots: tuple[float, ...]) -> dict[float, Layout]:
        return layouts(self.pattern, boots, mount_shift=self.shift, core=self.core, side=self.side)


def known_print(printer: Profile | None, *, checked: bool) -> Print:
    """What is known of a print that was corrected for `printer`, its check passed or not."""
    if printer is None:
        return Print(checked)
    sure = printer.uncertainty
    scale = max(sure.scale_x or 0.0, sure.scale_y or 0.0)
    return Print(checked, 100 * scale, sure.skew, printer.bush_fit is not None)


def deepest(layout: Layout, limits: DrillingLimits) -> dict[str, float]:
    """How much too deep each hole may come out, mm, before the jig that drills it is designed."""
    terms, angle = default_terms().depth, limits.point_angle
    drills = zip(layout.ids, layout.diameters.tolist(), strict=True)
    return {hole: round_up(most_too_deep(drill, terms, angle)) for hole, drill in drills}


def folder_name(pattern: str, *boots: float, more: Iterable[str] = ()) -> str:
    """A plain folder name: a pattern, its boot or its shortest and longest one, and `more`."""
    name = plain_name(pattern[:LONGEST_SHOWN], "jig")[:LONGEST_SHOWN].rstrip("-")
    return "-".join([name, *(f"{boot:g}" for boot in dict.fromkeys(boots)), *more])


def mount_words(mirrored: bool, side: Side, shift: float, core: Core) -> Iterator[str]:
    """Words of a folder's name for what tells it from the usual mount of its pattern."""
    if mirrored:
        yield side
    if shift:
        yield f"{'tip' if shift > 0 else 'tail'}{abs(shift):g}"
    if core != "plain":
        yield core


def bush_words(bush: BushChoice) -> Iterator[str]:
    """Likewise for a bush."""
    if isinstance(bush, Bush):
        yield f"bush{bush.outside:g}x{bush.length:g}"
    elif bush == "none":
        yield "nobush"


def printer_words(printer: Profile | None) -> Iterator[str]:
    """Likewise for a printer."""
    if printer:
        yield plain_name(printer.name, "printer")[:LONGEST_SHOWN]


def copy_words(copy: int) -> Iterator[str]:
    """Likewise for another copy of the same."""
    if copy != 1:
        yield f"copy{copy}"


def job_name(job: Job) -> str:
    """A plain folder name for the jig of `job`: what distinguishes it, as far as that is short.

    Jigs that differ in anything else share a name, and neither replaces the other unasked.
    """
    settings = job.settings
    more = (
        f"on-{settings.ski.least:g}-{settings.ski.most:g}",
        *mount_words(job.pattern.pair == "mirrored", job.side, job.shift, job.core),
        *bush_words(settings.bush),
        *printer_words(job.printer),
        *([] if settings.material == USUAL else [plain_name(settings.material, "plastic")]),
        *copy_words(job.copy),
    )
    return folder_name(job.pattern.name, *job.boots, more=more)


@dataclass(frozen=True, eq=False)
class JobDesign:
    """The design of a job: `whole` has all parts; `reusable` its ladders, None where it has none.

    `alone` are the designs that go on a ski by themselves: the whole, or each half.
    """

    whole: Design
    reusable: Reusable | None

    @property
    def alone(self) -> tuple[Design, ...]:
        """What goes on a ski by itself."""
        if self.reusable is None:
            return (self.whole,)
        return tuple(half.design for half in self.reusable.halves)

    @property
    def places(self) -> Iterator[dict[str, float]]:
        """The x of stations by name: of the whole, or of each half once for each of its boots."""
        for design in self.alone if self.reusable is None else ():
            yield {station.name: station.x for station in design.stations}
        for half in self.reusable.halves if self.reusable else ():
            names = [station.name for station in half.design.stations]
            for boot in half.motion.boots.tolist():
                yield dict(zip(names, half.stations_at(boot), strict=True))


def design_job(
    job: Job,
    settings: Settings | None = None,
    *,
    layouts: Mapping[float, Layout] | None = None,
    engraved: bool = True,
    jig_mark: str = "",
) -> JobDesign:
    """The design of a jig for `job`: halves with ladders where its boots move the holes.

    `settings` are used instead of the job's own, `layouts` are its layouts where they are known;
    without `engraved` it is designed quickly; `jig_mark` is engraved on its bodies.  Its stations
    stand where the error is least if the usual design, which is shorter, is not steady enough.
    Raises InputError when there is no jig.
    """
    settings = settings or job.settings
    every = layouts or job.lay_out_all()

    def design(closest: bool) -> JobDesign:
        how = {"closest": closest, "engraved": engraved}
        if moves_holes(every):
            jig = design_reusable(every, settings, jig_mark=jig_mark, **how)
            return JobDesign(jig.whole, jig)
        boots = None if job.one_boot else (min(every), max(every))
        whole = design_jig(every[max(every)], settings, boots, jig_mark=jig_mark, **how)
        return JobDesign(whole, None)

    try:
        made = design(closest=False)
    except InputError:
        # A half that no boot moves may find room with a ladder of one line.
        if not moves_holes(every) or not any(motion.still for motion in motions(every)):
            raise
        return design(closest=True)
    unsteady = any(True for each in made.alone for _ in _unsteady(each))
    return design(closest=True) if unsteady else made


def served_design(
    job: Job, settings: Settings, layouts: Mapping[float, Layout], jig_mark: str = ""
) -> JobDesign:
    """The design of `job` with these `settings`, as `design_job` makes it from its `layouts`.

    Raises InputError with the nearest jobs that are served where there is none for this one, or
    where a half of it cannot be centred.
    """
    try:
        made = design_job(job, settings, layouts=layouts, jig_mark=jig_mark)
        halves = made.alone if made.reusable else ()
        faults = [fault for half in halves for fault in find_centring(half).findings]
    except InputError as error:
        if not {finding.code for finding in error.findings} & MENDED:
            raise
        faults = [*error.findings]
    if faults:
        raise InputError((*faults, advice(replace(job, settings=settings))))
    return made


def _unsteady(design: Design) -> Iterator[Finding]:
    """What other places for the stations may cure."""
    yield from find_centring(design).findings
    yield from weak_holes(design, default_terms().depth.thrust.most)


def job_budget(made: JobDesign, terms: Terms, bounds: Sequence[Array], known: Print) -> AnyBudget:
    """The error budget of a jig by what is `known` of its print; over its boots if it has ladders.

    `bounds` are those of `jig_budget`, of each of what goes on a ski by itself.
    """
    if made.reusable:
        return boot_budgets(made.reusable, terms, bounds, known)
    return jig_budget(made.whole, terms, bounds[0], known)


def paper_budget(made: JobDesign, terms: Terms) -> AnyBudget:
    """The budget of the same holes from paper, which has no halves: one sheet shows all holes."""
    if made.reusable is None:
        return sheet_budget(made.whole.layout, terms)
    every = sorted(made.reusable.layouts.items())
    return OverBoots(tuple(sheet_budget(layout, terms) for _, layout in every))


def moves_holes(layouts: Mapping[float, Layout]) -> bool:
    """Whether any boot moves any hole."""
    return len(layouts) > 1 and any(not motion.still for motion in motions(layouts))


def boots_alike(pattern: Pattern, boots: Interval) -> bool:
    """Whether `pattern` has its holes at the same places for every boot from least to most."""
    return boots[0] == boots[1] or all(
        pattern.from_mark(group.datum)[0] == 0.0
        and not any(boots[0] < step.start <= boots[1] for step in group.steps)
        for group in pattern.groups
    )


def fits(job: Job) -> bool:
    """Whether one jig can serve all of `job`: what serves a range serves every range within."""
    return not any(obstacles(job))


def obstacles(job: Job, *, moving: bool = True) -> Iterator[Finding]:
    """What keeps one jig from serving all boots and skis of `job`.

    With `moving` its parts are tried at both ends of the range of skis, where they touch first.
    """
    step = max(1.0, job.skis[1] - job.skis[0])
    try:
        designs = design_job(job, engraved=False).alone
    except InputError as error:
        yield from error.findings
        return
    for each in designs:
        if moving:
            yield from sweep_stations(each, step=step).findings
        yield from _unsteady(each)
        yield from find_lift(each.settings).findings
        yield from find_reach(each).findings


def fitting_ranges(job: Job) -> tuple[Interval, ...]:
    """The longest ranges of two boots or more, within those of `job`, that one jig can serve each.

    Raises InputError for boots that the pattern does not serve.
    """
    boots = sorted(job.lay_out_all())

    def fails(least: float, most: float) -> bool:
        return any(obstacles(replace(job, boots=(least, most)), moving=False))

    found, first = [], 0
    while first + 1 < len(boots):
        # Of a range that is served every range within is: its end is found by halving.
        least, after = boots[first], first + 1
        if not fails(least, boots[after]):
            after = bisect_left(boots, True, lo=first + 2, key=partial(fails, least))
            found.append((least, boots[after - 1]))
        first = after
    return tuple(found)


def advice(job: Job) -> Finding:
    """That one jig cannot serve `job`, and the nearest jobs that one can, each by one change."""
    announce("the nearest jobs that are served")
    ranges, others = "", nearest_served(job)
    if boots := not boots_alike(job.pattern, job.boots):
        ranges = ", ".join(f"{least:g}-{most:g}" for least, most in fitting_ranges(job))
    least, most = job.skis
    hints = [f"These ranges of boots fit, one jig for each: {ranges}."] if ranges else []
    hints += [f"Served as well: {'; '.join(others)}."] if others else []
    no = "Neither other skis within that range nor a larger bed helps: try another boot length."
    soles = "-".join(f"{boot:g}" for boot in dict.fromkeys(job.whole_boots if boots else job.boots))
    return Finding(
        "design.boot-range" if boots else "design.nearest",
        f"one jig cannot serve boots {soles} on skis {least:g}-{most:g}",
        key="boot" if boots else "ski, bed",
        hint=" ".join(hints) or no,
    )


def nearest_served(job: Job) -> tuple[str, ...]:
    """In words, what differs least from `job` and is served: a narrower range of skis, a bed."""

    def served(settings: Settings) -> bool:
        return not any(obstacles(replace(job, settings=settings), moving=False))

    def on(ski: Interval) -> bool:
        return served(replace(job.settings, ski=SkiRange(*ski)))

    least, most = job.skis
    whole = [float(width) for width in range(math.floor(least) + 1, math.ceil(most))]
    # Of a range that is served every range within is: each end is found by halving.
    raised, lowered = (
        [(width, most) for width in whole],
        [(least, width) for width in whole[::-1]],
    )
    found = []
    for ranges in (raised, lowered):
        place = bisect_left(ranges, True, key=on)
        found += ranges[place : place + 1]
    texts = []
    if found:
        low, high = max(found, key=lambda ski: ski[1] - ski[0])
        texts.append(f"skis from {low:g} to {high:g} mm")
    bed = job.settings.bed
    sides = (side for side in COMMON_BEDS if side > min(bed.x, bed.y))
    larger = (replace(bed, x=max(side, bed.x), y=max(side, bed.y)) for side in sides)
    fitting = (one for one in larger if served(replace(job.settings, bed=one)))
    if one := next(fitting, None):
        texts.append(f"a bed of {one.x:g}x{one.y:g} mm")
    return tuple(texts)

"""Which boots and skis one jig can serve, found by designing it, without CAD."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from jiggen.accuracy.centring import find_centring
from jiggen.accuracy.sweep import sweep_stations
from jiggen.design import Design, Settings, design_jig
from jiggen.design.reusable import Reusable, design_reusable
from jiggen.errors import Finding, InputError
from jiggen.job import Interval, Job
from jiggen.layout import Layout, motions
from jiggen.pattern import Pattern


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


def design_job(
    job: Job,
    settings: Settings | None = None,
    *,
    layouts: Mapping[float, Layout] | None = None,
    engraved: bool = True,
) -> JobDesign:
    """The design of a jig for `job`: halves with ladders where its boots move the holes.

    `settings` are used instead of the job's own, `layouts` are its layouts where they are known
    already; without `engraved` a jig with ladders is designed quickly.  Raises InputError when
    there is no such jig.
    """
    settings = settings or job.settings
    every = layouts or job.lay_out_all()
    longest = max(every)
    if moves_holes(every):
        jig = design_reusable(every, settings, engraved=engraved)
        return JobDesign(jig.whole, jig)
    boots = None if job.one_boot else (min(every), longest)
    return JobDesign(design_jig(every[longest], settings, boots), None)


def moves_holes(layouts: Mapping[float, Layout]) -> bool:
    """Whether any boot moves any hole."""
    return len(layouts) > 1 and any(not motion.still for motion in motions(layouts))


def boots_alike(pattern: Pattern, boots: Interval) -> bool:
    """Whether `pattern` has its holes at the same places for every boot from least to most."""
    return boots[0] == boots[1] or all(
        group.datum == "boot-centre"
        and not any(boots[0] < step.start <= boots[1] for step in group.steps)
        for group in pattern.groups
    )


def fits(job: Job) -> bool:
    """Whether one jig can serve all boots and skis of `job`.

    Monotone: what serves a range serves every range within.
    """
    return not any(obstacles(job))


def obstacles(job: Job, *, moving: bool = True) -> Iterator[Finding]:
    """What keeps one jig from serving all boots and skis of `job`.

    With `moving` the moving parts are tried at both ends of the range of skis: what touches
    there touches first.  The build tries every millimetre between as well.
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
        yield from find_centring(each).findings


def fitting_ranges(job: Job) -> tuple[Interval, ...]:
    """Ranges of two boots or more, within those of `job`, that one jig can serve each.

    Each is as long as possible; all boots of `job`, where one jig can serve them.  Raises
    InputError for boots that the pattern does not serve.
    """
    boots = sorted(job.lay_out_all())
    return tuple(
        longest_runs(boots, lambda some: not any(obstacles(replace(job, boots=some), moving=False)))
    )


def longest_runs(boots: Sequence[float], serves: Callable[[Interval], bool]) -> Iterator[Interval]:
    """Runs of two of the sorted `boots` or more that are served, each as long as possible.

    `serves` is monotone (of a run that is served every run within is), so ends are found by
    halving.
    """
    first = 0
    while first + 1 < len(boots):
        if not serves((boots[first], boots[first + 1])):
            first += 1
            continue
        low, high = first + 1, len(boots)  # `low` is served, `high` is not
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if serves((boots[first], boots[middle])) else (low, middle)
        yield boots[first], boots[low]
        first = low + 1


def range_advice(job: Job) -> Finding:
    """That one jig cannot serve the boots of `job`, and which ranges one can."""
    ranges = ", ".join(f"{least:g}-{most:g}" for least, most in fitting_ranges(job))
    least, most = job.whole_boots
    return Finding(
        "design.boot-range",
        f"one jig cannot serve boots {least:g}-{most:g}",
        key="boot",
        hint=f"These ranges fit, one jig for each: {ranges}."
        if ranges
        else "No boot of that range fits a half with a ladder on this bed; a jig for one boot "
        "length may.",
    )

"""One jig for a range of boots, from pattern to verified folder; and whether a range can be had."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from jiggen.accuracy.centring import find_centring
from jiggen.design import Settings, design_jig
from jiggen.design.reusable import Reusable, design_reusable
from jiggen.drilling import NO_SCREWS, DrillingLimits, Screw, SkiState
from jiggen.errors import Finding, InputError
from jiggen.export import check_target
from jiggen.export.compensation import fit_settings, refuse_for_design
from jiggen.export.ladders import range_entries
from jiggen.export.manifest import BootRange, Known
from jiggen.layout import Layout, layouts, motions, whole_boots
from jiggen.measure.printer import Profile
from jiggen.pattern import Core, Pattern, Side
from jiggen.report.expect import drill, expect, expect_halves
from jiggen.report.folder import Progress
from jiggen.report.job import UNKNOWN_SKI, USUAL_LIMITS, Finished, make_jig

Boots = tuple[float, float]
"""Shortest and longest boot sole, mm."""


@dataclass(frozen=True)
class Fit:
    """Whether one jig can serve all of `boots`; `findings` say why not.

    `ranges` are ranges of boots that do fit, each as long as can be, within `boots`; where all
    fit, `boots` itself.  `ladder` is False where no boot of the range moves a hole.
    """

    boots: Boots
    findings: tuple[Finding, ...]
    ranges: tuple[Boots, ...]
    ladder: bool = True

    @property
    def fits(self) -> bool:
        """Whether nothing was found."""
        return not self.findings


def fit_range(
    pattern: Pattern,
    boots: Boots,
    settings: Settings,
    *,
    mount_shift: float = 0.0,
    core: Core = "plain",
    side: Side = "left",
    search: bool = True,
) -> Fit:
    """Whether one jig of `pattern` can serve boots from `boots[0]` to `boots[1]` mm; no CAD.

    It looks at all but the engraved words and the moving parts' clearances, which do not depend
    on the range.  With `search`, ranges that fit are looked for by the same rule where `boots`
    do not.  Raises InputError for boots that the pattern does not serve and for bad settings.
    """
    settings.check()
    every = layouts(pattern, whole_boots(*boots), mount_shift=mount_shift, core=core, side=side)
    ends = min(every), max(every)
    findings = _range_faults(every, settings)
    if not findings:
        return Fit(ends, (), (ends,), ladder=_moves(every))
    found = tuple(_ranges(every, settings)) if search else ()
    return Fit(ends, findings, found, ladder=_moves(every))


def build_reusable(
    pattern: Pattern,
    boots: Boots,
    settings: Settings,
    target: Path,
    *,
    mount_shift: float = 0.0,
    core: Core = "plain",
    side: Side = "left",
    state: SkiState = UNKNOWN_SKI,
    limits: DrillingLimits = USUAL_LIMITS,
    screws: Mapping[str, Screw] = NO_SCREWS,
    printer: Profile | None = None,
    force: bool = False,
    key: str = "",
    progress: Progress = lambda _: None,
) -> Finished:
    """Design, draw, write and verify one jig for all boots from `boots[0]` to `boots[1]` mm.

    Its halves are used by themselves, each with a ladder of boot lengths.  Where no boot of the
    range moves a hole it is an ordinary jig that says so.  `target` is replaced whole or not at
    all; a jig that fails is left beside it as ``…-failed``.  Raises, before anything is
    written, InputError when the range does not fit (with what range would) or the input or
    target is bad, and CheckFailed as `build_jig` does.
    """
    check_target(target, force=force)
    every = layouts(pattern, whole_boots(*boots), mount_shift=mount_shift, core=core, side=side)
    others = [every[boot] for boot in sorted(every)[:-1]]
    ends = min(every), max(every)
    # What is expected is what comes off the printer: the fits that were asked for.
    fitted = fit_settings(settings, printer)
    progress("design")
    if _moves(every):
        jig = _designed(every, fitted, progress)
        chosen, of_range = jig.whole, range_entries(jig)
        progress("moving parts over the ski range")
        expected, warnings = expect_halves(_designed(every, settings, progress) if printer else jig)
    else:
        chosen, of_range = design_jig(every[ends[1]], fitted, ends), BootRange(ends)
        progress("moving parts over the ski range")
        expected, warnings = expect(design_jig(every[ends[1]], settings) if printer else chosen)
    compensation = refuse_for_design(chosen, printer)
    drilled = drill(chosen, state, limits, screws, others)
    known = Known(expected, drilled, state, limits, screws, of_range, key)
    return make_jig(
        chosen,
        target,
        known,
        compensation=compensation,
        warnings=warnings + drilled.warnings,
        force=force,
        progress=progress,
    )


def _moves(every: Mapping[float, Layout]) -> bool:
    """Whether any boot moves any hole."""
    return any(not motion.still for motion in motions(every))


def _designed(every: Mapping[float, Layout], settings: Settings, progress: Progress) -> Reusable:
    """The design; InputError, with ranges that would fit, when there is none for all boots."""
    settings.check()
    if findings := _range_faults(every, settings):
        progress("ranges of boots that would fit")
        raise InputError((*findings, _advice(every, tuple(_ranges(every, settings)))))
    return design_reusable(every, settings)


def _advice(every: Mapping[float, Layout], ranges: tuple[Boots, ...]) -> Finding:
    said = ", ".join(_words(boots) for boots in ranges)
    return Finding(
        "design.boot-range",
        f"one jig cannot serve boots {_words((min(every), max(every)))}",
        key="boot",
        hint=f"These ranges fit, a jig for each: {said}."
        if ranges
        else "No boot of that range fits a half with a ladder on this bed; a jig for one boot "
        "length may.",
    )


def _words(boots: Boots) -> str:
    return f"{boots[0]:g}" if boots[0] == boots[1] else f"{boots[0]:g}-{boots[1]:g}"


def _range_faults(every: Mapping[float, Layout], settings: Settings) -> tuple[Finding, ...]:
    """Why one jig cannot serve these boots: places, bed, walls and centring."""

    def judge() -> None:
        if not _moves(every):
            design_jig(every[max(every)], settings)
            return
        jig = design_reusable(every, settings, engraved=False)
        found = [finding for half in jig.halves for finding in find_centring(half.design).findings]
        if found:
            raise InputError(found)

    return _faults(judge)


def _faults(judge: Callable[[], Any]) -> tuple[Finding, ...]:
    try:
        judge()
    except InputError as error:
        return error.findings
    return ()


def _ranges(every: Mapping[float, Layout], settings: Settings) -> Iterator[Boots]:
    """Ranges that fit, of two boots or more: each as long as can be, then the next.

    What fits a range fits every range within it, so each end is found by halving.
    """
    boots = sorted(every)

    def fits(first: int, last: int) -> bool:
        some = {boot: every[boot] for boot in boots[first : last + 1]}
        return not _range_faults(some, settings)

    first = 0
    while first + 1 < len(boots):
        if not fits(first, first + 1):
            first += 1
            continue
        low, high = first + 1, len(boots)  # `low` fits, `high` does not
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if fits(first, middle) else (low, middle)
        yield boots[first], boots[low]
        first = low + 1

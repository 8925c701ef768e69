"""A jig that is wanted for several pairs, and whether one can be made; lengths in mm.

What a jig's guides depend on is the layout: pattern, boot, shift, side, and of the core the
drill alone.  So one ordinary jig serves any boots that leave the holes where they are (a plate
about the boot centre, say), and both cores where they are drilled alike.  Boots that move the
holes are served by one jig whose halves carry a ladder of boot lengths, where there is room.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from jiggen.accuracy.centring import find_centring
from jiggen.accuracy.sweep import sweep_stations
from jiggen.design import Design, Settings, SkiRange, design_jig
from jiggen.design.reusable import design_reusable
from jiggen.errors import Finding, InputError
from jiggen.evening.model import Interval
from jiggen.layout import Layout, layout, layouts, whole_boots
from jiggen.pattern import Core, Pattern, Side


@dataclass(frozen=True)
class JigWanted:
    """One jig: its pattern, the boots and ski widths (least, most) that it serves, and the rest.

    `side` is the ski it is for; it matters for mirrored patterns alone.
    """

    pattern: Pattern
    boots: Interval
    ski: Interval
    core: Core = "plain"
    shift: float = 0.0
    side: Side = "left"

    def layout(self, boot: float | None = None) -> Layout:
        """The holes for `boot`, or for the shortest of its boots."""
        return layout(
            self.pattern,
            self.boots[0] if boot is None else boot,
            mount_shift=self.shift,
            core=self.core,
            side=self.side,
        )

    def layouts(self) -> dict[float, Layout]:
        """The holes for every whole boot length around its boots, by boot."""
        return layouts(
            self.pattern,
            whole_boots(*whole_range(self.boots)),
            mount_shift=self.shift,
            core=self.core,
            side=self.side,
        )


def boots_alike(pattern: Pattern, boots: Interval) -> bool:
    """Whether `pattern` has its holes at the same places for every boot from least to most."""
    return boots[0] == boots[1] or all(
        group.datum == "boot-centre"
        and not any(boots[0] < step.start <= boots[1] for step in group.steps)
        for group in pattern.groups
    )


def whole_range(boots: Interval) -> Interval:
    """The whole boot lengths around `boots`, mm: a ladder has a line for each of them."""
    return float(math.floor(boots[0])), float(math.ceil(boots[1]))


def fits(wanted: JigWanted, settings: Settings) -> bool:
    """Whether one jig can serve all that is `wanted` of it, made by `settings`.

    Monotone: what serves a range serves every range within.
    """
    return not any(obstacles(wanted, settings))


def obstacles(wanted: JigWanted, settings: Settings) -> Iterator[Finding]:
    """What stands in the way of one jig for `wanted`; the ski range of `settings` is not used.

    The moving parts are tried at both ends of the range: what touches there touches first.
    The build tries every millimetre between as well.
    """
    used = replace(settings, ski=SkiRange(*wanted.ski))
    step = max(1.0, used.ski.most - used.ski.least)
    try:
        alone = _used_alone(wanted, used)
    except InputError as error:
        yield from error.findings
        return
    for each in alone:
        yield from sweep_stations(each, step=step).findings
        yield from find_centring(each).findings


def _used_alone(wanted: JigWanted, settings: Settings) -> tuple[Design, ...]:
    """The jig, or each half of one with ladders.  Raises InputError where there is none."""
    if boots_alike(wanted.pattern, wanted.boots):
        return (design_jig(wanted.layout(), settings),)
    jig = design_reusable(wanted.layouts(), settings, engraved=False)
    return tuple(half.design for half in jig.halves)

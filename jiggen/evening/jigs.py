"""A jig that is wanted for several pairs, and whether one can be made; lengths in mm.

What a jig's guides depend on is the layout: pattern, boot, shift, side, and of the core the
drill alone.  So one jig serves any boots that leave the holes where they are (a plate about
the boot centre, say), and both cores where they are drilled alike.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from jiggen.accuracy.centring import centring
from jiggen.accuracy.sweep import sweep
from jiggen.design import Settings, SkiRange, design
from jiggen.errors import Finding, InputError
from jiggen.evening.model import Interval
from jiggen.layout import Layout, layout
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

    def layout(self) -> Layout:
        """The holes for the shortest of its boots."""
        return layout(
            self.pattern,
            self.boots[0],
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
    if not boots_alike(wanted.pattern, wanted.boots):
        said = f"boots of {wanted.boots[0]:g} and {wanted.boots[1]:g} mm need a jig each"
        yield Finding("evening.boots", said, key="boot")
        return
    least, most = wanted.ski
    try:
        chosen = design(wanted.layout(), replace(settings, ski=SkiRange(least, most)))
    except InputError as error:
        yield from error.findings
        return
    yield from sweep(chosen, step=max(1.0, most - least)).findings
    yield from centring(chosen).findings

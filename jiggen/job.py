"""Common ground: one jig that is asked for, with everything that decides what it becomes."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from jiggen.design.settings import Settings, SkiRange
from jiggen.drilling import DrillingLimits, Screw, SkiState, screws_of
from jiggen.files import plain_name
from jiggen.layout import Layout, lay_out, layouts, whole_boots
from jiggen.measure.printer import Profile
from jiggen.pattern import Core, Pattern, Side

Interval = tuple[float, float]
"""Least and greatest length in mm, both included."""


@dataclass(frozen=True)
class Job:
    """One jig that is asked for; all lengths in mm.

    `boots` are the shortest and the longest boot sole that it serves, equal for a single boot;
    `shift` moves the whole mount, + towards the tip; `side` is the ski that it is for, which
    matters for mirrored patterns alone; `measured` is what is known of the ski in hand and
    `limits` what is asked of its holes; `printer` the profile of the printer, None for a true
    one.  What the pattern says of screws and of the allowed area applies without being repeated.
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

    def for_skis(self, least: float, most: float) -> Job:
        """The same for skis of these widths."""
        return replace(self, settings=replace(self.settings, ski=SkiRange(least, most)))

    def lay_out(self, boot: float | None = None) -> Layout:
        """The holes for `boot`, or for the shortest of its boots.  Raises InputError."""
        return lay_out(
            self.pattern,
            self.boots[0] if boot is None else boot,
            mount_shift=self.shift,
            core=self.core,
            side=self.side,
        )

    def lay_out_all(self) -> dict[float, Layout]:
        """The holes by boot: of the single one, or of every whole length around its boots.

        Raises InputError for boots that the pattern does not serve.
        """
        if self.one_boot:
            return {self.boots[0]: self.lay_out()}
        return layouts(
            self.pattern,
            whole_boots(*self.whole_boots),
            mount_shift=self.shift,
            core=self.core,
            side=self.side,
        )


def folder_name(pattern: str, *boots: float) -> str:
    """A plain folder name for a pattern and its boot, or its shortest and longest one.

    Letters, digits and hyphens only, and a point where a boot has one.
    """
    return "-".join([plain_name(pattern, "jig"), *(f"{boot:g}" for boot in boots)])

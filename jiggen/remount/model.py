"""Old holes, their distance limits, and the results; mm, in the ski frame."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass

import numpy as np

from jiggen.errors import Finding, InputError
from jiggen.layout import Layout

Interval = tuple[float, float]
"""Least and greatest shift in mm, both included."""


@dataclass(frozen=True)
class OldHole:
    """A hole that an earlier mount left in the ski: x, y from the mounting mark, in mm.

    `diameter` is None where nobody measured it; `plugged` says that it was filled.
    """

    id: str
    x: float
    y: float
    diameter: float | None = None
    plugged: bool = False


@dataclass(frozen=True)
class RemountLimits:
    """How near a new hole may come to an old one, from centre to centre in mm.

    A new hole within `reuse` of an old one of no larger diameter takes its place: the drill
    cuts all of it away, plug included.  An old hole of unknown diameter is never reused.
    """

    open: float = 10.0  # common practice, no source
    plugged: float = 6.0  # common practice, no source
    reuse: float = 0.3  # common practice, no source

    def check(self) -> None:
        """Raise InputError ``remount.limit``, all faults at once, for limits out of range."""
        limits = (
            ("limit", self.open, 100.0, "limit to an open hole"),
            ("plugged-limit", self.plugged, 100.0, "limit to a plugged hole"),
            ("reuse", self.reuse, 2.0, "distance for using a hole again"),
        )
        faults = [
            Finding("remount.limit", f"{what} is {value:g} mm", key=key, hint=_allowed(most))
            for key, value, most, what in limits
            if not 0 <= value <= most  # written so that NaN fails too
        ]
        if faults:
            raise InputError(faults)

    def to(self, old: OldHole) -> float:
        """Least distance in mm that a new hole keeps from `old`, centre to centre."""
        return self.plugged if old.plugged else self.open


@dataclass(frozen=True)
class Conflict:
    """A new hole nearer to an old one than the limit, in mm from centre to centre."""

    new: str
    old: str
    distance: float
    limit: float


@dataclass(frozen=True)
class Reuse:
    """A new hole that takes an old one's place, `distance` mm off its centre."""

    new: str
    old: str
    distance: float


@dataclass(frozen=True)
class Nearest:
    """The nearest clear shifts, in mm from the mount asked for, + towards the tip.

    `to_tip` is 0 or more, `to_tail` 0 or less; both are 0 where the mount asked for is clear.
    None where no shift within the span is clear that way; then the field ending in `_why` says
    so in words.
    """

    to_tip: float | None
    to_tail: float | None
    to_tip_why: str = ""
    to_tail_why: str = ""

    @property
    def best(self) -> float | None:
        """The smaller way of the two, the tip's where they are equal; None without either."""
        known = [shift for shift in (self.to_tip, self.to_tail) if shift is not None]
        return min(known, key=abs, default=None)


def moved(layout: Layout, shift: float) -> Layout:
    """`layout` with its mount `shift` mm farther towards the tip."""
    positions = np.add(layout.positions, (shift, 0.0))
    positions.setflags(write=False)
    total = layout.mount_shift + shift
    return dataclasses.replace(layout, mount_shift=total, positions=positions)


def old_holes(layout: Layout, *, plugged: bool = False) -> tuple[OldHole, ...]:
    """The holes of `layout` as old ones, all of them `plugged` or none."""
    return tuple(
        OldHole(f"old-{name}", x, y, diameter, plugged)
        for name, (x, y), diameter in zip(
            layout.ids, layout.positions.tolist(), layout.diameters.tolist(), strict=True
        )
    )


def _allowed(most: float) -> str:
    return f"Allowed: 0 to {most:g} mm."

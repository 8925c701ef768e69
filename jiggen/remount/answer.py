"""All there is to say about one mount beside old holes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from jiggen.layout import Layout
from jiggen.remount.model import (
    Conflict,
    Interval,
    Nearest,
    OldHole,
    RemountLimits,
    Reuse,
    moved,
)
from jiggen.remount.shifts import clear_shifts, conflicts, nearest_clear, reused, settable


@dataclass(frozen=True)
class Way:
    """A nearest clear mount, as whole mount shifts in mm, + towards the tip.

    `exact` is the mount shift at which the last hole comes clear, `set_to` that rounded into
    the clear, and `room` the clear mount shifts around it, the nearest to the mount asked for
    first.
    """

    exact: float
    set_to: float
    room: Interval


@dataclass(frozen=True, eq=False)
class Answer:
    """What was asked, and what was found; `clear` and `nearest` are shifts from `layout`, mm."""

    layout: Layout
    old: tuple[OldHole, ...]
    limits: RemountLimits
    conflicts: tuple[Conflict, ...]
    reused: tuple[Reuse, ...]
    clear: tuple[Interval, ...]
    nearest: Nearest

    @property
    def to_tip(self) -> Way | None:
        """The nearest clear mount towards the tip, if any."""
        return self._way(self.nearest.to_tip)

    @property
    def to_tail(self) -> Way | None:
        """The nearest clear mount towards the tail, if any."""
        return self._way(self.nearest.to_tail)

    @property
    def best(self) -> Layout | None:
        """The layout at the nearest clear mount, as it is set; None where `layout` is clear
        itself, or none is.
        """
        way = self._way(self.nearest.best)
        if way is None or not self.conflicts:
            return None
        return moved(self.layout, way.set_to - self.layout.mount_shift)

    def as_dict(self) -> dict[str, Any]:
        """The answer as plain values: mm, rounded to a nanometre; shifts are whole mount shifts."""
        mount = self.layout.mount_shift
        return {
            "pattern": self.layout.pattern,
            "boot": _mm(self.layout.boot),
            "mount_shift": _mm(mount),
            "core": self.layout.core,
            "side": self.layout.side,
            "limits": {
                "open": _mm(self.limits.open),
                "plugged": _mm(self.limits.plugged),
                "reuse": _mm(self.limits.reuse),
            },
            "old_holes": [
                {
                    "id": hole.id,
                    "x": _mm(hole.x),
                    "y": _mm(hole.y),
                    "diameter": None if hole.diameter is None else _mm(hole.diameter),
                    "plugged": hole.plugged,
                }
                for hole in self.old
            ],
            "is_clear": not self.conflicts,
            "conflicts": [
                {"new": c.new, "old": c.old, "distance": _mm(c.distance), "limit": _mm(c.limit)}
                for c in self.conflicts
            ],
            "reused": [
                {"new": r.new, "old": r.old, "distance": _mm(r.distance)} for r in self.reused
            ],
            "to_tip": _way_dict(self.to_tip),
            "to_tip_why": self.nearest.to_tip_why,
            "to_tail": _way_dict(self.to_tail),
            "to_tail_why": self.nearest.to_tail_why,
            "clear": [[_mm(mount + low), _mm(mount + high)] for low, high in self.clear],
        }

    def _way(self, shift: float | None) -> Way | None:
        if shift is None:
            return None
        mount = self.layout.mount_shift
        low, high = next(i for i in self.clear if i[0] <= shift <= i[1])
        first, last = (low, high) if shift > 0 else (high, low)
        room = (mount + first, mount + last)
        return Way(mount + shift, settable(shift, self.clear, mount), room)


def answer(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> Answer:
    """Hold `layout` against the `old` holes.  Raises InputError ``remount.limit``."""
    return Answer(
        layout=layout,
        old=tuple(old),
        limits=limits,
        conflicts=conflicts(layout, old, limits),
        reused=reused(layout, old, limits),
        clear=clear_shifts(layout, old, limits),
        nearest=nearest_clear(layout, old, limits),
    )


def _way_dict(way: Way | None) -> dict[str, Any] | None:
    if way is None:
        return None
    room = [_mm(end) for end in way.room]
    return {"exact": _mm(way.exact), "set_to": _mm(way.set_to), "room": room}


def _mm(value: float) -> float:
    return round(float(value), 6) + 0.0

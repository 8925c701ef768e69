"""Old holes, and the shifts of the mount that keep every new hole clear of them, in closed form.

A new hole at (x, y), shifted by s, is d = √((x + s - xo)² + dy²) from an old one at (xo, yo).
It is too near while d < r: the open interval of half-width √(r² - dy²) about s = xo - x.  Where
the old hole may be used again, the closed interval d ≤ q is cut out of that one's middle.
So the forbidden shifts of all pairs are open intervals, and the clear shifts, being what is
left, closed ones: their ends are exact, no grid is walked.
"""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding, InputError
from jiggen.layout import Layout
from jiggen.pattern.model import Side

Array = NDArray[np.float64]
Interval = tuple[float, float]
"""Least and greatest shift in mm, both included."""

SPAN = (-60.0, 60.0)  # mm of shift looked over; farther than any mount is moved
SENSIBLE = 20.0  # mm that mounts are moved, at the most; common practice, no source
NO_WAY = f"no shift of up to {SPAN[1]:g} mm towards the {{}} is clear"
ROUNDING = 1e-9
"""mm by which a distance may miss its limit through rounding alone and still keep it."""


@dataclass(frozen=True)
class OldHole:
    """A hole that an earlier mount left in the ski: x, y from the mounting mark, in mm.

    `diameter` is None where nobody measured it; `plugged` says that it was filled; `ski` is the
    one of the pair that has it, None for both.
    """

    id: str
    x: float
    y: float
    diameter: float | None = None
    plugged: bool = False
    ski: Side | None = None


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
            Finding(
                "remount.limit", f"{what} is {value:g} mm", "", key, f"Allowed: 0 to {most:g} mm."
            )
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


class Nearest(NamedTuple):
    """The nearest clear shifts, in mm from the mount asked for, + towards the tip.

    `to_tip` is 0 or more, `to_tail` 0 or less; both are 0 where the mount asked for is clear.
    None where no shift within the span is clear that way.
    """

    to_tip: float | None
    to_tail: float | None

    @property
    def best(self) -> float | None:
        """The smaller way of the two, the tip's where they are equal; None without either."""
        return min((shift for shift in self if shift is not None), key=abs, default=None)


def old_holes(layout: Layout, *, plugged: bool = False) -> tuple[OldHole, ...]:
    """The holes of `layout` as old ones, all of them `plugged` or none."""
    rows = zip(layout.ids, layout.positions.tolist(), layout.diameters.tolist(), strict=True)
    return tuple(OldHole(f"old-{name}", x, y, width, plugged) for name, (x, y), width in rows)


def conflicts(
    layout: Layout, old: Sequence[OldHole], limits: RemountLimits
) -> tuple[Conflict, ...]:
    """Every new hole too near to an old one.  Raises InputError ``remount.limit``."""
    pairs = _Pairs(layout, old, limits)
    near = (pairs.distances < pairs.limits - ROUNDING) & ~pairs.reused
    return tuple(
        Conflict(layout.ids[n], old[o].id, float(pairs.distances[n, o]), float(pairs.limits[o]))
        for n, o in np.argwhere(near)
    )


def reused(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> tuple[Reuse, ...]:
    """Every new hole that takes an old one's place.  Raises InputError ``remount.limit``."""
    pairs = _Pairs(layout, old, limits)
    return tuple(
        Reuse(layout.ids[n], old[o].id, float(pairs.distances[n, o]))
        for n, o in np.argwhere(pairs.reused)
    )


def clear_shifts(
    layout: Layout, old: Sequence[OldHole], limits: RemountLimits, span: Interval = SPAN
) -> tuple[Interval, ...]:
    """All shifts in mm within `span`, from where `layout` lies, that leave no conflict.

    The intervals are in order, closed and apart from one another; one may be a single shift.
    Raises InputError ``remount.limit``, and ``remount.span`` unless the span holds 0.
    """
    if not -math.inf < span[0] <= 0 <= span[1] < math.inf:
        message = f"a span of {span[0]:g} to {span[1]:g} mm does not hold the mount asked for"
        raise InputError.of("remount.span", message, hint="Begin at 0 or below, end above.")
    clear = []
    reach = span[0]
    for start, stop in sorted(_Pairs(layout, old, limits).forbidden()):
        if start >= span[1]:
            break
        if start >= reach:
            clear.append((reach, start))
        reach = max(reach, stop)
    return (*clear, (reach, span[1])) if reach <= span[1] else tuple(clear)


def nearest_clear(clear: Sequence[Interval]) -> Nearest:
    """The nearest shift towards the tip and towards the tail of those that are `clear`."""
    if any(start <= 0 <= stop for start, stop in clear):
        return Nearest(0.0, 0.0)
    return Nearest(
        min((start for start, _ in clear if start > 0), default=None),
        max((stop for _, stop in clear if stop < 0), default=None),
    )


def settable(shift: float, clear: Interval, mount: float) -> float:
    """The mount shift in mm to set for a nearest clear `shift` from a `mount` shift.

    `shift` is an end of the interval `clear`.  The sum is rounded away from `mount`,
    into the interval: to 0.1 mm, to 0.01 mm where that would leave it, else not at all.
    """
    exact = mount + shift
    away = math.ceil if shift > 0 else math.floor
    for parts in (10, 100):
        rounded = away(exact * parts) / parts
        if clear[0] <= rounded - mount <= clear[1]:
            return rounded
    return exact


class _Pairs:
    """Every new hole (n) with every old one (m): how they lie and what is asked of them, mm.

    `shifts` (n, m) are those at which two lie abreast, `offsets` (n, m) how far apart they lie
    across the ski at any shift, `limits` (m,) how far apart they must lie.
    """

    def __init__(self, layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> None:
        limits.check()
        # a diameter is NaN where it is unknown: never reusable
        rows = [(hole.x, hole.y, hole.diameter, limits.to(hole)) for hole in old]
        x, y, diameters, self.limits = np.array(rows, dtype=np.float64).reshape(-1, 4).T
        self.shifts: Array = x - layout.positions[:, :1]
        self.offsets: Array = np.abs(y - layout.positions[:, 1:])
        self.distances: Array = np.hypot(self.shifts, self.offsets)
        self.reuse = limits.reuse
        self.reusable: NDArray[np.bool_] = diameters <= layout.diameters[:, None]
        self.reused: NDArray[np.bool_] = self.reusable & (self.distances <= self.reuse + ROUNDING)

    def forbidden(self) -> Iterator[Interval]:
        """Open intervals of shifts at which a pair is too near, in no order.

        Measured half the rounding inside the limits, so that by `conflicts` every end is clear.
        """
        too_near = self._half_widths(self.limits - ROUNDING / 2)
        again = np.where(self.reusable, self._half_widths(self.reuse + ROUNDING / 2), np.nan)
        for n, o in np.argwhere(too_near > 0):
            middle, half, window = (float(each[n, o]) for each in (self.shifts, too_near, again))
            if math.isnan(window):
                yield middle - half, middle + half
            elif window < half:
                yield middle - half, middle - window
                yield middle + window, middle + half

    def _half_widths(self, radius: Array | float) -> Array:
        """(n, m): half of how far a hole is shifted within `radius` of the other; else NaN."""
        inside = self.offsets <= radius
        squares = np.where(inside, np.square(radius) - np.square(self.offsets), np.nan)
        return np.asarray(np.sqrt(squares))


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

    @property
    def far(self) -> bool:
        """Whether it is farther than mounts are moved."""
        return abs(self.set_to) > SENSIBLE


@dataclass(frozen=True, eq=False)
class Answer:
    """What was asked, and what was found.

    `old` are the holes of the skis that get `layout`, `clear` are shifts from it, mm.  Where no
    mount is clear towards one end of the ski, the field ending in `_why` says so in words.  `plug`
    are the open holes that are in the way of the mount asked for alone: once they are plugged it
    is clear; empty where that does not do.  `plugged_way` is then the nearest mount that is clear
    once the holes `plug_there` are plugged, where that is nearer than any without.  `best` is the
    layout at the nearest clear mount, as it is set; None where `layout` is clear itself, or no
    mount is.
    """

    layout: Layout
    old: tuple[OldHole, ...]
    limits: RemountLimits
    conflicts: tuple[Conflict, ...]
    reused: tuple[Reuse, ...]
    clear: tuple[Interval, ...]
    to_tip: Way | None
    to_tail: Way | None
    to_tip_why: str
    to_tail_why: str
    plug: tuple[str, ...]
    plugged_way: Way | None
    plug_there: tuple[str, ...]
    best: Layout | None

    @property
    def ways(self) -> tuple[tuple[Literal["tip", "tail"], Way], ...]:
        """The nearest clear mounts, each with the end it lies towards: what is far comes last."""
        ways: list[tuple[Literal["tip", "tail"], Way]] = []
        ways += [("tip", self.to_tip)] if self.to_tip else []
        ways += [("tail", self.to_tail)] if self.to_tail else []
        return tuple(sorted(ways, key=lambda one: one[1].far))

    def as_dict(self) -> dict[str, object]:
        """The answer as plain values: mm; shifts are whole mount shifts."""
        found = asdict(self)
        same = (
            *("conflicts", "reused", "to_tip", "to_tip_why", "to_tail", "to_tail_why"),
            *("plug", "plugged_way", "plug_there"),
        )
        asked = ("pattern", "boot", "mount_shift", "core", "side")
        return {
            **{name: found["layout"][name] for name in asked},
            "limits": found["limits"],
            "old_holes": found["old"],
            "is_clear": not self.conflicts,
            **{name: found[name] for name in same},
            "clear": [[self.layout.mount_shift + end for end in ends] for ends in self.clear],
        }


def check_mount(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> Answer:
    """Compare `layout` with the `old` holes of the skis that get it.

    Where both skis do, a mount is clear that is so on both.  Raises InputError ``remount.limit``.
    """
    mine = on_skis(layout, old)
    found = conflicts(layout, mine, limits)
    clear = clear_shifts(layout, mine, limits)
    near = nearest_clear(clear)
    ways = [_way(shift, clear, layout.mount_shift) for shift in near]
    way = min(filter(None, ways), key=partial(_order, layout), default=None) if found else None
    plug = _plugs(layout, mine, limits) if found else ()
    plugged_way, there = _once_plugged(layout, mine, limits) if found and not plug else (None, ())
    if not there or _order(layout, way) <= _order(layout, plugged_way):
        plugged_way, there = None, ()
    return Answer(
        layout=layout,
        old=mine,
        limits=limits,
        conflicts=found,
        reused=reused(layout, mine, limits),
        clear=clear,
        to_tip=ways[0],
        to_tail=ways[1],
        to_tip_why=NO_WAY.format("tip") if near.to_tip is None else "",
        to_tail_why=NO_WAY.format("tail") if near.to_tail is None else "",
        plug=plug,
        plugged_way=plugged_way,
        plug_there=there,
        best=moved(layout, way.set_to - layout.mount_shift) if way else None,
    )


def clear_mounts(
    layout: Layout, old: Sequence[OldHole], limits: RemountLimits, span: Interval
) -> tuple[Interval, ...]:
    """All mount shifts in mm within `span` at which `layout` is clear, wherever it lies now.

    Raises InputError as `clear_shifts`.
    """
    there = moved(layout, -layout.mount_shift)
    return clear_shifts(there, on_skis(layout, old), limits, span)


def on_skis(layout: Layout, old: Sequence[OldHole]) -> tuple[OldHole, ...]:
    """Those of `old` that are on a ski that gets `layout`."""
    both = layout.pair == "same"
    return tuple(hole for hole in old if both or hole.ski in (None, layout.side))


def _order(layout: Layout, way: Way | None) -> tuple[bool, float]:
    """Mounts that are moved so far come before those that are not, then the nearer ones."""
    return (way.far, abs(way.set_to - layout.mount_shift)) if way else (True, math.inf)


def _plugs(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> tuple[str, ...]:
    """The open holes that are in the way, if `layout` is clear once they are plugged."""
    near = {one.old for one in conflicts(layout, old, limits)}
    plug = {hole.id for hole in old if hole.id in near and not hole.plugged}
    after = [replace(hole, plugged=hole.plugged or hole.id in plug) for hole in old]
    return () if conflicts(layout, after, limits) else tuple(h.id for h in old if h.id in plug)


def _once_plugged(
    layout: Layout, old: Sequence[OldHole], limits: RemountLimits
) -> tuple[Way | None, tuple[str, ...]]:
    """The nearest mount that is clear once open holes are plugged, and which."""
    clear = clear_shifts(layout, [replace(hole, plugged=True) for hole in old], limits)
    ways = (_way(shift, clear, layout.mount_shift) for shift in nearest_clear(clear))
    way = min(filter(None, ways), key=partial(_order, layout), default=None)
    if way is None:
        return None, ()
    return way, _plugs(moved(layout, way.set_to - layout.mount_shift), old, limits)


def _way(shift: float | None, clear: Iterable[Interval], mount: float) -> Way | None:
    if shift is None:
        return None
    room = next(ends for ends in clear if ends[0] <= shift <= ends[1])
    first, last = room if shift > 0 else room[::-1]
    return Way(mount + shift, settable(shift, room, mount), (mount + first, mount + last))


def moved(layout: Layout, shift: float) -> Layout:
    """`layout` with its mount `shift` mm farther towards the tip."""
    positions = np.add(layout.positions, (shift, 0.0))
    positions.setflags(write=False)
    return replace(layout, mount_shift=layout.mount_shift + shift, positions=positions)

"""Which shifts of the mount keep every new hole clear of every old one, in closed form.

A new hole at (x, y), shifted by s, is d = √((x + s - xo)² + dy²) from an old one at (xo, yo).
It is too near while d < r: the open interval of half-width √(r² - dy²) about s = xo - x.  Where
the old hole may be used again, the closed interval d ≤ q is cut out of that one's middle.
So the forbidden shifts of all pairs are open intervals, and the clear shifts, being what is
left, closed ones: their ends are exact, no grid is walked.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import asdict, dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding, InputError
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

Array = NDArray[np.float64]

SPAN = (-60.0, 60.0)  # mm of shift looked over; farther than any mount is moved
ROUNDING = 1e-9
"""mm by which a distance may miss its limit through rounding alone and still keep it."""


def conflicts(
    layout: Layout, old: Sequence[OldHole], limits: RemountLimits
) -> tuple[Conflict, ...]:
    """Every pair of a new and an old hole nearer than its limit, in the layout's order.

    Raises InputError ``remount.limit``.
    """
    pairs = _Pairs(layout, old, limits)
    near = (pairs.distances < pairs.limits - ROUNDING) & ~pairs.reused
    return tuple(
        Conflict(layout.ids[n], old[o].id, float(pairs.distances[n, o]), float(pairs.limits[o]))
        for n, o in np.argwhere(near)
    )


def reused(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> tuple[Reuse, ...]:
    """Every new hole that takes an old one's place, in the layout's order.

    Raises InputError ``remount.limit``.
    """
    pairs = _Pairs(layout, old, limits)
    return tuple(
        Reuse(layout.ids[n], old[o].id, float(pairs.distances[n, o]))
        for n, o in np.argwhere(pairs.reused)
    )


def clear_shifts(
    layout: Layout,
    old: Sequence[OldHole],
    limits: RemountLimits,
    span: Interval = SPAN,
) -> tuple[Interval, ...]:
    """All shifts in mm within `span`, from where `layout` lies, that leave no conflict.

    The intervals are in order, closed and apart from one another; one may be a single shift.
    Raises InputError ``remount.limit``, and ``remount.span`` unless the span holds 0.
    """
    if not -math.inf < span[0] <= 0 <= span[1] < math.inf:
        message = f"a span of {span[0]:g} to {span[1]:g} mm does not hold the mount asked for"
        raise InputError(Finding("remount.span", message, hint="Begin at 0 or below, end above."))
    return tuple(_between(_Pairs(layout, old, limits).forbidden(), span))


def nearest_clear(
    layout: Layout,
    old: Sequence[OldHole],
    limits: RemountLimits,
    span: Interval = SPAN,
) -> Nearest:
    """The nearest clear shift towards the tip and towards the tail, of those in `span`.

    Raises InputError as `clear_shifts` does.
    """
    clear = clear_shifts(layout, old, limits, span)
    if any(start <= 0 <= stop for start, stop in clear):
        return Nearest(0.0, 0.0)
    to_tip = min((start for start, _ in clear if start > 0), default=None)
    to_tail = max((stop for _, stop in clear if stop < 0), default=None)
    return Nearest(
        to_tip,
        to_tail,
        "" if to_tip is not None else _none(span[1], "tip"),
        "" if to_tail is not None else _none(-span[0], "tail"),
    )


def settable(shift: float, clear: Iterable[Interval], mount: float) -> float:
    """The mount shift in mm to set for a nearest clear `shift` from a `mount` shift.

    `shift` is an end of one of the `clear` intervals.  The sum is rounded away from `mount`,
    into the interval: to 0.1 mm, to 0.01 mm where that would leave it, else not at all.
    """
    exact = mount + shift
    start, stop = next(i for i in clear if i[0] <= shift <= i[1])
    away = math.ceil if shift > 0 else math.floor
    for parts in (10, 100):
        rounded = away(exact * parts) / parts
        if start <= rounded - mount <= stop:
            return rounded
    return exact


class _Pairs:
    """Every new hole (n) with every old one (m): how they lie and what is asked of them, mm.

    `shifts` (n, m) are those at which two lie abreast, `offsets` (n, m) how far apart they lie
    across the ski at any shift, `limits` (m,) how far apart they must lie.
    """

    def __init__(self, layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> None:
        limits.check()
        x, y = _array([hole.x for hole in old]), _array([hole.y for hole in old])
        diameters = _array([hole.diameter for hole in old])  # NaN where unknown: never reusable
        self.shifts: Array = x - layout.positions[:, :1]
        self.offsets: Array = np.abs(y - layout.positions[:, 1:])
        self.distances: Array = np.hypot(self.shifts, self.offsets)
        self.limits: Array = _array([limits.to(hole) for hole in old])
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
            middle, half, window = self.shifts[n, o], too_near[n, o], again[n, o]
            if math.isnan(window):
                yield float(middle - half), float(middle + half)
            elif window < half:
                yield float(middle - half), float(middle - window)
                yield float(middle + window), float(middle + half)

    def _half_widths(self, radius: Array | float) -> Array:
        """(n, m): half of how far a hole is shifted within `radius` of the other; else NaN."""
        inside = self.offsets <= radius
        squares = np.where(inside, np.square(radius) - np.square(self.offsets), np.nan)
        return np.asarray(np.sqrt(squares))


def _between(forbidden: Iterable[Interval], span: Interval) -> Iterator[Interval]:
    """What open intervals leave of `span`: closed intervals, in order."""
    reach = span[0]
    for start, stop in sorted(forbidden):
        if start >= span[1]:
            break
        if start >= reach:
            yield reach, start
        reach = max(reach, stop)
    if reach <= span[1]:
        yield reach, span[1]


def _none(reach: float, end: str) -> str:
    return f"no shift of up to {reach:g} mm towards the {end} is clear"


def _array(values: Sequence[float | None]) -> Array:
    return np.array(values, dtype=np.float64)


# -- the whole answer ------------------------------------------------------------------------------


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
        itself, or no mount is.
        """
        way = self._way(self.nearest.best)
        if way is None or not self.conflicts:
            return None
        return moved(self.layout, way.set_to - self.layout.mount_shift)

    def as_dict(self) -> dict[str, object]:
        """The answer as plain values: mm, rounded to a nanometre; shifts are whole mount shifts."""
        mount = self.layout.mount_shift
        return {
            "pattern": self.layout.pattern,
            "boot": _rounded(self.layout.boot),
            "mount_shift": _rounded(mount),
            "core": self.layout.core,
            "side": self.layout.side,
            "limits": _rounded(asdict(self.limits)),
            "old_holes": _rounded([asdict(hole) for hole in self.old]),
            "is_clear": not self.conflicts,
            "conflicts": _rounded([asdict(conflict) for conflict in self.conflicts]),
            "reused": _rounded([asdict(reuse) for reuse in self.reused]),
            "to_tip": _rounded(self.to_tip and asdict(self.to_tip)),
            "to_tip_why": self.nearest.to_tip_why,
            "to_tail": _rounded(self.to_tail and asdict(self.to_tail)),
            "to_tail_why": self.nearest.to_tail_why,
            "clear": _rounded([(mount + low, mount + high) for low, high in self.clear]),
        }

    def _way(self, shift: float | None) -> Way | None:
        if shift is None:
            return None
        mount = self.layout.mount_shift
        low, high = next(i for i in self.clear if i[0] <= shift <= i[1])
        first, last = (low, high) if shift > 0 else (high, low)
        room = (mount + first, mount + last)
        return Way(mount + shift, settable(shift, self.clear, mount), room)


def check_mount(layout: Layout, old: Sequence[OldHole], limits: RemountLimits) -> Answer:
    """Compare `layout` with the `old` holes.  Raises InputError ``remount.limit``."""
    return Answer(
        layout=layout,
        old=tuple(old),
        limits=limits,
        conflicts=conflicts(layout, old, limits),
        reused=reused(layout, old, limits),
        clear=clear_shifts(layout, old, limits),
        nearest=nearest_clear(layout, old, limits),
    )


def _rounded(value: Any) -> Any:
    """`value` with every number in it rounded to a nanometre."""
    if isinstance(value, float):
        return round(float(value), 6) + 0.0
    if isinstance(value, dict):
        return {key: _rounded(inner) for key, inner in value.items()}
    return [_rounded(inner) for inner in value] if isinstance(value, list | tuple) else value

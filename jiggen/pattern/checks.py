"""Whether the holes of a pattern can be drilled together: places, spacing, steps.

Everything here works on the values in mm of a pattern whose fields are valid.
"""

import math
from collections.abc import Iterable, Iterator
from itertools import product
from operator import itemgetter
from typing import NamedTuple

from jiggen.errors import InputError
from jiggen.inputs.faults import UNITS, Fault, KeyPath, Unit, key_text
from jiggen.pattern.model import (
    MAX_HOLES,
    SAME,
    SHOE_SIZES,
    SOLE_HINT,
    WEB,
    X_LIMIT,
    Group,
    Hole,
    Pattern,
)

Boots = tuple[float, float]
USUAL_BOOTS = (200.0, 400.0)  # checked when a file gives no `boot`; common practice, no source


class _Site(NamedTuple):
    """A hole to be drilled (each side counted), in mm from its group's origin."""

    path: KeyPath
    side: str
    x: float
    y: float
    radius: float  # of the larger drill of any core


class _Run(NamedTuple):
    """Boots, both ends included, at which a group keeps one shift, with that shift's key.

    Its origin is then at slope·boot + shift.
    """

    start: float
    stop: float
    slope: float
    shift: float
    path: KeyPath

    def origin(self, boot: float) -> float:
        return self.slope * boot + self.shift


class _Offset(NamedTuple):
    """One group's origin from another's, along x, at both ends of a run of boots (mm)."""

    boots: Boots
    ends: tuple[float, float]

    def nearest(self, x: float) -> tuple[float, float]:
        """How near the offset comes to `x`, and the boot at which it does."""
        (b0, b1), (e0, e1) = self.boots, self.ends
        share = (x - e0) / (e1 - e0) if e1 != e0 else 0.0
        share = min(1.0, max(0.0, share))
        return abs(e0 + share * (e1 - e0) - x), b0 + share * (b1 - b0)


def check_boot(pattern: Pattern, boot: float) -> None:
    """Raise InputError, all faults at once, when `pattern` does not serve a `boot` (mm).

    ``pattern.boot-range``: outside the pattern's `boot`, below a group's first step, or no
    length at all; ``pattern.length``, ``.spacing``, ``.same-hole``: at this boot length holes
    are outside the range of real skis or too near each other.
    """
    faults = list(_unserved(pattern, boot))
    if not faults:
        faults = [*_beyond(pattern, (boot, boot)), *_clashes(pattern, (boot, boot))]
    if faults:
        source = pattern.source
        raise InputError(one.finding("pattern", source, key_text(one.path)) for one in faults)


def _unserved(pattern: Pattern, boot: float) -> Iterator[Fault]:
    if not (math.isfinite(boot) and boot > 0):
        yield Fault(("boot",), "boot-range", f"{boot:g} is not a valid boot sole length")
        return
    if SHOE_SIZES[0] <= boot <= SHOE_SIZES[1]:
        yield Fault(("boot",), "boot-range", f"{boot:g} looks like a shoe size", SOLE_HINT)
        return
    unit = UNITS[pattern.units]

    def shown(length: float) -> str:
        return unit.show(length) if unit.mm == 1 else f"{unit.show(length)} ({length:.5g} mm)"

    if pattern.boot and not pattern.boot[0] - SAME <= boot <= pattern.boot[1] + SAME:
        message = f"a boot of {shown(boot)} is not served"
        hint = f"{pattern.name} serves {' to '.join(map(shown, pattern.boot))}."
        yield Fault(("boot",), "boot-range", message, hint)
    for g, group in enumerate(pattern.groups):
        if group.steps and boot < group.steps[0].start:
            message = f"a boot of {shown(boot)} lies below the first step of {group.name}"
            hint = f"The steps begin at {shown(group.steps[0].start)}."
            yield Fault(("group", g, "steps", 0, "from"), "boot-range", message, hint)


def conflicts(pattern: Pattern) -> Iterator[Fault]:
    """Every fault between the values of `pattern`, over all boots that it serves.

    Without `boot` in the file, holes of different groups are compared only at a boot that is
    asked for (`check_boot`): it is not known which boots the pattern is meant for.
    """
    count = sum(1 + hole.both_sides for group in pattern.groups for hole in group.holes)
    if count > MAX_HOLES:
        hint = f"At most {MAX_HOLES} are allowed, both sides counted."
        yield Fault(("group",), "too-many-holes", f"{count} holes", hint)
        return
    low, high = pattern.boot or USUAL_BOOTS
    low = max([low, *(group.steps[0].start for group in pattern.groups if group.steps)])
    if low > high and pattern.boot:
        show = UNITS[pattern.units].show
        message = f"ends at {show(high)}, but the steps begin at {show(low)}: no boot is served"
        hint = "The first step's from is the shortest boot that the group serves."
        yield Fault(("boot",), "boot", message, hint)
    boots = (low, max(low, high))
    yield from _beyond(pattern, boots)
    yield from _clashes(pattern, boots, across=pattern.boot is not None)


def _sites(group: Group, g: int) -> Iterator[_Site]:
    for h, hole in enumerate(group.holes):
        radius = max(hole.drill.plain, hole.drill.metal) / 2
        x, y = hole.at
        sides = ((" (left)", abs(y)), (" (right)", -abs(y))) if hole.both_sides else (("", y),)
        path = _path(g, h, hole)
        yield from (_Site(path, side, x, y, radius) for side, y in sides)


def _path(g: int, h: int, hole: Hole) -> KeyPath:
    """Where the file has a hole: the group's hole number `h`, unless it has several places."""
    return ("group", g, "hole", h if hole.entry is None else hole.entry)


def _runs(pattern: Pattern, g: int, boots: Boots) -> list[_Run]:
    """A group's shifts over `boots`; at a step's edge, both its sides are checked."""
    low, high = boots
    group = pattern.groups[g]
    slope, apart = pattern.from_mark(group.datum)
    if not group.steps:
        return [_Run(low, high, slope, apart + group.shift, ("group", g, "shift"))]
    nexts = [*(step.start for step in group.steps[1:]), math.inf]
    runs = []
    for s, (step, after) in enumerate(zip(group.steps, nexts, strict=True)):
        if step.start <= high and after > low:
            stop = min(math.nextafter(after, low), high)  # there the next step takes over
            path = ("group", g, "steps", s)
            runs.append(_Run(max(step.start, low), stop, slope, apart + step.shift, path))
    return runs


def _beyond(pattern: Pattern, boots: Boots) -> Iterator[Fault]:
    """Holes farther from the mounting mark than any ski is long.

    Where all of a group's holes are, and its origin with them, its shift is the one fault.
    """
    show = UNITS[pattern.units].show
    limit = f"At most {show(X_LIMIT)} from the mounting mark is allowed."
    for g, group in enumerate(pattern.groups):
        origins = [
            (run.origin(boot), boot, run.path)
            for run in _runs(pattern, g, boots)
            for boot in (run.start, run.stop)
        ]
        found = []
        for h, hole in enumerate(group.holes):
            places = ((origin + hole.at[0], boot) for origin, boot, _ in origins)
            x, boot = max(places, key=lambda place: abs(place[0]))
            if abs(x) > X_LIMIT:
                message = f"x is {show(x)} from the mounting mark at a boot of {show(boot)}, "
                message += f"outside the range of real skis (± {show(X_LIMIT)})"
                found.append(Fault((*_path(g, h, hole), "at", 0), "length", message, limit))
        x, boot, path = max(origins, key=lambda place: abs(place[0]))
        if abs(x) > X_LIMIT and len(found) == len(group.holes):
            message = f"puts the group {show(x)} from the mounting mark at a boot of {show(boot)}"
            found = [Fault(path, "length", message, limit)]
        yield from found


def _clashes(pattern: Pattern, boots: Boots, *, across: bool = True) -> Iterator[Fault]:
    """Holes too near another: one fault per hole, with the nearest of those before it."""
    before: list[tuple[list[_Run], list[_Site]]] = []
    for g, group in enumerate(pattern.groups):
        runs = _runs(pattern, g, boots)
        done: list[_Site] = []
        others = [(done, [_Offset((0.0, 0.0), (0.0, 0.0))])]  # its own, whatever the boot
        if across:
            others += [(sites, list(_offsets(runs, theirs))) for theirs, sites in before]
        faulty: set[KeyPath] = set()
        for site in _sites(group, g):
            near = [one for sites, offsets in others for one in _nearest(site, sites, offsets)]
            nothing = 0.0, site, 0.0, 0.0
            lack, other, distance, boot = max(near, key=itemgetter(0), default=nothing)
            if lack > SAME and site.path not in faulty:
                faulty.add(site.path)
                yield _too_near(site, other, distance, boot, UNITS[pattern.units])
            done.append(site)
        before.append((runs, done))


def _offsets(runs: Iterable[_Run], others: Iterable[_Run]) -> Iterator[_Offset]:
    for run, other in product(runs, others):
        boots = max(run.start, other.start), min(run.stop, other.stop)
        if boots[0] <= boots[1]:
            low, high = (run.origin(boot) - other.origin(boot) for boot in boots)
            yield _Offset(boots, (low, high))


def _nearest(
    site: _Site, sites: Iterable[_Site], offsets: list[_Offset]
) -> Iterator[tuple[float, _Site, float, float]]:
    """Of each hole of a group that may be too near: by how much, how near, at which boot."""
    for other in sites:
        needed = site.radius + other.radius + WEB
        dy = site.y - other.y
        if abs(dy) < needed and offsets:
            dx, boot = min(offset.nearest(other.x - site.x) for offset in offsets)
            distance = math.hypot(dx, dy)
            yield needed - distance, other, distance, boot


def _too_near(site: _Site, other: _Site, distance: float, boot: float, unit: Unit) -> Fault:
    at = f" at a boot of {unit.show(boot)}" if boot else ""
    name = f"{key_text(other.path)}{other.side}"
    if other.path == site.path:
        across = other.x == site.x and other.y == -site.y
        name = "its other side" if across else "itself at another place"
    if distance < SAME:
        message = f"the same hole as {name}{at}"
        return Fault(site.path, "same-hole", message, "Remove one of them.")
    needed = unit.show(site.radius + other.radius + WEB)
    hint = (
        f"These drills need {needed} between centres: the mean of the two larger diameters and "
        f"{unit.show(WEB)} of wall."
    )
    return Fault(site.path, "spacing", f"{unit.show(round(distance, 6))} from {name}{at}", hint)

"""Whether the holes of a pattern can be drilled together: places, spacing, steps.

Everything here works on the values in mm of a pattern whose fields are valid.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from itertools import product
from operator import itemgetter

from jiggen.errors import InputError
from jiggen.inputs.faults import UNITS, Fault, Unit, key_text
from jiggen.inputs.places import KeyPath
from jiggen.pattern.model import (
    MAX_HOLES,
    SAME,
    USUAL_BOOTS,
    WEB,
    X_LIMIT,
    Datum,
    Group,
    Pattern,
)

Boots = tuple[float, float]
DATUM_SLOPE: dict[Datum, float] = {"boot-toe": 0.5, "boot-heel": -0.5, "boot-centre": 0.0}
"""How far a datum lies from the mounting mark, in boot sole lengths, + towards the tip."""


@dataclass(frozen=True)
class _Site:
    """A hole to be drilled (each side counted), in mm from its group's origin."""

    path: KeyPath
    side: str
    x: float
    y: float
    radius: float  # of the larger drill of any core

    @property
    def name(self) -> str:
        return f"{key_text(self.path)}{self.side}"


@dataclass(frozen=True)
class _Run:
    """Boots, both ends included, at which a group keeps one shift.

    Its origin is then at slope·boot + shift.
    """

    start: float
    stop: float
    slope: float
    shift: float
    path: KeyPath

    def origin(self, boot: float) -> float:
        return self.slope * boot + self.shift


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
        raise InputError(tuple(fault.finding("pattern", pattern.source) for fault in faults))


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
    boots = _served(pattern)
    if boots[0] > boots[1]:
        unit = UNITS[pattern.units]
        yield Fault(
            ("boot",),
            "boot",
            f"ends at {unit.show(boots[1])}, but the steps begin at {unit.show(boots[0])}: "
            "no boot is served",
            "The first step's from is the shortest boot that the group serves.",
        )
        boots = (boots[0], boots[0])
    yield from _beyond(pattern, boots)
    yield from _clashes(pattern, boots, across=pattern.boot is not None)


def _unserved(pattern: Pattern, boot: float) -> Iterator[Fault]:
    unit = UNITS[pattern.units]
    if not (math.isfinite(boot) and boot > 0):
        yield Fault(("boot",), "boot-range", f"{boot:g} is not a valid boot sole length")
        return
    if pattern.boot and not pattern.boot[0] - SAME <= boot <= pattern.boot[1] + SAME:
        served = " to ".join(_both_units(end, unit) for end in pattern.boot)
        yield Fault(
            ("boot",),
            "boot-range",
            f"a boot of {_both_units(boot, unit)} is not served",
            f"{pattern.name} serves {served}.",
        )
    for g, group in enumerate(pattern.groups):
        if group.steps and boot < group.steps[0].start:
            yield Fault(
                ("group", g, "steps", 0, "from"),
                "boot-range",
                f"a boot of {_both_units(boot, unit)} lies below the first step of {group.name}",
                f"The steps begin at {_both_units(group.steps[0].start, unit)}.",
            )


def _both_units(length: float, unit: Unit) -> str:
    return unit.show(length) if unit.name == "mm" else f"{unit.show(length)} ({length:.5g} mm)"


def _served(pattern: Pattern) -> Boots:
    """Shortest and longest boot of all groups together, in mm."""
    first = [group.steps[0].start for group in pattern.groups if group.steps]
    low, high = pattern.boot or USUAL_BOOTS
    low = max(low, *first) if first else low
    return (low, high if pattern.boot else max(low, high))


def _sites(pattern: Pattern, g: int) -> list[_Site]:
    sites = []
    for h, hole in enumerate(pattern.groups[g].holes):
        path = ("group", g, "hole", h)
        radius = max(hole.drill.plain, hole.drill.metal) / 2
        x, y = hole.at
        if hole.both_sides:
            sites.append(_Site(path, " (left)", x, abs(y), radius))
            sites.append(_Site(path, " (right)", x, -abs(y), radius))
        else:
            sites.append(_Site(path, "", x, y, radius))
    return sites


def _runs(group: Group, g: int, boots: Boots) -> tuple[_Run, ...]:
    """The group's shifts over `boots`; at a step's edge, both its sides are checked."""
    low, high = boots
    slope = DATUM_SLOPE[group.datum]
    if not group.steps:
        return (_Run(low, high, slope, group.shift, ("group", g, "shift")),)
    nexts = [step.start for step in group.steps[1:]] + [math.inf]
    return tuple(
        _Run(
            max(step.start, low),
            min(math.nextafter(after, low), high),  # there the next step takes over
            slope,
            step.shift,
            ("group", g, "steps", s),
        )
        for s, (step, after) in enumerate(zip(group.steps, nexts, strict=True))
        if step.start <= high and after > low
    )


def _beyond(pattern: Pattern, boots: Boots) -> Iterator[Fault]:
    """Holes farther from the mounting mark than any ski is long.

    Where all of a group's holes are, and its origin with them, its shift is the one fault.
    """
    unit = UNITS[pattern.units]
    limit = f"At most {unit.show(X_LIMIT)} from the mounting mark is allowed."
    outside = f"outside the range of real skis (± {unit.show(X_LIMIT)})"
    for g, group in enumerate(pattern.groups):
        runs = _runs(group, g, boots)
        found: dict[KeyPath, Fault] = {}
        sites = _sites(pattern, g)
        for site in sites:
            x, boot, _ = _farthest(runs, site.x)
            if abs(x) > X_LIMIT:
                path: KeyPath = (*site.path, "at", 0)
                at = f"x is {unit.show(x)} from the mounting mark at a boot of {unit.show(boot)}"
                found[site.path] = Fault(path, "length", f"{at}, {outside}", limit)
        x, boot, path = _farthest(runs, 0.0)
        if abs(x) > X_LIMIT and len(found) == len({site.path for site in sites}):
            message = f"puts the group {unit.show(x)} from the mounting mark"
            yield Fault(path, "length", f"{message} at a boot of {unit.show(boot)}", limit)
        else:
            yield from found.values()


def _farthest(runs: Iterable[_Run], x: float) -> tuple[float, float, KeyPath]:
    """Where `x` of a group lies farthest from the mounting mark, at which boot, by which key."""
    places = ((run.origin(b) + x, b, run.path) for run in runs for b in (run.start, run.stop))
    return max(places, key=lambda place: abs(place[0]))


def _clashes(pattern: Pattern, boots: Boots, *, across: bool = True) -> Iterator[Fault]:
    """Holes too near another: one fault per hole, with the nearest of those before it."""
    unit = UNITS[pattern.units]
    before: list[tuple[tuple[_Run, ...], list[_Site]]] = []
    for g, group in enumerate(pattern.groups):
        runs = _runs(group, g, boots) if across else ()
        others = [(sites, tuple(_offsets(runs, theirs))) for theirs, sites in before]
        done: list[_Site] = []
        faulty: set[KeyPath] = set()
        for site in _sites(pattern, g):
            near = [_Near(math.hypot(site.x - o.x, site.y - o.y), o) for o in done]
            for sites, offsets in others:
                near += _nearest_across(site, sites, offsets)
            done.append(site)
            fault = _too_near(site, near, unit)
            if fault and site.path not in faulty:
                faulty.add(site.path)
                yield fault
        before.append((runs, done))


@dataclass(frozen=True)
class _Near:
    """How near another hole comes, and the boot length at which (None: at any)."""

    distance: float
    other: _Site
    boot: float | None = None


@dataclass(frozen=True)
class _Offset:
    """One group's origin from another's, along x, at both ends of a run of boots (mm)."""

    boots: Boots
    ends: tuple[float, float]

    def nearest(self, x: float) -> tuple[float, float]:
        """The boot at which the offset comes nearest to `x`, and the distance left."""
        (b0, b1), (e0, e1) = self.boots, self.ends
        share = (x - e0) / (e1 - e0) if e1 != e0 else 0.0
        share = min(1.0, max(0.0, share))
        return b0 + share * (b1 - b0), abs(e0 + share * (e1 - e0) - x)


def _offsets(runs: Iterable[_Run], others: Iterable[_Run]) -> Iterator[_Offset]:
    for run, other in product(runs, others):
        boots = max(run.start, other.start), min(run.stop, other.stop)
        if boots[0] <= boots[1]:
            low, high = (run.origin(boot) - other.origin(boot) for boot in boots)
            yield _Offset(boots, (low, high))


def _nearest_across(
    site: _Site, sites: Iterable[_Site], offsets: Collection[_Offset]
) -> Iterator[_Near]:
    """The nearest that each hole of another group comes, if it lies near enough sideways."""
    if not offsets:
        return
    for other in sites:
        dy = site.y - other.y
        if abs(dy) < site.radius + other.radius + WEB:
            places = (offset.nearest(other.x - site.x) for offset in offsets)
            boot, dx = min(places, key=itemgetter(1))
            yield _Near(math.hypot(dx, dy), other, boot)


def _too_near(site: _Site, near: Iterable[_Near], unit: Unit) -> Fault | None:
    def lack(one: _Near) -> float:
        return site.radius + one.other.radius + WEB - one.distance

    worst = max(near, key=lack, default=None)
    if worst is None or lack(worst) <= SAME:
        return None
    at = f" at a boot of {unit.show(worst.boot)}" if worst.boot is not None else ""
    own = worst.other.path == site.path
    if worst.distance < SAME and not own:
        message = f"the same hole as {worst.other.name}{at}"
        return Fault(site.path, "same-hole", message, "Remove one of them.")
    other = "its other side" if own else worst.other.name
    return Fault(
        site.path,
        "spacing",
        f"{unit.show(round(worst.distance, 6))} from {other}{at}",
        f"These drills need {unit.show(site.radius + worst.other.radius + WEB)} between centres: "
        f"the mean of the two larger diameters and {unit.show(WEB)} of wall.",
    )

"""Kinematics over the whole range: every part must pass every other at every ski width.

At each width the rails stand on the ski's edges, the pinion has turned with them, and every
pair of parts is measured (`sections`).  Faces that are meant to touch are left out: nose and
ski, pads and ski, nut and trap, screw head and knob.

A ski is narrower at its waist, so a rail's nose meets a slanting edge and touches it beside the
station's own x.  The nose is round, so this shifts the rail by thousandths only: the parts are
measured with the rails at half the width, and only rail and ski on the hollow edge itself.  How
far the contact wanders is checked.  The width is always the ski's at the station.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, combinations, product
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from jiggen.accuracy import sections
from jiggen.accuracy.sections import SIDES, Part, flat_gap, gap
from jiggen.design import Design
from jiggen.design.gear import contact_ratio, mesh_half_length, teeth_in_mesh
from jiggen.design.station import Mechanism, RailShape
from jiggen.errors import Finding
from jiggen.record.entries import Station

Array = NDArray[np.float64]
RADII = (10_000.0, 15_000.0, 20_000.0, 25_000.0, 30_000.0)  # mm, sidecuts: common practice
LEAST_GAP = 0.02  # mm: parts that by design come closer will rub when printed
LEAST_TEETH = 2.0
WANDER = 0.5  # mm along the ski that a nose's contact may lie from the station's x
SNUG = 0.005  # mm that the chords of nose and edge may overlap where they touch


class Measured(NamedTuple):
    """The gap of two parts, at one ski width or, with None, at all; mm."""

    one: str
    other: str
    gap: float
    width: float | None = None


@dataclass(frozen=True)
class Closest:
    """The least gap of two parts over the range, in mm; an overlap is below zero.

    `width` is the ski width in mm at which it first comes about; `failing` are the widths at
    which the gap is too small.
    """

    one: str
    other: str
    gap: float
    width: float
    failing: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class StationSweep:
    """One station over all ski widths; mm.

    `travel` (n widths, m radii) is the rails' place: the nose's y off the centre line. `contact`
    (m,) is how far from the station's x a nose touches. `teeth` (n,) are the teeth of either
    rack in mesh, in pitches.
    """

    name: str
    x: float
    travel: Array
    contact: Array
    teeth: Array
    pairs: tuple[Closest, ...]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, eq=False)
class Sweep:
    """All stations over ski widths (n,) and sidecut radii (m,), both mm.

    `between` are the gaps of parts of different stations, at any two widths.
    """

    widths: Array
    radii: Array
    stations: tuple[StationSweep, ...]
    between: tuple[Closest, ...]
    findings: tuple[Finding, ...]

    @property
    def closest(self) -> Closest:
        """The closest that any two parts come."""
        pairs = [pair for station in self.stations for pair in station.pairs]
        return min((*pairs, *self.between), key=lambda pair: pair.gap)

    @property
    def least_teeth(self) -> float:
        """The least number of rack teeth in mesh, in pitches."""
        return float(min(station.teeth.min() for station in self.stations))


def sweep_stations(
    design: Design, step: float = 1.0, radii: Sequence[float] = RADII, waist: float = 0.0
) -> Sweep:
    """Move every station of `design` over its ski range, `step` mm of width at a time.

    `radii` are sidecut radii and `waist` is the waist's x in the ski frame, mm.  By default the
    waist lies at the mounting mark; on most skis it lies a few centimetres behind it (from
    memory), which moves a nose's contact by hundredths.

    Findings have the codes ``accuracy.interference``, ``accuracy.mesh``, ``accuracy.contact``.
    Raises RuntimeError if a section comes out as an invalid polygon.
    """
    ski = design.settings.ski
    widths = np.unique(np.append(np.arange(ski.least, ski.most, step), ski.most))
    sidecuts = np.asarray(radii, dtype=np.float64)
    stations = tuple(
        _sweep_station(design, station, widths, sidecuts, waist) for station in design.stations
    )
    between = _closest(_between(design), widths)
    findings = [finding for station in stations for finding in station.findings]
    findings += _collisions(between, widths)
    return Sweep(widths, sidecuts, stations, between, tuple(findings))


def _sweep_station(
    design: Design, station: Station, widths: Array, radii: Array, waist: float
) -> StationSweep:
    mechanism, name = design.mechanism, station.name
    contact, ahead = _contacts(mechanism.rail, station.x, radii, waist)
    parts = _Parts.of(design, station)
    measured = chain(
        _resting(design, parts),
        _on_ski(parts, mechanism.rail, float(widths.mean()), radii, ahead, waist),
        *(_passing(design, parts, width) for width in widths.tolist()),
    )
    pairs = _closest(measured, widths)
    teeth = _teeth(mechanism, widths)
    lost = _lost(mechanism, name, widths, teeth)
    wandered = _wandered(mechanism.rail, name, contact, radii)
    return StationSweep(
        name=name,
        x=station.x,
        travel=widths[:, None] / 2 + ahead,
        contact=contact,
        teeth=teeth,
        pairs=pairs,
        findings=(*_collisions(pairs, widths), *lost, *wandered),
    )


@dataclass(frozen=True, eq=False)
class _Parts:
    """What is in and around one station, in its frame; the rail as a left one at y = 0.

    `blunt` is the rail without tooth spaces; `near` is the hardware in the body, by name.
    """

    station: Station
    blunt: Part
    leg: Part
    pinion: Part
    knob: Part
    body: Part
    near: dict[str, Part]

    @classmethod
    def of(cls, design: Design, station: Station) -> _Parts:
        rail, x = design.mechanism.rail, station.x
        _, blunt, pinion, knob = sections.moving_parts(design.mechanism)
        return cls(
            station=station,
            blunt=blunt,
            leg=sections.leg_part(rail, rail.leg_plan(sections.NOSE_CHORDS)),
            pinion=pinion,
            knob=knob,
            body=sections.body_part(design, x).moved(x=-x),
            near={
                name: part.moved(x=-x) for name, part in sections.fixed_hardware(design, x).items()
            },
        )

    def name(self, what: str, side: str = "") -> str:
        """What a part of this station is called."""
        return f"{what} {self.station.name} {side}".rstrip()


def _stand(part: Part, travel: float, side: str) -> Part:
    """A rail's `part` with its nose `travel` mm off the centre line."""
    return part.moved(y=travel).moved(degrees=SIDES[side])


def _resting(design: Design, parts: _Parts) -> Iterator[Measured]:
    """Gaps that no ski width changes."""
    made, top = design.mechanism, design.settings.body
    pinion, knob, screw, nut = map(parts.name, ("pinion", "knob", "lock screw", "nut"))
    channel = flat_gap(sections.rack_profile(made.rail), sections.body_profile(made.station, top))
    for side in SIDES:
        yield Measured(parts.name("rail", side), "body", channel)
    recess = sections.recess_profile(made.station, top)
    yield Measured(pinion, "body", flat_gap(sections.pinion_profile(made.pinion), recess))
    yield Measured(knob, "body", flat_gap(sections.knob_profile(made.knob), recess))
    yield Measured(knob, pinion, gap(parts.knob, parts.pinion))
    for name, part in parts.near.items():
        yield Measured(knob, name, gap(parts.knob, part))
    bolt, its_nut = sections.lock_hardware(made)
    walls = sections.pinion_walls(made.pinion)
    yield Measured(screw, pinion, gap(bolt, walls, beside=True))
    yield Measured(screw, knob, gap(bolt, parts.knob, beside=True))
    yield Measured(nut, pinion, gap(its_nut, walls, beside=True))
    # The top sheet is z = 0: all but the rails must stay above it.
    above = {pinion: parts.pinion, knob: parts.knob, screw: bolt, nut: its_nut}
    for name, part in above.items():
        yield Measured(name, "ski", min(slab.low for slab in part.slabs))


def _passing(design: Design, parts: _Parts, width: float) -> Iterator[Measured]:
    """Gaps of the rails with all that they pass, at one ski width."""
    alone = sections.within_station(design.mechanism, design.settings.ski.middle, width)
    left, right = (parts.name("rail", side) for side in SIDES)
    for side, rail in zip(SIDES, (left, right), strict=True):
        leg = _stand(parts.leg, width / 2, side)
        yield Measured(rail, parts.name("pinion"), alone.pinion[side], width)
        yield Measured(rail, "body", gap(leg, parts.body), width)
        yield Measured(rail, parts.name("knob"), alone.knob[side], width)
        blunt = _stand(parts.blunt, width / 2, side)
        for name, part in parts.near.items():
            yield Measured(rail, name, gap(blunt, part), width)
    yield Measured(left, right, alone.rails, width)
    # A bar clamp's jaw is wider than the flat it presses on: no rack may stand out past it.
    shape = design.mechanism.rail
    behind = width + shape.outer_y - shape.reach
    yield Measured(left, f"a clamp on {right}", behind, width)
    yield Measured(right, f"a clamp on {left}", behind, width)


def _on_ski(
    parts: _Parts, rail: RailShape, width: float, radii: Array, ahead: Array, waist: float
) -> Iterator[Measured]:
    """Gaps of rail and ski beside the nose.

    They depend on the shape of the edge, not on the width: one width stands for all.
    """
    leg, nose = (
        sections.leg_part(rail, rail.bar_plan),
        sections.leg_part(rail, rail.nose_plan(sections.NOSE_CHORDS)),
    )
    for radius, lead in zip(radii.tolist(), ahead.tolist(), strict=True):
        ski = sections.ski_part(parts.station.x, width / 2, radius, waist)
        for side in SIDES:
            beside, touching = (_stand(part, width / 2 + lead, side) for part in (leg, nose))
            yield Measured(parts.name("rail", side), "ski", gap(beside, ski))
            pressed = gap(touching, ski)
            if pressed < -SNUG:
                yield Measured(parts.name("rail", side), "ski", pressed)


def _between(design: Design) -> Iterator[Measured]:
    """Gaps of the parts of different stations, each anywhere in its range."""
    ends = design.settings.ski.least / 2, design.settings.ski.most / 2

    def room(station: Station) -> dict[str, Part]:
        parts = _Parts.of(design, station)
        named = {
            parts.name("rail", side): sections.sweep_box(
                *(_stand(parts.blunt, y, side) for y in ends)
            )
            for side in SIDES
        }
        named |= {parts.name("pinion"): parts.pinion, parts.name("knob"): parts.knob}
        return {name: part.moved(x=station.x) for name, part in named.items()}

    for one, other in combinations(map(room, design.stations), 2):
        for (a, part), (b, another) in product(one.items(), other.items()):
            yield Measured(a, b, gap(part, another))


def _contacts(rail: RailShape, x: float, radii: Array, waist: float) -> tuple[Array, Array]:
    """Where noses touch edges of sidecut `radii`: from the station's `x`, and how far the rail
    stands beyond half the ski's width there; both (m,), mm.

    The nose's circle touches where it is as steep as the edge: at its slope s the point lies
    r·s/√(1+s²) along, and r·(1 - 1/√(1+s²)) beyond the foremost point. Along the ski the slope
    changes so little that a few rounds settle it.
    """
    contact = np.zeros_like(radii)
    for _ in range(8):
        slope = (x + contact - waist) / radii
        contact = rail.nose_radius * slope / np.hypot(1.0, slope)
    sunk = rail.nose_radius * (1 - 1 / np.hypot(1.0, slope))
    return contact, np.asarray(sections.ski_edge(contact, x, radii, waist) - sunk)


def _closest(measured: Iterable[Measured], widths: Array) -> tuple[Closest, ...]:
    """The least gap of each pair, in the order that pairs were first met."""
    every, narrowest = tuple(widths.tolist()), float(widths[0])
    found: dict[tuple[str, str], list[Measured]] = defaultdict(list)
    for one in measured:
        found[one.one, one.other].append(one)
    pairs = []
    for (one_name, other_name), gaps in found.items():
        least = min(gaps, key=lambda m: m.gap)
        failing = {
            width
            for m in gaps
            if m.gap < LEAST_GAP
            for width in (every if m.width is None else (m.width,))
        }
        width = narrowest if least.width is None else least.width
        pairs.append(Closest(one_name, other_name, least.gap, width, tuple(sorted(failing))))
    return tuple(pairs)


def _collisions(pairs: Iterable[Closest], widths: Array) -> Iterator[Finding]:
    for pair in pairs:
        if not pair.failing:
            continue
        how = (
            f"interfere by {-pair.gap:.2f} mm"
            if pair.gap < 0
            else f"come within {pair.gap:.2f} mm of each other"
        )
        low, high = pair.failing[0], pair.failing[-1]
        if len(pair.failing) == len(widths):
            where = "at every ski width"
        elif low == high:
            where = f"at ski width {low:g} mm"
        else:
            where = f"at ski widths within {low:g}-{high:g} mm, most at {pair.width:g} mm"
        yield Finding(
            "accuracy.interference",
            f"{pair.one} and {pair.other} {how} {where}",
            hint=f"At least {LEAST_GAP:g} mm must be free. More slide clearance or backlash "
            "gives room; with both at their defaults this is a defect of jiggen.",
        )


def _teeth(mechanism: Mechanism, widths: Array) -> Array:
    """Teeth of a rack in mesh at each width, in pitches, (n,)."""
    low, high = _toothed(mechanism, widths)
    gear = mechanism.pinion.gear
    return np.array([teeth_in_mesh(gear, ends) for ends in zip(low, high, strict=True)])


def _toothed(mechanism: Mechanism, widths: Array) -> tuple[Array, Array]:
    """Where a rack's teeth begin and end at each width, from the pinion's axis."""
    low, high = mechanism.rail.rack.toothed
    return low + widths / 2, high + widths / 2


def _lost(mechanism: Mechanism, name: str, widths: Array, teeth: Array) -> Iterator[Finding]:
    """What of the mesh is lost at some width, with `teeth` (n,) in mesh."""
    gear, (low, high) = mechanism.pinion.gear, _toothed(mechanism, widths)
    half = mesh_half_length(gear) - 1e-9
    short = (teeth < LEAST_TEETH) | (low > -half) | (high < half)
    if short.any():
        at = widths[short]
        worst = int(np.flatnonzero(short)[np.argmin(teeth[short])])
        yield Finding(
            "accuracy.mesh",
            f"rails {name} and pinion {name} have {teeth[worst]:.1f} teeth in mesh at ski "
            f"width {widths[worst]:g} mm; the rack's teeth end too soon at "
            f"{at.min():g}-{at.max():g} mm",
            hint=f"{LEAST_TEETH:g} teeth and the whole line of action must be covered: "
            "a defect of jiggen, not of the input.",
        )
    if (ratio := contact_ratio(gear)) < 1:
        yield Finding(
            "accuracy.mesh",
            f"rails {name} and pinion {name} have only {ratio:.2f} tooth pairs in contact",
            hint="A contact ratio below 1 loses drive between teeth: a defect of jiggen.",
        )


def _wandered(rail: RailShape, name: str, contact: Array, radii: Array) -> Iterator[Finding]:
    far = int(np.argmax(np.abs(contact)))
    if abs(contact[far]) > min(WANDER, rail.nose_half):
        yield Finding(
            "accuracy.contact",
            f"rails {name} touch a ski of {radii[far] / 1000:g} m sidecut {contact[far]:.2f} mm "
            f"from the station's middle; {WANDER:g} mm is the most",
            hint="The station is too far from the waist for this nose radius: a smaller one "
            "keeps the contact in place.",
        )

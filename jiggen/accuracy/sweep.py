"""Kinematics over the whole range: every part must pass every other at every ski width.

At each width the rails stand on the ski's edges, the pinion has turned with them, and every
pair of parts is measured (`sections`).  Faces that are meant to touch are left out: nose and
ski, strips and ski, nut and trap, screw head and knob.

A ski is narrower at its waist, so a rail's nose meets a slanting edge and touches it beside the
station's own x.  The nose is round, so this shifts the rail by thousandths only: the parts are
measured with the rails at half the width, and only rail and ski on the hollow edge itself.  How
far the contact wanders is checked.  The width is always the ski's at the station.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, combinations, product

import numpy as np
from shapely import total_bounds
from shapely.geometry import box

from jiggen.accuracy import sections
from jiggen.accuracy.sections import SIDES, Array, Part, flat_gap, gap, stand
from jiggen.design import Design
from jiggen.design.gear import contact_ratio, mesh_half_length, teeth_in_mesh
from jiggen.design.station import Mechanism, RailShape
from jiggen.errors import Finding
from jiggen.record.entries import Station

RADII = (10_000.0, 15_000.0, 20_000.0, 25_000.0, 30_000.0)  # mm, sidecuts: common practice
# mm: x of the waist in the ski frame.  On most skis it lies a few centimetres behind the mounting
# mark (from memory), which moves a nose's contact by hundredths.
WAIST = 0.0
LEAST_GAP = 0.02  # mm: parts that by design come closer will rub when printed
LEAST_TEETH = 2.0
WANDER = 0.5  # mm along the ski that a nose's contact may lie from the station's x
SNUG = 0.005  # mm that the chords of nose and edge may overlap where they touch

Gap = tuple[str, str, float, float | None]
"""Of two parts, at one ski width or, with None, at all; mm."""


@dataclass(frozen=True)
class Closest:
    """The least gap of two parts over the range, in mm; an overlap is below zero.

    `width` is the ski width at which it first comes about; at those of `failing` it is too small.
    """

    one: str
    other: str
    gap: float
    width: float
    failing: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Sweep:
    """All `pairs` of parts over ski `widths` (n,), mm; `least_teeth` of a rack are in mesh."""

    widths: Array
    pairs: tuple[Closest, ...]
    least_teeth: float
    findings: tuple[Finding, ...]


def sweep_stations(design: Design, step: float = 1.0) -> Sweep:
    """Move every station of `design` over its ski range, `step` mm of width at a time.

    Findings have the codes ``accuracy.interference``, ``accuracy.mesh``, ``accuracy.contact``.
    Raises RuntimeError if a section comes out as an invalid polygon.
    """
    ski, made = design.settings.ski, design.mechanism
    widths = np.unique(np.append(np.arange(ski.least, ski.most, step), ski.most))
    low, high = (end + widths / 2 for end in made.rail.rack.toothed)
    gear = made.pinion.gear
    teeth = np.array([teeth_in_mesh(gear, ends) for ends in zip(low, high, strict=True)])
    short = (teeth < LEAST_TEETH) | (np.minimum(-low, high) < mesh_half_length(gear) - 1e-9)
    pairs: list[Closest] = []
    findings: list[Finding] = []
    for station in design.stations:
        name, x = station.name, station.x
        contact, ahead = find_contacts(made.rail, x)
        # Rail and ski depend on the shape of the edge, not on the width: one stands for all.
        half = float(widths.mean()) / 2
        skis = [sections.ski_part(x, half, radius, WAIST) for radius in RADII]
        near = sections.fixed_hardware(design, x)
        measured = chain(
            _resting(design, name, near),
            _on_ski(made.rail, name, skis, (half + ahead).tolist()),
            _passing(design, station, near, widths.tolist()),
        )
        own = _closest(measured, widths)
        pairs += own
        findings += _collisions(own, widths)
        findings += _lost(made, name, widths[short], teeth[short])
        findings += _wandered(made.rail, name, contact)
    between = _closest(_between(design), widths)
    findings += _collisions(between, widths)
    return Sweep(widths, (*pairs, *between), float(teeth.min()), tuple(findings))


def _resting(design: Design, name: str, near: dict[str, Part]) -> Iterator[Gap]:
    """Gaps that no ski width changes, of the station `name` with hardware `near` it."""
    made, top = design.mechanism, design.settings.body
    _, _, turning, cap = sections.moving_parts(made)
    pinion, knob, screw, nut = (
        f"{part} {name}" for part in ("pinion", "knob", "lock screw", "nut")
    )
    channel = flat_gap(sections.rack_profile(made.rail), sections.body_profile(made.station, top))
    for side in SIDES:
        yield f"rail {name} {side}", "body", channel, None
    recess = sections.recess_profile(made.station, top)
    yield pinion, "body", flat_gap(sections.pinion_profile(made.pinion), recess), None
    yield knob, "body", flat_gap(sections.knob_profile(made.knob), recess), None
    yield knob, pinion, gap(cap, turning), None
    for other, part in near.items():
        yield knob, other, gap(cap, part), None
    bolt, its_nut, walls = sections.lock_parts(made)
    yield screw, pinion, gap(bolt, walls, beside=True), None
    yield screw, knob, gap(bolt, cap, beside=True), None
    yield nut, pinion, gap(its_nut, walls, beside=True), None
    # The top sheet is z = 0: all but the rails must stay above it.
    for above, part in ((pinion, turning), (knob, cap), (screw, bolt), (nut, its_nut)):
        yield above, "ski", min(low for low, _, _ in part.slabs), None


def _passing(
    design: Design, station: Station, near: dict[str, Part], widths: list[float]
) -> Iterator[Gap]:
    """Gaps of the rails with all that they pass."""
    name, shape, body = station.name, design.mechanism.rail, sections.body_part(design, station.x)
    leg = Part(*sections.leg_slabs(shape))
    blunt = sections.moving_parts(design.mechanism)[1]
    left, right = rails = [f"rail {name} {side}" for side in SIDES]
    for width in widths:
        alone, rails_gap = sections.within_station(
            design.mechanism, design.settings.ski.middle, width
        )
        for rail, (side, (with_pinion, with_knob)) in zip(rails, alone.items(), strict=True):
            yield rail, f"pinion {name}", with_pinion, width
            yield rail, "body", gap(stand(leg, width / 2, side), body), width
            yield rail, f"knob {name}", with_knob, width
            whole = stand(blunt, width / 2, side)
            for other, part in near.items():
                yield rail, other, gap(whole, part), width
        yield left, right, rails_gap, width
        # A bar clamp's jaw is wider than the flat it presses on: no rack may stand out past it.
        behind = width + shape.outer_y - shape.reach
        yield left, f"a clamp on {right}", behind, width
        yield right, f"a clamp on {left}", behind, width


def _on_ski(rail: RailShape, name: str, skis: list[Part], places: list[float]) -> Iterator[Gap]:
    """Gaps of rail and ski beside the nose; on each ski the nose has its own place."""
    bar, nose = map(Part, sections.leg_slabs(rail))
    for (ski, y), side in product(zip(skis, places, strict=True), SIDES):
        yield f"rail {name} {side}", "ski", gap(stand(bar, y, side), ski), None
        if (pressed := gap(stand(nose, y, side), ski)) < -SNUG:
            yield f"rail {name} {side}", "ski", pressed, None


def _between(design: Design) -> Iterator[Gap]:
    """Gaps of the parts of different stations, each anywhere in its range."""
    ends = design.settings.ski.least / 2, design.settings.ski.most / 2
    _, blunt, pinion, knob = sections.moving_parts(design.mechanism)
    room = {}
    for side in SIDES:
        # Of each slab the box around both ends of its way.
        both = zip(*(stand(blunt, y, side).slabs for y in ends), strict=True)
        boxes = ((low, high, box(*total_bounds([p, q]))) for (low, high, p), (_, _, q) in both)
        room[f"rail {{}} {side}"] = Part(*boxes)
    room |= {"pinion {}": pinion, "knob {}": knob}
    stations = (
        {name.format(one.name): part.moved(x=one.x) for name, part in room.items()}
        for one in design.stations
    )
    for one, other in combinations(stations, 2):
        for (a, part), (b, another) in product(one.items(), other.items()):
            yield a, b, gap(part, another), None


def find_contacts(
    rail: RailShape, x: float, radii: Sequence[float] = RADII, waist: float = WAIST
) -> tuple[Array, Array]:
    """Where noses touch edges of sidecut `radii`: from the station's `x`, and how far the rail
    stands beyond half the ski's width there; both (m,), mm.

    The nose's circle touches where it is as steep as the edge: at its slope s the point lies
    r·s/√(1+s²) along, and r·(1 - 1/√(1+s²)) beyond the foremost point. Along the ski the slope
    changes so little that a few rounds settle it.
    """
    contact = np.zeros(len(radii))
    for _ in range(8):
        slope = (x + contact - waist) / np.asarray(radii)
        contact = rail.nose_radius * slope / np.hypot(1.0, slope)
    sunk = rail.nose_radius * (1 - 1 / np.hypot(1.0, slope))
    return contact, sections.ski_edge(contact, x, radii, waist) - sunk


def _closest(measured: Iterable[Gap], widths: Array) -> list[Closest]:
    """The least gap of each pair, in the order that pairs were first met."""
    every = tuple(widths.tolist())
    found: dict[tuple[str, str], list[tuple[float, float | None]]] = defaultdict(list)
    for one, other, distance, width in measured:
        found[one, other].append((distance, width))
    pairs = []
    for names, gaps in found.items():
        least, width = min(gaps, key=lambda one: one[0])
        tight = {at for distance, at in gaps if distance < LEAST_GAP}
        failing = tuple(at for at in every if None in tight or at in tight)
        pairs.append(Closest(*names, least, every[0] if width is None else width, failing))
    return pairs


def _collisions(pairs: Iterable[Closest], widths: Array) -> Iterator[Finding]:
    for pair in pairs:
        if not pair.failing:
            continue
        how = f"come within {pair.gap:.2f} mm of each other"
        if pair.gap < 0:
            how = f"interfere by {-pair.gap:.2f} mm"
        low, high = pair.failing[0], pair.failing[-1]
        where = f"at ski widths within {low:g}-{high:g} mm, most at {pair.width:g} mm"
        if len(pair.failing) == len(widths):
            where = "at every ski width"
        elif low == high:
            where = f"at ski width {low:g} mm"
        yield Finding(
            "accuracy.interference",
            f"{pair.one} and {pair.other} {how} {where}",
            hint=f"At least {LEAST_GAP:g} mm must be free. More slide clearance or backlash "
            "gives room; with both at their defaults this is a defect of jiggen.",
        )


def _lost(made: Mechanism, name: str, widths: Array, teeth: Array) -> Iterator[Finding]:
    """What of the mesh is lost, with too few `teeth` in mesh at these `widths`."""
    parts = f"rails {name} and pinion {name} have"
    if len(widths):
        worst = int(teeth.argmin())
        yield Finding(
            "accuracy.mesh",
            f"{parts} {teeth[worst]:.1f} teeth in mesh at ski width {widths[worst]:g} mm; "
            f"the rack's teeth end too soon at {widths[0]:g}-{widths[-1]:g} mm",
            hint=f"{LEAST_TEETH:g} teeth and the whole line of action must be covered: "
            "a defect of jiggen, not of the input.",
        )
    if (ratio := contact_ratio(made.pinion.gear)) < 1:
        yield Finding(
            "accuracy.mesh",
            f"{parts} only {ratio:.2f} tooth pairs in contact",
            hint="A contact ratio below 1 loses drive between teeth: a defect of jiggen.",
        )


def _wandered(rail: RailShape, name: str, contact: Array) -> Iterator[Finding]:
    far = int(np.argmax(np.abs(contact)))
    if abs(contact[far]) > min(WANDER, rail.nose_half):
        yield Finding(
            "accuracy.contact",
            f"rails {name} touch a ski of {RADII[far] / 1000:g} m sidecut {contact[far]:.2f} mm "
            f"from the station's middle; {WANDER:g} mm is the most",
            hint="The station is too far from the waist for this nose radius: a smaller one "
            "keeps the contact in place.",
        )

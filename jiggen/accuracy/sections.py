"""Every part of a station as flat sections, from the outlines that the solids are made of too.

A part is a stack of upright prisms (`Part`, for parts that pass one another) or, where two parts
only slide or turn within each other, one profile, in which a lean or a cone is exact: of rack and
channel, prisms along y, in the xz plane; of pinion and recess, turned about one axis, over radius
and z.  The tests show that the solids have these sections.

A round part is drawn around its circle and a round hole inside it, so no gap comes out wider
than it is.  All numbers are mm; a part lies in its station's frame, a rail with y = 0 where its
nose touches the ski.
"""

from __future__ import annotations

import math
from functools import lru_cache
from itertools import product

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import Polygon, box

from jiggen.design import Design
from jiggen.design.lettering import hexagon
from jiggen.design.station import KnobShape, Mechanism, PinionShape, RailShape, StationShape

Array = NDArray[np.float64]

CHORD = 0.002  # mm from a tooth's flank: small beside the least gap allowed
ROUND = 256  # chords a circle: 0.001 mm from one of 12 mm radius
FAR = 500.0  # mm: beyond any part
NOSE_CHORDS = 48
SKI_DEPTH = 30.0  # mm below the top sheet: deeper than any rail
SIDES = {"left": 0.0, "right": 180.0}  # degrees: the right rail is the left one turned round
NEAR = 60.0  # mm of ski and body looked at to either side of a station

Slab = tuple[float, float, shapely.Geometry]
"""An upright prism: from a height to a higher one, and its plan."""


class Part:
    """A part as slabs; together they hold all of it.  Raises RuntimeError for an empty slab."""

    def __init__(self, *slabs: Slab) -> None:
        for low, high, plan in slabs:
            check_valid(plan)
            if not low < high:
                raise RuntimeError(f"a slab from {low:g} up to {high:g} mm is empty")
        self.slabs = slabs

    def moved(self, x: float = 0.0, y: float = 0.0, degrees: float = 0.0) -> Part:
        """The part turned about the z axis, then shifted in x and y."""
        return Part(*((low, high, place(plan, x, y, degrees)) for low, high, plan in self.slabs))


def check_valid(shape: shapely.Geometry) -> shapely.Geometry:
    """`shape`, if it is valid and not empty: an invalid polygon gives silent nonsense.

    Raises RuntimeError otherwise: a defect of ours, never of the input.
    """
    if shape.is_empty or not shape.is_valid:
        why = "it is empty" if shape.is_empty else shapely.is_valid_reason(shape)
        raise RuntimeError(f"a section is not a valid polygon: {why}")
    return shape


def place(
    shape: shapely.Geometry, x: float = 0.0, y: float = 0.0, degrees: float = 0.0
) -> shapely.Geometry:
    """`shape` turned about the origin, then shifted."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    turn, shift = np.array([[c, s], [-s, c]]), np.array([x, y])
    return shapely.transform(shape, lambda points: points @ turn + shift)


def flat_gap(one: shapely.Geometry, other: shapely.Geometry) -> float:
    """Distance of two flat shapes; below zero the widest circle that both share."""
    distance = float(shapely.distance(one, other))
    if distance > 0:
        return distance
    shared = [piece for piece in shapely.get_parts(one.intersection(other)) if piece.area > 0]
    radii = (shapely.maximum_inscribed_circle(piece, tolerance=1e-3).length for piece in shared)
    return -2 * max(radii, default=0.0)


def gap(one: Part, other: Part, *, beside: bool = False) -> float:
    """Distance of two parts in space; where they overlap, how deep, below zero.

    `beside` leaves out what lies over one another, for parts that are meant to touch there.
    """
    least = FAR
    for (low, high, plan), (lower, upper, another) in product(one.slabs, other.slabs):
        apart = max(low, lower) - min(high, upper)
        if apart >= (0.0 if beside else least):
            continue
        if apart >= 0:
            found = math.hypot(apart, shapely.distance(plan, another))
        elif (found := flat_gap(plan, another)) <= 0:
            found = max(found, apart)
        least = min(least, found)
    return least


def rack_profile(rail: RailShape) -> Polygon:
    """The rack cut across, x over z, at the crest of a tooth."""
    return check_valid(Polygon(rail.rack_profile))


def body_profile(station: StationShape, top: float) -> Polygon:
    """The body cut across beside a channel, x over z: a block less the channel."""
    channel = check_valid(Polygon(station.channel(-1.0)))
    block = box(station.channel_x - 3.0, 0.0, station.half_length + 3.0, top)
    return check_valid(block.difference(channel))


def pinion_profile(pinion: PinionShape) -> Polygon:
    """What the pinion sweeps as it turns, radius over z; nut trap and bore filled."""
    p, corner, tip = pinion, hexagon(pinion.hex_flats)[0, 0], pinion.gear.tip_radius
    steps = [(p.flange_radius, p.bottom_z), (p.flange_radius, p.flange_z)]
    steps += [(tip, p.flange_z), (tip, p.gear_top_z), (p.cone_radius, p.gear_top_z)]
    steps += [(p.cone_radius, p.cone_z), (p.cone_top_radius, p.cone_top_z)]
    steps += [(corner, p.cone_top_z), (corner, p.top_z)]
    return check_valid(Polygon([(0.0, p.bottom_z), *steps, (0.0, p.top_z)]))


def knob_profile(knob: KnobShape) -> Polygon:
    """What the knob sweeps as it turns, radius over z."""
    return box(hexagon(knob.socket_flats)[0, 0], knob.bottom_z, knob.radius, knob.top_z)


def recess_profile(station: StationShape, top: float) -> Polygon:
    """The body around the pinion, radius over z, out past the knob, channels left away."""
    past = max(station.knob_radius, station.flange_radius) + 5.0
    hollow = check_valid(Polygon(station.recess(top, 1.0)))
    return check_valid(box(0.0, 0.0, past, top).difference(hollow))


def lock_parts(mechanism: Mechanism) -> tuple[Part, Part, Part]:
    """The lock screw, its head on the knob, its nut at the top of the trap, and what is around.

    That is the pinion beside its nut trap and bore, no thicker than it is.
    """
    screw, size, p = mechanism.lock.screw, mechanism.lock.nut, mechanism.pinion
    seat, top = mechanism.knob.top_z, p.nut_top_z
    trap, bore = Polygon(hexagon(p.nut_flats)), disc(p.bore / 2, inside=True)
    return (
        Part(
            (seat - mechanism.lock.length, seat, disc(screw.diameter / 2)),
            (seat, seat + screw.head_height, disc(screw.head_diameter / 2)),
        ),
        Part((top - size.height, top, Polygon(hexagon(size.across_flats)))),
        Part(
            (p.bottom_z, top, disc(p.gear.root_radius).difference(trap)),
            (top, p.top_z, Polygon(hexagon(p.hex_flats)).difference(bore)),
        ),
    )


def body_part(design: Design, x: float) -> Part:
    """All bodies within NEAR of a station at `x`, nothing taken out but the relief."""
    window = box(x - NEAR, -FAR, x + NEAR, FAR)
    whole = shapely.union_all([b.outline.polygon for b in design.bodies]).intersection(window)
    feet = whole.intersection(shapely.union_all([strip.polygon for strip in design.supports]))
    relief = design.settings.relief
    standing = () if feet.is_empty else ((0.0, relief, feet),)
    return Part((relief, design.settings.body, whole), *standing).moved(x=-x)


def fixed_hardware(design: Design, x: float) -> dict[str, Part]:
    """By name bushes, and the room of joint screws and nuts, within NEAR of a station at `x`."""
    joint = design.joint
    slabs = {
        f"bush {g.id}": (g.seat_z, g.bush_top_z, place(disc(g.bush.outside / 2), g.x, g.y))
        for g in design.guides
        if g.bush
    }
    pockets = (*joint.heads, *joint.nuts) if joint else ()
    slabs |= {pocket.name: (0.0, pocket.top_z, pocket.plan) for pocket in pockets}
    near = {name: slab for name, slab in slabs.items() if abs(slab[2].centroid.x - x) < NEAR}
    return {name: Part(slab).moved(x=-x) for name, slab in near.items()}


def ski_edge(along: ArrayLike, x: float, radius: ArrayLike, waist: float) -> Array:
    """How much wider half the ski is at `x` + `along` than at `x`; an array of any shape.

    Half the width grows with the square of the distance from the waist, (x - waist)²/2R.
    """
    at = x + np.asarray(along, dtype=np.float64) - waist
    return np.asarray((at**2 - (x - waist) ** 2) / (2 * np.asarray(radius)))


def ski_part(x: float, half: float, radius: float, waist: float) -> Part:
    """The ski around a station at `x`, `half` its width there, in the station's frame.

    Its edges are hollow, so chords lie outside it.
    """
    along = np.linspace(-NEAR, NEAR, 121)
    edge = half + ski_edge(along, x, radius, waist)
    ring = np.vstack([np.column_stack([along, -edge]), np.column_stack([along, edge])[::-1]])
    return Part((-SKI_DEPTH, 0.0, Polygon(ring)))


def disc(radius: float, *, inside: bool = False) -> Polygon:
    """A circle about the origin: a polygon around it, or, for a hole, inside it."""
    angles = 2 * np.pi * np.arange(ROUND) / ROUND
    reach = radius if inside else radius / math.cos(math.pi / ROUND)
    return Polygon(reach * np.column_stack([np.cos(angles), np.sin(angles)]))


def leg_slabs(rail: RailShape) -> tuple[Slab, Slab]:
    """The leg, and its nose with the bevel at its upper end filled."""
    nose = rail.nose_plan(NOSE_CHORDS)
    return (rail.bottom_z, rail.top_z, rail.bar_plan), (rail.bottom_z, rail.nose_top, nose)


@lru_cache(maxsize=8)
def moving_parts(mechanism: Mechanism) -> tuple[Part, Part, Part, Part]:
    """A left rail with and without tooth spaces, its lean left away, the pinion and the knob.

    The pinion has its hollows filled, and the cylinder around its cone; the knob is what it
    sweeps as it turns.
    """
    rail, p, knob = mechanism.rail, mechanism.pinion, mechanism.knob
    toothed, blunt = (
        Part((rail.bottom_rack_z, rail.top_z, bar), *leg_slabs(rail))
        for bar in (rail.rack_plan(CHORD), rail.blunt_plan)
    )
    pinion = Part(
        (p.bottom_z, p.flange_z, disc(p.flange_radius)),
        (p.flange_z, p.gear_top_z, Polygon(p.gear.outline(CHORD))),
        (p.gear_top_z, p.cone_top_z, disc(p.cone_radius)),
        (p.cone_top_z, p.top_z, Polygon(hexagon(p.hex_flats))),
    )
    whole, socket = disc(knob.radius), Polygon(hexagon(knob.socket_flats))
    bored = whole.difference(disc(knob.bore / 2, inside=True))
    around = (knob.bottom_z, knob.socket_top_z, whole.difference(socket))
    return toothed, blunt, pinion, Part(around, (knob.socket_top_z, knob.top_z, bored))


@lru_cache(maxsize=512)
def within_station(
    mechanism: Mechanism, middle: float, width: float
) -> tuple[dict[str, tuple[float, float]], float]:
    """Gaps within a station at one ski width: every station and jig of a mechanism has these.

    By side a rail's with the pinion and with the knob, and that of both rails; `middle` is the
    ski range's; mm.
    """
    toothed, blunt, pinion, knob = moving_parts(mechanism)
    # At the middle of the range the pinion has a tooth on the x axis, and the rack a space.
    rolled = (width - middle) / 2
    turned = pinion.moved(degrees=math.degrees(rolled / mechanism.pinion.gear.pitch_radius))
    rails = {side: stand(blunt, width / 2, side) for side in SIDES}
    with_both = {
        side: (gap(stand(toothed, width / 2, side), turned), gap(rails[side], knob))
        for side in SIDES
    }
    return with_both, gap(*rails.values())


def stand(part: Part, y: float, side: str) -> Part:
    """A left rail's `part` as that of `side`, its nose `y` mm off the centre line."""
    return part.moved(y=y).moved(degrees=SIDES[side])

"""The moving parts of a station: rail with rack, pinion, knob, each in the station's frame."""

from __future__ import annotations

from functools import lru_cache

import cadquery as cq
import numpy as np
from shapely.geometry import Polygon

from jiggen.design.engraving import DEPTH
from jiggen.design.lettering import Region, hexagon, regions_of
from jiggen.design.station import BRIDGE_STEP, KnobShape, PinionShape, Point, RailShape
from jiggen.solid.level import Inset, engrave_top, stack_on
from jiggen.solid.shapes import (
    bridged_ceiling,
    cut_away,
    cylinder,
    one_solid,
    prism,
    prism_y,
    revolve,
)

FIRST_LAYER = 0.3  # mm: the layer on the bed is drawn in, against elephant's foot
DRAWN_IN = 0.25
KEPT = 4  # solids of each kind that a process keeps: most jigs are made on one mechanism
NOSE_CHORDS = 24  # 0.004 mm off the arc, as meshes are
TOOTH_CHORD = 0.02  # mm off the true flank: far below what a printer shows


@lru_cache(maxsize=KEPT)
def make_rail(rail: RailShape) -> cq.Shape:
    """A left rail, y = 0 where its nose touches the ski."""
    leg = _standing(rail.leg_plan(NOSE_CHORDS), rail.bottom_z, rail.top_z)
    # The lean goes along the whole rack but not through the leg.
    return make_rack(rail, lean_to=rail.nose_sag - 0.5).fuse(leg)


def make_rack(rail: RailShape, lean_to: float) -> cq.Shape:
    """A left rail without its leg; its outer side leans in up to y = `lean_to` (mm)."""
    bar = _standing(rail.rack_plan(TOOTH_CHORD), rail.bottom_rack_z, rail.top_z)
    outside = rail.back_x + 1.0
    wedge: list[Point] = [
        (rail.back_x - rail.lean, rail.bottom_rack_z - 1.0),
        (rail.back_x - rail.lean, rail.bottom_rack_z),
        (rail.back_x, rail.lean_z),
        (outside, rail.lean_z),
        (outside, rail.bottom_rack_z - 1.0),
    ]
    leaning = cut_away(bar, [prism_y(wedge, -rail.reach - 1.0, lean_to)])
    scale = [Inset(region, DEPTH) for region in rail.graduations]
    return engrave_top(one_solid(leaning, "rack"), rail.top_z, scale)


def _standing(plan: Polygon, bottom: float, top: float) -> cq.Solid:
    """`plan` from `bottom` to `top`, printed top down: the top layer is drawn in."""
    (full,) = regions_of(plan)
    (less,) = regions_of(plan.buffer(-DRAWN_IN, join_style="mitre"))
    upper = top - FIRST_LAYER
    return stack_on(prism(full, bottom, upper), prism(less, upper, top), upper)


@lru_cache(maxsize=KEPT)
def make_pinion(pinion: PinionShape) -> cq.Shape:
    """Flange, gear, cone and hexagon, bored for the lock screw, with a nut trap below."""
    p, foot = pinion, 0.4
    flange = revolve(
        [
            (0, p.bottom_z),
            (p.flange_radius - foot, p.bottom_z),
            (p.flange_radius, p.bottom_z + foot),
            (p.flange_radius, p.flange_z),
            (0, p.flange_z),
        ]
    )
    (teeth,) = regions_of(Polygon(p.gear.outline(TOOTH_CHORD)))
    gear = prism(teeth, p.flange_z, p.gear_top_z)
    cone = revolve(
        [
            (0, p.gear_top_z),
            (p.cone_radius, p.gear_top_z),
            (p.cone_radius, p.cone_z),
            (p.cone_top_radius, p.cone_top_z),
            (0, p.cone_top_z),
        ]
    )
    stub = prism(Region(hexagon(p.hex_flats)), p.cone_top_z, p.top_z)
    trap = prism(Region(hexagon(p.nut_flats)), p.bottom_z - 1.0, p.nut_top_z)
    ceiling = bridged_ceiling(p.nut_flats, p.bore, p.nut_top_z, BRIDGE_STEP)
    bore = cylinder(p.bore / 2, p.bottom_z - 1.0, p.top_z + 1.0)
    geared = stack_on(flange, gear, p.flange_z)
    whole = stack_on(stack_on(geared, cone, p.gear_top_z), stub, p.cone_top_z)
    return cut_away(whole, [trap, *ceiling, bore])


@lru_cache(maxsize=KEPT)
def make_knob(knob: KnobShape) -> cq.Shape:
    """A round knob with grips, its socket for the pinion's hexagon from below."""
    k, edge = knob, 1.0
    disc = revolve(
        [
            (0, k.bottom_z),
            (k.radius - edge, k.bottom_z),
            (k.radius, k.bottom_z + edge),
            (k.radius, k.top_z - edge),
            (k.radius - edge, k.top_z),
            (0, k.top_z),
        ]
    )
    at = k.radius + 0.4 * k.grip_radius
    grips = [
        cylinder(k.grip_radius, k.bottom_z - 1, k.top_z + 1, at * np.cos(a), at * np.sin(a))
        for a in np.linspace(0, 2 * np.pi, k.grips, endpoint=False)
    ]
    socket = prism(Region(hexagon(k.socket_flats)), k.bottom_z - 1.0, k.socket_top_z)
    bore = cylinder(k.bore / 2, k.bottom_z - 1.0, k.top_z + 1.0)
    return cut_away(disc, [*grips, socket, bore])

"""The moving parts of a station: rail with rack, pinion, knob, each in the station's frame."""

from __future__ import annotations

from functools import lru_cache

import cadquery as cq
import numpy as np
import shapely
from shapely.geometry import Polygon, box

from jiggen.design.graduation import DEPTH as GRADUATION_DEPTH
from jiggen.design.lettering import regions_of
from jiggen.design.station import BRIDGE_STEP, KnobShape, PinionShape, RailShape
from jiggen.solid.level import Inset, engraved, stacked
from jiggen.solid.shapes import (
    Point,
    bridged_ceiling,
    cylinder,
    hexagon,
    one_solid,
    prism,
    prism_y,
    taken,
    turned,
)

FIRST_LAYER = 0.3  # mm: the layer on the bed is drawn in, against elephant's foot
DRAWN_IN = 0.25
KEPT = 4  # solids of each kind that a process keeps: most jigs are made on one mechanism
TOOTH_CHORD = 0.02  # mm off the true flank: far below what a printer shows


@lru_cache(maxsize=KEPT)
def make_rail(rail: RailShape) -> cq.Shape:
    """A left rail, y = 0 where its nose touches the ski."""
    leg = _standing(leg_plan(rail), rail.bottom_z, rail.top_z)
    # The lean goes along the whole rack but not through the leg.
    return make_rack(rail, lean_to=rail.nose_sag - 0.5).fuse(leg)


def make_rack(rail: RailShape, lean_to: float) -> cq.Shape:
    """A left rail without its leg; its outer side leans in up to y = `lean_to` (mm)."""
    bar = _standing(rack_plan(rail), rail.bottom_rack_z, rail.top_z)
    outside = rail.back_x + 1.0
    wedge: list[Point] = [
        (rail.back_x - rail.lean, rail.bottom_rack_z - 1.0),
        (rail.back_x - rail.lean, rail.bottom_rack_z),
        (rail.back_x, rail.lean_z),
        (outside, rail.lean_z),
        (outside, rail.bottom_rack_z - 1.0),
    ]
    leaning = taken(bar, [prism_y(wedge, -rail.reach - 1.0, lean_to)])
    scale = [Inset(region, GRADUATION_DEPTH) for region in rail.graduations]
    return engraved(one_solid(leaning, "rack"), rail.top_z, scale)


def rack_plan(rail: RailShape) -> Polygon:
    """The rack seen from above: teeth towards the pinion, solid beyond them at both ends."""
    rack, end = rail.rack, rail.nose_sag + 1.0
    low, high = rack.toothed
    return shapely.union_all(
        [
            Polygon(rack.outline(TOOTH_CHORD)),
            box(rack.root_x + 0.5, -rail.reach, rail.back_x, end),
            box(rack.tip_x, -rail.reach, rail.back_x, low),
            box(rack.tip_x, high, rail.back_x, end),
        ]
    )


def leg_plan(rail: RailShape) -> Polygon:
    """The leg seen from above, its nose an arc about the station's x."""
    reach = np.arcsin(rail.nose_half / rail.nose_radius)
    angles = np.linspace(-reach, reach, 25)
    x = rail.nose_radius * np.sin(angles)
    y = rail.nose_radius * (1 - np.cos(angles))
    nose = Polygon([*zip(x, y, strict=True), (0.0, rail.outer_y - 1.0)])
    bar = box(rail.leg_x[0], rail.nose_sag, rail.leg_x[1], rail.outer_y)
    return bar.union(nose)


def _standing(plan: Polygon, bottom: float, top: float) -> cq.Solid:
    """`plan` from `bottom` to `top`, printed top down: the top layer is drawn in."""
    (full,) = regions_of(plan)
    (less,) = regions_of(plan.buffer(-DRAWN_IN, join_style="mitre"))
    upper = top - FIRST_LAYER
    return stacked(prism(full, bottom, upper), prism(less, upper, top), upper)


@lru_cache(maxsize=KEPT)
def make_pinion(pinion: PinionShape) -> cq.Shape:
    """Flange, gear, cone and hexagon, bored for the lock screw, with a nut trap below."""
    p, foot = pinion, 0.4
    flange = turned(
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
    cone = turned(
        [
            (0, p.gear_top_z),
            (p.cone_radius, p.gear_top_z),
            (p.cone_radius, p.cone_z),
            (p.cone_top_radius, p.cone_top_z),
            (0, p.cone_top_z),
        ]
    )
    stub = prism(hexagon(p.hex_flats), p.cone_top_z, p.top_z)
    trap = prism(hexagon(p.nut_flats), p.bottom_z - 1.0, p.nut_top_z)
    ceiling = bridged_ceiling(p.nut_flats, p.bore, p.nut_top_z, BRIDGE_STEP)
    bore = cylinder(p.bore / 2, p.bottom_z - 1.0, p.top_z + 1.0)
    geared = stacked(flange, gear, p.flange_z)
    whole = stacked(stacked(geared, cone, p.gear_top_z), stub, p.cone_top_z)
    return taken(whole, [trap, *ceiling, bore])


@lru_cache(maxsize=KEPT)
def make_knob(knob: KnobShape) -> cq.Shape:
    """A round knob with grips, its socket for the pinion's hexagon from below."""
    k, edge = knob, 1.0
    disc = turned(
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
    socket = prism(hexagon(k.socket_flats), k.bottom_z - 1.0, k.socket_top_z)
    bore = cylinder(k.bore / 2, k.bottom_z - 1.0, k.top_z + 1.0)
    return taken(disc, [*grips, socket, bore])

"""The moving parts of a station: rail with rack, pinion, knob, each in the station's frame."""

from __future__ import annotations

from functools import lru_cache

import cadquery as cq
import numpy as np
from shapely.geometry import Polygon

from jiggen.design.engraving import DEPTH
from jiggen.design.lettering import Region, hexagon, regions_of
from jiggen.design.station import BRIDGE_STEP, KnobShape, PinionShape, RailShape
from jiggen.solid.level import OVER, Inset, engrave_top, stack_on
from jiggen.solid.shapes import (
    block,
    cut_away,
    cylinder,
    footed_disc,
    one_solid,
    prism,
    prism_y,
    revolve,
)

FIRST_LAYER = 0.3  # mm: the layer on the bed is drawn in, against elephant's foot
DRAWN_IN = 0.25
FLANGE_FOOT, KNOB_EDGE = 0.4, 1.0  # mm at 45° off the edges
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
    back, low = rail.back_x, rail.bottom_rack_z
    foot, out = [(back - rail.lean, low - 1.0), (back - rail.lean, low)], back + 1.0
    wedge = [*foot, (back, rail.lean_z), (out, rail.lean_z), (out, low - 1.0)]
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
    p, half, reach = pinion, pinion.bore / 2, pinion.nut_flats / 2
    flange = footed_disc(p.flange_radius, p.bottom_z, p.flange_z, FLANGE_FOOT)
    (teeth,) = regions_of(Polygon(p.gear.outline(TOOTH_CHORD)))
    gear = prism(teeth, p.flange_z, p.gear_top_z)
    foot = [(0, p.gear_top_z), (p.cone_radius, p.gear_top_z), (p.cone_radius, p.cone_z)]
    cone = revolve([*foot, (p.cone_top_radius, p.cone_top_z), (0, p.cone_top_z)])
    stub = prism(Region(hexagon(p.hex_flats)), p.cone_top_z, p.top_z)
    whole = stack_on(stack_on(flange, gear, p.flange_z), cone, p.gear_top_z)
    trap = prism(Region(hexagon(p.nut_flats)), p.bottom_z - OVER, p.nut_top_z)
    # The trap's ceiling closes in two steps, each one printed layer: a slot as wide as the bore,
    # then a square.  Every bridge rests on the one before it: no edge is printed in the air.
    first, second = (p.nut_top_z + step * BRIDGE_STEP for step in (1, 2))
    slot = block((-half, half), (-reach, reach), (p.nut_top_z, first))
    square = block((-half, half), (-half, half), (first, second))
    bore = cylinder(half, p.bottom_z - OVER, p.top_z + OVER)
    return cut_away(stack_on(whole, stub, p.cone_top_z), [trap, slot, square, bore])


@lru_cache(maxsize=KEPT)
def make_knob(knob: KnobShape) -> cq.Shape:
    """A round knob with grips, its socket for the pinion's hexagon from below."""
    r, low, top, edge = knob.radius, knob.bottom_z, knob.top_z, KNOB_EDGE
    side = [(r - edge, low), (r, low + edge), (r, top - edge), (r - edge, top)]
    disc = revolve([(0, low), *side, (0, top)])
    at = r + 0.4 * knob.grip_radius
    grips = [
        cylinder(knob.grip_radius, low - OVER, top + OVER, at * np.cos(a), at * np.sin(a))
        for a in np.linspace(0, 2 * np.pi, knob.grips, endpoint=False)
    ]
    socket = prism(Region(hexagon(knob.socket_flats)), low - OVER, knob.socket_top_z)
    bore = cylinder(knob.bore / 2, low - OVER, top + OVER)
    return cut_away(disc, [*grips, socket, bore])

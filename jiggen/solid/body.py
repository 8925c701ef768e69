"""The parts of a jig as solids: its bodies, and a station's rail, pinion and knob.

A body is a block, cut by all that meets its edges, then engraved, in the ski frame; the moving
parts are in the station's frame.
"""

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from itertools import compress

import cadquery as cq
import numpy as np
import shapely
from shapely import affinity
from shapely.geometry import Polygon

from jiggen.advice import LAYER
from jiggen.design.engraving import DEPTH
from jiggen.design.guides import BRIDGE_HEIGHT, Guide
from jiggen.design.jig import FOOT, Body, Design
from jiggen.design.ladder import BELOW, REACH, RIM, Flare
from jiggen.design.lettering import Region, hexagon, regions_of
from jiggen.design.station import (
    BRIDGE_STEP,
    NUT_LEAD_IN,
    KnobShape,
    PinionShape,
    Point,
    RailShape,
    StationShape,
)
from jiggen.solid import shapes
from jiggen.solid.level import CLEAR, OVER, Inset, engrave_top, insets_of, prisms, stack_on, sweep
from jiggen.solid.shapes import (
    block,
    cut_away,
    cylinder,
    one_solid,
    prism,
    prism_x,
    prism_y,
    revolve,
)

DRAWN_IN = 0.25  # mm: the layer on the bed, against elephant's foot
FLANGE_FOOT, KNOB_EDGE, KNOB_LEAD_IN = 0.4, 1.0, 0.4  # mm at 45° off the edges on the bed
KEPT = 4  # solids of each kind that a process keeps: most jigs are made on one mechanism
NOSE_CHORDS = 24  # 0.004 mm off the arc, as meshes are
TOOTH_CHORD = 0.02  # mm off the true flank: far below what a printer shows


def make_body(body: Body, design: Design) -> cq.Shape:
    """One body of the jig as a solid in the ski frame."""
    top, insets = design.settings.body, insets_of(body.engravings)
    plan = body.outline.polygon.buffer(-FOOT - CLEAR, join_style="mitre")
    inside = shapely.contains(plan, [Polygon(inset.region.outer) for inset in insets])
    # First the relief: in one cut with all others it would be compared with each of them.
    relief = [prism(region, -OVER, design.settings.relief) for region in body.relief]
    blank = body_blank(body, design)
    if body.flares:
        blank = blank.fuse(*map(_flare, body.flares))
    standing = cut_away(blank, relief)
    crossing = prisms(compress(insets, ~inside), top)
    grooves = map(_grooves, body.flares)
    cut = cut_away(standing, [*mechanical_tools(body, design), *crossing, *grooves])
    return engrave_top(one_solid(cut, body.name), top, list(compress(insets, inside)))


def body_blank(body: Body, design: Design) -> cq.Shape:
    """The uncut block, its top edges, which lie on the bed, chamfered."""
    blank = prism(body.outline, 0.0, design.settings.body)
    top_edges = blank.edges(cq.selectors.DirectionMinMaxSelector(shapes.UP, True))
    return blank.chamfer(FOOT, None, top_edges)


def _flare(flare: Flare) -> cq.Shape:
    """The foot that a wall stands out to, from inside the wall; lower than its end: cut there."""
    inner, low = flare.wall - flare.outwards, flare.end / 2
    foot = flare.wall + flare.outwards * REACH
    profile = [(inner, flare.bend), (flare.wall, flare.bend), (foot, flare.bend - REACH)]
    return prism_x([*profile, (foot, low), (inner, low)], *flare.span)


def _grooves(flare: Flare) -> cq.Shape:
    """What cuts all grooves of a flare: down the slope, from just below the bend, and the rim."""
    (teeth,) = regions_of(affinity.translate(flare.teeth, 0.0, flare.outwards * BELOW))
    slope, rim = REACH - BELOW, RIM + flare.end + OVER
    down = [(0.0, flare.outwards * slope, -slope), (0.0, 0.0, -rim)]
    return sweep(teeth, flare.bend - BELOW, down)


def mechanical_tools(body: Body, design: Design) -> Iterator[cq.Shape]:
    """What is taken from the block but for the relief between the strips, and engravings."""
    for guide in body.guides:
        tool = _guide_cutter(replace(guide, id="", x=0.0, y=0.0))
        yield tool.moved(cq.Location(cq.Vector(guide.x, guide.y, 0)))
    for station in body.stations:
        shape, top = design.mechanism.station, design.settings.body
        tool = _station_cutter(shape, top, design.half_width)
        yield tool.moved(cq.Location(cq.Vector(station.x, 0, 0)))
    if joint := design.joint:
        for pocket in joint.heads if body.plate.half == "toe" else joint.nuts:
            yield block(pocket.x, pocket.y, (-OVER, pocket.top_z))
        start, stop = joint.hole_x
        for y in joint.screw_y:
            at, along = cq.Vector(start, y, joint.screw_z), cq.Vector(1, 0, 0)
            yield cq.Solid.makeCylinder(joint.hole / 2, stop - start, at, along)


@lru_cache(maxsize=16)
def _guide_cutter(guide: Guide) -> cq.Shape:
    """Throat, bore and lead-in at the origin; square and slot below a bush's seat."""
    r, t, top, over = guide.bore / 2, guide.throat / 2, guide.top_z, guide.top_z + OVER
    low, bridge, seat = guide.throat_z[1], guide.seat_z - BRIDGE_HEIGHT, guide.seat_z
    wide = r + guide.lead_in
    throat: list[Point] = [(0, -OVER), (t, -OVER)]
    throat += [(t, seat)] if guide.bush else []  # else it is as wide as the bore
    bore = [(r, seat), (r, top - guide.lead_in), (wide, top), (wide, over), (0, over)]
    tool: cq.Shape = revolve([*throat, *bore])
    if guide.bush:
        # Both end just inside the bore: cuts of coincident cylinders fail.
        slot = block((-t, t), (-r, r), (bridge, seat))
        square = block((-t, t), (-t, t), (low, bridge))
        tool = tool.fuse(slot.fuse(square).intersect(cylinder(r - 0.05, low, seat)))
    return tool


@lru_cache(maxsize=8)
def _station_cutter(station: StationShape, top: float, half_width: float) -> cq.Shape:
    """Channels, recess and cone seat of one station at the origin."""
    reach = half_width + OVER
    left = prism_y(station.channel(-OVER), -reach, reach)
    right = left.rotate(cq.Vector(0, 0, 0), shapes.UP, 180)
    return revolve(station.recess(top, OVER)).fuse(left, right)


# -- the moving parts -----------------------------------------------------------------------------


@lru_cache(maxsize=KEPT)
def make_rail(rail: RailShape) -> cq.Shape:
    """A left rail, y = 0 where its nose touches the ski."""
    leg = _standing(rail.bar_plan, rail.bottom_z, rail.top_z)
    (plan,) = regions_of(rail.nose_plan(NOSE_CHORDS))
    half = rail.nose_half + 1.0
    bevel = prism_x(rail.nose_bevel, -half, half)
    nose = cut_away(prism(plan, rail.bottom_z, rail.nose_top), [bevel])
    # The lean goes along the whole rack but not through the leg, which the body may touch.
    return make_rack(rail, lean_to=rail.nose_sag + 0.5).fuse(leg, nose)


def make_rack(rail: RailShape, lean_to: float) -> cq.Shape:
    """A left rail without its leg; its outer side leans in up to y = `lean_to` (mm)."""
    bar = _standing(rail.rack_plan(TOOTH_CHORD), rail.bottom_rack_z, rail.top_z)
    back, low = rail.back_x, rail.bottom_rack_z
    foot, out = [(back - rail.lean, low - 1.0), (back - rail.lean, low)], back + 1.0
    wedge = [*foot, (back, rail.lean_z), (out, rail.lean_z), (out, low - 1.0)]
    lines = (prism(region, low - OVER, low + DEPTH) for region in regions_of(rail.underside.shape))
    leaning = cut_away(bar, [prism_y(wedge, -rail.reach - 1.0, lean_to), *lines])
    scale = [Inset(region, DEPTH) for region in regions_of(rail.graduations.shape)]
    return engrave_top(one_solid(leaning, "rack"), rail.top_z, scale)


def _standing(plan: Polygon, bottom: float, top: float) -> cq.Solid:
    """`plan` from `bottom` to `top`, printed top down: the layer at the top is drawn in."""
    (full,) = regions_of(plan)
    (less,) = regions_of(plan.buffer(-DRAWN_IN, join_style="mitre"))
    upper = top - LAYER
    return stack_on(prism(full, bottom, upper), prism(less, upper, top), upper)


@lru_cache(maxsize=KEPT)
def make_pinion(pinion: PinionShape) -> cq.Shape:
    """Flange, gear, cone and hexagon, bored for the lock screw, with a nut trap below."""
    p, half, reach = pinion, pinion.bore / 2, pinion.nut_flats / 2
    flange = shapes.footed_disc(p.flange_radius, p.bottom_z, p.flange_z, FLANGE_FOOT)
    (teeth,) = regions_of(Polygon(p.gear.outline(TOOTH_CHORD)))
    gear = prism(teeth, p.flange_z, p.gear_top_z)
    foot = [(0, p.gear_top_z), (p.cone_radius, p.gear_top_z), (p.cone_radius, p.cone_z)]
    cone = revolve([*foot, (p.cone_top_radius, p.cone_top_z), (0, p.cone_top_z)])
    stub = prism(Region(hexagon(p.hex_flats)), p.cone_top_z, p.top_z)
    whole = stack_on(stack_on(flange, gear, p.flange_z), cone, p.gear_top_z)
    trap = prism(Region(hexagon(p.nut_flats)), p.bottom_z - OVER, p.nut_top_z)
    # From the bed up, as wide there as the trap and twice the lead-in.
    wide = Region(hexagon(p.nut_flats + 2 * NUT_LEAD_IN))
    lead_in = prism(wide, p.bottom_z, p.bottom_z + NUT_LEAD_IN, lean=45.0)
    # The trap's ceiling closes in two steps, each one printed layer: a slot as wide as the bore,
    # then a square.  Every bridge rests on the one before it: no edge is printed in the air.
    first, second = (p.nut_top_z + step * BRIDGE_STEP for step in (1, 2))
    slot = block((-half, half), (-reach, reach), (p.nut_top_z, first))
    square = block((-half, half), (-half, half), (first, second))
    bore = cylinder(half, p.bottom_z - OVER, p.top_z + OVER)
    return cut_away(stack_on(whole, stub, p.cone_top_z), [trap, lead_in, slot, square, bore])


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
    bored, wide = knob.bore / 2, knob.bore / 2 + KNOB_LEAD_IN
    bore = [(0, low - OVER), (bored, low - OVER), (bored, top - KNOB_LEAD_IN), (wide, top)]
    hole = revolve([*bore, (wide, top + OVER), (0, top + OVER)])
    return cut_away(disc, [*grips, socket, hole])

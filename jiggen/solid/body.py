"""The body: a block, cut by all that meets its edges, then engraved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from itertools import compress

import cadquery as cq
import shapely
from shapely.geometry import Polygon

from jiggen.design.guides import BRIDGE_HEIGHT, Guide
from jiggen.design.jig import Body, Design
from jiggen.design.station import Point, StationShape
from jiggen.solid.level import CLEAR, OVER, engrave_top, insets_of, prisms
from jiggen.solid.shapes import UP, block, cut_away, cylinder, one_solid, prism, prism_y, revolve

FOOT = 0.6  # mm at 45° off the edges on the bed, against elephant's foot


def make_body(body: Body, design: Design) -> cq.Shape:
    """One body of the jig as a solid in the ski frame."""
    top, insets = design.settings.body, insets_of(body.engravings)
    plan = Polygon(body.outline.outer).buffer(-FOOT - CLEAR, join_style="mitre")
    inside = shapely.contains(plan, [Polygon(inset.region.outer) for inset in insets])
    # First the relief: in one cut with all others it would be compared with each of them.
    standing = cut_away(body_blank(body, design), relief_tools(body, design))
    crossing = prisms(compress(insets, ~inside), top)
    cut = cut_away(standing, [*mechanical_tools(body, design), *crossing])
    return engrave_top(one_solid(cut, body.name), top, list(compress(insets, inside)))


def body_blank(body: Body, design: Design) -> cq.Shape:
    """The uncut block, its top edges, which lie on the bed, chamfered."""
    blank = prism(body.outline, 0.0, design.settings.body)
    top_edges = blank.edges(cq.selectors.DirectionMinMaxSelector(UP, True))
    return blank.chamfer(FOOT, None, top_edges)


def relief_tools(body: Body, design: Design) -> Iterator[cq.Shape]:
    """What is taken from the underside around the pads."""
    for region in body.relief:
        yield prism(region, -OVER, design.settings.relief)


def mechanical_tools(body: Body, design: Design) -> Iterator[cq.Shape]:
    """What is taken from the block but for relief and engravings."""
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
    right = left.rotate(cq.Vector(0, 0, 0), UP, 180)
    return revolve(station.recess(top, OVER)).fuse(left, right)

"""The body: a block, cut by all that meets its edges, then engraved."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache
from itertools import compress

import cadquery as cq
import shapely
from shapely.geometry import Polygon

from jiggen.design.guides import Guide
from jiggen.design.jig import Body, Design
from jiggen.design.plan import JointShape, Pocket
from jiggen.design.station import Point, StationShape
from jiggen.record.entries import HalfName
from jiggen.solid.level import CLEAR, OVER, Inset, engrave_top, prisms
from jiggen.solid.shapes import block, cut_away, cylinder, one_solid, prism, prism_y, revolve

FOOT = 0.6  # mm at 45° off the edges on the bed, against elephant's foot
Z = cq.Vector(0, 0, 1)


def make_body(body: Body, design: Design) -> cq.Shape:
    """One body of the jig as a solid in the ski frame."""
    top = design.settings.body
    inside, crossing = _engravings(body)
    # First the relief: in one cut with all others it would be compared with each of them.
    standing = cut_away(body_blank(body, design), _relief(body, design))
    cut = cut_away(standing, [*_mechanical(body, design), *prisms(crossing, top)])
    return engrave_top(one_solid(cut, body.name), top, inside)


def _engravings(body: Body) -> tuple[list[Inset], list[Inset]]:
    """The engravings within the top face's outline, and those that meet its edge."""
    insets = [Inset(region, item.depth) for item in body.engravings for region in item.regions]
    plan = Polygon(body.outline.outer).buffer(-FOOT - CLEAR, join_style="mitre")
    within = shapely.contains(plan, [Polygon(inset.region.outer) for inset in insets])
    return list(compress(insets, within)), list(compress(insets, ~within))


def body_blank(body: Body, design: Design) -> cq.Shape:
    """The uncut block, its top edges, which lie on the bed, chamfered."""
    blank = prism(body.outline, 0.0, design.settings.body)
    top_edges = blank.edges(cq.selectors.DirectionMinMaxSelector(Z, True))
    return blank.chamfer(FOOT, None, top_edges)


def body_cutters(body: Body, design: Design) -> Iterator[cq.Shape]:
    """Everything that is taken from the block, as tools of a cut."""
    yield from _relief(body, design)
    yield from _mechanical(body, design)
    for insets in _engravings(body):
        yield from prisms(insets, design.settings.body)


def _relief(body: Body, design: Design) -> Iterator[cq.Shape]:
    for region in body.relief:
        yield prism(region, -OVER, design.settings.relief)


def _mechanical(body: Body, design: Design) -> Iterator[cq.Shape]:
    """What is taken from the block but for relief and engravings."""
    top = design.settings.body
    for guide in body.guides:
        tool = _guide_cutter(replace(guide, id="", x=0.0, y=0.0))
        yield tool.moved(cq.Location(cq.Vector(guide.x, guide.y, 0)))
    if body.stations:
        tool = _station_cutter(design.mechanism.station, top, design.half_width)
        for station in body.stations:
            yield tool.moved(cq.Location(cq.Vector(station.x, 0, 0)))
    if design.joint:
        yield from _joint_cutters(design.joint, body.plate.half)


@lru_cache(maxsize=16)
def _guide_cutter(guide: Guide) -> cq.Shape:
    """Throat, bore and lead-in at the origin; square and slot below a bush's seat."""
    r, t, lead = guide.bore / 2, guide.throat / 2, guide.lead_in
    top = guide.top_z
    profile: list[Point] = [(0, -OVER), (t, -OVER)]
    if guide.bush:
        profile += [(t, guide.seat_z), (r, guide.seat_z)]
    else:
        profile += [(r, guide.seat_z)]
    profile += [(r, top - lead), (r + lead, top), (r + lead, top + OVER), (0, top + OVER)]
    tool: cq.Shape = revolve(profile)
    if guide.bush:
        # Both end just inside the bore: cuts of coincident cylinders fail.
        low, bridge, seat = guide.throat_z[1], guide.bridge_z, guide.seat_z
        slot = block((-t, t), (-r, r), (bridge, seat))
        square = block((-t, t), (-t, t), (low, bridge))
        tool = tool.fuse(slot.fuse(square).intersect(cylinder(r - 0.05, low, seat)))
    return tool


@lru_cache(maxsize=8)
def _station_cutter(station: StationShape, top: float, half_width: float) -> cq.Shape:
    """Channels, recess and cone seat of one station at the origin."""
    s, reach = station, half_width + OVER
    left = prism_y(s.channel(-OVER), -reach, reach)
    right = left.rotate(cq.Vector(0, 0, 0), Z, 180)
    return revolve(s.recess(top, OVER)).fuse(left, right)


def _joint_cutters(joint: JointShape, half: HalfName | None) -> Iterator[cq.Shape]:
    pockets: tuple[Pocket, ...] = joint.heads if half == "toe" else joint.nuts
    for pocket in pockets:
        yield block(pocket.x, pocket.y, (-OVER, pocket.top_z))
    start, stop = joint.hole_x
    for y in joint.screw_y:
        yield cq.Solid.makeCylinder(
            joint.hole / 2,
            stop - start,
            cq.Vector(start, y, joint.screw_z),
            cq.Vector(1, 0, 0),
        )

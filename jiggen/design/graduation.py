"""The scale on the rails: a double check of symmetry that a person can read.

Lines each millimetre of half ski width, longer each five, numbered each ten, on the top of the
rack's bar where it comes out of the body.  The body's side edge is the index: it stands on the
half width of the ski at the station.  Both rails are one part, so left and right readings must
agree on any ski; a difference of one division means half a millimetre off centre there.
"""

from __future__ import annotations

import math

import shapely
import shapely.affinity
from shapely.geometry import MultiPolygon, Polygon, box

from jiggen.design.lettering import Region, letter, regions_of
from jiggen.design.settings import SkiRange
from jiggen.design.station import RailShape

LINE = 0.5  # mm wide: half a division
DEPTH = 0.6  # mm
EDGE = 0.6  # mm kept from the bar's back edge, whose first layer is drawn in
SHORT, LONG = 2.2, 3.6  # mm
CAPS = 3.0  # mm, height of the numbers


def graduations(rail: RailShape, ski: SkiRange, half_width: float) -> tuple[Region, ...]:
    """The scale's lines and numbers on a left rail, in its own frame (mm).

    The line for a half width h lies at y = `half_width` - h: there the body's edge is when the
    rail's nose touches a ski of width 2h.
    """
    values = range(math.ceil(ski.least / 2), math.floor(ski.most / 2) + 1)
    lines = [_line(rail, half_width - value, value) for value in values]
    numbers = [_number(rail, half_width - value, str(value)) for value in values if value % 10 == 0]
    solid = box(rail.rack.tip_x, rail.rack.toothed[1], rail.back_x, rail.nose_sag)
    shown = [number for number in numbers if solid.contains(number)]
    return regions_of(shapely.union_all([*lines, *shown]))


def _line(rail: RailShape, y: float, value: int) -> Polygon:
    length = LONG if value % 5 == 0 else SHORT
    right = rail.back_x - EDGE
    return box(right - length, y - LINE / 2, right, y + LINE / 2)


def _number(rail: RailShape, y: float, text: str) -> MultiPolygon:
    """Read from outside the ski, beside its line, towards the leg."""
    lettering = letter(text, CAPS)
    upright = MultiPolygon([Polygon(r.outer, r.inner) for r in lettering.regions])
    turned = shapely.affinity.rotate(upright, 90, origin=(0, 0))
    _, y0, x1, _ = turned.bounds
    right = rail.back_x - EDGE - LONG - 0.5
    return shapely.affinity.translate(turned, right - x1, y + LINE - y0)

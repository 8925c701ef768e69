"""The gauge from above with its readings, and how the jaws are held; mm as drawn."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from reportlab.platypus.flowables import Flowable

from jiggen.design.gauge import Distance, Gauge
from jiggen.design.lettering import Ring
from jiggen.draw.figures import box, polyline
from jiggen.draw.shapes import BLACK, WHITE, Area, Circle, Colour, Line, Pen, Point, Shape, grey
from jiggen.report.sheet.flowables import Picture, para, typeset

OUTLINE, THIN = Pen(0.2, grey(0.4)), Pen(0.1, grey(0.45))
READING, JAW_PEN = Pen(0.2), Pen(0.5)
NUMBER, NOTE = 10.0, 7.5  # points
FRAME_GREY, PEG_GREY, JAW_GREY = grey(0.9), grey(0.6), grey(0.45)
CORNERS = 24  # of a drawn peg
JAWS = {"peg": 4.0, "hole": 3.0}  # mm as drawn
SHARE, BESIDE = 0.33, 2.6  # of a reading's line, and mm from it, where its number stands
BORDER = 6.0  # mm of life around the frame
VIEW_HEIGHT = 30.0  # mm of the views from the side


@dataclass(frozen=True)
class _Plan:
    """From the bed's frame (mm) to a drawing `width` mm wide, its top at y = 0."""

    scale: float
    top: float

    def at(self, x: float, y: float) -> Point:
        return self.scale * x, self.scale * (y - self.top)


def plan_with_readings(gauge: Gauge, readings: Iterable[Distance], width: float) -> Picture:
    """The gauge from above, with a line and a number for each reading."""
    spans = [max(peg.x for peg in gauge.pegs), max(peg.y for peg in gauge.pegs)]
    across, up = (far + gauge.pegs[0].diameter / 2 for far in spans)
    plan = _Plan(width / across, up + BORDER)
    shapes = [*_frame(gauge, plan)]
    for reading in readings:
        shapes += _reading(reading, plan, (across / 2, up / 2))
    return Picture(width, plan.scale * (up + 2 * BORDER), shapes)


def _frame(gauge: Gauge, plan: _Plan) -> Iterator[Shape]:
    outer, inner = gauge.outline.outer, gauge.outline.inner
    yield Area(_ring(outer, plan), FRAME_GREY)
    yield from (Area(_ring(ring, plan), WHITE) for ring in inner)
    for ring in (outer, *inner):
        yield from polyline(_ring(ring, plan), OUTLINE, closed=True)
    for peg in gauge.pegs:
        turn = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
        around = np.column_stack([np.cos(turn), np.sin(turn)]) * peg.diameter / 2
        yield Area(_ring(np.add(around, (peg.x, peg.y)), plan), PEG_GREY)
    for guide in gauge.guides:
        pen = OUTLINE if guide.bush is None else THIN
        yield Circle(plan.at(guide.x, guide.y), guide.radius * plan.scale, pen)
    for item in gauge.engravings:
        for region in item.regions:
            yield Area(_ring(region.outer, plan), BLACK)
            yield from (Area(_ring(ring, plan), FRAME_GREY) for ring in region.inner)


def _ring(ring: Ring, plan: _Plan) -> tuple[Point, ...]:
    return tuple(plan.at(float(x), float(y)) for x, y in ring)


def _reading(reading: Distance, plan: _Plan, middle: Point) -> Iterator[Shape]:
    """A line with the caliper's jaws at its ends, and its number beside it.

    The number stands off the line's middle, where lines cross, and away from the frame's.
    """
    one, other = reading.between
    far = math.hypot(other.x - one.x, other.y - one.y)
    ux, uy = (other.x - one.x) / far, (other.y - one.y) / far
    ends = []
    for end, sign in ((one, -1), (other, 1)):
        reach = sign * end.diameter / 2
        x, y = plan.at(end.x + ux * reach, end.y + uy * reach)
        half = JAWS[end.kind] / 2
        yield Line((x - half * uy, y + half * ux), (x + half * uy, y - half * ux), JAW_PEN)
        ends.append((x, y))
    (x0, y0), (x1, y1) = ends
    yield Line((x0, y0), (x1, y1), READING)
    x, y = x0 + SHARE * (x1 - x0), y0 + SHARE * (y1 - y0)
    inwards = (middle[1] - one.y) * ux - (middle[0] - one.x) * uy > 0
    off = -BESIDE if inwards else BESIDE
    beside = (x - off * uy, y + off * ux - 1.2)
    yield typeset(beside, str(reading.number), NUMBER, bold=True, anchor="middle")


def views(width: float) -> Sequence[Sequence[Flowable]]:
    """From the side: jaws over two pegs, in two holes, and on a peg's top; each `width` wide."""
    drawn = (
        (_over_pegs(width), "1 to 6: over both pegs"),
        (_in_holes(width), "7 to 12: far rim to far rim"),
        (_on_top(width), "21 to 25: heights"),
    )
    return [
        [Picture(width, VIEW_HEIGHT, shapes), para(words, NOTE, anchor="middle")]
        for shapes, words in drawn
    ]


TABLE, RIB_TOP, PEG_TOP, BEAM = -27.0, -21.5, -15.5, -6.0  # y
PEG_WIDE, JAW, BEAM_HIGH = 5.0, 4.0, 4.0


def _table(width: float) -> Iterator[Shape]:
    yield Line((0.0, TABLE), (width, TABLE), OUTLINE)
    yield typeset((width, TABLE - 2.6), "table", 7.0, anchor="end")


def _over_pegs(width: float) -> Iterator[Shape]:
    yield from _table(width)
    left, right = 11.0, width - 11.0
    yield from _box((left, TABLE), (right, RIB_TOP), FRAME_GREY)
    for x, out in ((left, -1), (right, 1)):
        yield from _box((x - PEG_WIDE / 2, TABLE), (x + PEG_WIDE / 2, PEG_TOP), PEG_GREY)
        face = x + out * PEG_WIDE / 2
        yield from _box((face, TABLE + 0.2), (face + out * JAW, BEAM), JAW_GREY)
    yield from _box((left - 9.0, BEAM), (right + 9.0, BEAM + BEAM_HIGH), JAW_GREY)


def _in_holes(width: float) -> Iterator[Shape]:
    yield from _table(width)
    hole, left, right = 7.0, 7.0, width - 14.0
    ends = (4.0, left, left + hole, right, right + hole, width - 4.0)
    for start, stop in zip(ends[::2], ends[1::2], strict=True):
        yield from _box((start, TABLE), (stop, RIB_TOP), FRAME_GREY)
    for face, inwards in ((left, 1), (right + hole, -1)):
        yield from _box((face, TABLE + 1.0), (face + inwards * 2.0, BEAM), JAW_GREY)
    yield from _box((left, BEAM), (right + hole, BEAM + BEAM_HIGH), JAW_GREY)


def _on_top(width: float) -> Iterator[Shape]:
    x, low, high = width / 2 - 8.0, TABLE + 5.0, PEG_TOP + 5.0
    yield from _box((x, low), (width - 4.0, low + RIB_TOP - TABLE), FRAME_GREY)
    yield from _box((x - PEG_WIDE / 2, low), (x + PEG_WIDE / 2, high), PEG_GREY)
    beam = x - PEG_WIDE / 2 - 9.0
    for inner, outer in ((low, low - JAW), (high, high + JAW)):
        yield from _box((beam, inner), (x + PEG_WIDE / 2, outer), JAW_GREY)
    yield from _box((beam - 4.0, low - JAW - 0.5), (beam, high + JAW + 2.0), JAW_GREY)


def slots_from_the_end(gauge: Gauge, width: float) -> Picture:
    """The slots seen along them, with their numbers, and the toothed bar in one of them."""
    ladder = gauge.ladder
    scale = width / ladder.size[0]
    outline = [(0.0, 0.0), (0.0, ladder.size[2])]
    for profile in ladder.slots:
        left, right, *_ = profile
        mouth = ((left[0], ladder.size[2]), (right[0], ladder.size[2]))
        outline += [mouth[0], *reversed(profile[2:]), mouth[1]]
    outline += [(ladder.size[0], ladder.size[2]), (ladder.size[0], 0.0)]
    points = tuple((scale * x, scale * (z - ladder.size[2])) for x, z in outline)
    bar = tuple((scale * x, scale * (z - ladder.size[2])) for x, z in ladder.bar)
    shapes: list[Shape] = []
    for corners, fill in ((points, FRAME_GREY), (bar, PEG_GREY)):
        shapes += [Area(corners, fill), *polyline(corners, OUTLINE, closed=True)]
    foot = -scale * ladder.size[2] - 3.0
    for clearance, profile in zip(ladder.clearances, ladder.slots, strict=True):
        sides = [scale * x for x, _ in profile]
        middle = (min(sides) + max(sides)) / 2
        shapes.append(typeset((middle, foot), f"{clearance:.2f}", NOTE, anchor="middle"))
    return Picture(width, -foot + 1.0, shapes)


def _box(one: Point, other: Point, fill: Colour) -> Iterator[Shape]:
    (x0, x1), (y0, y1) = sorted((one[0], other[0])), sorted((one[1], other[1]))
    yield Area(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), fill)
    yield from box((x0, y0), (x1, y1), THIN)

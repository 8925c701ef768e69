"""The gauge from above with its readings, and how the jaws are held; mm as drawn."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from jiggen.design.gauge import Gauge
from jiggen.design.gauge_readings import Distance
from jiggen.design.lettering import Ring
from jiggen.report.sheet.block import Block, paragraph, stack
from jiggen.report.sheet.page import Area, Circle, Line, Pen, Point, Shapes, Text
from jiggen.report.sheet.words import say

OUTLINE, THIN, READING, JAW_PEN = Pen(0.2, 0.4), Pen(0.1, 0.45), Pen(0.2), Pen(0.5)
NUMBER, NOTE = 10.0, 7.5  # points
FRAME_GREY, PEG_GREY, JAW_GREY = 0.9, 0.6, 0.45
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


def plan_with_readings(gauge: Gauge, readings: Iterable[Distance], width: float) -> Block:
    """The gauge from above, with a line and a number for each reading."""
    spans = [max(peg.x for peg in gauge.pegs), max(peg.y for peg in gauge.pegs)]
    across, up = (far + gauge.pegs[0].diameter / 2 for far in spans)
    plan = _Plan(width / across, up + BORDER)
    shapes = Shapes()
    _frame(shapes, gauge, plan)
    for reading in readings:
        _reading(shapes, reading, plan, (across / 2, up / 2))
    return Block(plan.scale * (up + 2 * BORDER), shapes)


def _frame(shapes: Shapes, gauge: Gauge, plan: _Plan) -> None:
    outer, inner = gauge.outline.outer, gauge.outline.inner
    shapes.areas.append(Area(_ring(outer, plan), FRAME_GREY))
    shapes.areas += [Area(_ring(ring, plan), 1.0) for ring in inner]
    for ring in (outer, *inner):
        shapes.polyline(_ring(ring, plan), OUTLINE, closed=True)
    for peg in gauge.pegs:
        turn = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
        around = np.column_stack([np.cos(turn), np.sin(turn)]) * peg.diameter / 2
        shapes.areas.append(Area(_ring(np.add(around, (peg.x, peg.y)), plan), PEG_GREY))
    for guide in gauge.guides:
        pen = OUTLINE if guide.bush is None else THIN
        shapes.circles.append(Circle(plan.at(guide.x, guide.y), guide.radius * plan.scale, pen))
    for item in gauge.engravings:
        for region in item.regions:
            shapes.areas.append(Area(_ring(region.outer, plan)))
            shapes.areas += [Area(_ring(ring, plan), FRAME_GREY) for ring in region.inner]


def _ring(ring: Ring, plan: _Plan) -> tuple[Point, ...]:
    return tuple(plan.at(float(x), float(y)) for x, y in ring)


def _reading(shapes: Shapes, reading: Distance, plan: _Plan, middle: Point) -> None:
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
        jaw = Line((x - half * uy, y + half * ux), (x + half * uy, y - half * ux), JAW_PEN)
        shapes.lines.append(jaw)
        ends.append((x, y))
    (x0, y0), (x1, y1) = ends
    shapes.lines.append(Line((x0, y0), (x1, y1), READING))
    x, y = x0 + SHARE * (x1 - x0), y0 + SHARE * (y1 - y0)
    inwards = (middle[1] - one.y) * ux - (middle[0] - one.x) * uy > 0
    off = -BESIDE if inwards else BESIDE
    beside = (x - off * uy, y + off * ux - 1.2)
    shapes.texts.append(Text(beside, str(reading.number), NUMBER, bold=True, anchor="middle"))


def views(width: float) -> Sequence[Block]:
    """From the side: jaws over two pegs, in two holes, and on a peg's top; each `width` wide."""
    drawn = (
        (_over_pegs(width), "gauge.where.pegs"),
        (_in_holes(width), "gauge.where.holes"),
        (_on_top(width), "gauge.where.heights"),
    )
    return [
        stack([Block(VIEW_HEIGHT, shapes), paragraph(say(key), NOTE, width, anchor="middle")])
        for shapes, key in drawn
    ]


TABLE, RIB_TOP, PEG_TOP, BEAM = -27.0, -21.5, -15.5, -6.0  # y
PEG_WIDE, JAW, BEAM_HIGH = 5.0, 4.0, 4.0


def _table(shapes: Shapes, width: float) -> None:
    shapes.lines.append(Line((0.0, TABLE), (width, TABLE), OUTLINE))
    shapes.texts.append(Text((width, TABLE - 2.6), say("gauge.table"), 7.0, anchor="end"))


def _over_pegs(width: float) -> Shapes:
    shapes = Shapes()
    _table(shapes, width)
    left, right = 11.0, width - 11.0
    _box(shapes, (left, TABLE), (right, RIB_TOP), FRAME_GREY)
    for x, out in ((left, -1), (right, 1)):
        _box(shapes, (x - PEG_WIDE / 2, TABLE), (x + PEG_WIDE / 2, PEG_TOP), PEG_GREY)
        face = x + out * PEG_WIDE / 2
        _box(shapes, (face, TABLE + 0.2), (face + out * JAW, BEAM), JAW_GREY)
    _box(shapes, (left - 9.0, BEAM), (right + 9.0, BEAM + BEAM_HIGH), JAW_GREY)
    return shapes


def _in_holes(width: float) -> Shapes:
    shapes = Shapes()
    _table(shapes, width)
    hole, left, right = 7.0, 7.0, width - 14.0
    ends = (4.0, left, left + hole, right, right + hole, width - 4.0)
    for start, stop in zip(ends[::2], ends[1::2], strict=True):
        _box(shapes, (start, TABLE), (stop, RIB_TOP), FRAME_GREY)
    for face, inwards in ((left, 1), (right + hole, -1)):
        _box(shapes, (face, TABLE + 1.0), (face + inwards * 2.0, BEAM), JAW_GREY)
    _box(shapes, (left, BEAM), (right + hole, BEAM + BEAM_HIGH), JAW_GREY)
    return shapes


def _on_top(width: float) -> Shapes:
    shapes = Shapes()
    x, low, high = width / 2 - 8.0, TABLE + 5.0, PEG_TOP + 5.0
    _box(shapes, (x, low), (width - 4.0, low + RIB_TOP - TABLE), FRAME_GREY)
    _box(shapes, (x - PEG_WIDE / 2, low), (x + PEG_WIDE / 2, high), PEG_GREY)
    beam = x - PEG_WIDE / 2 - 9.0
    for inner, outer in ((low, low - JAW), (high, high + JAW)):
        _box(shapes, (beam, inner), (x + PEG_WIDE / 2, outer), JAW_GREY)
    _box(shapes, (beam - 4.0, low - JAW - 0.5), (beam, high + JAW + 2.0), JAW_GREY)
    return shapes


def slots_from_the_end(gauge: Gauge, width: float) -> Block:
    """The slots seen along them, with their numbers, and the toothed bar in one of them."""
    ladder = gauge.ladder
    scale = width / ladder.size[0]
    outline = [(0.0, 0.0), (0.0, ladder.size[2])]
    for profile in ladder.slots:
        left, right, *_ = profile
        mouth = ((left[0], ladder.size[2]), (right[0], ladder.size[2]))
        outline += [mouth[0], *reversed(profile[2:]), mouth[1]]
    outline += [(ladder.size[0], ladder.size[2]), (ladder.size[0], 0.0)]
    shapes = Shapes()
    points = tuple((scale * x, scale * (z - ladder.size[2])) for x, z in outline)
    shapes.areas.append(Area(points, FRAME_GREY))
    shapes.polyline(points, OUTLINE, closed=True)
    bar = tuple((scale * x, scale * (z - ladder.size[2])) for x, z in ladder.bar)
    shapes.areas.append(Area(bar, PEG_GREY))
    shapes.polyline(bar, OUTLINE, closed=True)
    foot = -scale * ladder.size[2] - 3.0
    for clearance, profile in zip(ladder.clearances, ladder.slots, strict=True):
        sides = [scale * x for x, _ in profile]
        middle = (min(sides) + max(sides)) / 2
        label = f"{clearance:.2f}"
        shapes.texts.append(Text((middle, foot), label, NOTE, anchor="middle"))
    return Block(-foot + 1.0, shapes)


def _box(shapes: Shapes, one: Point, other: Point, grey: float) -> None:
    (x0, x1), (y0, y1) = sorted((one[0], other[0])), sorted((one[1], other[1]))
    shapes.areas.append(Area(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), grey))
    shapes.box((x0, y0), (x1, y1), THIN)

"""The layout drawing: smaller than life, with dimensions from the mark and the centre line.

Dimensions along the ski stand in a row under the drawing, those across it in a column at either
end, each at the end of a thin line from its hole; where they would lie on one another they are
moved apart and the line has a knee.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from jiggen.draw.fonts import width_of
from jiggen.draw.labels import Label
from jiggen.record import JigRecord
from jiggen.report.sheet.block import Block
from jiggen.report.sheet.holes import (
    CLEAR,
    Box,
    View,
    draw_holes,
    draw_names,
    fence,
    inside,
    place_names,
    ski_lines,
)
from jiggen.report.sheet.measures import full, short
from jiggen.report.sheet.page import CAPITALS, POINT, Anchor, Line, Pen, Point, Shapes, Text, Units
from jiggen.report.sheet.words import say

TALLEST = 46.0  # mm of ski and holes across
MOST = 0.75  # scale: never taken for a 1:1 drawing
BEYOND = 9.0  # mm of ski past the last hole, as drawn
MANY = 60  # holes, whose ids find no room anyway
SIZE, ID_SIZE = 7.5, 6.5  # points
HALF_LINE = SIZE * POINT * CAPITALS / 2  # mm: half the height of a dimension
PITCH = 1.2 * SIZE * POINT  # mm between dimensions
KNEE = 3.5  # mm in which a line gets from its hole to its dimension
GAP = 1.0  # mm from the end of a line to its dimension
ARM = 0.8  # mm that a hole's cross reaches past its edge, as drawn
STRIP = 4.5  # mm for a line of words
ARROW = 10.0  # mm

MARK, ARROW_PEN = Pen(0.5), Pen(0.25)
THIN = Pen(0.1, 0.45)
CENTRE = Pen(0.18, 0.3, (5.0, 1.0, 0.7, 1.0))
EDGE = Pen(0.2, 0.55, (2.5, 1.5))

Dimensions = Mapping[float, float]
"""From a coordinate to the other coordinate of the hole where its line starts; ski frame, mm."""


@dataclass(frozen=True)
class _Plan:
    """The drawing before it is drawn: its view, the ski as drawn in `room`, what to write."""

    job: JigRecord
    units: Units
    width: float
    view: View
    room: Box
    along: Dimensions
    behind: Dimensions
    ahead: Dimensions

    @property
    def fits(self) -> bool:
        """Whether all dimensions find room."""
        tall = self.room[3] - self.room[1]
        sides = len(self.behind), len(self.ahead)
        return max(sides) * PITCH <= tall and len(self.along) * PITCH <= self.width


def layout_drawing(job: JigRecord, units: Units, width: float) -> Block:
    """The layout as large as fits in `width` mm, with ids and dimensions.

    Ids or dimensions that find no room are left to the list of holes, and the note says so.
    """
    plan = _plan(job, units, width)
    shapes = Shapes()
    _draw_ski(shapes, plan)
    names = _names(plan)
    bottom = plan.room[1]
    if plan.fits:
        gaps = [name.box for name in names]
        _write_along(shapes, plan, gaps)
        _write_across(shapes, plan, gaps)
        bottom -= KNEE + GAP + _widest(plan.along, units)
    draw_holes(shapes, job.holes, plan.view, ARM)
    if names:
        draw_names(shapes, job.holes, plan.view, names, ID_SIZE)
    bottom -= STRIP
    narrowest = full(job.inputs.ski.least, units)
    note = say("drawing.note", unit=say(f"unit.{units}"), width=narrowest)
    if not (plan.fits and names):
        note = say("drawing.note-table")
    if job.ladders:
        note = f"{say('drawing.boot', boot=full(job.inputs.boot, units))} {note}"
    shapes.texts.append(Text((0.0, bottom), note, SIZE))
    return Block(-bottom + 1.5, shapes)


def _plan(job: JigRecord, units: Units, width: float) -> _Plan:
    along = {round(h.x, 2): h.y for h in sorted(job.holes, key=lambda h: -h.y)}
    outwards = sorted(job.holes, key=lambda h: abs(h.x))
    behind = {0.0: 0.0} | {round(h.y, 2) + 0.0: h.x for h in outwards if h.x < 0}
    ahead = {0.0: 0.0} | {round(h.y, 2) + 0.0: h.x for h in outwards if h.x >= 0}
    column = KNEE + GAP + max(_widest(side, units) for side in (behind, ahead))

    low, high = min(0.0, *along), max(0.0, *along)
    half = max(job.inputs.ski.least / 2, *(abs(h.y) + h.diameter / 2 for h in job.holes))
    free = width - 2 * column - 2 * BEYOND
    scale = min(MOST, free / max(high - low, 1.0), TALLEST / (2 * half))
    mark = column + BEYOND + (free - scale * (high - low)) / 2 - scale * low
    top = -2 * STRIP
    foot = top - 2 * scale * half
    view = View(scale, mark, (top + foot) / 2)
    room = (view.at(low, 0)[0] - BEYOND, foot, view.at(high, 0)[0] + BEYOND, top)
    ordered = (dict(sorted(row.items())) for row in (along, behind, ahead))
    return _Plan(job, units, width, view, room, *ordered)


def _widest(row: Iterable[float], units: Units) -> float:
    return max(width_of(_words(value, units), SIZE) for value in row)


def _words(value: float, units: Units) -> str:
    return short(abs(value), units) if value else "0"


def spread(places: Iterable[float], pitch: float, low: float, high: float) -> list[float]:
    """Rising `places` moved apart to at least `pitch` within [low, high], as little as can be.

    Least squares: with i·pitch taken off, it is a rising fit (isotonic regression).
    """
    from scipy.optimize import isotonic_regression

    wanted = np.array(list(places), dtype=np.float64)
    steps = pitch * np.arange(len(wanted))
    fitted = np.asarray(isotonic_regression(wanted - steps).x)
    return [float(place) for place in np.clip(fitted, low, high - steps[-1]) + steps]


def _write_along(shapes: Shapes, plan: _Plan, gaps: Sequence[Box]) -> None:
    """Write the dimensions along the ski, their lines broken at `gaps`."""
    foot = plan.room[1]
    starts = [plan.view.at(x, y) for x, y in plan.along.items()]
    places = spread((x for x, _ in starts), PITCH, PITCH / 2, plan.width - PITCH / 2)
    for (x, y), place, value in zip(starts, places, plan.along, strict=True):
        shapes.lines += broken(Line((x, y), (x, foot), THIN), gaps)
        shapes.polyline([(x, foot), (place, foot - KNEE)], THIN)
        at = (place + HALF_LINE, foot - KNEE - GAP)
        shapes.texts.append(Text(at, _words(value, plan.units), SIZE, anchor="end", turn=90))


def _write_across(shapes: Shapes, plan: _Plan, gaps: Sequence[Box]) -> None:
    """Write the dimensions across the ski at both ends, their lines broken at `gaps`."""
    left, foot, right, top = plan.room
    ends: tuple[tuple[Dimensions, float, int, Anchor], ...] = (
        (plan.behind, left, -1, "end"),
        (plan.ahead, right, 1, "start"),
    )
    for column, edge, way, anchor in ends:
        starts = [plan.view.at(x, y) for y, x in column.items()]
        places = spread((y for _, y in starts), PITCH, foot + PITCH / 2, top - PITCH / 2)
        for (x, y), place, value in zip(starts, places, column, strict=True):
            if value:  # the centre line is drawn already
                shapes.lines += broken(Line((x, y), (edge, y), THIN), gaps)
            knee = edge + way * KNEE
            shapes.polyline([(edge, y), (knee, place)], THIN)
            at = (knee + way * GAP, place - HALF_LINE)
            shapes.texts.append(Text(at, _words(value, plan.units), SIZE, anchor=anchor))


def broken(line: Line, gaps: Iterable[Box]) -> list[Line]:
    """What is left of a line along x or y where `gaps` are kept free."""
    along, across = (0, 1) if line.start[1] == line.end[1] else (1, 0)
    low, high = sorted((line.start[along], line.end[along]))
    at = line.start[across]
    met = sorted(
        (box[along] - CLEAR, box[along + 2] + CLEAR)
        for box in gaps
        if box[across] - CLEAR < at < box[across + 2] + CLEAR
    )
    pieces = []
    for first, last in [*met, (high, high)]:
        if min(first, high) > low:
            ends = [(low, at), (min(first, high), at)]
            start, end = (end if along == 0 else end[::-1] for end in ends)
            pieces.append(Line(start, end, line.pen))
        low = max(low, last)
    return pieces


def _draw_ski(shapes: Shapes, plan: _Plan) -> None:
    (tail, foot, tip, top), view, skis = plan.room, plan.view, plan.job.inputs.ski
    for half in (skis.least / 2, -skis.least / 2):
        y = view.at(0, half)[1]
        shapes.lines.append(Line((tail, y), (tip, y), EDGE))
    shapes.lines.append(Line((tail, view.middle), (tip, view.middle), CENTRE))
    shapes.lines.append(Line((view.mark, foot), (view.mark, top), MARK))
    over_mark = (view.mark, top + 1.2)
    shapes.texts.append(Text(over_mark, say("drawing.mark"), SIZE, True, anchor="middle"))

    line = -STRIP + 1.2
    middle = (plan.width / 2, line)
    shapes.texts.append(Text(middle, say("drawing.left"), SIZE, anchor="middle"))
    _direction(shapes, (0.0, line), ARROW, "drawing.tail", "start")
    _direction(shapes, (plan.width, line), -ARROW, "drawing.tip", "end")


def _direction(shapes: Shapes, end: Point, length: float, key: str, anchor: Anchor) -> None:
    """An arrow that ends at `end`, `length` mm from its foot, and words behind it."""
    (x, y), level = end, end[1] + HALF_LINE
    shapes.arrow((x + length, level), (x, level), ARROW_PEN)
    shapes.texts.append(Text((x + 1.15 * length, y), say(key), SIZE, anchor=anchor))


def _names(plan: _Plan) -> tuple[Label, ...]:
    """Places for the holes' ids; none at all unless there is one for each."""
    if len(plan.job.holes) > MANY:
        return ()
    skis = plan.job.inputs.ski
    obstacles = [*ski_lines(plan.view, (skis.least,)), *fence(plan.room)]
    names = place_names(plan.job.holes, plan.view, ARM, obstacles, ID_SIZE)
    return names if all(inside(name, plan.room) for name in names) else ()

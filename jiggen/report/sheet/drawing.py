"""The layout drawing: smaller than life, with dimensions from the mark and the centre line.

Dimensions along the ski stand in a row under the drawing, those across it in a column at either
end, each at the end of a thin line from its hole; where they would lie on one another they are
moved apart and the line has a knee.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from jiggen.draw.figures import arrow, cross, leader, polyline
from jiggen.draw.fonts import POINT, plain, points, width_of
from jiggen.draw.labels import Label, place_labels, spread
from jiggen.draw.shapes import Anchor, Box, Circle, Line, Pen, Point, Shape, grey
from jiggen.record import Hole, JigRecord
from jiggen.report.sheet.document import Units
from jiggen.report.sheet.flowables import Picture, typeset
from jiggen.report.sheet.measures import full, short

TALLEST = 46.0  # mm of ski and holes across
MOST = 0.75  # scale: not to be mistaken for a 1:1 drawing
BEYOND = 9.0  # mm of ski past the last hole, as drawn
MANY = 60  # holes, whose ids do not fit anyway
SIZE, ID_SIZE = 7.5, 6.5  # points
HALF_LINE = points(SIZE) / 2  # mm: half the height of a dimension
PITCH = 1.2 * SIZE * POINT  # mm between dimensions
KNEE = 3.5  # mm in which a line gets from its hole to its dimension
GAP = 1.0  # mm from the end of a line to its dimension
ARM = 0.8  # mm that a hole's cross reaches past its edge, as drawn
STRIP = 4.5  # mm for a line of words
ARROW = 10.0  # mm

MARK, ARROW_PEN = Pen(0.5), Pen(0.25)
THIN = Pen(0.1, grey(0.45))
CENTRE = Pen(0.18, grey(0.3), (5.0, 1.0, 0.7, 1.0))
EDGE = Pen(0.2, grey(0.55), (2.5, 1.5))

RING, CROSS, LEADER = Pen(0.25), Pen(0.13), Pen(0.1, grey(0.3))
CLEAR = 0.3  # mm to either side of a line that names keep clear of
ENDLESS = 1e5  # mm
FENCE = 60.0  # mm: how wide the ground around a drawing is barred to names

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
        """Whether all dimensions fit."""
        tall = self.room[3] - self.room[1]
        sides = len(self.behind), len(self.ahead)
        return max(sides) * PITCH <= tall and len(self.along) * PITCH <= self.width


def layout_drawing(job: JigRecord, units: Units, width: float) -> Picture:
    """The layout as large as fits in `width` mm, with ids and dimensions.

    Ids or dimensions that do not fit are left to the list of holes, and the note says so.
    """
    plan = _plan(job, units, width)
    names = _names(plan)
    shapes = [*_ski(plan), *draw_holes(job.holes, plan.view, ARM)]
    if names:
        shapes += draw_names(job.holes, plan.view, names, ID_SIZE)
    bottom = plan.room[1]
    if plan.fits:
        gaps = [name.box for name in names]
        shapes += [*_along(plan, gaps), *_across(plan, gaps)]
        bottom -= KNEE + GAP + _widest(plan.along, units)
    bottom -= STRIP
    unit = "mm" if units == "mm" else "mm (inches)"
    note = (
        f"Smaller than life; {unit}, measured from the mounting mark and the centre line. "
        f"Dashed: a ski {full(job.inputs.ski.least, units)} wide."
    )
    if not (plan.fits and names):
        note = "Smaller than life. Not everything fits here: see the list of holes."
    if job.ladders:
        note = f"Drawn for a boot of {full(job.inputs.boot, units)}. {note}"
    shapes.append(typeset((0.0, bottom), note, SIZE))
    return Picture(width, -bottom + 1.5, shapes)


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


def _along(plan: _Plan, gaps: Sequence[Box]) -> Iterator[Shape]:
    """The dimensions along the ski, their lines broken at `gaps`."""
    foot = plan.room[1]
    starts = [plan.view.at(x, y) for x, y in plan.along.items()]
    places = spread((x for x, _ in starts), PITCH, PITCH / 2, plan.width - PITCH / 2)
    for (x, y), place, value in zip(starts, places, plan.along, strict=True):
        yield from broken(Line((x, y), (x, foot), THIN), gaps)
        yield from polyline([(x, foot), (place, foot - KNEE)], THIN)
        at = (place + HALF_LINE, foot - KNEE - GAP)
        yield typeset(at, _words(value, plan.units), SIZE, anchor="end", turn=90)


def _across(plan: _Plan, gaps: Sequence[Box]) -> Iterator[Shape]:
    """The dimensions across the ski at both ends, their lines broken at `gaps`."""
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
                yield from broken(Line((x, y), (edge, y), THIN), gaps)
            knee = edge + way * KNEE
            yield from polyline([(edge, y), (knee, place)], THIN)
            at = (knee + way * GAP, place - HALF_LINE)
            yield typeset(at, _words(value, plan.units), SIZE, anchor=anchor)


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


def _ski(plan: _Plan) -> Iterator[Shape]:
    (tail, foot, tip, top), view, skis = plan.room, plan.view, plan.job.inputs.ski
    for half in (skis.least / 2, -skis.least / 2):
        y = view.at(0, half)[1]
        yield Line((tail, y), (tip, y), EDGE)
    yield Line((tail, view.middle), (tip, view.middle), CENTRE)
    yield Line((view.mark, foot), (view.mark, top), MARK)
    yield typeset((view.mark, top + 1.2), "mounting mark", SIZE, bold=True, anchor="middle")

    line = -STRIP + 1.2
    level = line + HALF_LINE
    yield typeset((plan.width / 2, line), "left side of the ski", SIZE, anchor="middle")
    yield from arrow((ARROW, level), (0.0, level), ARROW_PEN)
    yield typeset((1.15 * ARROW, line), "to the tail", SIZE)
    yield from arrow((plan.width - ARROW, level), (plan.width, level), ARROW_PEN)
    yield typeset((plan.width - 1.15 * ARROW, line), "to the tip", SIZE, anchor="end")


def _names(plan: _Plan) -> tuple[Label, ...]:
    """Places for the holes' ids; none at all unless there is one for each."""
    if len(plan.job.holes) > MANY:
        return ()
    skis = plan.job.inputs.ski
    obstacles = [*ski_lines(plan.view, (skis.least,)), *fence(plan.room)]
    names = place_names(plan.job.holes, plan.view, ARM, obstacles, ID_SIZE)
    return names if all(inside(name, plan.room) for name in names) else ()


# -- holes and their names, at any scale; the 1:1 pages have them too ---------------------------


@dataclass(frozen=True)
class View:
    """From the ski frame to the paper: the mark at x = `mark`, the centre line at `middle`, mm."""

    scale: float
    mark: float
    middle: float

    def at(self, x: float, y: float) -> Point:
        """A place of the ski frame on the paper."""
        return self.mark + self.scale * x, self.middle + self.scale * y


def draw_holes(holes: Sequence[Hole], view: View, arm: float) -> Iterator[Shape]:
    """Each hole's rim, and a cross that reaches `arm` mm past it."""
    for hole in holes:
        at, radius = view.at(hole.x, hole.y), view.scale * hole.diameter / 2
        yield Circle(at, radius, RING)
        yield from cross(at, radius + arm, CROSS)


def place_names(
    holes: Sequence[Hole], view: View, arm: float, obstacles: Sequence[Box], size: float
) -> tuple[Label, ...]:
    """A place for each hole's id in `size` points, clear of holes, obstacles and other ids."""
    height = points(size)
    names = [plain(hole.id) for hole in holes]
    # The widths are known here, while `place_labels` assumes `height` for each character.
    stand_ins = ["n" * math.ceil(width_of(name, size) / height) for name in names]
    labels = place_labels(
        stand_ins,
        np.array([view.at(hole.x, hole.y) for hole in holes]).reshape(-1, 2),
        np.array([view.scale * hole.diameter / 2 for hole in holes]) + arm,
        np.array(obstacles).reshape(-1, 4),
        height,
    )
    return tuple(replace(label, text=name) for label, name in zip(labels, names, strict=True))


def draw_names(
    holes: Sequence[Hole], view: View, labels: Sequence[Label], size: float
) -> Iterator[Shape]:
    """Each id in its place, with a line from its hole where that is farther off."""
    for hole, label in zip(holes, labels, strict=True):
        yield typeset((label.centre[0], label.box[1]), label.text, size, anchor="middle")
        if label.leader:
            radius = view.scale * hole.diameter / 2
            yield leader(view.at(hole.x, hole.y), radius, label.box, LEADER)


def inside(label: Label, room: Box) -> bool:
    """Whether a name lies within `room`."""
    (x0, y0, x1, y1), (left, foot, right, top) = label.box, room
    return left <= x0 and foot <= y0 and x1 <= right and y1 <= top


def distance(hole: Point, label: Label) -> float:
    """How far a name lies from the middle of its hole, mm."""
    x0, y0, x1, y1 = label.box
    return math.dist(hole, (min(max(hole[0], x0), x1), min(max(hole[1], y0), y1)))


def box_around(start: Point, end: Point, clear: float = CLEAR) -> Box:
    """The box around a line along x or y, `clear` mm larger."""
    (x0, y0), (x1, y1) = start, end
    return (
        min(x0, x1) - clear,
        min(y0, y1) - clear,
        max(x0, x1) + clear,
        max(y0, y1) + clear,
    )


def fence(room: Box) -> tuple[Box, ...]:
    """Four boxes around `room` that keep names inside, as long as there is a place inside."""
    left, foot, right, top = room
    return (
        (left - FENCE, foot - FENCE, left, top + FENCE),
        (right, foot - FENCE, right + FENCE, top + FENCE),
        (left - FENCE, foot - FENCE, right + FENCE, foot),
        (left - FENCE, top, right + FENCE, top + FENCE),
    )


def ski_lines(view: View, widths: Iterable[float]) -> list[Box]:
    """What names keep off on every drawing: centre line, mounting mark, edges of the skis."""
    across = (0.0, *(half * sign / 2 for half in widths for sign in (1, -1)))
    boxes = [box_around((-ENDLESS, y), (ENDLESS, y)) for _, y in (view.at(0, y) for y in across)]
    return [box_around((view.mark, -ENDLESS), (view.mark, ENDLESS)), *boxes]

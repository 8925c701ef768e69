"""The layout drawing: smaller than life, with dimensions from the mark and the centre line.

Dimensions along the ski stand in a row under the drawing, those across it in a column at either
end, each at the end of a thin line from its hole; where they would lie on one another they are
moved apart and the line has a knee.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from reportlab.platypus.flowables import Flowable

from jiggen.draw.figures import arrow, cross, leader, polyline
from jiggen.draw.fonts import POINT, plain, points, width_of
from jiggen.draw.labels import Label, place_boxes, spread
from jiggen.draw.shapes import WHITE, Anchor, Area, Box, Circle, Line, Pen, Point, Shape, grey
from jiggen.record import JigRecord
from jiggen.record.entries import Hole
from jiggen.report.sheet import kit

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

MARK, INK, THIN = Pen(0.4), Pen(0.25), Pen(0.1, grey(0.45))
CENTRE = Pen(0.18, grey(0.3), (10.0, 1.5, 1.0, 1.5))
EDGE = Pen(0.2, grey(0.55), (5.0, 3.0))
RING, CROSS, LEADER = Pen(0.25), Pen(0.13), Pen(0.1, grey(0.3))
CLEAR = 0.3  # mm to either side of a line that names keep clear of
ENDLESS = 1e5  # mm

Named = tuple[tuple[Hole, Label], ...]
"""Holes and the places of their ids."""
Dimensions = list[tuple[str, Point]]
"""Lengths in words, each with the place on the paper where its line starts, in order."""


def layout_drawing(job: JigRecord, units: kit.Units, width: float) -> list[Flowable]:
    """The layout as large as fits in `width` mm, with ids and dimensions.

    Ids or dimensions that do not fit are left to the list of holes, and the note says so.
    """
    narrow, holes = job.inputs.ski.least, job.holes
    along = {round(h.x, 2): h.y for h in sorted(holes, key=lambda h: -h.y)}
    outwards = sorted(holes, key=lambda h: abs(h.x))
    behind = {0.0: 0.0} | {round(h.y, 2) + 0.0: h.x for h in outwards if h.x < 0}
    ahead = {0.0: 0.0} | {round(h.y, 2) + 0.0: h.x for h in outwards if h.x >= 0}
    words = {value: kit.short(abs(value), units) for value in (*along, *behind, *ahead)}
    words[0.0] = "0"

    column = KNEE + GAP + max(width_of(words[y], SIZE) for y in (*behind, *ahead))
    low, high = min(0.0, *along), max(0.0, *along)
    half = max(narrow / 2, *(abs(h.y) + h.diameter / 2 for h in holes))
    free = width - 2 * column - 2 * BEYOND
    scale = min(MOST, free / max(high - low, 1.0), TALLEST / (2 * half))
    mark = column + BEYOND + (free - scale * (high - low)) / 2 - scale * low
    top = -2 * STRIP
    foot = top - 2 * scale * half
    view = View(scale, mark, (top + foot) / 2)
    room = (view.at(low, 0)[0] - BEYOND, foot, view.at(high, 0)[0] + BEYOND, top)

    sides = [[(words[y], view.at(side[y], y)) for y in sorted(side)] for side in (behind, ahead)]
    fits = max(map(len, sides)) * PITCH <= top - foot and len(along) * PITCH <= width
    names: Named = ()
    if len(holes) <= MANY:
        names = place_names(holes, view, ARM, ski_lines(view, (narrow,)), ID_SIZE, room)
    names = names if len(names) == len(holes) else ()
    shapes = [*draw_way(width, 1.2 - STRIP), *draw_ski(view, (narrow,), room)]
    if fits:
        shapes += _along([(words[x], view.at(x, along[x])) for x in sorted(along)], foot, width)
        shapes += _across(sides, room)
        foot -= KNEE + GAP + max(width_of(words[x], SIZE) for x in along)
    for _, name in names:  # dimension lines stop beside it
        x0, y0, x1, y1 = box_around(name.box[:2], name.box[2:])
        shapes.append(Area(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), WHITE))
    shapes += [*draw_holes(holes, view, ARM), *draw_names(names, view, ID_SIZE)]
    unit = "mm" if units == "mm" else "mm (inches)"
    note = (
        f"Smaller than life; {unit}, measured from the mounting mark and the centre line. "
        f"Dashed: a ski {kit.full(narrow, units)} wide."
    )
    if not (fits and names):
        note = "Smaller than life. Not everything fits here: see the list of holes."
    if job.ladders:
        note = f"Drawn for a boot of {kit.full(job.inputs.boot, units)}. {note}"
    return [kit.Picture(width, 1.0 - foot, shapes), kit.para(note, SIZE), kit.gap(1.0)]


def _along(row: Dimensions, foot: float, width: float) -> Iterator[Shape]:
    """The dimensions along the ski."""
    places = spread((x for _, (x, _) in row), PITCH, PITCH / 2, width - PITCH / 2)
    for (words, (x, y)), place in zip(row, places, strict=True):
        yield from polyline([(x, y), (x, foot), (place, foot - KNEE)], THIN)
        at = (place + HALF_LINE, foot - KNEE - GAP)
        yield kit.typeset(at, words, SIZE, anchor="end", turn=90)


def _across(sides: Sequence[Dimensions], room: Box) -> Iterator[Shape]:
    """The dimensions across the ski at both ends."""
    left, foot, right, top = room
    ends: tuple[tuple[float, int, Anchor], ...] = ((left, -1, "end"), (right, 1, "start"))
    for column, (edge, way, anchor) in zip(sides, ends, strict=True):
        places = spread((y for _, (_, y) in column), PITCH, foot + PITCH / 2, top - PITCH / 2)
        for (words, (x, y)), place in zip(column, places, strict=True):
            if words != "0":  # the centre line is drawn already
                yield Line((x, y), (edge, y), THIN)
            knee = edge + way * KNEE
            yield from polyline([(edge, y), (knee, place)], THIN)
            yield kit.typeset((knee + way * GAP, place - HALF_LINE), words, SIZE, anchor=anchor)


@dataclass(frozen=True)
class View:
    """From the ski frame to the paper: the mark at x = `mark`, the centre line at `middle`, mm."""

    scale: float
    mark: float
    middle: float

    def at(self, x: float, y: float) -> Point:
        """A place of the ski frame on the paper."""
        return self.mark + self.scale * x, self.middle + self.scale * y


def draw_way(width: float, base: float, *, outermost: bool = True) -> Iterator[Shape]:
    """A line of words at y = `base` on how the ski lies, with its left side if `outermost`."""
    if outermost:
        yield kit.typeset((width / 2, base), "left side of the ski", SIZE, anchor="middle")
    ends: tuple[tuple[float, int, Anchor], ...] = ((0.0, 1, "start"), (width, -1, "end"))
    for (end, way, anchor), words in zip(ends, ("to the tail", "to the tip"), strict=True):
        level = base + HALF_LINE
        yield from arrow((end + way * ARROW, level), (end, level), INK)
        yield kit.typeset((end + way * 1.15 * ARROW, base), words, SIZE, anchor=anchor)


def draw_ski(view: View, widths: Iterable[float], room: Box, band: float = 0.0) -> Iterator[Shape]:
    """The centre line, edges of skis and the mounting mark, as far as `room` shows them.

    The mark ends `band` mm under the top, with its name over it.
    """
    left, foot, right, top = room
    for half in sorted({0.0, *(sign * width / 2 for width in widths for sign in (1, -1))}):
        y = view.at(0.0, half)[1]
        if foot - CLEAR <= y <= top + CLEAR:
            yield Line((left, y), (right, y), EDGE if half else CENTRE)
    if left <= view.mark <= right:
        yield Line((view.mark, foot), (view.mark, top - band), MARK)
        words = "mounting mark"
        half = width_of(words, SIZE, bold=True) / 2
        at = (min(max(view.mark, left + half), right - half), top - band + 1.2)
        yield kit.typeset(at, words, SIZE, bold=True, anchor="middle")


def draw_holes(holes: Sequence[Hole], view: View, arm: float) -> Iterator[Shape]:
    """Each hole's rim, and a cross that reaches `arm` mm past it."""
    for hole in holes:
        at, radius = view.at(hole.x, hole.y), view.scale * hole.diameter / 2
        yield Circle(at, radius, RING)
        yield from cross(at, radius + arm, CROSS)


def place_names(
    holes: Sequence[Hole],
    view: View,
    arm: float,
    obstacles: Sequence[Box],
    size: float,
    room: Box,
    farthest: float = math.inf,
) -> Named:
    """A place in `room` for each hole's id in `size` points, clear of holes and `obstacles`.

    Ids without a free place within `farthest` mm of their hole are left out.
    """
    names = [plain(hole.id) for hole in holes]
    boxes = place_boxes(
        [(width_of(name, size), points(size)) for name in names],
        np.array([view.at(hole.x, hole.y) for hole in holes]).reshape(-1, 2),
        np.array([view.scale * hole.diameter / 2 for hole in holes]) + arm,
        np.array(obstacles).reshape(-1, 4),
        room,
        farthest,
    )
    found = zip(holes, names, boxes, strict=True)
    return tuple((hole, Label(name, *box)) for hole, name, box in found if box)


def draw_names(named: Named, view: View, size: float) -> Iterator[Shape]:
    """Each id in its place, with a line from its hole where that is farther off."""
    for hole, label in named:
        yield kit.typeset((label.centre[0], label.box[1]), label.text, size, anchor="middle")
        if label.leader:
            radius = view.scale * hole.diameter / 2
            yield leader(view.at(hole.x, hole.y), radius, label.box, LEADER)


def box_around(start: Point, end: Point, clear: float = CLEAR) -> Box:
    """The box around a line along x or y, `clear` mm larger."""
    (x0, x1), (y0, y1) = sorted((start[0], end[0])), sorted((start[1], end[1]))
    return x0 - clear, y0 - clear, x1 + clear, y1 + clear


def ski_lines(view: View, widths: Iterable[float]) -> list[Box]:
    """What names keep off on every drawing: centre line, mounting mark, edges of the skis."""
    across = (0.0, *(half * sign / 2 for half in widths for sign in (1, -1)))
    boxes = [box_around((-ENDLESS, y), (ENDLESS, y)) for _, y in (view.at(0, y) for y in across)]
    return [box_around((view.mark, -ENDLESS), (view.mark, ENDLESS)), *boxes]

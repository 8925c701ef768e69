"""Holes and their names as drawn, at 1:1 or smaller."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from jiggen.draw.fonts import plain, width_of
from jiggen.draw.labels import Label, place_labels
from jiggen.record import Hole
from jiggen.report.sheet.page import CAPITALS, POINT, Circle, Line, Pen, Point, Shapes, Text

RING, CROSS, LEADER = Pen(0.25), Pen(0.13), Pen(0.1, 0.3)
CLEAR = 0.3  # mm to either side of a line that names keep clear of
ENDLESS = 1e5  # mm
FENCE = 60.0  # mm: how wide the ground around a drawing is barred to names

Box = tuple[float, float, float, float]
"""Least x, least y, greatest x, greatest y; mm."""


@dataclass(frozen=True)
class View:
    """From the ski frame to the paper: the mark at x = `mark`, the centre line at `middle`, mm."""

    scale: float
    mark: float
    middle: float

    def at(self, x: float, y: float) -> Point:
        """A place of the ski frame on the paper."""
        return self.mark + self.scale * x, self.middle + self.scale * y


def draw_holes(shapes: Shapes, holes: Sequence[Hole], view: View, arm: float) -> None:
    """Draw each hole's rim, and a cross that reaches `arm` mm past it."""
    for hole in holes:
        (x, y), radius = view.at(hole.x, hole.y), view.scale * hole.diameter / 2
        reach = radius + arm
        shapes.circles.append(Circle((x, y), radius, RING))
        shapes.lines.append(Line((x - reach, y), (x + reach, y), CROSS))
        shapes.lines.append(Line((x, y - reach), (x, y + reach), CROSS))


def place_names(
    holes: Sequence[Hole], view: View, arm: float, obstacles: Sequence[Box], size: float
) -> tuple[Label, ...]:
    """A place for each hole's id in `size` points, clear of holes, obstacles and other ids."""
    height = size * POINT * CAPITALS
    names = [plain(hole.id) for hole in holes]
    # The widths are known here, while `place_labels` reckons a width of `height` a character.
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
    shapes: Shapes, holes: Sequence[Hole], view: View, labels: Sequence[Label], size: float
) -> None:
    """Write each id in its place, with a line from its hole where that is farther off."""
    for hole, label in zip(holes, labels, strict=True):
        at = (label.centre[0], label.box[1])
        shapes.texts.append(Text(at, label.text, size, anchor="middle"))
        if label.leader:
            radius = view.scale * hole.diameter / 2
            shapes.lines.append(_leader(view.at(hole.x, hole.y), radius, label))


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


def _leader(hole: Point, radius: float, label: Label) -> Line:
    """From the hole's rim to the nearest place of its name."""
    x0, y0, x1, y1 = label.box
    end = (min(max(hole[0], x0), x1), min(max(hole[1], y0), y1))
    share = radius / math.dist(hole, end)
    start = (hole[0] + share * (end[0] - hole[0]), hole[1] + share * (end[1] - hole[1]))
    return Line(start, end, LEADER)

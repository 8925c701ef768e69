"""Where the caliper goes: a picture of a gauge or a jig from above for each reading, as SVG.

What all of them show is drawn once, and each lays its own marks on it.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from jiggen.design.gauge import Gauge, readings_of
from jiggen.draw.figures import polyline
from jiggen.draw.shapes import WHITE, Area, Circle, Drawing, Line, Pen, Point, Shape
from jiggen.draw.vector import svg_text
from jiggen.record import JigRecord
from jiggen.record.entries import PrintLength
from jiggen.report.sheet.drawing import View
from jiggen.report.sheet.gauge import draw_frame, draw_reading, plan_view
from jiggen.report.sheet.pictures import draw_bodies

SEPARATOR = "~"  # between the names of what a caliper is laid on
WIDTH = 90.0  # mm, of a picture
ACCENT = "#b5670c"
MEASURED, JAWS = Pen(0.7, ACCENT), Pen(1.4, ACCENT)
JAW = 4.0  # mm as drawn
BEYOND = 5.0  # mm of paper around a jig


@dataclass(frozen=True)
class Where:
    """The pictures: their size in mm, what all show, and the marks of each by what is measured."""

    size: Point
    base: str
    marks: Mapping[str, str] = field(default_factory=dict)

    @property
    def box(self) -> str:
        """The part of the drawing that is shown, for SVG."""
        width, height = self.size
        return f"0 0 {width:g} {height:g}"


def where_on_gauge(gauge: Gauge) -> Where:
    """Of a gauge: ``A~B`` is a distance, ``A`` a diameter, ``height~14`` a height."""
    view, height, middle = plan_view(gauge, WIDTH)
    readings = readings_of(gauge)
    marks: dict[str, str] = {}
    for one in readings.distances:
        shapes = [_ring(view.at(end.x, end.y), view.scale * end.diameter / 2) for end in one.of]
        shapes += draw_reading(one, view, middle)
        marks[SEPARATOR.join(end.id for end in one.of)] = _drawn(shapes)
    for one in readings.diameters:
        (end,) = one.of
        at, radius = view.at(end.x, end.y), view.scale * end.diameter / 2
        marks[end.id] = _drawn([_ring(at, radius), *_across(at, radius)])
    for one in readings.heights:
        if one.of:
            at = view.at(one.of[0].x, one.of[0].y)
            shown: list[Shape] = [_ring(at, view.scale * one.of[0].diameter / 2), _ring(at, JAW)]
        else:
            shown = [*polyline([view.at(*at) for at in gauge.outline.outer], MEASURED, closed=True)]
        marks[f"height{SEPARATOR}{round(one.asked, 6):g}"] = _drawn(shown)
    return Where(
        (WIDTH, height), _drawn([_paper((WIDTH, height)), *draw_frame(gauge, view)]), marks
    )


def where_on_jig(job: JigRecord, pairs: Iterable[tuple[str, str]]) -> Where:
    """Of a jig: ``a~b`` is a distance of two holes, ``body-toe~along`` a length of a body."""
    moved = {part.name: job.shown.get(part.name, 0.0) for part in job.parts}
    bodies = {guide.id: guide.part for guide in job.guides}
    corners = [
        (x + moved[body.part], y) for body in job.bodies for ring in body.outline for x, y in ring
    ]
    (left, right), out = (
        (pick(x for x, _ in corners) for pick in (min, max)),
        max(abs(y) for _, y in corners),
    )
    scale = (2 * WIDTH - 2 * BEYOND) / (right - left)
    size = (2 * WIDTH, 2 * (scale * out + BEYOND))
    view = View(scale, BEYOND - scale * left, -size[1] / 2)
    places = {
        hole.id: (view.at(hole.x + moved[bodies[hole.id]], hole.y), scale * hole.diameter / 2)
        for hole in job.holes
    }
    marks = {
        SEPARATOR.join(pair): _drawn(_over_pins(*(places[hole] for hole in pair))) for pair in pairs
    }
    for one in job.print_check:
        marks[f"{one.part}{SEPARATOR}{one.direction}"] = _drawn(_length(one, view, moved[one.part]))
    base = [_paper(size), *draw_bodies(job, view, moved)]
    return Where(size, _drawn(base), marks)


def _over_pins(one: tuple[Point, float], other: tuple[Point, float]) -> Iterator[Shape]:
    """Both pins, and the jaws over their outsides."""
    (x, y), (u, v) = one[0], other[0]
    far = math.hypot(u - x, v - y) or 1.0
    way = ((u - x) / far, (v - y) / far)
    ends = []
    for (at, radius), sign in ((one, -1), (other, 1)):
        yield Circle(at, max(radius, 1.2), MEASURED, fill=ACCENT)
        reach = sign * max(radius, 1.2)
        ends.append((at[0] + reach * way[0], at[1] + reach * way[1]))
    yield from _jaws(ends[0], ends[1])


def _length(one: PrintLength, view: View, by: float) -> Iterator[Shape]:
    """The jaws on both faces of a body."""
    if one.direction == "along":
        start, end = (view.at(x + by, one.at) for x in one.span)
    else:
        start, end = (view.at(one.at + by, y) for y in one.span)
    yield from _jaws(start, end)


def _jaws(start: Point, end: Point) -> Iterator[Shape]:
    """A line with a jaw across either end."""
    far = math.dist(start, end) or 1.0
    ux, uy = (end[0] - start[0]) / far * JAW / 2, (end[1] - start[1]) / far * JAW / 2
    yield Line(start, end, MEASURED)
    for x, y in (start, end):
        yield Line((x - uy, y + ux), (x + uy, y - ux), JAWS)


def _across(at: Point, radius: float) -> Iterator[Shape]:
    """The jaws along x, and along y."""
    x, y = at
    yield from _jaws((x - radius, y), (x + radius, y))
    yield from _jaws((x, y - radius), (x, y + radius))


def _ring(at: Point, radius: float) -> Shape:
    return Circle(at, radius, MEASURED, fill=ACCENT)


def _paper(size: Point) -> Shape:
    width, height = size
    return Area(((0.0, 0.0), (width, 0.0), (width, -height), (0.0, -height)), WHITE)


def _drawn(shapes: Iterable[Shape]) -> str:
    """Shapes as elements of an SVG."""
    text = svg_text(Drawing("", shapes=list(shapes)), 3)
    return re.sub(r"^<svg[^>]*>\s*<title ?/>|</svg>\s*$", "", text).strip()

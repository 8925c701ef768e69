"""A page as plain shapes: mm from its lower left corner, y upwards; type sizes in points."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from typing import Literal

from jiggen.draw.fonts import CAPITALS as CAPITALS
from jiggen.draw.fonts import POINT as POINT

Point = tuple[float, float]
Size = tuple[float, float]
Anchor = Literal["start", "middle", "end"]
Paper = Literal["A4", "letter"]
Units = Literal["mm", "in"]

PAPERS: dict[Paper, Size] = {
    "A4": (210.0, 297.0),  # ISO 216
    "letter": (215.9, 279.4),  # 8.5 x 11 in: ANSI/ASME Y14.1, size A
}
"""Width and height of a page held upright, mm."""

MARGIN = 10.0  # mm; common practice, no source: office printers leave 4 to 6.4 mm blank


@dataclass(frozen=True)
class Pen:
    """A stroke: width and dashes (line, gap, …) in mm, grey from 0 black to 1 white."""

    width: float
    grey: float = 0.0
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Line:
    """A straight line."""

    start: Point
    end: Point
    pen: Pen


@dataclass(frozen=True)
class Circle:
    """A hole at its drill diameter; nothing else on a sheet is drawn as a circle."""

    centre: Point
    radius: float
    pen: Pen


@dataclass(frozen=True)
class Area:
    """A polygon filled with a grey, without a stroke."""

    points: tuple[Point, ...]
    grey: float = 0.0


@dataclass(frozen=True)
class Text:
    """Words on one line: base line at `at`, `size` in points, `turn` 0 or 90 degrees."""

    at: Point
    words: str
    size: float
    bold: bool = False
    anchor: Anchor = "start"
    turn: int = 0
    grey: float = 0.0


@dataclass
class Shapes:
    """What stands on a page, or on a piece of one."""

    lines: list[Line] = field(default_factory=list)
    circles: list[Circle] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)

    def add(self, other: Shapes, by: Point = (0.0, 0.0)) -> None:
        """Add copies of all shapes of `other`, moved `by` mm."""

        def at(point: Point) -> Point:
            return point[0] + by[0], point[1] + by[1]

        self.lines += [replace(s, start=at(s.start), end=at(s.end)) for s in other.lines]
        self.circles += [replace(s, centre=at(s.centre)) for s in other.circles]
        self.areas += [replace(s, points=tuple(map(at, s.points))) for s in other.areas]
        self.texts += [replace(s, at=at(s.at)) for s in other.texts]

    def polyline(self, points: Iterable[Point], pen: Pen, *, closed: bool = False) -> None:
        """Add the lines from point to point, and back to the first when `closed`."""
        path = list(points)
        ends = path[1:] + path[:1] if closed else path[1:]
        self.lines += [Line(a, b, pen) for a, b in zip(path, ends, strict=False)]

    def box(self, low: Point, high: Point, pen: Pen) -> None:
        """Add an upright rectangle's outline."""
        corners = (low, (high[0], low[1]), high, (low[0], high[1]))
        self.polyline(corners, pen, closed=True)

    def arrow(self, tail: Point, head: Point, pen: Pen, length: float = 2.0) -> None:
        """Add a line along x or y with a filled head of `length` mm at its end."""
        self.lines.append(Line(tail, head, pen))
        run = (head[0] - tail[0], head[1] - tail[1])
        far = (run[0] ** 2 + run[1] ** 2) ** 0.5
        ux, uy = run[0] / far * length, run[1] / far * length
        foot = (head[0] - ux, head[1] - uy)
        wings = (
            (foot[0] - 0.3 * uy, foot[1] + 0.3 * ux),
            (foot[0] + 0.3 * uy, foot[1] - 0.3 * ux),
        )
        self.areas.append(Area((head, *wings), pen.grey))


@dataclass(frozen=True)
class Page:
    """One page: its size in mm and what stands on it."""

    size: Size
    shapes: Shapes


def page_size(paper: Paper, *, upright: bool = True) -> Size:
    """Width and height in mm of a page of `paper`, upright or lying."""
    width, height = PAPERS[paper]
    return (width, height) if upright else (height, width)

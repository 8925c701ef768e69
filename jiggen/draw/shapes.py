"""What a drawing consists of.  Lengths in mm, x to the right, y upwards, angles in degrees."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Literal, TypeVar

Point = tuple[float, float]
Box = tuple[float, float, float, float]
"""Least x, least y, greatest x, greatest y; mm."""
Anchor = Literal["start", "middle", "end"]
Colour = str
"""As in SVG: ``#rrggbb``."""

BLACK, WHITE = "#000000", "#ffffff"


@dataclass(frozen=True)
class Pen:
    """A stroke: its width and its dashes (line, gap, …) in mm, and its colour."""

    width: float
    colour: Colour = BLACK
    dashes: tuple[float, ...] = ()


@dataclass(frozen=True)
class Line:
    """A straight line; without a `pen` of its own it has that of its layer."""

    start: Point
    end: Point
    pen: Pen | None = None
    layer: str = ""


@dataclass(frozen=True)
class Circle:
    """A circle; `name` is shown by a viewer that shows titles, `kind` is its class in SVG."""

    centre: Point
    radius: float
    pen: Pen | None = None
    layer: str = ""
    name: str = ""
    kind: str = ""
    fill: Colour | None = None


@dataclass(frozen=True)
class Ellipse:
    """An ellipse with its first radius at `turn` degrees, anticlockwise from the x axis."""

    centre: Point
    radii: tuple[float, float]
    turn: float
    pen: Pen
    fill: Colour | None = None


@dataclass(frozen=True)
class Area:
    """A filled polygon without an outline; without a `fill` it has the colour of its layer."""

    points: tuple[Point, ...]
    fill: Colour | None = None
    layer: str = ""


@dataclass(frozen=True)
class Text:
    """Words on one line, their base line at `at`; `height` is that of capitals in mm.

    `turn` is 0 or 90.  Without a `colour` they have that of their layer, or black.
    """

    at: Point
    words: str
    height: float
    anchor: Anchor = "start"
    layer: str = ""
    bold: bool = False
    colour: Colour | None = None
    turn: int = 0


@dataclass(frozen=True)
class Picture:
    """A picture from its `lower` to its `upper` corner; `data` is that of a JPEG file."""

    lower: Point
    upper: Point
    data: bytes


@dataclass(frozen=True)
class Group:
    """Shapes with an origin of their own at `at`; `kind` is the group's class in SVG."""

    shapes: tuple[Shape, ...]
    at: Point
    kind: str = ""


Shape = Line | Circle | Ellipse | Area | Text | Picture | Group
_S = TypeVar("_S", Line, Circle, Ellipse, Area, Text, Picture, Group)


@dataclass
class Drawing:
    """A sheet from its `lower` to its `upper` corner, in mm, and everything on it.

    `layers` are the pens of the layers by name, from the bottom of the drawing to its top; `mark`
    is written into the file to say what the drawing belongs to.
    """

    title: str
    lower: Point = (0.0, 0.0)
    upper: Point = (0.0, 0.0)
    layers: Mapping[str, Pen] = field(default_factory=dict)
    shapes: list[Shape] = field(default_factory=list)
    mark: str = ""

    def of(self, kind: type[_S]) -> Iterator[_S]:
        """The shapes of one kind in the order in which they were drawn."""
        return (shape for shape in self.shapes if isinstance(shape, kind))

    @property
    def size(self) -> tuple[float, float]:
        """Width and height in mm."""
        return self.upper[0] - self.lower[0], self.upper[1] - self.lower[1]


def grey(share: float) -> Colour:
    """The grey that is `share` of the way from black (0) to white (1)."""
    return "#" + 3 * f"{round(255 * share):02x}"

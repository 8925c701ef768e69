"""A drawing at 1:1 as plain shapes, before it is written as SVG or DXF.

Everything is in the ski frame: mm, x to the tip, y to the left edge, origin on the mounting
mark.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Point = tuple[float, float]
Anchor = Literal["start", "middle", "end"]
Layer = Literal[
    "ski", "centre-line", "mounting-mark", "crosses", "holes", "hole-ids", "scale", "notes"
]


@dataclass(frozen=True)
class Pen:
    """How a layer is drawn: line width and dashes (line, gap, …) in mm, colour as (r, g, b)."""

    width: float
    dashes: tuple[float, ...] = ()
    colour: tuple[int, int, int] = (0, 0, 0)


_BLUE, _RED, _GREY = (20, 70, 140), (170, 20, 30), (110, 110, 110)
PENS: dict[Layer, Pen] = {
    "ski": Pen(0.35, (6.0, 3.0), _GREY),
    "centre-line": Pen(0.25, (12.0, 2.0, 1.0, 2.0), _BLUE),
    "mounting-mark": Pen(0.5, (), _RED),
    "crosses": Pen(0.13),
    "holes": Pen(0.25),
    "hole-ids": Pen(0.13),
    "scale": Pen(0.25),
    "notes": Pen(0.25),
}
"""Every layer with its pen, from the bottom of the drawing to its top."""


@dataclass(frozen=True)
class Line:
    """A straight line."""

    layer: Layer
    start: Point
    end: Point


@dataclass(frozen=True)
class Circle:
    """A hole at its drill diameter: `name` is its id. Nothing else is drawn as a circle."""

    layer: Layer
    name: str
    centre: Point
    radius: float


@dataclass(frozen=True)
class Area:
    """A filled polygon."""

    layer: Layer
    points: tuple[Point, ...]


@dataclass(frozen=True)
class Text:
    """Words on one line, its base line at `at`; `height` is that of capitals in mm."""

    layer: Layer
    at: Point
    height: float
    words: str
    anchor: Anchor = "start"


@dataclass
class Drawing:
    """A sheet from its `lower` to its `upper` corner, in mm, and everything on it."""

    title: str
    lower: Point = (0.0, 0.0)
    upper: Point = (0.0, 0.0)
    lines: list[Line] = field(default_factory=list)
    circles: list[Circle] = field(default_factory=list)
    areas: list[Area] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)

"""A drawing as SVG: one user unit is one millimetre, and SVG counts y downwards."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from xml.etree import ElementTree as ET

from jiggen.draw.shapes import (
    BLACK,
    Area,
    Circle,
    Colour,
    Drawing,
    Ellipse,
    Line,
    Pen,
    Point,
    Shape,
    Text,
)
from jiggen.units import number

NAMESPACE = "http://www.w3.org/2000/svg"
CAPITALS = 0.7  # height of capitals over font size, of common sans-serif fonts; from memory
_IN_LAYER = (Line, Circle, Area, Text)  # in this order: words come last

Attributes = dict[str, str]


def svg_text(drawing: Drawing, digits: int = 6) -> str:
    """`drawing` at 1:1 as SVG text, lengths to `digits` decimals of a mm.

    Each layer is a group with the layer's name as its id; a drawing without layers keeps the
    order of its shapes.
    """
    return _Writer(digits).document(drawing)


class _Writer:
    """Writes shapes with lengths to `digits` decimals."""

    def __init__(self, digits: int) -> None:
        self._digits = digits

    def document(self, drawing: Drawing) -> str:
        width, height = map(self._mm, drawing.size)
        x, y = self._mm(drawing.lower[0]), self._mm(-drawing.upper[1])
        root = ET.Element(
            "svg",
            xmlns=NAMESPACE,
            width=f"{width}mm",
            height=f"{height}mm",
            viewBox=f"{x} {y} {width} {height}",
        )
        ET.SubElement(root, "title").text = drawing.title
        for layer, pen in drawing.layers.items():
            group = ET.SubElement(root, "g", {"id": layer, "fill": "none"} | self._stroke(pen))
            shapes = [s for s in drawing.shapes if isinstance(s, _IN_LAYER) and s.layer == layer]
            shapes.sort(key=lambda shape: _IN_LAYER.index(type(shape)))
            group.extend(self._elements(shapes, pen.colour))
        if not drawing.layers:
            root.extend(self._elements(drawing.shapes))
        ET.indent(root, " ")
        return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"

    def _elements(self, shapes: Iterable[Shape], ink: Colour = BLACK) -> Iterator[ET.Element]:
        """The shapes as elements; `ink` is the colour of what has none of its own."""
        for shape in shapes:
            if isinstance(shape, Line):
                (x1, y1), (x2, y2) = map(self._at, (shape.start, shape.end))
                yield ET.Element(
                    "line", {"x1": x1, "y1": y1, "x2": x2, "y2": y2} | self._ink(shape)
                )
            elif isinstance(shape, Circle):
                yield self._circle(shape)
            elif isinstance(shape, Ellipse):
                yield self._ellipse(shape)
            elif isinstance(shape, Area):
                points = " ".join(",".join(self._at(point)) for point in shape.points)
                yield ET.Element("polygon", points=points, fill=shape.fill or ink, stroke="none")
            elif isinstance(shape, Text):
                yield self._text(shape, ink)
            else:
                x, y = self._at(shape.at)
                kind = {"class": shape.kind} if shape.kind else {}
                group = ET.Element("g", kind | {"transform": f"translate({x} {y})"})
                group.extend(self._elements(shape.shapes, ink))
                yield group

    def _circle(self, circle: Circle) -> ET.Element:
        x, y = self._at(circle.centre)
        kind = {"class": circle.kind} if circle.kind else {}
        place = {"cx": x, "cy": y, "r": self._mm(circle.radius)}
        shape = ET.Element("circle", kind | place | self._ink(circle))
        if circle.name:
            ET.SubElement(shape, "title").text = circle.name
        return shape

    def _ellipse(self, ellipse: Ellipse) -> ET.Element:
        x, y = self._at(ellipse.centre)
        along, across = map(self._mm, ellipse.radii)
        shape = {"cx": x, "cy": y, "rx": along, "ry": across} | self._ink(ellipse)
        turn = f"rotate({self._mm(-ellipse.turn)} {x} {y})"
        return ET.Element("ellipse", shape, transform=turn)

    def _text(self, text: Text, ink: Colour) -> ET.Element:
        x, y = self._at(text.at)
        font = {"font-family": "sans-serif", "font-size": self._mm(text.height / CAPITALS)}
        style = {"text-anchor": text.anchor, "fill": text.colour or ink, "stroke": "none"}
        if text.bold:
            style["font-weight"] = "bold"
        if text.turn:
            style["transform"] = f"rotate({-text.turn} {x} {y})"
        words = ET.Element("text", {"x": x, "y": y} | font | style)
        words.text = text.words
        return words

    def _ink(self, shape: Line | Circle | Ellipse) -> Attributes:
        """Fill and stroke of a shape; nothing where it takes both from its layer."""
        filled = {} if isinstance(shape, Line) else {"fill": shape.fill or "none"}
        if shape.pen:
            return filled | self._stroke(shape.pen)
        return {} if isinstance(shape, Line) or not shape.fill else filled

    def _stroke(self, pen: Pen) -> Attributes:
        style = {"stroke": pen.colour, "stroke-width": self._mm(pen.width)}
        if pen.dashes:
            style["stroke-dasharray"] = " ".join(map(self._mm, pen.dashes))
        return style

    def _at(self, point: Point) -> tuple[str, str]:
        return self._mm(point[0]), self._mm(-point[1])

    def _mm(self, value: float) -> str:
        return number(value, self._digits)

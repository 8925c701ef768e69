"""The layout drawing as SVG: one user unit is one millimetre, the mounting mark at 0, 0."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree as ET

from jiggen.export.drawing import PENS, Drawing, Layer, Pen
from jiggen.export.drawing_plan import SkiWidths, draw_layout
from jiggen.layout import Layout

NAMESPACE = "http://www.w3.org/2000/svg"
CAPITALS = 0.7  # height of capitals over font size, of common sans-serif fonts; from memory


def layout_svg(layout: Layout, ski: SkiWidths | None = None) -> str:
    """`layout` at 1:1 as an SVG text; `ski` widths in mm add the ski's outline.

    A hole is a ``circle`` in the group ``holes``: cx = x, cy = -y (SVG counts y downwards), in
    mm from the mounting mark, r half the drill diameter.  Same layout, same text.
    Raises InputError ``drawing.ski`` for widths that are none.
    """
    return _written(draw_layout(layout, ski))


def _written(drawing: Drawing) -> str:
    (x0, y0), (x1, y1) = drawing.lower, drawing.upper
    width, height = _mm(x1 - x0), _mm(y1 - y0)
    root = ET.Element(
        "svg",
        xmlns=NAMESPACE,
        width=f"{width}mm",
        height=f"{height}mm",
        viewBox=f"{_mm(x0)} {_mm(-y1)} {width} {height}",
    )
    ET.SubElement(root, "title").text = drawing.title
    for layer, pen in PENS.items():
        group = ET.SubElement(root, "g", _style(layer, pen))
        group.extend(_shapes(drawing, layer))
        group.extend(_texts(drawing, layer))
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"


def _style(layer: Layer, pen: Pen) -> dict[str, str]:
    style = {"id": layer, "fill": "none", "stroke": _colour(pen), "stroke-width": _mm(pen.width)}
    if pen.dashes:
        style["stroke-dasharray"] = " ".join(map(_mm, pen.dashes))
    return style


def _shapes(drawing: Drawing, layer: Layer) -> Iterator[ET.Element]:
    for line in drawing.lines:
        if line.layer == layer:
            (x1, y1), (x2, y2) = line.start, line.end
            yield ET.Element("line", x1=_mm(x1), y1=_mm(-y1), x2=_mm(x2), y2=_mm(-y2))
    for circle in drawing.circles:
        if circle.layer == layer:
            x, y = circle.centre
            shape = ET.Element("circle", cx=_mm(x), cy=_mm(-y), r=_mm(circle.radius))
            ET.SubElement(shape, "title").text = circle.name
            yield shape
    for area in drawing.areas:
        if area.layer == layer:
            points = " ".join(f"{_mm(x)},{_mm(-y)}" for x, y in area.points)
            yield ET.Element("polygon", points=points, fill=_colour(PENS[layer]), stroke="none")


def _texts(drawing: Drawing, layer: Layer) -> Iterator[ET.Element]:
    for text in drawing.texts:
        if text.layer == layer:
            place = {"x": _mm(text.at[0]), "y": _mm(-text.at[1])}
            font = {"font-family": "sans-serif", "font-size": _mm(text.height / CAPITALS)}
            ink = {"text-anchor": text.anchor, "fill": _colour(PENS[layer]), "stroke": "none"}
            words = ET.Element("text", place | font | ink)
            words.text = text.words
            yield words


def _colour(pen: Pen) -> str:
    return "#{:02x}{:02x}{:02x}".format(*pen.colour)


def _mm(value: float) -> str:
    """To a nanometre, without trailing zeros or a negative zero."""
    return f"{round(value, 6) + 0.0:.6f}".rstrip("0").rstrip(".")

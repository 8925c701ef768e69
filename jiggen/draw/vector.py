"""A drawing at 1:1 as SVG, one user unit a millimetre, or as DXF; layers stay layers."""

from base64 import b64encode
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from io import StringIO
from typing import Any
from xml.etree import ElementTree as ET

from jiggen.draw.shapes import (
    BLACK,
    Area,
    Circle,
    Drawing,
    Ellipse,
    Line,
    Pen,
    Picture,
    Point,
    Shape,
    Text,
)
from jiggen.files import MARK_NAME
from jiggen.units import number

CAPITALS = 0.7  # height of capitals over font size, of common sans-serif fonts; from memory
_IN_LAYER = (Line, Circle, Area, Text)  # in this order: words come last
DXF_VERSION = "R2010"  # read by every program of the last decade, and UTF-8
NARROW = 0.9  # of the plain stroke font, whose letters run wide
_ALIGNED = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}


def svg_text(drawing: Drawing, digits: int = 6) -> str:
    """`drawing` at 1:1 as SVG text, lengths to `digits` decimals of a mm.

    Each layer is a group with the layer's name as its id; a drawing without layers keeps the
    order of its shapes.
    """
    writer = _Writer(digits)
    width, height = map(writer.mm, drawing.size)
    x, y = writer.at((drawing.lower[0], drawing.upper[1]))
    size = {"width": f"{width}mm", "height": f"{height}mm"}
    box = f"{x} {y} {width} {height}"
    root = ET.Element("svg", {"xmlns": "http://www.w3.org/2000/svg"} | size, viewBox=box)
    ET.SubElement(root, "title").text = drawing.title
    if drawing.mark:
        ET.SubElement(root, "metadata").text = f"{MARK_NAME} {drawing.mark}"
    for layer, pen in drawing.layers.items():
        group = ET.SubElement(root, "g", {"id": layer, "fill": "none"} | writer.stroke(pen))
        shapes = [s for s in drawing.shapes if isinstance(s, _IN_LAYER) and s.layer == layer]
        shapes.sort(key=lambda shape: _IN_LAYER.index(type(shape)))
        group.extend(writer.elements(shapes, pen.colour))
    if not drawing.layers:
        root.extend(writer.elements(drawing.shapes))
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode", xml_declaration=False) + "\n"


@dataclass(frozen=True)
class _Writer:
    """Makes elements of shapes with lengths to `digits` decimals; SVG counts y downwards."""

    digits: int

    def elements(self, shapes: Iterable[Shape], ink: str = BLACK) -> Iterator[ET.Element]:
        """The shapes as elements; `ink` is the colour of what has none of its own."""
        for shape in shapes:
            if isinstance(shape, Line):
                (x1, y1), (x2, y2) = map(self.at, (shape.start, shape.end))
                style = self.stroke(shape.pen)
                yield ET.Element("line", {"x1": x1, "y1": y1, "x2": x2, "y2": y2} | style)
            elif isinstance(shape, Area):
                points = " ".join(",".join(self.at(point)) for point in shape.points)
                yield ET.Element("polygon", points=points, fill=shape.fill or ink, stroke="none")
            elif isinstance(shape, Text):
                yield self._text(shape, ink)
            elif isinstance(shape, Circle | Ellipse):
                yield self._round(shape)
            elif isinstance(shape, Picture):
                yield self._picture(shape)
            else:
                x, y = self.at(shape.at)
                kind = {"class": shape.kind} if shape.kind else {}
                group = ET.Element("g", kind | {"transform": f"translate({x} {y})"})
                group.extend(self.elements(shape.shapes, ink))
                yield group

    def _round(self, shape: Circle | Ellipse) -> ET.Element:
        """Without a pen and a fill of its own it takes both from its layer."""
        x, y = self.at(shape.centre)
        style = {"fill": shape.fill or "none"} if shape.pen or shape.fill else {}
        style |= self.stroke(shape.pen)
        if isinstance(shape, Ellipse):
            along, across = map(self.mm, shape.radii)
            turn = f"rotate({self.mm(-shape.turn)} {x} {y})"
            place = {"cx": x, "cy": y, "rx": along, "ry": across}
            return ET.Element("ellipse", place | style, transform=turn)
        kind = {"class": shape.kind} if shape.kind else {}
        circle = ET.Element("circle", kind | {"cx": x, "cy": y, "r": self.mm(shape.radius)} | style)
        if shape.name:
            ET.SubElement(circle, "title").text = shape.name
        return circle

    def _picture(self, shape: Picture) -> ET.Element:
        x, y = self.at((shape.lower[0], shape.upper[1]))
        wide, high = (b - a for a, b in zip(shape.lower, shape.upper, strict=True))
        size = {"width": self.mm(wide), "height": self.mm(high), "preserveAspectRatio": "none"}
        address = f"data:image/jpeg;base64,{b64encode(shape.data).decode()}"
        return ET.Element("image", {"x": x, "y": y} | size | {"href": address})

    def _text(self, text: Text, ink: str) -> ET.Element:
        x, y = self.at(text.at)
        font = {"font-family": "sans-serif", "font-size": self.mm(text.height / CAPITALS)}
        style = {"text-anchor": text.anchor, "fill": text.colour or ink, "stroke": "none"}
        if text.bold:
            style["font-weight"] = "bold"
        if text.turn:
            style["transform"] = f"rotate({-text.turn} {x} {y})"
        words = ET.Element("text", {"x": x, "y": y} | font | style)
        words.text = text.words
        return words

    def stroke(self, pen: Pen | None) -> dict[str, str]:
        if pen is None:
            return {}
        style = {"stroke": pen.colour, "stroke-width": self.mm(pen.width)}
        if pen.dashes:
            style["stroke-dasharray"] = " ".join(map(self.mm, pen.dashes))
        return style

    def at(self, point: Point) -> tuple[str, str]:
        return self.mm(point[0]), self.mm(-point[1])

    def mm(self, value: float) -> str:
        return number(value, self.digits)


def dxf_bytes(drawing: Drawing) -> bytes:
    """`drawing` at 1:1 as DXF in its own frame, with its layers: same drawing, same bytes."""
    import ezdxf

    # No clock and no random ids: ezdxf has one switch for it, and it is global.
    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        document, stream = _document(drawing), StringIO()
        # Classes by name: ezdxf 1.4 lists those in use in a set's order, a new one each run.
        for name in sorted(document.entitydb.dxf_types_in_use()):
            document.classes.add_class(name)
        document.write(stream)
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before
    return bytes(document.encode(stream.getvalue()))


def _document(drawing: Drawing) -> Any:
    import ezdxf
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.units import MM

    document = ezdxf.new(DXF_VERSION, units=MM)
    if drawing.mark:
        document.header.custom_vars.append(MARK_NAME, drawing.mark)
    for name, pen in drawing.layers.items():
        layer = document.layers.add(name)
        layer.rgb = tuple(bytes.fromhex(pen.colour[1:]))
        layer.dxf.lineweight = round(100 * pen.width)  # hundredths of a mm
        if pen.dashes:
            signed = [dash * (-1) ** index for index, dash in enumerate(pen.dashes)]
            document.linetypes.add(name, [sum(pen.dashes), *signed], description=f"for {name}")
            layer.dxf.linetype = name
    space = document.modelspace()
    for line in drawing.of(Line):
        space.add_line(line.start, line.end, {"layer": line.layer})
    for circle in drawing.of(Circle):
        space.add_circle(circle.centre, circle.radius, {"layer": circle.layer})
    for area in drawing.of(Area):
        # A SOLID's corners run in a Z; its last corner twice makes a triangle.
        space.add_solid([*area.points, area.points[-1]], {"layer": area.layer})
    for text in drawing.of(Text):
        # DXF text gives codes to ``%%`` and ``^``.
        words = text.words.replace("%%", "%%%%%%").replace("^", "^ ")
        entity = space.add_text(words, height=text.height, dxfattribs={"layer": text.layer})
        entity.dxf.width = NARROW
        entity.set_placement(text.at, align=TextEntityAlignment[_ALIGNED[text.anchor]])
    (left, low), (right, high) = drawing.lower, drawing.upper
    middle = ((left + right) / 2, (low + high) / 2)
    document.set_modelspace_vport(height=drawing.size[1], center=middle)
    return document

"""A drawing as DXF: millimetres, one DXF layer for each layer of the drawing."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from io import StringIO
from typing import TYPE_CHECKING

from jiggen.draw.shapes import Anchor, Area, Circle, Drawing, Line, Text

if TYPE_CHECKING:
    from ezdxf.document import Drawing as Document

DXF_VERSION = "R2010"  # read by every program of the last decade, and UTF-8
NARROW = 0.9  # of the plain stroke font, whose letters run wide
_ALIGNED: dict[Anchor, str] = {"start": "LEFT", "middle": "CENTER", "end": "RIGHT"}


def dxf_bytes(drawing: Drawing) -> bytes:
    """`drawing` at 1:1 as DXF bytes, in its own frame, with its layers.

    Same drawing, same bytes: dates and ids in the file are fixed.
    """
    with _fixed_metadata():
        document = _document(drawing)
        _pin_class_order(document)
        stream = StringIO()
        document.write(stream)
    return bytes(document.encode(stream.getvalue()))


@contextmanager
def _fixed_metadata() -> Iterator[None]:
    """No clock and no random ids: ezdxf has one switch for it, and it is global."""
    import ezdxf

    before = ezdxf.options.write_fixed_meta_data_for_testing
    ezdxf.options.write_fixed_meta_data_for_testing = True
    try:
        yield
    finally:
        ezdxf.options.write_fixed_meta_data_for_testing = before


def _pin_class_order(document: Document) -> None:
    """List the classes in use by name: ezdxf 1.4 does so in a set's order, a new one each run."""
    for name in sorted(document.entitydb.dxf_types_in_use()):
        document.classes.add_class(name)


def _document(drawing: Drawing) -> Document:
    import ezdxf
    from ezdxf.enums import TextEntityAlignment
    from ezdxf.units import MM

    document = ezdxf.new(DXF_VERSION, units=MM)
    _add_layers(document, drawing)
    space = document.modelspace()
    for line in drawing.of(Line):
        space.add_line(line.start, line.end, {"layer": line.layer})
    for circle in drawing.of(Circle):
        space.add_circle(circle.centre, circle.radius, {"layer": circle.layer})
    for area in drawing.of(Area):
        # A SOLID's corners run in a Z; its last corner twice makes a triangle.
        space.add_solid([*area.points, area.points[-1]], {"layer": area.layer})
    for text in drawing.of(Text):
        entity = space.add_text(
            _literal(text.words), height=text.height, dxfattribs={"layer": text.layer}
        )
        entity.dxf.width = NARROW
        entity.set_placement(text.at, align=TextEntityAlignment[_ALIGNED[text.anchor]])
    document.set_modelspace_vport(
        height=drawing.size[1],
        center=(
            (drawing.lower[0] + drawing.upper[0]) / 2,
            (drawing.lower[1] + drawing.upper[1]) / 2,
        ),
    )
    return document


def _add_layers(document: Document, drawing: Drawing) -> None:
    for name, pen in drawing.layers.items():
        layer = document.layers.add(name)
        layer.rgb = tuple(bytes.fromhex(pen.colour[1:]))
        layer.dxf.lineweight = round(100 * pen.width)  # hundredths of a mm
        if pen.dashes:
            signed = [dash * (-1) ** index for index, dash in enumerate(pen.dashes)]
            document.linetypes.add(name, [sum(pen.dashes), *signed], description=f"for {name}")
            layer.dxf.linetype = name


def _literal(words: str) -> str:
    """`words` without the codes that DXF text gives to ``%%`` and ``^``."""
    return words.replace("%%", "%%%%%%").replace("^", "^ ")

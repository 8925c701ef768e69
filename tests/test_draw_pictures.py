"""Drawings that hold a picture: as SVG, as PDF and as PNG, the picture where it belongs."""

from __future__ import annotations

import io
from base64 import b64decode
from xml.etree import ElementTree as ET

from PIL import Image
from pypdf import PdfReader

from jiggen.draw.pdf import pdf_bytes
from jiggen.draw.raster import png_bytes
from jiggen.draw.shapes import Area, Circle, Drawing, Ellipse, Group, Line, Pen, Picture, Text
from jiggen.draw.vector import svg_text


def drawing() -> Drawing:
    """100 × 50 mm, a grey picture at its right, shapes in colours of their own."""
    stream = io.BytesIO()
    Image.new("L", (20, 20), 90).save(stream, "JPEG", quality=95)
    shapes = [
        Picture((60.0, 10.0), (100.0, 50.0), stream.getvalue()),
        Line((5.0, 45.0), (50.0, 45.0), Pen(2.0, "#ff0000")),
        Circle((10.0, 30.0), 5.0, fill="#00ff00"),
        Ellipse((30.0, 30.0), (10.0, 2.0), 90.0, Pen(1.0, "#0000ff")),
        Area(((5.0, 5.0), (15.0, 5.0), (15.0, 15.0), (5.0, 15.0)), fill="#ff00ff"),
        Group((Circle((0.0, 0.0), 4.0, fill="#00ffff"),), (40.0, 10.0)),
        Text((62.0, 2.0), "IX", 6.0, colour="#008000"),
    ]
    return Drawing("Pictures", (0.0, 0.0), (100.0, 50.0), shapes=shapes)


def test_png_has_every_shape_where_it_belongs():
    png = Image.open(io.BytesIO(png_bytes(drawing(), 254.0))).convert("RGB")
    assert png.size == (1000, 500)

    def at(x: float, y: float) -> tuple[int, int, int]:
        return png.getpixel((round(10 * x), round(10 * (50 - y))))

    assert all(abs(one - 90) < 4 for one in at(80.0, 30.0))
    assert at(58.0, 30.0) == (255, 255, 255)
    assert at(20.0, 45.0) == (255, 0, 0)
    assert at(10.0, 30.0) == (0, 255, 0)
    assert at(30.0, 40.0) == (0, 0, 255)  # the long radius stands upright
    assert at(30.0, 30.0) == (255, 255, 255)
    assert at(10.0, 10.0) == (255, 0, 255)
    assert at(40.0, 10.0) == (0, 255, 255)
    words = png.crop((600, 400, 800, 500)).getcolors(1 << 16)
    assert max(words)[1] == (255, 255, 255)
    assert (0, 128, 0) in {colour for _, colour in words}
    assert png_bytes(drawing()) == png_bytes(drawing())


def test_svg_and_pdf_hold_the_picture():
    [image] = [
        one for one in ET.fromstring(svg_text(drawing())).iter() if one.tag.endswith("image")
    ]
    assert {k: image.get(k) for k in ("x", "y", "width", "height")} == {
        "x": "60", "y": "-50", "width": "40", "height": "40",
    }  # fmt: skip
    data = b64decode(image.get("href").partition("base64,")[2])
    assert Image.open(io.BytesIO(data)).size == (20, 20)
    [page] = PdfReader(io.BytesIO(pdf_bytes(drawing()))).pages
    [inner] = page.images
    assert inner.image.size == (20, 20)

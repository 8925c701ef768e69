"""A drawing as a PNG picture, for programs that show no SVG."""

from __future__ import annotations

import io
import math
from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from jiggen.draw.fonts import CAPITALS, plain
from jiggen.draw.shapes import (
    BLACK,
    WHITE,
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
from jiggen.units import INCH

if TYPE_CHECKING:
    from PIL.Image import Image

_ANCHORS = {"start": "ls", "middle": "ms", "end": "rs"}  # on the base line
_ROUND = 72  # corners of a circle


def png_bytes(drawing: Drawing, dpi: float = 150.0) -> bytes:
    """`drawing` on white at `dpi`: same drawing, same bytes.  Lines are whole, words level."""
    from PIL import Image, ImageDraw

    scale = dpi / INCH
    width, height = (max(1, round(side * scale)) for side in drawing.size)
    picture = Image.new("RGB", (width, height), WHITE)
    painter = _Painter(
        picture, ImageDraw.Draw(picture), scale, (drawing.lower[0], drawing.upper[1])
    )
    painter.paint(drawing.shapes)
    stream = io.BytesIO()
    picture.save(stream, "PNG", dpi=(dpi, dpi))
    return stream.getvalue()


@dataclass(frozen=True)
class _Painter:
    """Draws on `picture` with `scale` pixels for each mm; `corner` is its upper left one in mm."""

    picture: Image
    pen: Any
    scale: float
    corner: Point

    def paint(self, shapes: Iterable[Shape]) -> None:
        for shape in shapes:
            if isinstance(shape, Line):
                self._line([shape.start, shape.end], shape.pen)
            elif isinstance(shape, Circle):
                self._round(shape.centre, (shape.radius, shape.radius), 0.0, shape.pen, shape.fill)
            elif isinstance(shape, Ellipse):
                self._round(shape.centre, shape.radii, shape.turn, shape.pen, shape.fill)
            elif isinstance(shape, Area):
                self.pen.polygon([*map(self._at, shape.points)], fill=shape.fill or BLACK)
            elif isinstance(shape, Text):
                self._text(shape)
            elif isinstance(shape, Picture):
                self._picture(shape)
            else:
                x, y = self.corner
                moved = (x - shape.at[0], y - shape.at[1])
                _Painter(self.picture, self.pen, self.scale, moved).paint(shape.shapes)

    def _at(self, place: Point) -> Point:
        x, y = self.corner
        return (place[0] - x) * self.scale, (y - place[1]) * self.scale

    def _line(self, points: list[Point], pen: Pen | None) -> None:
        pen = pen or Pen(0.25)
        wide = max(1, round(pen.width * self.scale))
        self.pen.line([*map(self._at, points)], fill=pen.colour, width=wide, joint="curve")

    def _round(
        self, centre: Point, radii: Point, turn: float, pen: Pen | None, fill: str | None
    ) -> None:
        c, s = math.cos(math.radians(turn)), math.sin(math.radians(turn))
        angles = [2 * math.pi * n / _ROUND for n in range(_ROUND + 1)]
        flat = [(radii[0] * math.cos(one), radii[1] * math.sin(one)) for one in angles]
        points = [(centre[0] + c * x - s * y, centre[1] + s * x + c * y) for x, y in flat]
        if fill:
            self.pen.polygon([*map(self._at, points)], fill=fill)
        if pen or not fill:
            self._line(points, pen)

    def _text(self, text: Text) -> None:
        from PIL import ImageFont

        size = max(6.0, text.height / CAPITALS * self.scale)
        name = f"DejaVuSansCondensed{'-Bold' * text.bold}.ttf"
        data = files("jiggen").joinpath("fonts", name).read_bytes()
        font = ImageFont.truetype(io.BytesIO(data), size)
        words, how = plain(text.words), {"fill": text.colour or BLACK, "font": font}
        self.pen.text(self._at(text.at), words, anchor=_ANCHORS[text.anchor], **how)

    def _picture(self, shape: Picture) -> None:
        from PIL import Image

        left, top = self._at((shape.lower[0], shape.upper[1]))
        right, bottom = self._at((shape.upper[0], shape.lower[1]))
        size = (max(1, round(right - left)), max(1, round(bottom - top)))
        with Image.open(io.BytesIO(shape.data), formats=("JPEG",)) as inner:
            self.picture.paste(inner.convert("RGB").resize(size), (round(left), round(top)))

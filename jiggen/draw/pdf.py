"""Shapes on the pages of a PDF: vectors at 1:1, fonts embedded, equal bytes for equal shapes."""

import io
import os
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from typing import Any

from reportlab.pdfgen.canvas import Canvas

from jiggen.draw.fonts import CAPITALS, POINT, font_name, width_of
from jiggen.draw.shapes import (
    BLACK,
    Area,
    Circle,
    Drawing,
    Ellipse,
    Line,
    Picture,
    Point,
    Shape,
    Text,
)
from jiggen.files import MARK_NAME

EPOCH = "SOURCE_DATE_EPOCH"
_SHIFTS = {"start": 0.0, "middle": -0.5, "end": -1.0}


def pdf_bytes(drawing: Drawing) -> bytes:
    """`drawing` at 1:1 on one page of its own size."""
    stream = io.BytesIO()
    how = {"pageCompression": 1, "invariant": 1, "initialFontName": font_name(False)}
    with no_clock():
        canvas = Canvas(stream, pagesize=_points(drawing.size), **how)
    describe(canvas, drawing.title, drawing.mark)
    canvas.translate(*_points((-drawing.lower[0], -drawing.lower[1])))
    paint(canvas, drawing.shapes)
    canvas.showPage()
    canvas.save()
    return stream.getvalue()


@contextmanager
def no_clock() -> Iterator[None]:
    """A canvas made within bears the time of no clock.

    reportlab's ``invariant`` gives way to the environment's SOURCE_DATE_EPOCH.
    """
    given = os.environ.pop(EPOCH, None)
    try:
        yield
    finally:
        if given is not None:
            os.environ[EPOCH] = given


def describe(canvas: Any, title: str, mark: str = "") -> None:
    """Say in the file what it is, and that it is meant to be printed at its own size.

    `mark` is that of the record which it belongs to.
    """
    canvas.setTitle(title)
    canvas.setSubject(title)
    canvas.setAuthor("jiggen")
    canvas.setCreator("jiggen")
    if mark:
        canvas.setKeywords(f"{MARK_NAME} {mark}")
    # A viewer that honours this offers "actual size" first: ISO 32000-1, table 150.
    canvas.setViewerPreference("PrintScaling", "None")


def paint(canvas: Any, shapes: Iterable[Shape]) -> None:
    """Draw `shapes` at 1:1, each over those before it; the canvas' origin is theirs."""
    pen = None
    for shape in shapes:
        if isinstance(shape, Line | Circle | Ellipse) and shape.pen not in (None, pen):
            pen = shape.pen
            canvas.setLineWidth(pen.width / POINT)
            canvas.setDash([dash / POINT for dash in pen.dashes])
            _set_colour(pen.colour, canvas.setStrokeGray, canvas.setStrokeColorRGB)
        if isinstance(shape, Line):
            canvas.line(*_points(shape.start), *_points(shape.end))
        elif isinstance(shape, Circle):
            _set_fill(canvas, shape.fill)
            inked = {"stroke": int(shape.pen is not None), "fill": int(shape.fill is not None)}
            canvas.circle(*_points(shape.centre), shape.radius / POINT, **inked)
        elif isinstance(shape, Area):
            first, *others = map(_points, shape.points)
            path = canvas.beginPath()
            path.moveTo(*first)
            for point in others:
                path.lineTo(*point)
            path.close()
            _set_fill(canvas, shape.fill)
            canvas.drawPath(path, stroke=0, fill=1)
        elif isinstance(shape, Text):
            _text(canvas, shape)
        elif isinstance(shape, Picture):
            _picture(canvas, shape)
        else:
            canvas.saveState()
            canvas.translate(*_points(shape.centre if isinstance(shape, Ellipse) else shape.at))
            if isinstance(shape, Ellipse):
                along, across = _points(shape.radii)
                canvas.rotate(shape.turn)
                _set_fill(canvas, shape.fill)
                filled = int(shape.fill is not None)
                canvas.ellipse(-along, -across, along, across, stroke=1, fill=filled)
            else:
                paint(canvas, shape.shapes)
            canvas.restoreState()


def _picture(canvas: Any, shape: Picture) -> None:
    from reportlab.lib.utils import ImageReader

    (left, low), (right, high) = map(_points, (shape.lower, shape.upper))
    canvas.drawImage(ImageReader(io.BytesIO(shape.data)), left, low, right - left, high - low)


def _points(place: Point) -> Point:
    return place[0] / POINT, place[1] / POINT


def _set_fill(canvas: Any, colour: str | None) -> None:
    """Of a canvas, or of a text on it."""
    _set_colour(colour or BLACK, canvas.setFillGray, canvas.setFillColorRGB)


def _set_colour(colour: str, set_grey: Callable[..., None], set_rgb: Callable[..., None]) -> None:
    red, green, blue = (round(part / 255, 3) for part in bytes.fromhex(colour[1:]))
    if red == green == blue:
        set_grey(red)
    else:
        set_rgb(red, green, blue)


def _text(canvas: Any, text: Text) -> None:
    size = round(text.height / POINT / CAPITALS, 3)
    shift = _SHIFTS[text.anchor] * width_of(text.words, size, bold=text.bold)
    along, up = (0, 1) if text.turn else (1, 0)
    x, y = _points((text.at[0] + shift * along, text.at[1] + shift * up))
    line = canvas.beginText()
    line.setTextTransform(along, up, -up, along, x, y)
    line.setFont(font_name(text.bold), size)
    _set_fill(line, text.colour)
    line.textOut(text.words)
    canvas.drawText(line)

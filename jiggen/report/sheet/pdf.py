"""Pages as PDF: vector, fonts embedded, the same bytes for the same pages."""

from __future__ import annotations

import io
from collections.abc import Iterable
from itertools import groupby
from operator import attrgetter
from typing import Any

from jiggen.draw.fonts import font_name, width_of
from jiggen.report.sheet.page import POINT, Page, Pen, Shapes, Text

SHIFTS = {"start": 0.0, "middle": -0.5, "end": -1.0}
TURNS = {0: (1, 0), 90: (0, 1)}


def written(pages: Iterable[Page], title: str) -> bytes:
    """The PDF of `pages`: one mm of a page is 72 / 25.4 units of the PDF."""
    from reportlab.pdfgen.canvas import Canvas

    stream = io.BytesIO()
    # invariant: no date and no random file identifier, so that equal pages give equal bytes.
    canvas = Canvas(stream, pageCompression=1, invariant=1, initialFontName=font_name(False))
    canvas.setTitle(title)
    canvas.setSubject(title)
    canvas.setAuthor("jiggen")
    canvas.setCreator("jiggen")
    # A viewer that honours this offers "actual size" first: ISO 32000-1, table 150.
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.setLineCap(0)
    for page in pages:
        canvas.setPageSize(tuple(side / POINT for side in page.size))
        _draw(canvas, page.shapes)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _draw(canvas: Any, shapes: Shapes) -> None:
    for area in shapes.areas:
        (x, y), *others = ((x / POINT, y / POINT) for x, y in area.points)
        path = canvas.beginPath()
        path.moveTo(x, y)
        for point in others:
            path.lineTo(*point)
        path.close()
        canvas.setFillGray(area.grey)
        canvas.drawPath(path, stroke=0, fill=1)
    for pen, lines in groupby(shapes.lines, key=attrgetter("pen")):
        _take(canvas, pen)
        for line in lines:
            canvas.line(*(value / POINT for value in (*line.start, *line.end)))
    for pen, circles in groupby(shapes.circles, key=attrgetter("pen")):
        _take(canvas, pen)
        for circle in circles:
            (x, y), radius = circle.centre, circle.radius
            canvas.circle(x / POINT, y / POINT, radius / POINT, stroke=1, fill=0)
    for text in shapes.texts:
        _write(canvas, text)


def _take(canvas: Any, pen: Pen) -> None:
    canvas.setLineWidth(pen.width / POINT)
    canvas.setStrokeGray(pen.grey)
    canvas.setDash([dash / POINT for dash in pen.dashes])


def _write(canvas: Any, text: Text) -> None:
    along, up = TURNS[text.turn]
    shift = SHIFTS[text.anchor] * width_of(text.words, text.size, bold=text.bold)
    x, y = text.at[0] + shift * along, text.at[1] + shift * up
    line = canvas.beginText()
    line.setTextTransform(along, up, -up, along, x / POINT, y / POINT)
    line.setFont(font_name(text.bold), text.size)
    line.setFillGray(text.grey)
    line.textOut(text.words)
    canvas.drawText(line)

"""The scans with what was found in them, for a person to check: drawings of the `draw` room."""

from __future__ import annotations

import io
import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from jiggen.draw.figures import LEADING, RUNNING, lines_of_text
from jiggen.draw.shapes import (
    Anchor,
    Circle,
    Drawing,
    Group,
    Line,
    Pen,
    Picture,
    Point,
    Shape,
    Text,
)
from jiggen.measure.adjustment import Array
from jiggen.measure.scan.adjust import Fitted
from jiggen.measure.scan.files import Picture as Scanned
from jiggen.units import number

LONGEST = 12.0  # mm; the longest arrow is about so long
_MOST = 1000.0  # times
_QUALITY = 60  # of a JPEG; it is looked at, not measured
_GAP, _LETTER = 6.0, 3.6  # mm; the last is the height of capitals
_HALO, _GREEN, _RED, _BLUE = (
    Pen(width, colour)
    for width, colour in ((1.1, "#ffffff"), (0.45, "#0a7a28"), (0.6, "#c02020"), (0.6, "#1850c8"))
)


def scan_drawing(fitted: Fitted, pictures: Sequence[Scanned]) -> Drawing:
    """All scans beside one another, two in a row, each with its name above it."""
    times = magnification(fitted)
    sheets = [one_scan(fitted, pictures, number, times) for number in range(len(pictures))]
    shapes: list[Shape] = []
    rows = [sheets[n : n + 2] for n in range(0, len(sheets), 2)]
    top, wide = 0.0, 0.0
    for row in rows:
        left = 0.0
        for sheet in row:
            x, y = left - sheet.lower[0], top - sheet.upper[1]
            shapes.append(Group(tuple(sheet.shapes), (x, y)))
            left += sheet.size[0] + _GAP
        wide = max(wide, left - _GAP)
        top -= max(sheet.size[1] for sheet in row) + _GAP
    return Drawing("Scans with the holes found", (0.0, top + _GAP), (wide, 0.0), shapes=shapes)


def one_scan(fitted: Fitted, pictures: Sequence[Scanned], scan: int, times: float) -> Drawing:
    """One scan in its own frame, mm from its middle, with its `marks` and what they are."""
    picture = pictures[scan]
    wide, high = (side / 2 for side in picture.size)
    marked = marks(fitted, pictures, scan, times)
    title, height = (picture.source, arrows(times)), _LETTER * 0.75
    top = high + len(title) * LEADING * height + 2.0
    right = max(wide, max(map(len, title)) * RUNNING * height - wide)
    shapes = [
        Picture((-wide, -high), (wide, high), jpeg_of(picture)),
        *marked.shapes,
        *lines_of_text(title, (-wide, top), height),
    ]
    return replace(marked, upper=(right, top), shapes=shapes)


def arrows(times: float) -> str:
    """What the arrows say."""
    return f"arrows say how far off a hole was seen, {number(times)} times"


def marks(
    fitted: Fitted,
    pictures: Sequence[Scanned],
    scan: int,
    times: float,
    frame: tuple[Point, Point] | None = None,
) -> Drawing:
    """What is drawn upon one scan: circles, ids, arrows `times` too long.

    What is red was not used.  The `frame` is the lower and upper corner of what is shown of it.
    """
    picture = pictures[scan]
    wide, high = (side / 2 for side in picture.size)
    lower, upper = frame or ((-wide, -high), (wide, high))
    shapes: list[Shape] = []
    used = fitted.seen.at[fitted.seen.scan == scan]
    shapes += [
        Circle((hole.x, hole.y), hole.diameter / 2, _RED)
        for hole in picture.holes
        if not hole.fault and not (used == (hole.x, hole.y)).all(axis=1).any()
    ]
    for odd in fitted.odd:
        if odd.source == picture.source:
            shapes += [Circle((odd.x, odd.y), 6.0, _HALO), Circle((odd.x, odd.y), 6.0, _RED)]
            shapes += _words((odd.x, odd.y), 6.0, 0.0, odd.fault, _RED.colour, upper)
    for name, at, radius, off in _sightings(fitted, scan):
        shapes += [Circle(at, radius, _HALO), Circle(at, radius, _GREEN)]
        shapes += _arrow(at, off * times)
        shapes += _words(at, radius, radius, name, _GREEN.colour, upper)
    title = f"{picture.source} with the holes found"
    return Drawing(title, lower, upper, shapes=shapes)


def magnification(fitted: Fitted) -> float:
    """How many times too long arrows are, 1, 2 or 5 with noughts: the longest about `LONGEST`."""
    longest = max(float(np.hypot(*off)) for off in fitted.residuals)
    most = min(_MOST, LONGEST / max(longest, 1e-6))
    power = 10.0 ** math.floor(math.log10(most))
    return power * max(step for step in (1.0, 2.0, 5.0) if step * power <= most * (1 + 1e-9))


def _sightings(fitted: Fitted, scan: int) -> Iterator[tuple[str, Point, float, Array]]:
    """Name, place, radius and offset of each hole in one scan."""
    seen, offsets = fitted.seen, fitted.residuals
    for row in np.flatnonzero(seen.scan == scan).tolist():
        x, y = seen.at[row].tolist()
        yield seen.names[seen.hole[row]], (x, y), float(seen.diameter[row]) / 2, offsets[row]


def _arrow(start: Point, way: Array) -> Iterator[Shape]:
    """A line with a head, from the hole's centre."""
    long = float(np.hypot(*way))
    if long < 0.5:
        return
    end = np.asarray(start) + way
    unit = way / long
    side = np.array([-unit[1], unit[0]])
    head = min(2.0, long / 2)
    tips = [end - head * unit + sign * 0.4 * head * side for sign in (1, -1)]
    for pen in (_HALO, _BLUE):
        for first in (np.asarray(start), *tips):
            yield Line(_point(first), _point(end), pen)


def _point(place: Array) -> Point:
    return float(place[0]), float(place[1])


def _words(
    at: Point, aside: float, up: float, words: str, colour: str, upper: Point
) -> Iterator[Shape]:
    """Words beside what is at `at`, so that no edge to the right or above cuts them; they are read
    on dark and on bright ground.
    """
    fits = at[0] + aside + 1 + len(words) * RUNNING * _LETTER < upper[0]
    left = at[0] + (aside + 1) * (1 if fits else -1)
    # to the left and lower, it is not upon a neighbour's
    down = min(at[1] + up, upper[1] - _LETTER - 0.5) if fits else at[1] - up - _LETTER
    anchor: Anchor = "start" if fits else "end"
    for x, y in ((-0.3, 0), (0.3, 0), (0, -0.3), (0, 0.3)):
        yield Text((left + x, down + y), words, _LETTER, anchor, bold=True, colour="#ffffff")
    yield Text((left, down), words, _LETTER, anchor, bold=True, colour=colour)


def jpeg_of(picture: Scanned) -> bytes:
    """The small copy of the picture as the data of a JPEG file."""
    from PIL import Image

    stream = io.BytesIO()
    Image.fromarray(picture.small).save(stream, "JPEG", quality=_QUALITY)
    return stream.getvalue()

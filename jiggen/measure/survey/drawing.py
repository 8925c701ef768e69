"""The survey as SVG: where the holes are, what was measured, and how surely, at 1:1 in mm."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from jiggen.draw.shapes import Circle, Drawing, Ellipse, Line, Pen, Shape, Text
from jiggen.draw.svg import CAPITALS, svg_text
from jiggen.measure.adjustment import REGION, Array, wrong_row
from jiggen.measure.survey.examine import Examination
from jiggen.measure.survey.model import OPPOSITE

MAGNIFIED = 20
"""How many times larger than the plate the 95 % regions are drawn."""

_MARGIN = 14.0  # mm
_LETTER = 3.5  # mm, size of type
_HEIGHT = _LETTER * CAPITALS
_INK, _PALE, _BLUE, _RED = (Pen(0.25, f"#{c}") for c in ("202020", "b0b0b0", "2060c0", "c02020"))
_CENTRE = Pen(0.25, _PALE.colour, (6, 1.5, 1, 1.5))
_DIGITS = 3  # decimals of a mm: finer ones differ from one linear algebra library to the next


def survey_svg(found: Examination) -> str:
    """The plate seen from above, tip to the right: same examination, same text.

    Grey lines are the distances measured, a red one is the reading most likely wrong; a red hole
    can still move or fits elsewhere; blue ellipses are the 95 % regions, `MAGNIFIED` times.
    """
    lower, upper = found.places.min(axis=0) - _MARGIN, found.places.max(axis=0) + _MARGIN
    lower[1] -= _LETTER  # for the line below
    name = found.survey.name
    words = f"{name}: tip to the right, mm; 95 % regions {MAGNIFIED} times larger"
    shapes: list[Shape] = [
        Line((lower[0], 0.0), (upper[0], 0.0), _CENTRE),
        *_edges(found, lower, upper),
        *_measured(found),
        *_regions(found),
        *_holes(found),
        Text((lower[0] + 2, lower[1] + 2), words, _HEIGHT, colour=_INK.colour),
    ]
    drawing = Drawing(name, (lower[0], lower[1]), (upper[0], upper[1]), shapes=shapes)
    return svg_text(drawing, _DIGITS)


def _edges(found: Examination, lower: Array, upper: Array) -> Iterator[Line]:
    """The edges that were measured from, as far as the drawing goes."""
    network = found.fit.network
    for number, edge in enumerate(network.edges):
        at = float(found.fit.parameters[2 * network.holes + number])
        if edge in ("front", "rear"):
            yield Line((at, lower[1] + 2 * _LETTER), (at, upper[1]), _PALE)
        else:
            yield Line((lower[0], at), (upper[0], at), _PALE)


def _measured(found: Examination) -> Iterator[Line]:
    index = found.plain.network.index
    wrong = wrong_row(found.gross_error)
    for row, reading in enumerate(found.survey.readings):
        if reading.first in OPPOSITE or reading.second in OPPOSITE:
            continue
        (x1, y1), (x2, y2) = (found.places[index[end]] for end in (reading.first, reading.second))
        yield Line((x1, y1), (x2, y2), _RED if row == wrong else _PALE)


def _regions(found: Examination) -> Iterator[Ellipse]:
    for (x, y), square, reach in zip(
        found.places, found.fit.place_covariances, found.within, strict=True
    ):
        if not np.isfinite(reach):
            continue
        sizes, ways = np.linalg.eigh(square)
        radii = MAGNIFIED * REGION * found.scale * np.sqrt(np.clip(sizes, 0.0, None))
        turn = float(np.degrees(np.arctan2(ways[1, 1], ways[0, 1])))
        yield Ellipse((x, y), (radii[1], radii[0]), turn, _BLUE)


def _holes(found: Examination) -> Iterator[Circle | Text]:
    folded = {hole for other in found.others for hole in other.moved}
    for number, (name, (x, y)) in enumerate(zip(found.survey.holes, found.places, strict=True)):
        sure = np.isfinite(found.within[number]) and number not in folded
        pen = _INK if sure else _RED
        radius = found.survey.diameters[number] / 2
        yield Circle((x, y), radius, pen)
        yield Text((x + radius + 1, y + radius), name, _HEIGHT, colour=pen.colour)

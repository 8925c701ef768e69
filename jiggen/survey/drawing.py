"""The survey as SVG: where the holes are, what was measured, and how surely, at 1:1 in mm."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from xml.etree import ElementTree as ET

import numpy as np

from jiggen.survey.examine import Examination
from jiggen.survey.fit import REGION
from jiggen.survey.model import OPPOSITE
from jiggen.survey.network import Array

NAMESPACE = "http://www.w3.org/2000/svg"
MAGNIFIED = 20
"""How many times larger than the plate the 95 % regions are drawn."""

_MARGIN = 14.0
_LETTER = 3.5  # mm
_INK, _PALE, _BLUE, _RED = "#202020", "#b0b0b0", "#2060c0", "#c02020"


def survey_svg(found: Examination) -> str:
    """The plate seen from above, tip to the right: same examination, same text.

    Grey lines are the distances measured, a red one is the reading most likely wrong; a red hole
    can still move or fits elsewhere; blue ellipses are the 95 % regions, `MAGNIFIED` times.
    """
    places = found.places
    lower, upper = places.min(axis=0) - _MARGIN, places.max(axis=0) + _MARGIN
    lower[1] -= _LETTER  # for the line below
    width, height = upper - lower
    root = ET.Element(
        "svg",
        xmlns=NAMESPACE,
        width=f"{_mm(width)}mm",
        height=f"{_mm(height)}mm",
        viewBox=f"{_mm(lower[0])} {_mm(-upper[1])} {_mm(width)} {_mm(height)}",
    )
    ET.SubElement(root, "title").text = found.survey.name
    root.append(_line((lower[0], 0.0), (upper[0], 0.0), _PALE, "6 1.5 1 1.5"))
    root.extend(_edges(found, lower, upper))
    root.extend(_measured(found))
    root.extend(_regions(found))
    root.extend(_holes(found))
    words = f"{found.survey.name}: tip to the right, mm; 95 % regions {MAGNIFIED} times larger"
    root.append(_words(words, lower[0] + 2, lower[1] + 2, _INK, "start"))
    ET.indent(root, " ")
    return ET.tostring(root, encoding="unicode") + "\n"


def _edges(found: Examination, lower: Array, upper: Array) -> Iterator[ET.Element]:
    """The edges that were measured from, as far as the drawing goes."""
    network = found.fit.network
    for number, edge in enumerate(network.edges):
        at = float(found.fit.unknowns[2 * network.holes + number])
        if edge in ("front", "rear"):
            yield _line((at, lower[1] + 2 * _LETTER), (at, upper[1]), _PALE)
        else:
            yield _line((lower[0], at), (upper[0], at), _PALE)


def _measured(found: Examination) -> Iterator[ET.Element]:
    index = found.plain.network.index
    wrong = found.doubt.row if found.doubt and found.doubt.likely else -1
    for row, reading in enumerate(found.survey.readings):
        if reading.first in OPPOSITE or reading.second in OPPOSITE:
            continue
        start, end = (found.places[index[end]] for end in (reading.first, reading.second))
        yield _line(start, end, _RED if row == wrong else _PALE)


def _regions(found: Examination) -> Iterator[ET.Element]:
    for place, square, reach in zip(
        found.places, found.fit.place_covariances, found.within, strict=True
    ):
        if not np.isfinite(reach):
            continue
        sizes, ways = np.linalg.eigh(square)
        radii = MAGNIFIED * REGION * found.scale * np.sqrt(np.clip(sizes, 0.0, None))
        angle = -np.degrees(np.arctan2(ways[1, 1], ways[0, 1]))
        x, y = _mm(place[0]), _mm(-place[1])
        shape = {"cx": x, "cy": y, "rx": _mm(radii[1]), "ry": _mm(radii[0])}
        turn = f"rotate({_mm(angle)} {x} {y})"
        yield ET.Element("ellipse", shape | _pen(_BLUE), transform=turn)


def _holes(found: Examination) -> Iterator[ET.Element]:
    folded = {hole for other in found.others for hole in other.moved}
    for number, (name, place) in enumerate(zip(found.survey.holes, found.places, strict=True)):
        sure = np.isfinite(found.within[number]) and number not in folded
        colour = _INK if sure else _RED
        radius = found.survey.diameters[number] / 2
        at = {"cx": _mm(place[0]), "cy": _mm(-place[1]), "r": _mm(radius)}
        yield ET.Element("circle", at | _pen(colour))
        yield _words(name, place[0] + radius + 1, place[1] + radius, colour, "start")


def _line(
    start: Sequence[float] | Array, end: Sequence[float] | Array, colour: str, dashes: str = ""
) -> ET.Element:
    (x1, y1), (x2, y2) = start, end
    ends = {"x1": _mm(x1), "y1": _mm(-y1), "x2": _mm(x2), "y2": _mm(-y2)}
    return ET.Element(
        "line", ends | _pen(colour) | ({"stroke-dasharray": dashes} if dashes else {})
    )


def _words(words: str, x: float, y: float, colour: str, anchor: str) -> ET.Element:
    font = {"font-family": "sans-serif", "font-size": _mm(_LETTER), "text-anchor": anchor}
    shape = ET.Element("text", {"x": _mm(x), "y": _mm(-y), "fill": colour} | font)
    shape.text = words
    return shape


def _pen(colour: str) -> dict[str, str]:
    return {"fill": "none", "stroke": colour, "stroke-width": "0.25"}


def _mm(value: float) -> str:
    """To a micrometre, without trailing zeros or a negative zero."""
    return f"{round(float(value), 3) + 0.0:.3f}".rstrip("0").rstrip(".")

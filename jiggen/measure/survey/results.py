"""The surveyed plate as a pattern file: commented, in mm, rounded to 0.01 mm."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from jiggen.draw.shapes import Circle, Drawing, Ellipse, Line, Pen, Shape, Text
from jiggen.draw.svg import CAPITALS, svg_text
from jiggen.errors import Finding, InputError
from jiggen.measure.adjustment import REGION, Array, wrong_row
from jiggen.measure.survey.examination import Examination
from jiggen.measure.survey.model import OPPOSITE
from jiggen.pattern.read import parse_pattern

DIGITS = 2
"""Decimals of a place in mm: finer than any caliper, and what a drill can follow."""


def pattern_text(found: Examination, accepted: Sequence[Finding] = ()) -> str:
    """The pattern as TOML; `accepted` are the refusals that were overridden; the file lists them.

    Named pairs are written once with ``both_sides``.  Raises InputError when `read_pattern`
    refuses the result, for two holes nearer than their drills allow, for example.
    """
    text = "\n".join(_lines(found, accepted)) + "\n"
    _check(text)
    return text


def _lines(found: Examination, accepted: Sequence[Finding]) -> Iterator[str]:
    survey = found.survey
    yield "# Written by jiggen survey from distances measured on a plate. x grows towards the tip,"
    yield "# y to the left, in mm from the plate's origin; the comment beside a hole is its name in"
    yield "# the survey and what 95 of 100 such surveys stay within."
    notes = [survey.note] if survey.note else []
    if accepted:
        yield "#"
        yield "# ACCEPTED BY HAND despite failed checks. The survey said:"
        for finding in accepted:
            yield f"#   {_one_line(finding.message)}"
        notes.append(f"Accepted by hand: {'; '.join(_one_line(f.message) for f in accepted)}.")
    yield ""
    yield "format = 1"
    yield f"name = {_text(survey.name)}"
    if notes:
        yield f"note = {_text(' '.join(notes))}"
    yield 'units = "mm"'
    if survey.boot:
        yield f"boot = [{_number(survey.boot[0])}, {_number(survey.boot[1])}]"
    yield f"pair = {_text(survey.pair)}"
    yield ""
    yield "[drill]"
    drill = survey.drill
    yield f"diameter = {{ plain = {_number(drill.plain)}, metal = {_number(drill.metal)} }}"
    yield f"depth = {_number(drill.depth)}"
    yield ""
    yield "[[group]]"
    yield f"name = {_text(survey.group)}"
    yield f"datum = {_text(survey.datum)}"
    yield f"shift = {_number(survey.shift)}"
    for name, twin in _written(found):
        yield from _hole(found, name, twin)


def _written(found: Examination) -> Iterator[tuple[str, str]]:
    """Each hole that gets a table, with its right twin or nothing, in the survey's order."""
    right = {right: left for left, right in found.survey.pairs}
    twins = dict(found.survey.pairs)
    for name in found.survey.holes:
        if name not in right:
            yield name, twins.get(name, "")


def _hole(found: Examination, name: str, twin: str) -> Iterator[str]:
    index = found.plain.network.index
    x, y = found.places[index[name]]
    within = found.within[index[name]]
    who = f"{name} and {twin}" if twin else name
    known = f"within {within:.2f}" if within < float("inf") else "not known: can still move"
    size = found.survey.diameters[index[name]]
    yield ""
    yield "  [[group.hole]]"
    at = f"[{_place(x)}, {_place(y)}]"
    yield f"  at = {at}  # {who}: {known}; {size:.1f} in the plate"
    if twin:
        yield "  both_sides = true"


def _check(text: str) -> None:
    where = "the pattern that would be written"
    try:
        parse_pattern(text, where)
    except InputError as error:
        raise InputError(replace(finding, where=where) for finding in error.findings) from None


def _place(value: float) -> str:
    return f"{round(float(value), DIGITS) + 0.0:.{DIGITS}f}"


def _number(value: float) -> str:
    """A length as it came, to a tenth of a micrometre."""
    short = f"{round(value, 4) + 0.0:.4f}".rstrip("0")
    return short + "0" if short.endswith(".") else short


def _text(words: str) -> str:
    # JSON's strings are TOML's, with nothing in them that JSON would write otherwise.
    return json.dumps(words, ensure_ascii=False)


def _one_line(words: str) -> str:
    return " ".join(words.split())


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

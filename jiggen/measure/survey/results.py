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
from jiggen.measure.survey.read import OPPOSITE
from jiggen.pattern.read import parse_pattern

DIGITS = 2
"""Decimals of a place in mm: finer than any caliper, and what a drill can follow."""


def pattern_text(found: Examination, accepted: Sequence[Finding] = ()) -> str:
    """The pattern as TOML; `accepted` are the refusals that were overridden; the file lists them.

    Named pairs are written once with ``both_sides``.  Raises InputError when `read_pattern`
    refuses the result, for two holes nearer than their drills allow, for example.
    """
    text = "\n".join(_lines(found, accepted)) + "\n"
    where = "the pattern that would be written"
    try:
        parse_pattern(text, where)
    except InputError as error:
        raise InputError(replace(finding, where=where) for finding in error.findings) from None
    return text


def _lines(found: Examination, accepted: Sequence[Finding]) -> Iterator[str]:
    file = found.survey.file
    yield "# Written by jiggen survey from distances measured on a plate. x grows towards the tip,"
    yield "# y to the left, in mm from the plate's origin; the comment beside a hole is its name in"
    yield "# the survey and what 95 of 100 such surveys stay within."
    notes = [file.note] if file.note else []
    if accepted:
        messages = [" ".join(finding.message.split()) for finding in accepted]
        yield "#"
        yield "# ACCEPTED BY HAND despite failed checks. The survey said:"
        yield from (f"#   {words}" for words in messages)
        notes.append(f"Accepted by hand: {'; '.join(messages)}.")
    yield ""
    yield "format = 1"
    yield f"name = {_text(file.name)}"
    if notes:
        yield f"note = {_text(' '.join(notes))}"
    yield 'units = "mm"'
    if file.boot:
        yield f"boot = [{_number(file.boot[0])}, {_number(file.boot[1])}]"
    yield f"pair = {_text(file.pair)}"
    yield ""
    yield "[drill]"
    plain, metal = _number(file.drill.diameter.plain), _number(file.drill.diameter.metal)
    yield f"diameter = {{ plain = {plain}, metal = {metal} }}"
    yield f"depth = {_number(file.drill.depth)}"
    yield ""
    yield "[[group]]"
    yield f"name = {_text(file.group.name)}"
    yield f"datum = {_text(file.group.datum)}"
    yield f"shift = {_number(file.group.shift)}"
    twins = dict(file.plate.pairs)
    holes = zip(file.holes.items(), found.places, found.within, strict=True)
    for (name, size), (x, y), within in holes:
        if name in twins.values():
            continue
        who = f"{name} and {twins[name]}" if name in twins else name
        known = f"within {within:.2f}" if within < float("inf") else "not known: can still move"
        at = ", ".join(f"{round(float(one), DIGITS) + 0.0:.{DIGITS}f}" for one in (x, y))
        yield ""
        yield "  [[group.hole]]"
        yield f"  at = [{at}]  # {who}: {known}; {size:.1f} in the plate"
        if name in twins:
            yield "  both_sides = true"


def _number(value: float | None) -> str:
    """A length as it came, to a tenth of a micrometre."""
    return str(round(value or 0.0, 4) + 0.0)


def _text(words: str) -> str:
    # JSON's strings are TOML's, with nothing in them that JSON would write otherwise.
    return json.dumps(words, ensure_ascii=False)


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
    name = found.survey.file.name
    words = f"{name}: tip to the right, mm; 95 % regions {MAGNIFIED} times larger"
    shapes = [
        Line((lower[0], 0.0), (upper[0], 0.0), _CENTRE),
        *_distances(found, lower, upper),
        *_holes(found),
        Text((lower[0] + 2, lower[1] + 2), words, _HEIGHT, colour=_INK.colour),
    ]
    drawing = Drawing(name, (lower[0], lower[1]), (upper[0], upper[1]), shapes=shapes)
    return svg_text(drawing, _DIGITS)


def _distances(found: Examination, lower: Array, upper: Array) -> Iterator[Line]:
    """The edges that were measured from, as far as the drawing goes, and all between holes."""
    network = found.fit.network
    for number, edge in enumerate(network.edges):
        at = float(found.fit.parameters[2 * network.holes + number])
        if edge in ("front", "rear"):
            yield Line((at, lower[1] + 2 * _LETTER), (at, upper[1]), _PALE)
        else:
            yield Line((lower[0], at), (upper[0], at), _PALE)
    wrong = wrong_row(found.gross_error)
    for row, reading in enumerate(found.survey.readings):
        if reading.first not in OPPOSITE and reading.second not in OPPOSITE:
            ends = [network.index[reading.first], network.index[reading.second]]
            (x1, y1), (x2, y2) = found.places[ends]
            yield Line((x1, y1), (x2, y2), _RED if row == wrong else _PALE)


def _holes(found: Examination) -> Iterator[Shape]:
    """The 95 % regions of all holes that cannot move, then the holes with their names."""
    squares = found.fit.place_covariances
    for (x, y), square, reach in zip(found.places, squares, found.within, strict=True):
        if np.isfinite(reach):
            sizes, ways = np.linalg.eigh(square)
            radii = MAGNIFIED * REGION * found.scale * np.sqrt(np.clip(sizes, 0.0, None))
            turn = float(np.degrees(np.arctan2(ways[1, 1], ways[0, 1])))
            yield Ellipse((x, y), (radii[1], radii[0]), turn, _BLUE)
    folded = {hole for other in found.others for hole in other.moved}
    holes = enumerate(zip(found.survey.file.holes.items(), found.places, strict=True))
    for number, ((name, diameter), (x, y)) in holes:
        pen = _INK if np.isfinite(found.within[number]) and number not in folded else _RED
        yield Circle((x, y), diameter / 2, pen)
        at = (x + diameter / 2 + 1, y + diameter / 2)
        yield Text(at, name, _HEIGHT, colour=pen.colour)

"""The surveyed plate as a pattern file, rounded to 0.01 mm, and as a drawing."""

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from jiggen.draw.shapes import Circle, Drawing, Ellipse, Line, Pen, Shape, Text
from jiggen.draw.vector import CAPITALS, svg_text
from jiggen.errors import Finding, InputError
from jiggen.measure.adjustment import REGION, Array
from jiggen.measure.survey.examination import Examination
from jiggen.measure.survey.read import OPPOSITE
from jiggen.pattern.model import Drill, Group, Hole, Pattern
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import pattern_toml
from jiggen.units import listed

DIGITS = 2  # decimals of a place in mm: finer than any caliper, and what a drill can follow


def pattern_text(found: Examination, accepted: Sequence[Finding] = ()) -> str:
    """The pattern as TOML; `accepted` are the refusals that were overridden; the file lists them.

    Named pairs are written once with ``both_sides``; holes whose places are not known are left out,
    which the file says.  Raises InputError ``survey.no-place`` where that are all, and when
    `read_pattern` refuses the result, for two holes nearer than their drills allow, for example.
    """
    file = found.survey.file
    sizes, twins = file.drill.diameter, dict(file.plate.pairs)
    drill = Drill(
        sizes.plain or 0.0,
        sizes.metal or 0.0,
        file.drill.depth or 0.0,
        bool(file.drill.unusual),
    )
    holes, comments = [], []
    if len(found.unknown) == len(file.holes):
        hint = "Measure what is missing first: there is nothing to write yet."
        message = "the place of no hole is known"
        raise InputError.of("survey.no-place", message, where=found.survey.source, hint=hint)
    plate = zip(file.holes.items(), found.places, found.within, strict=True)
    for (name, diameter), place, within in plate:
        if name not in twins.values() and not {name, twins.get(name)} & {*found.unknown}:
            x, y = (np.round(place, DIGITS) + 0.0).tolist()
            holes.append(Hole((x, y), name in twins, drill))
            who = f"{name} and {twins[name]}" if name in twins else name
            comments.append(f"{who}: within {within:.2f}; {diameter:.1f} in the plate")
    how = "scans of a plate" if file.scanned else "distances measured on a plate"
    head = [
        f"Written by jiggen survey from {how}; the comment beside a hole is "
        "its name in the survey and what 95 of 100 such surveys stay within.",
    ]
    notes = [file.note] if file.note else []
    if accepted:
        messages = "; ".join(" ".join(finding.message.split()) for finding in accepted)
        head.append(f"ACCEPTED BY HAND despite failed checks. The survey said: {messages}.")
        notes.append(f"Accepted by hand: {messages}.")
    if found.unknown:
        missing = f"LEFT OUT, for their places are not known: {listed(found.unknown)}."
        head.append(missing)
        notes.append(missing)
    group = Group(file.group.name, file.group.datum, file.group.shift, (), tuple(holes))
    pattern = Pattern(file.name, " ".join(notes), "mm", file.boot, file.pair, (group,), "")
    beside, text = iter(comments), pattern_toml(pattern, head)
    text = re.sub(r"(?m)^  at = .*", lambda at: f"{at[0]}  # {next(beside)}", text)
    where = "the pattern that would be written"
    try:
        parse_pattern(text, where)
    except InputError as error:
        raise InputError(replace(finding, where=where) for finding in error.findings) from None
    return text


MAGNIFIED = 20  # how many times larger than the plate the 95 % regions are drawn
_MARGIN = 14.0  # mm
_WIDTH = 130.0  # mm, the least: so that the words have room
_LETTER = 3.5  # mm, size of type
_HEIGHT = _LETTER * CAPITALS
_INK, _PALE, _BLUE, _RED = (Pen(0.25, f"#{c}") for c in ("202020", "b0b0b0", "2060c0", "c02020"))
_CENTRE = Pen(0.25, _PALE.colour, (6, 1.5, 1, 1.5))
_DIGITS = 3  # decimals of a mm: finer ones differ from one linear algebra library to the next


def survey_svg(found: Examination) -> str:
    """The plate seen from above, tip to the right: same examination, same text.

    Grey lines are the distances measured, a red one is the reading most likely wrong; blue ellipses
    are the 95 % regions, `MAGNIFIED` times.  Holes whose places are not known are only named.
    """
    known = found.places[np.isfinite(found.within)]
    if not len(known):
        known = np.zeros((1, 2))
    lower, upper = known.min(axis=0) - _MARGIN, known.max(axis=0) + _MARGIN
    upper[0] = max(upper[0], lower[0] + _WIDTH)
    lower[1] -= (1 + 2 * bool(found.unknown)) * _LETTER  # for the lines below
    name = found.survey.file.name
    words = f"{name}: tip to the right, mm; 95 % regions {MAGNIFIED} times larger"
    missing = f"place not known: {', '.join(found.unknown)}"
    below = [Text((lower[0] + 2, lower[1] + 2 + 2 * _LETTER), missing, _HEIGHT, colour=_RED.colour)]
    shapes = [
        Line((lower[0], 0.0), (upper[0], 0.0), _CENTRE),
        *_distances(found, lower, upper),
        *_holes(found),
        Text((lower[0] + 2, lower[1] + 2), words, _HEIGHT, colour=_INK.colour),
        *(below if found.unknown else []),
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
    wrong = found.plain.wrong_row
    for row, reading in enumerate(found.survey.readings):
        if reading.first not in OPPOSITE and reading.second not in OPPOSITE:
            ends = [network.index[reading.first], network.index[reading.second]]
            (x1, y1), (x2, y2) = found.places[ends]
            if not {reading.first, reading.second} & {*found.unknown}:
                yield Line((x1, y1), (x2, y2), _RED if row == wrong else _PALE)


def _holes(found: Examination) -> Iterator[Shape]:
    """The 95 % regions of all holes whose places are known, then those holes with their names."""
    sizes = found.survey.file.holes.items()
    each = zip(sizes, found.places, found.fit.place_covariances, found.within, strict=True)
    known = [(name, size, at, square) for (name, size), at, square, reach in each if reach < np.inf]
    for _, _, (x, y), square in known:
        spreads, ways = np.linalg.eigh(square)
        radii = MAGNIFIED * REGION * found.plain.spread * np.sqrt(np.clip(spreads, 0.0, None))
        turn = float(np.degrees(np.arctan2(ways[1, 1], ways[0, 1])))
        yield Ellipse((x, y), (radii[1], radii[0]), turn, _BLUE)
    for name, diameter, (x, y), _ in known:
        yield Circle((x, y), diameter / 2, _INK)
        at = (x + diameter / 2 + 1, y + diameter / 2)
        yield Text(at, name, _HEIGHT, colour=_INK.colour)

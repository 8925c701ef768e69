"""The surveyed plate as a pattern file: commented, in mm, rounded to 0.01 mm."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import replace

from jiggen.errors import Finding, InputError
from jiggen.measure.survey.examine import Examination
from jiggen.pattern.read import parse_pattern

DIGITS = 2
"""Decimals of a place in mm: finer than any caliper, and what a drill can follow."""


def pattern_text(found: Examination, accepted: Sequence[Finding] = ()) -> str:
    """The pattern as TOML; `accepted` are the refusals that were overridden, said in the file.

    Named pairs are written once with ``both_sides``.  Raises InputError when the result is no
    pattern that `read_pattern` reads, two holes nearer than their drills allow, say.
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
        yield "# ACCEPTED BY HAND (--accept). The survey said:"
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

"""What a misread value seems to have been: a slip on the scale, digits swapped, other edges."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from jiggen.inputs.faults import Unit

_SLIPS = {"mm": (1.0, 10.0, 100.0), "in": (0.1, 1.0)}
_PLACES = {"mm": 2, "in": 4}
_LEAST = 0.03  # mm; nearer than this nothing tells two slips apart


def slip(read: float, expected: float, known: float, unit: Unit) -> str:
    """How `read` may have come of `expected`, in words; nothing where no usual slip explains it.

    All in mm; `known` is the standard uncertainty of their difference.  Digits are those that
    the caliper showed in `unit`.
    """
    near = max(4 * known, _LEAST)
    ways = [(abs(value - expected), words) for value, words in _ways(read, unit)]
    distance, words = min(ways, key=lambda way: way[0])
    return words if distance <= near else ""


def _ways(read: float, unit: Unit) -> Iterator[tuple[float, str]]:
    """What should have been written in mm, and the slip that made `read` of it."""
    for step in _SLIPS[unit.name]:
        yield read - step * unit.mm, f"{step:g} {unit.name} too much"
        yield read + step * unit.mm, f"{step:g} {unit.name} too little"
    text = f"{read / unit.mm:.{_PLACES[unit.name]}f}"
    digits = [place for place, sign in enumerate(text) if sign.isdigit()]
    for first, second in pairwise(digits):
        yield from _swapped(text, first, second, unit)
    yield read * 10, "the point one place too far left"
    yield read / 10, "the point one place too far right"
    if unit.name == "mm":
        yield read * 25.4, "read in inches"
    else:
        yield read / 25.4, "read in millimetres"


def _swapped(text: str, first: int, second: int, unit: Unit) -> Iterator[tuple[float, str]]:
    """The number with two of its digits the other way round, where that is another number."""
    if text[first] != text[second]:
        signs = list(text)
        signs[first], signs[second] = text[second], text[first]
        meant = "".join(signs)
        yield float(meant) * unit.mm, f"two digits swapped: {text} for {meant}"

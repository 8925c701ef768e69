"""What a printer's numbers mean for a part, in the workshop's words."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jiggen.measure.adjustment import COVERED
from jiggen.measure.printer.model import Profile

LONG, HIGH = 190.0, 14.0
"""What the words tell of, in mm: the length of half a jig, and its height."""

_LEAST = 0.005  # mm; less would show as 0.00


@dataclass(frozen=True)
class Line:
    """One number of a profile in words; `within` is its 95 % uncertainty, empty if unmeasured."""

    what: str
    found: str
    within: str
    means: str


def lines(profile: Profile) -> tuple[Line, ...]:
    """A line for each number that a caliper can tell."""
    known = profile.uncertainty
    return (
        _scale("x", profile.scale_x, known.scale_x, f"{LONG:g} mm along x", LONG, "long"),
        _scale("y", profile.scale_y, known.scale_y, f"{LONG:g} mm along y", LONG, "long"),
        _line("skew", profile.skew, known.skew, "°", _skewed(profile.skew)),
        _line("holes", profile.hole, known.hole, " mm", _sized("a hole", profile.hole)),
        _line("outsides", profile.wall, known.wall, " mm", _sized("an outside", profile.wall)),
        _scale("z", profile.scale_z, known.scale_z, f"{HIGH:g} mm of height", HIGH, "high"),
    )


def stretched(scale: float, length: float, word: str = "long") -> str:
    """``0.57 mm short``, or ``true``, of `length` in mm; `word` for too much."""
    off = (scale - 1.0) * length
    if abs(off) < _LEAST:
        return "true"
    return f"{abs(off):.2f} mm {word if off > 0 else {'long': 'short', 'high': 'low'}[word]}"


def _scale(
    axis: str, scale: float, known: float | None, what: str, length: float, word: str
) -> Line:
    means = f"{what} comes out {stretched(scale, length, word)}"
    if known is not None:
        means += f" (± {COVERED * known * length:.2f})"
    return _measured(f"scale {axis}", f"{scale:.5f}", known, 5, means)


def _line(what: str, value: float, known: float | None, unit: str, means: str) -> Line:
    return _measured(what, f"{value:+.3f}{unit}", known, 3, means)


def _measured(what: str, found: str, known: float | None, places: int, means: str) -> Line:
    if known is None:
        return Line(what, "-", "", "not measured: taken to be true")
    return Line(what, found, f"± {COVERED * known:.{places}f}", means)


def _skewed(skew: float) -> str:
    lean = abs(math.tan(math.radians(skew))) * LONG
    if lean < _LEAST:
        return "the axes stand square"
    way = "+x" if skew > 0 else "-x"
    return f"{LONG:g} mm along y lean {lean:.2f} mm towards {way}"


def _sized(what: str, offset: float) -> str:
    if abs(offset) < _LEAST:
        return f"{what} comes out true"
    return f"{what} comes out {abs(offset):.2f} mm too {'large' if offset > 0 else 'small'}"

"""Lengths as a person types them, into millimetres: the edge where units are converted.

A plain number is in mm; ``mm``, ``in`` or an inch mark after it says so.  A decimal comma is read
like a decimal point; where it could part two numbers as well, the words are refused.
"""

import math
import re
from collections.abc import Sequence

from jiggen.errors import InputError

INCH = 25.4  # mm, exactly: international yard and pound agreement, 1959

_UNITS = {"mm": 1.0, "in": INCH, '"': INCH, "″": INCH}
_NUMBER = r"([+-]?(?:[0-9]+(?:\.[0-9]*|,[0-9]+)?|[.,][0-9]+))"
_LENGTH = re.compile(_NUMBER + r"\s*+(mm|in|\"|″)?", re.IGNORECASE)
_DASH = re.compile(r"(?<=[^\s-])\s*[-–]\s*(?=[^\s-])")
_TIMES = re.compile(r"(?<!\s)\s*+[xX×*]\s*+")
# A blank parts two lengths where a number comes after it.
_BETWEEN = re.compile(r"(?<!\s)\s*+[;:/]\s*+|(?<!\s)(?:\s*+,)?\s++(?=[+−-]?[.,]?[0-9])")
_TWO = re.compile(r"([+−-]?[0-9.]+),([0-9.]{2,})\s*+(mm|in|\"|″)?", re.IGNORECASE)
_ANGLE = re.compile(_NUMBER + r"\s*+°?")
_SHOWN = 40  # characters of bad input repeated in a message


def length(text: str) -> float:
    """The length in mm that `text` stands for: ``12.5``, ``12,5``, ``-8``, ``12.5mm``, ``4.25in``.

    Raises InputError ``units.length`` for anything else, NaN and infinity among them.
    """
    found = _read([text])
    if found is None:
        raise _refusal("length", text, "a length", "12.5, 12.5mm or 4.25in")
    return found[0]


def lengths(text: str, *counts: int, example: str = "23/21") -> tuple[float, ...]:
    """Lengths in mm with ``/`` between them, ``24/22,5``: as many as one of `counts`.

    Semicolons or blanks serve as well; so do commas, but only where the count tells them from
    decimal ones: ``23,5`` is one length where one is allowed, and ``23,21`` is refused there.  A
    unit after the last serves all.  Raises InputError ``units.lengths``.
    """
    words = _BETWEEN.split(text.strip())
    if len(words) == 1 and 1 not in counts:
        words = words[0].split(",")
    elif len(words) == 1 and (found := _TWO.fullmatch(words[0])):
        one, other, unit = found.groups(default="")
        message = f"{_quoted(text)} is one length or two"
        hint = f"Write {one}.{other}{unit} for one, or {one}/{other}{unit} for two."
        raise InputError.of("units.lengths", message, hint=hint)
    values = _read(words)
    if values is None or len(values) not in counts:
        allowed = " or ".join(map(str, counts))
        raise _refusal("lengths", text, f"a list of {allowed} lengths", example)
    return tuple(values)


def degrees(text: str) -> float:
    """The angle that `text` stands for: ``20``, ``12,5°``.  Raises InputError ``units.degrees``."""
    found = _ANGLE.fullmatch(text.strip().replace("−", "-"))
    if not found:
        message = f"{_quoted(text)} is not an angle"
        raise InputError.of("units.degrees", message, hint="Write degrees: 20.")
    return float(found[1].replace(",", "."))


def length_range(text: str) -> tuple[float, float]:
    """Least and greatest length in mm of ``84-112``, ``3.3-4.4in`` or one number for both.

    A unit after the last serves both.  Raises InputError ``units.range``, also for lengths of 0
    or below and for the larger one first.
    """
    ends = _read(_DASH.split(text.strip()))
    if ends is None or len(ends) > 2 or min(ends) <= 0:
        raise _refusal("range", text, "a range of lengths", "84-112, 3.3-4.4in or 98")
    if ends[0] > ends[-1]:
        message = f"{_quoted(text)} ends below its beginning"
        raise InputError.of("units.range", message, hint="Write the smaller length first.")
    return ends[0], ends[-1]


def is_range(text: str) -> bool:
    """Whether `text` is written as a range, ``265-345``, whatever its ends are."""
    return len(_DASH.split(text.strip())) > 1


def sizes(text: str, count: int) -> tuple[float, ...]:
    """`count` positive lengths in mm with ``x`` between them, as ``8x12`` or ``8x12mm``.

    A unit after the last serves all.  Raises InputError ``units.sizes``.
    """
    found = _read(_TIMES.split(text.strip()))
    if found is None or len(found) != count or min(found) <= 0:
        example = "x".join(("220", "220", "250", *["100"] * count)[:count])
        raise _refusal("sizes", text, f"{count} lengths with x between them", example)
    return tuple(found)


def _read(words: list[str]) -> list[float] | None:
    """Each word in mm, or None when one of them is not a length."""
    read = [_LENGTH.fullmatch(word.strip().replace("−", "-")) for word in words]
    matches = [match for match in read if match]
    if len(matches) < len(words):
        return None
    last = matches[-1][2] or "mm"
    units = [_UNITS[(match[2] or last).lower()] for match in matches]
    # 14.2 in is 360.68, not 360.67999999999995
    numbers = [float(match[1].replace(",", ".")) for match in matches]
    found = [round(value * unit, 9) for value, unit in zip(numbers, units, strict=True)]
    return found if all(map(math.isfinite, found)) else None


def _refusal(code: str, text: str, wanted: str, example: str) -> InputError:
    hint = f"Write it as {example}; without a unit it is in mm."
    if re.search(r"[0-9]\s*cm\b", text, re.IGNORECASE):
        hint = f"Write millimetres, not centimetres: {example}."
    return InputError.of(f"units.{code}", f"{_quoted(text)} is not {wanted}", hint=hint)


def _quoted(text: str) -> str:
    return f'"{text}"' if len(text) <= _SHOWN else f'"{text[:_SHOWN]}…"'


def number(value: float, digits: int = 2) -> str:
    """`value` to `digits` decimals, without trailing zeros or a negative zero."""
    text = f"{round(float(value), digits) + 0.0:.{digits}f}"
    return text.rstrip("0").rstrip(".") if digits else text


def fixed(value: float, places: int = 2, sign: str = "") -> str:
    """A number to some decimals, never a negative zero; "?" when it is infinite or none."""
    if not math.isfinite(value):
        return "?"
    return f"{round(float(value), places) + 0.0:{sign}.{places}f}"


def counted(count: int, name: str) -> str:
    """A number of things: 1 hole, 2 holes."""
    return f"{count} {name}" if count == 1 else f"{count} {name}s"


def listed(names: Sequence[str]) -> str:
    """``a, b and c``; nothing of no names."""
    *most, last = names or ("",)
    return f"{', '.join(most)} and {last}" if most else last


def ordinal(place: int) -> str:
    """The place in a row: 1st, 2nd, 3rd, 4th, 11th, 21st."""
    ending = {1: "st", 2: "nd", 3: "rd"}.get(place % 10, "th")
    return f"{place}{'th' if place % 100 in (11, 12, 13) else ending}"

"""One fault in a file, by key path, and the words in which it is reported."""

import difflib
import json
import re
from collections.abc import Iterable
from dataclasses import dataclass

from jiggen.errors import Finding
from jiggen.units import INCH

KeyPath = tuple[str | int, ...]
"""Keys and list indexes (from 0) from the top of a file down to one value."""

_PLAIN_KEY = re.compile(r"[A-Za-z0-9_-]{1,40}")
_PAIRS = {
    "at": ("x", "y"),
    "boot": ("the shortest boot", "the longest boot"),
    "x": ("the rear end", "the front end"),
}


@dataclass(frozen=True)
class Fault:
    """What is wrong at `path`; `code` lacks the prefix of the package (``unknown-key``)."""

    path: KeyPath
    code: str
    message: str
    hint: str = ""

    def finding(self, prefix: str, where: str, key: str) -> Finding:
        """The fault as a finding, with its code as users see it."""
        return Finding(f"{prefix}.{self.code}", self.message, where, key, self.hint)


@dataclass(frozen=True)
class Unit:
    """A unit of length that a file may be written in; `mm` is its size in millimetres."""

    name: str
    mm: float

    def show(self, length: float) -> str:
        """`length`, in mm, as it reads in this unit."""
        return f"{length / self.mm:.6g} {self.name}"


MM = Unit("mm", 1.0)
UNITS = {"mm": MM, "in": Unit("in", INCH)}


def unit_of(data: dict[str, object]) -> Unit:
    """The unit that a file's ``units`` names; where it is misspelt, the one most likely meant."""
    units = data.get("units", "mm")
    near = nearest(units.lower(), UNITS, cutoff=0.3) if isinstance(units, str) else ""
    return UNITS[near or "mm"]


def key_text(path: KeyPath) -> str:
    """`path` as a person reads it, counted from 1: ``group[1].hole[3].at``.

    The two numbers of `at`, `boot` and `x` are one key; the message says which of them is meant.
    """
    if len(path) > 1 and path[-2] in _PAIRS:
        path = path[:-1]
    text = ""
    for part in path:
        if isinstance(part, int):
            text += f"[{part + 1}]"
        else:
            text += f".{part if _PLAIN_KEY.fullmatch(part) else quoted(part)}"
    return text.removeprefix(".")


def part_name(path: KeyPath) -> str:
    """Which of a key's two numbers `path` ends on (``x``, ``y``), or nothing."""
    match path:
        case (*_, str(key), (0 | 1) as last) if key in _PAIRS:
            return _PAIRS[key][last]
    return ""


def shown(value: object) -> str:
    """A TOML value in few words, safe to print: ``"3.6" (text)``."""
    match value:
        case str():
            return f"{quoted(value)} (text)"
        case bool():
            return str(value).lower()
        case int() if abs(value) > 10**15:
            return "a number of many digits"
        case int() | float():
            return f"{value:.6g}"
        case list():
            return f"a list of {len(value)}"
    return "a table" if isinstance(value, dict) else "a date or time"


def quoted(text: str, longest: int = 40) -> str:
    """`text` in double quotes, cut to length, with nothing in it that a terminal acts on."""
    cut = text if len(text) <= longest else f"{text[:longest]}…"
    safe = json.dumps(cut, ensure_ascii=False)
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in safe)


def nearest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """The known word nearest to `word`, or nothing when none is near."""
    close = difflib.get_close_matches(word[:60], list(known), n=1, cutoff=cutoff)
    return close[0] if close else ""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """The beginning of a hint, ``Did you mean "boot"?`` and a space, or nothing."""
    guess = nearest(word, known)
    return f"Did you mean {quoted(guess)}? " if guess else ""


def in_words(message: str) -> str:
    """What a validator of pydantic says of a value, in plain words that follow the value's key."""
    plain = {"Field required": "is missing", "Extra inputs are not permitted": "is not known here"}
    words = plain.get(message, message.removeprefix("Value error, "))
    return words.replace("Input should", "must").partition(", unable to parse")[0]


def hidden(text: str, apart_from: str = "") -> str:
    """A message about the first character that shows nothing or reverses the text, if any.

    `str.isprintable` is False for control and format characters, bidi controls among them.
    """
    found = (c for c in text if not c.isprintable() and c not in apart_from)
    return next((f"character U+{ord(c):04X} cannot be printed" for c in found), "")

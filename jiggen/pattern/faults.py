"""One fault in a pattern, by key path, and how a technician reads it."""

from __future__ import annotations

import difflib
import json
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Self

from jiggen.pattern.positions import KeyPath

_PLAIN_KEY = re.compile(r"[A-Za-z0-9_-]{1,40}")
_KINDS: dict[type, str] = {
    str: "text",
    int: "a number",
    float: "a number",
    list: "a list",
    dict: "a table",
}
_PAIRS = {
    "at": ("x", "y"),
    "boot": ("the shortest boot", "the longest boot"),
    "x": ("the rear end", "the front end"),
}


@dataclass(frozen=True)
class Fault:
    """What is wrong at `path`; `code` lacks the room (``unknown-key``)."""

    path: KeyPath
    code: str
    message: str
    hint: str = ""


class Faults:
    """The faults found so far; ``path in faults`` asks whether `path` stands for anything.

    It does not when a fault lies at it, in it or around it, and then nothing more is to be
    concluded from it.
    """

    def __init__(self) -> None:
        self._found: list[Fault] = []
        self._at: set[KeyPath] = set()
        self._around: set[KeyPath] = set()

    def __iadd__(self, found: Iterable[Fault]) -> Self:
        for fault in tuple(found):  # all of them first: finding may ask what is here already
            self._found.append(fault)
            self._at.add(fault.path)
            self._around.update(fault.path[:depth] for depth in range(1, len(fault.path)))
        return self

    def __iter__(self) -> Iterator[Fault]:
        return iter(self._found)

    def __len__(self) -> int:
        return len(self._found)

    def __contains__(self, path: object) -> bool:
        if not isinstance(path, tuple):
            return False
        return path in self._around or any(path[:n] in self._at for n in range(len(path) + 1))


@dataclass(frozen=True)
class Unit:
    """A unit of length a file may be written in; `mm` is its size in millimetres."""

    name: str
    mm: float

    def show(self, length: float) -> str:
        """`length`, in mm, as it reads in this unit."""
        return f"{length / self.mm:.6g} {self.name}"


# 1 in = 25.4 mm exactly: international yard and pound agreement, 1959; ISO 31-1.
UNITS = {"mm": Unit("mm", 1.0), "in": Unit("in", 25.4)}


def key_text(path: KeyPath) -> str:
    """`path` as a person reads it, counted from 1: ``group[1].hole[3].at``.

    The two numbers of `at`, `boot` and `x` are one key; which of them is meant, the message says.
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
    last = path[-1] if path else ""
    if len(path) > 1 and isinstance(last, int) and path[-2] in _PAIRS and last < 2:
        return _PAIRS[str(path[-2])][last]
    return ""


def shown(value: object) -> str:
    """A TOML value in few words, safe to print: ``"3.6" (text)``."""
    kind = _KINDS.get(type(value), "a date or time")
    if isinstance(value, str):
        return f"{quoted(value)} ({kind})"
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int) and abs(value) > 10**15:
        return "a number of many digits"
    if isinstance(value, int | float):
        return f"{value:.6g}"
    if isinstance(value, list):
        return f"a list of {len(value)}"
    return kind


def word(value: object) -> str:
    """A value where text is looked for: the text itself, or what :func:`shown` says of another."""
    return value if isinstance(value, str) else shown(value)


def quoted(text: str, longest: int = 40) -> str:
    """`text` in double quotes, cut to length, with nothing in it that a terminal acts on."""
    cut = text if len(text) <= longest else f"{text[:longest]}…"
    safe = json.dumps(cut, ensure_ascii=False)
    return "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in safe)


def nearest(word: str, known: Iterable[str], cutoff: float = 0.6) -> str:
    """The known word nearest to `word`, or nothing when none is near."""
    close = difflib.get_close_matches(word[:60], list(known), n=1, cutoff=cutoff)
    return close[0] if close else ""

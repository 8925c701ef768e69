"""Line and column of every key and list value in a TOML text.

`tomllib` gives values without places.  This scan gives the places and leaves judging the text
to `tomllib`: it may only be run on text that `tomllib` has read, so it never has to ask
whether something is TOML, only where it is.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Iterator
from itertools import accumulate
from typing import NamedTuple

KeyPath = tuple[str | int, ...]
"""Keys and list indexes (from 0) from the top of a file down to one value."""

DEEPEST = 12
"""Paths longer than this are left out: no file of ours has them, and they could fill the memory."""

_BLANK = re.compile(r"(?:[ \t\n]|#[^\n]*)*")
_SPACE = re.compile(r"[ \t]*")
_BARE_KEY = re.compile(r"[A-Za-z0-9_-]+")
_SCALAR = re.compile(r"[^,\]}\n#]+")
# Longest opening first. A multi-line string may end in up to five quotes, two of them its own.
_STRING = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'",
    re.DOTALL,
)


class Place(NamedTuple):
    """Line and column in a text, both counted from 1, columns in characters."""

    line: int
    column: int


def find_places(text: str) -> dict[KeyPath, Place]:
    """Place of every key path in `text`, which must be TOML that `tomllib` reads.

    A key is placed at its own first character, a table at the header that opens it, a list's
    value at the value.  Tables made in passing (``a`` in ``[a.b]``) are placed where they are
    first named.  Paths end at `DEEPEST` parts.  RecursionError on lists nested
    beyond Python's own limit.
    """
    text = text.replace("\r\n", "\n")  # as tomllib does, so that both count the same columns
    starts = [0, *accumulate(len(line) + 1 for line in text.split("\n"))]
    places = {}
    for path, offset in _Scan(text).document().items():
        line = bisect_right(starts, offset)
        places[path] = Place(line, offset - starts[line - 1] + 1)
    return places


class _Scan:
    """One pass over a text, noting the offset at which each key path first appears."""

    def __init__(self, text: str) -> None:
        self._text = text
        self._at = 0
        self._offsets: dict[KeyPath, int] = {}
        self._tables: dict[KeyPath, int] = {}  # entries so far of each [[array of tables]]

    def document(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        self._skip(_BLANK)
        while self._at < len(self._text):
            if self._text[self._at] == "[":
                table = self._header()
            else:
                self._pair(table)
            self._skip(_BLANK)
        return self._offsets

    def _header(self) -> KeyPath:
        start = self._at
        brackets = 2 if self._text.startswith("[[", start) else 1
        self._at += brackets
        path: KeyPath = ()
        keys = [key for key, _ in self._key()]
        for depth, key in enumerate(keys, start=1):
            path = self._note(path, key, start)
            if depth == len(keys) and brackets == 2:
                self._tables[path] = self._tables.get(path, 0) + 1
            if path in self._tables:
                path = self._note(path, self._tables[path] - 1, start)
        self._at += brackets
        return path

    def _pair(self, path: KeyPath) -> None:
        for key, start in self._key():
            path = self._note(path, key, start)
        self._at += 1  # the equals sign
        self._skip(_SPACE)
        self._value(path)

    def _key(self) -> Iterator[tuple[str, int]]:
        """The parts of a dotted key with their offsets; ends on what follows the key."""
        while True:
            self._skip(_SPACE)
            start = self._at
            if self._text[start] in "\"'":
                yield tomllib.loads(f"key = {self._skip(_STRING)}")["key"], start
            else:
                yield self._skip(_BARE_KEY), start
            self._skip(_SPACE)
            if self._text[self._at] != ".":
                return
            self._at += 1

    def _value(self, path: KeyPath) -> None:
        opening = self._text[self._at]
        if opening == "[":
            for index, start in enumerate(self._entries("]")):
                self._value(self._note(path, index, start))
        elif opening == "{":
            for _ in self._entries("}"):
                self._pair(path)
        else:
            self._skip(_STRING if opening in "\"'" else _SCALAR)

    def _entries(self, closing: str) -> Iterator[int]:
        """Stop at each entry of a list or inline table; the caller scans it before going on."""
        self._at += 1  # the opening bracket
        self._skip(_BLANK)
        while self._text[self._at] != closing:
            yield self._at
            self._skip(_BLANK)
            if self._text[self._at] == ",":
                self._at += 1
                self._skip(_BLANK)
        self._at += 1

    def _note(self, path: KeyPath, part: str | int, start: int) -> KeyPath:
        """The path to `part` of `path`, noted at `start` unless it was seen before."""
        if len(path) == DEEPEST:
            return path
        path = (*path, part)
        self._offsets.setdefault(path, start)
        return path

    def _skip(self, what: re.Pattern[str]) -> str:
        found = what.match(self._text, self._at)
        assert found is not None, f"offset {self._at}: text was not checked by tomllib"
        self._at = found.end()
        return found[0]

"""Readings typed on a page into a form of the command line's: what it asks for, and what is in it.

The form stays a file that a person can fill in too; a page shows a field for each of its values.
"""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import reduce
from typing import Any

from jiggen.desk.forms import Words
from jiggen.errors import Finding
from jiggen.files import parse_toml
from jiggen.inputs.document import Document, FileKind, parse_document
from jiggen.inputs.faults import KeyPath, key_text
from jiggen.inputs.form import blanks, cell_of, filled
from jiggen.inputs.shape import number_in
from jiggen.report.where import SEPARATOR
from jiggen.units import fixed

TYPED = "typed"
"""In an address: it holds all that was entered; without it the file does."""
ANSWERS = ("value", "bush_fit", "slide")  # what is asked for, filled in or not


@dataclass(frozen=True)
class Row:
    """A value that a form asks for; `place` is what a caliper is laid on, by names: ``a~b``.

    `fits` is what the reading should be by all others, and how far it is off.
    """

    path: KeyPath
    place: str
    name: str
    words: str
    entered: str
    faults: tuple[Finding, ...] = ()
    fits: str = ""

    @property
    def read(self) -> bool:
        """Whether there is a number in it."""
        return number_in(self.entered) is not None

    def against(self, off: float) -> str:
        """What it should be when it is `off` by so much, to the decimals that were typed."""
        value = number_in(self.entered) or 0.0
        places = max(2, len(self.entered.replace(",", ".").partition(".")[2].strip()))
        return f"fits {fixed(value - off, places)}, off {fixed(off, places, '+')}"


@dataclass(frozen=True)
class TypedForm:
    """A form as it was entered: its TOML, what stands above all readings, and every reading."""

    text: str
    head: tuple[Row, ...]
    rows: tuple[Row, ...]

    @property
    def open(self) -> int:
        """How many readings are not there yet."""
        return sum(row.path[0] != "fits" and not row.entered for row in self.rows)

    @property
    def places(self) -> list[list[Row]]:
        """The readings, those of one place together."""
        found: list[list[Row]] = []
        for row in self.rows:
            if not found or found[-1][0].place != row.place:
                found.append([])
            found[-1].append(row)
        return found

    def document(self, file: str, kind: FileKind) -> Document:
        """It, as if it had been read from `file`.  Raises InputError."""
        return parse_document(self.text, file, kind)

    def judged(self, findings: Sequence[Finding]) -> tuple[TypedForm, tuple[Finding, ...]]:
        """It with what is wrong beside each row, and what belongs to none."""
        rest = list(findings)

        def with_faults(row: Row) -> Row:
            keys = {key_text(row.path), key_text(row.path[:-1])}
            own = [one for one in rest if one.key and one.key in keys]
            rest[:] = [one for one in rest if one not in own]
            return replace(row, faults=tuple(replace(one, where="", key="") for one in own))

        head, rows = (tuple(map(with_faults, some)) for some in (self.head, self.rows))
        return TypedForm(self.text, head, rows), tuple(replace(one, where="") for one in rest)

    def fitted(
        self, kinds: Sequence[str], off: Sequence[float], wrong: int | None, why: Finding | None
    ) -> TypedForm:
        """It with what each reading should be; the row that is `wrong` says `why`.

        `off` is how far each reading that was taken is off, in the caliper's unit, kind by kind
        in the order of `kinds`.
        """
        read = [row for kind in kinds for row in self.rows if row.path[0] == kind and row.read]
        judged = {row.path: row.against(one) for row, one in zip(read, off, strict=True)}
        bad = read[wrong].path if wrong is not None and why else None
        rows = [
            replace(
                row,
                fits=judged.get(row.path, ""),
                faults=(replace(why, where=""),) if why and row.path == bad else row.faults,
            )
            for row in self.rows
        ]
        return replace(self, rows=tuple(rows))


def typed_form(text: str, words: Words, head: Mapping[str, str]) -> TypedForm:
    """The form whose TOML is `text`, with what was entered by `words`.

    `head` are the keys that hold for all readings, with what is allowed in each.
    """
    data = parse_toml(text)
    above = [_row((key,), key, about, data, words) for key, about in head.items() if key in data]
    rows = list(_rows(text, data, words))
    for row, before in ((row, _at(data, row.path)) for row in (*above, *rows)):
        entered = row.entered or (cell_of(before) if len(row.path) == 1 else "")
        if entered != cell_of(before):
            text = filled(text, row.path, _toml(entered))
    return TypedForm(text, tuple(above), tuple(rows))


def _rows(text: str, data: Any, words: Words) -> Iterator[Row]:
    times: dict[str, int] = {}
    for blank in blanks(text, *ANSWERS):
        place = _place(data, blank.path)
        times[place] = times.get(place, 0) + 1
        again = f".{times[place]}" if times[place] > 1 else ""
        row = _row(blank.path, f"r.{place}{again}", blank.words, data, words)
        yield replace(row, place=place)


def _row(path: KeyPath, name: str, about: str, data: Any, words: Words) -> Row:
    before = cell_of(_at(data, path))
    entered = " ".join(words.get(name, ())) if TYPED in words else before
    return Row(path, name, name, about, entered)


def _place(data: Any, path: KeyPath) -> str:
    row = _at(data, path[:-1])
    if path[0] == "fits":
        return str(path[-1])
    ends = row.get("between") or [row[key] for key in ("of", "direction") if key in row]
    return SEPARATOR.join(ends or ["height", f"{row['asked']:g}"])


def _at(data: Any, path: KeyPath) -> Any:
    return reduce(lambda inside, part: inside[part], path, data)


def _toml(entered: str) -> str:
    """What was entered as TOML: numbers as such, anything else as text."""
    numbers = [number_in(word) for word in entered.split()]
    if not numbers or None in numbers:
        return json.dumps(entered, ensure_ascii=False)
    return repr(numbers[0]) if len(numbers) == 1 else repr(numbers)

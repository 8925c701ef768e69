"""A CSV table of old holes, as a spreadsheet writes it, taken apart into values and places.

The first line names the columns: ``x`` and ``y``, and where wanted ``diameter`` and
``plugged``.  A name may say the column's unit, ``x (in)``; a cell may say its own, ``4.25in``;
otherwise lengths are in mm.  Cells are parted by commas, semicolons or tabs, and by the latter
two a decimal comma is read as a point.  Empty lines and lines that begin with ``#`` are passed
over.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from jiggen.errors import Finding, InputError
from jiggen.pattern.faults import Fault, nearest, quoted
from jiggen.pattern.positions import KeyPath
from jiggen.units import length

COLUMNS = ("x", "y", "diameter", "plugged")
NEEDED = ("x", "y")
YES = frozenset({"yes", "y", "true", "1", "x", "plugged"})
NO = frozenset({"no", "n", "false", "0", "open", ""})

_NAME = re.compile(r"(.*?)\s*(?:\(\s*(mm|in)\s*\))?")
_PLAIN_NUMBER = re.compile(r".*[0-9.]")
_NAMING = f"The first line names the columns: {','.join(COLUMNS)}."


@dataclass
class Table:
    """The holes as a TOML file would have them, in mm, with what is wrong so far.

    A hole's key path is ("hole", h), that of the first line's names ("columns", name).
    """

    header_line: int = 1
    lines: list[int] = field(default_factory=list)  # of each hole
    holes: list[dict[str, Any]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)

    def where(self, path: KeyPath) -> tuple[int, int]:
        """The line that `path` stands on, from 1, and 0 for a column that is not known."""
        hole = path[1] if path[0] == "hole" and len(path) > 1 else None
        return (self.lines[hole] if isinstance(hole, int) else self.header_line), 0

    def key(self, path: KeyPath) -> str:
        """The name of the column that `path` stands in, or nothing for a whole line."""
        inside = path[2:] if path[0] == "hole" else path[1:]
        if inside[:1] == ("at",):
            return "x, y" if len(inside) == 1 else NEEDED[int(inside[1])]
        column = str(inside[0]) if inside else ""
        return column if column in COLUMNS else quoted(column) if column else ""


class _Column(NamedTuple):
    name: str
    unit: str  # mm, in, or nothing


def read_table(text: str) -> Table:
    """Take a CSV `text` apart; nothing is raised, every fault is in the result."""
    written = (
        (number, line)
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    )
    table = Table()
    table.header_line, header = next(written, (1, ",".join(NEEDED)))
    delimiter = next((mark for mark in ";\t" if mark in header), ",")
    columns = [_column(cell) for cell in _cells(header, delimiter)]
    table.faults += _misnamed([column.name for column in columns])
    if table.faults:
        return table
    for h, (number, line) in enumerate(written):
        cells = _cells(line, delimiter)
        if delimiter != ",":
            cells = [cell.replace(",", ".") for cell in cells]
        hole, faults = _hole(columns, cells, ("hole", h))
        table.lines.append(number)
        table.holes.append(hole)
        table.faults += faults
    return table


def _cells(line: str, delimiter: str) -> list[str]:
    """The cells of one line; none runs over several lines, so that lines can be counted."""
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=delimiter))]
    except csv.Error:  # a cell as long as a book: it is no number, as it stands
        return line.split(delimiter)


def _column(cell: str) -> _Column:
    found = _NAME.fullmatch(cell.lower())
    return _Column(found[1], found[2] or "") if found else _Column(cell, "")


def _misnamed(names: Sequence[str]) -> Iterator[Fault]:
    for place, name in enumerate(names):
        if name not in COLUMNS:
            guess = nearest(name, COLUMNS)
            meant = f"Did you mean {quoted(guess)}? " if guess else ""
            said = f"unknown column {quoted(name)}"
            yield Fault(("columns", name), "unknown-key", said, meant + _NAMING)
        elif name in names[:place]:
            said = f"two columns are called {quoted(name)}"
            yield Fault(("columns", name), "same-name", said, _NAMING)
    for name in NEEDED:
        if name not in names:
            said = f"the column {quoted(name)} is missing"
            yield Fault(("columns", name), "missing-key", said, _NAMING)


def _hole(
    columns: Sequence[_Column], cells: Sequence[str], path: KeyPath
) -> tuple[dict[str, Any], list[Fault]]:
    """One line's hole and faults; where x or y is faulty, 0 stands in for it."""
    if len(cells) > len(columns):
        said = f"{len(cells)} cells under {len(columns)} column names"
        hint = "Decimals take a point, or the cells are parted by semicolons."
        return {"at": [0.0, 0.0]}, [Fault((*path, "at"), "cells", said, hint)]
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    for column, cell in zip(columns, (*cells, *[""] * len(columns)), strict=False):
        place = (*path, "at", NEEDED.index(column.name)) if column.name in NEEDED else None
        try:
            values[column.name] = _value(column, cell)
        except InputError as error:
            [found] = error.findings
            faults.append(Fault(place or (*path, column.name), "value", found.message, found.hint))
        else:
            if place and values[column.name] is None:
                faults.append(Fault(place, "missing-key", f"no {column.name} is given"))
    at = [values.pop(name, None) or 0.0 for name in NEEDED]
    return {"at": at} | {name: value for name, value in values.items() if value is not None}, faults


def _value(column: _Column, cell: str) -> float | bool | None:
    """What a cell says; None where it is empty.  Raises InputError."""
    if column.name == "plugged":
        return _plugged(cell)
    if not cell:
        return None
    return length(f"{cell} {column.unit}" if _PLAIN_NUMBER.fullmatch(cell) else cell)


def _plugged(cell: str) -> bool:
    word = cell.lower()
    if word in YES | NO:
        return word in YES
    message = f"{quoted(cell)} does not say whether the hole is plugged"
    raise InputError(Finding("units.choice", message, hint="Write yes or no."))

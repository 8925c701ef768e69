"""Holes from a CSV table: x, y, diameter; a header is optional, y grows upwards."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.importing.model import Circle, Drawing
from jiggen.importing.source import fault, read_bytes, text_of
from jiggen.pattern.faults import quoted

COLUMNS = {
    "x": "x",
    "y": "y",
    "diameter": "diameter",
    "dia": "diameter",
    "d": "diameter",
    "ø": "diameter",
}
ORDER = ("x", "y", "diameter")
HINT = "A row is x, y, diameter, each a number; a first row with these names may stand over them."


def read_table(path: Path) -> Drawing:
    """Read the CSV file at `path`, its numbers in mm unless a person says otherwise.

    Columns are told apart by commas, semicolons or tabs, whichever comes first in the file;
    where it is not the comma, numbers may have a decimal comma.  Lines that begin with ``#``
    are passed over.  Faults of single rows go into the drawing's `faults`.

    Raises InputError (see `source`) when the file cannot be read.
    """
    file = str(path)
    lines = text_of(read_bytes(path), file).splitlines()
    rows = [
        (number, line)
        for number, line in enumerate(lines, start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise InputError(fault("empty", "there is no row in it", file, hint=HINT))
    mark = next((c for c in rows[0][1] if c in ",;\t"), ",")
    cells = [(number, _cells(line, mark)) for number, line in rows]
    order, begin = _columns(cells[0][1])
    read = [_row(row, order, mark, f"{file}:{number}") for number, row in cells[begin:]]
    return Drawing(
        file=file,
        circles=tuple(item for item in read if isinstance(item, Circle)),
        unit=1.0,
        said="mm, as nothing else is said",
        faults=tuple(item for item in read if isinstance(item, Finding)),
    )


def _cells(line: str, mark: str) -> list[str]:
    try:
        return [cell.strip() for cell in next(csv.reader([line], delimiter=mark))]
    except csv.Error:  # a cell as long as a book: it is no number, as it stands
        return line.split(mark)


def _columns(first: Sequence[str]) -> tuple[list[str], int]:
    """Names of the columns, and the index of the first row of numbers."""
    words = [cell.lower().split("(")[0].split("[")[0].strip() for cell in first]
    names = [COLUMNS.get(word, "") for word in words]
    if {"x", "y"} <= set(names):
        return names, 1
    return list(ORDER), 0


def _row(row: Sequence[str], order: Sequence[str], mark: str, where: str) -> Circle | Finding:
    found = dict(zip(order, row, strict=False))
    numbers = {}
    for name in ORDER:
        said = found.get(name, "")
        number = _number(said, mark)
        if number is None:
            what = f"{quoted(said)} is no number for {name}" if said else f"{name} is missing"
            return fault("row", what, where, hint=HINT)
        numbers[name] = number
    name = f"hole at ({numbers['x']:g}, {numbers['y']:g})"
    return Circle(numbers["x"], numbers["y"], numbers["diameter"], name, where)


def _number(word: str, mark: str) -> float | None:
    try:
        value = float(word if mark == "," else word.replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None

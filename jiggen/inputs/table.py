"""Tables of words, as spreadsheets save them: CSV, or a workbook (.xlsx).

The first row names the columns, in any writing of capitals, spaces and hyphens; a name may say
the unit of its column, ``boot (in)``.  Other columns are passed over, with a note, unless they
look like a misspelt one.  Cells are separated by commas, semicolons or tabs; lengths stay as they
are written, for `jiggen.units` to read.  Empty rows are skipped, and lines that begin with ``#``
above the names; below them only where the reader asks for it.
"""

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from jiggen.errors import Finding
from jiggen.inputs.document import FileKind, Place, Source, read_text
from jiggen.inputs.faults import Fault, KeyPath, did_you_mean, nearest, part_name, quoted
from jiggen.inputs.workbook import OTHERS, SUFFIX, rows_of
from jiggen.progress import note

_ABOVE = re.compile(
    r"\s*+(?:#.*+\s*+|sep=\S\s*+)?", re.IGNORECASE
)  # sep= is for spreadsheets alone
_UNIT = re.compile(r"[(\[]\s*+(mm|in)\s*+[)\]]\Z", re.IGNORECASE)  # at the end of a name
_BARE = re.compile(r".*[0-9.]\s*")  # a number with no unit of its own
TABLES = (".csv", SUFFIX)
_MISSPELT = 0.7  # so like the name of a column that is not there: of 1


@dataclass(frozen=True)
class Columns:
    """Which columns a table may have.

    `others` are further names for them.  `lengths` may have a unit in their name.  `optional`:
    a table may do without the names, and then has these columns in this order.  `comments`:
    lines with ``#`` may follow below the names too.
    """

    names: tuple[str, ...]
    needed: tuple[str, ...]
    lengths: tuple[str, ...]
    others: Mapping[str, str] = field(default_factory=dict)
    optional: bool = False
    comments: bool = False

    @property
    def naming(self) -> str:
        """How columns are called, for a hint."""
        needed = ", ".join(self.needed)
        return f"Columns are called {', '.join(self.names)}; needed: {needed}."


@dataclass(frozen=True)
class Row:
    """One row: its first line in the file, its words by column, how many cells are too many."""

    line: int
    cells: dict[str, str]
    width: int = 0


@dataclass(frozen=True)
class Table(Source):
    """A CSV file taken apart; a key path is (anything, row, column …), rows counted from 0.

    `units` are those that the names of its columns say.
    """

    columns: tuple[str, ...]
    units: dict[str, str]
    header: int
    rows: tuple[Row, ...]

    def place(self, path: KeyPath) -> Place:
        """The line that `path` is on."""
        row = path[1] if len(path) > 1 else None
        return Place(self.rows[row].line if isinstance(row, int) else self.header, 0)

    def key(self, path: KeyPath) -> str:
        """The name of the column that `path` is in, or nothing for a whole row."""
        last = path[-1]
        column = part_name(path) or (last if isinstance(last, str) else "")
        return column if column.isidentifier() or not column else quoted(column)

    def too_wide(self, name: str) -> Iterator[Fault]:
        """A fault for each row with more cells than there are columns, at (`name`, row)."""
        for number, row in enumerate(self.rows):
            if row.width:
                message = f"{row.width} cells under {len(self.columns)} column names"
                hint = "Use a decimal point, or separate the cells by semicolons."
                yield Fault((name, number), "cells", message, hint)


def read_table(path: Path, kind: FileKind, columns: Columns) -> Table:
    """The table in the file at `path`: a name ending in ``.xlsx`` is a workbook, any other CSV.

    Raises InputError as `read_text` and `rows_of` do, ``.syntax``, and every fault of the names
    of the columns at once: ``.unknown-column``, ``.same-column``, ``.missing-column``.
    """
    records = _records(path, kind)
    while records and records[0][1][0].startswith("#"):  # as above the names of a CSV file
        del records[0]
    header, named = records[0] if records else (1, list(columns.names))
    units = dict(_column(cell, columns) for cell in named)
    names = [_column(cell, columns)[0] for cell in named]
    if columns.optional and not set(columns.needed[:2]) <= set(names):
        names, units = list(columns.names), {}
    else:
        records = records[1:]
    rows, nameless = [], False
    for line, cells in records:
        if columns.comments and cells[0].startswith("#"):
            continue
        words = dict(zip(names, cells, strict=False))
        nameless |= bool(words.get(""))
        row = {name: words[name] for name in columns.names if name in words}
        for name in columns.lengths:
            if name in row:
                row[name] = _with_unit(row[name], units.get(name, ""))
        too_wide = any(cells[len(names) :])
        rows.append(Row(line, {}, len(cells)) if too_wide else Row(line, row))
    table = Table(str(path), kind, tuple(names), units, header, tuple(rows))
    if not columns.optional:
        table.refuse(_misnamed(names, columns))
    others = [quoted(name) for name in names if name and name not in columns.names]
    if nameless:
        others.append("a column without a name")
    if others:
        message = f"passed over, as no column of such a table: {', '.join(others)}"
        where = f"{path}:{header}"
        note(Finding(f"{kind.prefix}.passed-over", message, where, hint=columns.naming))
    return table


def _records(path: Path, kind: FileKind) -> list[tuple[int, list[str]]]:
    """The rows that are not empty, below the lines above the names, each with its first line."""
    if path.suffix.lower() == SUFFIX:
        return rows_of(path, kind)
    file = str(path)
    if path.suffix.lower() in OTHERS:
        hint = "Save the list as .xlsx or as CSV."
        raise kind.refusal("workbook", f"{path.suffix} is not read", file, hint)
    lines = list(io.StringIO(read_text(path, kind, office=True), newline=""))
    above = next((n for n, line in enumerate(lines) if not _ABOVE.fullmatch(line)), len(lines))
    mark = next((mark for mark in ";\t" if mark in "".join(lines[above : above + 1])), ",")
    reader = csv.reader(lines[above:], delimiter=mark, strict=True)
    records = []
    line = above + 1
    try:
        for cells in reader:
            words = [cell.strip() for cell in cells]
            if any(words):
                records.append((line, words))
            line = above + reader.line_num + 1
    except csv.Error as error:
        hint = "A quotation mark inside a cell is doubled, and the cell is in quotes."
        raise kind.refusal("syntax", f"not CSV: {error}", f"{file}:{line}", hint) from None
    return records


def _column(cell: str, columns: Columns) -> tuple[str, str]:
    """The name of a column, and the unit that it says; an unknown name stays as it is written."""
    found = _UNIT.search(cell)
    words, unit = (cell[: found.start()], found[1]) if found else (cell, "")
    name = re.sub(r"[\s-]+", "_", words.strip().lower())
    name = columns.others.get(name, name)
    if name in columns.names and (name in columns.lengths or not unit):
        return name, unit.lower()
    return cell, ""


def _with_unit(cell: str, unit: str) -> str:
    """A cell with the unit that its column says, where it ends in a bare number."""
    return f"{cell} {unit}" if unit and _BARE.fullmatch(cell) else cell


def _misnamed(names: Sequence[str], columns: Columns) -> Iterator[Fault]:
    lacking = [name for name in columns.names if name not in names]
    broken = any(name in lacking for name in columns.needed)
    for place, name in enumerate(names):
        path: KeyPath = ("columns", name)
        if not name:
            continue
        if name not in columns.names:
            if not broken and not nearest(name.lower(), lacking, _MISSPELT):
                continue
            hint = did_you_mean(name.lower(), columns.names) + columns.naming
            yield Fault(path, "unknown-column", f"unknown column {quoted(name)}", hint)
        elif name in names[:place]:
            message = f"two columns are called {quoted(name)}"
            yield Fault(path, "same-column", message, columns.naming)
    for name in columns.needed:
        if name not in names:
            message = f"the column {quoted(name)} is missing"
            yield Fault(("columns", name), "missing-column", message, columns.naming)

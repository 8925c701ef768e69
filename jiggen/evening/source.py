"""A jobs file taken apart into rows of words: CSV as spreadsheets write it, or TOML.

CSV: the first row names the columns; cells are parted by commas, semicolons or tabs, and by the
latter two a decimal comma is read as a point.  A column may say its unit, ``boot (in)``.  Lines
that begin with ``#`` may stand above the names; below them every row that is not empty is a job,
so that none is passed over.  TOML: ``format = 1`` and a ``[[job]]`` each, with the same names.
"""

from __future__ import annotations

import codecs
import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from jiggen.errors import Finding, InputError
from jiggen.evening.model import COLUMNS, NEEDED
from jiggen.files import parse_toml
from jiggen.pattern.document import Document
from jiggen.pattern.faults import nearest, quoted, shown

MAX_BYTES = 4_000_000
MAX_ROWS = 10_000
LENGTHS = ("boot", "ski_toe", "ski_heel", "shift", "thickness")

_NAMED = re.compile(r"(.*?)\s*(?:[(\[]\s*(mm|in)\s*[)\]])?")
_BARE = re.compile(r".*[0-9.]\s*")  # a number with no unit of its own
_SEPARATOR = re.compile(r"sep=(.)\s*", re.IGNORECASE)  # a first line for spreadsheets alone
_TOML_PLACE = re.compile(r" ?\(at (?:line (\d+), column (\d+)|end of document)\)$")
_NAMING = f"Columns are called {', '.join(COLUMNS)}; the first five are needed."


class Words(NamedTuple):
    """One row's words by column, where it stands (``file:line``), and how its keys begin."""

    said: dict[str, str]
    where: str
    prefix: str = ""


@dataclass(frozen=True)
class Table:
    """All rows, and findings about rows that cannot be taken apart (their words are empty)."""

    rows: tuple[Words, ...]
    faults: tuple[Finding, ...] = ()


class _Column(NamedTuple):
    name: str
    unit: str  # mm, in, or nothing


def read_table(path: Path) -> Table:
    """The rows of the jobs file at `path`; a name ending in ``.toml`` is TOML, any other CSV.

    Raises InputError ``evening.unreadable``, ``.too-big``, ``.encoding``, ``.syntax``,
    ``.too-many-jobs``, ``.no-job``, and every fault of the columns' names at once.
    """
    file = str(path)
    read = _toml if path.suffix.lower() == ".toml" else _csv
    table = read(_text(_bytes(path), file), file)
    if len(table.rows) > MAX_ROWS:
        hint = f"At most {MAX_ROWS:,} are read at once."
        where = table.rows[MAX_ROWS].where
        raise _refusal("too-many-jobs", f"{len(table.rows):,} jobs", where, hint)
    if not table.rows:
        hint = "Each row under the names of the columns is a pair of skis."
        raise _refusal("no-job", "there is no job in it", file, hint)
    return table


def _bytes(path: Path) -> bytes:
    try:
        if path.exists() and not path.is_file():
            raise ValueError("it is not a file")
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte in it, too
        reason = getattr(error, "strerror", None) or str(error)
        hint = "Check the name, the folder and your right to read the file."
        raise _refusal("unreadable", f"cannot be read: {reason}", str(path), hint) from None
    if len(data) > MAX_BYTES:
        hint = "A list of jobs is a few kilobytes: is this the right file?"
        said = f"larger than {MAX_BYTES:,} bytes (4 MB)"
        raise _refusal("too-big", said, str(path), hint)
    return data


def _text(data: bytes, file: str) -> str:
    """UTF-8, or UTF-16 where a byte-order mark says so: some spreadsheets save text like that."""
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        return data.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        said = f"byte {error.start + 1} (0x{data[error.start]:02x}) is not {error.encoding} text"
        hint = "Save it as “CSV UTF-8”: read in another encoding, names would come out wrong."
        raise _refusal("encoding", said, f"{file}:{line}", hint) from None


# -- CSV -----------------------------------------------------------------------------------------


def _csv(text: str, file: str) -> Table:
    lines = list(io.StringIO(text, newline=""))
    above = next((n for n, line in enumerate(lines) if _is_header(line)), len(lines))
    mark = next((mark for mark in ";\t" if mark in "".join(lines[above : above + 1])), ",")
    records = list(_records(lines, above, mark, file))
    if not records:
        raise _refusal("no-job", "there is no row in it", file, _NAMING)
    number, header = records[0]
    columns = [_column(cell) for cell in header]
    if faults := tuple(_misnamed([column.name for column in columns], f"{file}:{number}")):
        raise InputError(faults)
    rows, broken = [], []
    for line, cells in records[1:]:
        where = f"{file}:{line}"
        said: dict[str, str] = {}
        if any(cell for cell in cells[len(columns) :]):
            broken.append(_too_wide(len(cells), len(columns), where))
        else:
            said = {
                column.name: _with_unit(column, cell, comma=mark != ",")
                for column, cell in zip(columns, cells, strict=False)
            }
        rows.append(Words(said, where))
    return Table(tuple(rows), tuple(broken))


def _is_header(line: str) -> bool:
    """Whether a line is more than what may stand over the names of the columns."""
    words = line.strip()
    return bool(words) and not words.startswith("#") and not _SEPARATOR.fullmatch(words)


def _records(
    lines: Sequence[str], above: int, mark: str, file: str
) -> Iterator[tuple[int, list[str]]]:
    """Every row that is not empty, from line `above` (from 0) on, with its first line (from 1)."""
    reader = csv.reader(lines[above:], delimiter=mark, strict=True)
    while True:
        line = above + reader.line_num + 1
        try:
            cells = [cell.strip() for cell in next(reader)]
        except StopIteration:
            return
        except csv.Error as error:
            hint = "A quotation mark that opens a cell must be closed; in a cell it is doubled."
            raise _refusal("syntax", f"not CSV: {error}", f"{file}:{line}", hint) from None
        if any(cells):
            yield line, cells


def _column(cell: str) -> _Column:
    found = _NAMED.fullmatch(cell.lower())
    name, unit = (found[1], found[2] or "") if found else (cell, "")
    return _Column(re.sub(r"[\s-]+", "_", name), unit)


def _misnamed(names: Sequence[str], where: str) -> Iterator[Finding]:
    for place, name in enumerate(names):
        if not name and not any(names[place:]):
            return  # empty columns at the end say nothing
        if name not in COLUMNS:
            yield _unknown(name, where, name if name.isidentifier() else "")
        elif name in names[:place]:
            said = f"two columns are called {quoted(name)}"
            yield Finding("evening.same-column", said, where, name, _NAMING)
    for name in NEEDED:
        if name not in names:
            said = f"the column {quoted(name)} is missing"
            yield Finding("evening.missing-column", said, where, name, _NAMING)


def _unknown(name: str, where: str, key: str) -> Finding:
    guess = nearest(name.lower(), COLUMNS)
    meant = f"Did you mean {quoted(guess)}? " if guess else ""
    said = f"unknown column {quoted(name)}"
    return Finding("evening.unknown-column", said, where, key, meant + _NAMING)


def _too_wide(cells: int, columns: int, where: str) -> Finding:
    said = f"{cells} cells under {columns} names of columns"
    hint = "Decimals take a point, or the cells are parted by semicolons."
    return Finding("evening.cells", said, where, hint=hint)


def _with_unit(column: _Column, cell: str, *, comma: bool) -> str:
    """A cell with a decimal point for its comma, and the unit that its column says."""
    if column.name not in LENGTHS:
        return cell
    numbers = (cell.replace(",", ".") if comma else cell).split("/")
    return "/".join(
        f"{number} {column.unit}" if column.unit and _BARE.fullmatch(number) else number
        for number in numbers
    )


# -- TOML ----------------------------------------------------------------------------------------


def _toml(text: str, file: str) -> Table:
    try:
        document = Document(file, text, parse_toml(text))
    except ValueError as error:
        found = _TOML_PLACE.search(str(error))
        said = str(error)[: found.start()] if found else str(error)
        where = f"{file}:{found[1]}:{found[2]}" if found and found[1] else file
        hint = "Text stands in quotes, every bracket is closed. Any name but .toml is read as CSV."
        raise _refusal("syntax", f"not TOML: {said}", where, hint) from None
    faults = list(_misshapen(document))
    jobs = document.data.get("job", [])
    rows = []
    for number, job in enumerate(jobs if isinstance(jobs, list) else []):
        row = Words({}, _place(document, ("job", number)), f"job[{number + 1}].")
        if isinstance(job, dict):
            faults += _job(document, number, job, row)
        else:
            message = f"is {shown(job)}, but must be a table headed [[job]]"
            faults.append(Finding("evening.type", message, row.where, row.prefix[:-1]))
        rows.append(row)
    return Table(tuple(rows), tuple(faults))


def _job(document: Document, number: int, job: Mapping[str, Any], row: Words) -> Iterator[Finding]:
    """Fill the words of `row` from a [[job]]; yields what is wrong with its keys and values."""
    for name, value in job.items():
        where, key = _place(document, ("job", number, name)), f"{row.prefix}{name[:40]}"
        words = _words(value)
        if name not in COLUMNS:
            yield _unknown(name, where, key)
        elif words is None:
            message = f"is {shown(value)}, but must be a number or text in quotes"
            yield Finding("evening.type", message, where, key)
        else:
            row.said[name] = words


def _misshapen(document: Document) -> Iterator[Finding]:
    """What is wrong at the top of the file."""
    data = document.data
    hint = "A jobs file has format = 1 and tables headed [[job]]."
    if data.get("format") != 1:
        said = "format = 1 is missing" if "format" not in data else "is not a format that is read"
        yield Finding("evening.format", said, _place(document, ("format",)), "format", hint)
    if not isinstance(data.get("job", []), list):
        said = "must be tables headed [[job]] (double brackets)"
        yield Finding("evening.type", said, _place(document, ("job",)), "job", hint)
    for name in data.keys() - {"format", "job", "note"}:
        where = _place(document, (name,))
        yield Finding("evening.unknown-column", f"unknown key {quoted(name)}", where, hint=hint)


def _place(document: Document, path: tuple[str | int, ...]) -> str:
    at = document.place(path)
    return f"{document.file}:{at.line}:{at.column}"


def _words(value: Any) -> str | None:
    """A value as it would be written in a cell; None for what no cell holds."""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, list) and 1 <= len(value) <= 2:
        words = [_words(item) for item in value if not isinstance(item, list)]
        return "/".join(word for word in words if word) if all(words) else None
    if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e15:
        return None
    return f"{value}"


def _refusal(code: str, message: str, where: str, hint: str) -> InputError:
    return InputError(Finding(f"evening.{code}", message, where, hint=hint))

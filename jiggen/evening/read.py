"""A jobs file and its rows, and everything that is wrong with their words.

CSV (see `jiggen.inputs.table`): every row that is not empty is a pair, so that none is passed
over.  TOML: ``format = 1`` and a ``[[job]]`` each, with the same names.  Every length in mm.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple, TypeVar, get_args

from jiggen.errors import Finding, InputError
from jiggen.inputs.document import Document, FileKind, read_document
from jiggen.inputs.faults import Fault, did_you_mean, hidden, quoted, shown
from jiggen.inputs.table import Columns, read_table
from jiggen.pattern import Core
from jiggen.units import length

T = TypeVar("T")

COLUMNS = (
    *("ticket", "pattern", "boot", "ski_toe", "ski_heel"),
    *("core", "shift", "thickness", "old_holes"),
)
NEEDED = COLUMNS[:5]
LONGEST_TICKET = 40  # characters: it is read at arm's length on the run sheet
LONGEST_NAME = 200  # characters of a pattern's or a file's name
_CORES: tuple[Core, ...] = get_args(Core)
MAX_BYTES = 4_000_000
MAX_ROWS = 10_000
KIND = FileKind("evening", "A list of jobs", MAX_BYTES)
_CSV = Columns(COLUMNS, NEEDED, ("boot", "ski_toe", "ski_heel", "shift", "thickness"))


@dataclass(frozen=True)
class Row:
    """One row: a pair of skis to be mounted.

    `ski_toe` and `ski_heel` are the ski's widths where the toe and the heel piece sit,
    `thickness` its thickness there (none, one, or two values), `old_holes` the file of its
    earlier holes.  `doubts` are the columns that could not be read: their values here are
    stand-ins, and nothing is to be concluded from them.
    """

    number: int
    ticket: str
    pattern: str
    boot: float
    ski_toe: float
    ski_heel: float
    core: Core
    shift: float
    thickness: tuple[float, ...]
    old_holes: Path | None
    doubts: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Place:
    """Where a row stands, ``file:line``, and how the keys of its columns begin."""

    where: str
    prefix: str = ""

    def fault(self, column: str, code: str, message: str, hint: str = "") -> Finding:
        """A finding of this room about a `column` of this row."""
        return Finding(f"evening.{code}", message, self.where, f"{self.prefix}{column}", hint)


@dataclass(frozen=True)
class Jobs:
    """A jobs file as read: rows and places, and the faults of each row.

    `faults` holds (row, finding); a fault of no single row has the row it was found at.
    """

    file: Path
    rows: tuple[Row, ...]
    places: tuple[Place, ...]
    faults: tuple[tuple[int, Finding], ...]


def read_jobs(path: Path) -> Jobs:
    """Read the jobs file at `path`, CSV or TOML.

    What is wrong with single rows is in the result, so that more can be checked beside it.
    Raises InputError where the file as a whole cannot be taken apart.
    """
    table = read_rows(path)
    places = tuple(Place(row.where, row.prefix) for row in table.rows)
    rows = [_Reader(number, row, places[number]) for number, row in enumerate(table.rows)]
    read = tuple(row.read(path.parent) for row in rows)
    broken = {finding.where for finding in table.faults}
    found = [(_row_of(finding, places), finding) for finding in table.faults]
    for row, place in zip(rows, places, strict=True):
        if not (place.where in broken and not row.words):  # not taken apart: reported already
            found += [(row.number, finding) for finding in row.faults]
    found += [(row, finding) for row, finding in _same_tickets(read, places)]
    return Jobs(path, read, places, tuple(found))


def _row_of(finding: Finding, places: tuple[Place, ...]) -> int:
    """The row that a finding of the table belongs to; the first where it is of none."""
    rows = {place.where: number for number, place in enumerate(places)}
    named = {place.prefix: number for number, place in enumerate(places) if place.prefix}
    prefix = finding.key.partition(".")[0] + "."
    return rows.get(finding.where, named.get(prefix, 0))


class _Reader:
    """Reads the words of one row and keeps what is wrong with them."""

    def __init__(self, number: int, words: Words, place: Place) -> None:
        self.number, self.words, self.place = number, words.cells, place
        self.faults: list[Finding] = []
        self.doubts: set[str] = set()

    def read(self, folder: Path) -> Row:
        """The row; files in it are named from `folder`."""
        return Row(
            number=self.number,
            ticket=self._read("ticket", _ticket, ""),
            pattern=self._read("pattern", _name, ""),
            boot=self._read("boot", length, 0.0),
            ski_toe=self._read("ski_toe", length, 0.0),
            ski_heel=self._read("ski_heel", length, 0.0),
            core=self._read("core", _core, _CORES[0]),
            shift=self._read("shift", length, 0.0),
            thickness=self._read("thickness", _thickness, ()),
            old_holes=self._read("old_holes", lambda cell: folder / _name(cell), None),
            doubts=frozenset(self.doubts),
        )

    def _read(self, column: str, read: Callable[[str], T], otherwise: T) -> T:
        """The value of a column; `otherwise` where it is empty or cannot be read."""
        cell = self.words.get(column, "")
        if not cell and column not in NEEDED:
            return otherwise
        try:
            if not cell:
                raise _refusal("empty", "is empty", "It is needed for every pair.")
            if cell.startswith("="):
                hint = "Save the results: copy the column and paste it back as values."
                raise _refusal("formula", f"{quoted(cell)} is a formula, not its result", hint)
            return read(cell)
        except InputError as error:
            self.doubts.add(column)
            for found in error.findings:
                code = found.code.rpartition(".")[2]
                self.faults.append(self.place.fault(column, code, found.message, found.hint))
            return otherwise


def _ticket(cell: str) -> str:
    if message := hidden(cell):
        raise _refusal("ticket", message, "Type the ticket again, without invisible characters.")
    if len(cell) > LONGEST_TICKET:
        hint = f"At most {LONGEST_TICKET} fit on the run sheet."
        raise _refusal("ticket", f"the ticket has {len(cell)} characters", hint)
    if not cell[0].isalnum():
        hint = "A ticket begins with a letter or a digit."
        raise _refusal("ticket", f"the ticket begins with {quoted(cell[0])}", hint)
    return " ".join(cell.split())


def _name(cell: str) -> str:
    if message := hidden(cell):
        raise _refusal("name", message, "Type the name again, without invisible characters.")
    if len(cell) > LONGEST_NAME:
        hint = f"At most {LONGEST_NAME} are read."
        raise _refusal("name", f"the name has {len(cell)} characters", hint)
    return cell


def _core(cell: str) -> Core:
    known: dict[str, Core] = {core: core for core in _CORES}
    if cell.lower() in known:
        return known[cell.lower()]
    hint = "Write metal where a metal sheet lies under the top sheet."
    allowed = f"allowed: {', '.join(known)}"
    message = f"{quoted(cell)} is not a valid core; {allowed}"
    raise _refusal("core", message, did_you_mean(cell.lower(), known) + hint)


def _thickness(cell: str) -> tuple[float, ...]:
    values = tuple(length(word.strip()) for word in cell.split("/"))
    if len(values) > 2:
        hint = "Write one thickness, or two, under the toe and under the heel: 23/21."
        raise _refusal("length", f"{len(values)} thicknesses", hint)
    return values


def _same_tickets(
    rows: tuple[Row, ...], places: tuple[Place, ...]
) -> Iterator[tuple[int, Finding]]:
    """Tickets that a person would take for one another: case and width of letters do not count."""
    first: dict[str, int] = {}
    for row, place in zip(rows, places, strict=True):
        if "ticket" in row.doubts:
            continue
        before = first.setdefault(unicodedata.normalize("NFKC", row.ticket).casefold(), row.number)
        if before != row.number:
            message = f"the ticket {quoted(row.ticket)} is also at {places[before].where}"
            hint = "Each pair needs a ticket of its own: add a letter, 118a and 118b."
            yield row.number, place.fault("ticket", "same-ticket", message, hint)


def _refusal(code: str, message: str, hint: str) -> InputError:
    return InputError(Finding(f"evening.{code}", message, hint=hint))


class Words(NamedTuple):
    """One row's words by column, its place (``file:line``), and how its keys begin."""

    cells: dict[str, str]
    where: str
    prefix: str = ""


@dataclass(frozen=True)
class Rows:
    """All rows, and findings about rows that cannot be taken apart (their words are empty)."""

    rows: tuple[Words, ...]
    faults: tuple[Finding, ...] = ()


def read_rows(path: Path) -> Rows:
    """The rows of the jobs file at `path`; a name ending in ``.toml`` is TOML, any other CSV.

    Raises InputError as `jiggen.inputs` does, ``evening.too-many-jobs`` and ``.no-job``.
    """
    read = _toml if path.suffix.lower() == ".toml" else _csv
    table = read(path)
    if len(table.rows) > MAX_ROWS:
        hint = f"At most {MAX_ROWS:,} are read at once."
        where = table.rows[MAX_ROWS].where
        raise KIND.refusal("too-many-jobs", f"{len(table.rows):,} jobs", where, hint)
    if not table.rows:
        hint = f"Each row below the names of the columns is a pair of skis. {_CSV.naming}"
        raise KIND.refusal("no-job", "there is no job in this file", str(path), hint)
    return table


def _csv(path: Path) -> Rows:
    table = read_table(path, KIND, _CSV)
    rows = tuple(Words(row.cells, f"{table.file}:{row.line}") for row in table.rows)
    return Rows(rows, table.findings(table.too_wide("row")))


def _toml(path: Path) -> Rows:
    document = read_document(path, KIND)
    faults = list(_misshapen(document))
    jobs = document.data.get("job", [])
    rows = []
    for number, job in enumerate(jobs if isinstance(jobs, list) else []):
        row = Words({}, document.where(("job", number)), f"job[{number + 1}].")
        if isinstance(job, dict):
            faults += _job(number, job, row)
        else:
            message = f"is {shown(job)}, but must be a table headed [[job]]"
            faults.append(Fault(("job", number), "type", message))
        rows.append(row)
    return Rows(tuple(rows), document.findings(faults))


def _job(number: int, job: Mapping[str, Any], row: Words) -> Iterator[Fault]:
    """Fill the words of `row` from a [[job]]; yields what is wrong with its keys and values."""
    for name, value in job.items():
        path, words = ("job", number, name), _words(value)
        if name not in COLUMNS:
            hint = did_you_mean(name.lower(), COLUMNS) + _CSV.naming
            yield Fault(path, "unknown-column", f"unknown column {quoted(name)}", hint)
        elif words is None:
            message = f"is {shown(value)}, but must be a number or text in quotes"
            yield Fault(path, "type", message)
        else:
            row.cells[name] = words


def _misshapen(document: Document) -> Iterator[Fault]:
    """What is wrong at the top of the file."""
    data = document.data
    hint = "A jobs file has format = 1 and tables headed [[job]]."
    if data.get("format") != 1:
        message = "format = 1 is missing" if "format" not in data else "is not a valid format"
        yield Fault(("format",), "format", message, hint)
    if not isinstance(data.get("job", []), list):
        yield Fault(("job",), "type", "must be tables headed [[job]] (double brackets)", hint)
    for name in data.keys() - {"format", "job", "note"}:
        yield Fault((name,), "unknown-column", f"unknown key {quoted(name)}", hint)


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

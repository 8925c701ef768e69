"""From a jobs file to its rows, or to everything that is wrong with it.

CSV (see `jiggen.inputs.table`): every row that is not empty is a pair, so that none is
left out.  TOML has ``format = 1`` and a ``[[job]]`` each, with the same names.
"""

import csv
import io
import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field

from jiggen.draw.fonts import plain
from jiggen.errors import Finding, InputError
from jiggen.inputs.document import FileKind, Source, read_document
from jiggen.inputs.document import Place as Spot
from jiggen.inputs.faults import Fault, KeyPath, did_you_mean, hidden, quoted, shown
from jiggen.inputs.shape import Shape, check, fault, validate
from jiggen.inputs.table import Columns, read_table
from jiggen.options import MARK
from jiggen.pattern.model import Core
from jiggen.units import length, lengths

MAX_BYTES = 4_000_000
MAX_ROWS = 10_000
LONGEST_TICKET = 40  # characters: it is read at arm's length on the run sheet
LONGEST_NAME = 200  # characters of a pattern's or a file's name
KIND = FileKind("evening", "A list of jobs", MAX_BYTES)
_CORES: tuple[Core, ...] = get_args(Core)


def _cell(read: Callable[[str], object]) -> BeforeValidator:
    """What `read` makes of the words of a cell."""

    def convert(value: object) -> object:
        words = _words(value)
        if not words:
            raise fault("empty", "is empty", "It is needed for every pair.")
        if words.startswith("="):
            hint = "Save the results: copy the column and paste it back as values."
            raise fault("formula", f"{quoted(words)} is a formula, not its result", hint)
        try:
            return read(words)
        except InputError as error:
            [found] = error.findings
            raise fault("length", found.message, found.hint) from None

    return BeforeValidator(convert)


def _words(value: object) -> str:
    """A value of a TOML file as it would be written in a cell."""
    if isinstance(value, str):
        return value.strip()
    if isinstance(value, list) and 1 <= len(value) <= 2 and not isinstance(value[0], list):
        return "/".join(map(_words, value))
    if isinstance(value, bool) or not isinstance(value, int | float) or abs(value) > 1e15:
        raise fault("type", f"is {shown(value)}, but must be a number or text in quotes")
    return f"{value}"


def _visible(cell: str, what: Literal["ticket", "name"], longest: int) -> str:
    if message := hidden(cell):
        raise fault(what, message, f"Type the {what} again, without invisible characters.")
    if len(cell) > longest:
        hint = f"At most {longest} are allowed."
        raise fault(what, f"the {what} has {len(cell)} characters", hint)
    return cell


def _ticket(cell: str) -> str:
    if not _visible(cell, "ticket", LONGEST_TICKET)[0].isalnum():
        hint = "A ticket begins with a letter or a digit."
        raise fault("ticket", f"the ticket begins with {quoted(cell[0])}", hint)
    return " ".join(cell.split())


def _core(cell: str) -> str:
    if cell.lower() in _CORES:
        return cell.lower()
    hint = "Write metal where a metal sheet lies under the top sheet."
    message = f"{quoted(cell)} is not a valid core; allowed: {', '.join(_CORES)}"
    raise fault("core", message, did_you_mean(cell.lower(), _CORES) + hint)


Name = Annotated[str, _cell(lambda cell: _visible(cell, "name", LONGEST_NAME))]
Length = Annotated[float, _cell(length)]


class Row(Shape):
    """One row: a pair of skis to be mounted; lengths in mm.

    `ski_toe` and `ski_heel` are the ski's widths where the pieces sit, the rails' depth below its
    top sheet (see `jiggen.design.sidewall`), `thickness` none, one or two there, `old_holes` the
    file of its earlier holes, as seen from the jobs file; `mark` says where the ski's mark is.
    """

    ticket: Annotated[str, _cell(_ticket)]
    pattern: Name
    boot: Length
    ski_toe: Length
    ski_heel: Length
    core: Annotated[Core, _cell(_core)] = _CORES[0]
    shift: Length = 0.0
    thickness: Annotated[tuple[float, ...], _cell(lambda cell: lengths(cell, 1, 2))] = ()
    old_holes: Name = ""
    mark: Annotated[tuple[Literal["tail", "chord"], float] | None, _cell(MARK.read)] = None


COLUMNS = tuple(Row.model_fields)
NEEDED = COLUMNS[:5]
# Of a row with faults, in place of the cells that cannot be read: what hangs on it is not said.
_STANDING_IN = dict(zip(NEEDED, ("?", "?", "300", "90", "90"), strict=True))
_CSV = Columns(COLUMNS, NEEDED, ("boot", "ski_toe", "ski_heel", "shift", "thickness"))


class FileShape(Shape):
    """A TOML file; its rows are checked one by one."""

    format: Literal[1] = Field(description="format = 1")
    note: Any = Field(default="", description="any text")
    job: list[Any] = Field(default=[], description="tables headed [[job]] (double brackets)")


@dataclass(frozen=True)
class Place:
    """Where a row is, ``file:line``, and how the keys of its columns begin."""

    where: str
    prefix: str = ""

    def at(self, column: str, finding: Finding) -> Finding:
        """The finding as one about a `column` of this row."""
        return replace(finding, where=self.where, key=f"{self.prefix}{column}")


@dataclass(frozen=True)
class Jobs:
    """A jobs file as read: the valid rows by number, the places of all, and what is wrong.

    `partly` are rows of which some cells are: with something that is not, in place of these, and
    the names of their columns.  `faults` holds (row, finding); a fault of no single row has the
    row it was found at.
    """

    file: Path
    rows: Mapping[int, Row]
    partly: Mapping[int, tuple[Row, frozenset[str]]]
    places: tuple[Place, ...]
    faults: tuple[tuple[int, Finding], ...]


def read_jobs(path: Path) -> Jobs:
    """Read the jobs file at `path`; a name ending in ``.toml`` is TOML, any other CSV.

    What is wrong with single rows is in the result.  Raises InputError for the file as a whole:
    as `jiggen.inputs` does, ``evening.too-many-jobs`` and ``.no-job``.
    """
    read = _toml if path.suffix.lower() == ".toml" else _csv
    return _jobs(path, *read(path))


Cells = dict[str, str]
"""The words of one row by its columns, none that is empty."""


@dataclass(frozen=True)
class Typed(Source):
    """Rows that are in no file yet, each with its number; a key path is (anything, row, column)."""

    numbers: tuple[int, ...]

    def place(self, path: KeyPath) -> Spot:
        """The number of its row."""
        row = path[1] if len(path) > 1 else None
        return Spot(self.numbers[row] if isinstance(row, int) else 0, 0)

    def key(self, path: KeyPath) -> str:
        """The name of its column, nothing for a whole row."""
        return str(path[2]) if len(path) > 2 else ""

    def where(self, path: KeyPath) -> str:
        """``row 3``."""
        return f"row {self.place(path).line}"


def typed_jobs(rows: Mapping[int, Cells], file: Path) -> Jobs:
    """The jobs of rows that were typed, by number; files are named from where `file` will be.

    What is wrong with single rows is in the result.  Raises InputError as `read_jobs`.
    """
    source = Typed(str(file), KIND, tuple(rows))
    return _jobs(file, source, "row", list(rows.values()), [])


def read_cells(path: Path) -> tuple[Cells, ...]:
    """The rows of a table as they are written there, whatever is wrong with their cells.

    Raises InputError for the file as a whole, and for rows with more cells than columns.
    """
    table, _, rows, faults = _csv(path)
    table.refuse(faults)
    return tuple(rows)


def as_csv(rows: Sequence[Cells], above: str = "") -> str:
    """The rows as a table that `read_cells` reads; `above` are words before the names."""
    columns = [name for name in COLUMNS if name in NEEDED or any(row.get(name) for row in rows)]
    stream = io.StringIO()
    if above:
        stream.write(f"# {above}\n")
    writer = csv.DictWriter(stream, columns, restval="", lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return stream.getvalue()


def _jobs(path: Path, source: Source, name: str, rows: list[Any], faults: list[Fault]) -> Jobs:
    if len(rows) > MAX_ROWS:
        hint = f"At most {MAX_ROWS:,} are read at once."
        where = source.where((name, MAX_ROWS))
        raise KIND.refusal("too-many-jobs", f"{len(rows):,} jobs", where, hint)
    if not rows:
        hint = f"Each row below the names of the columns is a pair of skis. {_CSV.naming}"
        raise KIND.refusal("no-job", "there is no job in this file", str(path), hint)
    places = tuple(
        Place(source.where((name, number)), f"job[{number + 1}]." if name == "job" else "")
        for number in range(len(rows))
    )
    valid: dict[int, Row] = {}
    partly: dict[int, tuple[Row, frozenset[str]]] = {}
    for number, row in enumerate(rows):
        if isinstance(row, dict):
            job, wrong = check(Row, dict.fromkeys(NEEDED, "") | row)
            faults += [replace(one, path=(name, number, *one.path)) for one in wrong]
            if job:
                valid[number] = job
                continue
            columns = frozenset(str(one.path[0]) for one in wrong)
            sound = {key: cell for key, cell in row.items() if key not in columns}
            rest, _ = check(Row, _STANDING_IN | sound)
            if rest:
                partly[number] = rest, columns
    tickets = valid | {n: row for n, (row, columns) in partly.items() if "ticket" not in columns}
    faults += _unfit_tickets(dict(sorted(tickets.items())), places, name)
    faults.sort(key=lambda one: source.place(one.path))
    found = tuple((int(one.path[1]), source.findings([one])[0]) for one in faults)
    return Jobs(path, valid, partly, places, found)


def _csv(path: Path) -> tuple[Source, str, list[Any], list[Fault]]:
    """The file, what its rows are called, the cells of each (None of one too wide), faults."""
    table = read_table(path, KIND, _CSV)
    rows = [
        None if row.width else {name: cell for name, cell in row.cells.items() if cell}
        for row in table.rows
    ]
    return table, "row", rows, list(table.too_wide("row"))


def _toml(path: Path) -> tuple[Source, str, list[Any], list[Fault]]:
    document = read_document(path, KIND)
    jobs = validate(FileShape, document, document.data).job
    faults = [
        Fault(("job", number), "type", f"is {shown(job)}, but must be a table headed [[job]]")
        for number, job in enumerate(jobs)
        if not isinstance(job, dict)
    ]
    return document, "job", jobs, faults


def _unfit_tickets(
    rows: Mapping[int, Row], places: tuple[Place, ...], name: str
) -> Iterator[Fault]:
    """Tickets alike but for case and width of letters, and those that cannot be printed."""
    first: dict[str, int] = {}
    for number, row in rows.items():
        at, ticket = (name, number, "ticket"), row.ticket
        before = first.setdefault(unicodedata.normalize("NFKC", ticket).casefold(), number)
        if before != number:
            message = f"the ticket {quoted(ticket)} is also at {places[before].where}"
            hint = "Each pair needs a ticket of its own: add a letter, 118a and 118b."
            yield Fault(at, "same-ticket", message, hint)
        elif (printed := plain(ticket)) != ticket:
            message = f"{printed!r} has characters that the run sheet cannot print"
            hint = "Write it with letters of the Latin, Greek or Cyrillic alphabet, or a number."
            yield Fault(at, "ticket", message, hint)

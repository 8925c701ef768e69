"""From a jobs file to jobs, or to everything that is wrong with its words."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar, get_args

from jiggen.errors import Finding, InputError
from jiggen.evening.model import NEEDED, Job, Jobs, Place
from jiggen.evening.source import Words, read_rows
from jiggen.inputs.faults import did_you_mean, hidden, quoted
from jiggen.pattern import Core
from jiggen.units import length

T = TypeVar("T")

LONGEST_TICKET = 40  # characters: it is read at arm's length on the run sheet
LONGEST_NAME = 200  # characters of a pattern's or a file's name
_CORES: tuple[Core, ...] = get_args(Core)


def read_jobs(path: Path) -> Jobs:
    """Read the jobs file at `path`, CSV or TOML (see `jiggen.evening.source`).

    What is wrong with single rows is in the result, so that more can be checked beside it.
    Raises InputError where the file as a whole cannot be taken apart.
    """
    table = read_rows(path)
    places = tuple(Place(row.where, row.prefix) for row in table.rows)
    rows = [_Row(number, row, places[number]) for number, row in enumerate(table.rows)]
    jobs = tuple(row.job(path.parent) for row in rows)
    broken = {finding.where for finding in table.faults}
    found = [(_row_of(finding, places), finding) for finding in table.faults]
    for row, place in zip(rows, places, strict=True):
        if not (place.where in broken and not row.words):  # not taken apart: reported already
            found += [(row.number, finding) for finding in row.faults]
    found += [(row, finding) for row, finding in _same_tickets(jobs, places)]
    return Jobs(path, jobs, places, tuple(found))


def _row_of(finding: Finding, places: tuple[Place, ...]) -> int:
    """The row that a finding of the table belongs to; the first where it is of none."""
    rows = {place.where: number for number, place in enumerate(places)}
    named = {place.prefix: number for number, place in enumerate(places) if place.prefix}
    prefix = finding.key.partition(".")[0] + "."
    return rows.get(finding.where, named.get(prefix, 0))


class _Row:
    """Reads the words of one row and keeps what is wrong with them."""

    def __init__(self, number: int, words: Words, place: Place) -> None:
        self.number, self.words, self.place = number, words.cells, place
        self.faults: list[Finding] = []
        self.doubts: set[str] = set()

    def job(self, folder: Path) -> Job:
        """The job; files in it are named from `folder`."""
        return Job(
            row=self.number,
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
    jobs: tuple[Job, ...], places: tuple[Place, ...]
) -> Iterator[tuple[int, Finding]]:
    """Tickets that a person would take for one another: case and width of letters do not count."""
    first: dict[str, int] = {}
    for job, place in zip(jobs, places, strict=True):
        if "ticket" in job.doubts:
            continue
        before = first.setdefault(unicodedata.normalize("NFKC", job.ticket).casefold(), job.row)
        if before != job.row:
            message = f"the ticket {quoted(job.ticket)} is also at {places[before].where}"
            hint = "Each pair needs a ticket of its own: add a letter, 118a and 118b."
            yield job.row, place.fault("ticket", "same-ticket", message, hint)


def _refusal(code: str, message: str, hint: str) -> InputError:
    return InputError(Finding(f"evening.{code}", message, hint=hint))

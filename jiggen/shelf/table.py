"""What was done with the jigs of a shelf, as a table (CSV) to keep elsewhere and to read back."""

import csv
import io
import json
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path
from typing import TypeVar

from jiggen.errors import InputError
from jiggen.inputs.document import FileKind
from jiggen.inputs.faults import Fault, quoted
from jiggen.inputs.table import Columns, Row, read_table
from jiggen.marks import read_jig_mark
from jiggen.shelf.events import DOINGS, Event, Tick, in_utc, plain

T = TypeVar("T")
KIND = FileKind("shelf", "An export of a shelf", most=64 * 1024 * 1024)
NAMES = ("mark", "at", "by", "doing", "pairs", "passed", "text", "readings", "run")
TICKED = "ticked"  # what is done in the row of a tick: its text is the box
COLUMNS = Columns(NAMES, NAMES[:4], ())
PASSED = {"": None, "yes": True, "no": False}
MOST_PAIRS = 100_000
EXAMPLE = "2026-01-31T17:05:00+00:00"


def table_of(done: Iterable[Event | Tick]) -> str:
    """What was done as CSV, each in a row, which `read_done` reads as the same."""
    words = {value: word for word, value in PASSED.items()}
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(NAMES)
    for one in done:
        values = dict(vars(one))
        if isinstance(one, Event):
            values |= {"passed": words[one.passed], "pairs": one.pairs or ""}
        else:
            values |= {"doing": TICKED, "text": one.box}
        writer.writerow([values.get(name, "") for name in NAMES])
    return "\ufeff" + text.getvalue()  # spreadsheets take a table without it for another encoding


def read_done(path: Path) -> tuple[Event | Tick, ...]:
    """What was done, of a table.  Raises InputError as `read_table`, and with all that is wrong."""
    table = read_table(path, KIND, COLUMNS)
    done: list[Event | Tick] = []
    faults = [*table.too_wide("event")]
    for number, row in enumerate(table.rows):
        if not row.width:
            wrong = [*_faults(row)]
            faults += [Fault(("event", number, *one.path), *_rest(one)) for one in wrong]
            done += [] if wrong else [_done(row)]
    events = [one for one in done if isinstance(one, Event)]
    times = [(event.mark, event.at) for event in events]
    if len(set(times)) < len(times) and len(set(events)) == len(events):
        again = next(one for place, one in enumerate(times) if one in times[:place])
        message = f"two different things were done with {again[0]} at {again[1]}"
        faults.append(Fault(("event",), "differs", message, "Leave one of the rows out."))
    table.refuse(faults)
    return tuple(dict.fromkeys(done))


def _rest(fault: Fault) -> tuple[str, str, str]:
    return fault.code, fault.message, fault.hint


def _done(row: Row) -> Event | Tick:
    cells = {name: row.cells.get(name, "") for name in NAMES}
    mark, at = read_jig_mark(cells["mark"]), in_utc(datetime.fromisoformat(cells["at"]))
    by = plain(cells["by"])
    if cells["doing"] == TICKED:
        return Tick(cells["run"], cells["text"], mark, at, by)
    doing = next(one for one in DOINGS if one == cells["doing"])
    more = doing, int(cells["pairs"] or 0), PASSED[cells["passed"].lower()]
    return Event(mark, at, by, *more, plain(cells["text"]), cells["readings"])


def _faults(row: Row) -> Iterator[Fault]:
    """What is wrong with a row, each at its column."""
    cells = {name: row.cells.get(name, "") for name in NAMES}
    try:
        read_jig_mark(cells["mark"])
    except InputError as error:
        yield from (Fault(("mark",), "mark", one.message, one.hint) for one in error.findings)
    if not _is_time(cells["at"]):
        hint = f"Write day and time with its zone: {EXAMPLE}."
        yield Fault(("at",), "time", f"{quoted(cells['at'])} is not a valid time", hint)
    if cells["doing"] == TICKED:
        if not (cells["run"] and cells["text"]):
            message = "a box that is ticked off has the name of its run, and its own as text"
            yield Fault(("run",), "run", message, "Leave the row as it was.")
    elif cells["doing"] not in DOINGS:
        message = f"{quoted(cells['doing'])} is nothing that is done with a jig"
        yield Fault(("doing",), "doing", message, f"Allowed: {', '.join((*DOINGS, TICKED))}.")
    number = cells["pairs"].removeprefix("-")
    if number and not (number.isdecimal() and len(number) < 7 and int(number) <= MOST_PAIRS):
        message = f"{quoted(cells['pairs'])} is not a number of pairs"
        yield Fault(("pairs",), "pairs", message, "Write a whole number, or nothing.")
    if cells["passed"].lower() not in PASSED:
        message = f"{quoted(cells['passed'])} does not say whether it passed"
        yield Fault(("passed",), "passed", message, "Write yes, no, or nothing.")
    if cells["readings"] and not _is_json(cells["readings"]):
        yield Fault(("readings",), "readings", "not valid JSON", "Leave the cell as it was.")


def _is_time(words: str) -> bool:
    try:
        return datetime.fromisoformat(words).tzinfo is not None
    except ValueError:
        return False


def _is_json(text: str) -> bool:
    try:
        json.loads(text)
    except (ValueError, RecursionError):
        return False
    return True

"""A jobs file taken apart into rows of words: CSV (see `jiggen.inputs.table`), or TOML.

In a CSV file every row that is not empty is a job, so that none is passed over.  TOML has
``format = 1`` and a ``[[job]]`` each, with the same names.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

from jiggen.errors import Finding
from jiggen.evening.model import COLUMNS, NEEDED
from jiggen.inputs.document import Document, FileKind, read_document
from jiggen.inputs.faults import Fault, did_you_mean, quoted, shown
from jiggen.inputs.table import Columns, read_table

MAX_BYTES = 4_000_000
MAX_ROWS = 10_000
KIND = FileKind("evening", "A list of jobs", MAX_BYTES)
_CSV = Columns(COLUMNS, NEEDED, ("boot", "ski_toe", "ski_heel", "shift", "thickness"))


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

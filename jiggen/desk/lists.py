"""A list of pairs: typed into the address of a page, or a file among the lists of the workshop."""

from __future__ import annotations

import re
import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlencode

from jiggen.errors import InputError
from jiggen.evening.read import KIND, Cells, as_csv, read_cells
from jiggen.files import make_folder, plain_name, write_whole
from jiggen.inputs.table import TABLES
from jiggen.request.evening import JOBS

LISTS = Path("lists")
LONGEST_ADDRESS = 60_000  # characters: a longer list is kept in a file, and the address names it
ROWS = "rows"  # how many rows the page shows
MORE = "more"  # how many more are wanted
SPARE, FEWEST, MOST = 1, 3, 2000  # rows: empty ones at the end, shown at the least, typed at most
_CELL = re.compile(r"([a-z_]+)-([1-9][0-9]{0,4})")
_RUN = re.compile(r"# run ([0-9a-f]{12})\n")
Words = Mapping[str, Sequence[str]]


@dataclass(frozen=True)
class PairList:
    """The rows of a list by number; its file, None before it is saved, and whether it is as there.

    `rest` are the other words of the address.
    """

    rows: dict[int, Cells]
    file: Path | None
    saved: bool
    rest: dict[str, list[str]]
    shown: int = FEWEST

    @property
    def name(self) -> str:
        """The name it was saved under."""
        return self.file.stem if self.file else ""

    @property
    def place(self) -> Path:
        """Where it is, or will be: files that its rows name are looked up from there."""
        return self.file or LISTS / "evening.csv"

    @property
    def options(self) -> dict[str, list[str]]:
        """The words of the options, with the list's file once it is as there."""
        named = {JOBS.name: [self.place.as_posix()]} if self.saved else {}
        return self.rest | named

    @property
    def typed(self) -> bool:
        """Whether it is short enough to stand in an address, and so to be changed on the page."""
        return len(address("", self.rows, self.options)) <= LONGEST_ADDRESS

    @property
    def short(self) -> str:
        """The query of its address: its file if it is as there, else all its rows."""
        return address("", {} if self.saved else self.rows, self.options | self._from)

    @property
    def _from(self) -> dict[str, list[str]]:
        return {JOBS.name: [self.file.as_posix()]} if self.file else {}


def address(path: str, rows: Mapping[int, Cells], options: Words) -> str:
    """The address of a page with all that was entered."""
    pairs = [(name, one) for name, words in options.items() for one in words]
    pairs += [
        (f"{column}-{number}", cell)
        for number, cells in rows.items()
        for column, cell in cells.items()
    ]
    return f"{path}?{urlencode(pairs)}" if path else urlencode(pairs)


def list_of(words: Words) -> PairList:
    """The list that an address holds or names.  Raises InputError for a file that cannot be read.

    Cells that are typed there come before the file, which then is the one they were taken from.
    """
    rows: dict[int, Cells] = {}
    rest: dict[str, list[str]] = {}
    for name, lines in words.items():
        if cell := _CELL.fullmatch(name):
            rows.setdefault(int(cell[2]), {})[cell[1]] = " ".join(lines)
        elif name not in (ROWS, MORE, JOBS.name):
            rest[name] = list(lines)
    rows = dict(sorted(rows.items())[:MOST])
    file = find_list(words[JOBS.name][-1]) if words.get(JOBS.name) else None
    there = dict(enumerate(read_cells(file), start=1)) if file else {}
    if rows or ROWS in words:
        saved = bool(file) and list(rows.values()) == list(there.values())
    else:
        rows, saved = there, bool(file)
    counts = (_count(words, ROWS) + _count(words, MORE), FEWEST, max(rows, default=0) + SPARE)
    return PairList(rows, file, saved, rest, min(max(counts), MOST))


def lists() -> list[Path]:
    """The lists of the workshop, the latest first."""
    found = (path for path in LISTS.glob("*") if path.suffix.lower() in TABLES and path.is_file())
    return sorted(found, key=lambda path: (-path.stat().st_mtime_ns, path.name))


def find_list(name: str) -> Path:
    """The list of that name with its folder.  Raises InputError ``desk.list``."""
    for path in lists():
        if path.as_posix() == Path(name).as_posix():
            return path
    message = "there is no such list in the workshop's folder any more"
    raise InputError.of("desk.list", message, where=name[:200], hint="Choose one that is there.")


def save_list(rows: Mapping[int, Cells], name: str, *, source: Path | None, over: bool) -> Path:
    """Write a list under `name`; the one that it was taken from, `source`, keeps its run.

    Another list is replaced only if that is wanted.  Raises InputError ``desk.list-exists``.
    """
    if not rows:
        message, hint = "there are no pairs in this list", "Type a pair, or drop a table."
        raise InputError.of("desk.list-empty", message, hint=hint)
    path = LISTS / f"{plain_name(name, 'evening')}.csv"
    if path.exists() and not over:
        hint = "Give it another name, or say that it is to be replaced."
        message = "a list of that name exists already"
        raise InputError.of("desk.list-exists", message, where=str(path), hint=hint)
    run = run_of(path) if path.exists() and source == path else ""
    make_folder(LISTS)
    write_whole(path, as_csv([*rows.values()], f"run {run or secrets.token_hex(6)}"))
    return path


def keep_dropped(name: str, rows: Sequence[Cells]) -> Path:
    """Write a table that is too long for an address, under a name that no other list has."""
    words = plain_name(name, "evening")
    return save_list(dict(enumerate(rows, 1)), next(_free(words)), source=None, over=False)


def _free(words: str) -> Iterator[str]:
    names = (words, *(f"{words}-{number}" for number in range(2, 10_000)))
    yield from (name for name in names if not (LISTS / f"{name}.csv").exists())


def run_of(path: Path) -> str:
    """What the pairs of a list that are done are kept under: its own, from when it was begun."""
    try:
        with path.open(encoding="utf-8", errors="replace") as stream:
            found = _RUN.fullmatch(stream.readline(100))
    except OSError:
        found = None
    return found[1] if found else path.as_posix()


def read_table(path: Path) -> tuple[str, tuple[Cells, ...]]:
    """The name and the rows of a table that was dropped.  Raises InputError as `read_cells`."""
    if path.suffix == ".toml":
        hint = "Save the list as .xlsx or as CSV."
        raise KIND.refusal("workbook", f"{path.suffix} is not read here", str(path), hint)
    return path.stem, read_cells(path)


def _count(words: Words, name: str) -> int:
    found = "".join(words.get(name, ())[-1:])
    return int(found) if found.isdecimal() and len(found) < 5 else 0

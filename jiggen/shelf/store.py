"""The shelf's file: SQLite, so that two programs at once lose nothing and a kill leaves it whole.

One row for each print, and one for everything that was done with it; what a print is now follows
from these events.  A change is one transaction, on the disk before it counts.
"""

import json
import sqlite3
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal

from jiggen.errors import InputError
from jiggen.record import read_record
from jiggen.shelf.jigs import OwnedJig, State, owned, pattern_sha_of

SHELF_FILE = Path("jiggen-shelf.sqlite")
APPLICATION = 0x6A696767  # "jigg": SQLite's own field for what a file belongs to
PATIENCE = 20.0  # s to wait for another program that is writing
Doing = Literal[
    "added", "printed", "measured", "in use", "drilled", "new bushes", "retired", "note"
]
MIGRATIONS = (
    """
    CREATE TABLE jigs (
        mark TEXT PRIMARY KEY, kind TEXT NOT NULL, folder TEXT NOT NULL, pattern TEXT NOT NULL,
        pattern_sha TEXT NOT NULL, boots TEXT NOT NULL, skis TEXT NOT NULL, core TEXT NOT NULL,
        side TEXT NOT NULL, shift REAL NOT NULL, printer TEXT NOT NULL, holes INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE events (
        number INTEGER PRIMARY KEY, mark TEXT NOT NULL REFERENCES jigs(mark) ON DELETE CASCADE,
        at TEXT NOT NULL, by TEXT NOT NULL, doing TEXT NOT NULL, pairs INTEGER NOT NULL,
        passed INTEGER, text TEXT NOT NULL
    ) STRICT;
    CREATE INDEX events_of ON events (mark, number);
    """,
    """
    CREATE TABLE ticks (
        run TEXT NOT NULL, box TEXT NOT NULL, mark TEXT NOT NULL, at TEXT NOT NULL,
        by TEXT NOT NULL, PRIMARY KEY (run, box)
    ) STRICT;
    """,
)
"""What brings a file from each version of its schema to the next; never changed, only added to."""


@dataclass(frozen=True)
class Event:
    """What was done: when (UTC, ISO 8601), by whom, how many `pairs`, whether a print `passed`."""

    mark: str
    at: str
    by: str
    doing: Doing
    pairs: int = 0
    passed: bool | None = None
    text: str = ""


class Shelf:
    """An open shelf.  Not for several threads at once: each opens its own."""

    def __init__(self, path: Path, base: sqlite3.Connection) -> None:
        self.path, self._base = path, base

    # ---- what is there

    def jigs(self) -> tuple[OwnedJig, ...]:
        """Every print, by its jig mark."""
        rows = self._base.execute("SELECT * FROM jigs ORDER BY mark")
        return tuple(self._now(row) for row in rows.fetchall())

    def find(self, mark: str) -> OwnedJig | None:
        """The print of that mark, if it is on the shelf."""
        row = self._base.execute("SELECT * FROM jigs WHERE mark = ?", (mark,)).fetchone()
        return self._now(row) if row else None

    def known(self, mark: str) -> OwnedJig:
        """The print of that mark.  Raises InputError ``shelf.unknown``."""
        if found := self.find(mark):
            return found
        marks = ", ".join(jig.mark for jig in self.jigs()[:8]) or "none yet"
        hint = f"Look at the print again. On the shelf: {marks}. Add its folder if it is new."
        message = f"no jig marked {mark} is on this shelf"
        raise InputError.of("shelf.unknown", message, where=str(self.path), hint=hint)

    def of_folder(self, folder: Path) -> OwnedJig | None:
        """The print that was built in `folder`."""
        place = folder.resolve()
        return next((jig for jig in self.jigs() if jig.folder.resolve() == place), None)

    def events(self, mark: str) -> tuple[Event, ...]:
        """What was done with a print, the earliest first."""
        rows = self._base.execute(
            "SELECT mark, at, by, doing, pairs, passed, text FROM events WHERE mark = ? "
            "ORDER BY number",
            (mark,),
        )
        return tuple(_event(row) for row in rows)

    # ---- what is done

    def add(self, folder: Path, by: str = "") -> OwnedJig:
        """Put the print of a built folder on the shelf, or note where its folder is now.

        Whoever calls has verified it.  Raises InputError as `read_record`; ``shelf.failed`` for a
        folder that failed, ``shelf.unmarked`` for one without a jig mark, ``shelf.two`` where the
        mark is another print's.
        """
        record = read_record(folder)
        if not record.passed:
            message = "this folder did not pass its verification: it is not for the shelf"
            raise InputError.of("shelf.failed", message, where=str(folder), hint="Build it again.")
        if not record.jig_mark:
            message = "it has no jig mark: an earlier jiggen built it"
            raise InputError.of(
                "shelf.unmarked", message, where=str(folder), hint="Build it again."
            )
        new = owned(folder.resolve(), record, pattern_sha_of(record))
        with self._writing():
            before = self.find(new.mark)
            if before and _served(before) != _served(new):
                message = f"another print is marked {new.mark} already: {before.serves}"
                hint = "Build this one again as another copy: its mark is another one then."
                raise InputError.of("shelf.two", message, where=str(folder), key="copy", hint=hint)
            self._put(new)
            if not before:
                self._note(Event(new.mark, now(), by, "added"))
        return self.known(new.mark)

    def do(
        self,
        mark: str,
        doing: Doing,
        by: str = "",
        *,
        pairs: int = 0,
        passed: bool | None = None,
        text: str = "",
    ) -> OwnedJig:
        """Note what was done with a print.

        Raises InputError ``shelf.unknown``, and ``shelf.pairs`` where more is taken back than was.
        """
        with self._writing():
            jig = self.known(mark)
            if jig.pairs + pairs < 0:
                message = f"{jig.pairs} pairs were drilled: {-pairs} cannot be taken back"
                raise InputError.of("shelf.pairs", message, key="pairs")
            self._note(Event(mark, now(), by, doing, pairs, passed, text))
        return self.known(mark)

    # ---- pairs of an evening that are done

    def ticks(self, run: str) -> frozenset[str]:
        """The boxes that are ticked of a run of pairs."""
        rows = self._base.execute("SELECT box FROM ticks WHERE run = ?", (run,))
        return frozenset(box for (box,) in rows)

    def tick(self, run: str, box: str, mark: str, by: str = "", *, counts: bool = True) -> None:
        """Tick a box of a run, once; where it `counts`, a pair was drilled with the jig `mark`."""
        with self._writing():
            made = self._base.execute(
                "INSERT OR IGNORE INTO ticks VALUES (?, ?, ?, ?, ?)", (run, box, mark, now(), by)
            )
            if made.rowcount and counts and self.find(mark):
                self._note(Event(mark, now(), by, "drilled", 1, text=box))

    def untick(self, run: str, box: str, by: str = "", *, counts: bool = True) -> None:
        """Take a tick back, and the pair that it counted."""
        with self._writing():
            row = self._base.execute(
                "DELETE FROM ticks WHERE run = ? AND box = ? RETURNING mark", (run, box)
            ).fetchone()
            if row and counts and (jig := self.find(row[0])) and jig.pairs:
                self._note(Event(row[0], now(), by, "drilled", -1, text=box))

    # ---- taken out and put back

    def all_events(self) -> tuple[Event, ...]:
        """Everything that was ever done, in order."""
        rows = self._base.execute(
            "SELECT mark, at, by, doing, pairs, passed, text FROM events ORDER BY number"
        )
        return tuple(_event(row) for row in rows)

    def put_back(self, events: Sequence[Event]) -> tuple[int, int]:
        """Add events that are not there yet; how many were added, and how many have no print here.

        Those of a print's own adding are left out where it was added once more.
        """
        added = unknown = 0
        with self._writing():
            for event in events:
                if self.find(event.mark) is None:
                    unknown += 1
                elif event not in self.events(event.mark):
                    self._note(event)
                    added += 1
        return added, unknown

    # ---- the file

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction: all of it, or nothing."""
        try:
            self._base.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._base.execute("COMMIT")
            finally:
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
        except sqlite3.Error as error:
            raise _refusal(self.path, error) from error

    def _note(self, event: Event) -> None:
        passed = None if event.passed is None else int(event.passed)
        values = (event.mark, event.at, event.by, event.doing, event.pairs, passed, event.text)
        self._base.execute(
            "INSERT INTO events (mark, at, by, doing, pairs, passed, text) "
            "VALUES (?, ?, ?, ?, ?, ?, ?)",
            values,
        )

    def _put(self, jig: OwnedJig) -> None:
        values = (
            jig.mark, jig.kind, self._kept(jig.folder), jig.pattern, jig.pattern_sha,
            json.dumps(jig.boots), json.dumps(jig.skis), jig.core, jig.side, jig.shift,
            jig.printer, jig.holes,
        )  # fmt: skip
        self._base.execute(
            "INSERT INTO jigs VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?) "
            "ON CONFLICT (mark) DO UPDATE SET folder = excluded.folder",
            values,
        )

    def _kept(self, folder: Path) -> str:
        """A folder as the file has it: from the shelf's own folder on, where it lies within."""
        home = self.path.resolve().parent
        inside = folder.is_relative_to(home)
        return folder.relative_to(home).as_posix() if inside else str(folder)

    def _now(self, row: Sequence[Any]) -> OwnedJig:
        """A print as it is after all that was done with it."""
        mark, kind, folder, pattern, sha, boots, skis, core, side, shift, printer, holes = row
        jig = OwnedJig(
            mark, kind, self.path.resolve().parent / folder, pattern, sha, _pair(boots),
            _pair(skis), core, side, shift, printer, holes,
        )  # fmt: skip
        for event in self.events(mark):
            jig = after(jig, event)
        return jig


def after(jig: OwnedJig, event: Event) -> OwnedJig:
    """A print after one more thing was done with it; what is retired stays so until it is used."""
    gone = jig.state == "retired"
    match event.doing:
        case "note":
            return replace(jig, note=event.text)
        case "drilled":
            used = event.pairs > 0 and not gone
            state: State = "in use" if used else jig.state
            return replace(jig, pairs=jig.pairs + event.pairs, state=state)
        case "new bushes":
            return replace(jig, earlier=jig.pairs)
        case "printed":  # anew: what was measured was another print
            return replace(jig, state="printed", passed=None)
        case "measured":
            known: State = jig.state if gone or jig.state == "in use" else "measured"
            return replace(jig, passed=event.passed, state=known)
        case "in use" | "retired" as state:
            return replace(jig, state=state)
        case _:
            return jig


def now() -> str:
    """The time in UTC, to the microsecond: no two events of one program are alike."""
    return datetime.now(UTC).isoformat(timespec="microseconds")


@contextmanager
def open_shelf(path: Path = SHELF_FILE, *, new: bool = True) -> Iterator[Shelf]:
    """The shelf in the file `path`, which is made if it is not there and `new` ones may be.

    Raises InputError ``shelf.missing``, ``shelf.foreign`` for a file that is none, ``shelf.newer``
    for one of a later jiggen, ``shelf.damaged``, and ``shelf.cannot-write``.
    """
    if not path.exists() and not new:
        hint = "Put a built folder on the shelf first."
        raise InputError.of("shelf.missing", "there is no shelf yet", where=str(path), hint=hint)
    try:
        base = sqlite3.connect(path, timeout=PATIENCE, isolation_level=None)
    except sqlite3.Error as error:
        raise _refusal(path, error) from error
    with closing(base):
        try:
            _prepare(path, base)
        except sqlite3.Error as error:
            raise _refusal(path, error) from error
        yield Shelf(path, base)


def _prepare(path: Path, base: sqlite3.Connection) -> None:
    """Bring a file to the present schema.  Raises InputError for one that is not ours."""
    (owner,) = base.execute("PRAGMA application_id").fetchone()
    (version,) = base.execute("PRAGMA user_version").fetchone()
    (tables,) = base.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    if owner != APPLICATION and (owner or version or tables):
        message = "a database, but none of jiggen's shelves"
        hint = "Name another file, or the right folder."
        raise InputError.of("shelf.foreign", message, where=str(path), key="shelf", hint=hint)
    if version > len(MIGRATIONS):
        message = f"a later jiggen wrote it (format {version}, known up to {len(MIGRATIONS)})"
        hint = "Use that jiggen; this one leaves the file as it is."
        raise InputError.of("shelf.newer", message, where=str(path), hint=hint)
    base.execute("PRAGMA foreign_keys = ON")
    base.execute("PRAGMA synchronous = FULL")
    (found,) = base.execute("PRAGMA quick_check(1)").fetchone()
    if found != "ok":
        raise sqlite3.DatabaseError(found)
    if version == len(MIGRATIONS):
        return
    base.execute("PRAGMA journal_mode = WAL")
    base.execute("BEGIN IMMEDIATE")
    try:
        (version,) = base.execute("PRAGMA user_version").fetchone()  # another program may have
        for number in range(version, len(MIGRATIONS)):
            for statement in MIGRATIONS[number].split(";"):
                if statement.strip():
                    base.execute(statement)
        base.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        base.execute(f"PRAGMA application_id = {APPLICATION}")
        base.execute("COMMIT")
    finally:
        if base.in_transaction:
            base.execute("ROLLBACK")


def _refusal(path: Path, error: sqlite3.Error) -> InputError:
    """What SQLite says, as what to do."""
    words = " ".join(str(error).split())
    name = getattr(error, "sqlite_errorname", None) or ""
    if name.startswith(("SQLITE_FULL", "SQLITE_IOERR", "SQLITE_CANTOPEN", "SQLITE_READONLY")):
        code, message = "cannot-write", f"cannot be written: {words}"
        hint = "Check the folder, your right to write there, and the space left; nothing was lost."
    elif name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        code, hint = "busy", "Try again."
        message = "another program has been writing to it for too long; nothing was changed"
    else:
        code, message = "damaged", f"the file is damaged: {words}"
        hint = (
            f"Move {path.name} away, with its -wal beside it. What the jigs are is in their "
            "folders, from which a new shelf is made; what was done with them is in a copy of the "
            "file or in an export."
        )
    return InputError.of(f"shelf.{code}", message, where=str(path), key="shelf", hint=hint)


def _event(row: Sequence[Any]) -> Event:
    mark, at, by, doing, pairs, passed, text = row
    return Event(mark, at, by, doing, pairs, None if passed is None else bool(passed), text)


def _pair(text: str) -> tuple[float, float] | None:
    found = json.loads(text)
    return None if found is None else (float(found[0]), float(found[1]))


def _served(jig: OwnedJig) -> tuple[object, ...]:
    """What a print is, whatever was done with it and wherever its folder lies."""
    return jig.kind, jig.pattern_sha, jig.boots, jig.skis, jig.core, jig.side, jig.shift, jig.holes

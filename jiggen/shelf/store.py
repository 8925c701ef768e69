"""The shelf: one row for each print, and one for everything that was done with it.

What a print is now follows from these events.
"""

import json
import sqlite3
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import astuple, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.files import JOB_FILE, PATTERN_FILE, PRINTER_FILE, within
from jiggen.record import LARGEST, read_record
from jiggen.request.shelf import SHELF_FILE
from jiggen.shelf.events import DOINGS, Doing, Event, Tick, after, in_utc, now, plain
from jiggen.shelf.file import connect, in_memory, refusal
from jiggen.shelf.jigs import OwnedJig, owned

_SELECT = "SELECT mark, at, by, doing, pairs, passed, text, readings FROM events"


class Shelf:
    """An open shelf.  Not for several threads at once: each opens its own.

    One that is not there yet, `absent`, is made by the first change.
    """

    def __init__(self, path: Path, base: sqlite3.Connection, *, absent: bool = False) -> None:
        self.path, self._base, self._absent = path, base, absent

    def close(self) -> None:
        """Close the file."""
        self._base.close()

    # ---- what is there

    def jigs(self) -> tuple[OwnedJig, ...]:
        """Every print, by its jig mark."""
        with self._reading():
            done: dict[str, list[Event]] = {}
            for event in self.all_events():
                done.setdefault(event.mark, []).append(event)
            rows = self._base.execute("SELECT * FROM jigs ORDER BY mark").fetchall()
            return tuple(self._now(row, done.get(row[0], ())) for row in rows)

    def find(self, mark: str) -> OwnedJig | None:
        """The print of that mark, if it is on the shelf."""
        with self._reading():
            row = self._base.execute("SELECT * FROM jigs WHERE mark = ?", (mark,)).fetchone()
            return self._now(row, self.events(mark)) if row else None

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
        with self._reading():
            rows = self._base.execute(f"{_SELECT} WHERE mark = ? ORDER BY at", (mark,))
            return tuple(_event(row) for row in rows)

    # ---- what is done

    def add(self, folder: Path, by: str = "") -> OwnedJig:
        """Put the print of a built folder on the shelf, or note where its folder is now.

        Raises CheckFailed as `certify` for a folder that fails its verification; InputError as
        `print_of`, and ``shelf.two`` where the mark is another print's.
        """
        from jiggen.verify import certify

        new = print_of(folder)
        certify(folder)
        with self._writing():
            before = self.find(new.mark)
            if before and before.content != new.content:
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
        readings: str = "",
    ) -> OwnedJig:
        """Note what was done with a print.

        Raises InputError ``shelf.unknown``, ``.no-drill`` for what guides no drill, ``.pairs``
        where more is taken back than was; CheckFailed ``shelf.failed`` for taking a print into use
        whose measurement failed.
        """
        self.known(mark)  # or a shelf would be made by what is refused
        with self._writing():
            jig = self.known(mark)
            if doing in ("measured", "drilled", "new bushes") and jig.kind != "jig":
                message = f"{mark} is a {jig.kind_words}: it guides no drill"
                raise InputError.of("shelf.no-drill", message, hint="Look at the mark again.")
            if jig.pairs + pairs < 0:
                message = f"{jig.pairs} pairs were drilled: {-pairs} cannot be taken back"
                raise InputError.of("shelf.pairs", message, key="pairs")
            if doing == "in use" and jig.passed is False:
                message = f"the last measurement of {mark} failed: it is not taken into use"
                hint = "Print it again, note that it is printed, and measure that."
                raise CheckFailed(Finding("shelf.failed", message, hint=hint))
            self._note(Event(mark, now(), by, doing, pairs, passed, text, readings))
            return self.known(mark)

    # ---- pairs of an evening that are done

    def ticks(self, run: str) -> frozenset[str]:
        """The boxes that are ticked of a run of pairs."""
        with self._reading():
            rows = self._base.execute("SELECT box FROM ticks WHERE run = ?", (run,))
            return frozenset(box for (box,) in rows)

    def tick(
        self, run: str, box: str, mark: str, by: str = "", *, pair: Collection[str] = ()
    ) -> None:
        """Tick a box of a run, once.

        Where all boxes of its `pair` are ticked by that, one was drilled with the jig `mark`.
        """
        with self._writing():
            made = self._keep_tick(Tick(run, box, mark, now(), by))
            whole = {box, *pair} <= self.ticks(run)
            if made and whole and self.find(mark):
                self._note(Event(mark, now(), by, "drilled", 1, text=box))

    def untick(self, run: str, box: str, by: str = "", *, pair: Collection[str] = ()) -> None:
        """Take a tick back, and the pair that was counted with it."""
        if self._absent:
            return
        with self._writing():
            whole = {box, *pair} <= self.ticks(run)
            row = self._base.execute(
                "DELETE FROM ticks WHERE run = ? AND box = ? RETURNING mark", (run, box)
            ).fetchone()
            if row and whole and (jig := self.find(row[0])) and jig.pairs:
                self._note(Event(row[0], now(), by, "drilled", -1, text=box))

    # ---- taken out and put back

    def all_events(self) -> tuple[Event, ...]:
        """Everything that was ever done, in order."""
        with self._reading():
            return tuple(_event(row) for row in self._base.execute(f"{_SELECT} ORDER BY at, mark"))

    def all_ticks(self) -> tuple[Tick, ...]:
        """Every box that is ticked of any run, in order."""
        with self._reading():
            rows = self._base.execute("SELECT run, box, mark, at, by FROM ticks ORDER BY at, box")
            return tuple(Tick(*row) for row in rows)

    def put_back(self, done: Sequence[Event | Tick]) -> tuple[int, tuple[str, ...]]:
        """Add what is not there yet; how much was added, and marks that have no print.

        Raises InputError ``shelf.differs`` where something else was done with a print then.
        """
        if self._absent:
            return 0, tuple(dict.fromkeys(one.mark for one in done))
        with self._writing():
            there = {(event.mark, event.at): event for event in self.all_events()}
            marks = {mark for (mark,) in self._base.execute("SELECT mark FROM jigs")}
            unknown = dict.fromkeys(one.mark for one in done if one.mark not in marks)
            known = [one for one in done if one.mark in marks]
            events = [one for one in known if isinstance(one, Event)]
            other = [one for one in events if there.get((one.mark, one.at), one) != one]
            if other:
                raise InputError(_differs(event) for event in other)
            new = [event for event in events if (event.mark, event.at) not in there]
            for event in new:
                self._insert(event)
            ticked = sum(self._keep_tick(one) for one in known if isinstance(one, Tick))
        return len(new) + ticked, tuple(unknown)

    # ---- the file

    @contextmanager
    def _writing(self) -> Iterator[None]:
        """One transaction: all of it, or nothing."""
        if self._absent:
            base = connect(self.path, new=True)
            self.close()
            self._base, self._absent = base, False
        with self._within("BEGIN IMMEDIATE"):
            yield

    @contextmanager
    def _reading(self) -> Iterator[None]:
        """All that is read within is of one moment.  Raises InputError."""
        if self._base.in_transaction:
            yield
            return
        with self._within("BEGIN"):
            yield

    @contextmanager
    def _within(self, begin: str) -> Iterator[None]:
        try:
            self._base.execute(begin)
            try:
                yield
                self._base.execute("COMMIT")
            finally:
                if self._base.in_transaction:
                    self._base.execute("ROLLBACK")
        except (sqlite3.Error, _DamagedError) as error:
            raise refusal(self.path, error) from error

    def _note(self, event: Event) -> None:
        """Keep an event of now, after all others of that print whatever the clock says."""
        event = replace(event, by=plain(event.by), text=plain(event.text))
        (last,) = self._base.execute(
            "SELECT max(at) FROM events WHERE mark = ?", (event.mark,)
        ).fetchone()
        if last and last >= event.at:
            later = datetime.fromisoformat(last) + timedelta(microseconds=1)
            event = replace(event, at=in_utc(later))
        self._insert(event)

    def _insert(self, event: Event) -> None:
        values = {**vars(event), "passed": None if event.passed is None else int(event.passed)}
        self._base.execute(
            "INSERT INTO events VALUES "
            "(:mark, :at, :by, :doing, :pairs, :passed, :text, :readings)",
            values,
        )

    def _keep_tick(self, tick: Tick) -> bool:
        """Tick a box; whether it was not ticked before."""
        made = self._base.execute(
            "INSERT OR IGNORE INTO ticks VALUES (?, ?, ?, ?, ?)", astuple(tick)
        )
        return made.rowcount > 0

    def _put(self, jig: OwnedJig) -> None:
        values = (
            jig.mark, jig.kind, self._kept(jig.folder), jig.pattern, jig.pattern_sha,
            json.dumps(jig.boots), json.dumps(jig.skis), jig.core, jig.side, jig.shift,
            jig.printer, jig.holes, jig.content, jig.bushes,
        )  # fmt: skip
        self._base.execute(
            f"INSERT INTO jigs VALUES ({', '.join('?' * len(values))}) "
            "ON CONFLICT (mark) DO UPDATE SET folder = excluded.folder",
            values,
        )

    def _kept(self, folder: Path) -> str:
        """A folder as the file has it: from the shelf's own folder on, where it lies within."""
        home = self.path.resolve().parent
        inside = folder.is_relative_to(home)
        name = folder.relative_to(home).as_posix() if inside else str(folder)
        if plain(name) != name:
            message = "the folder's name has signs that the shelf cannot keep"
            hint = "Rename it: letters, digits and hyphens."
            raise InputError.of("shelf.folder-name", message, where=str(folder), hint=hint)
        return name

    def _now(self, row: Sequence[Any], done: Iterable[Event]) -> OwnedJig:
        """A print as it is after all that was `done` with it."""
        mark, kind, folder, pattern, sha, boots, skis, *more = row
        home = self.path.resolve().parent
        jig = OwnedJig(mark, kind, home / folder, pattern, sha, _pair(boots), _pair(skis), *more)
        for event in done:
            jig = after(jig, event)
        return jig


class _DamagedError(Exception):
    """What is in the file is nothing that jiggen writes."""


@contextmanager
def open_shelf(path: Path = SHELF_FILE, *, new: bool = True) -> Iterator[Shelf]:
    """The shelf in the file `path`; an empty one if that is not there and `new` ones may be.

    Raises InputError as `connect`.
    """
    absent = new and not path.exists()
    shelf = Shelf(path, in_memory() if absent else connect(path, new=False), absent=absent)
    try:
        yield shelf
    finally:
        shelf.close()


def print_of(folder: Path) -> OwnedJig:
    """The print that a built folder is of, as it is before anything is done with it.

    Raises InputError as `read_record`, and ``shelf.unmarked`` for one without a jig mark.
    """
    record = read_record(folder)
    if not record.jig_mark:
        message, hint = "it has no jig mark: an earlier jiggen built it", "Build it again."
        raise InputError.of("shelf.unmarked", message, where=str(folder), hint=hint)
    names = [name for name in (JOB_FILE, PATTERN_FILE, PRINTER_FILE) if (folder / name).exists()]
    try:
        texts = {name: within(folder, name, LARGEST).read_bytes().decode() for name in names}
        return owned(folder.resolve(), record, texts)
    except (OSError, ValueError) as error:
        message = f"what was asked for cannot be read: {error}"
        hint = "Build it again."
        raise InputError.of("shelf.asked", message, where=str(folder), hint=hint) from error


def _event(row: Sequence[Any]) -> Event:
    mark, at, by, doing, pairs, passed, *more = row
    if doing not in DOINGS:
        raise _DamagedError(f"an event of {mark} is {str(doing)[:40]!r}")
    return Event(mark, at, by, doing, pairs, None if passed is None else bool(passed), *more)


def _pair(text: str) -> tuple[float, float] | None:
    try:
        found = json.loads(text)
        return None if found is None else (float(found[0]), float(found[1]))
    except (ValueError, TypeError, LookupError) as error:
        raise _DamagedError(f"{text[:40]!r} is not a range") from error


def _differs(event: Event) -> Finding:
    message = f"something else was done with {event.mark} at {event.at}"
    hint = "One of the two was changed by hand: correct it, or leave that row out."
    return Finding("shelf.differs", message, hint=hint)

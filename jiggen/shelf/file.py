"""The shelf's file: made whole, checked when it is opened, brought from one format to the next.

SQLite, so that two programs at once lose nothing and a kill leaves it whole: a change is one
transaction, on the disk before it counts.
"""

import os
import secrets
import sqlite3
from contextlib import closing
from pathlib import Path

from jiggen.errors import InputError
from jiggen.files import write_whole

APPLICATION = 0x6A696767  # "jigg": SQLite's own field for what a file belongs to
PAGE = 4096  # bytes: as SQLite has been making files since 3.12
PATIENCE = 20.0  # s to wait for another program that is writing
UNWRITABLE = ("SQLITE_FULL", "SQLITE_IOERR", "SQLITE_CANTOPEN", "SQLITE_READONLY")
MIGRATIONS = (
    """
    CREATE TABLE jigs (
        mark TEXT PRIMARY KEY, kind TEXT NOT NULL, folder TEXT NOT NULL, pattern TEXT NOT NULL,
        pattern_sha TEXT NOT NULL, boots TEXT NOT NULL, skis TEXT NOT NULL, core TEXT NOT NULL,
        side TEXT NOT NULL, shift REAL NOT NULL, printer TEXT NOT NULL, holes INTEGER NOT NULL,
        content TEXT NOT NULL, bushes INTEGER NOT NULL
    ) STRICT;
    CREATE TABLE events (
        mark TEXT NOT NULL REFERENCES jigs(mark), at TEXT NOT NULL, by TEXT NOT NULL,
        doing TEXT NOT NULL, pairs INTEGER NOT NULL,
        passed INTEGER, text TEXT NOT NULL, readings TEXT NOT NULL, PRIMARY KEY (mark, at)
    ) STRICT;
    """,
    """
    CREATE TABLE ticks (
        run TEXT NOT NULL, box TEXT NOT NULL, mark TEXT NOT NULL, at TEXT NOT NULL,
        by TEXT NOT NULL, PRIMARY KEY (run, box)
    ) STRICT;
    """,
)
"""What brings a file from each version of its schema to the next; never changed, only added to."""


def connect(path: Path, *, new: bool) -> sqlite3.Connection:
    """The base in the file `path`, of the present format; made if `new` ones may be.

    Raises InputError ``shelf.missing``, ``shelf.foreign`` for a file that is none, ``shelf.newer``
    for one of a later jiggen, ``shelf.busy``, ``shelf.damaged``, and ``shelf.cannot-write``.
    """
    try:
        if not path.exists():
            if not new:
                hint = "Put a built folder on the shelf first."
                message = "there is no shelf yet"
                raise InputError.of("shelf.missing", message, where=str(path), hint=hint)
            _make(path)
        elif _is_cut(path):
            raise refusal(path, ValueError("it ends within a page"))
        where = f"{path.resolve().as_uri()}?mode=rw"
        base = sqlite3.connect(where, timeout=PATIENCE, isolation_level=None, uri=True)
    except (OSError, sqlite3.Error) as error:
        raise refusal(path, error) from error
    try:
        _prepare(path, base)
    except BaseException as error:
        base.close()
        if isinstance(error, sqlite3.Error):
            raise refusal(path, error) from error
        raise
    return base


def in_memory() -> sqlite3.Connection:
    """An empty base of the present format in memory."""
    base = sqlite3.connect(":memory:", isolation_level=None)
    base.execute(f"PRAGMA page_size = {PAGE}")
    base.execute("PRAGMA foreign_keys = ON")
    migrate(base)
    return base


def as_file(base: sqlite3.Connection) -> bytes:
    """What a file with all of `base` in it holds; it keeps a log of its changes beside itself."""
    data = bytearray(base.serialize())
    # "file format write version", "read version": 2 is WAL (sqlite.org/fileformat.html, 1.3.3)
    data[18:20] = b"\2\2"
    return bytes(data)


def _make(path: Path) -> None:
    """Make an empty shelf, whole or not at all, unless another program has made one meanwhile."""
    with closing(in_memory()) as base:
        data = as_file(base)
    part = path.with_name(f".jiggen-{secrets.token_hex(6)}.part")
    try:
        write_whole(part, data, "shelf")
        try:
            os.link(part, path)
        except FileExistsError:
            return
        except OSError:  # a file system without links
            if not path.exists():
                part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _is_cut(path: Path) -> bool:
    """Whether a file ends where none does that was written whole; SQLite takes some as they are.

    An empty one is new to it, and ours never are.  Where its log lies beside it, that has the rest.
    """
    size, log = path.stat().st_size, Path(f"{path}-wal")
    logged = log.exists() and log.stat().st_size > 0
    return path.is_file() and (not size or (size % PAGE > 0 and not logged))


def _prepare(path: Path, base: sqlite3.Connection) -> None:
    """Bring a file to the present format.  Raises InputError for one that is not ours."""
    owner, version = _format(base)
    if owner != APPLICATION:
        message = "a database, but none of jiggen's shelves"
        hint = "Name another file, or the right folder."
        raise InputError.of("shelf.foreign", message, where=str(path), key="shelf", hint=hint)
    if version > len(MIGRATIONS):
        message = f"a later jiggen wrote it (format {version}, known up to {len(MIGRATIONS)})"
        hint = "Use that jiggen; this one leaves the file as it is."
        raise InputError.of("shelf.newer", message, where=str(path), hint=hint)
    base.execute("PRAGMA foreign_keys = ON")
    base.execute("PRAGMA synchronous = FULL")
    (found,) = base.execute("PRAGMA integrity_check(1)").fetchone()
    if found != "ok":
        raise sqlite3.DatabaseError(found)
    if version < len(MIGRATIONS):
        migrate(base)


def _format(base: sqlite3.Connection) -> tuple[int, int]:
    """Whose file it is, and of which format."""
    (owner,) = base.execute("PRAGMA application_id").fetchone()
    (version,) = base.execute("PRAGMA user_version").fetchone()
    return owner, version


def migrate(base: sqlite3.Connection) -> None:
    """Bring `base` to the present format in one transaction."""
    base.execute("BEGIN IMMEDIATE")
    try:
        _, version = _format(base)  # another program may have done it
        for migration in MIGRATIONS[version:]:
            for statement in migration.split(";"):
                base.execute(statement)
        base.execute(f"PRAGMA user_version = {len(MIGRATIONS)}")
        base.execute(f"PRAGMA application_id = {APPLICATION}")
        base.execute("COMMIT")
    finally:
        if base.in_transaction:
            base.execute("ROLLBACK")


def refusal(path: Path, error: Exception) -> InputError:
    """What SQLite says, as what to do."""
    words = " ".join(str(error).split())
    name = getattr(error, "sqlite_errorname", None) or ""
    if isinstance(error, OSError) or name.startswith(
        ("SQLITE_FULL", "SQLITE_IOERR", "SQLITE_CANTOPEN", "SQLITE_READONLY")
    ):
        code, message = "cannot-write", f"cannot be written: {words}"
        hint = "Check the folder, your right to write there, and the space left; nothing was lost."
    elif name.startswith(("SQLITE_BUSY", "SQLITE_LOCKED")):
        code, hint = "busy", "Try again."
        message = "another program has been writing to it for too long; nothing was changed"
    else:
        code, message = "damaged", f"the file is damaged: {words}"
        hint = (
            "jiggen shelf rebuild puts it aside and makes a new one from the folders of the jigs; "
            "jiggen shelf import then reads back what was done with them, from your last export."
        )
    return InputError.of(f"shelf.{code}", message, where=str(path), key="shelf", hint=hint)

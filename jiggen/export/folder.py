"""The folder a build leaves: every file written, the manifest last, whole or not at all."""

import ctypes
import hashlib
import json
import os
import re
import shutil
import sys
import tempfile
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType
from typing import Any

from jiggen.errors import InputError
from jiggen.files import (
    JOB_FILE,
    MANIFEST,
    MEASUREMENTS,
    PATTERN_FILE,
    PRINTER_FILE,
    within,
)
from jiggen.marks import printed
from jiggen.pattern.read import parse_pattern
from jiggen.progress import wrote
from jiggen.record import Record, json_text
from jiggen.record.entries import FileEntry

LARGEST_MANIFEST = 16 * 2**20  # bytes
Texts = Mapping[str, str]
"""Texts by the name of their file."""
YOURS = ".yours"
NO_TEXTS: Texts = MappingProxyType({})


def check_target(target: Path, *, force: bool, asked: Texts = NO_TEXTS) -> None:
    """Raise InputError when `target` may not be replaced: unless by force, only a jiggen folder.

    With the texts of what is `asked` for, only one of the same job.
    """
    kind, why = "file", ""
    with _refusals(target):
        if not target.exists() and not target.is_symlink():
            return
        if target.is_dir():
            kind = "folder that jiggen did not make"
            if force or not any(target.iterdir()):
                return
            if _manifest(target) is not None:
                kind, why = _differences(target, asked) if asked else ("", "")
                if not why:
                    return
    text = f"there is already a {kind} of that name{why}; nothing was written"
    hint = "Choose another folder, or force its replacement."
    raise InputError.of("export.in-the-way", text, where=str(target), key="out, force", hint=hint)


def _manifest(folder: Path) -> dict[str, Any] | None:
    """The values of the folder's manifest; None where there is none of jiggen's."""
    try:
        path = within(folder, MANIFEST, LARGEST_MANIFEST)
        data = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):  # the last: lists in lists without end
        return None
    return data if isinstance(data, dict) and isinstance(data.get("manifest"), int) else None


def _differences(folder: Path, asked: Texts) -> tuple[str, str]:
    """The kind of product in `folder`, and what was asked for otherwise: empty where nothing."""
    texts = {}
    for name in (JOB_FILE, PATTERN_FILE, PRINTER_FILE):
        with suppress(OSError, UnicodeError):
            texts[name] = within(folder, name, LARGEST_MANIFEST).read_text(encoding="utf-8")
    try:
        there, wanted = _decisive(texts), _decisive(asked)
    except (KeyError, ValueError):
        return "folder", f", whose {JOB_FILE} cannot be read"
    names = sorted(there.keys() | wanted.keys())
    other = [name.replace("_", " ") for name in names if there.get(name) != wanted.get(name)]
    other = ["purpose"] if "kind" in other else other
    kind = "trial plate" if there["kind"] == "trial" else str(there["kind"])
    return kind, f", for another {', another '.join(other)}" if other else ""


def _decisive(texts: Texts) -> dict[str, Any]:
    """Of texts as `jiggen.export.asked` writes them, the values that decide what is printed.

    Two patterns with the same holes are the same, however they are written.
    """
    values = printed(texts)
    values["kind"] = values["kind"]  # there must be one
    if text := texts.get(PATTERN_FILE):
        pattern = parse_pattern(text, PATTERN_FILE)
        values["pattern"] = replace(pattern, source="", note="", text="")
    return values


@contextmanager
def workshop(target: Path) -> Iterator[Path]:
    """A temporary sibling of `target` to build in; removed when the build does not finish.

    One process at a time has it; what a killed one left of its own is cleared first.  Raises
    InputError ``export.busy`` when another process builds `target`, and
    ``export.cannot-write`` when the system refuses anything here or within, a full disk say.
    """
    with _refusals(target):
        _real(target).parent.mkdir(parents=True, exist_ok=True)
        with _alone(target) as place:
            name = tempfile.mkdtemp(prefix=f".{place.name}.", suffix=".part", dir=place.parent)
            folder = Path(name)
            try:
                folder.chmod(0o755)
                yield folder
            finally:
                shutil.rmtree(folder, ignore_errors=True)


def clear_leftovers(target: Path) -> None:
    """Undo what a process that is dead left beside `target`.

    Raises InputError ``export.busy`` while another one builds there.
    """
    with _refusals(target), _alone(target):
        pass


@contextmanager
def _refusals(target: Path) -> Iterator[None]:
    """What the system refuses becomes InputError ``export.cannot-write``."""
    try:
        yield
    except BrokenPipeError:  # nobody reads the output: not a matter of files
        raise
    except OSError as error:
        at = str(error.filename or target)
        text = f"operating system error: {error.strerror or error}; nothing was changed"
        hint = "Check the space left and your right to write there, or choose another one."
        raise InputError.of("export.cannot-write", text, where=at, key="out", hint=hint) from error


@contextmanager
def _alone(target: Path) -> Iterator[Path]:
    """Hold the lock beside `target`, and undo what killed processes left there."""
    from filelock import FileLock, Timeout

    place = _real(target)
    # The system takes the lock back from a process that dies.
    lock = FileLock(place.with_name(f".{place.name}.lock"), blocking=False)
    try:
        lock.acquire()
    except Timeout:
        text = "another jiggen is building into this folder; nothing was changed"
        hint = "Wait until it has finished, or choose another folder."
        raise InputError.of("export.busy", text, where=str(place), key="out", hint=hint) from None
    ours = re.compile(rf"\.{re.escape(place.name)}\.[a-z0-9_]{{8}}\.(part|old)")
    try:
        for path in sorted(place.parent.iterdir()):  # none is alive while we hold the lock
            found = ours.fullmatch(path.name)
            if found and found[1] == "old" and not place.exists():
                path.replace(place)  # it was killed between the two renames of `put_in_place`
            elif found:
                shutil.rmtree(path, ignore_errors=True)
        yield place
    finally:
        # While it is held: whoever waits for it sees that its file is gone, and makes another.
        with suppress(OSError):
            Path(lock.lock_file).unlink()
        lock.release()


def _exchange(one: Path, other: Path) -> bool:
    """Let two folders change places in one step; False, and nothing done, where that cannot be.

    By renameat2(2) of Linux, AT_FDCWD of <fcntl.h> and RENAME_EXCHANGE of <linux/fs.h>.
    """
    if sys.platform != "linux":
        return False
    here, exchange, rename = -100, 2, ctypes.CDLL(None).renameat2  # glibc 2.28
    return bool(rename(here, os.fsencode(one), here, os.fsencode(other), exchange) == 0)


def put_in_place(folder: Path, target: Path) -> None:
    """Rename the finished `folder` to `target`; what was there goes only when that is done.

    What a person put into a folder of jiggen's there stays in it.

    In one step where the system can exchange two folders.  Where it cannot, `target` is missing
    between two renames; a process killed then leaves the old folder for the next `workshop` to
    put back.
    """
    place = _real(target)
    for path in folder.rglob("*"):  # on the disk before the folder counts: it may be full
        if path.is_file():
            with path.open("rb+") as stream:
                os.fsync(stream.fileno())
    _take_over(place, folder)
    if not place.exists():
        folder.replace(place)
    elif not _exchange(folder, place):
        old = folder.with_suffix(".old")
        place.replace(old)
        try:
            folder.replace(place)
        except OSError:
            old.replace(place)
            raise
        with suppress(OSError):
            old.replace(folder)  # as a part it is never put back, however little of it is left
    wrote(target)
    shutil.rmtree(folder, ignore_errors=True)


def _take_over(there: Path, folder: Path) -> None:
    """Put into `folder` whatever jiggen did not write of its folder `there`, under its name.

    Where a file of jiggen's has that name now, `YOURS` is added to it.
    """
    if (manifest := _manifest(there)) is None:
        return
    listed = manifest.get("files")
    ours = {MANIFEST, *(listed if isinstance(listed, dict) else ())}
    ours |= {MEASUREMENTS} if manifest.get("kind") == "gauge" else set()
    for base, folders, names in os.walk(there):
        links = (name for name in folders if Path(base, name).is_symlink())
        for path in (Path(base, name) for name in (*names, *links)):
            inner = path.relative_to(there)
            if inner.as_posix() in ours:
                continue
            to = folder / inner
            to.parent.mkdir(parents=True, exist_ok=True)
            if os.path.lexists(to):
                to = to.with_name(to.name + YOURS)
            try:  # at once, however large it is
                os.link(path, to, follow_symlinks=False)
            except (OSError, NotImplementedError):  # not on every system
                shutil.copy2(path, to, follow_symlinks=False)


def _real(target: Path) -> Path:
    """`target` with links followed: its lock and its neighbours are the folder's own."""
    return Path(os.path.realpath(target))


def listing(folder: Path) -> dict[str, FileEntry]:
    """Size in bytes and SHA-256 of every file, but the manifest and what a person fills in."""
    left_out = {MANIFEST, MEASUREMENTS}
    files = sorted(p for p in folder.rglob("*") if p.is_file() and p.name not in left_out)
    found = {}
    for path in files:
        data = path.read_bytes()
        entry = FileEntry(bytes=len(data), sha256=hashlib.sha256(data).hexdigest())
        found[path.relative_to(folder).as_posix()] = entry
    return found


def write_manifest(folder: Path, record: Record) -> None:
    """Write the record as the folder's manifest.json, which may be read meanwhile."""
    part = folder / f"{MANIFEST}.part"
    part.write_text(json_text(record), encoding="utf-8")
    part.replace(folder / MANIFEST)

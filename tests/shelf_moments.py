"""A shelf whose writer is ended, or whose disk is full, before any one operation on a file.

    python tests/shelf_moments.py START WORK ACTION

does ACTION on copies of the folder START, killed before its first operation, its second …, then
with a disk that is full from there on, and prints a line of JSON each.  An operation is what SQLite
asks of the system to open, change or remove a file (its own hook for tests, `xSetSystemCall` of its
Unix files), or what Python does to one.  It is a program of its own because a process of tests is
too large to be forked 300 times.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import shutil
import signal
import sys
import types
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, Literal

from moments import OPERATIONS, UNREACHED, in_a_child

from jiggen.errors import InputError
from jiggen.shelf.events import Event, now
from jiggen.shelf.jigs import OwnedJig
from jiggen.shelf.rebuilt import rebuild
from jiggen.shelf.store import open_shelf
from jiggen.shelf.table import read_done

How = Literal["kill", "full"]
State = tuple[tuple[OwnedJig, ...], tuple[Event, ...], frozenset[str]]
FILE, MARK = "shelf.sqlite", "K7F3H"
JIG = OwnedJig(
    MARK, "jig", Path("/out/a"), "Arvenal", "", (305.0, 305.0), (84.0, 112.0), "plain", "", 0.0, "",
    9,
)  # fmt: skip
REFUSED, DONE, OTHER = 2, 0, 70
PYTHON = OPERATIONS | {"os.link"}
_kind = ctypes.CFUNCTYPE
# Arguments and result of the system calls that change a file.
CALLS = {
    "open": (ctypes.c_int, ctypes.c_char_p, ctypes.c_int, ctypes.c_int),
    "write": (ctypes.c_ssize_t, ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t),
    "pwrite": (ctypes.c_ssize_t, ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int64),
    "pwrite64": (ctypes.c_ssize_t, ctypes.c_int, ctypes.c_void_p, ctypes.c_size_t, ctypes.c_int64),
    "ftruncate": (ctypes.c_int, ctypes.c_int, ctypes.c_int64),
    "fallocate": (ctypes.c_int, ctypes.c_int, ctypes.c_int64),
    "unlink": (ctypes.c_int, ctypes.c_char_p),
}
FREES = {"unlink", "os.remove", "os.rename", "os.rmdir"}  # what a full disk still does


class Vfs(ctypes.Structure):
    """``sqlite3_vfs`` of sqlite3.h, as far as it is needed here."""

    _fields_ = (
        ("numbers", ctypes.c_int * 3),
        ("before", ctypes.c_void_p * 16),  # pNext to xCurrentTimeInt64
        (
            "set_call",
            ctypes.CFUNCTYPE(ctypes.c_int, ctypes.c_void_p, ctypes.c_char_p, ctypes.c_void_p),
        ),
        ("get_call", ctypes.CFUNCTYPE(ctypes.c_void_p, ctypes.c_void_p, ctypes.c_char_p)),
    )


def watch(at: Callable[[str], bool]) -> list[Any]:
    """Ask `at` before every operation of this process; where it says no, the disk is full.

    What is returned must be kept as long as the process lives.
    """
    sqlite = ctypes.CDLL("libsqlite3.so.0")
    sqlite.sqlite3_vfs_find.restype = ctypes.POINTER(Vfs)
    found = sqlite.sqlite3_vfs_find(None)
    kept = []
    for name, (result, *arguments) in CALLS.items():
        kind = _kind(result, *arguments, use_errno=True)
        true = found.contents.get_call(found, name.encode())
        if not true:  # this SQLite does without it
            continue
        kept.append(kind(_call(name, kind(true), at)))
        place = ctypes.cast(kept[-1], ctypes.c_void_p)
        assert found.contents.set_call(found, name.encode(), place) == 0

    def hook(event: str, arguments: tuple[Any, ...]) -> None:
        reading = (
            event == "open" and isinstance(arguments[1], str) and set(arguments[1]) <= {*"rbt"}
        )
        if event in PYTHON and not reading and not at(event):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    sys.addaudithook(hook)
    return kept


def _call(name: str, true: Any, at: Callable[[str], bool]) -> Callable[..., int]:
    def call(*given: Any) -> int:
        if not at(name):
            ctypes.set_errno(errno.ENOSPC)
            return -1
        result: int = true(*given)
        return result

    return call


def _until(moment: int, how: How) -> tuple[Callable[[str], bool], Callable[[], bool]]:
    """What is asked before each operation, and what says whether the moment has come."""
    count = 0

    def at(name: str) -> bool:
        nonlocal count
        count += 1
        if count == moment and how == "kill":
            os.kill(os.getpid(), signal.SIGKILL)
        return how == "kill" or count < moment or name in FREES

    return at, lambda: count >= moment


# -- what is done ---------------------------------------------------------------------------------


def put(folder: Path) -> None:
    with open_shelf(folder / FILE) as shelf, shelf._writing():
        shelf._put(JIG)
        shelf._note(Event(MARK, now(), "Resi", "added"))


def drill(folder: Path) -> None:
    with open_shelf(folder / FILE) as shelf:
        shelf.do(MARK, "drilled", "Resi", pairs=2)


def tick(folder: Path) -> None:
    with open_shelf(folder / FILE) as shelf:
        shelf.tick("run", "1", MARK, "Resi")


def read_back(folder: Path) -> None:
    done = read_done(folder / "kept.csv")
    with open_shelf(folder / FILE) as shelf:
        shelf.put_back(done)


def remake(folder: Path) -> None:
    rebuild(folder / FILE, [folder / "out"], "Resi")


ACTIONS: dict[str, Callable[[Path], None]] = {
    action.__name__: action for action in (put, drill, tick, read_back, remake)
}


def state(folder: Path) -> State | None:
    """All that the shelf in `folder` holds, but for times; None where there is none, or refused."""
    try:
        with open_shelf(folder / FILE, new=False) as shelf:
            jigs = tuple(
                replace(jig, folder=Path(os.path.relpath(jig.folder, folder.resolve())))
                if jig.folder.is_relative_to(folder.resolve())
                else jig
                for jig in shelf.jigs()
            )
            events = tuple(replace(event, at="") for event in shelf.all_events())
            return jigs, events, shelf.ticks("run")
    except InputError as error:
        assert error.findings[0].code in ("shelf.missing", "shelf.damaged")
        return None


# -- every moment ---------------------------------------------------------------------------------


def every_moment(
    start: Path, work: Path, action: Callable[[Path], None], how: How
) -> Iterator[dict[str, object]]:
    """What each copy of `start` was left as: by name, and whether the action had told it was done.

    Of a killed one also whether the next one finds nothing amiss.
    """
    after = shutil.copytree(start, work / "after")
    action(after)
    known: dict[str, State | None] = {"after": state(after), "before": state(start)}
    for moment in range(1, 1000):
        folder, told = shutil.copytree(start, work / str(moment)), work / f"{moment}.done"
        code = in_a_child(ended, folder, told, action, moment, how)
        if code == UNREACHED:
            return
        found = state(folder)
        empty = found == ((), (), frozenset())
        name = next((name for name, one in known.items() if one == found), "OTHER")
        left = {"how": how, "moment": moment, "code": code, "left": "empty" if empty else name}
        left["told"] = told.read_bytes() == b"done"
        if how == "kill":
            action(folder)
            left["next"] = state(folder) is not None
        yield left


def ended(folder: Path, told: Path, action: Callable[[Path], None], moment: int, how: How) -> int:
    with told.open("wb", buffering=0) as word:
        at, reached = _until(moment, how)
        kept = watch(at)
        try:
            action(folder)
        except InputError as error:
            refused = error.findings[0].code.endswith(".cannot-write")
            return REFUSED if refused else OTHER
        word.write(b"done")
        return DONE if reached() and kept else UNREACHED


def main() -> None:
    start, work, action = sys.argv[1:]
    room = types.ModuleType("jiggen.verify")  # what is tested here is no jig
    room.certify = lambda folder: None  # type: ignore[attr-defined]
    sys.modules["jiggen.verify"] = room
    hows: tuple[How, How] = ("kill", "full")
    for how in hows:
        (Path(work) / how).mkdir()
        for left in every_moment(Path(start), Path(work) / how, ACTIONS[action], how):
            sys.stdout.write(f"{json.dumps(left)}\n")


if __name__ == "__main__":
    main()

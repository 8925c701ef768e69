"""A shelf whose writers are killed, are many, or find no room: nothing is lost unsaid."""

from __future__ import annotations

import json
import os
import random
import signal
import sqlite3
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from shelf_moments import DONE, FILE, JIG, MARK, REFUSED, drill, put, state
from shelf_samples import put_folder

from jiggen.errors import InputError
from jiggen.shelf.events import Event, Tick, now
from jiggen.shelf.file import APPLICATION, MIGRATIONS
from jiggen.shelf.store import Shelf, open_shelf
from jiggen.shelf.table import table_of

SCRIPT = Path(__file__).parent / "shelf_moments.py"
IN_MEMORY = Path("/dev/shm")  # moments are counted, and no time is lost with a disk's


def first_format(folder: Path) -> None:
    base = sqlite3.connect(folder / FILE)
    base.executescript(MIGRATIONS[0])
    base.execute(f"PRAGMA application_id = {APPLICATION}")
    base.execute("PRAGMA user_version = 1")
    base.execute("PRAGMA journal_mode = WAL")
    shelf = Shelf(folder / FILE, base)
    shelf._put(JIG)
    shelf._insert(Event(MARK, now(), "Resi", "added"))
    base.commit()
    base.close()


def many_rows(folder: Path) -> None:
    put(folder)
    at = [f"2026-01-31T17:00:00.{n:06}+00:00" for n in range(40)]
    rows = [Event(MARK, one, "Resi", "drilled", 1, text="x" * 200) for one in at]
    ticks = [Tick("run", str(n), MARK, one, "Resi") for n, one in enumerate(at)]
    (folder / "kept.csv").write_text(table_of([*rows, *ticks]))


def broken(folder: Path) -> None:
    put_folder(folder / "out" / "a")
    (folder / FILE).write_bytes(b"garbage." * 1024)
    (folder / f"{FILE}-wal").write_bytes(b"more of it")


def nothing(folder: Path) -> None:
    folder.mkdir(exist_ok=True)


# What is there before, what is done, and the least number of operations that it takes.
CASES: dict[str, tuple[Callable[[Path], None], str, int]] = {
    "the first jig": (nothing, "put", 30),
    "pairs": (put, "drill", 20),
    "a tick": (put, "tick", 20),
    "an older format": (first_format, "drill", 20),
    "a table": (many_rows, "read_back", 25),
    "a damaged file": (broken, "remake", 6),
}


@pytest.mark.parametrize("name", CASES)
def test_a_shelf_is_as_before_or_as_after(name: str):
    prepare, action, least = CASES[name]
    with TemporaryDirectory(dir=IN_MEMORY if IN_MEMORY.is_dir() else None) as work:
        start = Path(work) / "start"
        start.mkdir()
        prepare(start)
        command = [sys.executable, str(SCRIPT), str(start), work, action]
        said = subprocess.run(command, capture_output=True, text=True, check=True)
    left = [json.loads(line) for line in said.stdout.splitlines()]
    assert all(sum(one["how"] == how for one in left) >= least for how in ("kill", "full"))
    before = {"before", "empty"} if name == "the first jig" else {"before"}
    for one in left:
        assert one["left"] in {"after", *before}, one
        assert one["code"] in ((DONE, REFUSED) if one["how"] == "full" else (-signal.SIGKILL,)), one
        if one["told"]:  # what was told is kept
            assert one["left"] == "after", one
        if one["code"] == REFUSED:  # and what was refused is not there
            assert one["left"] in before, one
        assert one.get("next", True), one
    assert {one["left"] for one in left} >= {"before", "after"}
    assert {one["code"] for one in left} == {-signal.SIGKILL, DONE, REFUSED}


def test_a_writer_killed_at_any_time_has_kept_what_it_told(tmp_path: Path):
    put(tmp_path)
    chance, told = random.Random(16), 0
    for _ in range(20):
        reading, writing = os.pipe()
        child = os.fork()
        if not child:
            try:
                while True:
                    with open_shelf(tmp_path / FILE) as shelf:
                        for _ in range(3):
                            shelf.do(MARK, "drilled", pairs=1)
                            os.write(writing, b"x")
            finally:
                os._exit(1)
        os.close(writing)
        with os.fdopen(reading, "rb", buffering=0) as words:
            for _ in range(chance.randint(0, 3)):
                told += len(words.read(1))
            time.sleep(chance.uniform(0.0, 0.01))
            os.kill(child, signal.SIGKILL)
            os.waitpid(child, 0)
            told += len(words.readall())
        with open_shelf(tmp_path / FILE) as shelf:
            pairs = shelf.known(MARK).pairs
        assert told <= pairs <= told + 1  # it may have been killed before it could tell
        told = pairs
    assert told >= 25  # it was not always killed before it did anything


def test_many_writers_at_once_lose_nothing(tmp_path: Path):
    writers, each = 4, 15
    children = []
    for number in range(writers):
        if child := os.fork():
            children.append(child)
            continue
        code = 1
        try:
            for box in range(each):  # the first of them makes the shelf
                with open_shelf(tmp_path / FILE) as shelf:
                    with shelf._writing():
                        shelf._put(JIG)
                    shelf.do(MARK, "drilled", f"{number}", pairs=1)
                    shelf.tick("run", f"{box}", MARK, f"{number}")
            code = 0
        finally:
            os._exit(code)
    assert [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children] == [0] * 4
    with open_shelf(tmp_path / FILE) as shelf:
        jig, events = shelf.known(MARK), shelf.events(MARK)
        assert shelf.ticks("run") == {f"{box}" for box in range(each)}
    assert jig.pairs == writers * each + each  # each box counts once, whoever ticks it
    assert len({event.at for event in events}) == len(events)
    assert [path.name for path in tmp_path.iterdir()] == [FILE]


def test_a_writer_that_waits_too_long_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    put(tmp_path)
    monkeypatch.setattr("jiggen.shelf.file.PATIENCE", 0.05)
    with open_shelf(tmp_path / FILE) as first, first._writing():
        with pytest.raises(InputError, match="another program") as refused:
            drill(tmp_path)
        assert refused.value.findings[0].code == "shelf.busy"
        with open_shelf(tmp_path / FILE) as reader:  # who only reads need not wait
            assert reader.known(MARK).pairs == 0


def test_a_file_cut_short_anywhere_is_refused(tmp_path: Path):
    put(tmp_path)
    whole = (tmp_path / FILE).read_bytes()
    before = state(tmp_path)
    assert before is not None
    for length in (*range(0, len(whole), 1024), len(whole) - 1):
        (tmp_path / FILE).write_bytes(whole[:length])
        assert state(tmp_path) is None, length
    (tmp_path / FILE).write_bytes(whole)
    assert state(tmp_path) == before


def test_a_page_of_garbage_is_refused(tmp_path: Path):
    put(tmp_path)
    whole, chance = (tmp_path / FILE).read_bytes(), random.Random(7)
    for place in range(0, len(whole), 4096):
        data = whole[:place] + chance.randbytes(4096) + whole[place + 4096 :]
        (tmp_path / FILE).write_bytes(data)
        with pytest.raises(InputError) as refused, open_shelf(tmp_path / FILE, new=False):
            pass
        assert "shelf rebuild" in refused.value.findings[0].hint, place

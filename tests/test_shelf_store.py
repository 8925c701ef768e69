"""The shelf's file: what it holds; nothing is lost, whoever writes to it or breaks it."""

from __future__ import annotations

import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from jiggen.errors import InputError
from jiggen.shelf.events import Event, after, now
from jiggen.shelf.file import APPLICATION, MIGRATIONS
from jiggen.shelf.jigs import OwnedJig, warnings_of
from jiggen.shelf.store import open_shelf

MARK = "K7F3H"


def sample(**changes) -> OwnedJig:
    given = OwnedJig(
        MARK, "jig", Path("out/a"), "Arvenal Club Piste", "ab" * 32, (305.0, 305.0),
        (84.0, 112.0), "plain", "", 0.0, "", 9,
    )  # fmt: skip
    return replace(given, **changes)


@pytest.fixture
def shelf_file(tmp_path: Path) -> Path:
    path = tmp_path / "shelf.sqlite"
    with open_shelf(path) as shelf, shelf._writing():
        shelf._put(sample(folder=tmp_path / "out" / "a"))
        shelf._note(Event(MARK, now(), "Resi", "added"))
    return path


def test_what_was_done_decides_what_a_jig_is(shelf_file: Path):
    with open_shelf(shelf_file) as shelf:
        assert shelf.known(MARK).state == "built"
        shelf.do(MARK, "printed", "Resi")
        measured = shelf.do(MARK, "measured", "Resi", passed=True, text="a-b 150.02")
        assert (measured.state, measured.passed) == ("measured", True)
        used = shelf.do(MARK, "drilled", "Resi", pairs=3)
        assert (used.state, used.pairs, used.drilled) == ("in use", 3, 6)
        assert shelf.do(MARK, "new bushes").drilled == 0
        assert shelf.do(MARK, "retired").state == "retired"
        assert [event.doing for event in shelf.events(MARK)] == [
            "added", "printed", "measured", "drilled", "new bushes", "retired",
        ]  # fmt: skip
    with open_shelf(shelf_file) as shelf:  # and it is on the disk
        assert shelf.known(MARK).pairs == 3
        assert shelf.known(MARK).folder == shelf_file.parent / "out" / "a"


def test_a_new_print_is_not_the_one_that_was_measured():
    before = sample(passed=True, state="measured")
    assert after(before, Event(MARK, now(), "", "printed")).passed is None


def test_no_more_is_taken_back_than_was_drilled(shelf_file: Path):
    with open_shelf(shelf_file) as shelf:
        shelf.do(MARK, "drilled", pairs=1)
        with pytest.raises(InputError, match="cannot be taken back"):
            shelf.do(MARK, "drilled", pairs=-2)
        assert shelf.do(MARK, "drilled", pairs=-1).pairs == 0


def test_a_tick_counts_once_and_is_taken_back(shelf_file: Path):
    with open_shelf(shelf_file) as shelf:
        for _ in range(2):
            shelf.tick("run", "1 left", MARK, "Resi")
        assert (shelf.ticks("run"), shelf.known(MARK).pairs) == ({"1 left"}, 1)
        for _ in range(2):
            shelf.untick("run", "1 left", "Resi")
        assert (shelf.ticks("run"), shelf.known(MARK).pairs) == (frozenset(), 0)


@pytest.mark.parametrize(
    ("jig", "codes"),
    [
        (sample(), {"shelf.unmeasured"}),
        (sample(passed=False), {"shelf.failed"}),
        (sample(passed=True), set()),
        (sample(passed=True, pairs=51), {"shelf.worn"}),
        (sample(passed=True, pairs=51, earlier=30), set()),
        (sample(passed=True, state="retired"), {"shelf.retired"}),
        (sample(kind="gauge"), {"shelf.no-drill"}),
        (sample(passed=True, pairs=51, side="left"), set()),  # one ski of each pair
    ],
)
def test_what_speaks_against_a_jig_is_said(jig: OwnedJig, codes: set[str]):
    assert {finding.code for finding in warnings_of(jig, limit=100)} == codes


def test_a_jig_that_is_not_there_is_said(shelf_file: Path):
    with open_shelf(shelf_file) as shelf, pytest.raises(InputError, match="no jig marked AAAA3"):
        shelf.known("AAAA3")


def test_a_file_of_a_later_jiggen_is_left_alone(shelf_file: Path):
    with sqlite3.connect(shelf_file) as base:
        base.execute(f"PRAGMA user_version = {len(MIGRATIONS) + 1}")
    with pytest.raises(InputError, match="a later jiggen"), open_shelf(shelf_file):
        pass


def test_a_database_of_others_is_left_alone(tmp_path: Path):
    path = tmp_path / "other.sqlite"
    with sqlite3.connect(path) as base:
        base.execute("CREATE TABLE notes (text)")
    with pytest.raises(InputError, match="none of jiggen's"), open_shelf(path):
        pass


@pytest.mark.parametrize("keep", [0.0, 0.01, 0.3, 0.7])
def test_a_file_cut_short_is_refused(shelf_file: Path, keep: float):
    data = shelf_file.read_bytes()
    shelf_file.write_bytes(data[: int(len(data) * keep)])
    with pytest.raises(InputError, match="damaged") as refused, open_shelf(shelf_file):
        pass
    assert "makes a new one from the folders" in str(refused.value)


def test_what_is_no_database_is_refused(tmp_path: Path):
    path = tmp_path / "shelf.sqlite"
    path.write_bytes(b"not a database, whatever its name is" * 100)
    with pytest.raises(InputError, match="damaged"), open_shelf(path):
        pass


def test_no_shelf_is_made_by_looking(tmp_path: Path):
    with pytest.raises(InputError, match="no shelf yet"), open_shelf(tmp_path / "x", new=False):
        pass
    with open_shelf(tmp_path / "x") as shelf:
        assert (shelf.jigs(), shelf.all_events(), shelf.ticks("run")) == ((), (), frozenset())
        assert shelf.find(MARK) is None and shelf.of_folder(tmp_path) is None
        with pytest.raises(InputError, match="On the shelf: none yet"):
            shelf.do(MARK, "printed")
        with pytest.raises(InputError, match="manifest"):
            shelf.add(tmp_path)
        shelf.untick("run", "1")
        assert shelf.put_back([Event(MARK, now(), "Resi", "added")]) == (0, (MARK,))
    assert not any(tmp_path.iterdir())


def test_a_shelf_of_the_first_format_is_brought_to_this_one(tmp_path: Path):
    path = tmp_path / "shelf.sqlite"
    with sqlite3.connect(path) as base:
        base.executescript(MIGRATIONS[0])
        base.execute(f"PRAGMA application_id = {APPLICATION}")
        base.execute("PRAGMA user_version = 1")
        base.execute(
            "INSERT INTO jigs VALUES ('K7F3H', 'jig', 'out/a', 'P', '', 'null', 'null', '', '', 0, "
            "'', 9, '', 0)"
        )
    with open_shelf(path) as shelf:
        shelf.tick("run", "1", MARK)
        assert shelf.known(MARK).pairs == 1


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE events SET doing = 'sold'",
        "UPDATE jigs SET boots = '[1'",
        "UPDATE jigs SET skis = '7'",
    ],
)
def test_what_jiggen_would_not_write_is_refused(shelf_file: Path, change: str):
    base = sqlite3.connect(shelf_file)
    with base:
        base.execute(change)
    base.close()
    with open_shelf(shelf_file) as shelf, pytest.raises(InputError, match="damaged"):
        shelf.jigs()


def test_a_folder_whose_name_cannot_be_kept_is_refused(shelf_file: Path):
    with open_shelf(shelf_file) as shelf:
        with pytest.raises(InputError, match="Rename it"), shelf._writing():
            shelf._put(sample(folder=Path("/out/a\nb")))
        assert shelf.known(MARK).folder == shelf_file.parent / "out" / "a"


def test_a_shelf_is_made_where_files_have_no_second_name(tmp_path: Path, monkeypatch):
    def refused(*_: object) -> None:
        raise OSError("no links here")

    monkeypatch.setattr("os.link", refused)
    with open_shelf(tmp_path / "shelf.sqlite") as shelf:
        shelf.tick("run", "1", MARK)
        assert shelf.ticks("run") == {"1"}
    assert [path.name for path in tmp_path.iterdir()] == ["shelf.sqlite"]


def test_each_change_is_on_the_disk_and_kept_beside_the_file_first(shelf_file: Path):
    with open_shelf(shelf_file) as shelf:
        ways = [
            shelf._base.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("journal_mode", "synchronous", "foreign_keys", "user_version")
        ]
        assert ways == ["wal", 2, 1, len(MIGRATIONS)]  # 2 is FULL
        with pytest.raises(InputError), shelf._writing():
            shelf._note(Event("AAAA3", now(), "Resi", "note"))  # of no jig


def test_a_clock_that_is_set_back_changes_no_order(shelf_file: Path, monkeypatch):
    with open_shelf(shelf_file) as shelf:
        shelf.do(MARK, "printed")
        monkeypatch.setattr("jiggen.shelf.store.now", lambda: "2020-01-01T00:00:00.000000+00:00")
        assert shelf.do(MARK, "retired").state == "retired"
        times = [event.at for event in shelf.events(MARK)]
        assert times == sorted(set(times))

"""What certifies a folder verifies it first, and remembers by checksums what passed."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from jiggen.cli import main
from jiggen.errors import CheckFailed
from jiggen.pipeline.evening import is_finished
from jiggen.record import read_jig
from jiggen.shelf.store import open_shelf
from jiggen.verify import certificate, certify, check, verification


def test_no_sheet_verdict_or_finished_jig_from_a_folder_that_was_changed(
    folder, tmp_path, tmp_path_factory, monkeypatch, capsys
):
    key, shelf = read_jig(folder).key, tmp_path_factory.mktemp("shelf") / "shelf.sqlite"
    assert is_finished(folder, key)
    with (folder / "parts" / "knob.stl").open("ab") as stream:
        stream.write(b"x")
    found = check(folder)  # once for all of them: it takes seconds
    monkeypatch.setattr(verification, "check", lambda _: found)
    blank = tmp_path / "m.toml"
    for words in (
        ["sheet", str(folder)],
        ["printed", str(folder), "--blank", str(blank)],
        ["shelf", "add", str(folder), "--shelf", str(shelf)],
    ):
        assert main(words) == 1
        told = capsys.readouterr()
        assert "does not pass its verification: do not use it. parts/knob.stl" in told.err
        assert f"jiggen check {folder} says all" in told.err
    assert [path.name for path in tmp_path.iterdir()] == ["jig"]
    assert not is_finished(folder, key)
    with open_shelf(shelf) as opened:
        assert opened.jigs() == ()


@pytest.fixture
def checked(tmp_path, monkeypatch):
    """A folder, and the list of how often it was verified: it passes while its notes say so."""
    folder, calls = tmp_path / "jig", []
    (folder / "parts").mkdir(parents=True)
    (folder / "parts" / "body.stl").write_text("good")

    def check(asked):
        calls.append(asked)
        good = (asked / "parts" / "body.stl").read_text().startswith("good")
        return SimpleNamespace(passed=good, faults=() if good else ("a", "b", "c", "d", "e"))

    monkeypatch.setattr(verification, "check", check)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return folder, calls


def test_the_same_bytes_are_verified_once_and_others_anew(checked, monkeypatch):
    folder, calls = checked
    for _ in range(2):
        certify(folder)
        assert len(calls) == 1
    (folder / "parts" / "body.stl").write_text("good too")
    certify(folder)
    assert len(calls) == 2
    (folder / "parts" / "more.stl").write_text("")  # a file more
    certify(folder)
    assert len(calls) == 3
    (folder / "parts" / "more.stl").rename(folder / "more.stl")  # the same one elsewhere
    certify(folder)
    assert len(calls) == 4
    monkeypatch.setattr(certificate, "_code", lambda: b"another jiggen")
    certify(folder)
    assert len(calls) == 5


def test_what_failed_is_refused_every_time(checked):
    folder, calls = checked
    (folder / "parts" / "body.stl").write_text("bad")
    for number in (1, 2):
        with pytest.raises(CheckFailed, match=r"do not use it\. a; b; c; and 2 more"):
            certify(folder)
        assert len(calls) == number


def test_without_a_place_for_notes_all_is_verified_anew(checked, monkeypatch):
    folder, calls = checked
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder / "parts" / "body.stl"))
    for _ in range(2):
        certify(folder)
    assert len(calls) == 2


def test_no_more_notes_are_kept_than_enough(checked, monkeypatch):
    folder, _ = checked
    monkeypatch.setattr(certificate, "MOST", 2)
    for number in range(4):
        (folder / "parts" / "body.stl").write_text(f"good {number}")
        certify(folder)
    notes = folder.parent / "cache" / "jiggen" / "verified"
    assert len([*notes.iterdir()]) <= 3

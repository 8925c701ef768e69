"""The shelf's commands: what is put on it, done with it, made anew and read back."""

from __future__ import annotations

import json
import shutil
import sys
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from shelf_samples import put_folder

from jiggen.cli import main
from jiggen.errors import CheckFailed
from jiggen.files import JOB_FILE
from jiggen.marks import jig_mark
from jiggen.request.shelf import SHELF_FILE, login_name
from jiggen.shelf.jigs import OwnedJig
from jiggen.shelf.store import open_shelf

pytestmark = pytest.mark.usefixtures("as_if_verified")


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A workshop's folder with nothing in it."""
    work = tmp_path / "shop"
    work.mkdir()
    monkeypatch.chdir(work)
    return work


def shelf(*words: str, code: int = 0) -> None:
    assert main(["shelf", *words]) == code


def said(capsys: pytest.CaptureFixture[str], *words: str, code: int = 0) -> Any:
    capsys.readouterr()
    shelf(*words, "--json", code=code)
    return json.loads(capsys.readouterr().out)


def owned() -> dict[str, OwnedJig]:
    with open_shelf() as found:
        return {jig.mark: jig for jig in found.jigs()}


def test_a_jig_is_added_used_and_retired(shop: Path, capsys):
    mark = put_folder(shop / "out" / "a")
    shelf("add", "out/a", "--by", "Resi")
    assert owned()[mark].folder == shop / "out" / "a"
    shelf("printed", mark.lower(), "--by", "Resi")
    shelf("drilled", mark, "--pairs", "3", "--by", "Toni")
    shelf("drilled", mark)
    shelf("drilled", mark, "--pairs", "-1")
    shelf("note", mark, "left\n rail \x1b[31m worn")
    data = said(capsys, "mark", f" {mark[:2]} {mark[2:]}")
    assert (data["state"], data["pairs"], data["drilled"]) == ("in use", 3, 6)
    assert [(one["doing"], one["by"]) for one in data["events"]][:3] == [
        ("added", "Resi"), ("printed", "Resi"), ("drilled", "Toni"),
    ]  # fmt: skip
    assert data["events"][3]["by"] == login_name()
    assert [one["code"] for one in data["warnings"]] == ["shelf.unmeasured"]
    shelf("mark", mark)
    seen = capsys.readouterr()
    assert "left rail \\x1b[31m worn" in seen.out and "\x1b" not in seen.out
    assert "it was never measured" in seen.err and "3 pairs drilled, 6 holes" in seen.out
    shelf("retire", mark, "--why", "cracked")
    assert owned()[mark].state == "retired"
    assert said(capsys, "mark", mark)["events"][-1]["text"] == "cracked"


def test_the_list_says_what_speaks_against_each(shop: Path, capsys):
    shelf()
    assert "The shelf is empty" in capsys.readouterr().out
    assert not SHELF_FILE.exists()
    mark = put_folder(shop / "out" / "a")
    shelf("add", "out/a")
    with open_shelf() as found:
        found.do(mark, "measured", passed=True)
    shelf("drilled", mark, "--pairs", "501")
    assert [one["code"] for one in said(capsys)["jigs"][0]["warnings"]] == ["shelf.worn"]
    assert not said(capsys, "--bush-limit", "1002")["jigs"][0]["warnings"]
    (shop / "jiggen-defaults.toml").write_text("bush-limit = 2000\n")
    assert not said(capsys, "list")["jigs"][0]["warnings"]
    assert not said(capsys, "mark", mark)["warnings"]
    shelf("bushes", mark)
    assert owned()[mark].drilled == 0
    shelf()
    assert f"{mark}  in use  501" in capsys.readouterr().out


def test_another_shelf_is_named_by_its_file(shop: Path, capsys):
    mark = put_folder(shop / "out" / "a")
    shelf("add", "out/a", "--shelf", "hut.sqlite")
    assert [one["mark"] for one in said(capsys, "--shelf", "hut.sqlite")["jigs"]] == [mark]
    assert not SHELF_FILE.exists()
    shelf("--shelf", "hut.sqlite", "add", "out/a", code=2)  # else another shelf would be changed
    shelf("mark", mark, code=2)
    assert "no shelf yet" in capsys.readouterr().err


def test_a_gauge_and_a_trial_plate_are_no_jigs(shop: Path, capsys):
    for kind in ("gauge", "trial"):
        mark = put_folder(shop / "out" / kind, kind=kind)
        shelf("add", f"out/{kind}")
        error = said(capsys, "drilled", mark, code=2)["errors"][0]
        assert error["code"] == "shelf.no-drill"
        assert owned()[mark].pairs == 0
    assert {jig.kind_words for jig in owned().values()} == {"gauge", "trial plate"}


def test_a_jig_that_failed_its_measurement_is_not_taken_into_use(shop: Path, capsys):
    mark = put_folder(shop / "out" / "a")
    shelf("add", "out/a")
    with open_shelf() as found:
        found.do(mark, "measured", passed=False)
    assert said(capsys, "use", mark, code=1)["errors"][0]["code"] == "shelf.failed"
    shelf("printed", mark)
    shelf("use", mark)
    assert owned()[mark].state == "in use"


def test_a_folder_that_was_moved_is_the_same_jig(shop: Path):
    mark = put_folder(shop / "out" / "a")
    shelf("add", "out/a")
    shelf("drilled", mark)
    shutil.move(shop / "out" / "a", shop / "b")
    shelf("add", "b")
    assert (owned()[mark].folder, owned()[mark].pairs) == (shop / "b", 1)


def test_two_jigs_with_one_mark_are_refused(shop: Path, capsys):
    mark = put_folder(shop / "out" / "a")
    shelf("add", "out/a")
    other = put_folder(shop / "out" / "b", copy=2)
    assert other != mark
    manifest = shop / "out" / "b" / "manifest.json"
    manifest.write_text(manifest.read_text().replace(other, mark))  # as chance would have it
    error = said(capsys, "add", "out/b", code=2)["errors"][0]
    assert error["code"] == "shelf.two" and "--copy" in error["hint"]
    assert owned()[mark].folder == shop / "out" / "a"
    job = shop / "out" / "a" / JOB_FILE  # what decides nothing of the print makes no other jig
    job.write_text(job.read_text() + "[ski_in_hand]\nthickness = [22.0]\n")
    assert jig_mark({JOB_FILE: "kind = 1"}) == jig_mark({JOB_FILE: "kind = 1\nski_in_hand = 2"})
    shelf("add", "out/a")


def test_a_folder_that_fails_its_verification_is_refused(shop: Path, capsys, monkeypatch):
    def failed(folder: Path) -> None:
        raise CheckFailed.of("verify.refused", f"{folder} does not pass")

    put_folder(shop / "a")
    monkeypatch.setattr(sys.modules["jiggen.verify"], "certify", failed)
    assert said(capsys, "add", "a", code=1)["errors"][0]["code"] == "verify.refused"
    refused = said(capsys, "rebuild", "--below", "a")
    assert (refused["jigs"], refused["refused"][0]["code"]) == ([], "verify.refused")
    assert not owned()


@pytest.mark.parametrize("text", ["kind =", "\udcff"])
def test_a_folder_whose_texts_are_none_is_refused(shop: Path, capsys, text: str):
    put_folder(shop / "a")
    (shop / "a" / JOB_FILE).write_bytes(text.encode(errors="surrogateescape"))
    assert said(capsys, "add", "a", code=2)["errors"][0]["code"] == "shelf.asked"


def test_a_folder_without_a_mark_is_refused(shop: Path, capsys):
    put_folder(shop / "a")
    manifest = shop / "a" / "manifest.json"
    manifest.write_text(json.dumps(json.loads(manifest.read_text()) | {"jig_mark": ""}))
    assert said(capsys, "add", "a", code=2)["errors"][0]["code"] == "shelf.unmarked"
    assert said(capsys, "add", "nothing", code=2)["errors"][0]["code"] == "record.missing"
    assert not SHELF_FILE.exists()


def test_an_export_is_read_back_once(shop: Path, capsys):
    marks = [put_folder(shop / "out" / f"{copy}", copy) for copy in (1, 2)]
    for copy, mark in enumerate(marks, start=1):
        shelf("add", f"out/{copy}")
        shelf("drilled", mark, "--pairs", f"{copy}")
        shelf("note", mark, 'a "note", with; everything = 5')
    with open_shelf() as found:
        found.do(marks[0], "measured", passed=False, readings='{"a": [1.5, "b"]}')
        pair = ("118, hut-plate, 305, left", "118, hut-plate, 305, right")
        for box in pair:
            found.tick("0123456789ab", box, marks[0], "Toni", pair=pair)
        found.tick("lists/old.csv", 'T;1 "x", left', marks[1])
        ticks = found.all_ticks()
    shelf("retire", marks[1])
    before = owned()
    shelf("export", "kept.csv")
    assert said(capsys, "import", "kept.csv")["added"] == 0
    SHELF_FILE.unlink()
    shelf("rebuild")
    fresh = owned()
    assert fresh == {
        mark: replace(
            jig, state="built", passed=None, measured="", pairs=0, note=""
        )
        for mark, jig in before.items()
    }  # fmt: skip
    assert (
        said(capsys, "import", "kept.csv")["added"] == 8 + 2 + 3
    )  # two pairs and three boxes ticked off
    assert owned() == before
    with open_shelf() as found:
        assert '{"a": [1.5, "b"]}' in {event.readings for event in found.events(marks[0])}
        assert found.all_ticks() == ticks and len(ticks) == 3
        assert found.ticks("0123456789ab") == set(pair)


def test_rows_of_jigs_that_are_not_there_are_named(shop: Path, capsys):
    marks = [put_folder(shop / f"{copy}", copy) for copy in (1, 2)]
    for name in ("1", "2"):
        shelf("add", name)
    shelf("export", "kept.csv")
    SHELF_FILE.unlink()
    shelf("add", "1")
    data = said(capsys, "import", "kept.csv", code=1)
    assert (data["added"], data["unknown"]) == (1, [marks[1]])
    shelf("add", "2")
    assert said(capsys, "import", "kept.csv")["added"] == 1


HEAD = "mark,at,by,doing,pairs,passed,text,readings\n"
GOOD = "{mark},2026-01-31T17:05:00+00:00,Resi,drilled,2,,,\n"


@pytest.mark.parametrize(
    ("row", "code"),
    [
        ("K7F,2026-01-31T17:05:00+00:00,Resi,drilled,2,,,\n", "shelf.mark"),
        ("{mark},yesterday,Resi,drilled,2,,,\n", "shelf.time"),
        ("{mark},2026-01-31T17:05:00,Resi,drilled,2,,,\n", "shelf.time"),
        ("{mark},2026-01-31T17:05:00+00:00,Resi,sold,2,,,\n", "shelf.doing"),
        ("{mark},2026-01-31T17:05:00+00:00,Resi,drilled,two,,,\n", "shelf.pairs"),
        ("{mark},2026-01-31T17:05:00+00:00,Resi,measured,,maybe,,\n", "shelf.passed"),
        ("{mark},2026-01-31T17:05:00+00:00,Resi,measured,,yes,,{{\n", "shelf.readings"),
        ("{mark},2026-01-31T17:05:00+00:00,Resi,ticked,,,,\n", "shelf.run"),
        ("{mark},2026-01-31T17:05:00+00:00,Resi,drilled,3,,,\n" + GOOD, "shelf.differs"),
        ("{mark},2026-01-31T17:05:00+00:00,Resi,drilled,3,,,,,x\n", "shelf.cells"),
    ],
)
def test_what_is_wrong_with_a_table_is_said_and_nothing_is_read(
    shop: Path, capsys, row: str, code: str
):
    mark = put_folder(shop / "a")
    shelf("add", "a")
    (shop / "kept.csv").write_text((HEAD + row).format(mark=mark))
    error = said(capsys, "import", "kept.csv", code=2)["errors"][0]
    assert error["code"] == code and "kept.csv:" in error["where"]
    assert owned()[mark].pairs == 0


def test_a_row_that_differs_from_the_shelf_is_refused(shop: Path, capsys):
    mark = put_folder(shop / "a")
    shelf("add", "a")
    (shop / "kept.csv").write_text((HEAD + GOOD).format(mark=mark))
    assert said(capsys, "import", "kept.csv")["added"] == 1
    (shop / "kept.csv").write_text((HEAD + GOOD.replace(",2,", ",5,")).format(mark=mark))
    assert said(capsys, "import", "kept.csv", code=2)["errors"][0]["code"] == "shelf.differs"
    assert owned()[mark].pairs == 2


def test_a_damaged_shelf_is_put_aside_and_made_anew(shop: Path, capsys):
    mark = put_folder(shop / "out" / "evening" / "a")
    elsewhere = put_folder(shop / "older" / "b", copy=2)
    shelf("rebuild", "--below", "older")
    assert set(owned()) == {mark, elsewhere}
    garbage = SHELF_FILE.read_bytes()[:5000]
    SHELF_FILE.write_bytes(garbage)
    assert said(capsys, code=2)["errors"][0]["code"] == "shelf.damaged"
    data = said(capsys, "rebuild")
    assert [jig["mark"] for jig in data["jigs"]] == [mark]
    assert Path(data["aside"]).read_bytes() == garbage
    SHELF_FILE.write_bytes(b"")
    assert said(capsys, "rebuild", "--below", "older")["aside"].endswith(".damaged-2")
    assert set(owned()) == {mark, elsewhere}
    assert {path.name for path in shop.iterdir()} == {
        "out", "older", "jiggen-shelf.sqlite", "jiggen-shelf.sqlite.damaged-1",
        "jiggen-shelf.sqlite.damaged-2",
    }  # fmt: skip


def test_what_was_done_stays_where_the_shelf_is_sound(shop: Path, capsys):
    mark = put_folder(shop / "out" / "a")
    shelf("add", "out/a")
    shelf("drilled", mark, "--pairs", "4")
    put_folder(shop / "out" / "copied")
    (shop / "out" / "broken").mkdir()
    (shop / "out" / "broken" / "manifest.json").write_text("{")
    refused = said(capsys, "rebuild")["refused"]
    assert [one["code"] for one in refused] == ["record.invalid", "shelf.twice"]
    assert (owned()[mark].pairs, owned()[mark].folder) == (4, shop / "out" / "a")
    shelf("rebuild")
    seen = capsys.readouterr()
    assert "1 jig" in seen.out and "copied" in seen.err

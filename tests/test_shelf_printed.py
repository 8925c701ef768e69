"""What a print's measurement says is kept on the shelf, where the shelf has that jig."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from shelf_samples import put_folder

from jiggen.cli import main
from jiggen.files import JOB_FILE
from jiggen.measure.printer.to_measure import blank_text
from jiggen.report.printed import read_printout
from jiggen.request.shelf import SHELF_FILE
from jiggen.shelf.events import Event
from jiggen.shelf.store import open_shelf

pytestmark = pytest.mark.usefixtures("as_if_verified")


@pytest.fixture
def mark(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """That of a jig in ``a``; in m.toml each length of it, as it should be."""
    monkeypatch.chdir(tmp_path)
    mark = put_folder(tmp_path / "a")
    jig = read_printout(tmp_path / "a").jig
    pins, *lengths = blank_text(jig).split("[[length]]")
    text = [
        re.sub('value = ""', f"value = {one.nominal:.2f}", block, count=1)
        for block, one in zip(lengths, jig.lengths, strict=True)
    ]
    Path("m.toml").write_text("[[length]]".join([pins, *text]))
    return mark


def measured(*words: str, code: int) -> None:
    assert main(["printed", "a", "m.toml", "--by", "Resi", *words]) == code


def last(mark: str) -> Event:
    with open_shelf() as shelf:
        return shelf.events(mark)[-1]


def test_a_verdict_is_kept_with_its_readings(mark: str, capsys):
    main(["shelf", "add", "a"])
    main(["shelf", "drilled", mark])
    measured("--limit", "5", code=0)
    assert f"On the shelf: {mark}, in use" in capsys.readouterr().out
    event = last(mark)
    assert (event.doing, event.passed, event.by, event.text) == ("measured", True, "Resi", "")
    kept = json.loads(event.readings)
    assert [one["verdict"] for one in kept["lengths"]] == ["use"] * 4 and kept["limit"] == 5.0
    measured("--limit", "0.01", code=1)
    assert last(mark).passed is False and "may be off by more than 0.01 mm" in last(mark).text
    with open_shelf() as shelf:
        jig = shelf.known(mark)
    assert (jig.state, jig.passed, jig.measured) == ("measured", False, last(mark).at)


def test_a_jig_that_is_not_there_is_not_noted(mark: str, capsys):
    measured("--limit", "5", code=0)
    assert not SHELF_FILE.exists()
    main(["shelf", "add", "a"])
    job = Path("a") / JOB_FILE
    job.write_text(job.read_text().replace("305.0", "306.0"))  # another jig than the shelf's
    measured("--limit", "5", code=0)
    assert "On the shelf" not in capsys.readouterr().out
    assert last(mark).doing == "added"


def test_a_damaged_shelf_does_not_hide_the_measurement(mark: str, capsys):
    SHELF_FILE.write_bytes(b"garbage" * 1000)
    measured("--limit", "5", code=0)
    seen = capsys.readouterr()
    assert "USE IT" in seen.out and "note: " in seen.err and "damaged" in seen.err
    measured("--limit", "5", "--json", code=0)
    assert json.loads(capsys.readouterr().out)["notes"][0]["code"] == "shelf.damaged"

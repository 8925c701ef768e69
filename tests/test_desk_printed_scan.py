"""The page of a printed jig's scans: the verdict of the command, by the same pictures."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pytest
from desk_client import OWN, let_in, part
from glass import four
from printed_samples import designed, write_jig
from shelf_samples import put_folder
from starlette.testclient import TestClient
from test_scan_known import places

from jiggen.cli import main
from jiggen.desk import glass
from jiggen.desk.folders import Standing, built_folders
from jiggen.desk.pages import printed_scan
from jiggen.desk.scans import Read
from jiggen.desk.works import Works
from jiggen.measure.printer.jig import PrintedJig
from jiggen.measure.scan import files
from jiggen.report.printed import read_printout
from jiggen.shelf.store import open_shelf

pytestmark = pytest.mark.usefixtures("as_if_verified")
JIG = Path("out/jig")


@pytest.fixture
def desk(works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """In an empty workshop, whose jigs are as if they were verified."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(printed_scan, "standing", lambda *_: Standing(True))
    with let_in(works) as client:
        yield client


def lay(monkeypatch, jig: PrintedJig, scale: float = 1.0, **size) -> dict[str, object]:
    """Lay a print of the jig on the glass, and give what is entered of it."""
    at = {hole: scale * np.array(place) for hole, place in places(jig).items()}
    pictures = four(at, **size)
    monkeypatch.setattr(glass, "read_scans", lambda *_, **__: Read((*pictures,), (), (), None))
    monkeypatch.setattr(files, "look_at_all", lambda *_: pictures)
    ends = jig.holes[0], jig.holes[-1]
    row = dict(zip(("from.1", "to.1"), ends, strict=True))
    read = f"{scale * np.hypot(*jig.apart(ends)):.2f}"
    return {
        "jig": built_folders()[0].key,
        "images": [one.source for one in pictures],
        **row,
        "how.1": "centre",
        "read.1": read,
    }


def query(words: dict[str, object], **more: str) -> str:
    return urlencode(words | more, doseq=True)


@pytest.mark.parametrize(("scale", "good"), [(1.0, True), (0.995, False)])
def test_the_verdict_is_that_of_the_command(desk, monkeypatch, capsys, scale, good):
    jig = read_printout(write_jig(JIG, designed("hut-plate"))).jig
    words = lay(monkeypatch, jig, scale)
    page = desk.get(f"/printed/scan?{query(words)}").text
    found = part(page, "found")
    assert ("Result Use it" in found) is good
    assert ("Do not use it" in found) is not good
    command = part(page, "command")
    assert command.count("--scan scans/") == 4
    assert main(shlex.split(command)[1:]) == (0 if good else 1)
    out = " ".join(capsys.readouterr().out.split())
    assert out[out.index("The scans have, as one") :].partition(" --name")[0] in part(page, "text")
    assert page.count(f'href="#without.{jig.holes[0]}"') == 4
    assert 'href="/printed/readings?jig=' in page


def test_a_hole_that_is_left_out_and_what_contradicts(desk, monkeypatch):
    jig = read_printout(write_jig(JIG, designed("hut-plate"))).jig
    words = lay(monkeypatch, jig)
    page = desk.get(f"/printed/scan?{query(words, **{'without.rear-2': 'on'})}").text
    assert "--leave-out rear-2" in part(page, "command")
    assert "No scan has these holes: rear-2" in part(page, "found")
    assert part(page, "of.rear-2.1") == ""
    for wrong, where, told in (
        ("170", "found", "no scanner is so far off"),
        ("x", "distance-faults", '"x" is not a length'),
    ):
        address = query(words, **{"read.1": wrong})
        page = desk.get(f"/printed/scan?{address}").text
        assert told in part(page, where)
        assert "There is no verdict yet" in part(page, "kept")
        assert ">rear-2</text>" in page  # drawn all the same
        assert desk.post(f"/printed/scan/judge?{address}", headers=OWN).status_code == 422


def test_the_verdict_reaches_the_shelf(desk, monkeypatch):
    mark = put_folder(JIG)
    jig = read_printout(JIG).jig
    with open_shelf() as shelf:
        shelf.add(JIG)
    words = lay(monkeypatch, jig, size=(500.0, 500.0))
    sent = desk.post(f"/printed/scan/judge?{query(words, limit='0.5')}", headers=OWN)
    assert sent.headers["location"] == f"/shelf/{mark}"
    with open_shelf() as shelf:
        event = shelf.events(mark)[-1]
    assert (event.doing, event.passed) == ("measured", True)

"""The pages of a printed jig: readings over pins typed beside pictures, the command's verdict."""

from __future__ import annotations

import re
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pytest
from desk_client import OWN, let_in
from printed_samples import designed, finished, readings, write_jig
from printer_samples import Printer
from starlette.testclient import TestClient
from test_desk_printer import part

from jiggen.cli import main
from jiggen.desk.folders import Standing, built_folders
from jiggen.desk.pages import printed
from jiggen.desk.works import Works
from jiggen.files import parse_toml
from jiggen.measure.printer.profile import profile_names
from jiggen.measure.printer.to_measure import blank_text
from jiggen.report.printed import read_printout

pytestmark = pytest.mark.usefixtures("as_if_verified")
JIG = Path("out/jig")


@pytest.fixture
def desk(works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """In a workshop with a jig, its record alone, as if it were verified."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("JIGGEN_PRINTERS", str(tmp_path / "printers"))
    monkeypatch.setattr(printed, "standing", lambda *_: Standing(True))
    write_jig(JIG, designed())
    with let_in(works) as client:
        yield client


def typed(printer: Printer, **more: str) -> dict[str, str]:
    """The fields of a jig printed so: what its form asks for, with decimal commas."""
    found = {"jig": built_folders()[0].key, "typed": "1", "units": "mm", "over": "3.6"} | more
    places = finished(designed(), {body.name: printer for body in designed().bodies})
    rows = parse_toml(blank_text(read_printout(JIG).jig))["distance"]
    pairs = [tuple(row["between"]) for row in rows]
    for one in readings(places, pairs, np.random.default_rng(8), 0.02).readings:
        place = "~".join(one.between)
        name = f"r.{place}.2" if f"r.{place}" in found else f"r.{place}"
        found[name] = f"{one.value:.2f}".replace(".", ",")
    return found


TRUE, LONG = Printer(), Printer(1.008, 1.006, 0.1)


def shown(desk: TestClient, words: dict[str, str]) -> str:
    answer = desk.get(f"/printed/readings?{urlencode(words)}")
    assert answer.status_code == 200
    return answer.text


def kept() -> Path:
    (found,) = Path("readings").iterdir()
    return found


@pytest.mark.parametrize(
    ("printer", "words"),
    [(TRUE, "USE IT: every hole is within"), (LONG, "PRINT IT AGAIN with these values")],
)
def test_the_verdict_is_that_of_the_command(desk, capsys, printer, words):
    sample = typed(printer)
    page = unescape(shown(desk, sample))
    assert desk.post("/printed/keep", headers=OWN, data=sample).status_code == 303
    assert main(["printed", str(JIG), str(kept())]) == (0 if printer is TRUE else 1)
    told = capsys.readouterr().out
    assert words in told
    for line in told.strip().splitlines():
        assert line in page or "--" in line
    first = next(name for name in sample if name.startswith("r."))
    fits, off = re.search(r"fits (\S+), off (\S+)", part(page, f"{first}-said")).groups()
    read = float(sample[first].replace(",", "."))
    assert read - float(fits) == pytest.approx(float(off), abs=1e-9) and abs(float(off)) < 0.2
    assert f"jiggen printed out/jig {kept()}" in page


def test_the_profile_to_print_again_with_is_that_of_the_command(desk):
    sample = typed(LONG, name="club")
    answer = desk.post("/printed/judge", headers=OWN, data=sample)
    assert answer.headers["location"] == "/printer?name=club#shown"
    stored = Path("printers/club.toml")
    made = stored.read_bytes()
    stored.unlink()
    main(["printed", str(JIG), str(kept()), "--name", "club"])
    assert stored.read_bytes() == made


def test_one_can_stop_and_go_on(desk):
    sample = typed(TRUE)
    first = dict(list(sample.items())[:7])
    page = shown(desk, first)
    assert "not saved yet" in page and not Path("readings").exists()
    answer = desk.post("/printed/keep", headers=OWN, data=first)
    page = desk.get(answer.headers["location"]).text
    assert "not saved yet" not in page
    for name, words in first.items():
        if name.startswith("r."):
            number = words.replace(",", ".").rstrip("0").rstrip(".")
            assert re.search(rf'name="{re.escape(name)}" value="{number}(\.0)?"', page)


def test_a_contradiction_is_said_beside_its_reading_and_nothing_is_stored(desk):
    sample = typed(LONG, name="club")
    name = next(name for name in sample if name.startswith("r."))
    sample[name] = f"{float(sample[name].replace(',', '.')) + 1:.2f}"
    page = shown(desk, sample)
    assert "you wrote" in part(page, f"{name}-said")
    assert "Do not use it" in part(page, "found")
    desk.post("/printed/judge", headers=OWN, data=sample)
    assert profile_names() == ()


def test_each_reading_has_its_picture_and_short_calipers_ask_less(desk):
    page = shown(desk, {"jig": built_folders()[0].key})
    rows = len(re.findall(r'<section class="place', page))
    assert page.count('<use href="#base">') == rows > 5
    short = shown(desk, {"jig": built_folders()[0].key, "caliper": "60"})
    assert page != short


def test_a_jig_is_chosen_by_its_mark_or_from_the_list(desk):
    assert f'href="/printed/readings?jig={built_folders()[0].key}"' in desk.get("/printed").text
    assert "No jig marked E4RAP was built" in desk.get("/printed?mark=e4rap").text
    (jig,) = built_folders()
    answer = desk.get(f"/printed?mark={jig.record().jig_mark}")
    assert answer.headers["location"] == f"/printed/readings?jig={jig.key}"
    assert desk.get("/printed/readings?jig=nothing").status_code == 404


def test_a_jig_that_failed_is_not_measured(desk, monkeypatch):
    monkeypatch.setattr(printed, "standing", lambda *_: Standing(False))
    words = typed(TRUE)
    assert desk.get(f"/printed/readings?{urlencode(words)}").status_code == 422
    assert desk.post("/printed/judge", headers=OWN, data=words).status_code == 422
    assert not Path("readings").exists()


def test_nothing_that_was_typed_is_lost_while_the_jig_is_verified(desk, monkeypatch, works):
    asked = []

    def begun(*around: object) -> Standing:
        asked.append(around[-1])
        return Standing(False, work=works.start("wait", print, key="wait", address="/"))

    monkeypatch.setattr(printed, "standing", begun)
    query = urlencode(words := typed(TRUE))
    assert desk.get(f"/printed/readings?{query}").headers["location"].startswith("/work/")
    answer = desk.post("/printed/keep", headers=OWN, data=words)
    assert answer.status_code == 422 and "is being verified" in answer.text
    assert asked == [f"/printed/readings?{query}"] * 2

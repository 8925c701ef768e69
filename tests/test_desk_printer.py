"""The printer's pages: a gauge's readings typed beside pictures, and stored as the command does."""

from __future__ import annotations

import shlex
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import urlencode

import numpy as np
import pytest
from desk_client import OWN, let_in, part
from glass import four
from printer_samples import Printer, read_gauge
from record_samples import beds_of
from starlette.testclient import TestClient
from test_scan_known import gauge

from jiggen.cli import main
from jiggen.design.gauge import design_gauge, readings_of
from jiggen.design.settings import Bed
from jiggen.desk import glass
from jiggen.desk.folders import built_folders
from jiggen.desk.scans import Read
from jiggen.desk.works import Works
from jiggen.export.manifest import gauge_record, measurements_toml
from jiggen.measure.printer.profile import profile_names
from jiggen.measure.printer.read import Height, Measurements
from jiggen.measure.scan import files
from jiggen.record import json_text

CLUB = Printer(0.997, 1.002, 0.2, -0.18, 0.12, 0.995)
FILE = Path("out/gauge/measurements.toml")


def put_gauge(folder: Path) -> None:
    """A gauge's folder: its record and its form alone."""
    gauge = design_gauge(Bed())
    folder.mkdir(parents=True)
    volumes = {piece.name: 1000.0 for piece in gauge.pieces}
    record = gauge_record(gauge, volumes, beds_of(gauge.pieces))
    (folder / "manifest.json").write_text(json_text(record), encoding="utf-8")
    (folder / FILE.name).write_text(measurements_toml(readings_of(gauge)), encoding="utf-8")


@pytest.fixture
def desk(works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    """In a workshop with a gauge: its record and its form alone."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("JIGGEN_PRINTERS", str(tmp_path / "printers"))
    put_gauge(FILE.parent)
    with let_in(works) as client:
        yield client


def typed(measurements: Measurements, **more: str) -> dict[str, str]:
    """The fields of the readings, as they are named by what is measured, with decimal commas."""
    found = {"gauge": built_folders()[0].key, "typed": "1"} | more
    for one in measurements.readings:
        if isinstance(one, Height):
            place = f"height~{one.asked:g}"
        else:
            place = "~".join(getattr(one, "between", None) or [one.of])
        name = f"r.{place}.2" if f"r.{place}" in found else f"r.{place}"
        found[name] = f"{one.value:.2f}".replace(".", ",")
    return found


@pytest.fixture
def sample(desk: TestClient) -> dict[str, str]:
    return typed(read_gauge(CLUB, np.random.default_rng(3)), name="club", material="PETG, grey")


def readings(desk: TestClient, words: dict[str, str]) -> str:
    answer = desk.get(f"/printer/readings?{urlencode(words)}")
    assert answer.status_code == 200
    return answer.text


def test_readings_typed_on_the_page_make_the_profile_of_the_command(desk, sample, capsys):
    answer = desk.post("/printer/store", headers=OWN, data=sample)
    assert answer.headers["location"] == "/printer?name=club#shown"
    stored = Path("printers/club.toml")
    made = stored.read_bytes()
    stored.unlink()
    line = ["profile", "fit", str(FILE), "--name", "club", "--material", "PETG, grey"]
    assert main(line) == 0
    assert stored.read_bytes() == made
    told = capsys.readouterr().out
    page = unescape(readings(desk, sample))
    for line in told.split("Written")[0].strip().splitlines():
        assert line in page or line.startswith("club")
    assert "jiggen profile fit out/gauge/measurements.toml --name club" in page
    page = desk.get("/printer?name=club").text
    assert 'href="/jig?printer=club"' in page and "190 mm along x comes out 0.5" in page


def test_one_can_stop_and_go_on(desk, sample):
    first = {name: sample[name] for name in list(sample)[:9]}
    blank = FILE.read_text(encoding="utf-8")
    page = readings(desk, first)
    assert "40 of 45 readings are still to be taken" in page and "not saved yet" in page
    assert FILE.read_text(encoding="utf-8") == blank
    answer = desk.post("/printer/keep", headers=OWN, data=first)
    page = desk.get(answer.headers["location"]).text
    assert "40 of 45 readings are still to be taken" in page and "not saved yet" not in page
    assert blank.count('value = ""') - FILE.read_text(encoding="utf-8").count('value = ""') == 5
    again = {name: "" if name.startswith("r.") else words for name, words in first.items()}
    desk.post("/printer/keep", headers=OWN, data=again)
    assert FILE.read_text(encoding="utf-8") == blank


def test_what_to_measure_next_is_said(desk, sample):
    first = {name: sample[name] for name in list(sample)[:9]}
    said = part(readings(desk, first), "found")
    assert "The readings do not say how long the printer makes things" in said
    assert "as well" in said


def test_a_contradiction_is_said_beside_its_reading_and_nothing_is_stored(desk, sample):
    name = next(iter(name for name in sample if name.startswith("r.")))
    wrong = sample | {name: f"{float(sample[name].replace(',', '.')) + 1:.2f}"}
    page = readings(desk, wrong)
    assert "It looks like 1 mm too much." in part(page, f"{name}-said")
    assert page.count("It looks like 1 mm too much.") == 2  # there, and in what all of them say
    assert "<- wrong?" in unescape(page)
    blank = FILE.read_bytes()
    answer = desk.post("/printer/store", headers=OWN, data=wrong)
    assert answer.status_code == 422 and "Nothing was changed" in answer.text
    assert profile_names() == () and FILE.read_bytes() == blank


@pytest.mark.parametrize(
    ("field", "words", "said"),
    [
        ("r.A~B", "abc", "must be a number"),
        ("r.A~B", "9999", "A reading of 9999 mm"),
        ("r.E", "-3", "A reading of -3 mm"),
        ("caliper", "7", "A standard uncertainty of 7 mm"),
        ("units", "ell", "is not allowed"),
        ("r.bush_fit", "7", "An allowance of 7 mm"),
    ],
)
def test_what_is_wrong_stands_beside_its_field(desk, sample, field, words, said):
    wrong = sample | {field: words}
    page = readings(desk, wrong)
    assert said in part(page, f"{field}-said")
    assert desk.post("/printer/store", headers=OWN, data=wrong).status_code == 422
    assert profile_names() == ()


@pytest.mark.parametrize("name", ["", "Not a name"])
def test_a_profile_needs_a_name(desk, sample, name):
    assert desk.post("/printer/store", headers=OWN, data=sample | {"name": name}).status_code == 422
    assert profile_names() == ()


def test_each_reading_has_its_picture(desk, sample):
    page = readings(desk, sample)
    assert page.count('<use href="#base">') == 25
    assert page.count("Where the caliper goes: 1: A to B, over both pegs") == 1
    assert desk.get("/printer/readings?gauge=nothing").status_code == 404
    assert desk.post("/printer/keep", headers=OWN, data={"gauge": "../out"}).status_code == 404


def test_the_gauges_of_the_workshop_are_chosen(desk):
    page = desk.get("/printer").text
    assert f'href="/printer/readings?gauge={built_folders()[0].key}"' in page
    assert 'href="/gauge"' in page and "None yet" in page


def test_scans_of_the_gauge_make_the_profile_of_the_command(desk, monkeypatch, capsys):
    length, words = laid(monkeypatch, Printer(1.004, 0.998, 0.2))
    page = desk.get(f"/printer/scan?{words}").text
    assert "Scans and readings agree" in part(page, "found")
    assert "Name printer and material" in part(page, "kept")
    assert page.count('href="#without.E"') == 4
    page = desk.get(f"/printer/scan?{words}&name=club").text
    command = part(page, "command")
    assert f"--distance E-F:centre={length:.2f}" in command
    assert main(shlex.split(command)[1:]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.partition(" Written")[0][-200:] in part(page, "text")
    (stored,) = profile_names()
    (Path("printers") / f"{stored}.toml").unlink()
    sent = desk.post(f"/printer/scan/store?{words}&name=club", headers=OWN)
    assert (sent.headers["location"], profile_names()) == ("/printer?name=club#shown", ("club",))


@pytest.mark.parametrize(
    ("more", "said"),
    [
        ({"read.1": "150"}, "no scanner is so far off"),
        ({"read.1": ""}, "do not say how long the printer makes things"),
    ],
)
def test_scans_of_the_gauge_that_say_too_little_make_no_profile(desk, monkeypatch, more, said):
    _, words = laid(monkeypatch, Printer(), **more)
    page = desk.get(f"/printer/scan?{words}&name=club").text
    assert said in part(page, "found")
    assert "There is no profile yet" in part(page, "kept")
    assert ">E</text>" in page  # drawn all the same
    assert desk.post(f"/printer/scan/store?{words}&name=club", headers=OWN).status_code == 422
    assert not profile_names()


def laid(monkeypatch, printer: Printer, **more: str) -> tuple[float, str]:
    """Lay a print of the gauge on the glass; the distance from E to F, and what is entered."""
    at, widths = gauge(printer)
    pictures = four(at, widths=widths)
    monkeypatch.setattr(glass, "read_scans", lambda *_, **__: Read((*pictures,), (), (), None))
    monkeypatch.setattr(files, "look_at_all", lambda *_: pictures)
    length = float(np.hypot(*np.subtract(at["E"], at["F"])))
    row = {"from.1": "E", "to.1": "F", "how.1": "centre", "read.1": f"{length:.2f}"}
    images = [one.source for one in pictures]
    own = {"gauge": built_folders()[0].key, "images": images, **row, **more}
    return length, urlencode(own, doseq=True)

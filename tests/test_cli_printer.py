"""--printer: which profile is meant, what is refused before anything is built, what is said."""

from __future__ import annotations

import json
from functools import cache

import numpy as np
import pytest
from page_samples import Seen, make_folder
from record_samples import report_html, sheet_pdf
from sheet_samples import shipped

from jiggen.cli import main
from jiggen.export.compensation import compensation_entry
from jiggen.measure.printer.profile import Compensation, Profile, save_profile
from jiggen.report.summary import LAY, compensated, for_printer
from jiggen.verify import check
from jiggen.verify.reading.pdf import read_pages

CLUB = Profile(
    name="club-hall", scale_x=0.997, scale_y=0.9985, scale_z=0.999, skew=0.15, hole=-0.12
)
DONE = Compensation("club-hall", np.array([[1.003, -0.0026], [0.0, 0.998]]), 1.001)
WORDS = (
    "parts made 0.30 % longer in x, 0.20 % shorter in y, 0.10 % higher, their y axis leant 0.15° "
    "towards -x; jig.step is as designed, with the fits of this printer"
)


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("JIGGEN_PRINTERS", str(tmp_path / "printers"))
    monkeypatch.chdir(tmp_path)
    save_profile(CLUB)


def build(*words: str) -> int:
    return main(["build", "club-piste", "--boot", "305", "--ski", "84-112", *words])


def test_an_unknown_printer_is_refused_with_those_that_are_known(tmp_path, capsys):
    assert build("--printer", "barn") == 2
    said = capsys.readouterr().err
    assert "no printer called 'barn'" in said and "Known: club-hall" in said
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"scale_x": 0.98}, "2.04 % of its size, 2 % is the most"),
        ({"slide": 0.4}, "for printer odd gear backlash is 0.5857 mm"),
        ({"hole": -0.55}, "for printer odd bush fit allowance is 0.65 mm"),
    ],
    ids=["stretch", "slide", "hole"],
)
def test_too_much_is_refused_before_anything_is_built(tmp_path, capsys, change, words):
    path = save_profile(CLUB.model_copy(update={"name": "odd", **change}))
    assert build("--printer", str(path)) == 2
    assert words in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


def test_a_trial_plate_is_made_for_the_printer_and_verified(tmp_path, capsys):
    assert (
        main(["trial", "hut-plate", "--boot", "305", "--printer", "club-hall", "--out", "t"]) == 0
    )
    said = capsys.readouterr().out
    assert "club-hall: parts made 0.30 % longer in x" in said and LAY in said
    manifest = json.loads((tmp_path / "t" / "manifest.json").read_text())
    assert manifest["inputs"]["printer"] == "club-hall"
    done = manifest["compensation"]
    assert done["matrix"][0][0] == pytest.approx(1 / 0.997)
    assert set(done) == {"printer", "matrix", "height"}
    assert manifest["inputs"]["hole_fit"] == 0.12
    drills = {hole["id"]: hole["diameter"] for hole in manifest["holes"]}
    verification = check(tmp_path / "t")
    assert verification.passed
    for hole in verification.holes:
        assert hole.wanted.bore == pytest.approx(drills[hole.id] + 0.15 + 0.12)
        assert hole.stl.bore == pytest.approx(hole.wanted.bore, abs=2e-3)
        assert hole.step.bore == pytest.approx(hole.wanted.bore, abs=1e-6)


def test_what_was_done_is_said_in_words():
    assert compensated(compensation_entry(DONE)) == WORDS
    nothing = Compensation("club-hall", np.eye(2), 1.0)
    assert compensated(compensation_entry(nothing)).startswith("parts made as designed;")


def test_the_summary_names_the_printer_only_where_there_is_one():
    assert for_printer(None) == []
    first, second = for_printer(compensation_entry(DONE))
    assert first == f"Printer:  club-hall: {WORDS}"
    assert second.strip() == LAY


def test_the_page_names_the_printer_and_how_to_lay_the_parts(tmp_path):
    manifest = make_folder(tmp_path / "page")
    plain = Seen(report_html(tmp_path / "page", manifest)).text
    assert "For printer" not in plain
    entry = compensation_entry(DONE).model_dump()
    page = Seen(report_html(tmp_path / "page", manifest | {"compensation": entry})).text
    assert f"For printer club-hall: {WORDS}. {LAY}" in page


@cache
def sheet(done: bool) -> str:
    entry = compensation_entry(DONE).model_dump() if done else None
    pages = read_pages(sheet_pdf(shipped("club-piste") | {"compensation": entry}))
    return " ".join(" ".join(page.text for page in pages).split())


def test_the_sheet_names_the_printer_and_how_the_parts_must_lie():
    assert "made for printer club-hall alone: as the files lie, not turned on its bed" in sheet(
        True
    )
    assert "made for printer" not in sheet(False)

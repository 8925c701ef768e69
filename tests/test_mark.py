"""The ski's own mark: from the tail, at half the chord, and a page to find and compare it."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import pytest
from record_samples import sheet_pdf
from sheet_samples import shipped
from test_evening_plan import TERMS

from jiggen import options
from jiggen.cli import main
from jiggen.drilling import SkiMark, SkiState
from jiggen.errors import InputError
from jiggen.evening import Outcome, plan_evening
from jiggen.evening.read import read_jobs
from jiggen.files import mark_of
from jiggen.record import JigRecord
from jiggen.report.evening import run_sheet_pdf
from jiggen.report.mark import FIND
from jiggen.report.redrill import for_boot
from jiggen.verify.drawn import squeezed
from jiggen.verify.reading.pdf import read_pages
from jiggen.verify.reading.stated import Stated
from jiggen.verify.results import Ledger
from jiggen.verify.sheets import judge_sheet

TAIL, CHORD = {"way": "tail", "length": 812.5}, {"way": "chord", "length": 1725.0}


@cache
def record(stem: str) -> str:
    return json.dumps(shipped(stem))


def marked(stem: str, mark: dict | None = None) -> dict:
    data = json.loads(record(stem))
    data["inputs"]["ski_in_hand"]["mark"] = mark
    return data


def words_of(pdf: bytes) -> str:
    return squeezed(" ".join(page.text for page in read_pages(pdf)))


def faults(pdf: bytes, data: dict) -> list[str]:
    """What is wrong with a sheet's words, held to a record."""
    ledger = Ledger()
    stated = Stated.model_validate(data | {"mark": mark_of(data)})
    judge_sheet(pdf, stated, Path(), ledger)
    return [fault.message for fault in ledger.faults if fault.code == "verify.sheet-words"]


@pytest.mark.parametrize(
    ("words", "from_tail"),
    [("tail:812", 812.0), ("tail:812,5", 812.5), ("TAIL: 32in", 812.8), ("chord:1724", 862.0)],
)
def test_a_mark_is_so_far_from_the_tail_or_at_half_the_chord(words, from_tail):
    mark = SkiMark(*options.MARK.read(words))
    SkiState(mark=mark).check()
    assert mark.from_tail == from_tail


@pytest.mark.parametrize("words", ["812", "tip:812", "tail", "chord:", "tail:x", ""])
def test_anything_else_is_refused_with_a_hint(words):
    with pytest.raises(InputError) as caught:
        options.MARK.read(words)
    assert caught.value.findings[0].key == "mark" and caught.value.findings[0].hint


@pytest.mark.parametrize("mark", [SkiMark("tail", 81.2), SkiMark("chord", 500.0)])
def test_a_mark_where_no_ski_has_one_is_refused(mark):
    with pytest.raises(InputError, match="300 to 1300 mm"):
        SkiState(mark=mark).check()


def test_every_sheet_says_how_to_find_the_mark_and_to_compare_both_skis():
    pdf = sheet_pdf(marked("hut-plate"))
    shown = words_of(pdf)
    for words in ("The mark on both skis", *FIND, "both marks meet"):
        assert squeezed(words) in shown
    assert squeezed("goes on the ski's mark") not in shown
    assert faults(pdf, marked("hut-plate")) == []


def test_a_mark_from_the_tail_is_on_the_sheet_with_the_outermost_holes():
    data = marked("club-piste", TAIL)
    shown = words_of(sheet_pdf(data))
    at = {hole["id"]: 812.5 + hole["x"] for hole in data["holes"]}
    assert squeezed("The mark is 812.5 mm in front of the tail's end, in a straight line") in shown
    for name in (min(at, key=lambda one: at[one]), max(at, key=lambda one: at[one])):
        assert squeezed(f"{name} {round(at[name], 1):g} mm") in shown
    half = words_of(sheet_pdf(marked("club-piste", CHORD)))
    assert squeezed("at half the chord of 1725 mm: 862.5 mm in front of the tail") in half


def test_a_sheet_with_another_mark_than_the_record_is_found():
    right, none = marked("club-piste", TAIL), marked("club-piste")
    pdf = sheet_pdf(right)
    assert faults(pdf, right) == []
    wrong = faults(pdf, marked("club-piste", TAIL | {"length": 813.5}))
    assert any("813.5 mm in front of the tail's end" in message for message in wrong)
    assert any("toe-1 968.8 mm" in message for message in wrong)  # 813.5 + 155.3
    assert faults(sheet_pdf(none), right)
    swapped = marked("long-valley")
    pdf = sheet_pdf(swapped)
    assert squeezed("The boot's pin line goes on the ski's mark") in words_of(pdf)
    assert faults(pdf, swapped) == []
    assert any("pin line" in one for one in faults(sheet_pdf(none), swapped))


def test_the_command_makes_a_sheet_for_a_ski_without_a_mark(built, tmp_path, capsys):
    out = tmp_path / "bench.pdf"
    words = ["sheet", str(built.folder), "--mark", "chord:1725", "-o", str(out)]
    assert main(words) == 0
    assert squeezed("862.5 mm in front of the tail's end") in words_of(out.read_bytes())
    capsys.readouterr()
    assert main([*words[:2], "--mark", "1725", "-o", str(out)]) == 2
    assert "tail:812" in capsys.readouterr().err


def test_a_column_of_the_evening_says_where_a_pairs_mark_is(tmp_path, monkeypatch):
    monkeypatch.setattr("jiggen.evening.families.fits", lambda *_: True)
    head = "ticket;pattern;boot;ski_toe;ski_heel;mark\n"
    jobs = tmp_path / "jobs.csv"
    jobs.write_text(f"{head}A1;hut-plate;305;96;94;chord:1725\nA2;hut-plate;305;96;94;\n")
    plan = plan_evening(read_jobs(jobs), TERMS)
    outcomes = [Outcome("built", tmp_path / "jig")] * len(plan.jigs)
    shown = words_of(run_sheet_pdf(plan, outcomes))
    assert shown.count(squeezed("at half the chord of 1725 mm: 862.5 mm in front of")) == 1
    jobs.write_text(f"{head}A1;hut-plate;305;96;94;812\nA2;hut-plate;305;96;94;tail:81,2\n")
    with pytest.raises(InputError) as caught:
        plan_evening(read_jobs(jobs), TERMS)
    found = [(finding.where.rpartition(":")[2], finding.key) for finding in caught.value.findings]
    assert found == [("2", "mark"), ("3", "mark")]


def test_the_page_for_one_pair_has_the_mark_too():
    record = JigRecord.model_validate(marked("club-piste", CHORD))
    found = for_boot(record, 305.0).inputs.ski_in_hand
    assert found == record.inputs.ski_in_hand and found.mark.from_tail == 862.5
    assert squeezed("862.5 mm in front of the tail's end") in words_of(
        sheet_pdf(marked("club-piste", CHORD), boot=305.0)
    )
    with pytest.raises(InputError, match="looks like a shoe size"):
        for_boot(record, 26.5)

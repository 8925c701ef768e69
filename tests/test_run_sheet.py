"""The run sheet: room for every word, and for every ski its boxes to tick."""

from __future__ import annotations

from collections import Counter
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from test_evening_plan import DATA, HEAD, TERMS
from test_sheet import LEAST_MARGIN, NEAR, meet

from jiggen.cautions import CAUTIONS
from jiggen.errors import Finding, InputError
from jiggen.evening import Outcome, plan_evening
from jiggen.evening.read import Jobs, read_jobs
from jiggen.job import boots_alike
from jiggen.pattern import find_pattern
from jiggen.report.evening import run_sheet_pdf
from jiggen.report.evening.run_sheet import TICK
from jiggen.verify.reading.pdf import read_pages

FAILED = (Finding("evening.verification", "it failed its verification: do not print it"),)
CASES = ("demo", "failed", "crowd", "one", "ladder")
EITHER = pytest.mark.parametrize("paper", ["A4", "letter"])
EACH = pytest.mark.parametrize("case", CASES)

STRAINED = """format = 1
name = "{name}"
[drill]
diameter = {{ plain = 3.607, metal = 4.089 }}
depth = 9.144
[[group]]
name = "{group}"
datum = "boot-centre"
shift = 0.0
"""


def one_boot(jig) -> bool:
    """What an ordinary jig serves, near enough; no design is made to find out."""
    return boots_alike(jig.pattern, jig.boots) and any_boot(jig)


def any_boot(jig) -> bool:
    """What a jig with a ladder for boots would serve."""
    return jig.skis[1] < 1.6 * jig.skis[0]


REACH = (one_boot, any_boot)


def strained() -> str:
    """Names as wide as can be, and ten depths in one pattern: ten settings of the stop."""
    holes = [
        f"[[group.hole]]\nat = [{12.345 * n}, 21.3]\nboth_sides = true\n"
        f"drill = {{ depth = {6.0 + 0.4 * n} }}\n"
        for n in range(10)
    ]
    return STRAINED.format(name="W" * 20 + " " + "M" * 19, group="W" * 40) + "".join(holes)


@pytest.fixture(scope="module")
def folder(tmp_path_factory) -> Path:
    return tmp_path_factory.mktemp("jobs")


@pytest.fixture(scope="module")
def plans(folder):
    """Plans by case."""

    @cache
    def plan(case: str):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("jiggen.evening.families.fits", REACH[case == "ladder"])
            return plan_evening(jobs(case), TERMS)

    def jobs(case: str) -> Jobs:
        if case in ("demo", "failed", "ladder"):
            return read_jobs(DATA / "evening.csv")
        (folder / "wide.toml").write_text(strained())
        rows = [f"{'W' * 36}{n:03},wide.toml,305.25,96.75,94.25,,-7.25,16,\n" for n in range(40)]
        if case == "one":
            rows = ["A1,hut-plate,305,96,94,,,,\n"]
        path = folder / f"{case}.csv"
        path.write_text(HEAD + "".join(rows))
        return read_jobs(path)

    return plan


def mark_of(jig: int) -> str:
    return f"K7F{jig:02}".translate(str.maketrans("0125689", "ACEHJKN"))


def outcomes(plan, case: str) -> list[Outcome]:
    folders = [Path(f"out/some-jig-{n}-1a2b3c4d") for n in range(len(plan.jigs))]
    found = [
        Outcome("built", folder, jig_mark=mark_of(n)) for n, folder in enumerate(folders, start=1)
    ]
    if case == "failed":
        left = next(n for n, jig in enumerate(plan.jigs) if jig.job.pattern.pair == "mirrored")
        found[left] = Outcome("failed", Path("out/x"), FAILED)
    return found


@pytest.fixture(scope="module")
def pages(plans):
    @cache
    def read(case: str, paper: str):
        plan = plans(case)
        return read_pages(run_sheet_pdf(plan, outcomes(plan, case), paper=paper))

    return read


def text_of(read) -> str:
    return " ".join(page.text for page in read)


# -- room ----------------------------------------------------------------------------------------


@EITHER
@EACH
def test_no_words_run_over_the_margins_or_into_one_another(pages, case, paper):
    for number, page in enumerate(pages(case, paper), start=1):
        boxes = [word.box for word in page.words if word.text.strip()]
        low, high = np.min(boxes, axis=0)[:2], np.max(boxes, axis=0)[2:]
        assert (low >= LEAST_MARGIN - 0.6).all(), number
        assert (high <= np.subtract(page.size, LEAST_MARGIN)).all(), number
        for index, one in enumerate(page.words):
            for other in page.words[:index]:
                assert not meet(one.box, other.box), (number, one.text, other.text)


@EITHER
@EACH
def test_no_box_to_tick_is_written_over(pages, case, paper):
    for page in pages(case, paper):
        for corner in ticks(page):
            box = (corner[0], corner[1] - TICK, corner[0] + TICK, corner[1])
            assert not any(meet(box, word.box, 0.3) for word in page.words)


def ticks(page) -> list[tuple[float, float]]:
    """The upper left corners of the boxes to tick on a page."""
    sides = [s for s in page.strokes if abs(s.length - TICK) < NEAR and s.width < 0.3]
    level = [s for s in sides if not s.upright]
    corners = Counter((round(min(s.start[0], s.end[0]), 2), round(s.start[1], 2)) for s in level)
    assert len(sides) == 2 * len(level)
    return [c for c in corners if (c[0], round(c[1] - TICK, 2)) in corners]


@EITHER
@EACH
def test_every_page_has_every_caution_its_number_and_readable_type(pages, case, paper):
    read = pages(case, paper)
    for number, page in enumerate(read, start=1):
        assert all(caution in page.text for caution in CAUTIONS)
        assert f"page {number} of {len(read)}" in page.text
        assert min(word.size for word in page.words) >= 6.5
        assert page.fonts_inside


# -- what it says --------------------------------------------------------------------------------


def test_every_pair_is_there_with_a_box_for_each_setting_of_each_ski(plans, pages):
    plan, read = plans("demo"), pages("demo", "A4")
    text = text_of(read)
    for pair in plan.pairs:
        assert pair.row.ticket in text
    for jig in range(1, len(plan.jigs) + 1):
        assert f"Jig {jig}, {mark_of(jig)}: " in text
        assert f"{jig} {mark_of(jig)} Arvenal" in text  # in the list of jigs
    ways = [ski for jig in plan.jigs for task in jig.tasks for _, ski in task.skis]
    wanted = sum(len(clamping.stops) for ski in ways for clamping in ski)
    assert sum(len(ticks(page)) for page in read) == wanted + len(plan.jigs)


def test_a_pair_worked_by_hand(pages):
    # A01: club-piste, boot 305, metal, widths 84.5 and 83: rails 42.25 and 41.5.  Eight holes
    # with screws of 14 and one with 12 (the pattern file says why), twice.  Drill 4.1, bush top
    # 14.0 (test_sheet): 23.2 + 1.23 of point = 24.4, and 21.4 + 1.23 = 22.6.
    text = text_of(pages("demo", "A4"))
    after = text[text.rindex("A01 Resi, race") :]
    assert after.startswith("A01 Resi, race boot 305 42.2 / 41.5 ")
    assert "16 of 14 2 of 12" in after[:80]
    before = text[: text.rindex("A01 Resi, race")]
    head = before[before.rindex("Jig ") :]
    for said in ("drill 4.1", "stop 24.4 to the tip", "stop 22.6 to the tip", "METAL"):
        assert said in head


def test_a_screw_that_failed_its_check_is_not_in_the_column(tmp_path, monkeypatch):
    monkeypatch.setattr("jiggen.evening.families.fits", one_boot)
    text = find_pattern("club-piste").read_text().replace("[12, 14, 16]", "[30]")
    (tmp_path / "long.toml").write_text(text)
    (tmp_path / "one.csv").write_text(HEAD + "A1,long.toml,305,98,96,,,,\n")
    plan = plan_evening(read_jobs(tmp_path / "one.csv"), TERMS)
    said = text_of(read_pages(run_sheet_pdf(plan, outcomes(plan, "one"))))
    assert "a screw of 30 mm goes 24.00 mm into the ski" in said
    assert "no screw at hand fits: see the note" in said and "× 30" not in said


def test_a_shift_that_the_slot_sets_is_said_before_the_lines(tmp_path, monkeypatch):
    monkeypatch.setattr("jiggen.evening.families.fits", lambda _: True)
    rows = "A1,club-piste,285,98,96,,,,\nA2,club-piste,325,98,96,,-3,,\n"
    (tmp_path / "two.csv").write_text(HEAD + rows)
    plan = plan_evening(read_jobs(tmp_path / "two.csv"), TERMS)
    said = text_of(read_pages(run_sheet_pdf(plan, outcomes(plan, "two"))))
    first, second = said[said.rindex("A1 boot 285") :].split("A2 boot 325")
    assert "slot" not in first
    assert "shift -3 by the slot" in second
    words = "lay the 0 of a half's slot on the ski's mark, draw a new mark at 3 on the TAIL side"
    assert second.index(words) < second.index("On the mark:")
    assert "up to 0.2 mm less exact along the ski" in second


def test_a_jig_with_a_ladder_says_which_line_goes_on_the_mark(plans, pages):
    text = text_of(pages("ladder", "A4"))
    after = text[text.rindex("A01 Resi, race") :]
    assert after.startswith("A01 Resi, race boot 305 ")
    assert "On the mark: each half: left edge, line 305" in after[: after.index("A02")]
    # The second witness: the jig's boots end at 305, so the line before it is that of 304.
    opposite = "At the mark opposite: each half: right edge, just past the 2nd line from 300"
    assert opposite in after[: after.index("A02")]
    assert "boots from 295 to 305 mm, by the line on the mark" in text
    assert "B02 Nesa boot 305 any boot" in text  # a plate about the boot centre has none
    assert len(plans("ladder").jigs) < len(plans("demo").jigs)
    # 12 in = 304.8 mm; the old plate's groups move by half of what a boot is longer: 0.1 mm.
    assert text.count("boot 304.8 lies between two lines: holes come up to 0.1 mm from") == 2
    assert "On the mark" not in text_of(pages("demo", "A4"))


def test_a_boot_of_a_band_is_told_the_line_that_is_engraved_for_the_band(pages):
    text = text_of(pages("ladder", "A4"))
    head = text[text.index("boots from 262 to 318 mm") :]
    # By hand from step-track: the toe's steps begin at 278 and 306, the jig's boots at 262.
    assert "Two numbers, 262-277, are one line for all boots between them." in head
    told = {"D03 Not": "278-305", "D05 Duri": "306-318", "D08 Ursina": "262-277"}
    for ticket, band in told.items():
        row = head[head.index(ticket) :]
        row = row[row.index("On the mark: ") :]
        assert row.startswith(f"On the mark: toe half: right edge, line {band} · heel half: ")
    # The heel moves with every boot: 304 is even, three lines of 2 mm from the number 310.
    row = head[head.index("D03 Not") :]
    assert "boot 304" in row[:40]
    assert "heel half: right edge, 3rd line from 310 to 300" in row[: row.index("D04")]


def test_old_holes_and_mirrored_skis_are_spoken_of(pages):
    text = text_of(pages("demo", "A4"))
    assert "Note: old holes are clear of these." in text
    assert "LEFT SKI" in text
    assert "on jig " in text


def test_the_head_of_a_jig_is_repeated_where_its_pairs_go_on(plans, pages):
    read = pages("crowd", "A4")
    with_rows = [page for page in read if "left ski" in page.text]
    assert len(with_rows) > 3
    for page in with_rows:
        assert f"Jig 1, {mark_of(1)}:" in page.text
        assert "stop " in page.text
    tickets = [word.text for page in read for word in page.words if word.text.endswith("039")]
    assert tickets


def test_a_failed_jig_bars_its_pairs_on_every_jig_of_theirs(plans, pages):
    plan = plans("failed")
    found = outcomes(plan, "failed")
    barred = {
        task.pair.row.ticket
        for jig, outcome in zip(plan.jigs, found, strict=True)
        for task in jig.tasks
        if outcome.state == "failed"
    }
    read = pages("failed", "A4")
    text = text_of(read)
    start = text.index("DO NOT DRILL: no verified jig")
    listed = text[start : text.index("For each ski")]
    assert barred
    assert all(ticket in listed for ticket in barred)
    assert "it failed its verification" in listed
    rows = text[text.index("Jigs in the order") :]
    marked = "DO NOT DRILL: the other ski has no verified jig"
    assert rows.count(marked) == len(barred)
    boxes = sum(len(ticks(page)) for page in read)
    assert boxes < sum(len(ticks(page)) for page in pages("demo", "A4"))


def test_the_same_bytes_for_the_same_evening(plans):
    plan = plans("demo")
    once, again = (run_sheet_pdf(plan, outcomes(plan, "demo")) for _ in range(2))
    assert once == again


def test_tickets_that_cannot_be_printed_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr("jiggen.evening.families.fits", lambda *_: True)
    path = tmp_path / "jobs.csv"
    path.write_text(HEAD + "A山,hut-plate,305,96,94,,,,\nÄß1,hut-plate,305,96,94,,,,\n")
    with pytest.raises(InputError) as caught:
        plan_evening(read_jobs(path), TERMS)
    assert [f.where for f in caught.value.findings] == [f"{path}:2"]


def test_the_shipped_pattern_is_what_these_numbers_are_for():
    assert "lengths = [12, 14, 16]" in find_pattern("club-piste").read_text()

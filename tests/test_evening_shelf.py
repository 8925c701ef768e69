"""An evening beside the jigs of a shelf: those that are there are used before any is made."""

from __future__ import annotations

from pathlib import Path

import pytest
from ladder_samples import ladder_manifest
from record_samples import jig_data, on_a_shelf, record, verified

from jiggen.cli import main
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.drilling import DrillingLimits
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.evening import plan_evening
from jiggen.evening.check import Terms
from jiggen.evening.families import Spans
from jiggen.evening.read import read_jobs
from jiggen.job import boots_alike
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pipeline.evening import planned_evening, records_of
from jiggen.progress import keeping_notes, noted
from jiggen.remount.shifts import RemountLimits
from jiggen.report.evening import as_dict, as_text, run_sheet_pdf, warnings_of
from jiggen.shelf import evening as beside
from jiggen.shelf.which import Shelved
from jiggen.verify.reading.pdf import read_pages

HEAD = "ticket,pattern,boot,ski_toe,ski_heel,core,shift,thickness\n"
TERMS = Terms(Settings(SkiRange(80, 100)), DrillingLimits(), RemountLimits())
MANY = "CK7F3"


def shelved(mark: str, name: str, made, **uses) -> Shelved:
    jig = on_a_shelf(mark, Path("jigs", mark), made, **uses)
    return Shelved(jig, made, read_pattern(find_pattern(name)))


def many(mark=MANY, **how) -> Shelved:
    """For boots of 265 to 345 mm and skis of 84 to 112 mm, with ladders."""
    return shelved(mark, "club-piste", record(ladder_manifest("club-piste")), **how)


def hut(mark="HUT34", body=14.0, **how) -> Shelved:
    """For a boot of 305 mm and skis of 84 to 112 mm, its body so thick."""
    holes = lay_out(read_pattern(find_pattern("hut-plate")), 305.0)
    design = design_jig(holes, Settings(SkiRange(84.0, 112.0), body=body))
    return shelved(mark, "hut-plate", record(verified(jig_data(design))), **how)


@pytest.fixture
def quick(monkeypatch):
    """A jig serves any 40 mm of widths, and no boots that differ: no design is made."""

    def serves(wanted):
        low, high = wanted.skis
        return boots_alike(wanted.pattern, wanted.boots) and high - low <= 40

    monkeypatch.setattr("jiggen.evening.families.fits", serves)


@pytest.fixture
def on_shelf(monkeypatch):
    """Put jigs on the shelf without a folder, and take them for verified."""

    def put(*jigs):
        there = {one.jig: one for one in jigs if isinstance(one, Shelved)}
        reasons = {one[0]: one[1] for one in jigs if not isinstance(one, Shelved)}

        def read(jig):
            if jig in reasons:
                raise InputError(reasons[jig])
            return there[jig]

        monkeypatch.setattr(beside, "read_one", read)
        monkeypatch.setattr(beside, "certify", lambda folder: None)
        return [*beside.jigs_at_hand([*there, *reasons], 1000)]

    return put


def plan(folder: Path, rows: str, owned=(), spans: Spans = Spans()):  # noqa: B008 - frozen
    (folder / "jobs.csv").write_text(HEAD + rows)
    return plan_evening(read_jobs(folder / "jobs.csv"), TERMS, spans, owned)


def used(found) -> list[tuple[str, list[str]]]:
    """For each jig its mark, empty of one to make, and its tickets."""
    return sorted(
        (jig.owned.jig_mark if jig.owned else "", [task.pair.row.ticket for task in jig.tasks])
        for jig in found.jigs
    )


FIVE = (
    "A1,club-piste,306,98,96,,,\n"
    "A2,club-piste,291,104,101,,,22\n"
    "A3,club-piste,306,98,96,metal,,\n"  # another drill
    "A4,hut-plate,305,96,94,,,\n"
    "A5,club-piste,300,98,96,,-3,\n"  # by the slot
)


def test_what_is_there_is_used_first_and_the_rest_is_made(quick, on_shelf, tmp_path):
    alone = plan(tmp_path, FIVE)
    assert (len(alone.jigs), alone.to_make, alone.bound) == (5, 5, 3)
    found = plan(tmp_path, FIVE, on_shelf(many()))
    assert used(found) == [("", ["A3"]), ("", ["A4"]), (MANY, ["A1", "A2", "A5"])]
    assert (found.to_make, found.bound) == (2, 2)
    both = plan(tmp_path, FIVE, on_shelf(many(), hut()))
    assert (both.to_make, both.bound, len(both.jigs)) == (1, 1, 3)


def test_sheet_words_and_values_say_which_is_on_the_shelf_and_how_it_is_set(
    quick, on_shelf, tmp_path
):
    found = plan(tmp_path, FIVE, on_shelf(many(pairs=501), hut(body=16.0)))
    outcomes = planned_evening(found, tmp_path / "out")
    assert sorted(one.state for one in outcomes) == ["owned", "owned", "planned"]
    text = as_text(found, outcomes, None, None)
    assert "Jigs:     3, 2 on the shelf, 1 to make; no fewer will do" in text
    assert f"on the shelf, jig mark {MANY}" in text and "To build: 1 of 1 jig" in text
    assert f"{MANY}, {Path('jigs', MANY)}" in text
    data = as_dict(found, outcomes, None, None)
    assert (data["to_make"], data["lower_bound"]) == (1, 1)
    rows = {row["jig_mark"]: row for row in data["jigs"]}
    assert (rows[MANY]["state"], rows[MANY]["folder"]) == ("owned", str(Path("jigs", MANY)))
    assert records_of(outcomes) == (None, None, None)
    # Drill and stop are those of the jig that is there: it is 2 mm thicker than what is made.
    thick = {stop.from_tip for stop in hut(body=16.0).record.drilling.stops}
    thin = {stop.from_tip for stop in hut().record.drilling.stops}
    assert {stop["from_tip"] for stop in rows["HUT34"]["stops"]} == thick != thin
    said = " ".join(page.text for page in read_pages(run_sheet_pdf(found, outcomes)))
    said = " ".join(said.split())
    assert "on the shelf: jigs/CK7F3" in said
    # 306 as in tests/test_pair_page.py; the slot of the one jig.
    assert "On the mark: each half: right edge, 2nd line from 310 to 300" in said
    assert "3 on the TAIL side" in said
    codes = {warning.code for warning in warnings_of(outcomes)}
    assert codes == {"shelf.worn"}


def test_no_jig_is_used_near_the_end_of_its_range_nor_by_a_slot_that_is_refused(
    quick, on_shelf, tmp_path
):
    owned = on_shelf(many())
    for row in ("A1,club-piste,306,111,100,,,\n", "A1,club-piste,306,98,85.5,,,\n"):
        assert used(plan(tmp_path, row, owned)) == [("", ["A1"])]
    assert used(plan(tmp_path, "A1,club-piste,306,110,86,,,\n", owned)) == [(MANY, ["A1"])]
    shifted = "A1,club-piste,306,98,96,,4,\n"
    assert used(plan(tmp_path, shifted, owned)) == [(MANY, ["A1"])]
    assert used(plan(tmp_path, shifted, owned, Spans(slot=False))) == [("", ["A1"])]


def test_a_boot_between_two_lines_is_served_by_both(quick, on_shelf, tmp_path):
    owned = on_shelf(many())
    assert used(plan(tmp_path, "A1,club-piste,304.8,98,96,,,\n", owned)) == [(MANY, ["A1"])]
    assert used(plan(tmp_path, "A1,club-piste,345.5,98,96,,,\n", owned)) == [("", ["A1"])]


def test_what_no_jig_can_be_made_for_is_drilled_with_one_that_is_there(
    on_shelf, tmp_path, monkeypatch
):
    monkeypatch.setattr("jiggen.evening.families.fits", lambda job: False)
    row = "A1,club-piste,306,98,96,,,\n"
    with pytest.raises(InputError):
        plan(tmp_path, row)
    found = plan(tmp_path, row, on_shelf(many()))
    assert used(found) == [(MANY, ["A1"])] and found.bound == 0
    outcomes = planned_evening(found, tmp_path)
    assert "Jigs:     1, 1 on the shelf, 0 to make" in as_text(found, outcomes, None, None)


def test_what_failed_is_retired_or_was_not_printed_is_not_used(quick, on_shelf, tmp_path):
    lost = (many("LST34").jig, Finding("record.missing", "cannot read the manifest"))
    with keeping_notes():
        owned = on_shelf(
            many("WORN3", pairs=501), many("FLD34", passed=False), many("NEW34", state="built"),
            many("GONE3", state="retired"), many("GOOD3"), lost,
        )  # fmt: skip
        assert "FLD34" not in [jig.jig_mark for jig in owned]
        found = plan(tmp_path, "A1,club-piste,306,98,96,,,\n", owned)
        assert used(found) == [("GOOD3", ["A1"])]
        plan(tmp_path, "A1,hut-plate,305,98,96,,,\n", owned)  # nothing of it need be read
        said = [finding.message for finding in noted()]
    assert [words[:21] for words in said] == ["jig NEW34 is not used", "jig LST34 is not used"]


def test_a_jig_whose_folder_fails_is_left_out_and_the_evening_planned_anew(
    quick, on_shelf, tmp_path, monkeypatch, capsys
):
    owned = on_shelf(many("BAD34"), many("GOOD3"))
    monkeypatch.chdir(tmp_path)
    (tmp_path / "jobs.csv").write_text(HEAD + "A1,club-piste,306,98,96,,,\n")

    def certify(folder):
        if folder.name == "BAD34":
            raise CheckFailed(Finding("verify.refused", "this folder does not pass"))

    monkeypatch.setattr(beside, "certify", certify)
    words = ["evening", "jobs.csv", "--plan"]
    assert main(words) == 0  # no shelf is there
    assert "to make" not in capsys.readouterr().out
    monkeypatch.setattr(beside, "jigs_at_hand", lambda jigs, limit: owned)
    assert main(words) == 0
    out, err = capsys.readouterr()
    assert "Jigs:     1, 1 on the shelf, 0 to make" in out and "GOOD3" in out
    assert "BAD34" not in out and "this folder does not pass" in err
    assert main([*words, "--shelf", "other.sqlite"]) == 2
    assert "there is no shelf" in capsys.readouterr().err

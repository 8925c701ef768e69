"""Which jig for the pair on the bench: what serves it, how it is set, and why another does not."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from ladder_samples import ladder_manifest
from record_samples import on_a_shelf, record
from sheet_samples import shipped

from jiggen.cautions import CAUTIONS
from jiggen.cli import main
from jiggen.drilling import DrillingLimits
from jiggen.errors import Finding
from jiggen.pattern import find_pattern, read_pattern
from jiggen.record import read_jig
from jiggen.shelf.store import open_shelf
from jiggen.shelf.told import as_dict, as_text, set_words
from jiggen.shelf.which import Fit, PairInHand, Shelved, find_jig, fit

CLUB = read_pattern(find_pattern("club-piste"))
PAIR = PairInHand(CLUB, 306.0, (98.0, 96.0))


@cache
def jig_record(name: str, boot: float = 0.0, **how):
    return record(shipped(name, boot, **how) if boot else ladder_manifest(name))


def owned(mark: str, name="club-piste", boot=0.0, pattern=None, **how) -> Shelved:
    """A jig on the shelf: for 265 to 345 mm unless for one `boot`, skis of 84 to 112 mm."""
    uses = {key: how.pop(key) for key in ("pairs", "earlier", "state", "passed") if key in how}
    made = jig_record(name, boot, **how)
    jig = on_a_shelf(mark, Path(mark), made, **uses)
    return Shelved(jig, made, pattern or read_pattern(find_pattern(name)))


def why(shelved: Shelved, **pair) -> Finding:
    found = fit(shelved, replace(PAIR, **pair))
    assert isinstance(found, Finding)
    return found


def test_the_answer_is_the_jig_its_line_drill_stop_and_rails():
    answer = find_jig([owned("K7F3H")], PAIR)
    assert answer.best and answer.best.mark == "K7F3H" and answer.best.warnings == ()
    lines, opposite, slot = set_words(answer.best)
    # As the sheet for that boot says: tests/test_pair_page.py.
    assert lines == "each half: right edge, 2nd line from 310 to 300"
    assert "left edge, midway between line 305 and the 1st line to 315" in opposite
    assert slot == ""
    said = as_dict(answer, "build", {})
    assert said["take"] == "K7F3H" and said["build"] is None
    [found] = said["fits"]
    stops = {(stop["drill"], stop["depth"]) for stop in found["stops"]}
    assert stops == {(3.6, 7.4), (3.6, 9.2)}
    # Half of 98 in front of the toe's holes, half of 96 behind the heel's; between, in between.
    rails = found["rails"]
    assert rails["toe front"] == 49.0 and rails["heel rear"] == 48.0
    assert 48.0 < rails["heel front"] < rails["toe rear"] < 49.0
    text = as_text(answer, "build")
    assert "the jig marked K7F3H" in text and "2nd line from 310 to 300" in text
    assert "drill 3.6" in text and "toe front 49.0" in text


@pytest.mark.parametrize(
    ("made", "pair", "code", "said"),
    [
        ({"name": "hut-plate", "boot": 305.0}, {}, "which.pattern", "another pattern"),
        ({"pattern": replace(CLUB, area=None)}, {}, "which.changed", "has been changed"),
        ({"boot": 305.0}, {}, "sheet.boot", "a boot sole of 305 mm, not 306 mm"),
        ({}, {"boot": 346.0}, "sheet.boot", "265 to 345 mm, not 346 mm"),
        ({}, {"boot": 306.5}, "sheet.boot", "no line is for 306.5 mm"),
        ({}, {"ski": (113.0, 96.0)}, "which.ski", "too wide, 113 mm"),
        ({}, {"ski": (98.0, 83.0)}, "which.ski", "too narrow, 83 mm"),
        ({}, {"core": "metal"}, "sheet.core", "for a plain core, not metal"),
        ({"boot": 306.0}, {"shift": 2.0}, "which.shift", "not +2 mm"),
        ({}, {"shift": 2.5}, "which.shift", "not +2.5 mm"),
        ({}, {"shift": 11.0}, "which.shift", "not +11 mm"),
        ({}, {"sidewall": 20.0}, "which.sides", "upright sides"),
        ({}, {"thickness": (11.0,)}, "drilling.base", "2 mm must"),
    ],
)  # fmt: skip
def test_the_first_reason_why_a_jig_does_not_serve(made, pair, code, said):
    found = why(owned("A", **made), **pair)
    assert (found.code, said in f"{found.message} {found.hint}") == (code, True), found


def test_the_other_ski_of_a_mirrored_pair_is_another_jig():
    pattern = read_pattern(find_pattern("skew-plate"))
    left = owned("A", "skew-plate", 305.0, side="left")
    pair = replace(PAIR, pattern=pattern, boot=305.0, core="plain")
    assert isinstance(fit(left, pair), Fit)
    found = fit(left, replace(pair, side="right"))
    assert isinstance(found, Finding) and found.code == "which.side"


def test_a_pattern_with_another_note_or_file_is_the_same():
    other = replace(CLUB, note="copied", source="elsewhere.toml", text="# other words")
    assert isinstance(fit(owned("A", pattern=other), PAIR), Fit)


def test_a_whole_shift_is_set_by_the_slot_and_every_hole_and_rail_goes_along():
    found = fit(owned("A"), replace(PAIR, shift=-4.0))
    usual = fit(owned("A"), PAIR)
    assert isinstance(found, Fit) and isinstance(usual, Fit)
    assert found.by_slot == -4.0
    for one, other in zip(found.record.holes, usual.record.holes, strict=True):
        assert (one.x, one.y) == pytest.approx((other.x - 4.0, other.y))
    assert "4 on the TAIL side" in set_words(found)[2]
    # A screw of 5.46 mm ends 2.73 mm before its hole: 3 mm will do, but not 4 farther.
    short = replace(CLUB.area, x_to=max(hole.x for hole in usual.record.holes) + 3.0)
    area = replace(PAIR, pattern=replace(CLUB, area=short))
    moved = fit(owned("A", pattern=area.pattern), replace(area, shift=4.0))
    assert isinstance(fit(owned("A", pattern=area.pattern), area), Fit)
    assert isinstance(moved, Finding) and moved.code == "drilling.area"


def test_what_speaks_against_a_jig_is_said_and_the_best_comes_first():
    shelf = [
        owned("FAILED", passed=False),
        owned("NEVER", passed=None),
        owned("WORN", pairs=501),
        owned("FRESH", state="built", passed=None),
        owned("GOOD", pairs=900, earlier=500),
        owned("GOOD2"),
    ]
    answer = find_jig(shelf, PAIR, 1000)
    assert [fit.mark for fit in answer.fits] == [
        "GOOD",
        "GOOD2",
        "NEVER",
        "WORN",
        "FRESH",
        "FAILED",
    ]
    codes = {fit.mark: [one.code for one in fit.warnings] for fit in answer.fits}
    assert codes["GOOD"] == codes["GOOD2"] == []
    assert codes["NEVER"] == ["shelf.unmeasured"] and codes["WORN"] == ["shelf.worn"]
    assert codes["FRESH"] == ["shelf.unmeasured", "which.built"]
    assert codes["FAILED"] == ["shelf.failed"]
    only = find_jig(shelf[:1], PAIR)
    assert only.best is None and len(only.fits) == 1
    assert "NOT:      FAILED: its last measurement failed" in as_text(only, "jiggen build …")
    assert find_jig([shelf[2]], PAIR, 1002).fits[0].warnings == ()


def test_a_ski_at_the_end_of_the_range_is_to_be_measured_where_it_is_held():
    [found] = find_jig([owned("A")], replace(PAIR, ski=(111.0, 100.0))).fits
    assert [one.code for one in found.warnings] == ["which.close"]


def test_what_the_drilling_check_warns_of_is_said_with_the_jig():
    found = fit(owned("A"), replace(PAIR, limits=DrillingLimits(edge=40.0)))
    assert isinstance(found, Fit) and found.may_drill
    assert {one.code for one in found.warnings} == {"drilling.edge"}


def test_none_is_told_with_each_reason_and_what_to_build():
    jig = owned("B", "hut-plate", 305.0)
    lost = (owned("C").jig, Finding("record.missing", "cannot read the manifest: none"))
    answer = find_jig([owned("A", boot=305.0), jig, lost], PAIR, 1000)
    assert answer.fits == () and answer.best is None
    words = as_text(answer, "jiggen build club-piste --boot 306 --ski 94-100")
    for said in (
        "no jig on the shelf",
        "A: the jig is for a boot sole of 305",
        "B: it is for",
        "C:",
    ):
        assert said in words
    told = as_dict(answer, "jiggen build", {"boot": ["306"]})
    assert told["take"] is None and told["build"]["values"] == {"boot": ["306"]}
    assert [other["mark"] for other in told["others"]] == ["A", "B", "C"]


def test_an_unverified_record_serves_nothing():
    shelved = owned("A")
    bare = replace(shelved, record=shelved.record.model_copy(update={"verification": None}))
    assert why(bare).code == "record.unverified"


def test_limits_are_those_asked_for():
    thin = {"thickness": (13.0,)}
    assert isinstance(fit(owned("A"), replace(PAIR, **thin)), Fit)
    assert why(owned("A"), **thin, limits=DrillingLimits(base_left=4.0)).code == "drilling.base"


# -- the command, on a folder that was built ------------------------------------------------------


@pytest.fixture
def ask(built, tmp_path, monkeypatch, capsys):
    """`jiggen shelf find` in a workshop that owns the one jig that was built: 305 mm, 84 to 112."""
    monkeypatch.chdir(tmp_path)
    with open_shelf() as shelf:
        jig = shelf.add(built.folder)

    def run(*words: str):
        code = main(["shelf", "find", *words])
        out, err = capsys.readouterr()
        return code, out, err

    return run, jig


def test_a_jig_that_was_built_is_found_and_its_sheet_says_the_same(ask):
    run, jig = ask
    code, out, err = run("club-piste", "--boot", "305", "--ski", "98/96", "--json")
    told = json.loads(out)
    assert (code, err, told["take"], told["build"]) == (0, "", jig.mark, None)
    [found] = told["fits"]
    made = read_jig(jig.folder).drilling.stops
    assert found["stops"] == [stop.model_dump(mode="json") for stop in made]
    assert sorted(found["rails"].values()) == [48.0, 49.0]
    assert [one["code"] for one in found["warnings"]] == ["shelf.unmeasured", "which.built"]
    code, out, err = run("club-piste", "--boot", "305", "--ski", "98")
    assert code == 0 and jig.mark in out and "never measured" in err
    assert all(caution in out for caution in CAUTIONS)


def test_what_failed_or_does_not_fit_is_exit_code_1_with_what_to_build(ask):
    run, jig = ask
    code, out, _ = run("club-piste", "--boot", "306", "--ski", "98/96", "--shift=-2")
    assert code == 1 and "the jig is for a boot sole of 305 mm" in out
    assert "jiggen build club-piste --boot 306 --ski 94-100 --shift=-2" in out
    code, out, _ = run("club-piste", "--boot", "306", "--ski", "98/96", "--json")
    told = json.loads(out)
    assert code == 1 and told["take"] is None
    assert told["build"]["values"] == {
        "pattern": ["club-piste"],
        "boot": ["306"],
        "ski": ["94-100"],
    }
    with open_shelf() as shelf:
        shelf.do(jig.mark, "measured", passed=False)
    code, out, _ = run("club-piste", "--boot", "305", "--ski", "98/96")
    assert code == 1 and f"NOT:      {jig.mark}: its last measurement failed" in out


def test_a_folder_that_was_harmed_or_is_gone_serves_nothing(ask, folder, tmp_path):
    run, jig = ask
    words = ("club-piste", "--boot", "305", "--ski", "98/96")
    with open_shelf() as shelf:
        shelf.add(folder)
    assert run(*words)[0] == 0
    next(folder.rglob("*.stl")).write_bytes(b"solid")
    code, out, _ = run(*words)
    assert code == 1 and "does not pass its verification" in out
    shutil.rmtree(folder)
    code, out, _ = run(*words)
    assert code == 1 and f"Not:      {jig.mark}: cannot read the manifest" in out


def test_what_is_wrong_with_the_pair_is_said_and_an_empty_shelf_is_no_fault(
    tmp_path, monkeypatch, capsys
):
    monkeypatch.chdir(tmp_path)
    words = ["shelf", "find", "club-piste", "--boot"]
    assert main([*words, "305", "--ski", "98"]) == 1
    assert "no jig on the shelf" in capsys.readouterr().out
    assert main([*words, "405", "--ski", "98"]) == 2
    assert main([*words, "305", "--ski", "980"]) == 2
    assert "a ski 980 mm wide" in capsys.readouterr().err
    assert main([*words, "305", "--ski", "98", "--shelf", "none.sqlite"]) == 2
    assert not list(tmp_path.iterdir())

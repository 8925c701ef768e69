"""What a pattern says of screws and the allowed area, from the file to the check."""

from __future__ import annotations

from dataclasses import asdict, replace
from itertools import product
from types import SimpleNamespace

import pytest

from jiggen import cli
from jiggen.drilling import (
    Area,
    Drilling,
    DrillingLimits,
    Screw,
    SkiState,
    check_drilling,
    screws_of,
)
from jiggen.errors import CheckFailed, Finding
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns
from jiggen.pattern.model import Drill, Group, Hole, Pattern
from jiggen.pattern.read import PLATES, SCREWS

PATTERNS = [read_pattern(path) for path in shipped_patterns()]
FITTED = [pattern for pattern in PATTERNS if screws_of(pattern)]
named = pytest.mark.parametrize("pattern", PATTERNS, ids=lambda pattern: pattern.name)


def drilled(pattern: Pattern, boot: float, shift: float = 0.0, side: str = "left") -> Drilling:
    holes = lay_out(pattern, boot, mount_shift=shift, side=side)
    tops = dict.fromkeys(holes.ids, 14.0)
    ski = SkiState(area=pattern.area)
    return check_drilling(holes, tops, ski, DrillingLimits(), screws_of(pattern))


# -- which screw goes where ----------------------------------------------------------------------


def test_screws_carry_the_ids_of_the_layout():
    short, long = Screw(4.0, (12.0,)), Screw(6.0, (14.0, 16.0))
    drill = Drill(3.6, 4.1, 9.0)
    toe = Group(
        "toe",
        "boot-toe",
        0.0,
        (),
        (
            Hole((0, 20), True, drill, long),
            Hole((30, 0), False, drill),
            Hole((-30, 9), True, drill, short),
        ),
    )
    heel = Group("heel", "boot-heel", 0.0, (), (Hole((0, -15), False, drill, short),))
    pattern = Pattern("x", "", "mm", None, "mirrored", (toe, heel), "x.toml")
    wanted = {"toe-1": long, "toe-2": long, "toe-4": short, "toe-5": short, "heel-1": short}
    assert screws_of(pattern) == wanted
    ids = {side: lay_out(pattern, 300.0, side=side).ids for side in ("left", "right")}
    assert ids["left"] == ids["right"] == ("toe-1", "toe-2", "toe-3", "toe-4", "toe-5", "heel-1")


def test_a_pattern_without_screws_asks_for_none():
    assert screws_of(read_pattern(find_pattern("step-track"))) == {}


def test_the_check_takes_every_screw_that_a_pattern_may_have():
    holes = lay_out(read_pattern(find_pattern("club-piste")), 305.0)
    tops = dict.fromkeys(holes.ids, 14.0)
    for plate, length in product(PLATES, SCREWS):
        screws = {"toe-1": Screw(plate, (length,))}
        found = check_drilling(holes, tops, SkiState(), DrillingLimits(), screws)
        assert found.holes[0].engagement == length - plate


def test_the_hole_with_its_own_plate_gets_its_own_screw():
    found = {
        hole.id: hole for hole in drilled(read_pattern(find_pattern("club-piste")), 305.0).holes
    }
    # room = plate + depth - 0.5: 6 + 9.2 - 0.5 = 14.7, and 5.5 + 7.4 - 0.5 = 12.4
    assert (found["toe-1"].screw, found["toe-1"].engagement) == (14.0, 8.0)
    assert (found["toe-5"].screw, found["toe-5"].engagement) == (12.0, 6.5)


# -- the shipped patterns ------------------------------------------------------------------------


@named
@pytest.mark.parametrize("shift", [-20.0, 0.0, 20.0])
def test_shipped_patterns_give_no_warning_at_either_end_of_their_boots(pattern, shift):
    for boot in (*(pattern.boot or ()), 305.0):
        for side in ("left", "right"):
            found = drilled(pattern, boot, shift, side)
            assert not found.errors + found.warnings


def test_shipped_patterns_show_screws_and_areas_in_both_units():
    assert {pattern.units for pattern in FITTED if pattern.area} == {"mm", "in"}
    assert any(len(set(screws_of(pattern).values())) > 1 for pattern in FITTED)  # a hole's own


@pytest.mark.parametrize("pattern", FITTED, ids=lambda pattern: pattern.name)
def test_a_screw_of_a_shipped_pattern_that_is_changed_is_warned_of(pattern):
    first, screw = next(iter(screws_of(pattern).items()))
    longest = max(screw.lengths)
    for plate, code in ((longest - 3.0, "drilling.screw-short"), (0.0, "drilling.screw-deep")):
        changed = {first: Screw(plate, (longest,))}
        holes = lay_out(pattern, 305.0)
        tops = dict.fromkeys(holes.ids, 14.0)
        [warning] = check_drilling(holes, tops, SkiState(), DrillingLimits(), changed).warnings
        assert (warning.code, warning.key) == (code, first)


def test_a_pattern_whose_area_does_not_hold_its_holes_is_refused():
    pattern = read_pattern(find_pattern("club-piste"))
    # the foremost holes: 305 / 2 - 11.4 + 14.2 = 155.3, and half a screw of 5.46: 158.03
    assert not drilled(replace(pattern, area=Area(-225.0, 158.03, 32.0)), 305.0).errors
    [error] = drilled(replace(pattern, area=Area(-225.0, 158.02, 32.0)), 305.0).errors[:1]
    assert (error.code, error.key) == ("drilling.area", "toe-1")


# -- a job ---------------------------------------------------------------------------------------


def test_a_job_made_of_a_pattern_alone_keeps_its_screws_and_its_area(built):
    pattern = read_pattern(find_pattern("club-piste"))
    assert pattern.area and screws_of(pattern)
    # The fixture is the shortest script: Job(pattern, boots, settings), and nothing repeated.
    inputs = built.record.inputs
    assert inputs.ski_in_hand.area.model_dump() == asdict(pattern.area)
    assert inputs.screws.keys() == {hole.id for hole in built.record.holes}
    for hole, screw in screws_of(pattern).items():
        assert (inputs.screws[hole].plate, inputs.screws[hole].lengths) == (
            screw.plate,
            screw.lengths,
        )
    assert {hole.screw for hole in built.record.drilling.holes} != {None}


# -- the command line ----------------------------------------------------------------------------


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """What `jiggen build` hands to the road, which ends there."""
    import jiggen.pipeline.products

    seen = SimpleNamespace()

    def stop(job, target, **how):
        seen.holes, seen.state, seen.screws = job.lay_out(), job.ski_in_hand, job.screws
        raise CheckFailed(Finding("test.stop", "far enough"))

    monkeypatch.setattr(jiggen.pipeline.products, "build_jig", stop)
    return seen


BUILD = ["build", "club-piste", "--boot", "305", "--ski", "84-112"]


def test_build_hands_on_what_the_pattern_says(asked):
    assert cli.main(BUILD) == 1
    assert asked.state.area == Area(-225.0, 220.0, 32.0)
    assert set(asked.screws) == set(asked.holes.ids)
    assert asked.screws["toe-5"] == Screw(5.5, (12.0, 14.0, 16.0))


def test_an_area_on_the_command_line_wins(asked):
    assert cli.main([*BUILD, "--area=-100/90/30"]) == 1
    assert asked.state.area == Area(-100.0, 90.0, 30.0)
    assert cli.main(["build", "step-track", "--boot", "305", "--ski", "84-112"]) == 1
    assert (asked.state.area, dict(asked.screws)) == (None, {})


def test_a_screw_that_is_too_long_is_in_the_result_of_the_road(club_layout):
    from jiggen.design import Settings, SkiRange, design_jig
    from jiggen.drilling import check_all_boots
    from jiggen.job import Job
    from jiggen.pipeline.products import plan_jig

    settings = Settings(ski=SkiRange(84, 112))
    tops = {guide.id: guide.bush_top_z for guide in design_jig(club_layout, settings).guides}
    screws = {"toe-5": Screw(5.5, (16.0,)), "heel-1": Screw(9.0, (14.0,))}
    found = check_all_boots((club_layout,), tops, SkiState(), DrillingLimits(), screws)
    assert {(warning.code, warning.key) for warning in found.warnings} == {
        ("drilling.screw-deep", "toe-5"),
        ("drilling.screw-short", "heel-1"),
    }
    job = Job(read_pattern(find_pattern("club-piste")), (305.0, 305.0), settings)
    with pytest.raises(CheckFailed, match="outside the allowed area"):
        plan_jig(replace(job, measured=SkiState(area=Area(-100.0, 100.0, 32.0))))

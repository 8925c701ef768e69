"""Which ranges of boots one jig can serve, and what is said where none can; no CAD."""

from itertools import pairwise

import pytest
from ladder_samples import WIDE, mixed, pattern_named

from jiggen.cli import main
from jiggen.design import Bed, Settings, design_jig
from jiggen.drilling import Area, SkiState
from jiggen.errors import CheckFailed, InputError
from jiggen.job import Job, fitting_ranges, moves_holes, obstacles
from jiggen.layout import lay_out
from jiggen.pipeline.products import build_jig, plan_jig


def settings(bed=220.0):
    return Settings(WIDE, bed=Bed(bed, bed, 250.0))


def job(pattern, boots=(265.0, 345.0), bed=220.0, **more):
    return Job(pattern, boots, settings(bed), **more)


def faults(wanted):
    """What keeps one jig from serving the boots."""
    return list(obstacles(wanted, moving=False))


@pytest.mark.parametrize("name", ["club-piste", "skew-plate", "step-track", "old-inch"])
def test_265_to_345_fits_a_common_bed(name):
    wanted = job(pattern_named(name))
    assert not faults(wanted) and moves_holes(wanted.lay_out_all())
    assert fitting_ranges(wanted) == ((265.0, 345.0),)


def test_a_plate_about_the_boot_centre_needs_no_ladder():
    wanted = job(pattern_named("hut-plate"))
    assert not faults(wanted) and not moves_holes(wanted.lay_out_all())


@pytest.mark.parametrize("bed", [190.0, 200.0])
def test_what_would_fit_fits_and_one_boot_more_does_not(bed):
    club = pattern_named("club-piste")
    assert faults(job(club, bed=bed))
    ((least, most),) = fitting_ranges(job(club, bed=bed))
    assert least == 265.0 and most < 345.0
    assert not faults(job(club, (least, most), bed))
    assert faults(job(club, (least, most + 1), bed))


def test_a_step_parts_the_boots_into_ranges_that_together_serve_all():
    wanted = job(mixed(-18.0), bed=400.0)
    assert {finding.code for finding in faults(wanted)} == {"design.ladder-close"}
    ranges = fitting_ranges(wanted)
    assert ranges[0][0] == 265.0 and ranges[-1][1] == 345.0
    assert all(b[0] == a[1] + 1 for a, b in pairwise(ranges))


def test_a_refused_build_says_what_would_fit_and_writes_nothing(tmp_path):
    with pytest.raises(InputError) as caught:
        build_jig(job(pattern_named("club-piste"), bed=200.0), tmp_path / "a")
    *_, advice = caught.value.findings
    assert advice.code == "design.boot-range"
    assert "265-345" in advice.message and "265-338" in advice.hint
    assert list(tmp_path.iterdir()) == []


def test_the_area_is_held_to_at_every_boot(tmp_path):
    # By hand: heel-3 lies at -345/2 + 6.8 - 16.1 = -181.8 for the longest boot only.
    state = SkiState(area=Area(-175.0, 220.0, 40.0))
    with pytest.raises(CheckFailed, match="outside the allowed area"):
        build_jig(job(pattern_named("club-piste"), (330.0, 345.0), measured=state), tmp_path / "a")
    # toe-5 lies at 265/2 - 11.4 - 43.1 = 78.0 for the shortest: in front of the area's rear end.
    near = SkiState(area=Area(79.0, 300.0, 40.0))
    with pytest.raises(CheckFailed) as caught:
        build_jig(job(pattern_named("club-piste"), measured=near), tmp_path / "a")
    assert any("boot 265" in f.message and "toe-5" in f.key for f in caught.value.findings)
    assert list(tmp_path.iterdir()) == []


def test_an_ordinary_jig_for_a_range_says_its_boots():
    plan = plan_jig(job(pattern_named("hut-plate")))
    assert plan.known.boots == (265.0, 345.0)
    assert plan.known.reusable is None
    engraved = {item.name for body in plan.design.bodies for item in body.engravings}
    assert "BOOT 265-345" in engraved and "boot-centre line" in engraved
    # But for the words it is the jig of any of these boots.
    one = design_jig(lay_out(pattern_named("hut-plate"), 300.0), settings())
    assert [g.x for g in one.guides] == [g.x for g in plan.design.guides]


@pytest.mark.parametrize(
    ("boot", "words"),
    [
        ("345-265", "ends below its beginning"),
        ("265-x", "is not a range"),
        ("305-305", "not a valid range of whole lengths"),
        ("245-305", "a boot of 245 mm is not served"),
    ],
)
def test_the_command_refuses_bad_ranges_in_words(boot, words, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["build", "club-piste", "--boot", boot, "--ski", "84-112"]) == 2
    assert words in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []

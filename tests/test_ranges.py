"""A narrower job is never refused where a wider one is served; a range too wide says how wide."""

import re
from dataclasses import replace

import pytest
from nested import nested_pairs

from jiggen.accuracy.sweep import sweep_stations
from jiggen.design import Bed, Settings, SkiRange, design_jig
from jiggen.errors import InputError, JiggenError
from jiggen.job import Job, design_job, fitting_ranges, obstacles
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pipeline.products import plan_jig

BED = Bed(220, 220, 250)


def job(name, boots, ski, bed=220.0, **more):
    settings = Settings(SkiRange(*ski), Bed(bed, bed, 250))
    return Job(read_pattern(find_pattern(name)), boots, settings, **more)


@pytest.mark.parametrize("bed", [180.0, 200.0, 220.0])
@pytest.mark.parametrize("shift", [-12.0, 0.0])
def test_few_boots_are_served_where_many_are(bed, shift):
    wide = job("skew-plate", (258.0, 278.0), (76.0, 112.0), bed, shift=shift)
    less = replace(wide, boots=(270.0, 276.0), settings=Settings(SkiRange(97, 105), Bed(bed, bed)))
    if not list(obstacles(wide, moving=False)):
        assert not list(obstacles(less, moving=False))


def test_the_only_step_of_a_few_boots_parts_their_lines_into_two_runs():
    # By the pattern file the heel's step is at 304, between the second and third even length.
    less = job("step-track", (299.0, 304.0), (121.0, 127.0), 256.0, shift=-10.0, core="metal")
    assert not list(obstacles(less, moving=False))
    heel = design_job(less, engraved=False).reusable.halves[1]
    (even,) = (row for row in heel.ladder.rows if row.name == "even")
    assert [line.number for line in even.lines] == ["300", "", "304"]


def test_two_boots_are_served_by_a_bed_that_serves_eighty_of_them():
    assert not list(obstacles(job("club-piste", (265.0, 345.0), (84.0, 112.0)), moving=False))
    assert not list(obstacles(job("club-piste", (265.0, 266.0), (84.0, 112.0)), moving=False))
    assert fitting_ranges(job("club-piste", (265.0, 345.0), (84.0, 112.0))) == ((265.0, 345.0),)


def test_a_job_within_one_that_is_served_is_served():
    served = 0
    for wide, narrow in nested_pairs(13, 8):
        if list(obstacles(wide, moving=False)):
            continue
        served += 1
        assert not [str(found) for found in obstacles(narrow, moving=False)], (wide, narrow)
    assert served >= 3


def test_a_half_that_few_boots_do_not_move_has_one_line_where_that_serves_the_job():
    wide = job("step-track", (294.0, 320.0), (86.0, 129.0), 200.0, shift=4.0)
    less = job("step-track", (308.0, 313.0), (89.0, 128.0), 200.0, shift=4.0)
    for each in (wide, less):
        assert not list(obstacles(each, moving=False))
    toe, heel = design_job(less, engraved=False).reusable.halves
    assert toe.motion.still and not heel.motion.still
    # By hand: the track's third place is for boots from 306 to 333.
    (row,) = (row for row in toe.ladder.rows if row.name == "bands")
    assert [(line.number, line.first, line.last) for line in row.lines] == [("308-313", 308, 313)]
    # On a larger bed it is an ordinary body, with the boot-centre line.
    larger = job("step-track", (308.0, 313.0), (89.0, 128.0), 256.0, shift=4.0)
    assert design_job(larger, engraved=False).reusable.halves[0].tongue is None


def test_a_tongue_for_few_boots_moves_from_the_holes_and_keeps_its_lines():
    made = design_job(job("club-piste", (265.0, 266.0), (84.0, 112.0)), engraved=False).reusable
    for half in made.halves:
        tongue, (low, high) = half.tongue, half.tongue.span
        xs = [line.x for row in tongue.rows for line in row.lines]
        # By hand: 2.5 mm past the last line at its end, 4.5 at the body, at least.
        end, joined = (min(xs) - low, high - max(xs)) if tongue.root > 0 else (high - max(xs), 0)
        joined = joined or min(xs) - low
        assert end >= 2.5 - 1e-9 and joined >= 4.5 - 1e-9
        assert (tongue.slot[0] + tongue.slot[2]) / 2 == pytest.approx((low + high) / 2)
        near = half.design.stations[0 if tongue.root > 0 else -1]
        reach = half.design.mechanism.station.half_length
        assert abs(near.x - tongue.joins) >= reach + 4.0 - 1e-9


@pytest.mark.parametrize("ski", [(70.0, 140.0), (62.0, 140.0), (60.0, 150.0)])
def test_a_range_wider_than_the_rails_allow_says_the_widest(ski):
    layout = lay_out(read_pattern(find_pattern("club-piste")), 305.0)
    with pytest.raises(InputError, match="no rail serves skis") as caught:
        design_jig(layout, Settings(SkiRange(*ski), BED))
    (finding,) = caught.value.findings
    assert finding.code == "design.ski-range" and "defect" not in str(finding)
    ranges = re.findall(r"(\d+)-(\d+)", finding.hint)
    assert len(ranges) == 2
    assert ranges[0][0] == f"{ski[0]:g}" and ranges[1][1] == f"{ski[1]:g}"
    for least, most in ranges:
        # What it says is served moves without touching; a millimetre more of it is refused.
        made = design_jig(layout, Settings(SkiRange(float(least), float(most)), BED))
        step = made.settings.ski.most - made.settings.ski.least
        assert sweep_stations(made, step=step).findings == ()
    wider = SkiRange(float(ranges[0][0]), float(ranges[0][1]) + 1)
    with pytest.raises(InputError, match="no rail serves"):
        design_jig(layout, Settings(wider, BED))


@pytest.mark.parametrize(
    ("wanted", "said"),
    [
        (
            job("club-piste", (305.0, 305.0), (56.0, 80.0)),
            "skis from 59 to 80 mm; a bed of",
        ),
        (job("club-piste", (345.0, 345.0), (84.0, 112.0), 180.0), "a bed of 220x220 mm"),
        (job("club-piste", (265.0, 345.0), (84.0, 112.0), 200.0), "265-338. Served as well: a bed"),
    ],
)
def test_a_refusal_names_the_nearest_job_that_is_served(wanted, said):
    with pytest.raises(JiggenError) as caught:
        plan_jig(wanted)
    *_, last = caught.value.findings
    assert said in last.hint
    skis = re.search(r"skis from (\d+) to (\d+)", last.hint)
    boots = re.search(r"each: (\d+)-(\d+)", last.hint)
    bed = float(re.search(r"bed of (\d+)x", last.hint)[1])
    nearest = [replace(wanted, settings=replace(wanted.settings, bed=Bed(bed, bed, 250)))]
    if skis:
        ski = SkiRange(*map(float, skis.groups()))
        nearest.append(replace(wanted, settings=replace(wanted.settings, ski=ski)))
        # A millimetre more of it is refused.
        more = replace(wanted.settings, ski=SkiRange(ski.least - 1, ski.most))
        assert list(obstacles(replace(wanted, settings=more), moving=False))
    if boots:
        nearest.append(replace(wanted, boots=tuple(map(float, boots.groups()))))
    for one in nearest:
        assert not list(obstacles(one, moving=False))

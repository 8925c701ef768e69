"""Drill settings, base left, screws, edges and area, by hand."""

from __future__ import annotations

import json
import math
from dataclasses import fields
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jiggen.design import Settings, SkiRange
from jiggen.design.guides import design_guides
from jiggen.drilling import (
    Area,
    Drilling,
    DrillingLimits,
    Screw,
    SkiState,
    check_drilling,
    thickness_at_holes,
    width_at,
)
from jiggen.errors import InputError
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.tables import jobber_drill, jobber_drills

LIMITS = DrillingLimits()
UNKNOWN = SkiState()


def holes(
    *places: tuple[float, float],
    groups: tuple[str, ...] = (),
    diameter: float = 4.1,
    depth: float = 9.0,
) -> Layout:
    count = len(places)
    return Layout(
        pattern="test",
        boot=300.0,
        mount_shift=0.0,
        core="plain",
        side="left",
        pair="same",
        ids=tuple(f"hole-{number}" for number in range(1, count + 1)),
        groups=groups or ("hole",) * count,
        positions=np.array(places, dtype=float),
        diameters=np.full(count, diameter),
        depths=np.full(count, depth),
    )


def checked(
    found: Layout,
    ski: SkiState = UNKNOWN,
    limits: DrillingLimits = LIMITS,
    screw: Screw | None = None,
    top: float = 14.0,
) -> Drilling:
    screws = dict.fromkeys(found.ids, screw) if screw else {}
    return check_drilling(found, dict.fromkeys(found.ids, top), ski, limits, screws)


def codes(result: Drilling) -> list[str]:
    return [finding.code for finding in (*result.errors, *result.warnings)]


# -- stop settings, by hand --------------------------------------------------------------------


@pytest.mark.parametrize(
    ("drill", "depth", "top", "corner", "tip"),
    [
        # tan 59° = 1.664279 (a table of tangents, from memory); point = drill / 2 / tan 59°
        (4.1, 9.0, 14.0, 23.0, 24.2318),  # 2.05 / 1.664279 = 1.2318; the hole of ISO 6005:1991
        (3.6, 9.2, 14.1, 23.3, 24.3815),  # 1.80 / 1.664279 = 1.0815; club-piste, bush 7x12
        (5.5, 7.0, 16.5, 23.5, 25.1524),  # 2.75 / 1.664279 = 1.6524
    ],
)
def test_the_stop_setting_by_hand(drill, depth, top, corner, tip):
    result = checked(holes((0, 0), diameter=drill, depth=depth), top=top)
    [setting] = result.stops
    assert setting.from_corners == pytest.approx(corner, abs=1e-9)
    assert setting.from_tip == pytest.approx(tip, abs=6e-5)
    assert setting.point == pytest.approx(tip - corner, abs=6e-5)
    assert (setting.drill, setting.depth, setting.bush_top) == (drill, depth, top)


def test_a_flat_point_and_a_right_angled_one():
    flat = checked(holes((0, 0)), limits=DrillingLimits(point_angle=180.0)).stops[0]
    assert flat.from_tip == pytest.approx(flat.from_corners, abs=1e-12)
    right = checked(holes((0, 0)), limits=DrillingLimits(point_angle=90.0)).stops[0]
    assert right.point == pytest.approx(2.05)  # at 90° as long as the radius


def test_one_stop_for_the_holes_that_share_drill_depth_and_guide():
    found = lay_out(read_pattern(find_pattern("club-piste")), 305)
    guides = design_guides(found, Settings(ski=SkiRange(84, 112)))
    tops = {guide.id: guide.bush_top_z for guide in guides}
    result = check_drilling(found, tops, SkiState(), LIMITS)
    assert [(len(s.holes), s.depth) for s in result.stops] == [
        (8, 9.2),
        (1, 7.4),  # toe-5 is less deep
    ]
    assert result.stops[1].holes == ("toe-5",)
    # the bush of 12 mm on its seat, 60 layers of 0.2 mm below the top at 14, is flush with it
    assert {s.bush_top for s in result.stops} == {14.0}
    assert not codes(result)
    assert all(hole.base_left is hole.edge is hole.screw is None for hole in result.holes)


def test_holes_with_guides_of_two_heights_get_two_settings():
    found = holes((0, 0), (20, 0))
    result = check_drilling(found, {"hole-1": 14.0, "hole-2": 15.5}, SkiState(), LIMITS)
    assert [s.from_corners for s in result.stops] == [23.0, 24.5]


# -- jobber drills -----------------------------------------------------------------------------


# No open table of DIN 338 was found: the rows are marked as unverified, see test_tables.py.
@pytest.mark.parametrize("row", jobber_drills(), ids=lambda row: f"{row.up_to:g}")
def test_jobber_drills(row):
    for drill in (row.over + 1e-9, (row.over + row.up_to) / 2, row.up_to):
        assert jobber_drill(drill) == row


def test_the_rows_of_jobber_drills_join_and_grow():
    rows = jobber_drills()
    for before, row in pairwise(rows):
        assert before.up_to == row.over
        assert before.overall < row.overall
        assert before.flute < row.flute < row.overall
    with pytest.raises(InputError, match=r"no jobber drill of 20 mm"):
        jobber_drill(20.0)


def test_a_jobber_drill_is_long_enough_by_both_its_lengths():
    # 4.1: overall 75, flutes 43. Stop 9 + 1.2318 + top; 75 - 20 - 10 = 45; 43 - 5 = 38.
    for top, code in (
        (27.76, []),  # stop 37.99
        (27.78, ["drilling.flute-short"]),  # stop 38.01
        (34.76, ["drilling.flute-short"]),  # stop 44.99
        (34.78, ["drilling.drill-short"]),  # stop 45.01
    ):
        result = checked(holes((0, 0)), top=top)
        assert codes(result) == code
        assert result.stops[0].long_enough is (not code)
    assert "75 mm, flutes 43 mm" in result.warnings[0].message
    assert "75.0 mm overall" in result.warnings[0].hint
    assert result.warnings[0].key == "hole-1"


def test_a_long_grip_needs_a_longer_drill_though_the_flutes_would_do():
    # 75 - 10 - 40 = 25 above a stop of 24.23; with a grip of 41 mm 24 are left
    result = checked(holes((0, 0)), limits=DrillingLimits(chuck_grip=40.0))
    assert result.stops[0].long_enough
    result = checked(holes((0, 0)), limits=DrillingLimits(chuck_grip=41.0))
    assert not result.stops[0].long_enough
    assert codes(result) == ["drilling.drill-short"]


# -- base left ---------------------------------------------------------------------------------


def test_a_thin_ski_is_refused_with_the_numbers():
    result = checked(holes((0, 0), (0, 20)), SkiState(thickness=(12.0,)))
    [error] = result.errors  # 12 - 9 - 1.2318 = 1.7682
    assert error.code == "drilling.base"
    assert error.key == "hole-1, hole-2"
    assert error.message == (
        "1.77 mm of ski would be left under the point (12.00 thick - 9.00 deep - 1.23 point)"
    )
    assert error.hint == "2 mm must be left: drill 8.77 mm deep at most."
    assert result.holes[0].base_left == pytest.approx(1.7682, abs=6e-5)


def test_a_hole_through_the_base_is_said_as_such():
    [error] = checked(holes((0, 0)), SkiState(thickness=(10.0,))).errors
    assert error.message.startswith("the point would come out of the base by 0.23 mm")
    [error] = checked(holes((0, 0)), SkiState(thickness=(3.0,))).errors
    assert error.hint == "2 mm must be left: too thin to drill."


def test_the_base_that_must_be_left_is_a_limit():
    point = LIMITS.point(4.1)
    just = SkiState(thickness=(9.0 + point + 2.0,))
    assert not checked(holes((0, 0)), just).errors
    assert checked(holes((0, 0)), just, DrillingLimits(base_left=2.001)).errors
    assert not checked(holes((0, 0)), SkiState((12.0,)), DrillingLimits(base_left=1.5)).errors


def test_thickness_runs_straight_between_the_groups():
    places = ((160, 0), (140, 0), (0, 0), (-140, 0), (-160, 0))  # centres at 150, 0 and -150
    found = holes(*places, groups=("toe", "toe", "middle", "heel", "heel"))
    thickness = thickness_at_holes(found, (15.0, 18.0))  # 0.01 mm a mm
    assert thickness == pytest.approx([14.9, 15.1, 16.5, 17.9, 18.0])  # 18.1 past the heel: 18
    assert thickness_at_holes(found, (15.0,)) == pytest.approx([15.0] * 5)
    assert thickness_at_holes(found, ()) is None
    assert thickness_at_holes(holes((10, 0), (-10, 0)), (15.0, 18.0)) == pytest.approx([15.0] * 2)


def test_only_the_thin_end_is_refused():
    found = holes((150, 0), (-150, 0), groups=("toe", "heel"))
    [error] = checked(found, SkiState(thickness=(11.0, 18.0))).errors
    assert error.key == "hole-1"


# -- edges and area ----------------------------------------------------------------------------

X = np.array([-300.0, -200.0, -100.0, 0.0, 100.0, 200.0, 300.0])


def test_widths_of_a_ski():
    assert width_at(X, ()) is None
    assert width_at(X, ((50.0, 80.0),)) == pytest.approx([80.0] * 7)
    two = width_at(X, ((200.0, 100.0), (-200.0, 80.0)))
    assert two == pytest.approx([80.0, 80.0, 85.0, 90.0, 95.0, 100.0, 100.0])
    # 70 + x²/2000 through x = -200, 0, 200: 90, 70, 90; at ±100: 75
    three = width_at(X, ((-200.0, 90.0), (0.0, 70.0), (200.0, 90.0)))
    assert three == pytest.approx([90.0, 90.0, 75.0, 70.0, 75.0, 90.0, 90.0])


WIDTHS = st.tuples(*[st.floats(50.0, 150.0)] * 3)


@given(WIDTHS, st.floats(30.0, 300.0), st.floats(30.0, 300.0))
def test_three_widths_lie_on_their_curve(widths, back, ahead):
    places = np.array([-back, 12.5, 12.5 + ahead])
    found = width_at(places, tuple(zip(places.tolist(), widths, strict=True)))
    assert found == pytest.approx(widths)


def test_a_hole_near_the_edge_is_a_warning():
    ski = SkiState(widths=((0.0, 66.0),))  # 33 - 23 - 2.05 = 7.95
    result = checked(holes((0, 23), (0, 22.9), (0, -23)), ski)
    [warning] = result.warnings
    assert (warning.code, warning.key) == ("drilling.edge", "hole-1, hole-3")
    assert warning.message == "the ski's edge is 7.95 mm from the hole's wall"
    assert not result.errors
    assert not codes(checked(holes((0, 23)), ski, DrillingLimits(edge=7.9)))


def test_a_hole_through_the_edge_is_an_error():
    result = checked(holes((0, 31.5)), SkiState(widths=((0.0, 66.0),)))
    assert codes(result) == ["drilling.off-ski"]  # 33 - 31.5 - 2.05 = -0.55
    assert result.errors[0].message == "the hole breaks the ski's edge by 0.55 mm"


def test_the_whole_screw_lies_in_the_allowed_area():
    # ASTM F473: the whole screw diameter; ISO 10045:2017: at most 5.46 mm, so 2.73 to a side
    area = SkiState(area=Area(-100.0, 100.0, 25.0))
    inside = holes((97.27, 0), (-97.27, 22.27), (0, -22.27))
    assert not codes(checked(inside, area))
    outside = holes((97.28, 0), (-97.28, 0), (0, 22.28), (0, -22.28), (0, 0))
    result = checked(outside, area)
    assert codes(result) == ["drilling.area"] * 4
    assert [f.key for f in result.errors] == ["hole-1", "hole-2", "hole-3", "hole-4"]
    assert "0.01 mm outside" in result.errors[0].message
    assert result.errors[0].hint == "Allowed: x from -100 to 100, y within 25 mm."
    assert checked(holes((0, 22), diameter=8.0), area).errors  # the drill is the wider one


# -- screws ------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("plate", "lengths", "screw", "engagement", "code"),
    [
        (6.0, (14.0,), 14.0, 8.0, []),  # ISO 6005:1991: 9 mm deep, 8 mm of screw
        (6.0, (12.0,), 12.0, 6.0, []),  # and its 6 mm
        (6.0, (11.9,), 11.9, 5.9, ["drilling.screw-short"]),
        (6.0, (14.5,), 14.5, 8.5, []),
        (6.0, (14.6,), 14.6, 8.6, ["drilling.screw-deep"]),
        (6.0, (12.0, 16.0, 14.0), 14.0, 8.0, []),  # the longest that has room
        (6.0, (16.0, 18.0), 16.0, 10.0, ["drilling.screw-deep"]),  # none has
        (15.0, (14.0,), 14.0, -1.0, ["drilling.screw-short"]),
    ],
)
def test_screws(plate, lengths, screw, engagement, code):
    result = checked(holes((0, 0)), screw=Screw(plate, lengths))
    assert [found for found in codes(result) if found != "drilling.screw-size"] == code
    assert result.holes[0].screw == screw
    assert result.holes[0].engagement == pytest.approx(engagement)


def test_the_warning_of_a_screw_says_which_would_fit():
    [short] = checked(holes((0, 0)), screw=Screw(6.5, (12.0,))).warnings
    assert short.message == "a screw of 12 mm holds 5.50 mm in the ski; 6 mm are wanted"
    assert short.hint == "Screws of 12.50 to 15.00 mm fit this plate and hole."
    [deep] = checked(holes((0, 0), depth=6.2), screw=Screw(6.0, (12.0,))).warnings
    assert deep.message == (
        "a screw of 12 mm goes 6.00 mm into the ski; a hole 6.2 mm deep has room for 5.70 mm"
    )
    assert deep.hint == "No screw fits a hole that is not deeper."


def test_a_hole_without_a_screw_is_not_asked_for_one():
    found = holes((0, 0), (20, 0))
    tops = dict.fromkeys(found.ids, 14.0)
    result = check_drilling(found, tops, SkiState(), LIMITS, {"hole-2": Screw(6.0, (14.0,))})
    assert [hole.screw for hole in result.holes] == [None, 14.0]


@pytest.mark.parametrize(
    "screw",
    [Screw(-1.0, (14.0,)), Screw(6.0, ()), Screw(6.0, (14.0, 140.0)), Screw(math.nan, (9,))],
)
def test_screws_that_cannot_be(screw):
    with pytest.raises(InputError) as caught:
        checked(holes((0, 0)), screw=screw)
    [finding] = caught.value.findings
    assert (finding.code, finding.key) == ("drilling.screw", "hole-1")


# -- input that cannot be, and the result as data ----------------------------------------------


@pytest.mark.parametrize("name", [field.name for field in fields(DrillingLimits)])
@pytest.mark.parametrize("value", [-1.0, 999.0, math.nan])
def test_every_limit_has_a_range(name, value):
    with pytest.raises(InputError) as caught:
        checked(holes((0, 0)), limits=DrillingLimits(**{name: value}))
    [finding] = caught.value.findings
    assert (finding.code, finding.key) == ("drilling.limit", name)


@pytest.mark.parametrize(
    ("ski", "keys"),
    [
        (SkiState(thickness=(12.0, 13.0, 14.0)), ["thickness"]),
        (SkiState(thickness=(0.0, math.nan)), ["thickness", "thickness"]),
        (SkiState(widths=((0.0, 30.0), (2000.0, 90.0))), ["width", "width"]),
        (SkiState(widths=((0.0, 80.0), (10.0, 90.0))), ["width"]),
        (SkiState(widths=tuple((50.0 * n, 90.0) for n in range(4))), ["width"]),
        (SkiState(area=Area(100.0, -100.0, 25.0)), ["area"]),
        (SkiState((99.0,), ((0.0, 9.0),), Area(-1.0, 1.0, 0.0)), ["thickness", "width", "area"]),
    ],
)
def test_every_fault_of_a_ski_at_once(ski, keys):
    with pytest.raises(InputError) as caught:
        checked(holes((0, 0)), ski)
    assert [finding.key for finding in caught.value.findings] == keys
    assert {finding.code for finding in caught.value.findings} == {"drilling.ski"}


def test_the_result_is_plain_data():
    ski = SkiState((12.0,), ((0.0, 66.0),))
    result = checked(holes((0, 23)), ski, screw=Screw(6.0, (12.0,)))
    data = json.loads(json.dumps(result.model_dump(mode="json")))
    assert data["stops"][0]["from_tip"] == pytest.approx(24.2318, abs=6e-5)
    assert data["stops"][0]["jobber"]["overall"] == 75
    assert data["holes"][0]["edge"] == pytest.approx(7.95)
    assert [finding["code"] for finding in data["errors"]] == ["drilling.base"]
    assert [finding["code"] for finding in data["warnings"]] == ["drilling.edge"]


def test_what_a_hole_comes_out_too_deep_is_taken_off_the_base():
    # 12 - 9 - 1.2318 of point = 1.77 mm; less 0.3 mm of depth error 1.47 mm, 8.47 mm deep at most.
    found = holes((0, 0), (20, 0))
    tops = dict.fromkeys(found.ids, 14.0)
    result = check_drilling(found, tops, SkiState((12.0,)), LIMITS, too_deep={"hole-2": 0.3})
    assert [hole.too_deep for hole in result.holes] == [0.0, 0.3]
    first, second = (hole.base_left for hole in result.holes)
    assert first == pytest.approx(12 - 9 - 1.2318, abs=1e-4)
    assert second == pytest.approx(first - 0.3)
    plain, error = result.errors
    assert "depth error" not in plain.message
    assert "1.47 mm of ski would be left" in error.message
    assert "12.00 thick - 9.00 deep - 1.23 point - 0.30 depth error" in error.message
    assert "8.47 mm deep at most" in error.hint

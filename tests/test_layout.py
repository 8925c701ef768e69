from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jiggen.errors import InputError
from jiggen.layout import lay_out
from jiggen.pattern import read_pattern
from jiggen.pattern.find import shipped_patterns
from jiggen.pattern.model import Datum, Drill, Group, Hole, Pair, Pattern, Step

DRILL = Drill(plain=3.6, metal=4.1, depth=9.5)


def group(name: str, datum: Datum, shift: float, *holes: Hole, steps: tuple[Step, ...] = ()):
    return Group(name, datum, shift, steps, holes)


def single(x: float, y: float, drill: Drill = DRILL) -> Hole:
    return Hole((x, y), False, drill)


def both(x: float, y: float, drill: Drill = DRILL) -> Hole:
    return Hole((x, y), True, drill)


def pattern(*groups: Group, boot=(255.0, 355.0), pair: Pair = "same") -> Pattern:
    return Pattern("Invented", "", "mm", boot, pair, groups, "invented.toml")


EXAMPLE = pattern(
    group("toe", "boot-toe", -8.0, both(12.0, 21.0), single(-20.0, 0.0, Drill(3.5, 4.0, 7.0))),
    group("heel", "boot-heel", 5.0, single(30.0, -18.0)),
    group("mid", "boot-centre", 0.0, single(1.5, 24.0)),
)


def test_worked_example_by_hand():
    found = lay_out(EXAMPLE, 305.0, mount_shift=-2.5)
    # By hand, x = k·boot + shift + at[0] + mount shift; half the boot is 305 / 2 = 152.5.
    #   toe:   152.5 - 8 - 2.5 = 142       -> 142 + 12 = 154 twice, 142 - 20 = 122
    #   heel: -152.5 + 5 - 2.5 = -150      -> -150 + 30 = -120
    #   mid:     0   + 0 - 2.5 = -2.5      -> -2.5 + 1.5 = -1
    assert found.ids == ("toe-1", "toe-2", "toe-3", "heel-1", "mid-1")
    assert found.groups == ("toe", "toe", "toe", "heel", "mid")
    wanted = [[154, 21], [154, -21], [122, 0], [-120, -18], [-1, 24]]
    assert found.positions.tolist() == wanted  # all of them exact in binary
    assert found.diameters.tolist() == [3.6, 3.6, 3.5, 3.6, 3.6]
    assert found.depths.tolist() == [9.5, 9.5, 7.0, 9.5, 9.5]
    assert found.bounds.tolist() == [[-120, -21], [154, 24]]
    assert len(found) == 5
    said = (found.pattern, found.boot, found.mount_shift, found.core, found.side, found.pair)
    assert said == ("Invented", 305.0, -2.5, "plain", "left", "same")


def test_metal_takes_the_other_drill():
    assert lay_out(EXAMPLE, 305.0, core="metal").diameters.tolist() == [4.1, 4.1, 4.0, 4.1, 4.1]


def test_the_left_hole_of_both_sides_comes_first_however_it_is_written():
    written_right = pattern(group("toe", "boot-toe", 0.0, both(0.0, -21.0), both(30.0, 21.0)))
    found = lay_out(written_right, 300.0)
    assert found.ids == ("toe-1", "toe-2", "toe-3", "toe-4")
    assert found.positions[:, 1].tolist() == [21.0, -21.0, 21.0, -21.0]


MIRRORED = pattern(
    group("toe", "boot-toe", 0.0, single(10.0, 21.0), both(40.0, 15.0), single(-20.0, 0.0)),
    pair="mirrored",
)


def test_the_right_ski_of_a_mirrored_pair():
    left, right = lay_out(MIRRORED, 300.0), lay_out(MIRRORED, 300.0, side="right")
    # single holes turn over and keep their ids; a hole on both sides is its own mirror image
    assert left.positions[:, 1].tolist() == [21.0, 15.0, -15.0, 0.0]
    assert right.positions[:, 1].tolist() == [-21.0, 15.0, -15.0, 0.0]
    assert left.positions[:, 0].tolist() == right.positions[:, 0].tolist()
    assert left.ids == right.ids
    assert not np.signbit(right.positions[3, 1])  # no -0 to puzzle a reader of the table


def test_the_right_ski_of_a_pair_alike():
    left, right = lay_out(EXAMPLE, 300.0), lay_out(EXAMPLE, 300.0, side="right")
    assert left.positions.tolist() == right.positions.tolist()


STEPPED = pattern(
    group(
        "track",
        "boot-centre",
        0.0,
        single(0.0, 10.0),
        steps=(Step(260.0, 112.5), Step(290.0, 126.25), Step(320.0, 140.0)),
    ),
)


@pytest.mark.parametrize(
    ("boot", "x"),
    # each step holds from its boot length up to, not including, the next one's
    [(260, 112.5), (289.999, 112.5), (290, 126.25), (319.999, 126.25), (320, 140), (355, 140)],
)
def test_steps(boot: float, x: float):
    assert lay_out(STEPPED, boot).positions.tolist() == [[x, 10.0]]


@pytest.mark.parametrize("boot", [254.999, 355.001, math.nan, math.inf, -math.inf, 0.0, -305.0])
def test_a_boot_that_the_pattern_does_not_serve(boot: float):
    with pytest.raises(InputError) as caught:
        lay_out(EXAMPLE, boot)
    assert {finding.code for finding in caught.value.findings} == {"pattern.boot-range"}


def test_a_boot_below_the_first_step():
    with pytest.raises(InputError, match="below the first step of track"):
        lay_out(STEPPED, 259.0)


@pytest.mark.parametrize("boot", [30.5, 12.0, 61.0, 501.0])
def test_without_a_range_a_slip_of_the_unit_is_caught(boot: float):
    anywhere = pattern(group("mid", "boot-centre", 0.0, single(0.0, 10.0)), boot=None)
    slip, code = ("looks like a shoe size", "pattern.boot-range")
    if boot > 60:
        slip, code = ("is out of range", "layout.boot")
    with pytest.raises(InputError, match=slip) as caught:
        lay_out(anywhere, boot)
    assert caught.value.findings[0].code == code and "12in" in caught.value.findings[0].hint


# At a boot of 305 the ends lie at 152.5 - 8 + 12 = 156.5 (toe-1) and -152.5 + 5 + 30 = -117.5
# (heel-1); 600 mm of ski either way leave shifts from -482.5 to 443.5.


@pytest.mark.parametrize("shift", [math.nan, math.inf, -math.inf, 443.6, -482.6])
def test_a_mount_shift_off_the_ski(shift: float):
    with pytest.raises(InputError) as caught:
        lay_out(EXAMPLE, 305.0, mount_shift=shift)
    assert caught.value.findings[0].code == "layout.shift"


@pytest.mark.parametrize("shift", [443.5, -482.5])
def test_the_longest_mount_shifts(shift: float):
    assert np.abs(lay_out(EXAMPLE, 305.0, mount_shift=shift).positions[:, 0]).max() == 600.0


@pytest.mark.parametrize("wrong", [{"core": "wood"}, {"side": "middle"}])
def test_a_word_that_is_no_choice(wrong: dict):
    with pytest.raises(InputError, match="Allowed: "):
        lay_out(EXAMPLE, 305.0, **wrong)


def test_arrays_cannot_be_changed():
    found = lay_out(EXAMPLE, 305.0)
    for array in (found.positions, found.diameters, found.depths):
        assert array.dtype == np.float64
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0.0


def test_a_shipped_pattern_by_hand():
    (path,) = (path for path in shipped_patterns() if path.stem == "club-piste")
    found = lay_out(read_pattern(path), 305.0)
    # toe-1: 152.5 - 11.4 + 14.2 = 155.3; heel-4: -152.5 + 6.8 - 16.1 = -161.8
    assert found.positions[found.ids.index("toe-1")] == pytest.approx((155.3, 17.3), abs=1e-9)
    assert found.positions[found.ids.index("heel-4")] == pytest.approx((-161.8, -18.4), abs=1e-9)


# -- properties ---------------------------------------------------------------------------------

# Toe and heel groups of holes on a lattice: far enough apart for any drill, at any boot.
offsets = st.sampled_from([-40.0, -20.0, 0.0, 20.0, 40.0])
sides = st.sampled_from([-30.0, -15.0, 15.0, 30.0])
holes = st.lists(
    st.builds(Hole, st.tuples(offsets, sides), st.booleans(), st.just(DRILL)),
    min_size=1,
    max_size=5,
    unique_by=lambda hole: (hole.at[0], abs(hole.at[1])),
).map(tuple)
shifts = st.floats(min_value=-20.0, max_value=20.0)
patterns = st.builds(
    lambda toe, heel, toe_shift, heel_shift, pair: pattern(
        Group("toe", "boot-toe", toe_shift, (), toe),
        Group("heel", "boot-heel", heel_shift, (), heel),
        pair=pair,
    ),
    holes,
    holes,
    shifts,
    shifts,
    st.sampled_from(["same", "mirrored"]),
)
boots = st.floats(min_value=255.0, max_value=355.0)


@given(patterns, boots, st.floats(min_value=-50.0, max_value=50.0))
def test_a_mount_shift_moves_every_hole_alike(one: Pattern, boot: float, shift: float):
    plain, moved = lay_out(one, boot), lay_out(one, boot, mount_shift=shift)
    assert np.allclose(moved.positions - plain.positions, (shift, 0.0), atol=1e-9)
    assert moved.ids == plain.ids


@given(patterns, boots, boots)
def test_a_longer_boot_moves_toe_and_heel_half_each(one: Pattern, boot: float, other: float):
    before, after = lay_out(one, boot), lay_out(one, other)
    slope = np.where(np.array(before.groups) == "toe", 0.5, -0.5)
    moved = after.positions - before.positions
    assert np.allclose(moved[:, 0], slope * (other - boot), atol=1e-9)
    assert not moved[:, 1].any()


@given(patterns, boots)
def test_the_right_ski_is_the_left_one_mirrored_or_the_same(one: Pattern, boot: float):
    left, right = lay_out(one, boot), lay_out(one, boot, side="right")
    turn = (1.0, -1.0) if one.pair == "mirrored" else (1.0, 1.0)
    as_set = {tuple(position) for position in (left.positions * turn).tolist()}
    assert {tuple(position) for position in right.positions.tolist()} == as_set


@given(patterns, boots)
def test_ids_count_in_each_group_and_both_sides_go_left_to_right(one: Pattern, boot: float):
    found = lay_out(one, boot)
    counts = {g.name: sum(1 + hole.both_sides for hole in g.holes) for g in one.groups}
    assert found.ids == tuple(f"{name}-{n + 1}" for name, k in counts.items() for n in range(k))
    for (x0, y0), (x1, y1) in pairwise(found.positions.tolist()):
        if x0 == x1 and y0 == -y1:
            assert y0 > 0

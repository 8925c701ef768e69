"""Layouts over a range of boots, and how groups move: by hand from the patterns' own numbers."""

import numpy as np
import pytest

from jiggen.errors import InputError
from jiggen.layout import lay_out, layouts, motions, whole_boots
from jiggen.pattern import find_pattern, read_pattern


def pattern(name):
    return read_pattern(find_pattern(name))


def over(name, least, most, **choices):
    return layouts(pattern(name), whole_boots(least, most), **choices)


def test_every_whole_length_of_a_range():
    assert whole_boots(264.3, 267.0) == (265.0, 266.0, 267.0)
    # 12 in = 304.8 mm and 12.1 in = 307.34 mm, by the inch of 25.4 mm.
    assert whole_boots(304.8, 307.34) == (305.0, 306.0, 307.0)
    with pytest.raises(InputError, match=r"305\.2 to 305\.8 mm are not a valid range"):
        whole_boots(305.2, 305.8)
    with pytest.raises(InputError):
        whole_boots(1.0, 5000.0)


def test_each_layout_is_that_of_its_boot():
    made = over("club-piste", 300.0, 303.0, mount_shift=4.0, core="metal")
    assert list(made) == [300.0, 301.0, 302.0, 303.0]
    alone = lay_out(pattern("club-piste"), 302.0, mount_shift=4.0, core="metal")
    assert np.array_equal(made[302.0].positions, alone.positions)
    assert made[302.0].boot == 302.0


def test_a_range_beyond_the_pattern_is_refused_at_both_ends():
    # club-piste serves 256 to 358 mm, its file says.
    with pytest.raises(InputError) as caught:
        over("club-piste", 250.0, 360.0)
    words = str(caught.value)
    assert "250" in words and "360" in words


def test_toe_and_heel_move_half_as_far_as_the_boot_grows_and_apart():
    toe, heel = motions(over("club-piste", 265.0, 345.0))
    assert (toe.groups, heel.groups) == (("toe",), ("heel",))
    assert toe.travel == pytest.approx((toe.boots - 345.0) / 2)
    assert heel.travel == pytest.approx((345.0 - heel.boots) / 2)
    assert not toe.still and not heel.still


def test_a_plate_about_the_boot_centre_stands_still():
    (both,) = motions(over("hut-plate", 265.0, 345.0))
    assert both.groups == ("front", "rear")
    assert both.still


def test_steps_move_by_bands_and_with_the_heel():
    toe, heel = motions(over("step-track", 265.0, 345.0))
    by_boot = dict(zip(toe.boots, toe.travel, strict=True))
    # The file's steps: 126.3 from 278, 140.0 from 306, 153.7 from 334 on.
    assert by_boot[277.0] == pytest.approx(112.6 - 153.7)
    assert by_boot[278.0] == by_boot[305.0] == pytest.approx(126.3 - 153.7)
    assert by_boot[334.0] == by_boot[345.0] == 0.0
    # Half the boot, and 13.1 up to 303, 7.9 from 304 on.
    by_boot = dict(zip(heel.boots, heel.travel, strict=True))
    assert by_boot[303.0] == pytest.approx((345.0 - 303.0) / 2 + 13.1 - 7.9)
    assert by_boot[304.0] == pytest.approx((345.0 - 304.0) / 2)


def test_within_one_band_a_stepped_group_stands_still():
    toe, heel = motions(over("step-track", 310.0, 330.0))
    assert toe.still and not heel.still

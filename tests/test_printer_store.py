"""A printer's profile: its matrix, its undoing, and its file."""

from __future__ import annotations

import math

import numpy as np
import pytest

from jiggen.errors import InputError
from jiggen.measure.printer.jig import distortion
from jiggen.measure.printer.profile import Profile, find_profile, profile_names, save_profile

CLUB = Profile(
    name="club-hall",
    scale_x=0.997,
    scale_y=1.002,
    scale_z=0.999,
    skew=0.2,
    hole=-0.18,
    wall=0.1,
    slide=0.3,
)


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("JIGGEN_PRINTERS", str(tmp_path / "printers"))


def test_the_axes_become_as_long_and_lean_as_said():
    x, y = distortion(CLUB.scale_x, CLUB.scale_y, CLUB.skew).T
    assert np.linalg.norm(x) == pytest.approx(0.997)
    assert np.linalg.norm(y) == pytest.approx(1.002)
    # Skew is 90° less the angle between the printed axes (common practice, no source).
    angle = math.degrees(math.acos(x @ y / np.linalg.norm(x) / np.linalg.norm(y)))
    assert 90 - angle == pytest.approx(0.2)


def test_compensation_undoes_the_distortion():
    done = CLUB.compensation
    done_to = distortion(CLUB.scale_x, CLUB.scale_y, CLUB.skew)
    assert done_to @ done.matrix == pytest.approx(np.eye(2), abs=1e-12)
    assert done.height * CLUB.scale_z == pytest.approx(1.0)


def test_fits_allow_for_what_the_printer_takes():
    fits = CLUB.fits(bush_fit=0.1, slide=0.2)
    assert (fits.hole_fit, fits.bush_fit) == pytest.approx((0.18, 0.28))
    assert fits.slide == 0.3  # the rail that ran best outranks the caliper
    tried = CLUB.model_copy(update={"bush_fit": 0.25})
    assert tried.fits(bush_fit=0.1, slide=0.2).bush_fit == 0.25


def test_walls_that_grow_get_as_much_more_clearance():
    grown = Profile(name="club-hall", wall=0.1)
    assert grown.fits(bush_fit=0.1, slide=0.2).slide == pytest.approx(0.3)
    assert grown.fits(bush_fit=0.1, slide=0.25).slide == pytest.approx(0.35)


def test_a_saved_profile_comes_back_by_name_and_by_path():
    path = save_profile(CLUB)
    assert profile_names() == ("club-hall",)
    assert find_profile("club-hall") == find_profile(str(path)) == CLUB


def test_an_unknown_name_is_answered_with_the_known_ones():
    save_profile(CLUB)
    with pytest.raises(InputError, match="club-hall") as caught:
        find_profile("club-hal")
    assert caught.value.findings[0].code == "printer.unknown"


@pytest.mark.parametrize(
    ("old", "new", "code"),
    [
        ("scale_x = 0.997", "scale_x = 0.97", "printer.value"),
        ("skew = 0.2", "skew = nan", "printer.not-finite"),
        ("hole = -0.18", "hole = [", "printer.syntax"),
        ("hole = -0.18", "whole = -0.18", "printer.unknown-key"),
    ],
)
def test_a_spoilt_profile_is_refused(old, new, code):
    path = save_profile(CLUB)
    path.write_text(path.read_text().replace(old, new))
    with pytest.raises(InputError) as caught:
        find_profile("club-hall")
    assert caught.value.findings[0].code == code
    assert caught.value.findings[0].where.startswith(f"{path}:")

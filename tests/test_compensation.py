"""A printer's profile in the fits of a design, and its stretch and skew taken out of meshes."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
import trimesh

from jiggen.accuracy.sweep import sweep_stations
from jiggen.design import Bed, Settings, SkiRange, design_jig
from jiggen.design.gear import backlash, contact_ratio
from jiggen.errors import InputError
from jiggen.export.compensation import (
    compensated,
    fit_settings,
    refuse_compensation,
    refuse_for_design,
)
from jiggen.export.meshes import PartMesh
from jiggen.layout import lay_out
from jiggen.measure.printer.profile import Compensation, Profile
from jiggen.pattern import find_pattern, read_pattern
from jiggen.verify.reading.mesh import read_stl

TRUE = Compensation("true", np.eye(2), 1.0)
USUAL = Settings(ski=SkiRange(84, 112))


@cache
def club_layout(pattern="club-piste"):
    return lay_out(read_pattern(find_pattern(pattern)), 305.0)


@cache
def club():
    return design_jig(club_layout(), USUAL)


def fitted(settings=USUAL, **profile):
    return fit_settings(settings, Profile(name="club", **profile))


# -- fits ------------------------------------------------------------------------------------------


def test_no_printer_and_a_true_one_change_no_setting():
    assert fit_settings(USUAL, None) is USUAL
    assert fitted() == USUAL


def test_holes_that_come_out_small_are_designed_larger():
    made = design_jig(club_layout(), fitted(hole=-0.18))
    for before, after in zip(club().guides, made.guides, strict=True):
        assert (after.x, after.y) == (before.x, before.y)
        assert after.bore == pytest.approx(before.bore + 0.18)
        assert after.throat == pytest.approx(before.throat + 0.18)


@pytest.mark.parametrize("hole", [-0.2, 0.2])
def test_a_hole_without_a_bush_is_designed_larger_or_smaller(hole):
    plain = replace(USUAL, bush="none")
    made = design_jig(club_layout(), fitted(plain, hole=hole))
    for guide in made.guides:
        assert guide.bore == guide.throat == pytest.approx(guide.drill + 0.15 - hole)


def test_the_pocket_that_held_the_bush_best_outranks_the_caliper():
    made = design_jig(club_layout(), fitted(hole=-0.18, bush_fit=0.25))
    for before, after in zip(club().guides, made.guides, strict=True):
        assert after.bore == pytest.approx(before.bore + 0.15)
        assert after.throat == pytest.approx(before.throat + 0.18)


@pytest.mark.parametrize(("profile", "more"), [({"wall": 0.08}, 0.08), ({"slide": 0.3}, 0.1)])
def test_walls_that_grow_get_clearance_and_teeth_their_backlash(profile, more):
    made = design_jig(club_layout(), fitted(**profile))
    assert made.settings.slide == pytest.approx(USUAL.slide + more)
    before, after = (one.mechanism.pinion.gear for one in (club(), made))
    racks = [one.mechanism.rail.rack.thinning for one in (club(), made)]
    gained = backlash(after, racks[1]) - backlash(before, racks[0])
    # Both flanks of tooth and space grow by half of it, along the normal: ISO 53, 20 degrees.
    assert gained == pytest.approx(2 * more / math.cos(math.radians(20.0)), abs=1e-4)
    assert contact_ratio(after) > 1.4


def test_a_jig_for_the_widest_fits_moves_over_its_range():
    made = design_jig(club_layout(), fitted(slide=0.35))
    assert made.settings.backlash == pytest.approx(0.4793)
    assert sweep_stations(made).findings == ()


def test_the_slide_asked_for_is_what_comes_out():
    assert fitted(replace(USUAL, slide=0.3), wall=0.05).slide == pytest.approx(0.35)
    assert fitted(replace(USUAL, slide=0.3), slide=0.25).slide == 0.25


# -- what is refused -------------------------------------------------------------------------------


def refused(call, *arguments, **more) -> str:
    with pytest.raises(InputError) as refusal:
        call(*arguments, **more)
    for finding in refusal.value.findings:
        assert (finding.code, finding.key) == ("export.compensation", "printer")
    return str(refusal.value)


def test_fits_out_of_bounds_are_refused_all_at_once():
    said = refused(fitted, hole=-0.55, wall=0.5)
    assert "bush fit allowance is 0.65 mm" in said
    assert "sliding clearance" in said and "is 0.7 mm" in said
    assert "gear backlash is" in said


@pytest.mark.parametrize(
    ("profile", "words"),
    [
        ({"wall": -0.19}, "sliding clearance"),
        ({"wall": -0.08}, "gear backlash is -0.0103 mm"),
        ({"wall": 0.2}, "gear backlash is 0.5857 mm"),
    ],
)
def test_fits_that_leave_no_clearance_are_refused(profile, words):
    assert words in refused(fitted, **profile)


def test_settings_that_are_bad_by_themselves_are_not_the_printers_fault():
    with pytest.raises(InputError) as refusal:
        fitted(replace(USUAL, slide=0.9), wall=0.1)
    assert refusal.value.findings[0].code == "design.setting"


def test_what_no_sound_printer_needs_is_refused():
    refuse_compensation(replace(TRUE, matrix=np.array([[1.019, 0.0], [0.0, 0.989]])))
    assert "3.00 %" in refused(refuse_compensation, replace(TRUE, matrix=np.diag((1.0, 0.97))))
    assert "shorten a part by 1.50 %" in refused(refuse_compensation, replace(TRUE, height=0.985))
    assert "2.10 %" in refused(refuse_compensation, replace(TRUE, height=1.021))
    skewed = replace(TRUE, matrix=np.array([[1.0, -0.025], [0.0, 1.0]]))
    assert "2.50 %" in refused(refuse_compensation, skewed)
    assert "nan" in refused(refuse_compensation, replace(TRUE, height=math.nan))
    beyond = Profile(name="club", scale_x=0.98)
    assert "2.04 %" in refused(refuse_for_design, club(), beyond)


def test_a_body_that_outgrows_the_bed_is_refused():
    flat = design_jig(club_layout(), replace(USUAL, bed=Bed(rim=4.0)))  # it lies square there
    small = replace(flat, settings=replace(USUAL, bed=Bed(212.0, 100.0, 250.0)))
    refuse_for_design(small, Profile(name="club", scale_x=1 / 1.002))
    said = refused(refuse_for_design, small, Profile(name="club", scale_x=1 / 1.015))
    longer = 1.015 * np.ptp(club().bodies[0].outline.outer[:, 0])
    assert f"body-toe would be {longer:.1f} x 68.0 mm on a bed of 212 x 100 mm" in said


def crowded(wall: float):
    """The club jig's layout with its second hole at `wall` mm beside the first bush's pocket."""
    places = club_layout().positions.copy()
    first = club().guides[0]
    places[1] = (first.x, first.y - first.bore - wall)
    return replace(club_layout(), positions=places)


def test_walls_as_thin_as_they_are_printed_are_allowed_and_no_thinner():
    design_jig(crowded(2.05), USUAL)
    made = design_jig(crowded(2.05), fitted(hole=-0.2))  # 1.85 mm in the file, 2.05 mm printed
    assert made.settings.wall == pytest.approx(1.8)
    with pytest.raises(InputError, match=r"1\.90 mm of wall, 2 mm needed") as refusal:
        design_jig(crowded(1.9), USUAL)
    assert {finding.code for finding in refusal.value.findings} == {"design.clash"}
    with pytest.raises(InputError, match=r"1\.75 mm of wall, 1\.8 mm needed"):
        design_jig(crowded(1.95), fitted(hole=-0.2))


def test_a_wall_in_the_file_is_never_thinner_than_three_lines():
    assert fitted(replace(USUAL, wall=1.3), hole=-0.4).wall == 1.2


def test_a_bush_that_would_lose_its_seat_is_refused():
    tight = Settings(ski=SkiRange(84, 112), bush=replace(club().guides[0].bush, outside=5.9))
    design_jig(club_layout(), tight)
    with pytest.raises(InputError) as refusal:
        design_jig(club_layout(), fitted(tight, hole=-0.4, bush_fit=0.1))
    assert {finding.code for finding in refusal.value.findings} == {"design.bush-thin"}


# -- meshes ----------------------------------------------------------------------------------------


def test_bed_and_height_are_stretched_and_nothing_else_is_done():
    solid = trimesh.creation.box((20.0, 12.0, 8.0))
    points = np.array(solid.vertices, dtype=np.float32).astype(np.float64)
    box = PartMesh("box", points, np.array(solid.faces, dtype=np.int64), 1)
    wanted = replace(TRUE, matrix=np.array([[1.004, -0.003], [0.0, 0.998]]), height=1.002)
    found = compensated(box, wanted)
    x, y, z = box.vertices.T
    assert found.vertices == pytest.approx(
        np.column_stack([1.004 * x - 0.003 * y, 0.998 * y, 1.002 * z]), abs=2e-6
    )
    assert (found.triangles == box.triangles).all()
    assert (found.name, found.count) == ("box", 1)


def test_nothing_done_changes_no_bit(built):
    meshes = {}
    for entry in built.record.values()["parts"]:
        mesh = read_stl(built.folder / entry["file"])
        meshes[entry["name"]] = PartMesh(
            entry["name"], mesh.vertices, mesh.triangles, entry["count"]
        )
    for mesh in meshes.values():
        assert (compensated(mesh, TRUE).vertices == mesh.vertices).all()

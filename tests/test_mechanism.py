"""The centring mechanism, found in the written meshes: what it does, and what spoils it."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
import shapely
import trimesh
from assembled import evidence_of
from hypothesis import given, settings
from hypothesis import strategies as some
from shapely import affinity
from shapely.geometry import Polygon

from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.gear import Gear, Rack, backlash
from jiggen.design.pieces import list_pieces
from jiggen.design.sidewall import run_out as designed_run_out
from jiggen.solid.body import make_pinion, make_rail
from jiggen.solid.model import draw_pieces, mesh_of
from jiggen.verify import limits
from jiggen.verify.bearings import find_seat
from jiggen.verify.drive import SHARES, _bent, _flanks, _play, _uneven, drive, edges
from jiggen.verify.evidence import Evidence
from jiggen.verify.mechanism import half_touched, judge_mechanism, run_out
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger
from jiggen.verify.stations import Cuts, Side

FINE = 1e-3
MODULE, TEETH, SHIFT = 1.5, 12, 0.3
ZERO = np.zeros(2)


@pytest.fixture(scope="module")
def good(built):
    return evidence_of(built.folder)


def judged(evidence, **meshes):
    """What is found with some parts' meshes replaced: the ledger."""
    ledger = Ledger()
    changed = {**evidence.meshes, **{k.replace("_", "-"): v for k, v in meshes.items()}}
    judge_mechanism(Evidence(evidence.folder, evidence.manifest, changed, {}), ledger)
    return ledger


def codes(ledger):
    return {fault.code for fault in ledger.faults}


def moved(mesh, pose, where, by):
    """Corners of a mesh moved by so much in the frame that `pose` carries it to."""
    at = mesh.moved(pose)
    vertices = at.vertices.copy()
    vertices[where(vertices)] += by
    return Mesh(vertices, at.triangles).moved(np.linalg.inv(pose))


def boolean(how, mesh, pose, low, high):
    """A box joined to a mesh or cut from it, in the frame that `pose` carries it to."""
    at = mesh.moved(pose)
    box = trimesh.creation.box(bounds=np.array([low, high], dtype=float))
    whole = trimesh.Trimesh(at.vertices, at.triangles)
    made = getattr(trimesh.boolean, how)([whole, box], engine="manifold")
    return Mesh(np.asarray(made.vertices), np.asarray(made.faces)).moved(np.linalg.inv(pose))


# -- what it does ---------------------------------------------------------------------------------


def test_a_good_jig_has_no_fault_and_every_station_is_looked_at(good):
    ledger = judged(good)
    assert ledger.faults == []
    assert ledger.checks > 80


@pytest.mark.parametrize("play", [0.05, 0.16, 0.5])
@pytest.mark.parametrize("share", [0.0, 0.3, 0.5])
def test_play_on_the_meshes_is_the_backlash_of_the_formula(play, share):
    """Thinning of rack and pinion adds up: `design.gear.backlash`, which test_gear.py proves."""
    gear = Gear(MODULE, TEETH, SHIFT, play * share)
    rack = Polygon(Rack.meshing(gear, (-25, 25), thinning=play * (1 - share)).outline(FINE))
    pinion = Polygon(gear.outline(FINE))
    turn = math.pi * MODULE * TEETH
    for out in np.linspace(-7.0, 7.0, 9):
        low, high = _play(pinion, rack, ZERO, out, turn)
        assert high - low == pytest.approx(backlash(gear, play * (1 - share)), abs=4 * FINE)
        assert high == pytest.approx(-low, abs=4 * FINE)


def test_a_pinion_farther_off_has_more_of_it():
    """2·apart·tan α more, from memory; sideways it takes the rack with it one to one."""
    gear = Gear(MODULE, TEETH, SHIFT, 0.08)
    rack = Polygon(Rack.meshing(gear, (-25, 25), thinning=0.08).outline(FINE))
    pinion, turn = Polygon(gear.outline(FINE)), math.pi * MODULE * TEETH
    low, high = _play(pinion, rack, np.array([-0.15, 0.0]), 0.0, turn)
    assert high - low == pytest.approx(backlash(gear, 0.08, apart=0.15), abs=4 * FINE)
    low, high = _play(pinion, rack, np.array([0.0, 0.4]), 0.0, turn)
    assert (low + high) / 2 == pytest.approx(0.4, abs=4 * FINE)


@settings(max_examples=25)
@given(some.floats(-7, 7), some.floats(-0.06, 0.06), some.floats(-0.05, 0.05))
def test_play_against_a_search_of_every_place(out, x, y):
    gear = Gear(MODULE, TEETH, SHIFT, 0.08)
    rack = Polygon(Rack.meshing(gear, (-25, 25), thinning=0.08).outline(0.02))
    pinion, turn = Polygon(gear.outline(0.02)), math.pi * MODULE * TEETH
    low, high = _play(pinion, rack, np.array([x, y]), out, turn)
    turned = affinity.translate(affinity.rotate(pinion, 360 * out / turn, origin=(0, 0)), x, y)
    for at, meets in ((low - 2e-4, True), (low + 2e-4, False), (high - 2e-4, False)):
        assert turned.intersects(affinity.translate(rack, 0.0, out + at)) is meets
    assert turned.intersects(affinity.translate(rack, 0.0, out + high + 2e-4))


def test_both_rails_of_a_station_have_the_designed_play_at_every_width(good, built):
    for side in good.sides:
        seat = find_seat(side)
        assert np.abs(seat.pinion - seat.hole).max() < 1e-5
        found = drive(side, seat.pinion, seat.hole, (84.0, 112.0))
        assert found.teeth == TEETH
        assert found.pitch == pytest.approx(math.pi * MODULE, abs=1e-5)  # ISO 53: π·m
        assert found.around == pytest.approx(2 * math.pi * 9.0, abs=1e-4)  # ISO 21771: d = z·m
        assert {84.0, 98.0, 112.0} <= set(found.widths)
        low, high = found.play.T
        # Chords of the pinion's flanks lie within 0.02 mm of it, and leave that much more.
        assert high - low == pytest.approx(built.record.inputs.backlash, abs=0.01)
        assert max(found.uneven) < 1e-4 and max(found.bent) < 1e-4
        half, at = half_touched(side, good.manifest.inputs)
        assert half == pytest.approx(49.0, abs=1e-4)
        assert at[0] == pytest.approx(0.0, abs=0.01)


def test_engraving_is_no_fault_of_the_teeth_of_the_thinnest_racks(club_layout):
    """5 mm high, engraved 0.6 mm deep on top and underside."""
    design = design_jig(club_layout, Settings(SkiRange(84, 112), body=12.0))
    made = design.mechanism
    makers = {"rail": partial(make_rail, made.rail), "pinion": partial(make_pinion, made.pinion)}
    pieces = [piece for piece in list_pieces(design) if piece.name in makers]
    cuts = {}
    for part in draw_pieces(pieces, makers):
        pose = part.piece.to_ski(part.piece.placed[0])
        pose[0, 3] -= design.stations[0].x
        cuts[part.name] = Cuts(Mesh(*mesh_of(part)).moved(pose))
    side = Side("rail", "heel", 1.0, 0.0, cuts["rail"], cuts["rail"], cuts["pinion"])
    found = drive(side, ZERO, ZERO, (84.0, 112.0))
    assert max(found.bent) < 1e-4
    assert np.ptp(found.play, axis=1) == pytest.approx(0.16, abs=0.01)


def test_equal_parts_are_cut_once(good):
    left, right = (
        [side for side in good.sides if side.name.endswith(which)] for which in ("left", "right")
    )
    assert len(left) == len(right) == 2
    assert left[0].rail is left[1].rail is right[0].rail
    assert left[0].pinion is left[1].pinion is not right[0].pinion


@pytest.mark.parametrize("wall", ["upright", "rounded", 10.0, 33.0])
def test_a_skis_side_is_as_the_designs(wall):
    depths = np.linspace(0.0, 20.0, 21)
    theirs = [designed_run_out(wall, depth) for depth in depths]
    assert run_out(wall, depths) == pytest.approx(theirs, abs=1e-12)


def test_an_upright_nose_touches_a_sloped_side_at_its_foot(good):
    side, inputs = good.sides[0], good.manifest.inputs
    for wall in ("rounded", 20.0):
        half, at = half_touched(side, inputs.model_copy(update={"sidewall": wall}))
        assert half == pytest.approx(49.0, abs=1e-4)
        assert at[2] == pytest.approx(-inputs.rail_depth, abs=1e-4)


def test_teeth_off_their_row_are_measured():
    gear = Gear(MODULE, TEETH, SHIFT)
    rack = Polygon(Rack.meshing(gear, (-20, 20)).outline(FINE))
    ends = edges(rack)
    assert len(ends) == Rack.meshing(gear, (-20, 20)).spaces
    assert _uneven(ends, gear.pitch) < 1e-9
    ends[3, 0] += 0.2
    assert _uneven(ends, gear.pitch) == pytest.approx(0.2, abs=1e-9)
    pinion = Polygon(gear.outline(FINE))
    flanks = _flanks(pinion, 9.0)
    assert len(flanks) == TEETH
    assert np.diff(flanks, axis=1) * 9.0 == pytest.approx(gear.thickness(9.0), abs=2 * FINE)
    assert _uneven(flanks, 2 * math.pi / TEETH) * 9.0 < 2 * FINE
    off = affinity.translate(pinion, 0.1, 0.0)
    assert _uneven(_flanks(off, 9.0), 2 * math.pi / TEETH) * 9.0 > 0.09
    assert _bent([pinion, pinion], 20.0) == 0.0
    turned = affinity.rotate(pinion, 1.0, origin=(0, 0))
    assert _bent([pinion, turned], 20.0) == pytest.approx(math.radians(1.0) * 9.5, rel=0.2)
    assert _bent([pinion, shapely.Polygon()], 20.0) == math.inf


# -- what spoils it -------------------------------------------------------------------------------


def test_a_station_off_the_centre_line_names_the_rail_that_stands_farther_out(good):
    (part,) = (one for one in good.manifest.parts if one.name == "body-toe")

    def station(points):  # all round the pinion: recess and seat
        away = np.hypot(points[:, 0] - 177.5, points[:, 1])
        return (away < 13.0) & (points[:, 2] > 10.5)

    harmed = moved(good.meshes["body-toe"], part.matrix, station, (0.0, 0.2, 0.0))
    ledger = judged(good, body_toe=harmed)
    (fault,) = (one for one in ledger.faults if one.code == "verify.off-centre")
    assert fault.subject == "toe station"
    assert fault.message == (
        "rail toe left touches a 84 mm ski 0.40 mm farther out than rail toe right"
    )
    assert fault.found == pytest.approx(0.4, abs=0.01)
    (seat,) = (one for one in ledger.faults if one.code == "verify.seat")
    assert "0.20 mm left of the centre line" in seat.message


@pytest.mark.parametrize("by", [0.3, -0.05])
def test_a_nose_of_another_length_is_said_of_every_rail(good, by):
    rail = next(part for part in good.manifest.parts if part.name == "rail")

    def nose(points):  # of the heel's left rail, whose nose stands at y = 49
        return (points[:, 2] < 0) & (points[:, 1] < 51.5) & (points[:, 1] > 45)

    harmed = moved(good.meshes["rail"], rail.matrix, nose, (0.0, by, 0.0))
    ledger = judged(good, rail=harmed)
    assert codes(ledger) == {"verify.touch"}
    assert len(ledger.faults) == 4
    way = "farther out than" if by > 0 else "within"
    assert f"84 mm it stands {abs(by):.2f} mm {way} the ski's edge" in ledger.faults[0].message


def test_less_than_a_limit_off_is_no_fault(good):
    rail = next(part for part in good.manifest.parts if part.name == "rail")

    def nose(points):
        return (points[:, 2] < 0) & (points[:, 1] < 51.5) & (points[:, 1] > 45)

    less = 0.8 * limits.CENTRED
    harmed = moved(good.meshes["rail"], rail.matrix, nose, (0.0, less, 0.0))
    assert judged(good, rail=harmed).faults == []


BLOCKS = {
    # In the frame of the heel's left rail, station at x = -140, nose at y = 49.
    "clamping face": ("rail", "union", (-139, 58.5, -6), (-137, 59.5, -4), "verify.clamp-face"),
    "back of the rack": ("rail", "union", (-125, 9, 7), (-123.9, 10, 8), "verify.channel"),
    "nose": ("rail", "union", (-141, 48.5, -8), (-139, 50, -7), "verify.touch"),
    "a tooth less": ("rail", "difference", (-134, -2.4, 3), (-129, 1.0, 10.5), "verify.teeth"),
    "wall": ("body-heel", "union", (-123.9, 20, 7), (-123, 22, 8), "verify.channel"),
    "wall away": ("body-heel", "difference", (-124, 15, 4), (-122.5, 20, 9), "verify.channel"),
    "roof": ("body-heel", "union", (-130, 20, 10.25), (-128, 22, 11), "verify.channel"),
    "roof away": ("body-heel", "difference", (-131, 15, 9), (-125, 20, 12), "verify.roof"),
    "plug": ("body-heel", "union", (-130, 25, 4), (-128, 27, 8), "verify.interference"),
    "seat": ("body-heel", "union", (-133.5, -1, 11.2), (-132, 1, 13), "verify.seat"),
    "gear": ("pinion", "difference", (-132, -1.5, 3.1), (-128, 1.5, 9.9), "verify.teeth"),
}


@pytest.mark.parametrize("name", BLOCKS)
def test_a_bump_or_a_gap_is_found(good, name):
    part, how, low, high, code = BLOCKS[name]
    pose = next(one for one in good.manifest.parts if one.name == part).matrix
    harmed = boolean(how, good.meshes[part], pose, low, high)
    found = codes(judged(good, **{part.replace("-", "_"): harmed}))
    assert code in found


def test_a_bump_between_the_heights_that_are_cut_is_found(good):
    """On a tooth's flank of the pinion, at no height at which it is cut."""
    (left,) = (side for side in good.sides if side.name == "rail heel left")
    heights = sorted(left.rack_level(share) for share in SHARES)
    low, high = heights[1] + 0.2, heights[2] - 0.2
    pose = next(one for one in good.manifest.parts if one.name == "pinion").matrix
    harmed = boolean("union", good.meshes["pinion"], pose, (-131.2, -1.6, low), (-130.2, 1.6, high))
    assert "verify.teeth" in codes(judged(good, pinion=harmed))


def test_pieces_that_are_missing_are_said(good):
    manifest = good.manifest
    for name in ("pinion", "knob", "rail"):
        parts = tuple(part for part in manifest.parts if part.name != name)
        ledger = Ledger()
        less = manifest.model_copy(update={"parts": parts})
        judge_mechanism(replace(good, manifest=less), ledger)
        lost = [one for one in ledger.faults if one.code == "verify.station"]
        assert len(lost) == 2 and all(f"{name} " in one.message for one in lost)
    ledger = Ledger()
    judge_mechanism(replace(good, manifest=manifest.model_copy(update={"stations": ()})), ledger)
    assert [fault.code for fault in ledger.faults] == ["verify.station"]


def test_a_mesh_that_is_nothing_like_its_part_raises_nothing(good):
    ball = trimesh.creation.icosphere(radius=5.0)
    odd = Mesh(np.asarray(ball.vertices), np.asarray(ball.faces))
    for name in ("rail", "pinion", "knob", "body_heel"):
        with np.errstate(all="ignore"):
            assert codes(judged(good, **{name: odd})) or name == "knob"


def test_an_outline_far_from_its_axis_has_no_gear(good):
    side = good.sides[0]
    assert drive(side, np.array([500.0, 0.0]), ZERO, (84.0, 112.0)) is None

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from jiggen.design import Bed, Bush, Settings, SkiRange, design_jig
from jiggen.design.gear import mesh_half_length, teeth_in_mesh
from jiggen.design.pieces import list_hardware, list_pieces
from jiggen.design.plan import JointPlay, bed_turn, longest_fit, worst_error
from jiggen.errors import InputError
from jiggen.layout import Layout

WIDE = SkiRange(70, 130)


def holes(points, drill=4.1, boot=305.0, pair="same"):
    n = len(points)
    return Layout(
        pattern="Arvenal Test",
        boot=boot,
        mount_shift=0.0,
        core="metal",
        side="left",
        pair=pair,
        ids=tuple(f"h-{i + 1}" for i in range(n)),
        groups=("h",) * n,
        positions=np.array(points, dtype=float),
        diameters=np.full(n, drill),
        depths=np.full(n, 9.0),
    )


def alpine(boot=305.0):
    toe, heel = boot / 2, -boot / 2
    return holes(
        [
            *((toe - 3.0, 19.6), (toe - 3.0, -19.6), (toe - 27.3, 14.1), (toe - 27.3, -14.1)),
            *((heel + 9.1, 16.3), (heel + 9.1, -16.3), (heel - 12.6, 19.2), (heel - 12.6, -19.2)),
        ],
        boot=boot,
    )


def test_two_halves_meet_at_the_mounting_mark_when_the_bed_is_small():
    jig = design_jig(alpine(), Settings(ski=WIDE))
    toe, heel = (body.plate for body in jig.bodies)
    assert (toe.name, heel.name) == ("body-toe", "body-heel")
    assert toe.start == 0.0 == heel.stop
    assert jig.joint is not None
    assert len(jig.stations) == 2


def test_one_piece_when_the_bed_holds_it():
    jig = design_jig(alpine(), Settings(ski=WIDE, bed=Bed(400, 400, 250)))
    assert [body.name for body in jig.bodies] == ["body"]
    assert jig.joint is None


@pytest.mark.parametrize("boot", [265.0, 305.0, 345.0])
@pytest.mark.parametrize("ski", [SkiRange(84, 112), WIDE])
@pytest.mark.parametrize("bed", [Bed(), Bed(400, 400, 250)])
def test_every_body_fits_the_bed_as_it_is_turned(boot, ski, bed):
    jig = design_jig(alpine(boot), Settings(ski=ski, bed=bed))
    for piece, body in zip(list_pieces(jig), jig.bodies, strict=False):
        flat = body.outline.outer @ piece.to_bed[:2, :2].T + piece.to_bed[:2, 3]
        assert flat.min() >= -1e-9
        assert np.all(np.ptp(flat, axis=0) <= np.array([bed.x, bed.y]) - 2 * 2.0 + 1e-9)


def test_poses_are_rigid_and_right_handed():
    for piece in list_pieces(design_jig(alpine(), Settings(ski=WIDE))):
        for placed in piece.placed:
            turn = piece.to_ski(placed)[:3, :3]
            assert np.allclose(turn @ turn.T, np.eye(3), atol=1e-12)
            assert np.linalg.det(turn) == pytest.approx(1.0, abs=1e-12)


def test_rails_stand_on_the_ski_edges_at_any_width():
    jig = design_jig(alpine(), Settings(ski=WIDE))
    for width in (70.0, 91.0, 130.0):
        (rail,) = [piece for piece in list_pieces(jig, width) if piece.name == "rail"]
        contacts = [(placed.pose @ (0, 0, -5, 1))[:2] for placed in rail.placed]
        expected = [(s.x, y) for s in jig.stations for y in (width / 2, -width / 2)]
        assert np.allclose(contacts, expected)


@given(st.floats(0, 1))
def test_racks_keep_two_teeth_in_mesh_over_the_whole_range(part):
    settings = Settings(ski=WIDE)
    rail = design_mechanism(settings).rail
    gear = design_mechanism(settings).pinion.gear
    half = (70 + part * 60) / 2
    low, high = rail.rack.toothed
    assert teeth_in_mesh(gear, (low + half, high + half)) >= 2
    # Full mesh, not two teeth by chance: the toothed length covers all that can touch.
    assert low + half <= -mesh_half_length(gear)
    assert high + half >= mesh_half_length(gear)


def design_mechanism(settings):
    from jiggen.design.station import design_mechanism as made

    return made(settings)


def test_error_between_stations_is_the_stations_own():
    # The rule of the concept: e·(|x-b| + |x-a|)/|a-b|; by hand for stations at ±100:
    # x = 0 -> 1, x = 60 -> 1, x = 150 -> (50 + 250)/200 = 1.5.
    gain = worst_error([0.0, 60.0, 150.0], -100.0, 100.0, 1.0)
    assert gain == pytest.approx([1.0, 1.0, 1.5])


@given(
    st.floats(-250, 250),
    st.floats(-220, -40),
    st.floats(40, 220),
    st.floats(0, 0.3),
    st.floats(0, 0.002),
)
def test_joint_play_rule_against_every_corner_of_the_free_positions(x, heel, toe, side, angle):
    # The two halves as lines, each corner of the four independent causes tried by brute force.
    worst = 0.0
    for e_h in (-0.1, 0.1):
        for e_t in (-0.1, 0.1):
            for j in (-side, side):
                for a in (-angle, angle):
                    # unknowns t0, t1, h0, h1
                    system = np.array(
                        [[1, toe, 0, 0], [0, 0, 1, heel], [1, 0, -1, 0], [0, 1, 0, -1]]
                    )
                    t0, t1, h0, h1 = np.linalg.solve(system, [e_t, e_h, j, a])
                    worst = max(worst, abs(t0 + t1 * x if x >= 0 else h0 + h1 * x))
    rule = float(worst_error(x, heel, toe, 0.1, JointPlay(side, angle)))
    assert rule == pytest.approx(worst, rel=1e-9)


def test_stations_outside_the_holes_where_there_is_room():
    jig = design_jig(alpine(), Settings(ski=WIDE, bed=Bed(400, 400, 250)))
    heel, toe = (station.x for station in jig.stations)
    xs = jig.layout.positions[:, 0]
    assert heel < xs.min() and toe > xs.max()
    assert max(jig.errors) == pytest.approx(0.1)


def test_longest_fit_is_what_turning_an_outline_finds():
    bed = Bed()
    length = longest_fit(70.0, bed)
    box = np.array([[0, 0], [length - 0.6, 0], [length - 0.6, 70.0], [0, 70.0]])
    assert bed_turn(box, bed) is not None
    assert bed_turn(box * (length / (length - 2.0), 1.0) + 0.0, bed) is None
    # Along the diagonal of a square bed of side s a bar of width w fits with L + w = s·√2.
    assert length == pytest.approx(216 * np.sqrt(2) - 70, abs=0.05)


def test_bush_is_chosen_by_the_drill_and_seated_near_flush():
    # DIN 179, standards.md: a 4.1 drill takes an 8 mm bush, a 3.6 one a 7 mm bush (from memory).
    (guide, *_) = design_jig(alpine(), Settings(ski=WIDE)).guides
    assert guide.bush == Bush(8.0, 12.0)
    assert guide.bore == pytest.approx(8.1)
    assert guide.bush_top_z == pytest.approx(14.0)
    layout = holes([(60.0, 10.0), (-60.0, -10.0)], drill=3.6)
    (guide, *_) = design_jig(layout, Settings(ski=WIDE)).guides
    assert guide.bush == Bush(7.0, 12.0)


def test_the_throat_clears_the_drill_and_holds_the_bush():
    for guide in design_jig(alpine(), Settings(ski=WIDE)).guides:
        assert guide.throat >= guide.drill + 0.4
        assert guide.throat <= guide.bush.outside - 2 * 0.8


def test_without_bushes_the_print_guides_the_drill():
    (guide, *_) = design_jig(alpine(), Settings(ski=WIDE, bush="none")).guides
    assert guide.bush is None
    assert guide.bore == pytest.approx(4.1 + 0.15)
    assert guide.throat == guide.bore


def test_a_clash_names_both_features_the_wall_and_what_helps():
    layout = holes([(60.0, 5.0), (60.0, -4.5), (-60.0, 0.0)])
    with pytest.raises(InputError) as caught:
        design_jig(layout, Settings(ski=WIDE))
    (finding,) = caught.value.findings
    # By hand: 9.5 mm apart less one 8.1 mm pocket leaves 1.40 mm.
    assert "h-1" in finding.message and "h-2" in finding.message
    assert "1.40 mm of wall, 2 mm needed" in finding.message
    assert "thinner bush" in finding.hint


def test_every_clash_is_said_at_once():
    layout = holes([(60.0, 31.0), (60.0, -31.5), (-60.0, 0.0)])
    with pytest.raises(InputError) as caught:
        design_jig(layout, Settings(ski=WIDE))
    messages = " ".join(finding.message for finding in caught.value.findings)
    assert "left edge" in messages and "right edge" in messages


def test_a_hole_in_the_sight_window_is_a_clash():
    with pytest.raises(InputError, match="sight window"):
        design_jig(holes([(0.0, 28.0), (70.0, 0.0), (-70.0, 0.0)]), Settings(ski=SkiRange(84, 112)))


def test_skis_too_narrow_for_the_joint_are_refused_with_the_width_that_serves():
    # By hand: the nuts' pockets have a corner at x = -6, y = 16 + 7.2/2 = 19.6 mm, the window has
    # one at x = -5. It is 2 mm off where it is 1.732 further out, at y = 21.33; 9 mm of window and
    # 1 mm to the legs make 31.33 to a side, but noses stand out 2 mm below the body: 29.33, so
    # 58.7 mm.
    with pytest.raises(InputError, match=r"58\.7 mm wide"):
        design_jig(alpine(), Settings(ski=SkiRange(58, 80)))
    design_jig(alpine(), Settings(ski=SkiRange(58.7, 80)))
    design_jig(alpine(), Settings(ski=SkiRange(58, 80), bed=Bed(400, 400, 250)))


def test_thin_body_and_bad_settings_are_refused():
    with pytest.raises(InputError, match="body thickness is 8 mm"):
        design_jig(alpine(), Settings(ski=WIDE, body=8.0))
    with pytest.raises(InputError, match="widest ski width"):
        design_jig(alpine(), Settings(ski=SkiRange(100, 90)))


def test_hardware_counts():
    bought = {
        (b.name, b.size): b.count for b in list_hardware(design_jig(alpine(), Settings(ski=WIDE)))
    }
    assert bought[("drill bush, headless, press fit", "4.1 x 8 x 12 mm")] == 8
    assert bought[("lock screw, socket head", "M5 x 25")] == 2
    assert bought[("joint screw, socket head", "M4 x 20")] == 2


def test_lock_screw_ends_above_the_ski_and_fills_its_nut():
    from jiggen.tables import nut

    made = design_mechanism(Settings(ski=WIDE))
    tip = made.knob.top_z - made.lock.length
    assert tip >= 0.6  # the relief: nothing may stand below it
    assert tip <= made.pinion.bottom_z + 1.0
    assert made.pinion.nut_top_z - tip >= nut("M5").height  # ISO 4032

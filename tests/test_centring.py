import math
from dataclasses import replace
from itertools import pairwise, product

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon, box

from jiggen.accuracy import sections
from jiggen.accuracy.centring import (
    LIMIT,
    Loading,
    find_centring,
    hole_shift_per_division,
    station_play,
)
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.lettering import regions_of
from jiggen.design.plan import RIGID, worst_error
from jiggen.design.station import design_mechanism
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns

WIDE = SkiRange(70, 130)
HALF_BODY = 34.0
WIDTHS = (70.0, 101.0, 130.0)
PLAY = 0.2  # mm a side, the default slide


@pytest.fixture(scope="module")
def mechanism():
    return design_mechanism(Settings(ski=WIDE))


@pytest.fixture(scope="module")
def jig(club_layout):
    return design_jig(club_layout, Settings(ski=WIDE))


class Plan:
    """Brute force in plan: a left rail, its channel and its pinion as drawn outlines, moved
    about until they touch.
    """

    def __init__(self, mechanism, width):
        station, rail = mechanism.station, mechanism.rail
        self.half = width / 2
        self.rolled = (width - WIDE.middle) / 2 / mechanism.pinion.gear.pitch_radius
        body = box(0, -HALF_BODY, 40, HALF_BODY)
        channel = box(station.channel_x, -200, station.half_length, 200)
        recess = shapely.Point(0, 0).buffer(station.gear_radius, 64)
        self.walls = body.difference(channel.union(recess))
        self.bar = box(rail.rack.tip_x, self.half - rail.reach, rail.back_x, self.half)
        rack = sections.place(rail.rack_plan(sections.CHORD), y=self.half)
        self.rack = rack.intersection(box(0, -14, 40, 14))  # all that can meet the pinion
        self.gear = Polygon(mechanism.pinion.gear.outline(0.002))
        self.ends = max(-HALF_BODY, self.half - rail.reach), HALF_BODY

    def yaw(self, at_tail, at_edge):
        """u at the pinion, and yaw, of a rack off by so much in x at the channel's two ends."""
        tail, edge = self.ends
        slope = (at_tail - at_edge) / (edge - tail)
        return at_tail + slope * tail, slope

    def in_channel(self, at_tail, at_edge):
        u, yaw = self.yaw(at_tail, at_edge)
        moved = sections.place(self.bar, u, 0.0, math.degrees(yaw))
        return self.walls.intersection(moved).area < 1e-3

    def travel(self, at_tail, at_edge, pinion=(0.0, 0.0), turn=0.0):
        """How far in and out the nose may stand before the teeth touch: (least, most) v, mm.

        Crossed over, so never an extreme, where the teeth leave no place at all.
        """
        gear = sections.place(self.gear, *pinion, math.degrees(self.rolled + turn))
        shapely.prepare(gear)
        u, yaw = self.yaw(at_tail, at_edge)
        rack = shapely.get_coordinates(sections.place(self.rack, u, 0.0, math.degrees(yaw)))
        tries = np.arange(-0.35, 0.35, 0.004)
        shifts = np.column_stack([np.zeros_like(tries), tries])
        free = tries[~gear.intersects(shapely.polygons(rack + shifts[:, None, :]))]
        return (float(free[0]), float(free[-1])) if free.size else (np.inf, -np.inf)


@pytest.mark.parametrize("width", WIDTHS)
def test_free_play_in_plan_against_every_pose_of_the_drawn_outlines(mechanism, width):
    plan, part = Plan(mechanism, width), station_play(mechanism, HALF_BODY, width)
    offs = np.round(np.arange(-0.24, 0.25, 0.08), 2)  # past the walls, which must stop it
    poses = [(a, b) for a, b in product(offs, offs) if plan.in_channel(a, b)]
    corners = list(product((-PLAY, PLAY), repeat=2))
    assert all(plan.in_channel(*corner) for corner in corners)
    assert max(np.abs(poses).max(axis=0)) < 0.2
    found = np.array([plan.travel(*pose) for pose in poses + corners])
    brute = (found[:, 1].max() - found[:, 0].min()) / 2
    assert part.backlash + part.slide == pytest.approx(brute, rel=0.05)


@pytest.mark.parametrize("width", WIDTHS)
def test_a_pinion_off_its_seat_moves_the_jig_one_to_one(mechanism, width):
    plan, part = Plan(mechanism, width), station_play(mechanism, HALF_BODY, width)
    gap = mechanism.station.cone_radius - mechanism.pinion.cone_radius
    corners = list(product((-PLAY, PLAY), repeat=2))
    worst = 0.0
    for angle in np.radians(range(0, 360, 45)):
        p, q = gap * np.cos(angle), gap * np.sin(angle)
        left = max(plan.travel(*corner, (p, q))[1] for corner in corners)
        # The right rail is the left one after half a turn, which turns the pinion's place too.
        right = min(plan.travel(*corner, (-p, -q))[0] for corner in corners)
        worst = max(worst, (left - right) / 2)
    assert part.bearing + part.backlash + part.slide == pytest.approx(worst, rel=0.05)


@pytest.mark.parametrize("width", WIDTHS)
@pytest.mark.parametrize("turn", [0.0, 0.004])
def test_pressed_rails_rest_alike_so_a_locked_jig_is_centred(mechanism, width, turn):
    plan, gap = Plan(mechanism, width), 0.05
    corners = list(product((-PLAY, PLAY), repeat=2))

    def resting(pinion, turn):
        return max(plan.travel(*corner, pinion, turn)[1] for corner in corners)

    half_turn = math.pi  # the right rail sees the pinion turned round
    left, right = resting((0.0, 0.0), turn), resting((0.0, 0.0), turn + half_turn)
    assert (left - right) / 2 == pytest.approx(0.0, abs=4e-3)
    assert left > 0.1  # rails do give way, but both alike
    loose = resting((0.0, gap), turn) - resting((0.0, -gap), turn + half_turn)
    assert loose / 2 == pytest.approx(gap, abs=4e-3)
    assert station_play(mechanism, HALF_BODY, width).bearing == pytest.approx(gap)


@pytest.mark.parametrize("width", WIDTHS)
def test_tilt_against_every_pose_of_the_drawn_profiles(mechanism, width):
    """Both ends of the rack anywhere that the drawn profiles allow, over the pinion's flange."""
    rail, station, pinion = mechanism.rail, mechanism.station, mechanism.pinion
    plan = Plan(mechanism, width)
    walls = sections.body_profile(station, 14.0)
    rack = sections.rack_profile(rail)
    grid = product(np.linspace(-0.2, 0.2, 11), np.linspace(-0.44, 0.24, 18))
    free = np.array(
        [(u, z) for u, z in grid if sections.place(rack, u, z).intersection(walls).area < 1e-6]
    )
    assert free[:, 1].max() == pytest.approx(0.2) and free[:, 1].min() == pytest.approx(-0.4)
    (u_a, z_a), (u_b, z_b) = free.T[:, :, None], free.T[:, None, :]
    a, b = plan.ends
    span = b - a
    u, yaw, lean = (u_a * b - u_b * a) / span, (u_a - u_b) / span, (z_b - z_a) / span
    over = math.sqrt(pinion.flange_radius**2 - rail.rack.tip_x**2)
    on_flange = np.minimum(z_a + lean * (-over - a), z_a + lean * (over - a))
    allowed = on_flange >= pinion.flange_z - rail.bottom_rack_z - 1e-9
    faces = np.array([rail.bottom_rack_z, min(rail.top_z, pinion.gear_top_z)])
    play = 0.16 / 2 + math.tan(math.radians(20)) * u
    # The nose's foot stands at v + lean·(height of a face's end over it); each end of a tooth's
    # face stands at v + r·yaw and may be off by `play`.
    heights = faces[:, None, None] - rail.bottom_z
    ends = lean * (faces - faces[0])[:, None, None]
    out = (play + ends - 9.0 * yaw).min(axis=0) + lean * heights[0]
    back = (-play + ends - 9.0 * yaw).max(axis=0) + lean * heights[0]
    brute = (out[allowed].max() - back[allowed].min()) / 2
    part = station_play(mechanism, HALF_BODY, width)
    assert part.backlash + part.slide + part.tilt == pytest.approx(brute, rel=0.10)
    assert part.backlash + part.slide + part.tilt >= brute - 1e-9


def test_flex_against_a_beam_integrated_step_by_step(mechanism):
    # No lean: sections are plain rectangles, bh³/12 by hand.
    rail = replace(mechanism.rail, lean=1e-9)
    width, load = 130.0, Loading(force=1.0, uneven=1.0, modulus=2000.0)
    height, foot = rail.top_z - rail.bottom_rack_z, rail.bottom_z
    reach = (rail.top_z + rail.bottom_rack_z) / 2 - foot
    y = np.linspace(0.0, width / 2 + rail.nose_sag, 40_001)
    solid = y > width / 2 + rail.rack.toothed[1]
    thick = rail.back_x - np.where(solid, rail.rack.tip_x, rail.rack.root_x)
    arm = rail.back_x - thick / 2
    held = np.minimum(y / HALF_BODY, 1.0)  # the moment grows from the pinion to the body's edge
    step = y[1] - y[0]
    moved = 0.0
    for lever, inertia in ((arm, height * thick**3 / 12), (reach, thick * height**3 / 12)):
        bend = held * lever / (load.modulus * inertia)
        slope = np.concatenate([[0.0], np.cumsum((bend[1:] + bend[:-1]) / 2) * step])
        inside = y <= HALF_BODY
        # Held at the pinion and at the edge: the bar's ends there do not move.
        slope -= slope[inside].mean()
        after = np.diff(slope, append=slope[-1])
        edge = np.flatnonzero(inside)[-1]
        lever_at = np.broadcast_to(lever, y.shape)
        moved += slope[edge] * lever_at[edge] + (after[edge:] * lever_at[edge:]).sum()
    leg = (rail.leg_x[1] - rail.leg_x[0]) * rail.leg_thickness**3 / 12
    moved += (rail.bottom_rack_z - foot) ** 3 / (3 * load.modulus * leg)
    drawn = replace(mechanism, rail=rail)
    assert station_play(drawn, HALF_BODY, width, load).flex == pytest.approx(moved, rel=0.01)


def test_flex_grows_with_force_and_its_unevenness(mechanism):
    def flex(width: float, loading: Loading) -> float:
        return station_play(mechanism, HALF_BODY, width, loading).flex

    part = flex(130.0, Loading())
    assert flex(130.0, Loading(uneven=0.2)) == pytest.approx(2 * part)
    assert flex(130.0, Loading(force=10.0)) == pytest.approx(part / 2)
    assert flex(130.0, Loading(uneven=0.0)) == 0.0
    assert flex(84.0, Loading()) < part


def test_play_is_greatest_on_the_widest_ski(mechanism):
    parts = [station_play(mechanism, HALF_BODY, width) for width in np.arange(70, 130.5)]
    for earlier, later in pairwise(parts):
        assert later.free >= earlier.free - 1e-12
        assert later.loaded >= earlier.loaded


def slopes(jig, error):
    """Greatest slope of the body at each hole against the ski, ± `error` mm at each station.

    At most (2e + j + a·s)/span for either half, s how far the other's station is from the joint.
    """
    heel, toe = (station.x for station in jig.stations)
    play = jig.joint.play if jig.joint else RIGID
    far = np.where(jig.layout.positions[:, 0] >= 0, abs(heel), abs(toe))
    return (2 * error + play.sideways + play.angle * far) / (toe - heel)


@pytest.mark.parametrize("boot", [265.0, 345.0])
@pytest.mark.parametrize("name", shipped_patterns())
def test_no_hole_is_off_by_a_quarter_of_a_millimetre_pressed_and_locked(name, boot):
    jig = design_jig(lay_out(read_pattern(find_pattern(name)), boot), Settings(ski=WIDE))
    found = find_centring(jig)
    assert found.findings == ()
    assert len(found.loaded) == len(jig.layout)
    assert 0.05 < found.loaded.max() < LIMIT
    assert np.all(found.loaded < found.loose)
    assert np.all(found.loose < found.free)
    # Along the ski a hole is off by the jig's slope times its distance from the centre line.
    along = np.abs(jig.layout.positions[:, 1]) * slopes(jig, found.station.loaded)
    assert along.max() < 0.075  # on the shortest jig, that for holes 40 mm apart


def test_a_soft_rail_is_found_out_and_the_holes_named(jig):
    found = find_centring(jig, Loading(force=60.0, uneven=0.2))
    assert found.findings
    assert {f.code for f in found.findings} == {"accuracy.centring"}
    worst = jig.layout.ids[int(np.argmax(found.loaded))]
    assert any(
        f"hole {worst} may lie {found.loaded.max():.2f} mm" in f.message for f in found.findings
    )


def test_closer_fits_keep_even_unpressed_rails_under_the_limit(club_layout, jig):
    assert find_centring(jig).free.max() > LIMIT
    close = Settings(ski=WIDE, slide=0.08, backlash=0.08, joint_fit=0.06)
    assert find_centring(design_jig(club_layout, close)).free.max() < LIMIT


def test_errors_at_holes_and_slopes_against_every_corner(jig):
    found, play = find_centring(jig), jig.joint.play
    heel, toe = (station.x for station in jig.stations)
    error = found.station.free
    worst, slope = np.zeros(len(jig.layout)), 0.0
    x = jig.layout.positions[:, 0]
    for signs in product((-1, 1), repeat=4):
        e_h, e_t, j, a = np.array(signs) * (error, error, play.sideways, play.angle)
        # Two lines, t0 + t1·x on the tip side, h0 + h1·x on the tail side.
        system = [[1, toe, 0, 0], [0, 0, 1, heel], [1, 0, -1, 0], [0, 1, 0, -1]]
        t0, t1, h0, h1 = np.linalg.solve(system, [e_t, e_h, j, a])
        worst = np.maximum(worst, np.abs(np.where(x >= 0, t0 + t1 * x, h0 + h1 * x)))
        slope = max(slope, abs(t1), abs(h1))
    assert found.free == pytest.approx(worst)
    assert slopes(jig, error).max() == pytest.approx(slope)
    assert np.all(worst_error(x, heel, toe, 0.0, play) <= found.loaded)


def test_the_mark_at_the_bodys_edge_reads_half_the_ski(jig):
    rail = jig.mechanism.rail
    marks = [shapely.bounds(region.polygon) for region in regions_of(rail.graduations.shape)]
    for width in (70.0, 98.0, 130.0):
        # The rail stands with its nose at half the width; the body's edge is there on it:
        on_rail = jig.half_width - width / 2
        assert any((y0 + y1) / 2 == pytest.approx(on_rail) for _, y0, _, y1 in marks)
        # There is rack to engrave it on, inside the leg.
        assert -rail.reach < on_rail < rail.nose_sag


def test_a_division_moves_holes_by_the_lever_of_the_stations(jig):
    shift = hole_shift_per_division(jig)
    assert shift.shape == (2, len(jig.layout))
    # Both stations off alike: every hole moves by half a division.
    assert shift.sum(axis=0) == pytest.approx(0.5)
    heel, toe = (station.x for station in jig.stations)
    x = float(jig.layout.positions[0, 0])
    assert shift[1, 0] == pytest.approx(0.5 * (x - heel) / (toe - heel))

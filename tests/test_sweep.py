from dataclasses import replace

import numpy as np
import pytest
import shapely
from shapely.geometry import Polygon, box

from jiggen.accuracy import sections
from jiggen.accuracy.sweep import RADII, find_contacts, sweep_stations
from jiggen.design import Bed, Settings, SkiRange, design_jig
from jiggen.design.gear import mesh_half_length
from jiggen.design.lettering import hexagon
from jiggen.design.pieces import list_pieces, shift_by, turn_by
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns

WIDE = SkiRange(70, 130)
FEW = 15.0  # mm: enough steps to meet what a test is after


@pytest.fixture(scope="module")
def jig(club_layout):
    return design_jig(club_layout, Settings(ski=WIDE))


def with_parts(jig, **parts):
    """The jig with numbers of its mechanism changed: rail={"reach": 120.0}, say."""
    made = jig.mechanism
    changed = {name: replace(getattr(made, name), **by) for name, by in parts.items()}
    return replace(jig, mechanism=replace(made, **changed))


def said(result, code="accuracy.interference"):
    return [finding.message for finding in result.findings if finding.code == code]


@pytest.mark.parametrize("name", shipped_patterns())
def test_every_shipped_pattern_runs_free_from_70_to_130(name):
    jig = design_jig(lay_out(read_pattern(find_pattern(name)), 305.0), Settings(ski=WIDE))
    result = sweep_stations(jig)
    assert result.findings == ()
    assert list(result.widths) == list(range(70, 131))
    assert result.least_teeth >= 2
    for station in jig.stations:
        assert abs(find_contacts(jig.mechanism.rail, station.x)[0]).max() < 0.25
    pairs = {frozenset((p.one, p.other)) for p in result.pairs}
    for wanted in (
        {"rail toe left", "pinion toe"},
        {"rail toe left", "rail toe right"},
        {"rail heel right", "body"},
        {"rail heel right", "ski"},
        {"pinion heel", "body"},
        {"pinion heel", "ski"},
        {"knob toe", "body"},
        {"nut toe", "pinion toe"},
        {"lock screw heel", "knob heel"},
    ):
        assert wanted in pairs
    assert {"knob heel", "knob toe"} in pairs


@pytest.mark.parametrize(
    ("ski", "bed", "slide"),
    [
        (SkiRange(84, 112), Bed(400, 400, 250), 0.05),
        (SkiRange(70, 71.5), Bed(), 0.6),
    ],
)
def test_no_setting_makes_parts_collide(club_layout, ski, bed, slide):
    jig = design_jig(club_layout, Settings(ski=ski, bed=bed, slide=slide))
    result = sweep_stations(jig, step=FEW)
    assert result.findings == ()
    assert result.widths[0] == ski.least and result.widths[-1] == ski.most


def test_gaps_are_those_of_the_design(jig):
    gaps = {(p.one, p.other): p.gap for p in sweep_stations(jig, step=FEW).pairs}
    c = jig.settings.slide
    # A 45° face that is c off sideways is c/√2 off; the cone's sides rise 3.2 over 2 mm.
    assert gaps["rail toe left", "body"] == pytest.approx(c / np.sqrt(2))
    assert gaps["pinion toe", "body"] == pytest.approx(0.05 * 3.2 / np.hypot(3.2, 2.0))
    assert gaps["knob toe", "pinion toe"] == pytest.approx(0.1)  # 9.2 over 9.0 mm flats
    assert gaps["pinion toe", "ski"] == pytest.approx(2 * jig.settings.relief)
    # Half the backlash on either flank, seen square to a 20° flank.
    flank = jig.settings.backlash / 2 * np.cos(np.radians(20))
    assert gaps["rail toe left", "pinion toe"] == pytest.approx(flank, abs=2e-3)
    # By hand: the rack's tips at 7.95 pass the other leg, which ends 6.5 mm off the middle.
    assert gaps["rail toe left", "rail toe right"] == pytest.approx(1.45)


def test_rails_stand_at_half_the_width_whatever_the_sidecut(jig):
    for station in jig.stations:
        contact, ahead = find_contacts(jig.mechanism.rail, station.x, RADII, -30.0)
        assert ahead.shape == (len(RADII),)
        assert np.abs(ahead).max() < 0.005
        # By hand: the nose, 10 mm round, touches where it is as steep as the edge, (x - waist)/R.
        steep = (station.x + 30.0) / np.array(RADII)
        assert contact == pytest.approx(10.0 * steep, rel=2e-3)


def test_the_nose_touches_the_hollow_edge_and_does_not_cut_it(jig):
    rail, x, radius = jig.mechanism.rail, 200.0, 10_000.0
    along = np.linspace(-5, 5, 2001)
    edge = 50.0 + sections.ski_edge(along, x, radius, 0.0)
    (contact,), (ahead,) = find_contacts(rail, x, [radius], 0.0)
    nose = 50.0 + ahead + rail.nose_radius - np.sqrt(rail.nose_radius**2 - along**2)
    assert (nose - edge).min() == pytest.approx(0.0, abs=1e-5)
    assert along[np.argmin(nose - edge)] == pytest.approx(contact, abs=0.01)


def test_a_channel_too_small_is_caught_and_named(jig):
    result = sweep_stations(
        with_parts(jig, station={"half_length": jig.mechanism.rail.back_x - 0.3}), step=FEW
    )
    messages = said(result)
    assert len(messages) == 4
    assert "rail heel left and body interfere by 0.30 mm at every ski width" in messages


def test_a_channel_too_low_is_caught(jig):
    roof = jig.mechanism.rail.top_z + 0.01
    messages = said(sweep_stations(with_parts(jig, station={"roof_z": roof}), step=FEW))
    assert "rail toe right and body come within 0.01 mm of each other at every ski width" in (
        messages
    )


def test_a_rack_too_long_for_a_wider_leg_is_caught_where_it_meets_it(jig):
    wider = {"leg_x": (-9.0, jig.mechanism.rail.back_x)}
    short = with_parts(jig, rail={**wider, "reach": 70.0})
    assert said(sweep_stations(short, step=FEW)) == []
    # By hand: a tail 78.9 mm from the nose lies beyond the other leg's inner face, 2 mm out
    # from the edge, while the ski is narrower than 78.9 - 2 = 76.9 mm.
    result = sweep_stations(with_parts(jig, rail=wider))
    (pair, _) = [p for p in result.pairs if p.failing]
    assert (pair.one, pair.other) == ("rail heel left", "rail heel right")
    assert pair.failing == tuple(range(70, 77))
    (message, _) = said(result)
    assert "at ski widths within 70-76 mm, most at 70 mm" in message


def test_a_rack_too_long_stands_in_the_way_of_a_clamp(jig):
    # By hand: on a 70 mm ski the flats are 70/2 + 10 mm out; a rack 84 mm long from the nose
    # ends 84 - 70/2 = 49 mm out, 4 mm past the flat; on skis from 74 mm it does not.
    result = sweep_stations(with_parts(jig, rail={"reach": 84.0}))
    messages = said(result)
    assert any(
        m.startswith("rail toe left and a clamp on rail toe right interfere by 4.00 mm")
        for m in messages
    ), messages
    (pair, *_) = [p for p in result.pairs if p.other.startswith("a clamp")]
    assert pair.failing == (70, 71, 72, 73, 74)


def test_a_leg_too_wide_meets_the_other_rack(jig):
    messages = said(sweep_stations(with_parts(jig, rail={"leg_x": (-14.0, 16.0)}), step=FEW))
    assert any("rail toe left and rail toe right" in message for message in messages)


def test_a_nose_too_flat_lets_the_leg_meet_the_ski(jig):
    # A nose nearly flat: the leg's face stands where the ski's edge flares out.
    flat = with_parts(jig, rail={"nose_radius": 400.0, "nose_half": 6.0})
    result = sweep_stations(flat, step=FEW)
    assert any(m.startswith("rail toe left and ski") for m in said(result))
    (message, _) = said(result, "accuracy.contact")
    assert "rails heel touch a ski of 10 m sidecut" in message


def test_a_body_too_wide_for_the_narrowest_ski_is_caught_there(jig):
    (body, *rest) = jig.bodies
    wide = replace(body.outline, outer=body.outline.outer * (1.0, 1.12))
    result = sweep_stations(replace(jig, bodies=(replace(body, outline=wide), *rest)))
    messages = said(result)
    # 34 mm become 38.08; the leg's face stands at 35 + 2 on a 70 mm ski.
    assert any("rail toe left and body interfere by 1.08 mm" in m for m in messages)
    assert any("within 70-72 mm, most at 70 mm" in m for m in messages)


@pytest.mark.parametrize(
    ("parts", "expected"),
    [
        ({"station": {"gear_radius": 10.9}}, "pinion toe and body interfere by 0.05 mm"),
        (
            {"station": {"cone_radius": 7.0, "cone_top_radius": 5.0}},
            "pinion toe and body interfere",
        ),
        ({"knob": {"bottom_z": 13.9}}, "knob toe and body interfere by 0.10 mm"),
        ({"knob": {"bottom_z": 14.01}}, "knob toe and body come within 0.01 mm"),
        ({"knob": {"socket_flats": 8.9}}, "knob toe and pinion toe interfere"),
        (
            {"knob": {"bottom_z": 13.92, "radius": 40.0}},
            "knob toe and bush toe-1 interfere by 0.08 mm",
        ),
        ({"pinion": {"nut_flats": 7.9}}, "nut toe and pinion toe interfere"),
        ({"pinion": {"bore": 4.9}}, "lock screw toe and pinion toe interfere"),
        ({"pinion": {"bottom_z": -0.2}}, "pinion toe and ski interfere by 0.20 mm"),
        ({"pinion": {"flange_z": 3.3}}, "rail toe left and pinion toe interfere by 0.10 mm"),
    ],
)
def test_each_part_that_does_not_fit_is_named(jig, parts, expected):
    messages = said(sweep_stations(with_parts(jig, **parts), step=FEW))
    assert any(message.startswith(expected) for message in messages), messages


def test_a_lock_screw_too_long_would_stand_on_the_ski(jig):
    longer = replace(jig.mechanism, lock=replace(jig.mechanism.lock, length=30.0))
    messages = said(sweep_stations(replace(jig, mechanism=longer), step=FEW))
    assert "lock screw toe and ski interfere by 3.60 mm at every ski width" in messages


def test_a_rack_half_a_tooth_out_of_phase_is_caught(jig):
    rack = jig.mechanism.rail.rack
    shifted = replace(rack, space_y=rack.space_y + rack.gear.pitch / 2)
    messages = said(sweep_stations(with_parts(jig, rail={"rack": shifted}), step=FEW))
    assert any(m.startswith("rail heel left and pinion heel interfere") for m in messages)


def test_a_rack_too_short_loses_its_mesh_and_says_where(jig):
    rack = jig.mechanism.rail.rack
    short = replace(rack, spaces=rack.spaces - 3)
    result = sweep_stations(with_parts(jig, rail={"rack": short}))
    message, _ = said(result, "accuracy.mesh")
    assert "rails heel and pinion heel have" in message
    # By hand: three pitches fewer end the teeth at -24.08 - 14.14 = -38.22; full mesh needs
    # them 7.53 beyond the axis, so up to widths of 2 * (38.22 + 7.53) = 91.5 mm.
    assert "70-91 mm" in message
    assert mesh_half_length(jig.mechanism.pinion.gear) == pytest.approx(7.53, abs=0.005)


def test_stations_too_near_one_another_are_caught(jig):
    heel, toe = jig.stations
    near = replace(jig, stations=(heel, toe.model_copy(update={"x": heel.x + 30.0})))
    messages = said(sweep_stations(near, step=FEW))
    assert any(m.startswith("knob heel and knob toe interfere by 2.0") for m in messages)
    assert any("rail heel" in m and "rail toe" in m for m in messages)


def test_an_invalid_polygon_is_an_error_not_nonsense(jig):
    bow = Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])
    with pytest.raises(RuntimeError, match="Self-intersection"):
        sections.Part((0.0, 1.0, bow))
    with pytest.raises(RuntimeError, match="empty"):
        sections.Part((1.0, 1.0, box(0, 0, 1, 1)))
    with pytest.raises(RuntimeError, match="empty"):
        sections.check_valid(Polygon())
    crossed = with_parts(jig, rail={"lean": 9.0})  # the lean runs out through the teeth
    with pytest.raises(RuntimeError, match="not a valid polygon"):
        sweep_stations(crossed, step=FEW)


def test_the_gap_of_two_stacks_by_hand():
    def part(x, low, high):
        return sections.Part((low, high, box(x, 0, x + 1, 1)))

    assert sections.gap(part(0, 0, 1), part(4, 0, 1)) == pytest.approx(3.0)
    assert sections.gap(part(0, 0, 1), part(4, 5, 6)) == pytest.approx(5.0)  # 3, 4, 5
    assert sections.gap(part(0, 0, 1), part(0.5, 3, 4)) == pytest.approx(2.0)
    assert sections.gap(part(0, 0, 1), part(0.7, 0, 1)) == pytest.approx(-0.3)
    assert sections.gap(part(0, 0, 1), part(0.2, 0.9, 2)) == pytest.approx(-0.1)
    assert sections.gap(part(0, 0, 1), part(0, 1, 2), beside=True) > 100


# Against the solids as drawn by the CAD kernel.


@pytest.fixture(scope="module")
def solids(jig):
    """Every part's solid once, words left off, by name."""
    from jiggen.solid.body import make_body, make_knob, make_pinion, make_rail

    made, (toe, _) = jig.mechanism, jig.bodies
    plain = replace(jig, bodies=tuple(replace(body, engravings=()) for body in jig.bodies))
    return {
        "body-toe": make_body(replace(toe, engravings=(), guides=()), plain),
        "rail": make_rail(made.rail),
        "pinion": make_pinion(made.pinion),
        "knob": make_knob(made.knob),
    }


PAIRS = (
    ("rail toe left", "pinion toe"),
    ("rail toe right", "pinion toe"),
    ("rail toe left", "rail toe right"),
    ("rail toe left", "body-toe"),
    ("pinion toe", "body-toe"),  # from here on the same at every width
    ("knob toe", "body-toe"),
    ("knob toe", "pinion toe"),
)
WIDTHS = (70.0, 97.3, 130.0)


def poses(jig, width):
    return {
        placed.name: (piece.name, placed.pose)
        for piece in list_pieces(jig, width)
        for placed in piece.placed
    }


@pytest.mark.parametrize("width", WIDTHS)
def test_the_kernel_finds_no_overlap_either(jig, solids, width):
    from jiggen.solid.shapes import location_of

    where = poses(jig, width)
    placed = {
        name: solids[where[name][0]].moved(location_of(where[name][1]))
        for name in {name for pair in PAIRS for name in pair}
    }
    for one, other in PAIRS if width == WIDTHS[0] else PAIRS[:5]:
        shared = placed[one].intersect(placed[other])
        assert sum(solid.Volume() for solid in shared.Solids()) < 1e-6, (one, other)


def test_the_drawn_rails_stop_on_the_body_at_the_stated_width_and_not_before(jig, solids):
    from jiggen.solid.shapes import location_of

    def overlap(width):
        where = poses(jig, width)
        rail, body = (
            solids[where[name][0]].moved(location_of(where[name][1]))
            for name in ("rail toe left", "body-toe")
        )
        return sum(solid.Volume() for solid in rail.intersect(body).Solids())

    # By hand: a body 34 mm to a side, and legs whose faces stand 10 - √(10² - 6²) = 2 mm
    # behind their noses, which are below it: 2·(34 - 2).
    assert jig.stop == pytest.approx(64.0)
    assert overlap(64.02) < 1e-6
    assert overlap(63.9) > 1.0


def flat_area(solid, z):
    """Area of a solid's section, by a thin slice of it."""
    import cadquery as cq

    thin = 1e-3
    slice_ = cq.Solid.makeBox(400, 400, thin, pnt=cq.Vector(-200, -200, z - thin / 2))
    return solid.intersect(slice_).Volume() / thin


def test_sections_have_the_areas_of_the_drawn_solids(jig, solids):
    made = jig.mechanism
    rail, pinion = made.rail, made.pinion
    rack, bar, nose = rail.rack_plan(sections.CHORD), rail.bar_plan, rail.nose_plan(48)
    leg = bar.union(nose)
    # The solid's flanks are drawn with chords of 0.02 mm, these with 0.002.
    assert flat_area(solids["rail"], 8.0) == pytest.approx(rack.union(bar).area, rel=2e-3)
    assert flat_area(solids["rail"], -5.0) == pytest.approx(leg.area, rel=1e-3)
    # Its bevel at 45°: 0.5 mm below its upper end the nose stands out by 0.5 mm.
    bevelled = bar.union(nose.intersection(box(-10, rail.nose_sag - 0.5, 10, 10)))
    assert flat_area(solids["rail"], -1.0) == pytest.approx(bevelled.area, rel=1e-3)
    assert flat_area(solids["rail"], -0.4) == pytest.approx(bar.area, rel=1e-3)
    cut = {
        2.0: sections.disc(pinion.flange_radius).difference(Polygon(hexagon(pinion.nut_flats))),
        8.0: Polygon(pinion.gear.outline(0.002)).difference(sections.disc(pinion.bore / 2)),
        18.0: Polygon(hexagon(pinion.hex_flats)).difference(sections.disc(pinion.bore / 2)),
    }
    for z, plan in cut.items():
        assert flat_area(solids["pinion"], z) == pytest.approx(plan.area, rel=3e-3)


@pytest.fixture(scope="module")
def meshes(jig, solids):
    """Vertices, in the part's own frame, and triangles of every part's fine mesh."""
    from jiggen.solid.model import Part, mesh_of

    found = {}
    for piece in list_pieces(jig):
        if piece.name in solids:
            points, faces = mesh_of(Part(piece, solids[piece.name], 0.0))
            back = np.linalg.inv(piece.to_bed)
            found[piece.name] = points @ back[:3, :3].T + back[:3, 3], faces
    return found


def manifold(mesh, pose):
    import manifold3d

    points, faces = mesh
    there = points @ pose[:3, :3].T + pose[:3, 3]
    made = manifold3d.Manifold(manifold3d.Mesh(there.astype(np.float32), faces.astype(np.uint32)))
    assert made.status() == manifold3d.Error.NoError
    return made


@pytest.mark.parametrize("width", WIDTHS)
def test_fine_meshes_have_the_same_gaps(jig, meshes, width):
    where = poses(jig, width)
    mesh = {
        name: manifold(meshes[where[name][0]], where[name][1])
        for name in {name for pair in PAIRS for name in pair}
    }
    half, made = width / 2, jig.mechanism
    rolled = (width - WIDE.middle) / 2 / made.pinion.gear.pitch_radius
    rail = sections.moving_parts(made)[0].moved(y=half)
    pinion = sections.moving_parts(made)[2].moved(degrees=np.degrees(rolled))
    top = jig.settings.body
    recess = sections.recess_profile(made.station, top)
    ours = {
        ("rail toe left", "pinion toe"): sections.gap(rail, pinion),
        ("rail toe right", "pinion toe"): sections.gap(rail.moved(degrees=180), pinion),
        ("rail toe left", "rail toe right"): sections.gap(rail, rail.moved(degrees=180)),
        ("rail toe left", "body-toe"): sections.flat_gap(
            sections.rack_profile(made.rail), sections.body_profile(made.station, top)
        ),
        ("pinion toe", "body-toe"): sections.flat_gap(sections.pinion_profile(made.pinion), recess),
        ("knob toe", "body-toe"): sections.flat_gap(sections.knob_profile(made.knob), recess),
        ("knob toe", "pinion toe"): sections.gap(
            sections.moving_parts(made)[3], sections.moving_parts(made)[2]
        ),
    }
    for one, other in PAIRS:
        found = mesh[one].min_gap(mesh[other], 5.0)
        # Meshes lie inside what they stand for, so they see a wider gap: by two tooth chords
        # of the drawn solids (0.02 mm) and the mesh's own (0.004) at most. Only in hollow
        # fillets does a chord add a little.
        assert -0.005 < found - min(ours[one, other], 5.0) < 0.045, (one, other)


def test_coarse_meshes_under_report_an_overlap_that_sections_and_kernel_agree_on():
    import cadquery as cq
    import manifold3d

    # Two rounds of 10 mm radius, 5 mm high, 0.2 mm in one another.
    one, other = (cq.Solid.makeCylinder(10.0, 5.0, cq.Vector(x, 0, 0)) for x in (0.0, 19.8))
    kernel = one.intersect(other).Volume()
    here, there = sections.disc(10.0), sections.place(sections.disc(10.0), 19.8)
    assert here.intersection(there).area * 5.0 == pytest.approx(kernel, rel=0.02)
    assert sections.flat_gap(here, there) == pytest.approx(-0.2, abs=0.003)
    coarse = manifold3d.Manifold.cylinder(5.0, 10.0, circular_segments=32).rotate((0, 0, 5.625))
    assert (coarse ^ coarse.translate((19.8, 0, 0))).volume() < 0.7 * kernel


def test_a_rail_pressed_into_the_pinion_overlaps_alike_in_kernel_and_sections(jig, solids):
    from jiggen.solid.shapes import location_of

    press, made = 0.2, jig.mechanism  # mm along the rack: 0.08 of it is play
    half = WIDE.middle / 2
    rail = solids["rail"].moved(location_of(shift_by(y=half + press)))
    shared = rail.intersect(solids["pinion"].moved(location_of(turn_by(0.0))))
    kernel = sum(solid.Volume() for solid in shared.Solids())
    rack = sections.place(made.rail.rack_plan(sections.CHORD), 0.0, half + press)
    gear = Polygon(made.pinion.gear.outline(0.002))
    height = made.pinion.gear_top_z - made.rail.bottom_rack_z
    assert shapely.area(rack.intersection(gear)) * height == pytest.approx(kernel, rel=0.1)
    assert kernel > 0.5
    whole = (made.rail.bottom_rack_z, made.rail.top_z, rack)
    found = sections.gap(sections.Part(whole), sections.moving_parts(made)[2])
    assert found == pytest.approx(-0.12 * np.cos(np.radians(20)), abs=0.03)

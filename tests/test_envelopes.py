"""Room for what a person brings to the jig: hexagon key, depth stop, chuck, clamp."""

import json
from dataclasses import replace
from itertools import pairwise

import manifold3d
import numpy as np
import pytest
import shapely
import trimesh
from shapely.geometry import Point
from sharing import build_parts

from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.guides import design_guides
from jiggen.design.plan import design_joint
from jiggen.drilling import DrillingLimits, SkiState, check_drilling
from jiggen.errors import InputError
from jiggen.job import Job, design_job
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.record import read_jig
from jiggen.verify import verify_folder

KEY, SHORT, LONG, BEND = 3.0, 20.0, 63.0, 3.0  # mm: bent key for M4, ISO 2936, from memory
SOCKET = 2.0  # mm that it goes into the head, at least: ISO 4762, from memory

SHIPPED = ("club-piste", "hut-plate", "skew-plate", "step-track", "old-inch")
CENTRED = """
format = 1
name = "Invented Centred Plate"
boot = [250, 360]
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9.0
[[group]]
name = "plate"
datum = "boot-centre"
shift = 0.0
hole = [
  { at = [0.0, 0.0] },
  { at = [0.0, 13.0] },
  { at = [62.0, 20.0], both_sides = true },
  { at = [-62.0, 20.0], both_sides = true },
]
"""


@pytest.fixture(scope="module")
def centred(tmp_path_factory):
    path = tmp_path_factory.mktemp("pattern") / "centred.toml"
    path.write_text(CENTRED)
    return read_pattern(path)


def solid_of(mesh):
    mesh = trimesh.Trimesh(mesh.vertices, mesh.faces)  # corners joined
    return manifold3d.Manifold(manifold3d.Mesh(np.float32(mesh.vertices), np.uint32(mesh.faces)))


def bent_key(tip):
    """A key along x whose end is at x = `tip` on the axis y = z = 0, its long arm down."""
    angles = np.radians(np.arange(0, 360, 60) + 30)
    flat = KEY / np.sqrt(3) * np.column_stack([np.cos(angles), np.sin(angles)])
    middle, turns = BEND + KEY / 2, np.linspace(0, np.pi / 2, 9)
    corner = tip + SHORT - KEY / 2 - middle  # where the bend begins
    places = [(tip, 0.0, 0.0)]
    places += [(corner + middle * np.sin(a), middle * (np.cos(a) - 1), a) for a in turns]
    places.append((corner + middle, KEY / 2 - LONG, np.pi / 2))
    rings = [
        np.column_stack([x + across * np.sin(a), along, z + across * np.cos(a)])
        for x, z, a in places
        for along, across in [flat.T]
    ]
    pieces = [np.vstack(pair) for pair in pairwise(rings)]
    hulls = [manifold3d.Manifold.hull_points(np.float32(points)) for points in pieces]
    return manifold3d.Manifold.batch_boolean(hulls, manifold3d.OpType.Add)


def test_a_bent_key_turns_the_joint_screws_by_a_sixth_of_a_turn(built):
    record = read_jig(built.folder)
    (part,) = [part for part in record.parts if part.half == "toe"]
    mesh = trimesh.load(built.folder / part.file).apply_transform(np.array(part.to_ski))
    body = solid_of(mesh)
    assert body.volume() == pytest.approx(part.volume, rel=1e-3)
    # The head's seat: on the screw's axis, where its hole of 4.5 mm ends.
    axis_y, axis_z = 16.0, 7.0
    away = np.hypot(mesh.vertices[:, 1] - axis_y, mesh.vertices[:, 2] - axis_z)
    seat = mesh.vertices[np.abs(away - 2.25) < 0.01, 0].max()
    assert seat == pytest.approx(8.0)
    floor = seat + 4.0 - SOCKET  # the head of an M4 is 4 mm high
    for out in (0.0, 3.0, 6.0):  # as it is tightened
        key = bent_key(floor + out)
        assert key.volume() > 200
        for lean in np.linspace(-30, 30, 13):
            turned = key.rotate((lean, 0, 0)).translate((0, axis_y, axis_z))
            assert (turned ^ body).volume() < 1e-3, (out, lean)
            other = key.rotate((lean, 0, 0)).translate((0, -axis_y, axis_z))
            assert (other ^ body).volume() < 1e-3, (out, lean)


def test_the_swing_is_that_of_a_round_arm_between_two_edges():
    from jiggen.design.plan import swing

    # By hand: an arm without thickness leans on an edge 7 mm above and 7 beside it at 45 degrees.
    assert swing(7.0, 7.0, 0.0) == pytest.approx(90.0)
    assert swing(4.25, 7.0, 3 / np.sqrt(3)) == pytest.approx(2 * 19.5, abs=1.5)  # as it once was
    assert swing(1.0, 7.0, 1.7) == 0.0


@pytest.mark.parametrize("half_width", [30.6, 34.0])
def test_the_joint_gives_the_key_a_sixth_of_a_turn_and_keeps_its_walls(half_width):
    settings = Settings(ski=SkiRange(2 * half_width + 2, 112))
    joint = design_joint(half_width, settings)
    assert joint.key_swing >= 60.0
    outer = max(pocket.plan.bounds[3] for pocket in joint.heads)
    assert half_width - outer >= settings.wall
    left, right = (
        [pocket.plan for pocket in joint.heads if pocket.plan.centroid.y * side > 0]
        for side in (1, -1)
    )
    assert min(one.distance(other) for one in left for other in right) >= settings.wall


def test_a_body_too_thick_for_the_key_is_refused_with_the_width_that_serves(club_layout):
    with pytest.raises(InputError, match=r"hexagon key swings by 5\d degrees") as refused:
        design_jig(club_layout, Settings(ski=SkiRange(54, 99), body=30.0))
    (finding,) = refused.value.findings
    assert finding.code == "design.narrow"
    # By hand: 15 mm down to the screw. At 30 degrees the key's middle is 15·tan 30 = 8.66 mm aside
    # there, and its corner with 0.4 mm to spare, 2.13, takes 2.13 / cos 30 = 2.46: 11.12 and 2 mm
    # of wall beyond the screw at 16 make 29.12. A ski of 54 has 54 / 2 + 2 - 1 = 28, 1.12 too few.
    assert "from 56.3 mm wide" in finding.hint
    with pytest.raises(InputError) as refused:
        design_jig(club_layout, Settings(ski=SkiRange(56.3, 99), body=30.0))
    assert "hexagon key" not in str(refused.value)


def test_a_hole_on_the_boot_centre_line_is_left_round(centred):
    jig = design_jig(lay_out(centred, 305.0), Settings(ski=SkiRange(84, 112)))
    (body,) = jig.bodies
    line = next(item for item in body.engravings if item.name == "boot-centre line")
    cut = [region.polygon for region in line.regions]
    on_it = [guide for guide in body.guides if guide.x == 0.0]
    assert len(on_it) == 2 and cut
    for guide in on_it:
        at = Point(guide.x, guide.y)
        apart = min(piece.distance(at) for piece in cut) - guide.radius - guide.lead_in
        assert apart >= 1.4
    assert min(np.ptp(piece.bounds[1::2]) for piece in cut) >= 2.0  # no speck of a line


def test_a_jig_with_holes_on_the_boot_centre_line_is_built_and_passes(centred, tmp_path):
    job = Job(centred, (305.0, 305.0), Settings(ski=SkiRange(84, 112)))
    built = build_parts(job, tmp_path / "jig")
    assert built.record.verification.passed
    assert len(built.record.holes) == 6


THREE = """
format = 1
name = "Invented Three Holes"
boot = [250, 360]
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9.0
[[group]]
name = "toe"
datum = "boot-toe"
shift = 0.0
hole = [{ at = [-10.0, 0.0] }, { at = [-50.0, 19.0], both_sides = true }]
[[group]]
name = "heel"
datum = "boot-heel"
shift = 0.0
hole = [{ at = [10.0, 15.0], both_sides = true }, { at = [50.0, 15.0], both_sides = true }]
"""
SETTINGS = Settings(ski=SkiRange(84, 112))
KNOB, STOP = 16.0, 16.0  # mm: radius of the knob; a depth stop, common practice


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    path = tmp_path_factory.mktemp("pattern") / "three.toml"
    path.write_text(THREE)
    return read_pattern(path)


def rims(jig):
    """From each hole to the nearest knob's rim, mm."""
    return {
        guide.id: min(np.hypot(guide.x - s.x, guide.y) for s in jig.stations) - KNOB
        for guide in jig.guides
    }


def test_a_depth_stop_passes_the_knob_beside_a_hole_on_the_centre_line(three):
    jig = design_jig(lay_out(three, 305.0), Settings(ski=SkiRange(84, 112)))
    assert jig.mechanism.knob.radius == KNOB
    assert min(rims(jig).values()) >= STOP / 2 + 1.0


@pytest.mark.parametrize("name", SHIPPED)
def test_depth_stops_pass_the_knobs_of_every_shipped_pattern(name):
    jig = design_jig(
        lay_out(read_pattern(find_pattern(name)), 305.0), Settings(ski=SkiRange(84, 112))
    )
    assert min(rims(jig).values()) >= STOP / 2 + 1.0


def test_where_there_is_no_room_for_a_wide_depth_stop_a_narrow_one_is_named(three):
    from jiggen.design.envelopes import rooms

    layout = lay_out(three, 305.0)
    jig = design_jig(layout, Settings(ski=SkiRange(84, 112)))
    room = rooms(jig.guides, jig.stations, jig.mechanism)
    assert {one.stop_width for one in room.values()} == {16.0}
    moved = [station.model_copy(update={"x": jig.guides[0].x + 24.0}) for station in jig.stations]
    near = rooms(jig.guides, moved, jig.mechanism)
    assert near["toe-1"].stop_width == 13.0  # 24 - 16 is 8: 6.5 and 1, not 8 and 1
    # Beside a hole 24 mm off, a chuck of 40 mm stands over the knob, and over its screw's head.
    assert near["toe-1"].chuck_z == pytest.approx(32.4)  # 26.4, a head of 5, and 1 mm


def test_a_station_with_a_place_beside_a_narrow_depth_stop_only_goes_there(three):
    from jiggen.design.jig import base_for
    from jiggen.design.placing import place_stations

    layout = lay_out(three, 305.0)
    base = base_for(design_guides(layout, SETTINGS), SETTINGS)
    (guide,) = [one for one in design_guides(layout, SETTINGS) if one.y == 0.0]
    half = base.mechanism.station.half_length

    def toe(far):
        """Where it goes, if its middle may be no farther than so from the hole, mm."""
        spans = (-200.0, 0.0), (guide.x, guide.x + far + half)
        found = place_stations((guide,), base, (-7.0, 7.0), (0.0, guide.x), spans, np.inf)
        return found and found[1] - guide.x

    # By hand: 16 of knob, half the depth stop and 1 mm to spare, 25 or 23.5; on steps of 0.5 mm.
    assert toe(40.0) == pytest.approx(25.0, abs=0.5)
    assert toe(24.9) == pytest.approx(23.5, abs=0.5)
    assert toe(23.4) is None


def test_the_drill_left_out_of_the_chuck_clears_stop_and_knob(three):
    layout = lay_out(three, 305.0)
    jig = design_jig(layout, Settings(ski=SkiRange(84, 112)))
    tops = {guide.id: guide.bush_top_z for guide in jig.guides}

    def leave(chuck):
        found = check_drilling(layout, tops, SkiState(), DrillingLimits(), chucks={"toe-1": chuck})
        (stop,) = found.stops
        return stop.leave, stop.long_enough, [one.code for one in found.warnings]

    point = 1.8 / np.tan(np.radians(59))
    assert leave(0.0) == (pytest.approx(14.0 + 9 + point + 10), True, [])
    assert leave(32.5) == (pytest.approx(32.5 + 9 + point), True, [])
    # A jobber drill of 3.6 mm is 70 mm long (DIN 338), 20 of it in the chuck.
    at_most = 50 - 9 - point
    assert leave(at_most - 0.01)[1:] == (True, [])
    assert leave(at_most + 0.01)[1:] == (False, ["drilling.drill-short"])


def test_a_knob_in_the_way_of_stop_or_chuck_is_found_in_the_files(folder):
    def codes():
        return {(fault.code, fault.subject) for fault in verify_folder(folder).faults}

    assert codes() == set()
    manifest = folder / "manifest.json"
    written = json.loads(manifest.read_text())
    first, last = written["guides"][0], written["guides"][-1]
    assert (first["stop_width"], last["stop_width"]) == (16.0, 16.0)
    near = [guide for guide in written["guides"] if guide["chuck_z"]]
    assert near  # a chuck over the hole nearest to a knob overlaps it
    first["stop_width"] = 60.0  # as if it stood free of everything
    near[-1]["chuck_z"] = 20.0  # lower than the knob's top
    manifest.write_text(json.dumps(written))
    changed = {code for code in codes() if code[0] != "verify.other-record"}
    assert changed == {("verify.stop-width", first["id"]), ("verify.chuck", near[-1]["id"])}


PAD = 20.0  # mm, diameter of a clamp's pad: common practice, no source


def clamped(name, boots, skis=(84, 112)):
    job = Job(read_pattern(find_pattern(name)), boots, Settings(ski=SkiRange(*skis)))
    for jig in design_job(job).alone:
        for body in jig.bodies:
            (seats,) = [item for item in body.engravings if item.name == "clamp seats"]
            marks = [region.polygon.centroid.coords[0] for region in seats.regions]
            yield jig, body, np.array(marks)


@pytest.mark.parametrize("boots", [(305.0, 305.0), (265.0, 345.0)])
@pytest.mark.parametrize("name", SHIPPED)
def test_clamps_are_clear_of_stops_knobs_and_channels_over_what_stands_on_the_ski(name, boots):
    for jig, body, marks in clamped(name, boots):
        holes = np.array([(guide.x, guide.y) for guide in jig.guides])
        knobs = np.array([(station.x, 0.0) for station in jig.stations])
        assert len(marks) >= 2
        assert marks[:, 1].min() < 0 < marks[:, 1].max()  # a pair
        apart = np.linalg.norm(marks[:, None] - holes, axis=2).min()
        assert apart >= (STOP + PAD) / 2
        assert np.linalg.norm(marks[:, None] - knobs, axis=2).min() >= KNOB + PAD / 2
        station = jig.mechanism.station
        along = np.abs(marks[:, None, 0] - knobs[:, 0])
        assert (along >= station.half_length + PAD / 2).all()  # beyond either channel
        strips = shapely.union_all([region.polygon for region in jig.supports])
        outline = body.outline.polygon
        diamonds = shapely.MultiPoint(marks).buffer(4.4)
        assert body.notch is None or diamonds.distance(body.notch.plan) >= 1.0
        for x, y in marks:
            assert strips.contains(Point(x, y))
            pad = Point(x, y).buffer(PAD / 2)
            # 2 mm of it stand over the edge, and a caliper's notch may be under it.
            assert pad.intersection(outline).area > 0.75 * pad.area


def test_a_body_without_room_for_a_clamp_has_no_mark(three):
    from jiggen.design.envelopes import clamp_places

    jig = design_jig(lay_out(three, 305.0), Settings(ski=SkiRange(84, 112)))
    body, strips = jig.bodies[0], [region.polygon for region in jig.supports]

    def places(guides):
        around = (body.plate, guides, jig.stations, jig.mechanism, [200.0])
        return clamp_places(*around, body.outline.polygon, strips, body.notch)

    assert len(places(jig.guides)) == 2
    # A hole every 30 mm at the left edge leaves no place there, and so no pair.
    crowd = [replace(jig.guides[0], x=float(x), y=22.0) for x in range(-10, 250, 30)]
    assert places(crowd) == ()


def test_the_sheet_says_what_a_clamp_has_no_room_for(built):
    from jiggen.report.sheet.bench import _steps

    record = built.record

    def clamping(marks):
        steps = _steps(record.model_copy(update={"clamps": tuple(marks)}))
        (step,) = [one for one in steps if "at the diamonds" in one or "no room for a pad" in one]
        return step

    assert "no room" not in clamping(record.clamps)
    first, *others = record.clamps
    assert f"{first.part}: there is no room for a pad" in clamping(
        mark for mark in others if mark.part != first.part
    )
    hole = record.holes_of(first.part)[0]
    nearer = first.model_copy(update={"x": hole.x, "y": hole.y + 30.0})  # 20 + 10, and 1 to spare
    assert f"beside a clamp at {hole.id}:" in clamping([nearer, *others])


def test_a_clamp_mark_that_is_elsewhere_is_found_in_the_files(folder):
    manifest = folder / "manifest.json"
    written = json.loads(manifest.read_text())
    mark = written["clamps"][0]
    hole = written["holes"][0]
    mark["x"], mark["y"] = hole["x"] + 5.0, hole["y"]
    manifest.write_text(json.dumps(written))
    faults = [one for one in verify_folder(folder).faults if one.code == "verify.clamp"]
    said = " ".join(fault.message for fault in faults)
    for words in ("no mark is engraved", "nothing under it stands", "hollow", "5.00 mm off"):
        assert words in said

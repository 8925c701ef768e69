"""Whether a part can be printed as it lies: numbers by hand, and faults seeded one by one."""

from __future__ import annotations

import json

import faults
import manifold3d
import numpy as np
import pytest
import shapely
import trimesh

from jiggen.verify import overhangs, verify_folder
from jiggen.verify.limits import BRIDGE, LEDGE, SPECK
from jiggen.verify.overhangs import drawn, judge_overhangs
from jiggen.verify.printing import checks_of, judge_printing
from jiggen.verify.reading.entries import PrintBed
from jiggen.verify.reading.manifest import read_manifest
from jiggen.verify.reading.mesh import Mesh, read_stl
from jiggen.verify.results import Ledger
from jiggen.verify.walls import MOST_HEIGHTS, MOST_POINTS, across, judge_walls

BED = PrintBed(x=220.0, y=220.0, z=250.0)
BASE = (60.0, 40.0)  # mm, of the blocks below


def block(x, y, z):
    """A box between (from, to) bounds."""
    low, high = np.array([x, y, z], dtype=float).T
    box = trimesh.creation.box(extents=high - low)
    box.apply_translation((low + high) / 2)
    return box


def union(*solids):
    return trimesh.boolean.union(list(solids), engine="manifold")


def less(solid, *cut):
    return trimesh.boolean.difference([solid, *cut], engine="manifold")


def base(height=5.0):
    return block((0, BASE[0]), (0, BASE[1]), (0, height))


def checks(solid, bed=BED):
    solid.merge_vertices()
    mesh = Mesh(np.asarray(solid.vertices), np.asarray(solid.faces, dtype=np.int64))
    return checks_of(mesh, bed)


def failed(found):
    return {name for name, check in found.items() if not check.passed}


def cone(degrees, height=4.0, radius=10.0):
    """An upright cone that widens upwards by an angle off the upright."""
    wide = radius + height * np.tan(np.radians(degrees))
    profile = np.array([(0.0, 0.0), (radius, 0.0), (wide, height), (0.0, height)])
    return trimesh.creation.revolve(profile, sections=96)


def tunnel(width, length=60.0, height=8.0):
    """A block with a square tunnel of a width right through along y, 4 mm high."""
    hole = block((30 - width / 2, 30 + width / 2), (-1, 41), (2, 6))
    return less(block((0, length), (0, 40), (0, height)), hole)


# --- each check by hand --------------------------------------------------------------------


def test_a_plain_block_passes_with_the_numbers_one_can_reckon():
    found = checks(base())
    assert failed(found) == set()
    assert found["contact"].found == pytest.approx(60 * 40)
    assert found["first_layer"].found == pytest.approx(1.0)
    assert (found["overhang"].found, found["bridge"].found) == (0.0, 0.0)
    assert found["wall"].found == 6.0  # from here on walls are not measured
    assert found["size"].found == pytest.approx(220 - 60)
    assert found["loose"].found == 1


def test_a_ledge_hangs_in_the_air_with_its_area():
    found = checks(union(base(), block((50, 75), (10, 25), (3, 5))))
    assert failed(found) == {"overhang"}
    # 15 mm out, 15 mm wide, but for the rim that clings to the block
    assert found["overhang"].found == pytest.approx(15 * (15 - LEDGE), rel=0.02)
    (place,) = found["overhang"].places
    assert np.array(place.bed).min(axis=0) == pytest.approx((60 + LEDGE, 10, 3), abs=0.06)
    assert np.array(place.bed).max(axis=0) == pytest.approx((75, 25, 3), abs=0.06)
    assert "3.0 mm above the bed" in found["overhang"].message


def test_a_ledge_no_wider_than_most_of_a_line_is_carried():
    for wide, fails in ((LEDGE - 0.05, set()), (LEDGE + 0.2, {"overhang"})):
        found = checks(union(base(), block((0, 60 + wide), (0, 40), (3, 5))))
        assert failed(found) == fails


@pytest.mark.parametrize(("degrees", "fails"), [(40, False), (45, False), (48, True), (70, True)])
def test_faces_may_lean_by_45_degrees(degrees, fails):
    found = checks(cone(degrees))
    assert ("overhang" in failed(found)) == fails
    if fails:
        wide = 10.0 + 4.0 * np.tan(np.radians(degrees))
        ring = np.pi * (wide**2 - (10 + LEDGE) ** 2)
        assert found["overhang"].found == pytest.approx(ring, rel=0.05)


def test_the_margin_keeps_a_faceted_cone_off_the_threshold():
    for sections in (7, 12, 31, 200):
        profile = np.array([(0.0, 0.0), (10.0, 0.0), (14.0, 4.0), (0.0, 4.0)])
        assert not failed(checks(trimesh.creation.revolve(profile, sections=sections)))


@pytest.mark.parametrize("width", [5.0, 12.0, 14.9, 15.5, 24.0])
def test_a_tunnel_is_bridged_by_its_width(width):
    found = checks(tunnel(width))
    assert found["bridge"].found == pytest.approx(width, abs=1e-4)
    assert failed(found) == (set() if width <= BRIDGE else {"bridge"})
    line = found["bridge"].places[0].bed
    assert np.linalg.norm(np.subtract(*line)) == pytest.approx(width)
    assert np.array(line)[:, 2] == pytest.approx((6, 6))


def test_a_turned_tunnel_is_bridged_by_its_width_too():
    solid = tunnel(12.0)
    solid.apply_transform(trimesh.transformations.rotation_matrix(np.radians(33.3), (0, 0, 1)))
    assert checks(solid)["bridge"].found == pytest.approx(12.0, abs=0.05)


def test_a_recess_is_bridged_over_its_shorter_side():
    pocket = block((10, 50), (14, 26), (2, 4))
    assert checks(less(base(), pocket))["bridge"].found == pytest.approx(12.0, abs=1e-6)


@pytest.mark.parametrize(("diameter", "fails"), [(4.3, set()), (30.0, {"bridge"})])
def test_a_lying_hole_is_bridged_where_it_leans_by_more_than_45_degrees(diameter, fails):
    hole = trimesh.creation.cylinder(diameter / 2, height=80, sections=128)
    hole.apply_transform(trimesh.transformations.rotation_matrix(np.pi / 2, (1, 0, 0)))
    hole.apply_translation((30, 20, 20))
    found = checks(less(block((0, 60), (0, 40), (0, 40)), hole))
    assert failed(found) == fails
    # The chord between the two places at 45 or 46 degrees.
    chord = diameter * np.sin(np.radians(44.5))
    assert found["bridge"].found == pytest.approx(chord, rel=0.06)


def test_a_ring_in_the_air_is_no_bridge_but_a_slot_a_square_and_a_round_hole_are():
    def drilled(x, y, radius, low, high):
        hole = trimesh.creation.cylinder(radius, height=high - low, sections=96)
        hole.apply_translation((x, y, (low + high) / 2))
        return hole

    body = block((0, 60), (0, 40), (0, 12))
    bore = drilled(30, 20, 4.0, -1, 9)
    throat = drilled(30, 20, 2.5, 8, 13)
    slot = trimesh.boolean.intersection(
        [block((27.5, 32.5), (10, 30), (8.5, 9.3)), drilled(30, 20, 3.95, 8, 10)]
    )
    square = block((27.5, 32.5), (17.5, 22.5), (9, 9.6))
    assert failed(checks(less(body, bore, throat))) == {"overhang"}
    # The slot alone leaves the round throat's edge over the slot: what a guide once was like.
    assert failed(checks(less(body, bore, throat, slot))) == {"overhang"}
    found = checks(less(body, bore, throat, slot, square))
    assert failed(found) == set()
    # The seat's chords: 2 sqrt(4² - 2.5²)
    assert found["bridge"].found == pytest.approx(2 * np.sqrt(4**2 - 2.5**2), rel=0.03)


def test_an_island_that_starts_in_the_air_is_found():
    post = block((55, 75), (15, 25), (6, 12))
    roof = block((20, 75), (15, 25), (12, 14))
    found = checks(union(base(), block((20, 30), (15, 25), (4, 13)), roof, post))
    assert "overhang" in failed(found)


def test_small_marks_are_left_alone():
    dots = [block((x, x + 0.6), (10, 10.6), (-1, 0.4)) for x in np.arange(5, 55, 2.0)]
    assert failed(checks(less(base(), *dots))) == set()
    hair = union(base(), block((59, 60.7), (10, 10.6), (3, 5)))
    assert (0.7 - LEDGE) * 0.6 < SPECK
    assert failed(checks(hair)) - {"wall"} == set()


@pytest.mark.parametrize(
    ("width", "fails"), [(0.6, True), (0.79, True), (0.82, False), (2.5, False)]
)
def test_a_wall_needs_two_lines(width, fails):
    solid = union(base(), block((20, 20 + width), (5, 35), (4, 15)))
    solid.apply_transform(trimesh.transformations.rotation_matrix(0.4, (0, 0, 1)))
    found = checks(solid)
    assert found["wall"].found == pytest.approx(width, abs=1e-3)
    assert failed(found) == ({"wall"} if fails else set())
    ends = found["wall"].places[0].bed
    assert np.linalg.norm(np.subtract(*ends)) == pytest.approx(width, abs=1e-3)


def test_a_thin_wall_between_two_pockets_is_found():
    pockets = [block((10, 20), (10, 20), (1, 6)), block((20.5, 30), (10, 20), (1, 6))]
    found = checks(less(base(), *pockets))
    assert found["wall"].found == pytest.approx(0.5, abs=1e-6)
    assert failed(found) == {"wall"}


def test_a_low_rib_and_a_corner_are_no_walls():
    low = union(base(), block((20, 20.5), (5, 35), (4, 5.6)))
    assert "wall" not in failed(checks(low))
    wedge = trimesh.creation.extrude_polygon(shapely.Polygon([(0, 0), (40, 0), (40, 40)]), 5)
    assert failed(checks(wedge)) == set()


def test_walls_are_as_wide_as_the_shape_that_shapely_shrinks_away():
    """By another route: a shape shrunk by half its least wall falls apart there."""
    ring = shapely.Point(30, 20).buffer(12).difference(shapely.Point(31.3, 20).buffer(9.7))
    solid = trimesh.creation.extrude_polygon(ring, 8)
    mesh = Mesh(np.asarray(solid.vertices), np.asarray(solid.faces, dtype=np.int64))
    least = float(across(mesh, 3.0).width.min())
    assert shapely.get_num_interior_rings(ring.buffer(-least / 2 + 0.02)) == 1
    assert shapely.get_num_interior_rings(ring.buffer(-least / 2 - 0.02)) == 0
    assert least == pytest.approx(12 - 9.7 - 1.3, abs=0.02)


@pytest.mark.parametrize(
    ("bed", "room"), [((59, 220, 250), -1), ((220, 39.5, 250), -0.5), ((220, 220, 4), -1)]
)
def test_a_part_larger_than_the_printer_is_found_in_every_direction(bed, room):
    found = checks(base(), PrintBed(x=bed[0], y=bed[1], z=bed[2]))
    assert failed(found) == {"size"}
    assert found["size"].found == pytest.approx(room)
    assert "60.0 x 40.0 x 5.0 mm" in found["size"].message


def test_a_part_that_does_not_lie_on_the_bed_is_found():
    for height in (0.5, -0.5):
        raised = base()
        raised.apply_translation((0, 0, height))
        assert failed(checks(raised)) == {"base"}


def test_a_part_that_lies_askew_or_on_an_edge_is_found():
    tilted = base()
    tilted.apply_transform(trimesh.transformations.rotation_matrix(0.02, (0, 1, 0)))
    tilted.apply_translation((0, 0, -tilted.bounds[0][2]))
    assert {"contact", "first_layer"} <= failed(checks(tilted))


def test_a_loose_shell_is_found_with_its_place():
    found = checks(trimesh.util.concatenate([base(), block((70, 72), (0, 2), (0, 2))]))
    assert failed(found) == {"loose"}
    assert np.array(found["loose"].places[0].bed)[:, 0].min() == pytest.approx(70)
    # A hollow that nothing leads to is a shell of its own too.
    hollow = less(base(), block((20, 30), (20, 30), (2, 4)))
    assert "loose" in failed(checks(hollow))


def test_what_is_not_drawn_to_the_end_changes_no_check(built, monkeypatch):
    """Shortcuts for what cannot be the longest bridge against every patch drawn in full."""
    manifest = read_manifest(built.folder)
    meshes = [read_stl(built.folder / part.file) for part in manifest.parts if part.printed]
    quick = [judge_overhangs(mesh, 0.0) for mesh in meshes]
    monkeypatch.setattr(overhangs, "drawn", lambda patch, below, _: drawn(patch, below, -1.0))
    full = [judge_overhangs(mesh, 0.0) for mesh in meshes]
    assert any(bridge.found > 1.0 for _, bridge in full)
    for one, other in zip(quick, full, strict=True):
        assert [check.found for check in one] == [check.found for check in other]


def test_a_file_gone_wild_is_looked_at_from_a_bounded_number_of_places():
    solid = tunnel(10.0)
    solid.apply_scale(25.4)  # inches taken for mm, once too often
    mesh = Mesh(np.asarray(solid.vertices), np.asarray(solid.faces, dtype=np.int64))
    loops = sum(len(loop) for loop in mesh.section(100.0))
    assert len(across(mesh, 100.0).width) <= MOST_POINTS
    assert len(across(mesh, 100.0, most=200).width) <= 200 + 3 * loops
    tall = block((0, 20), (0, 2), (0, 2000))
    heights = []
    judge_walls(_Told(np.asarray(tall.vertices), np.asarray(tall.faces), heights), 0.0)
    assert MOST_HEIGHTS - 1 <= len(heights) <= MOST_HEIGHTS + 1
    assert heights[-1] > 1990


class _Told(Mesh):
    """A mesh that keeps at which heights it was cut."""

    def __init__(self, vertices, triangles, heights):
        super().__init__(vertices, triangles)
        object.__setattr__(self, "heights", heights)

    def section(self, z):
        self.heights.append(z)
        return super().section(z)


def test_a_patch_carried_all_along_its_edge_is_drawn_the_shortest_way():
    patch = shapely.box(0, 0, 30, 8)
    below = patch.buffer(5).difference(patch)
    way = drawn(patch, below)
    assert way.span == pytest.approx(8.0)
    assert way.loose_area == 0.0
    ends = drawn(patch, shapely.union_all([shapely.box(-5, 0, 0, 8), shapely.box(30, 0, 35, 8)]))
    assert ends.span == pytest.approx(30.0)
    one = drawn(patch, shapely.box(-5, 0, 0, 8))
    assert one.span == 0.0
    assert one.loose_area == pytest.approx((30 - LEDGE) * 8, rel=0.01)
    assert drawn(patch, shapely.box(-5, -5, 35, 15)) is None


# --- in the verification: faults seeded into files ------------------------------------------------


def printed(folder, part):
    """The checks of one part of a folder, and the faults they make."""
    manifest = read_manifest(folder)
    (entry,) = (entry for entry in manifest.parts if entry.name == part)
    ledger = Ledger()
    meshes = {part: read_stl(folder / entry.file)}
    found = judge_printing([entry], meshes, manifest.inputs.bed, ledger)
    assert ledger.checks == 8
    return found.parts[part], [fault.code for fault in ledger.faults]


def test_a_part_turned_over_fails_the_verification_for_that_alone(folder):
    # Its place in use is kept: nothing but the way it lies on the bed is wrong.
    faults.turn_over(folder, "rail")
    found = verify_folder(folder)
    assert not found.passed
    codes = {fault.code for fault in found.faults if fault.source == "parts/rail.stl"}
    assert codes == {"verify.print-overhang"}


def test_a_body_turned_over_is_one_wide_bridge_over_its_strips(folder):
    faults.turn_over(folder, "body-toe")
    entry, codes = printed(folder, "body-toe")
    assert not entry.passed
    assert {"verify.print-overhang", "verify.print-bridge"} & set(codes)


@pytest.mark.parametrize(
    ("solid", "code"),
    [
        (block((60, 70), (-12, 5), (5, 7)), "verify.print-overhang"),
        (block((20, 20.5), (20, 40), (13, 25)), "verify.print-wall"),
        (block((20, 30), (20, 30), (16, 20)), "verify.bodies"),
    ],
    ids=["ledge", "fin", "loose"],
)
def test_a_solid_added_to_a_part_is_found(folder, solid, code):
    faults.add_solid(folder, "body-toe", solid)
    entry, codes = printed(folder, "body-toe")
    assert code in codes and not entry.passed


def test_a_printer_too_small_is_found(folder):
    faults.edit_manifest(folder, lambda data: data["inputs"]["bed"].update(x=150.0))
    found = verify_folder(folder)
    assert {fault.subject for fault in found.of("verify.print-size")} == {"body-toe", "body-heel"}
    assert "body-toe" in {fault.subject for fault in found.of("verify.off-bed")}


def test_the_manifest_tells_every_check_with_places_to_draw(built):
    data = json.loads((built.folder / "manifest.json").read_text())
    entry = data["printing"]
    assert (entry["nozzle"], entry["layer"]) == (0.4, 0.2)
    assert entry["parts"].keys() == {part["name"] for part in data["parts"]}
    names = ["base", "contact", "first_layer", "overhang", "bridge", "wall", "size", "loose"]
    for part in data["parts"]:
        told = entry["parts"][part["name"]]
        assert told["passed"] is True
        assert list(told["checks"]) == names
        to_ski = np.array(part["to_ski"])
        for check in told["checks"].values():
            assert check["passed"] is True and check["message"] == ""
            for place in check["places"]:
                bed = np.array(place["bed"])
                there = bed @ to_ski[:3, :3].T + to_ski[:3, 3]
                assert np.array(place["ski"]) == pytest.approx(there, abs=2e-3)
    body = entry["parts"]["body-toe"]["checks"]
    # The longest bridge is the lying hole's or the seat's chord; the closest wall has a place.
    assert 0 < body["bridge"]["found"] <= 15
    assert len(body["bridge"]["places"][0]["bed"]) == 2
    assert body["wall"]["found"] >= 2.0 - 0.02  # the design's least wall between cut-outs


def test_a_failed_check_says_what_is_wrong_and_shows_the_worst_places(folder):
    faults.add_solid(folder, "body-toe", block((60, 70), (-12, 5), (5, 7)))
    check = printed(folder, "body-toe")[0].checks["overhang"]
    assert check.passed is False
    assert "would be printed in the air" in check.message
    assert check.places[0].found == pytest.approx((12 - LEDGE) * 10, rel=0.03)


def test_an_open_file_does_not_stop_the_checks(folder):
    faults.open_mesh(folder, "knob")
    entry, _ = printed(folder, "knob")
    assert len(entry.checks) == 8


# --- by another route: layer by layer, as a printer does it ---------------------------------


def layers(path, height=0.2):
    """The part's layers, each cut at its middle by the manifold library: no code of ours."""
    solid = trimesh.load_mesh(path)
    mesh = manifold3d.Mesh(np.float32(solid.vertices), np.uint32(solid.faces))
    whole = manifold3d.Manifold(mesh)
    for z in np.arange(height / 2, solid.bounds[1][2], height):
        loops = whole.slice(float(z)).to_polygons()
        yield (
            z,
            shapely.symmetric_difference_all([shapely.Polygon(loop).buffer(0) for loop in loops]),
        )


def test_no_layer_of_any_part_hangs_in_the_air(built):
    """FDM-type: each 0.2 mm layer over the one below it, carried or bridged by lines."""
    clings = 0.41  # mm: one line beside another, as at the crown of a lying hole
    bridged = set()
    for part in built.record.values()["parts"]:
        below = None
        for z, layer in layers(built.folder / part["file"]):
            alone = shapely.MultiPolygon() if below is None else layer - below.buffer(clings)
            for patch in (p for p in shapely.get_parts(alone) if p.area > SPECK):
                # A slicer's bridge: every line drawn in one of 12 directions ends on the layer
                # below, and none is longer than may be.
                ways = (lines_in_the_air(patch, layer, below, turn) for turn in range(0, 180, 15))
                good = any(loose <= SPECK and span <= BRIDGE for loose, span in ways)
                assert good, (part["name"], z, patch.centroid)
                bridged.add((part["name"], round(z)))
            below = layer
    # The ceilings that there are: engravings, bush pockets and their steps, the screw's hole and
    # the pinion's nut trap; heights in mm of the layer, rounded.
    names = {name for name, _ in bridged}
    assert names == {"body-toe", "body-heel", "pinion"}
    assert ("body-toe", 12) in bridged


def lines_in_the_air(patch, layer, below, turn):
    """Area in mm² of lines 0.2 mm apart that do not end on `below`, and the longest that do."""
    x0, y0, x1, y1 = patch.bounds
    window = (x0 - 20, y0 - 20, x1 + 20, y1 + 20)
    under = shapely.clip_by_rect(below, *window)
    over = shapely.clip_by_rect(layer, *window) - under
    over, under, target = (
        shapely.affinity.rotate(shape, -turn, origin=(0, 0)) for shape in (over, under, patch)
    )
    x0, y0, x1, y1 = target.bounds
    count = int(np.ceil((y1 - y0) / 0.2))
    pitch = (y1 - y0) / count
    rows = [[(x0 - 20, y), (x1 + 20, y)] for y in y0 + pitch * (np.arange(count) + 0.5)]
    lines = shapely.get_parts(shapely.intersection(shapely.linestrings(rows), over))
    lines = lines[(shapely.length(lines) > 0) & shapely.intersects(lines, target)]
    ends = [shapely.dwithin(shapely.get_point(lines, at), under, 0.1) for at in (0, -1)]
    held = ends[0] & ends[1]
    loose = shapely.length(shapely.intersection(lines[~held], target)).sum()
    return round(pitch * loose, 1), shapely.length(lines[held]).max(initial=0.0)

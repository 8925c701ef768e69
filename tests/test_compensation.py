"""Meshes compensated for a printer: walls moved in the bed plane, then stretched and sheared."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache, reduce

import numpy as np
import pytest
import shapely
import trimesh
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely.geometry import Polygon

from jiggen.design import Bed, Settings, SkiRange, design
from jiggen.design.gear import contact_ratio
from jiggen.design.pieces import pieces
from jiggen.errors import InputError
from jiggen.export.compensation import (
    MOST_SET_IN,
    Hollow,
    compensated,
    compensated_parts,
    refuse_compensation,
    refuse_for_design,
)
from jiggen.export.meshes import PartMesh
from jiggen.printer import Compensation
from jiggen.solid.moving import DRAWN_IN
from jiggen.verify.mesh import Mesh, read_stl, signed_area

TRUE = Compensation("true", np.eye(2), 1.0, 0.0, 0.0, 0.0)


def part(solid: trimesh.Trimesh, name="part") -> PartMesh:
    """A solid as a part, its lowest point on the bed."""
    lifted = np.array(solid.vertices) - (0.0, 0.0, solid.bounds[0, 2])
    single = lifted.astype(np.float32).astype(np.float64)
    return PartMesh(name, single, np.array(solid.faces, dtype=np.int64), 1)


def prism(plan: Polygon, height=10.0) -> PartMesh:
    return part(trimesh.creation.extrude_polygon(plan, height))


def solid(mesh: PartMesh) -> trimesh.Trimesh:
    return trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)


def section(mesh: PartMesh, z: float) -> shapely.Geometry:
    """What a level plane cuts from a mesh, by the verification's own sections; it must be sound."""
    loops = Mesh(mesh.vertices, mesh.triangles).section(z)
    rings = [Polygon(loop) for loop in loops]
    assert all(ring.is_valid for ring in rings), "no outline crosses itself"
    # Each ring takes from, or adds to, the one that it lies in.
    whole = reduce(shapely.symmetric_difference, rings)
    # Were one outline to cross another, the areas would not add up.
    assert whole.area == pytest.approx(sum(map(signed_area, loops)), abs=1e-6)
    return whole


@cache
def club():
    from jiggen.layout import layout
    from jiggen.pattern import find_pattern, read_pattern

    return design(
        layout(read_pattern(find_pattern("club-piste")), 305.0), Settings(ski=SkiRange(84, 112))
    )


@pytest.fixture(scope="module")
def meshes(built):
    """The real jig's parts, as its STL files hold them."""
    found = {}
    for entry in built.manifest["parts"]:
        mesh = read_stl(built.folder / entry["file"])
        found[entry["name"]] = PartMesh(
            entry["name"], mesh.vertices, mesh.triangles, entry["count"]
        )
    return found


def made(built, meshes, **offsets) -> dict[str, PartMesh]:
    wanted = replace(TRUE, **offsets)
    return compensated_parts(built.design, pieces(built.design), meshes, wanted)


def test_a_box_is_set_in_on_every_side():
    box = part(trimesh.creation.box((20.0, 12.0, 8.0)))
    found = solid(compensated(box, TRUE, set_in=0.1))
    assert found.extents == pytest.approx((19.8, 11.8, 8.0), abs=2e-6)
    assert found.volume == pytest.approx(19.8 * 11.8 * 8.0, rel=1e-6)
    wider = solid(compensated(box, TRUE, set_in=-0.1))
    assert wider.extents == pytest.approx((20.2, 12.2, 8.0), abs=2e-6)


@pytest.mark.parametrize(
    "plan",
    [
        Polygon([(0, 0), (30, 0), (30, 10), (12, 10), (12, 25), (0, 25)]),  # a corner inwards
        Polygon([(0, 0), (25, 3), (9, 21)]),  # sharp
        shapely.Point(0, 0).buffer(9.0, quad_segs=40),  # nearly parallel neighbours
        Polygon([(0, 0), (10, 0), (20, 1e-3), (30, 0), (30, 9), (0, 9)]),  # almost in line
        shapely.box(0, 0, 30, 20).difference(shapely.Point(9, 9).buffer(4.0)),  # a hole grows
    ],
    ids=["concave", "sharp", "round", "in-line", "hole"],
)
@pytest.mark.parametrize("by", [0.25, -0.15])
def test_walls_are_set_in_as_by_a_library_that_offsets_polygons(plan, by):
    # Outside check: shapely's (GEOS) offset of the plan, mitred.
    wanted = plan.buffer(-by, join_style="mitre", mitre_limit=20.0)
    found = compensated(prism(plan), TRUE, set_in=by)
    assert solid(found).is_watertight
    level = section(found, 5.0)
    assert level.symmetric_difference(wanted).area < 1e-3 * abs(by) * plan.length + 1e-3
    assert level.hausdorff_distance(wanted) < 2e-3


@settings(max_examples=40, deadline=None)
@given(
    radii=st.lists(st.floats(10.0, 13.0), min_size=7, max_size=12),
    by=st.floats(-0.3, 0.3),
)
def test_any_star_is_set_in_by_the_same_distance_all_round(radii, by):
    turns = 2 * np.pi * np.arange(len(radii)) / len(radii)
    plan = Polygon(np.array(radii)[:, None] * np.column_stack([np.cos(turns), np.sin(turns)]))
    wanted = plan.buffer(-by, join_style="mitre", mitre_limit=50.0)
    level = section(compensated(prism(plan), TRUE, set_in=by), 5.0)
    assert level.symmetric_difference(wanted).area < 1e-3 * abs(by) * plan.length + 1e-3


def test_a_slope_is_set_in_at_every_height():
    corners = np.array([(x, y) for x in (-1, 1) for y in (-1, 1)], dtype=float)
    points = np.vstack([np.c_[10 * corners, np.zeros(4)], np.c_[6 * corners, np.full(4, 8.0)]])
    stump = part(trimesh.convex.convex_hull(points))
    found = compensated(stump, TRUE, set_in=0.2)
    for z, half in ((1.0, 9.5), (4.0, 8.0), (7.0, 6.5)):
        # Level, not square to the slope: half the width there less the set-in.
        assert section(found, z).bounds == pytest.approx(
            (-half + 0.2, -half + 0.2, half - 0.2, half - 0.2), abs=1e-5
        )


def test_a_slit_too_narrow_for_its_walls_to_move_is_refused():
    slit = shapely.box(0, 0, 20, 10).difference(shapely.box(9.85, 2, 10.15, 11))
    assert section(compensated(prism(slit), TRUE, set_in=0.1), 5.0).is_valid
    with pytest.raises(InputError, match="run into one another") as refusal:
        compensated(prism(slit), TRUE, set_in=-0.2)
    assert refusal.value.findings[0].code == "export.compensation"


def test_walls_that_end_near_the_bed_are_kept():
    step = shapely.box(0, 0, 20, 20)
    base, top = prism(step.buffer(-0.3, join_style="mitre"), 0.3), prism(step, 10.0)
    top = PartMesh("top", np.add(top.vertices, (0, 0, 0.3)), top.triangles, 1)
    whole = trimesh.boolean.union([solid(base), solid(top)])
    found = compensated(part(whole), TRUE, set_in=0.1, kept=0.6)
    assert section(found, 0.15).bounds == pytest.approx((0.3, 0.3, 19.7, 19.7), abs=1e-5)
    assert section(found, 5.0).bounds == pytest.approx((0.1, 0.1, 19.9, 19.9), abs=1e-5)


def test_a_hole_is_widened_and_its_neighbour_is_not():
    plate = trimesh.creation.box((60.0, 30.0, 10.0))
    for x in (-15.0, 15.0):
        tool = trimesh.creation.cylinder(4.0, height=30, sections=128)
        tool.apply_translation((x, 0, 0))
        plate = trimesh.boolean.difference([plate, tool])
    wall = Hollow(-15.0, 0.0, (0.0, 10.0), (4.0, 4.0), out=0.1)
    found = compensated(part(plate), TRUE, [wall])
    rings = {round(x): r for x, r in _circles(found)}
    assert rings == {-15: pytest.approx(4.1, abs=1e-4), 15: pytest.approx(4.0, abs=1e-4)}
    assert section(found, 5.0).bounds == pytest.approx((-30, -15, 30, 15))


def _circles(mesh: PartMesh) -> list[tuple[float, float]]:
    """Centre x and radius of every hole at half the height."""
    from jiggen.verify.rings import MeshBody

    middle = float(mesh.vertices[:, 2].max()) / 2
    rings = MeshBody(Mesh(mesh.vertices, mesh.triangles)).rings(middle)
    return [(ring.x, ring.diameter / 2) for ring in rings]


def test_sizes_come_last_and_heights_apart():
    box = part(trimesh.creation.box((20.0, 12.0, 8.0)))
    wanted = replace(TRUE, matrix=np.array([[1.004, -0.003], [0.0, 0.998]]), height=1.002)
    found = compensated(box, wanted, set_in=0.1)
    plain = compensated(box, TRUE, set_in=0.1)
    x, y, z = plain.vertices.T
    assert found.vertices == pytest.approx(
        np.column_stack([1.004 * x - 0.003 * y, 0.998 * y, 1.002 * z]), abs=2e-6
    )
    assert (found.triangles == box.triangles).all()


def test_nothing_done_changes_no_bit(built, meshes):
    for name, mesh in made(built, meshes).items():
        assert (mesh.vertices == meshes[name].vertices).all()


@pytest.mark.parametrize("by", [0.05, MOST_SET_IN, -0.05])
def test_the_rail_is_set_in_and_nothing_else(built, meshes, by):
    found = made(built, meshes, moving=by)
    for name in ("pinion", "knob", "body-toe", "body-heel"):
        assert (found[name].vertices == meshes[name].vertices).all()
    before, after = meshes["rail"], found["rail"]
    assert solid(after).is_watertight and solid(after).is_winding_consistent
    for z in (0.7, 2.0, 5.5, 6.9, 7.1, 15.0):
        wanted = section(before, z).buffer(-by, join_style="mitre", mitre_limit=20.0)
        assert section(after, z).symmetric_difference(wanted).area < 0.02
    for z in (0.1, 0.25):  # the first layer and the scale engraved in it
        assert section(after, z).symmetric_difference(section(before, z)).area < 1e-9
    walls = solid(before)
    level = np.hypot(*walls.face_normals[:, :2].T) * walls.area_faces
    kept = walls.vertices[walls.faces][..., 2].max(axis=1) <= 0.61
    change = solid(after).volume - walls.volume
    # Each wall takes its area times the set-in; what two share at a corner is counted twice.
    assert change == pytest.approx(-by * level[~kept].sum(), rel=0.02)


def test_a_rail_set_in_as_far_as_may_be_keeps_its_teeth_in_contact():
    gear = club().mechanism.pinion.gear
    alpha = math.radians(20.0)  # ISO 53 basic rack
    # Its tips end that much lower, so the path of contact is shorter by m/sin α (from memory).
    left = contact_ratio(gear) - MOST_SET_IN / math.sin(alpha) / (gear.pitch * math.cos(alpha))
    assert left > 1.4
    assert MOST_SET_IN < DRAWN_IN / 2


@pytest.mark.parametrize(("hole", "pocket"), [(0.2, 0.2), (0.12, 0.05), (-0.1, -0.2), (0.3, 0.0)])
def test_pockets_throats_and_slots_of_the_real_jig_grow_as_asked(built, meshes, hole, pocket):
    found = made(built, meshes, hole=hole, pocket=pocket)
    assert (found["rail"].vertices == meshes["rail"].vertices).all()
    to_bed = {piece.name: piece.to_bed for piece in pieces(built.design)}
    for body in built.design.bodies:
        before, after = meshes[body.name], found[body.name]
        assert solid(after).is_watertight and solid(after).is_winding_consistent
        assert solid(after).extents == pytest.approx(solid(before).extents, abs=1e-6)
        guide = body.guides[0]
        x, y, _, _ = to_bed[body.name] @ (guide.x, guide.y, 0.0, 1.0)
        top = guide.top_z
        slot = _opening(after, x, y, top - (guide.bridge_z + guide.seat_z) / 2)
        # The slot: as wide as the throat, its ends 0.05 mm inside the pocket (solid/body.py).
        width, length = sorted(
            np.ptp(np.array(slot.minimum_rotated_rectangle.exterior.coords)[:4], axis=0)
        )
        assert width == pytest.approx(guide.throat + hole, abs=0.01)
        assert length == pytest.approx(guide.bore - 0.1 + pocket, abs=0.01)
        square = _opening(after, x, y, top - (guide.throat_z[1] + guide.bridge_z) / 2)
        sides = np.sqrt(square.minimum_rotated_rectangle.area)
        assert sides == pytest.approx(guide.throat + hole, abs=0.01)
        throat = top - sum(guide.throat_z) / 2
        for z, diameter in ((5.0, guide.bore + pocket), (throat, guide.throat + hole)):
            across = np.ptp(np.array(_opening(after, x, y, z).exterior.coords), axis=0)
            assert across == pytest.approx((diameter, diameter), abs=0.01)
        for z in (0.2, 0.3, 5.0, top - 2.0, top - 1.2, top - 0.3):
            assert section(after, z).is_valid


def _opening(mesh: PartMesh, x: float, y: float, z: float) -> Polygon:
    """The hole about (x, y) in the section at height z."""
    loops = Mesh(mesh.vertices, mesh.triangles).section(z)
    (found,) = (
        Polygon(loop)
        for loop in loops
        if signed_area(loop) < 0 and Polygon(loop).contains(shapely.Point(x, y))
    )
    return found


def refused(call, *arguments) -> str:
    with pytest.raises(InputError) as refusal:
        call(*arguments)
    assert {finding.code for finding in refusal.value.findings} <= {
        "export.compensation",
        "design.clash",
    }
    return str(refusal.value)


def test_what_no_sound_printer_needs_is_refused_all_at_once():
    refuse_compensation(replace(TRUE, matrix=np.array([[1.019, 0.0], [0.0, 0.981]])))
    assert "3.00 %" in refused(refuse_compensation, replace(TRUE, matrix=np.diag((1.0, 0.97))))
    assert "2.10 %" in refused(refuse_compensation, replace(TRUE, height=1.021))
    skewed = replace(TRUE, matrix=np.array([[1.0, -0.025], [0.0, 1.0]]))
    assert "2.50 %" in refused(refuse_compensation, skewed)
    said = refused(refuse_compensation, replace(TRUE, hole=0.7, pocket=-0.8, height=math.nan))
    assert "hole is +0.70" in said and "pocket is -0.80" in said and "nan" in said


def test_what_this_jig_has_no_room_for_is_refused():
    refuse_for_design(club(), replace(TRUE, hole=0.2, pocket=0.2, moving=0.1))
    said = refused(refuse_for_design, club(), replace(TRUE, moving=0.15))
    assert "0.15 mm, 0.12 mm is the most" in said and "--slide 0.35" in said
    assert "in their channels" in refused(refuse_for_design, club(), replace(TRUE, moving=-0.19))
    said = refused(refuse_for_design, club(), replace(TRUE, moving=-0.08))
    assert "-0.01 mm of room between rack and pinion" in said and "--slide 0.12" in said


def test_a_body_that_outgrows_the_bed_is_refused():
    small = replace(club(), settings=replace(club().settings, bed=Bed(212.0, 100.0, 250.0)))
    refuse_for_design(small, replace(TRUE, matrix=np.diag((1.002, 1.0))))
    said = refused(refuse_for_design, small, replace(TRUE, matrix=np.diag((1.015, 1.0))))
    longer = 1.015 * np.ptp(club().bodies[0].outline.outer[:, 0])
    assert f"body-toe would be {longer:.1f} x 68.0 mm on a bed of 212 x 100 mm" in said


def crowded(**changes):
    """The club jig with its second hole moved to 1.3 mm of wall beside the first, and changed."""
    first, second, *others = club().bodies[0].guides
    near = replace(second, x=first.x, y=first.y - first.bore - 1.3, **changes)
    body = replace(club().bodies[0], guides=(first, near, *others))
    return replace(club(), bodies=(body, *club().bodies[1:]))


def test_a_pocket_that_would_leave_too_thin_a_wall_is_refused():
    refuse_for_design(crowded(), TRUE)
    said = refused(refuse_for_design, crowded(), replace(TRUE, pocket=0.2))
    assert "1.10 mm of wall, 1.2 mm needed" in said and "hole toe-1 and hole toe-2" in said


def test_a_bush_that_would_lose_its_seat_is_refused():
    wide = crowded(throat=club().guides[1].bore - 1.8)
    refuse_for_design(wide, replace(TRUE, hole=0.3, pocket=-0.3))
    said = refused(refuse_for_design, wide, replace(TRUE, hole=0.5, pocket=-0.5))
    assert "hole toe-2: its bush would rest on 0.40 mm, 0.5 mm is the least" in said

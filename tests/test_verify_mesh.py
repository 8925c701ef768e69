from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import trimesh
from verify_samples import FACET, turned, write_facets

from jiggen.report.page.shading import shade
from jiggen.verify.reading.mesh import Mesh, MeshError, read_stl, signed_area
from jiggen.verify.rings import MeshBody, fit_circle


def mesh_of(solid: trimesh.Trimesh) -> Mesh:
    return Mesh(np.array(solid.vertices), np.array(solid.faces))


def drilled(*holes, size=(60.0, 40.0, 10.0), sections=96) -> Mesh:
    """A plate about the origin with upright holes (x, y, diameter) through it."""
    plate = trimesh.creation.box(size)
    for x, y, diameter in holes:
        tool = trimesh.creation.cylinder(diameter / 2, height=30, sections=sections)
        tool.apply_translation((x, y, 0))
        plate = trimesh.boolean.difference([plate, tool], engine="manifold")
    return mesh_of(plate)


def polygon(sides, radius, x=0.0, y=0.0, start=0.0):
    angles = start + 2 * np.pi * np.arange(sides) / sides
    return np.column_stack([x + radius * np.cos(angles), y + radius * np.sin(angles)])


def test_the_circle_through_a_regular_polygon_is_its_own():
    circle = fit_circle(polygon(40, 3.0, 11.0, -7.0))
    assert (circle.x, circle.y, circle.diameter / 2) == pytest.approx((11.0, -7.0, 3.0), abs=1e-12)
    assert circle.residual < 1e-12
    # A chord's height over the arc of angle a is r (1 − cos a/2): geometry.
    assert circle.sagitta == pytest.approx(3.0 * (1 - np.cos(np.pi / 40)), rel=1e-9)


def test_points_on_chords_do_not_pull_the_circle_in():
    corners = polygon(24, 4.0)
    halfway = (corners + np.roll(corners, -1, axis=0)) / 2
    loop = np.stack([corners, halfway], axis=1).reshape(-1, 2)
    assert fit_circle(loop).diameter / 2 == pytest.approx(4.0, abs=1e-12)


def test_the_fit_is_the_least_squares_one_under_noise():
    from scipy.optimize import least_squares  # an independent route to the same minimum

    rng = np.random.default_rng(7)
    loop = polygon(60, 2.5, 100.0, 50.0) + rng.normal(0, 0.001, (60, 2))
    circle = fit_circle(loop)
    other = least_squares(
        lambda p: np.linalg.norm(loop - p[:2], axis=1) - p[2], (100, 50, 2.5), xtol=1e-14
    ).x
    assert (circle.x, circle.y, circle.diameter / 2) == pytest.approx(tuple(other), abs=1e-7)
    assert 0.001 < circle.residual < 0.006


def test_a_section_has_one_loop_outside_and_one_a_hole():
    mesh = drilled((10.0, 5.0, 6.0), (-12.0, -3.0, 4.0))
    areas = sorted(signed_area(loop) for loop in mesh.section(1.234))
    circles = [96 / 2 * r**2 * np.sin(2 * np.pi / 96) for r in (3.0, 2.0)]  # regular polygons
    assert areas == pytest.approx([-circles[0], -circles[1], 60.0 * 40.0], abs=1e-6)


def test_a_section_at_the_height_of_vertices_still_closes():
    mesh = drilled((10.0, 5.0, 6.0))
    assert len(mesh.section(float(mesh.vertices[:, 2].max()))) == 2
    assert mesh.section(float(mesh.vertices[:, 2].min())) == []
    assert mesh.section(100.0) == []


def test_an_open_mesh_has_no_closed_loop_where_it_is_open():
    mesh = drilled((10.0, 5.0, 6.0))
    wall = np.flatnonzero(np.ptp(mesh.vertices[mesh.triangles][:, :, 2], axis=1) > 5)
    torn = Mesh(mesh.vertices, np.delete(mesh.triangles, wall[0], axis=0))
    assert torn.open_edges == 3
    assert len(torn.section(0.1)) < 2


def test_two_bodies_turned_faces_and_volume_are_seen():
    one = trimesh.creation.box((2, 3, 4))
    other = trimesh.creation.box((1, 1, 1))
    other.apply_translation((10, 0, 0))
    both = mesh_of(trimesh.util.concatenate([one, other]))
    assert set(both.shells) == {0, 1}
    assert both.volume == pytest.approx(25.0)
    assert both.open_edges == 0
    assert both.is_oriented
    flipped = both.triangles.copy()
    flipped[0] = flipped[0, ::-1]
    assert not Mesh(both.vertices, flipped).is_oriented


def test_a_mirroring_move_keeps_the_outside_out():
    mesh = drilled((10.0, 5.0, 6.0))
    mirrored = mesh.moved(np.diag((-1.0, 1.0, 1.0, 1.0)))
    assert mirrored.volume == pytest.approx(mesh.volume)
    (ring,) = MeshBody(mirrored).rings(0.1)
    assert (ring.x, ring.y) == pytest.approx((-10.0, 5.0))


def test_rings_are_round_holes_and_nothing_else():
    mesh = drilled((10.0, 5.0, 6.0))
    hexagon = trimesh.creation.cylinder(4.0, height=30, sections=6)
    hexagon.apply_translation((-15, 0, 0))
    window = trimesh.creation.box((3, 12, 30))
    solid = trimesh.Trimesh(mesh.vertices, mesh.triangles)
    solid = trimesh.boolean.difference([solid, hexagon, window], engine="manifold")
    body = MeshBody(mesh_of(solid))
    above, below = body.openings()
    for ring in (above, below):
        assert (ring.x, ring.y, ring.diameter) == pytest.approx((10.0, 5.0, 6.0), abs=1e-6)


def test_free_radius_is_the_distance_to_the_nearest_wall_at_any_height():
    mesh = drilled((10.0, 5.0, 6.0), sections=360)
    assert mesh.free_radius(10.0, 5.0, 5.0) == pytest.approx(3.0, abs=2e-4)
    assert mesh.free_radius(11.0, 5.0, 5.0) == pytest.approx(2.0, abs=2e-4)
    assert mesh.free_radius(10.0, 5.0, 2.0) == 2.0
    assert mesh.free_radius(-10.0, 5.0, 2.0) == 0.0
    skin = trimesh.creation.box((8, 8, 0.2))
    skin.apply_translation((10.0, 5.0, 1.0))
    both = trimesh.util.concatenate([trimesh.Trimesh(mesh.vertices, mesh.triangles), skin])
    assert mesh_of(both).free_radius(10.0, 5.0, 2.0) == 0.0


def test_an_stl_is_read_and_welded(tmp_path):
    box = trimesh.creation.box((2, 3, 4))
    box.apply_transform(turned(33.0))
    path = tmp_path / "box.stl"
    write_facets(path, np.asarray(box.triangles))
    mesh = read_stl(path)
    assert len(mesh.vertices) == 8
    assert mesh.open_edges == 0
    assert mesh.volume == pytest.approx(24.0, rel=1e-6)


@pytest.mark.parametrize("kind", ["empty", "text", "short", "none", "nan"])
def test_what_is_no_stl_is_refused(tmp_path, kind):
    path = tmp_path / "part.stl"
    facets = np.zeros(4, dtype=FACET)
    if kind == "nan":
        facets["corners"] = np.nan
    whole = b"x" * 80 + np.uint32(len(facets)).tobytes() + facets.tobytes()
    path.write_bytes(
        {
            "empty": b"",
            "text": b"solid nothing\nendsolid nothing\n" * 10,
            "short": whole[:-7],
            "none": b"x" * 80 + b"\0\0\0\0",
            "nan": whole,
        }[kind]
    )
    with pytest.raises(MeshError):
        read_stl(path)


SOLIDS = {
    "cylinder": lambda: trimesh.creation.cylinder(4.0, height=9.0),
    "ring": lambda: trimesh.creation.annulus(3.0, 5.0, height=2.0),
    "capsule": lambda: trimesh.creation.capsule(5.0, radius=2.0),
    "box": lambda: trimesh.creation.box((3.0, 4.0, 5.0)),
}


@pytest.mark.parametrize("name", SOLIDS)
def test_a_mesh_is_read_and_shaded_as_trimesh_does_it(name: str, tmp_path: Path):
    path = tmp_path / "part.stl"
    SOLIDS[name]().export(path)
    loaded = trimesh.load_mesh(path, process=False)
    loaded.merge_vertices()
    theirs = trimesh.Trimesh(loaded.vertices, loaded.faces, process=False)
    ours = read_stl(path)
    assert np.array_equal(ours.vertices, theirs.vertices)
    assert np.array_equal(ours.triangles, theirs.faces)
    assert np.array_equal(ours.normals, theirs.face_normals)
    parted = trimesh.graph.smooth_shade(theirs, angle=np.radians(30.0), facet_minarea=None)
    shaded = shade(ours, 30.0)
    assert np.array_equal(shaded.points, parted.vertices)
    assert np.array_equal(shaded.triangles, parted.faces)
    assert shaded.normals == pytest.approx(parted.vertex_normals, abs=1e-12)


def test_a_facet_without_an_area_has_no_normal():
    flat = Mesh(
        np.array([[0.0, 0, 0], [1, 0, 0], [2, 0, 0], [0, 1, 0]]), np.array([[0, 1, 2], [0, 1, 3]])
    )
    assert flat.normals.tolist() == [[0, 0, 0], [0, 0, 1]]
    assert np.isfinite(shade(flat, 30.0).normals).all()

"""The whole surface of an STL against its STEP's faces: what the kernel draws passes, by its own
areas; every bump, pit, hole and fold does not, with its place and size.
"""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import trimesh
from faults import box_of
from test_shells import bevelled_bars, bevelled_hexagon, plate, step
from verify_samples import FACET, read_facets, write_facets

from jiggen.verify.covering import Covering
from jiggen.verify.reading.mesh import read_stl
from jiggen.verify.reading.step_assembly import read_assembly
from jiggen.verify.results import Ledger
from jiggen.verify.surface import judge_piece
from jiggen.verify.surfaces import Surfaces


def meshed(tmp_path, shape, sagitta=0.004):
    path = tmp_path / "thing.stl"
    shape.copy().exportStl(str(path), sagitta, 0.35, relative=False)
    corners = np.round(read_facets(path), 5)  # as jiggen does: where faces meet, one point
    same = [(corners[:, k] == corners[:, k - 1]).all(axis=1) for k in range(3)]
    write_facets(path, corners[~np.any(same, axis=0)])
    return path


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("surface")
    shape = plate()
    (piece,) = read_assembly(step(folder, shape)).pieces
    return SimpleNamespace(shape=shape, piece=piece, stl=meshed(folder, shape))


def found(piece, path):
    ledger = Ledger()
    judge_piece(piece, np.eye(4), read_stl(path), ledger.about("thing.stl", "thing"))
    assert ledger.checks >= 3
    return {fault.code: fault for fault in ledger.faults}


@pytest.mark.parametrize("make", [plate, bevelled_hexagon, bevelled_bars])
def test_what_the_kernel_draws_is_covered_face_by_face(tmp_path, make):
    shape = make()
    (piece,) = read_assembly(step(tmp_path, shape)).pieces
    path = meshed(tmp_path, shape)
    assert found(piece, path) == {}
    mesh = read_stl(path)
    covering = Covering(mesh.vertices, mesh.triangles, Surfaces(piece.shape))
    assert covering.patch.max() + 1 == len(shape.Faces())  # one patch a face, no more
    assert (covering.face >= 0).all()
    # The second route: trimesh's own area and volume of the same mesh.
    other = trimesh.load_mesh(path)
    covered, wanted, _ = covering.areas()
    assert covered.sum() == pytest.approx(other.area, rel=2e-3)
    assert wanted.sum() == pytest.approx(shape.Area(), rel=1e-4)


def harmed(made, tmp_path, tool, how):
    body = trimesh.load_mesh(made.stl)
    combine = {"join": trimesh.boolean.union, "cut": trimesh.boolean.difference}[how]
    path = tmp_path / "harmed.stl"
    write_facets(path, np.asarray(combine([body, tool], engine="manifold").triangles))
    return path


def prism(sides, radius, x, y, z):
    solid = trimesh.creation.cylinder(radius, height=z[1] - z[0], sections=sides)
    solid.apply_translation((x, y, sum(z) / 2))
    return solid


@pytest.mark.parametrize(
    ("tool", "how", "off"),
    [
        (box_of((-26, -24), (8, 10), (4.9, 5.3)), "join", 0.3),  # a bump
        (box_of((-20, -18), (8, 10), (4.97, 6.5)), "join", 1.5),  # a boss
        (box_of((-24, -23), (-12, -11), (4.9, 6)), "cut", 0.1),  # a pit
        (box_of((-20, -19.4), (-19, 19), (4.4, 6)), "cut", 0.6),  # a groove
        (prism(64, 3.5, 0, 0, (-4.5, -3.5)), "join", 3.0),  # a bore that is filled
        (prism(6, 3, 16, -13, (-9, 9)), "cut", 10.0),  # a hole with six sides
        (box_of((10, 14), (10, 14), (-1, 1)), "cut", None),  # a hollow inside
    ],
)
def test_what_is_not_in_the_step_is_said(made, tmp_path, tool, how, off):
    faults = found(made.piece, harmed(made, tmp_path, tool, how))
    if off is None:
        assert "verify.surface-extra" in faults
        return
    fault = faults["verify.surface"]
    assert fault.found == pytest.approx(off, rel=0.6, abs=0.02)
    assert "mm²" in fault.message and " at (" in fault.message


def test_where_and_how_far_a_bump_stands_is_said(made, tmp_path):
    bump = box_of((-26, -24), (8, 10), (4.9, 5.3))
    fault = found(made.piece, harmed(made, tmp_path, bump, "join"))["verify.surface"]
    # By hand: a box 2 x 2 x 0.3 mm: its top and its four sides.
    assert fault.found == pytest.approx(0.3, abs=1e-4)
    assert "6.40 mm²" in fault.message
    x, y, z = (float(w) for w in fault.message.rpartition("(")[2].rstrip(")").split(","))
    assert -26 <= x <= -24 and 8 <= y <= 10 and z == pytest.approx(5.3)


def test_facets_that_are_too_coarse_are_said(made, tmp_path):
    coarse = found(made.piece, meshed(tmp_path, made.shape, 0.1))
    assert coarse["verify.coarse"].found > 0.02
    assert "verify.coarse" in found(made.piece, meshed(tmp_path, made.shape, 0.06))


def test_a_triangle_folded_over_is_said(made, tmp_path):
    # One corner within a flat face is pulled past a triangle's opposite side: all stay level.
    square = trimesh.load_mesh(made.stl)
    corners = np.asarray(square.triangles)
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    level = (np.abs(corners[:, :, 2] + 5) < 1e-5).all(axis=1)
    largest = int(np.argmax(np.where(level, np.linalg.norm(normals, axis=1), 0)))
    a, b, c = corners[largest]
    middle, beyond = (a + b + c) / 3, c + 1.2 * ((a + b) / 2 - c)
    assert np.linalg.norm(beyond - middle) > 0.1
    fan = np.array([(a, b, beyond), (b, c, beyond), (c, a, beyond)])
    path = tmp_path / "folded.stl"
    write_facets(path, np.vstack([np.delete(corners, largest, axis=0), fan]))
    assert "verify.surface-folded" in found(made.piece, path)


def test_stored_normals_are_read(made, tmp_path):
    facets = np.frombuffer(made.stl.read_bytes()[84:], dtype=FACET).copy()
    a, b, c = (facets["corners"][:, k].astype(float) for k in range(3))
    normal = np.cross(b - a, c - a)
    facets["normal"] = normal / np.linalg.norm(normal, axis=1, keepdims=True)

    def odd(change):
        other = facets.copy()
        other["normal"] = change(other["normal"])
        path = tmp_path / "odd.stl"
        path.write_bytes(made.stl.read_bytes()[:84] + other.tobytes())
        return read_stl(path).odd_normals

    assert odd(lambda normal: normal) == 0
    assert odd(lambda normal: 0 * normal) == 0  # some writers leave them out
    assert odd(lambda normal: -normal) > 0.9 * len(facets)
    assert odd(lambda normal: 2 * normal) > 0.9 * len(facets)
    assert odd(lambda normal: np.nan * normal) > 0.9 * len(facets)


def test_a_face_without_one_of_its_triangles_is_said(made, tmp_path):
    corners = np.asarray(trimesh.load_mesh(made.stl).triangles)
    sizes = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    largest = int(np.argmax(sizes))
    path = tmp_path / "open.stl"
    write_facets(path, np.delete(corners, largest, axis=0))
    lost = found(made.piece, path)["verify.surface-area"]
    assert lost.wanted - lost.found == pytest.approx(sizes[largest] / 2, rel=0.01)

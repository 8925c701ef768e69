import numpy as np
import pytest

from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.pieces import list_pieces
from jiggen.solid import draw_jig, mesh_of

trimesh = pytest.importorskip("trimesh")


@pytest.fixture(scope="module")
def jig(club_layout):
    return design_jig(club_layout, Settings(ski=SkiRange(70, 130)))


@pytest.fixture(scope="module")
def parts(jig):
    return tuple(draw_jig(jig))


@pytest.fixture(scope="module")
def meshes(parts):
    return {part.name: trimesh.Trimesh(*mesh_of(part), process=False) for part in parts}


def test_every_part_is_one_valid_solid(parts):
    for part in parts:
        assert part.shape.isValid(), part.name
        assert part.volume > 0


def test_every_part_lies_on_the_bed_at_the_corner(meshes):
    for name, mesh in meshes.items():
        assert mesh.bounds[0] == pytest.approx([0, 0, 0], abs=0.4), name
        assert mesh.bounds[0][2] == 0.0, name


def test_meshes_are_closed_and_have_the_solids_volume(parts, meshes):
    for part in parts:
        assert meshes[part.name].is_volume, part.name
        assert meshes[part.name].volume == pytest.approx(part.volume, rel=0.001)


def test_chords_in_bores_lie_within_five_thousandths(jig, meshes, parts):
    part = next(p for p in parts if p.name == "body-toe")
    guide = jig.bodies[0].guides[0]
    to_ski = part.piece.to_ski(part.piece.placed[0])
    middle = sum(guide.bore_z) / 2
    section = meshes["body-toe"].copy().apply_transform(to_ski).section((0, 0, 1), (0, 0, middle))
    loops = [loop[:, :2] - (guide.x, guide.y) for loop in section.discrete]
    (loop,) = [loop for loop in loops if np.hypot(*loop.T).max() < guide.radius + 0.1]
    along = np.linspace(loop[:-1], loop[1:], 9).reshape(-1, 2)
    radii = np.hypot(*along.T)
    assert radii.max() <= guide.radius + 1e-4
    assert radii.min() >= guide.radius - 0.005


def test_nothing_overlaps_at_the_ends_and_the_middle_of_the_range(jig, parts):
    manifold3d = pytest.importorskip("manifold3d")
    own = {}
    for part in parts:
        points, faces = mesh_of(part)
        back = np.linalg.inv(part.piece.to_bed)
        own[part.name] = (points @ back[:3, :3].T + back[:3, 3], faces)
    for width in (70.0, 100.0, 130.0):
        placed = {}
        for piece in list_pieces(jig, width):
            points, faces = own[piece.name]
            for one in piece.placed:
                moved = points @ one.pose[:3, :3].T + one.pose[:3, 3]
                mesh = manifold3d.Mesh(moved.astype(np.float32), faces.astype(np.uint32))
                placed[one.name] = manifold3d.Manifold(mesh)
        names = sorted(placed)
        for index, one in enumerate(names):
            for other in names[index + 1 :]:
                # 0.01 mm³: the halves' flat faces touch.
                assert (placed[one] ^ placed[other]).volume() < 0.01, (width, one, other)


def test_parts_have_a_free_path_in(jig, parts):
    """Assembly order of the README: rails slide in along y, the pinion comes up from below."""
    manifold3d = pytest.importorskip("manifold3d")

    def solid(name):
        part = next(p for p in parts if p.name == name)
        points, faces = mesh_of(part)
        back = np.linalg.inv(part.piece.to_bed)
        return points @ back[:3, :3].T + back[:3, 3], faces

    def placed(name, pose):
        points, faces = solid(name)
        moved = points @ pose[:3, :3].T + pose[:3, 3]
        return manifold3d.Manifold(
            manifold3d.Mesh(moved.astype(np.float32), faces.astype(np.uint32))
        )

    station = next(s for s in jig.stations if s.name == "toe")
    body = placed("body-toe", np.eye(4))
    for outward in np.linspace(0, 70, 15):
        rail = np.eye(4)
        rail[:2, 3] = (station.x, 50.0 + outward)
        assert (placed("rail", rail) ^ body).volume() < 1e-3
    rails = []
    for turn in (1.0, -1.0):
        pose = np.diag((turn, turn, 1.0, 1.0))
        pose[:2, 3] = (station.x, turn * 50.0)
        rails.append(placed("rail", pose))
    for below in np.linspace(0, 25, 11):
        pose = np.eye(4)
        pose[:3, 3] = (station.x, 0.0, -below)
        pinion = placed("pinion", pose)
        assert (pinion ^ body).volume() < 1e-3
        assert all((pinion ^ rail).volume() < 1e-3 for rail in rails)
    for above in np.linspace(0, 25, 6):
        pose = np.eye(4)
        pose[:3, 3] = (station.x, 0.0, above)
        knob = placed("knob", pose)
        rest = np.eye(4)
        rest[0, 3] = station.x
        assert (knob ^ placed("pinion", rest)).volume() < 1e-3
        assert (knob ^ body).volume() < 1e-3


def test_the_stop_keeps_the_rack_from_being_wound_out(jig):
    """Past the range the rack's solid end meets the pinion's teeth before it leaves them."""
    from shapely.affinity import translate
    from shapely.geometry import Polygon

    from jiggen.solid.body import TOOTH_CHORD

    rail, gear = jig.mechanism.rail, jig.mechanism.pinion.gear
    # One pitch beyond the widest ski, at a phase where tooth and space would meet.
    steps = round((130 / 2 - 50.0) / gear.pitch) + 2
    rack = translate(rail.rack_plan(TOOTH_CHORD), 0, 50.0 + steps * gear.pitch)
    overlap = rack.intersection(Polygon(gear.outline())).area
    assert overlap > 0.5

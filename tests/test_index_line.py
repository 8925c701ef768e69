"""The line across each rail tells, at the body's edges, a rail that is one tooth off."""

from __future__ import annotations

import faults
import numpy as np
import pytest
import shapely
import trimesh
from assembled import PITCH, TURN, evidence_of
from hypothesis import given
from hypothesis import strategies as some
from verify_samples import read_manifest_data

from jiggen.design import Settings, SkiRange
from jiggen.design.engraving import DIVISION, graduate
from jiggen.design.lettering import regions_of
from jiggen.design.station import design_mechanism
from jiggen.verify import check
from jiggen.verify.assembly import Assembly

DEEP = 0.6


def across(solid, wide):
    """Y's of the grooves in a rail's top that leave no more than `wide` mm of its width."""
    loops = solid.slice(solid.bounding_box()[5] - DEEP / 2).to_polygons()
    area = shapely.Polygon()
    for loop in loops:
        area = area.symmetric_difference(shapely.Polygon(loop).buffer(0))
    x0, y0, x1, y1 = area.bounds
    ys = np.arange(y0 + 0.05, y1, 0.05)
    cuts = [
        area.intersection(shapely.LineString([(x0 - 1, y), (x1 + 1, y)])).length <= wide for y in ys
    ]
    runs, start = [], None
    for y, cut in zip(ys, cuts, strict=True):
        if cut and start is None:
            start = y
        if not cut and start is not None:
            runs.append((start, y - 0.05))
            start = None
    return [float((a + b) / 2) for a, b in runs if b - a <= 1.0]


@pytest.fixture(scope="module")
def jig(built):
    return Assembly.of(evidence_of(built.folder))


def test_both_rails_of_a_station_have_one_at_the_same_place(jig):
    pieces = jig.at(98.0, TURN)
    for station in ("heel", "toe"):
        (left,) = across(pieces[f"rail {station} left"], 1.4)
        (right,) = across(pieces[f"rail {station} right"], 1.4)
        assert left == pytest.approx(-right, abs=0.06)
        assert left > 0
        # One tooth off it goes in all the same (test_interference), and is seen: by 4.7 mm.
        moved = pieces[f"rail {station} left"].translate((0.0, PITCH, 0.0))
        (off,) = across(moved, 1.4)
        assert off + right == pytest.approx(4.712, abs=0.06)


def test_it_comes_to_the_bodys_edge_within_the_range(jig, built):
    edge = max(
        part.bounding_box()[4] for n, part in jig.at(98.0, TURN).items() if n.startswith("body")
    )
    for width, way in ((84.0, -1), (112.0, 1)):
        (left,) = across(jig.at(width, TURN)["rail toe left"], 1.4)
        assert way * (left - edge) > 0


def test_it_is_on_the_underside_too_where_the_jig_is_put_together(built):
    for name in ("toe", "heel"):
        low, high = (line for line in built.record.index_lines if line.station == name)
        assert low.at == high.at and low.z < high.z
    (rail,) = (part for part in built.record.parts if part.name == "rail")
    mesh = trimesh.load_mesh(built.folder / rail.file)
    mesh.apply_transform(np.array(rail.placed[0].to_ski))
    (line, _) = (one for one in built.record.index_lines if rail.placed[0].name in one.rails)
    level = np.abs(mesh.face_normals[:, 2] + 1) < 1e-6
    floor = level & (np.abs(mesh.triangles_center[:, 2] - line.z) < 1e-3)
    x0, y0, _ = mesh.triangles[floor].min(axis=(0, 1))
    x1, y1, _ = mesh.triangles[floor].max(axis=(0, 1))
    assert y1 - y0 == pytest.approx(DIVISION)
    assert x1 - x0 > 4.0
    assert (y0 + y1) / 2 == pytest.approx(line.at[0][1], abs=1e-4)


def test_a_line_that_is_filled_is_missed(folder):
    data = read_manifest_data(folder)
    line = data["index_lines"][1]
    (x, y), z = line["at"][0], line["z"]
    (rail,) = (part for part in data["parts"] if part["name"] == "rail")
    block = trimesh.creation.box(bounds=[(x - 1.5, y - 0.4, z - 0.1), (x + 1.5, y + 0.4, z + 0.6)])
    placed = next(one for one in rail["placed"] if one["name"] == line["rails"][0])
    block.apply_transform(np.linalg.inv(placed["to_ski"]))
    faults.add_solid(folder, "rail", block)
    found = check(folder)
    missing = [fault for fault in found.faults if fault.code == "verify.index-missing"]
    assert {fault.subject for fault in missing} == {
        f"rail {station} {side}" for station in ("toe", "heel") for side in ("left", "right")
    }


def test_rails_placed_a_tooth_apart_are_found(folder):
    def slip(manifest):
        (rail,) = (part for part in manifest["parts"] if part["name"] == "rail")
        for one in rail["placed"]:
            if one["name"] == "rail toe right":
                one["to_ski"][1][3] -= PITCH
        for line in manifest["index_lines"]:
            if line["station"] == "toe":
                line["at"][1][1] -= PITCH

    faults.edit_manifest(folder, slip)
    (fault, other) = (f for f in check(folder).faults if f.code == "verify.index-uneven")
    assert fault.found == pytest.approx(PITCH, abs=1e-3)
    assert fault.subject == other.subject == "toe station"


@given(some.integers(120, 270), some.integers(0, 150))
def test_every_range_has_a_clear_line_across(twice_least, twice_more):
    """Ranges from 60 mm up: on the solid bar, clear of numbers, near the middle."""
    ski = SkiRange(twice_least / 2, min((twice_least + twice_more) / 2, 145.0))
    settings = Settings(ski)
    half_width = min(34.0, ski.least / 2 - 1.0)
    rail = graduate(design_mechanism(settings).rail, ski, half_width)
    shapes = [region.polygon for region in regions_of(rail.graduations.shape)]
    line = [
        shape
        for shape in shapes
        if shape.bounds[0] < rail.rack.tip_x + 1.0
        and shape.bounds[3] - shape.bounds[1] < 2 * DIVISION
    ]
    (whole,) = line
    assert (whole.bounds[1] + whole.bounds[3]) / 2 == pytest.approx(rail.index_y)
    others = [shape for shape in shapes if shape is not whole]
    assert all(whole.distance(shape) > 0.45 for shape in others)
    bar = shapely.box(rail.rack.tip_x, rail.rack.toothed[1], rail.back_x, rail.nose_sag)
    assert bar.contains(whole)
    reading = half_width - rail.index_y
    assert abs(reading - ski.middle / 2) <= 12.0

"""The notches that a caliper is laid to: where they are cut, the files, and words."""

from __future__ import annotations

import shutil

import faults
import numpy as np
import pytest
import shapely
import trimesh
from shapely.geometry import Point
from verify_samples import read_manifest_data, rehash, write_manifest

from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.notches import LONGEST
from jiggen.design.settings import Bed
from jiggen.errors import InputError
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns
from jiggen.record import read_jig
from jiggen.report.check import check_rows, rules
from jiggen.verify import verify_folder
from jiggen.verify.reading.pdf import read_pages

SQUARE = """
format = 1
name = "Arvenal Square"
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9
[[group]]
name = "plate"
datum = "boot-centre"
shift = 0
  [[group.hole]]
  at = [20, 20]
  both_sides = true
  [[group.hole]]
  at = [-20, 20]
  both_sides = true
"""


@pytest.mark.parametrize("bed", [220.0, 350.0])
@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
def test_every_body_has_a_length_along_and_across_clear_of_all_else(path, bed):
    layout = lay_out(read_pattern(path), 305.0)
    made = design_jig(layout, Settings(SkiRange(84, 112), bed=Bed(bed, bed)))
    shape, b = made.mechanism.station, made.half_width
    for body in made.bodies:
        outline, cut = body.outline.polygon, body.notch.plan
        along, across = body.notch.lengths
        # About the mark alone there is a short body, and no room for a long notch.
        longest = {"sledge-foot": 75.0, "long-valley": 113.0}.get(path.stem, LONGEST)
        assert (along.nominal, across.nominal) == pytest.approx((longest, 2 * b))
        # By hand: both faces of a length are on the outline, and plastic lies between them.
        assert outline.boundary.distance(Point(along.span[0], along.at)) < 1e-6
        assert outline.boundary.distance(Point(along.span[1], along.at)) < 1e-6
        assert {outline.boundary.distance(Point(across.at, y)) for y in across.span} == {0.0}
        inside = [Point(along.span[0] + 0.5, along.at), Point(along.span[1] - 0.5, along.at)]
        assert all(outline.contains(point) for point in inside)
        for guide in body.guides:
            assert cut.distance(Point(guide.x, guide.y)) >= guide.radius + made.settings.wall
        for station in body.stations:
            span = shapely.box(station.x - shape.half_length, -b, station.x + shape.half_length, b)
            assert cut.distance(span) >= 3.0
        for item in body.engravings:
            assert all(cut.distance(region.polygon) > 1.0 for region in item.regions), item.name
        assert "check scale" not in {item.name for item in body.engravings}


def test_a_square_about_the_mark_is_served(tmp_path):
    path = tmp_path / "square.toml"
    path.write_text(SQUARE)
    layout = lay_out(read_pattern(path), 305.0)
    for ski in ((66, 85), (84, 112)):
        made = design_jig(layout, Settings(SkiRange(*ski)))
        named = {item.name for body in made.bodies for item in body.engravings}
        assert {"Arvenal Square", "BOOT 305", "DRILL 3.6 PLAIN", "arrow to the tip"} <= named
        assert all(body.notch for body in made.bodies)


def test_a_notch_is_as_long_as_fits_on_a_narrow_body_too():
    layout = lay_out(read_pattern(find_pattern("hut-plate")), 305.0)
    for least in (62.0, 66.0, 70.0):
        try:
            made = design_jig(layout, Settings(SkiRange(least, least + 20), bed=Bed(350, 350)))
        except InputError:  # too narrow for its holes
            continue
        assert all(body.notch.lengths[0].nominal >= 100 for body in made.bodies)


def test_the_files_have_the_lengths_that_the_record_states(built):
    record = read_jig(built.folder)
    assert len(record.print_check) == 4
    for part in (part for part in record.parts if part.is_body):
        # Measured by another library: the mesh carried to the ski and cut at mid-height.
        mesh = trimesh.load_mesh(built.folder / part.file)
        mesh.apply_transform(np.array(part.to_ski))
        loops = mesh.section((0, 0, 1), (0, 0, 7.0)).discrete
        outline = shapely.build_area(shapely.MultiLineString([loop[:, :2] for loop in loops]))
        for one in (one for one in record.print_check if one.part == part.name):
            ends = [(x, one.at) if one.direction == "along" else (one.at, x) for x in one.span]
            points = [Point(end) for end in ends]
            assert max(outline.boundary.distance(point) for point in points) < 1e-3
            assert points[0].distance(points[1]) == pytest.approx(one.nominal, abs=1e-6)
            assert one.accept == pytest.approx(max(0.12, one.nominal / 1000))
            assert one.reprint == pytest.approx(one.nominal / 100)


def test_a_notch_that_moved_fails_the_verification(built, tmp_path):
    folder = shutil.copytree(built.folder, tmp_path / "jig")
    (along,) = (
        one
        for one in read_jig(folder).print_check
        if one.part == "body-toe" and one.direction == "along"
    )
    face = along.span[0] if along.end == "tip" else along.span[1]

    def change(points):
        points = points.copy()
        points[np.abs(points[:, 0] - face) < 1e-3, 0] += 0.05
        return points

    faults.edit_mesh(folder, "body-toe", change)
    verification = verify_folder(folder)
    assert not verification.of("verify.square")
    (found,) = verification.of("verify.length")
    assert (found.source, found.subject) == ("STL", "body-toe, along")
    assert found.found == pytest.approx(along.nominal - 0.05, abs=1e-3)
    assert (found.wanted, found.limit) == (pytest.approx(along.nominal), 0.02)


def test_an_end_that_is_out_of_square_fails_the_verification(built, tmp_path):
    folder = shutil.copytree(built.folder, tmp_path / "jig")
    end = max(x for one in read_jig(folder).print_check if one.end == "tip" for x in one.span)

    def change(points):
        points = points.copy()
        near = points[:, 0] > end - 1.0
        points[near, 0] += points[near, 1] * 0.001  # 0.06 mm over the width: 0.06 degrees
        return points

    faults.edit_mesh(folder, "body-toe", change)
    (found,) = verify_folder(folder).of("verify.square")
    # Where the jaws meet it, 30 mm to either side.
    assert (found.source, found.found) == ("STL", pytest.approx(0.06, abs=0.005))


def test_a_length_that_the_record_misstates_fails_in_both_formats(built, tmp_path):
    folder = shutil.copytree(built.folder, tmp_path / "jig")
    data = read_manifest_data(folder)
    data["print_check"][0]["nominal"] += 0.1
    data["print_check"][3]["span"][1] += 20.0
    write_manifest(folder, data)
    rehash(folder)
    verification = verify_folder(folder)
    assert {fault.source for fault in verification.of("verify.length")} == {"STEP", "STL"}
    assert {fault.source for fault in verification.of("verify.length-missing")} == {"STEP", "STL"}


def test_a_body_without_a_notch_is_named(built):
    record = read_jig(built.folder)
    assert not any("no edge has room" in rule for rule in rules(record))
    left = tuple(one for one in record.print_check if one.part != "body-heel")
    (told,) = (r for r in rules(record.model_copy(update={"print_check": left})) if "no edge" in r)
    assert told.startswith("body-heel: ")
    (alone,) = rules(record.model_copy(update={"print_check": ()}))
    assert alone.startswith("body-toe, body-heel: ")


def test_sheet_page_and_build_say_both_limits_and_both_numbers(built):
    record = read_jig(built.folder)
    sheet = " ".join(page.text for page in read_pages((built.folder / "sheet.pdf").read_bytes()))
    page = (built.folder / "report.html").read_text(encoding="utf-8")
    rows = list(check_rows(record))
    assert rows[0][2:] == ("145.00", "144.85 to 145.15", "143.55 to 146.45")
    for row in rows:
        assert all(cell in page for cell in row)
        assert all(cell in " ".join(sheet.split()) for cell in row[2:])
    unmeasured, checked = (
        f"{one.largest_95:.2f} mm" for one in (record.accuracy.unmeasured, record.accuracy.jig)
    )
    for text in (" ".join(sheet.split()), page):
        assert f"within {unmeasured} as printed, unmeasured" in text
        assert f"within {checked} after the check" in text
        assert "100.0 scale" not in text

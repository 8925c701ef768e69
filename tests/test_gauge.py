"""The gauge: its numbers, its files by another route, seeded faults, its sheet, the command."""

from __future__ import annotations

import json
import math
import shutil
import tomllib
from functools import partial
from pathlib import Path

import faults
import numpy as np
import pytest
import shapely
import trimesh
from shapely.geometry import LineString, Point, Polygon

from jiggen.advice import LAYER
from jiggen.cli import main
from jiggen.design import Bush, Settings, SkiRange
from jiggen.design.fit_ladder import CLEARANCES, LENGTH, RACK, SLOTS, STRIP
from jiggen.design.gauge import (
    ALLOWANCES,
    CALIPER,
    INSIDE_JAWS,
    JAW_GRIP,
    LEAST_SPAN,
    NAME,
    PEG,
    THICKNESS,
    Gauge,
    Readings,
    design_gauge,
    readings_of,
)
from jiggen.design.settings import Bed
from jiggen.design.station import design_mechanism
from jiggen.errors import InputError
from jiggen.export.manifest import measurements_toml
from jiggen.files import MEASUREMENTS
from jiggen.pipeline.build import Built, build
from jiggen.pipeline.products import GAUGE, plan_gauge
from jiggen.report.summary import summary
from jiggen.solid.body import DRAWN_IN
from jiggen.verify import check, verify_folder
from jiggen.verify.reading.pdf import read_pages

JAW_WIDTH = 12.0  # mm of the outside jaws' faces; common practice, no source
JAW_THICKNESS = 8.0  # mm of room for a jaw outside a peg; common practice, no source
BED = Bed(220.0, 220.0, 250.0)
SMALLEST = Bed(120.0, 120.0, 40.0)  # of the beds that Settings allows
BEDS = (BED, SMALLEST, Bed(110.0, 300.0, 250.0), Bed(400.0, 400.0, 400.0))


def plan_of(gauge: Gauge) -> Polygon:
    return Polygon(gauge.outline.outer, gauge.outline.inner)


# -- the numbers --------------------------------------------------------------------------------


@pytest.mark.parametrize("caliper", [150.0, 200.0, 300.0])
@pytest.mark.parametrize("bed", BEDS)
def test_the_pegs_stand_as_far_apart_as_bed_and_caliper_allow(bed: Bed, caliper: float):
    gauge = design_gauge(bed, "auto", caliper)
    x, y = gauge.span
    assert min(x, y) >= LEAST_SPAN
    assert math.hypot(x, y) + PEG <= caliper
    pegs = [Point(peg.x, peg.y).buffer(PEG / 2) for peg in gauge.pegs]
    whole = shapely.union_all([plan_of(gauge), *pegs])
    low, high = np.array(whole.bounds).reshape(2, 2)
    assert low == pytest.approx(np.zeros(2), abs=0.01)
    rim = bed.rim if min(bed.x, bed.y) >= LEAST_SPAN + PEG + 2 * bed.rim else bed.least_rim
    assert (high <= np.array([bed.x, bed.y]) - 2 * rim).all()
    longer = [x + 5.0, y + 5.0]  # neither could be one step longer
    for side, room in zip(longer, (bed.x, bed.y), strict=True):
        assert side + PEG + 2 * rim > room or side * math.sqrt(2) + PEG + 2.0 > caliper


def test_jaws_reach_what_is_measured():
    for bed in BEDS:
        gauge = design_gauge(bed)
        readings = readings_of(gauge)
        plan = plan_of(gauge)
        for reading in readings.distances:
            assert reading.asked <= CALIPER
            if reading.of[0].kind == "hole":
                assert min(end.diameter for end in reading.of) > INSIDE_JAWS
                continue
            # both jaws beside the pegs, down to the table: nothing else may stand there
            ends = np.array([(end.x, end.y) for end in reading.of])
            way = (ends[1] - ends[0]) / np.linalg.norm(ends[1] - ends[0])
            for end, out in zip(ends, (-way, way), strict=True):
                face = end + out * (PEG / 2 + 1e-6)
                jaw = LineString([face, face + out * JAW_THICKNESS])
                jaw = jaw.buffer(JAW_WIDTH / 2, cap_style="flat")
                assert not jaw.intersects(plan)
                others = (p for p in gauge.pegs if (p.x, p.y) != tuple(end))
                assert not any(jaw.intersects(Point(p.x, p.y).buffer(PEG / 2)) for p in others)
        assert all(peg.z[1] - THICKNESS > JAW_GRIP for peg in gauge.pegs)


def test_every_hole_has_its_wall_and_every_word_its_place():
    for bed, bush in ((BED, "auto"), (SMALLEST, Bush(10.0, 12.0)), (SMALLEST, "none")):
        gauge = design_gauge(bed, bush)
        plan = plan_of(gauge)
        discs = [Point(g.x, g.y).buffer(g.radius + g.lead_in) for g in gauge.guides]
        words = [
            shapely.union_all([Polygon(r.outer) for r in item.regions]) for item in gauge.engravings
        ]
        for index, disc in enumerate(discs):
            assert plan.exterior.distance(disc) >= 2.0 - 0.01 and plan.contains(disc)
            assert all(disc.distance(other) >= 1.4 for other in discs[:index])
            assert all(disc.distance(word) >= 0.6 for word in words)
        for index, word in enumerate(words):
            assert plan.contains(word)
            assert all(word.distance(other) >= 0.6 for other in words[:index])
            assert all(word.distance(Point(p.x, p.y)) >= PEG / 2 + 0.6 for p in gauge.pegs)
        assert {*"ABCDEFGHXY", "DO NOT TURN"} <= {item.name for item in gauge.engravings}


def test_pockets_step_by_a_twentieth_and_are_named_by_it():
    gauge = design_gauge(BED)
    assert gauge.bush == Bush(7.0, 8.0)  # DIN 179, as a jig with the usual 3.6 mm drill takes
    assert gauge.allowances == ALLOWANCES
    for pocket, allowance in zip(gauge.pockets, ALLOWANCES, strict=True):
        assert pocket.bore - 7.0 == pytest.approx(allowance)
        assert pocket.id == f"bush +{allowance:.2f}"
    assert len(design_gauge(BED, Bush(10.0, 12.0)).pockets) == 6
    assert 0.30 not in design_gauge(BED, Bush(10.0, 12.0)).allowances
    assert design_gauge(BED, "none").pockets == ()


@pytest.mark.parametrize(
    ("bed", "bush", "caliper", "codes"),
    [
        (Bed(105.0, 220.0, 250.0), "auto", 150.0, {"design.gauge-bed"}),
        (Bed(220.0, 220.0, 15.0), "auto", 150.0, {"design.gauge-bed"}),
        (BED, "auto", 100.0, {"design.gauge-caliper"}),
        (Bed(90.0, 90.0, 90.0), "auto", 90.0, {"design.gauge-bed", "design.gauge-caliper"}),
        (BED, Bush(22.0, 12.0), 150.0, {"design.gauge-bush"}),
    ],
)
def test_what_cannot_be_is_refused(bed: Bed, bush, caliper: float, codes: set[str]):
    with pytest.raises(InputError) as caught:
        design_gauge(bed, bush, caliper)
    assert {finding.code for finding in caught.value.findings} == codes
    assert all(finding.hint for finding in caught.value.findings)


# -- the readings -------------------------------------------------------------------------------


def sensitivity(readings: Readings) -> np.ndarray:
    """What each reading shows of scale x, scale y, skew (rad), hole, wall, scale z; by hand.

    A reading over two rims is |D·v| + the mean of both diameters, each with its offset, for the
    distortion D = [[sx, sy·sin k], [0, sy·cos k]] about the identity.
    """
    rows = []
    for reading in readings.distances:
        one, other = reading.of
        x, y = other.x - one.x, other.y - one.y
        far = math.hypot(x, y)
        hole = (one.kind == "hole") / 2 + (other.kind == "hole") / 2
        rows.append((x * x / far, y * y / far, x * y / far, hole, 1.0 - hole, 0.0))
    for reading in readings.diameters:
        is_hole = float(reading.of[0].kind == "hole")
        rows.append((0.0, 0.0, 0.0, is_hole, 1.0 - is_hole, 0.0))
    rows += [(0.0, 0.0, 0.0, 0.0, 0.0, reading.asked) for reading in readings.heights]
    return np.array(rows)


def test_every_parameter_is_seen_thrice_and_no_slip_can_hide():
    readings = readings_of(design_gauge(SMALLEST))
    seen = sensitivity(readings)
    assert (np.count_nonzero(np.abs(seen) > 1e-9, axis=0) >= 3).all()
    # redundancy number: the share of a slip that shows in its own residual
    hat = seen @ np.linalg.pinv(seen)
    assert (1 - np.diag(hat)).min() > 0.4
    for index in range(len(seen)):
        assert np.linalg.matrix_rank(np.delete(seen, index, axis=0)) == seen.shape[1]


def test_what_a_caliper_good_to_a_fiftieth_can_tell():
    seen = sensitivity(readings_of(design_gauge(SMALLEST)))
    sigma = 0.02 * np.sqrt(np.diag(np.linalg.inv(seen.T @ seen)))
    x, y, skew, hole, wall, z = sigma
    assert max(x, y) < 2e-4  # 0.04 mm over 190 mm
    assert math.degrees(skew) < 0.01
    assert max(hole, wall) < 0.01
    assert z < 1e-3  # 0.014 mm over a body of 14 mm


def test_the_blank_is_the_contract_and_says_what_is_in_the_manifest(built: Built):
    text = (built.folder / MEASUREMENTS).read_text()
    assert text == measurements_toml(readings_of(built.plan.design))
    data = tomllib.loads(text)
    assert (data["measurements"], data["units"], data["caliper"]) == (1, "mm", 0.02)
    places = {
        entry["id"]: (entry["x"], entry["y"])
        for entry in (*built.record.values()["holes"], *built.record.values()["pegs"])
    }
    assert list(data["features"]) == list("ABCDEFGH")
    for name, feature in data["features"].items():
        assert tuple(feature["at"]) == places[name]
        assert feature["kind"] == ("peg" if name in "ABCD" else "hole")
        assert feature["diameter"] == (6.0 if name in "ABCD" else 8.0)
    assert [(*row["between"], row["edges"]) for row in data["distance"]] == [
        (*pair, "outside")
        for pair in ("AB", "DC", "AD", "BC", "AC", "BD", "EF", "GH", "EG", "GF", "FH", "HE")
        for _turn in range(2)
    ]
    assert [row["of"] for row in data["diameter"]] == list("AABBCCDDEEFFGGHH")
    assert [row["asked"] for row in data["height"]] == [7.0, 14.0, 16.0, 18.0, 20.0]
    rows = (*data["distance"], *data["diameter"], *data["height"])
    assert {row["value"] for row in rows} == set(data["fits"].values()) == {""}


# -- the fits -----------------------------------------------------------------------------------


def test_slots_are_the_real_channel_and_the_stub_a_piece_of_the_real_rack():
    gauge = design_gauge(BED)
    ladder, default = gauge.ladder, Settings(SkiRange(84.0, 112.0))
    mechanism = design_mechanism(default)
    stub, rail = ladder.stub, mechanism.rail
    for field in ("back_x", "bottom_rack_z", "top_z", "lean_z", "lean"):
        assert getattr(stub, field) == getattr(rail, field)
    assert (stub.rack.tip_x, stub.rack.thinning) == (rail.rack.tip_x, rail.rack.thinning)
    slot = np.array(ladder.slots[CLEARANCES.index(default.slide)])
    real = np.array(mechanism.station.channel(-1.0))
    # printed top down: half a turn about x, so z is turned and x is only moved
    moved = np.column_stack([real[:, 0], -real[:, 1]])
    below = [2, 3, 4, 5]  # the two corners at the opening are farther out in the block
    assert np.ptp((slot - moved)[below], axis=0) == pytest.approx(np.zeros(2), abs=1e-9)


def test_each_slot_clears_the_bar_by_its_label():
    ladder = design_gauge(BED).ladder
    bar = np.array(ladder.bar)
    for clearance, profile in zip(CLEARANCES, ladder.slots, strict=True):
        slot = np.array(profile)
        sides = slot[:, 0].min(), slot[:, 0].max()
        shift = sides[0] + clearance - bar[:, 0].min()
        at = np.add(bar, (shift, 0.0))
        assert sides[1] - at[:, 0].max() == pytest.approx(clearance)
        assert at[:, 1].min() - slot[:, 1].min() == pytest.approx(clearance)
        # on the lean, 45°, a sideways clearance is as much seen sideways
        assert Polygon(slot).buffer(1e-9).contains(Polygon(at))
        assert Polygon(slot).exterior.distance(Polygon(at)) == pytest.approx(
            clearance / math.sqrt(2), abs=1e-6
        )


# -- the files ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Built:
    target = tmp_path_factory.mktemp("gauge") / "gauge"
    return build(GAUGE, partial(plan_gauge, BED), target)


@pytest.fixture
def folder(built, tmp_path) -> Path:
    """A fresh copy of a good gauge, to be harmed."""
    return shutil.copytree(built.folder, tmp_path / "gauge")


def test_the_verification_passes(built: Built):
    assert built.verification.passed, built.verification.faults
    assert [hole.id for hole in built.verification.holes[:4]] == list("EFGH")
    assert [peg.id for peg in built.verification.pegs] == list("ABCD")
    assert max(item.deviation for item in built.verification.measured) < 0.005
    for peg in built.verification.pegs:
        for found in (peg.step, peg.stl):
            assert (found.diameter, found.top) == pytest.approx((6.0, peg.wanted.top), abs=0.005)
    assert check(built.folder).passed
    assert "11 holes and 4 pegs" in summary(built.record, built.verification, built.folder)


def test_the_files(built: Built):
    there = {path.relative_to(built.folder).as_posix() for path in built.folder.rglob("*.*")}
    parts = {f"parts/{name}.stl" for name in (NAME, SLOTS, RACK)}
    others = {"jig.step", "bed-1.3mf", "preview.png", "sheet.pdf", "manifest.json", "job.toml"}
    assert there == parts | others | {MEASUREMENTS}
    manifest = json.loads((built.folder / "manifest.json").read_text())
    assert (manifest["kind"], manifest["compensation"]) == ("gauge", None)
    assert set(manifest["files"]) == there - {"manifest.json", MEASUREMENTS}
    (frame,) = (part for part in manifest["parts"] if part["name"] == NAME)
    assert frame["to_ski"] == np.eye(4).tolist()  # the bed's own frame
    assert manifest["fits"]["slide"] == list(CLEARANCES)
    assert (built.folder / "preview.png").stat().st_size > 10_000


def mesh_of(folder: Path, name: str) -> trimesh.Trimesh:
    return trimesh.load_mesh(folder / "parts" / f"{name}.stl")


def cross(mesh: trimesh.Trimesh, z: float) -> shapely.Geometry:
    """The section at height z, in the file's x and y."""
    loops = mesh.section([0, 0, 1], [0, 0, z]).discrete
    return shapely.build_area(shapely.MultiLineString([loop[:, :2] for loop in loops]))


def test_pegs_and_holes_by_another_route(built: Built):
    """trimesh and shapely alone: no code of ours between the file and the numbers."""
    mesh = mesh_of(built.folder, NAME)
    assert mesh.is_watertight
    pegs = [(x, y, 6.0) for x in (3.0, 103.0) for y in (3.0, 103.0)]
    assert round_things(shapely.get_parts(cross(mesh, 10.0))) == matching(pegs)
    # the row of pockets begins and ends 2.5 mm of wall, and half the widest one, beside E and F
    first, last = 8.0 + 4.0 + 2.5 + 3.65, 98.0 - 4.0 - 2.5 - 3.65
    pitch = (last - first) / 6
    holes = [(8.0, 53.0, 8.0), (98.0, 53.0, 8.0), (53.0, 8.0, 8.0), (53.0, 98.0, 8.0)]
    holes += [(first + pitch * i, 53.0, 7.0 + 0.05 * i) for i in range(7)]
    rings = [Polygon(ring) for ring in cross(mesh, 3.5).interiors]
    assert round_things([ring for ring in rings if ring.area < 100.0]) == matching(holes)


def round_things(polygons) -> dict[tuple[float, float], tuple[float, ...]]:
    """Place and diameter (by area) of each polygon, by its place to the nearest mm."""
    found = [(p.centroid.x, p.centroid.y, math.sqrt(4 * p.area / math.pi)) for p in polygons]
    return {(round(x), round(y)): (x, y, size) for x, y, size in found}


def matching(wanted) -> dict:
    return {(round(x), round(y)): pytest.approx((x, y, size), abs=0.005) for x, y, size in wanted}


def test_slots_and_bar_by_another_route(built: Built):
    slots, bar = mesh_of(built.folder, SLOTS), mesh_of(built.folder, RACK)
    # half way up both are their full width; the bar's toothless end is cut
    width = np.ptp(cross(bar, 3.0).bounds[::2])
    walls = cross(slots, 5.0)
    across = LineString([(-1.0, STRIP + LENGTH / 2), (200.0, STRIP + LENGTH / 2)])
    gaps = shapely.get_parts(across.difference(walls))[1:-1]
    found = [(gap.length - width) / 2 for gap in gaps]
    assert found == pytest.approx(list(CLEARANCES), abs=1e-4)


def test_nothing_overhangs(built: Built):
    for name in (NAME, SLOTS, RACK):
        mesh = mesh_of(built.folder, name)
        # a degree off the threshold: the leans and lead-ins are at 45° exactly
        down = mesh.face_normals[:, 2] < -math.cos(math.radians(44.0))
        off_bed = mesh.triangles_center[:, 2] > 0.01
        if name == RACK:  # its first layer is drawn in by a quarter of a mm, as a rail's is
            step = np.abs(mesh.triangles_center[:, 2] - LAYER) < 1e-3
            around = cross(mesh, 3.0).length
            assert mesh.area_faces[down & step].sum() <= DRAWN_IN * around
            off_bed &= ~step
        assert mesh.area_faces[down & off_bed].sum() == 0.0


def test_a_filled_in_row_is_no_fault_and_is_not_thrown_away(built: Built, folder: Path):
    path = folder / MEASUREMENTS
    path.write_text(path.read_text().replace('value = ""', "value = 106.12", 1))
    assert check(folder).passed
    with pytest.raises(InputError) as caught:
        build(GAUGE, partial(plan_gauge, BED), folder)
    assert [finding.code for finding in caught.value.findings] == ["gauge.measured"]
    assert "106.12" in path.read_text()
    path.write_text("half a line = [")
    with pytest.raises(InputError):
        build(GAUGE, partial(plan_gauge, BED), folder)


# -- seeded faults ------------------------------------------------------------------------------


def peg_of(folder: Path, name: str) -> dict:
    manifest = json.loads((folder / "manifest.json").read_text())
    (peg,) = (entry for entry in manifest["pegs"] if entry["id"] == name)
    return peg


def edit_peg(folder: Path, name: str, change) -> None:
    """`change` the corners (n, 3) of a peg, above the frame, in its STL."""
    peg = peg_of(folder, name)

    def edit(points: np.ndarray) -> np.ndarray:
        away = np.hypot(points[:, 0] - peg["x"], points[:, 1] - peg["y"])
        near = away < peg["diameter"] / 2 + 0.1
        near &= points[:, 2] >= peg["z"][0] - 0.01
        points = points.copy()
        points[near] = change(points[near])
        return points

    faults.edit_mesh(folder, NAME, edit)


def only(verification, code: str, source: str = "STL"):
    (fault,) = (f for f in verification.of(code) if f.source == source)
    assert not verification.passed
    return fault


def test_pegs_moved_and_leaning_are_each_found(folder: Path):
    edit_peg(folder, "C", lambda points: np.add(points, (0.0, -0.05, 0.0)))
    d = peg_of(folder, "D")
    edit_peg(folder, "D", lambda points: points + 0.005 * (points[:, 2:] - d["z"][0]) * (1, 0, 0))
    b = peg_of(folder, "B")

    def shifted(match) -> str:
        x, y, z = (float(word) for word in match[2].split(","))
        if math.hypot(x - b["x"], y - b["y"]) > 3.1:
            return match[0]
        return f"{match[1]}{x + 0.05:.12f},{y:.12f},{z:.12f}{match[3]}"

    faults.edit_step_part(folder, NAME, lambda text: faults.POINT.sub(shifted, text))
    found = verify_folder(folder)
    fault = only(found, "verify.moved", "STEP")
    assert (fault.subject, fault.found) == ("B", pytest.approx(0.05, abs=1e-6))
    moved = (fault for fault in found.of("verify.moved") if fault.source == "STL")
    stl = {fault.subject: fault.found for fault in moved}
    assert stl["C"] == pytest.approx(0.05, abs=0.003)
    assert stl.keys() <= {"C", "D"}  # what leans is also off
    (leaning,) = (fault for fault in found.of("verify.tilt") if fault.subject == "D")
    # some of its facets reach down beside the frame, where nothing was moved
    assert 0.1 < leaning.found <= math.degrees(0.005) + 0.01


def test_a_peg_moved_the_other_way_a_thin_and_a_short_one_are_found(folder: Path):
    edit_peg(folder, "C", lambda points: np.add(points, (0.05, 0.0, 0.0)))
    edit_peg(folder, "A", lambda points: np.where(points > 13.9, points - 0.05, points))
    peg = peg_of(folder, "B")
    middle = np.array((peg["x"], peg["y"], 0.0))
    edit_peg(folder, "B", lambda p: middle + (p - middle) * (0.99, 0.99, 1.0))
    found = verify_folder(folder)
    fault = only(found, "verify.moved")
    assert (fault.subject, fault.found) == ("C", pytest.approx(0.05, abs=0.003))
    fault = only(found, "verify.diameter")
    assert (fault.subject, fault.found) == ("B", pytest.approx(5.94, abs=0.005))
    fault = only(found, "verify.height")
    assert (fault.subject, fault.found) == ("A", pytest.approx(13.95, abs=0.001))


def test_a_missing_peg_is_found_in_each_format(folder: Path):
    mesh = mesh_of(folder, NAME)
    knife = trimesh.creation.box((20.0, 20.0, 20.0))
    knife.apply_translation((103.0, 103.0, 7.0 + 10.0))
    cut = trimesh.boolean.difference([mesh, knife], engine="manifold")
    faults.write_facets(folder / "parts" / f"{NAME}.stl", np.asarray(cut.triangles))
    assert only(verify_folder(folder), "verify.missing").subject == "C"

    def one_more(manifest: dict) -> None:
        manifest["pegs"].append(manifest["pegs"][0] | {"id": "Z", "x": 53.0, "y": 60.0})

    faults.edit_manifest(folder, one_more)
    verification = verify_folder(folder)
    assert {(f.subject, f.source) for f in verification.of("verify.missing")} == {
        ("C", "STL"),
        ("Z", "STL"),
        ("Z", "STEP"),
    }


def test_a_pocket_of_the_wrong_diameter_is_found(folder: Path):
    faults.shrink_bore(folder, "bush +0.10", 0.05)
    found = [f for f in verify_folder(folder).of("verify.diameter") if f.source == "STL"]
    assert {fault.subject for fault in found} == {"bush +0.10"}
    assert found[0].found == pytest.approx(7.05, abs=0.004)


def test_pegs_of_a_manifest_are_checked_like_the_rest(folder: Path):
    def twice(manifest: dict) -> None:
        manifest["pegs"].append(manifest["pegs"][0])

    faults.edit_manifest(folder, twice)
    with pytest.raises(InputError, match="peg 'A' is there twice"):
        verify_folder(folder)

    def sunk(manifest: dict) -> None:
        manifest["pegs"] = [manifest["pegs"][0] | {"z": [7.0, 7.0]}]

    faults.edit_manifest(folder, sunk)
    with pytest.raises(InputError, match="heights must go upwards"):
        verify_folder(folder)


# -- the sheet ----------------------------------------------------------------------------------


def test_the_sheet_has_room_for_every_word_and_every_reading(built: Built):
    pages = read_pages((built.folder / "sheet.pdf").read_bytes())
    assert len(pages) == 2
    for page in pages:
        boxes = np.array([word.box for word in page.words if word.text.strip()])
        assert (boxes[:, :2] >= 9.3).all() and (boxes[:, 2:] <= np.subtract(page.size, 9.9)).all()
        ends = [end for stroke in page.strokes for end in (stroke.start, stroke.end)]
        assert (np.min(ends, axis=0) >= 9.9).all()
        assert (np.max(ends, axis=0) <= np.subtract(page.size, 9.9)).all()
    said = " ".join(word.text for page in pages for word in page.words)
    assert f"Jig mark, engraved {built.record.jig_mark} " in said
    readings = readings_of(built.plan.design)
    for reading in (*readings.distances, *readings.diameters, *readings.heights):
        assert f"{reading.asked:.2f}" in said
    for needed in (
        "Never turn",
        "A to B",
        "H to E",
        "hole G, across",
        "peg D, height",
        "7 mm bush",
    ):
        assert needed in said
    assert "ISO 11088" in said  # the cautions


# -- the command --------------------------------------------------------------------------------


def test_the_command_makes_the_same_bytes_again(built, tmp_path: Path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["gauge", "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data.pop("folder") == "out/gauge"
    assert data == built.record.values()
    for path in built.folder.rglob("*.*"):
        again = tmp_path / "out" / "gauge" / path.relative_to(built.folder)
        assert again.read_bytes() == path.read_bytes(), path.name


@pytest.mark.parametrize(
    "words",
    [["--bed", "220x220"], ["--bed", "90x90x90"], ["--bush", "thick"], ["--caliper", "short"]],
)
def test_the_command_refuses(tmp_path: Path, monkeypatch, words: list[str], capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["gauge", *words]) == 2
    assert "error: " in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []

"""The main job, end to end: every shipped pattern verified, every seeded fault found."""

import json
import tomllib
from dataclasses import replace
from itertools import product

import faults
import numpy as np
import pytest
import trimesh
from scipy.spatial.distance import cdist
from shapely.geometry import Point, Polygon
from sharing import build_parts

from jiggen.cli import main
from jiggen.design import Bed, Settings, SkiRange, design_jig
from jiggen.design.pieces import list_pieces
from jiggen.drilling import SkiState
from jiggen.errors import CheckFailed
from jiggen.job import Job, design_job
from jiggen.pattern import read_pattern, shipped_patterns
from jiggen.pipeline import products
from jiggen.pipeline.products import build_jig, expect
from jiggen.pipeline.witness import Here
from jiggen.verify import check, verify_folder

PATTERNS = {path.stem: path for path in shipped_patterns()}
BOOTS, SKIS, BEDS = (265.0, 305.0, 345.0), ((84.0, 112.0), (70.0, 130.0)), (220.0, 400.0)
# Every combination, and of each pattern and boot the one that is built here: ski range and bed
# take turns, so that all four pairs of them are among the sixteen. Of the patterns that show
# nothing new at another boot it is one.
SIMPLE = (
    *("free-heel", "sledge-foot", "hut-plate", "old-inch"),
    *("bent-knee", "high-pass", "long-valley"),
)
EVERY = [
    case
    for case in product(sorted(PATTERNS), BOOTS, SKIS, BEDS)
    if case[0] not in SIMPLE or case[1] == 305.0
]
BUILT = [
    (name, boot, SKIS[(row + column) % 2], BEDS[(row + column) // 2 % 2])
    for row, name in enumerate([*sorted(PATTERNS.keys() - {*SIMPLE}), *SIMPLE])
    for column, boot in enumerate(BOOTS)
    if name not in SIMPLE or boot == 305.0
]
CLUB = Job(read_pattern(PATTERNS["club-piste"]), (305.0, 305.0), Settings(ski=SkiRange(84, 112)))
DESIGNED = [case for case in EVERY if case not in BUILT]


def wanted(name, boot, ski, bed):
    """The job of one combination, and its holes computed in this file alone."""
    pattern = read_pattern(PATTERNS[name])
    side = "right" if pattern.pair == "mirrored" else "left"
    core = "metal" if boot == 305.0 else "plain"
    settings = Settings(ski=SkiRange(*ski), bed=Bed(bed, bed, 250.0))
    return Job(pattern, (boot, boot), settings, core, side), by_hand(name, boot, side)


def by_hand(name, boot, side):
    """Where the holes lie, (n, 2) mm: from the pattern file's own numbers, without jiggen."""
    file = tomllib.loads(PATTERNS[name].read_text(encoding="utf-8"))
    unit = 25.4 if file.get("units") == "in" else 1.0
    half = {"boot-toe": boot / 2, "boot-heel": -boot / 2, "boot-centre": 0.0}
    half |= {name: boot / 2 + x * unit for name, x in file.get("points", {}).items()}
    at_mark = half[file.get("mark", "boot-centre")]
    holes = []
    for group in file["group"]:
        steps = [step for step in group.get("steps", []) if step["from"] * unit <= boot]
        shift = (steps[-1] if steps else group)["shift"]
        for place, hole in product(group.get("places", [0.0]), group["hole"]):
            x, y = hole["at"]
            both = hole.get("both_sides", False)
            turned = -y if side == "right" and file.get("pair") == "mirrored" else y
            along = half[group["datum"]] - at_mark + (shift + place + x) * unit
            holes += [(along, across * unit) for across in ((y, -y) if both else (turned,))]
    return np.array(holes)


def bores_cut(folder, parts):
    """Centres in the ski frame, (n, 2) mm, and diameters of the round openings in the bodies.

    By trimesh's section through the STL half way between the bushes' lower and upper ends.
    """
    centres, sizes = [], []
    for part in parts:
        if not part["name"].startswith("body"):
            continue
        mesh = trimesh.load_mesh(folder / part["file"])
        mesh.apply_transform(np.array(part["to_ski"]))
        flat, to_ski = mesh.section(plane_origin=(0, 0, 8.0), plane_normal=(0, 0, 1)).to_2D()
        for ring in flat.polygons_closed:
            around = np.array(ring.exterior.coords)
            radii = np.hypot(*(around - ring.centroid.coords[0]).T)
            if np.ptp(radii) < 0.02 and radii.max() < 8.0:
                u, v = ring.centroid.coords[0]
                centres.append((to_ski @ (u, v, 0.0, 1.0))[:2])
                sizes.append(2 * radii.max())
    return np.array(centres), np.array(sizes)


@pytest.mark.parametrize(
    ("name", "boot", "ski", "bed"),
    [
        *BUILT,
        *(pytest.param(*case, marks=pytest.mark.exhaustive) for case in DESIGNED),
    ],
)
def test_every_shipped_pattern_is_verified_and_fits_the_bed(name, boot, ski, bed, tmp_path):
    job, expected = wanted(name, boot, ski, bed)
    # One boot of each pattern with plans, sheet and page, the others with the parts alone.
    done = build_parts(job, tmp_path / "jig", told=boot == 305.0)
    assert done.verification.passed
    assert done.folder == tmp_path / "jig"
    for part in done.record.values()["parts"]:
        mesh = trimesh.load_mesh(done.folder / part["file"])
        assert mesh.is_volume
        assert mesh.bounds[0, 2] == 0.0 and (mesh.bounds[0] >= 0.0).all()
        assert (mesh.bounds[1] <= (bed, bed, 250.0)).all(), (part["name"], mesh.bounds)
    mirrored = job.pattern.pair == "mirrored"
    assert done.verification.whose == f"boot {boot:g} mm{', RIGHT ski only' if mirrored else ''}"
    # Every hole of the pattern has its bore in the STL files, and there is no other such bore.
    centres, sizes = bores_cut(done.folder, done.record.values()["parts"])
    (bore,) = {guide["bore"] for guide in done.record.values()["guides"]}
    centres = centres[np.abs(sizes - bore) < 0.02]
    assert len(centres) == len(expected)
    assert cdist(expected, centres).min(axis=1).max() < 0.02
    # Without supports: nothing in the air, no bridge too long, on the printer's bed.
    assert done.record.values()["printing"]["parts"].keys() == {
        p["name"] for p in done.record.values()["parts"]
    }
    for part in done.record.values()["printing"]["parts"].values():
        checks = part["checks"]
        assert checks["overhang"]["found"] == 0.0
        assert checks["bridge"]["found"] <= 15.0
        assert checks["wall"]["found"] >= 0.8
    # The verification's own words: each hole found in both files.
    for hole in done.verification.as_dict()["holes"]:
        assert hole["step"] and hole["stl"]


@pytest.mark.parametrize(("name", "boot", "ski", "bed"), DESIGNED)
def test_every_other_combination_is_designed_and_expected_to_hold(name, boot, ski, bed):
    job, expected = wanted(name, boot, ski, bed)
    holes = job.lay_out()
    made = design_jig(holes, job.settings)
    found, _ = expect(made)
    assert found.moving.least_gap.gap > 0
    assert found.centring.loaded <= 0.25
    assert [guide.id for guide in made.guides] == list(holes.ids)
    assert holes.positions == pytest.approx(expected, abs=1e-9)
    to_bed = {piece.name: piece.to_bed[:2] for piece in list_pieces(made)}
    shapes = [Polygon(body.outline.outer) for body in made.bodies]
    for body in made.bodies:
        turn, move = to_bed[body.name][:, :2], to_bed[body.name][:, 3]
        flat = np.asarray(body.outline.outer) @ turn.T + move
        assert flat.min() >= -1e-9 and flat.max() <= bed
    for x, y in expected:
        assert any(shape.contains(Point(x, y).buffer(made.guides[0].radius)) for shape in shapes)


def test_all_four_pairs_of_ski_range_and_bed_are_built():
    assert {case[2:] for case in BUILT} == set(product(SKIS, BEDS))
    assert {case[:2] for case in BUILT} == {case[:2] for case in EVERY}
    assert len(BUILT) == 16 and len(DESIGNED) == 48


def findings(verification, code):
    return [fault for fault in verification.faults if fault.code == code]


def only(verification, code):
    assert not verification.passed
    found = findings(verification, code)
    assert found, [fault.code for fault in verification.faults]
    return found


def test_a_good_folder_passes(folder):
    assert check(folder).passed


# Parts scaled, mirrored and exchanged: test_verification.py.
def test_faults_seeded_at_once_are_each_found_where_they_are(folder):
    faults.move_hole(folder, "toe-1", 0.1)
    faults.fill_hole(folder, "toe-5")
    faults.shrink_bore(folder, "heel-3", 0.2)
    faults.move_hole_in_step(folder, "heel-2", 0.0, 0.1, np.eye(4))
    faults.open_mesh(folder, "rail")
    found = verify_folder(folder)
    by_source = {fault.source: fault for fault in only(found, "verify.moved")}
    assert by_source.keys() == {"STL", "STEP"}
    assert "toe-1" in str(by_source["STL"]) and "0.100" in str(by_source["STL"])
    assert "heel-2" in str(by_source["STEP"])
    assert any("toe-5" in str(fault) for fault in only(found, "verify.missing"))
    (fault,) = only(found, "verify.diameter")
    assert "heel-3" in str(fault) and "6.900" in str(fault)
    assert any("rail" in str(fault) for fault in only(found, "verify.open-mesh"))


def test_the_page_stays_small_enough_to_send(built):
    assert (built.folder / "report.html").stat().st_size < 3_000_000


def test_a_changed_file_is_said(folder):
    faults.scale_part(folder, "knob", 1.0005, hashes=False)
    assert any("knob.stl" in str(fault) for fault in only(check(folder), "verify.hash"))


def test_jiggen_check_says_it_and_exits_with_1(folder, capsys):
    faults.move_hole(folder, "toe-1", 0.1)
    assert main(["check", str(folder)]) == 1
    said = capsys.readouterr().out
    assert said.startswith("Verification FAILED: do not use this jig") and "toe-1" in said


def test_a_jig_that_fails_is_named_so(tmp_path, monkeypatch):

    # The witness is shown a folder in which a hole was moved after it was written.
    def harmed(folder):
        faults.move_hole(folder, "toe-1", 0.1)
        return verify_folder(folder)

    monkeypatch.setattr(Here, "verification", lambda here: harmed(here._folder))
    done = build_jig(CLUB, tmp_path / "jig")
    assert done.folder.name == "jig-failed"
    assert not (tmp_path / "jig").exists()
    assert (
        json.loads((done.folder / "manifest.json").read_text())["verification"]["passed"] is False
    )


def test_a_build_stops_before_it_writes_when_parts_would_touch(tmp_path, monkeypatch):
    def broken(job, settings, layouts, jig_mark):
        found = design_job(job, settings, layouts=layouts, jig_mark=jig_mark)
        made = found.whole
        station = replace(made.mechanism.station, roof_z=made.mechanism.rail.top_z - 0.5)
        made = replace(made, mechanism=replace(made.mechanism, station=station))
        return replace(found, whole=made)

    monkeypatch.setattr(products, "served_design", broken)
    with pytest.raises(CheckFailed) as caught:
        build_jig(CLUB, tmp_path / "jig")
    assert any(
        "rail" in finding.message and "body" in finding.message for finding in caught.value.findings
    )
    assert list(tmp_path.iterdir()) == []


def test_a_ski_too_thin_stops_the_build_with_the_numbers(tmp_path):
    with pytest.raises(CheckFailed, match=r"0\.52 mm of ski .* - 0\.20 depth error"):
        build_jig(replace(CLUB, measured=SkiState(thickness=(11.0,))), tmp_path / "jig")
    assert list(tmp_path.iterdir()) == []


def test_step_read_by_the_kernel_has_the_holes_where_the_layout_says(built, club_layout):
    """A second route: OpenCascade's own STEP reader, not our text reader."""
    import cadquery as cq

    shape = cq.importers.importStep(str(built.folder / "jig.step")).val()
    found = set()
    for face in shape.Faces():
        if face.geomType() == "CYLINDER":
            surface = face._geomAdaptor().Cylinder()
            axis = surface.Axis()
            if abs(surface.Radius() - 3.55) < 1e-6 and abs(abs(axis.Direction().Z()) - 1) < 1e-9:
                place = axis.Location()
                found.add((round(place.X(), 5), round(place.Y(), 5)))
    wanted = {(round(float(x), 5), round(float(y), 5)) for x, y in club_layout.positions}
    assert found == wanted

from __future__ import annotations

import json
import shutil
from functools import partial
from pathlib import Path

import numpy as np
import pytest
import shapely
import trimesh
from shapely.geometry import Point, Polygon, box

from jiggen.cli import main
from jiggen.design.engraving import Board, nearest_box
from jiggen.design.jig import Body
from jiggen.design.lettering import Drawn
from jiggen.design.settings import Bed
from jiggen.design.trial import (
    CLEAR,
    CLEARANCE,
    CUT_WALL,
    DEPTH,
    EDGE,
    FOOT,
    NAME,
    THICKNESS,
    design_trial,
)
from jiggen.errors import InputError
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns
from jiggen.pattern.model import Drill, Group, Hole, Pattern
from jiggen.pattern.write import pattern_toml
from jiggen.pipeline.build import Built, build, verified_folder
from jiggen.pipeline.products import TRIAL, plan_trial
from jiggen.record import TrialRecord
from jiggen.report import summary
from jiggen.verify import check

BED = Bed(220.0, 220.0, 250.0)
LARGE = Bed(400.0, 400.0, 400.0)
TEXTS = ("manifest.json", "job.toml", "pattern.toml")
PLATE_HOLE = 5.5
FEW = ((12.0, 10.0), (-30.0, 0.0), (20.0, -12.5))


def shipped(name: str, boot: float = 305.0, **how) -> Layout:
    return lay_out(read_pattern(find_pattern(name)), boot, **how)


def pattern(*at: tuple[float, float], name: str = "O") -> Pattern:
    drill = Drill(3.6, 4.1, 9.0)
    group = Group("a", "boot-centre", 0.0, (), tuple(Hole(place, False, drill) for place in at))
    return Pattern(name, "", "mm", None, "same", (group,), "x.toml")


def made(*at: tuple[float, float], name: str = "O") -> Layout:
    return lay_out(pattern(*at, name=name), 305.0)


def area(plate: Body) -> Polygon:
    return Polygon(plate.outline.outer, plate.outline.inner)


# -- the numbers --------------------------------------------------------------------------------


@pytest.mark.parametrize("bed", [BED, LARGE])
@pytest.mark.parametrize("name", [path.stem for path in shipped_patterns()])
def test_every_hole_is_in_one_plate_and_clear_of_all_else(name: str, bed: Bed):
    found = shipped(name, 345.0)
    trial = design_trial(found, bed)
    assert [guide.id for plate in trial.plates for guide in plate.guides] == list(found.ids)
    places = dict(zip(found.ids, found.positions.tolist(), strict=True))
    drills = dict(zip(found.ids, found.diameters.tolist(), strict=True))
    for plate, piece in zip(trial.plates, trial.pieces, strict=True):
        shape = area(plate)
        inked = [
            shapely.union_all([Polygon(r.outer, r.inner) for r in item.regions])
            for item in plate.engravings
        ]
        holes = [Point(g.x, g.y).buffer(g.radius) for g in plate.guides]
        for guide, hole in zip(plate.guides, holes, strict=True):
            assert (guide.x, guide.y) == tuple(places[guide.id])
            assert guide.bore == guide.throat == drills[guide.id] + CLEARANCE
            assert shape.exterior.distance(hole) >= min(EDGE, CUT_WALL) - 1e-6
        for index, one in enumerate(inked):
            assert shape.buffer(-CLEAR / 2).contains(one)
            assert all(one.distance(other) >= CLEAR - 0.1 for other in inked[:index])
            assert all(one.distance(hole) >= CLEAR - 0.1 for hole in holes)
        corners = shape.exterior.coords[:] @ piece.to_bed[:2, :2].T
        assert (np.ptp(corners, axis=0) <= (bed.x - 4.0, bed.y - 4.0)).all()
    short = name in ("hut-plate", "free-heel", "sledge-foot", "long-valley")
    assert len(trial.plates) == (1 if bed is LARGE or short else 2)


@pytest.mark.parametrize("name", ["club-piste", "hut-plate", "skew-plate"])
def test_every_hole_has_its_name_beside_it(name: str):
    found = shipped(name, side="right")
    for plate in design_trial(found, BED).plates:
        marks = {
            item.name: shapely.union_all([Polygon(r.outer) for r in item.regions])
            for item in plate.engravings
        }
        for guide in plate.guides:
            own = marks[guide.id].distance(Point(guide.x, guide.y))
            assert own <= 6.0
            others = [
                mark for name, mark in marks.items() if name in found.ids and name != guide.id
            ]
            assert all(own < mark.distance(Point(guide.x, guide.y)) for mark in others)
        wanted = {"TRIAL PLATE", "MARK", "BOOT 305", "arrow to the tip", found.pattern}
        assert wanted <= marks.keys()
        assert ("RIGHT SKI" in marks) == (found.pair == "mirrored")


def test_the_mounting_mark_is_a_notch_or_the_cut_itself():
    (whole,) = design_trial(shipped("hut-plate"), BED).plates
    b = whole.plate.half_width
    assert not area(whole).contains(Point(0.0, b - 1.0))  # a notch on either side
    assert not area(whole).contains(Point(0.0, 1.0 - b))
    toe, heel = design_trial(shipped("club-piste"), BED).plates
    assert (toe.name, heel.name) == (f"{NAME}-toe", f"{NAME}-heel")
    assert (toe.plate.start, heel.plate.stop) == (0.0, 0.0)


def test_the_check_scale_is_100_mm():
    for plate in design_trial(shipped("club-piste"), BED).plates:
        (scale,) = (item for item in plate.engravings if item.name == "check scale")
        bounds = [shapely.bounds(Polygon(region.outer)) for region in scale.regions]
        ticks = sorted((x0 + x1) / 2 for x0, y0, x1, y1 in bounds if y1 - y0 > 4.5 > 1 > x1 - x0)
        assert ticks[-1] - ticks[0] == pytest.approx(100.0, abs=1e-6)


def test_a_half_without_holes_is_not_printed():
    trial = design_trial(made((150.0, 10.0), (230.0, -10.0)), BED)
    assert [plate.name for plate in trial.plates] == [f"{NAME}-toe"]


def test_a_hole_in_the_cut_is_refused():
    with pytest.raises(InputError) as caught:
        design_trial(made((3.7, 10.0), (-3.0, 10.0), (160.0, 10.0), (-160.0, 0.0)), BED)
    assert {finding.code for finding in caught.value.findings} == {"design.trial-cut"}
    assert [f.message.split("hole ")[1][:3] for f in caught.value.findings] == ["a-1", "a-2"]
    assert len(design_trial(made((3.7, 10.0), (160.0, 10.0), (-160.0, 0.0)), LARGE).plates) == 1


def test_a_bed_too_small_is_refused():
    with pytest.raises(InputError) as caught:
        design_trial(shipped("club-piste"), Bed(120.0, 120.0, 250.0))
    assert [finding.code for finding in caught.value.findings] == ["design.trial-bed"] * 2


def test_what_has_no_room_is_left_out_and_said():
    long = "A name of the most letters there may be"
    trial = design_trial(made((0.0, 5.0), (5.0, 15.0), name=long), BED)
    (plate,) = trial.plates
    assert long in trial.left_out[plate.name]
    assert {"a-1", "a-2"} <= {item.name for item in plate.engravings}


def test_a_board_takes_the_nearest_free_place():
    board = Board((0.0, 0.0, 100.0, 20.0), [box(40.0, 0.0, 60.0, 20.0)], clear=1.0, edge=1.0)
    shape = Drawn(box(0.0, 0.0, 10.0, 4.0))
    first = board.put([shape], (50.0, 10.0), nearest_box, reach=30.0)
    assert first is not None
    # as near as 1 mm from the bar leaves: its middle 16 mm off, left or right
    assert abs(first.shape.centroid.x - 50.0) == pytest.approx(16.0, abs=0.51)
    second = board.put([shape], (50.0, 10.0), nearest_box, reach=30.0)
    assert second is not None
    assert second.shape.distance(first.shape) >= 1.0
    assert (
        board.put([shape], (50.0, 10.0), nearest_box, reach=5.0) is None
    )  # nothing free within 5 mm
    assert (
        board.put([Drawn(box(0, 0, 10, 19))], (50.0, 10.0), nearest_box, reach=99.0) is None
    )  # too high for the board


# -- the files ----------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def built(tmp_path_factory) -> Built:
    """A plate of one piece with little on it, so that it is built fast."""
    target = tmp_path_factory.mktemp("trial") / "one"
    return build(TRIAL, partial(plan_trial, pattern(*FEW), made(*FEW), BED), target)


@pytest.fixture(scope="module")
def halves(tmp_path_factory) -> Built:
    """A plate of two pieces, its holes as large as the plate's own."""
    target = tmp_path_factory.mktemp("trial") / "two"
    places = (150.0, 10.0), (-150.0, -12.5)
    plan = partial(plan_trial, pattern(*places), made(*places), BED, plate_hole=PLATE_HOLE)
    return build(TRIAL, plan, target)


def test_the_verification_passes(built: Built, halves: Built):
    for finished in (built, halves):
        assert finished.verification.passed, finished.verification.faults
        assert max(hole.deviation for hole in finished.verification.holes) < 0.005
        assert check(finished.folder).passed


def test_the_files(built: Built):
    there = {path.relative_to(built.folder).as_posix() for path in built.folder.rglob("*.*")}
    parts = {f"parts/{NAME}.stl"}
    assert there == {"jig.step", "bed-1.3mf", "preview.png", *TEXTS} | parts
    manifest = json.loads((built.folder / "manifest.json").read_text())
    assert manifest["kind"] == "trial"
    assert set(manifest["files"]) == there - {"manifest.json"}
    assert manifest["verification"]["passed"] is True
    assert manifest.get("hardware", []) == []
    assert (built.folder / "preview.png").stat().st_size > 10_000


def test_the_mesh_by_another_route(built: Built):
    """trimesh and shapely alone: no code of ours between the file and the numbers."""
    mesh = trimesh.load_mesh(built.folder / "parts" / f"{NAME}.stl")
    assert mesh.is_watertight
    assert np.ptp(mesh.vertices[:, 2]) == pytest.approx(THICKNESS)
    flat = np.abs(mesh.face_normals[:, 2]) > 1e-6
    tree = shapely.STRtree(shapely.polygons(mesh.triangles[flat][:, :, :2]))
    # print position: right side up, so only shifted; the plate's corner is at the origin
    (plate,) = built.plan.design.plates
    centres = built.plan.design.layout.positions - (plate.plate.start, -plate.plate.half_width)

    def blocked(shift: np.ndarray) -> int:
        """How many of the holes have something over or under this place in them."""
        seen = tree.query(shapely.points(centres + shift), predicate="intersects")
        return len(set(seen[0]))

    radius = (built.plan.design.layout.diameters[0] + CLEARANCE) / 2
    assert blocked(np.zeros(2)) == 0
    for angle in np.radians(np.arange(0, 360, 30)):
        way = np.array([np.cos(angle), np.sin(angle)])
        assert blocked((radius - 0.02) * way) == 0
        assert blocked((radius + 0.02) * way) == len(centres)


def test_the_volume_by_hand(halves: Built):
    # plate less its holes, by area; then the edges drawn in on the bed, a triangle of FOOT by
    # FOOT along outline and holes, and the engraving, DEPTH deep; notches are in the outline
    for plate, part in zip(halves.plan.design.plates, halves.record.values()["parts"], strict=True):
        shape = area(plate)
        hole = plate.guides[0].radius
        inked = sum(Polygon(r.outer, r.inner).area for e in plate.engravings for r in e.regions)
        solid = THICKNESS * (shape.area - np.pi * hole**2) - DEPTH * inked
        edges = FOOT**2 / 2 * (shape.length + 2 * np.pi * hole)
        assert part["volume"] == pytest.approx(solid - edges, rel=2e-4)


def test_a_strict_reader_takes_the_3mf(halves: Built):
    import lib3mf

    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    reader.SetStrictModeActive(True)
    reader.ReadFromFile(str(halves.folder / "bed-1.3mf"))
    assert reader.GetWarningCount() == 0
    assert model.GetUnit() == lib3mf.ModelUnit.MilliMeter
    items = model.GetMeshObjects()
    names = []
    while items.MoveNext():
        names.append(items.GetCurrentMeshObject().GetName())
    assert names == [f"{NAME}-toe", f"{NAME}-heel"]


def test_a_hole_moved_in_the_files_is_found(built: Built, tmp_path: Path):
    folder = shutil.copytree(built.folder, tmp_path / "moved")
    path = folder / "parts" / f"{NAME}.stl"
    mesh = trimesh.load_mesh(path)
    (plate,) = built.plan.design.plates
    guide, *_ = plate.guides
    corner = plate.plate.start, -plate.plate.half_width
    near = np.linalg.norm(mesh.vertices[:, :2] - (guide.x, guide.y) + corner, axis=1) < 3.0
    assert near.any()
    mesh.vertices[near] += (0.1, 0.0, 0.0)
    mesh.export(path)
    verification = check(folder)
    assert not verification.passed
    (moved,) = verification.of("verify.moved")
    assert (moved.source, moved.subject) == ("STL", guide.id)
    assert moved.found == pytest.approx(0.1, abs=0.005)


def test_holes_as_large_as_the_plates_own(halves: Built, tmp_path: Path):
    assert {guide.bore for guide in halves.record.guides} == {PLATE_HOLE}
    assert halves.record.inputs.plate_hole == PLATE_HOLE
    folder = shutil.copytree(halves.folder, tmp_path / "smaller")
    data = json.loads((folder / "manifest.json").read_text())
    data["guides"][0]["bore"] = 5.4
    (folder / "manifest.json").write_text(json.dumps(data))
    found = check(folder).of("verify.bore")
    assert [(fault.subject, fault.found, fault.wanted) for fault in found] == [("a-1", 5.4, 5.5)]


@pytest.mark.parametrize(
    "plate_hole, code", [(1.0, "layout.plate-hole"), (9.0, "design.trial-hole")]
)
def test_holes_that_no_plate_has_or_that_run_together_are_refused(plate_hole, code):
    with pytest.raises(InputError) as error:
        design_trial(made((12.0, 5.0), (12.0, -5.0)), BED, plate_hole=plate_hole)
    assert [finding.code for finding in error.value.findings] == [code]


def test_a_plate_that_fails_its_verification_is_not_handed_over(built: Built, tmp_path: Path):
    def make(folder: Path) -> TrialRecord:
        shutil.copytree(built.folder, folder, dirs_exist_ok=True)
        data = json.loads((folder / "manifest.json").read_text())
        data["holes"][0]["x"] += 0.05
        return TrialRecord.model_validate(data)

    folder, record, verification = verified_folder(tmp_path / "plate", make, force=False)
    assert folder == tmp_path / "plate-failed"
    assert not verification.passed
    assert not record.passed
    assert not (tmp_path / "plate").exists()
    assert "DO NOT PRINT" in words(Built(folder, built.plan, record, verification))
    assert check(folder).of("verify.failed-when-built")


def words(done: Built) -> str:
    return summary.summary(done.record, done.verification, done.folder)


def test_a_summary_says_how_to_use_it(built: Built, halves: Built):
    assert "Measure its 100.0 scale" in words(halves)
    assert "100.0" not in words(built)  # too short for one
    said = words(built)
    # 3.75 mm holes are seen within the plate's 5.5 mm, and never under them.
    assert "Lay the real plate on it, never under it" in said and "smaller one must" in said
    assert "open right through" in words(halves) and "smaller" not in words(halves)
    assert "Files verified: 3 holes" in said
    assert f"To print: bed 1: {NAME} (bed-1.3mf)" in said
    assert said.startswith(f"Jig mark: {built.record.jig_mark}, engraved on {NAME}\n")
    assert "never drill through it" in said
    record = built.record.model_copy(update={"left_out": {NAME: ("check scale",)}})
    less = Built(built.folder, built.plan, record, built.verification)
    assert "No room to engrave: check scale" in words(less)


# -- the command --------------------------------------------------------------------------------


def test_the_command_makes_the_same_bytes_again(built, tmp_path: Path, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    Path("one.toml").write_text(pattern_toml(pattern(*FEW)))
    words = ["trial", "one.toml", "--boot", "305"]
    assert main([*words, "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert data.pop("folder") == "out/o-305-trial"
    assert data == built.record.values()
    folder = tmp_path / "out" / "o-305-trial"
    assert (folder / "manifest.json").read_bytes() == (built.folder / "manifest.json").read_bytes()
    assert {hole["diameter"] for hole in data["holes"]} == {3.6}
    assert {guide["bore"] for guide in data["guides"]} == {3.75}
    (folder / "manifest.json").write_text("{}")
    assert main(words) == 2  # no folder of jiggen's any more
    assert "--force" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words", [["--bed", "220x220"], ["--bed", "100x100x100"], ["--boot", "100"], ["--core", "wood"]]
)
def test_the_command_refuses(tmp_path: Path, monkeypatch, words: list[str], capsys):
    monkeypatch.chdir(tmp_path)
    assert main(["trial", "club-piste", "--boot", "305", *words]) == 2
    assert "error: " in capsys.readouterr().err
    assert list(tmp_path.iterdir()) == []

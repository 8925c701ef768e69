"""Ladders end to end: boot lengths verified from files, and every seeded fault.

13 lengths of one pattern, and three around the step of another; `-m exhaustive` builds all 81 of
both, as tests/bench/ladders.py does. The tests of faults share the first build.
"""

import json
import shutil

import faults
import numpy as np
import pytest
import trimesh
from shapely.geometry import Point
from sharing import build_parts, built_once

from jiggen.cli import main
from jiggen.design import Settings, SkiRange
from jiggen.job import Job
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pipeline.products import build_jig
from jiggen.report.summary import summary
from jiggen.verify import verify_folder
from jiggen.verify.reading.pdf import read_pages
from jiggen.verify.results import table, verdict

BOOTS = [float(boot) for boot in range(299, 312)]
ALL = [float(boot) for boot in range(265, 346)]
AROUND_THE_STEP = [float(boot) for boot in range(276, 279)]  # step-track's toe jumps at 278


def build(name, target, boots=BOOTS, by=build_parts):
    found = read_pattern(find_pattern(name))
    return by(Job(found, (boots[0], boots[-1]), Settings(SkiRange(84, 112))), target)


@pytest.fixture(scope="session")
def club(tmp_path_factory):
    return built_once(
        tmp_path_factory, "ladders", lambda target: build("club-piste", target, by=build_jig)
    )


@pytest.fixture
def folder(club, tmp_path):
    return shutil.copytree(club.folder, tmp_path / "jig")


def found(verification, code):
    assert not verification.passed
    faults_found = verification.of(f"verify.{code}")
    assert faults_found, [fault.code for fault in verification.faults]
    return faults_found


def check_every_boot(done, name, boots, looked_at):
    """Every length, on every half, in both files."""
    assert done.verification.passed, [str(fault) for fault in done.verification.faults]
    assert not done.folder.name.endswith("-failed")
    parts = [ladder["part"] for ladder in done.record.values()["ladders"]]
    assert [(b.part, b.boot) for b in done.verification.ladders] == [
        (p, b) for p in parts for b in boots
    ]
    assert max(boot.deviation for boot in done.verification.ladders) <= 0.02
    # By a second way: the lines as the verification found them, the holes as it found them, and a
    # layout of that boot made here.
    lines = {(boot.part, boot.boot): boot for boot in done.verification.ladders}
    for boot in looked_at:
        wanted = lay_out(read_pattern(find_pattern(name)), boot)
        places = dict(zip(wanted.ids, wanted.positions[:, 0], strict=True))
        for hole in done.verification.holes:
            line = lines[hole.part, boot]
            for seen, x in ((hole.step, line.step), (hole.stl, line.stl)):
                assert seen.x - x == pytest.approx(places[hole.id], abs=0.02)


def test_13_boot_lengths_of_the_club_piste(club):
    check_every_boot(club, "club-piste", BOOTS, (299.0, 303.0, 304.0, 311.0))
    assert "Ladder of body-toe: boots 299 to 311, 13 lengths" in verdict(club.verification)
    # The table is of one boot, and says of which.
    assert table(club.verification).startswith("Holes for boot 311 mm, the longest of 299-311; x")
    said = summary(club.record, club.verification, club.folder)
    assert "For:      Arvenal Club Piste, boot 311 mm, the longest of 299-311\n" in said
    assert len(club.verification.ladders) == 2 * 13


def test_boot_lengths_around_the_step_of_the_step_track(tmp_path):
    done = build("step-track", tmp_path / "step", AROUND_THE_STEP)
    check_every_boot(done, "step-track", AROUND_THE_STEP, AROUND_THE_STEP)
    toe = {boot.boot: boot.stl for boot in done.verification.ladders if boot.part == "body-toe"}
    # The pattern's own step: the toe's holes jump by 126.3 - 112.6 mm, and not elsewhere.
    assert abs(toe[278.0] - toe[277.0]) == pytest.approx(13.7, abs=0.01)
    assert abs(toe[277.0] - toe[276.0]) == pytest.approx(0.0, abs=0.01)


@pytest.mark.exhaustive
@pytest.mark.parametrize("name", ["club-piste", "step-track"])
def test_81_boot_lengths(name, tmp_path):
    done = build(name, tmp_path / "all", ALL)
    check_every_boot(done, name, ALL, (265.0, 277.0, 278.0, 303.0, 304.0, 345.0))


def section(club, part, z):
    """Where the STL is solid at height `z`, by another library: a function of x and y."""
    (entry,) = (p for p in club.record.values()["parts"] if p["name"] == part)
    mesh = trimesh.load_mesh(club.folder / entry["file"])
    mesh.apply_transform(np.array(entry["to_ski"]))
    flat, to_3d = mesh.section(plane_origin=(0, 0, z), plane_normal=(0, 0, 1)).to_2D()
    back = np.linalg.inv(to_3d)

    def solid(x, y):
        u, v, _, _ = back @ (x, y, z, 1.0)
        return sum(ring.contains(Point(u, v)) for ring in flat.polygons_closed) % 2 == 1

    return solid


@pytest.mark.parametrize("z", [0.65, 0.95, 2.0, 3.5])
def test_every_line_is_a_groove_down_to_the_ski_where_half_the_missing_boot_puts_it(club, z):
    """By hand: the line for a boot lies at (311 - boot) / 2; it ends at 0.6 mm, the relief."""
    solid = section(club, "body-toe", z)
    # The flare: 30.0 mm from the centre line up to 1.0 mm, then in by as much as it goes up.
    face = 30.0 - max(0.0, z - 1.0)
    for boot in BOOTS:
        x, side = (311.0 - boot) / 2, 1.0 if boot % 2 else -1.0
        assert not solid(x, side * (face - 0.3))
        assert solid(x - 0.35, side * (face - 0.02)) and solid(x + 0.35, side * (face - 0.02))
    slot = {line["first"]: line["x"] for line in row_of(club, "shift")["lines"]}
    foot = row_of(club, "shift")["foot"] + max(0.0, z - 1.0)
    for x in slot.values():
        assert not solid(x, foot + 0.3) and solid(x + 0.35, foot + 0.02)


def row_of(club, name, part="body-toe"):
    (ladder,) = (one for one in club.record.values()["ladders"] if one["part"] == part)
    (row,) = (one for one in ladder["rows"] if one["name"] == name)
    return row


def test_only_long_and_half_long_lines_are_on_the_top_and_leave_wide_lands(club):
    """What a 0.4 mm nozzle lays first: lands of several threads between lines 5 mm apart."""
    solid = section(club, "body-toe", 13.7)
    for boot in BOOTS:
        x, side = (311.0 - boot) / 2, 1.0 if boot % 2 else -1.0
        assert solid(x, side * 25.0) == (boot % 5 != 0)
        # A second witness 1.8 mm long, at lengths that end in 4 and 9: the wall is at 27.0 mm.
        assert solid(x, side * 25.5) == (boot % 5 not in (0, 4))
        assert solid(x + 0.35, side * 25.0) and solid(x + 0.35, side * 25.5)


def test_the_verification_measures_how_high_each_line_ends(club):
    ends = {boot.end for boot in club.verification.ladders}
    assert len(club.verification.ladders) == 2 * len(BOOTS)
    assert all(end == pytest.approx(0.6, abs=1e-4) for end in ends)
    assert "0.60 mm above the ski at most" in verdict(club.verification)


def test_what_a_build_of_a_range_says_and_holds(club):
    manifest = club.record.values()
    assert manifest["inputs"]["boots"] == [299.0, 311.0]
    assert manifest["joint"] is None
    assert {p["name"]: p["count"] for p in manifest["parts"]} == {
        "body-toe": 1, "body-heel": 1, "rail": 8, "pinion": 4, "knob": 4
    }  # fmt: skip
    accuracy = manifest["accuracy"]
    assert set(accuracy["jig"]["holes"]) == {hole["id"] for hole in manifest["holes"]}
    # A half's stations hold its holes between them: each hole by its own half's alone.
    assert set(accuracy["division"]["toe-1"]) == {"toe rear", "toe front"}
    assert set(accuracy["division"]["heel-1"]) == {"heel rear", "heel front"}
    assert accuracy["centring"]["loaded"] <= 0.25
    assert (club.folder / "sheet.pdf").stat().st_size > 10_000
    page = (club.folder / "report.html").read_text(encoding="utf-8")
    assert "Set each half by the boot" in page and "299–311 mm" in page


def test_check_and_sheet_take_such_a_folder(folder, capsys):
    assert main(["check", str(folder)]) == 0
    assert "Ladder of body-heel: boots 299 to 311, 13 lengths" in capsys.readouterr().out
    assert main(["sheet", str(folder), "--thickness", "23", "--width-at", "0:90"]) == 0
    assert (folder.parent / "jig-sheet.pdf").is_file()


def test_the_page_for_the_pair_in_hand(folder, capsys):
    words = ["sheet", str(folder), "--boot", "306", "--width-at", "0:95", "--thickness", "23"]
    assert main(words) == 0
    said = capsys.readouterr().out
    assert "toe front 47.5, heel rear 47.5" in said
    page = folder.parent / "jig-boot-306.pdf"
    assert len(read_pages(page.read_bytes())) == 1
    assert main([*words[:2], "--boot", "312"]) == 2
    assert "299 to 311 mm, not 312 mm" in capsys.readouterr().err
    assert main([*words[:4], "--width-at", "150:66"]) == 1
    assert "66.0 mm wide where the rails touch it" in capsys.readouterr().err


@pytest.fixture(scope="session")
def harmed(club, tmp_path_factory):
    """The verification of a folder with one fault on each of several rows: it takes seconds."""

    def harm(folder):
        shutil.copytree(club.folder, folder)
        faults.move_line(folder, "body-toe", "odd", 303.0, 0.05)
        faults.erase_line(folder, "body-toe", "even", 306.0)
        faults.erase_line(folder, "body-toe", "even", 308.0, upto=0.45)
        faults.erase_line(folder, "body-heel", "odd", 303.0, upto=1.5)
        faults.move_line(folder, "body-heel", "shift", 7.0, 0.05)
        faults.mirror_row(folder, "body-heel", "even")
        faults.move_line_in_step(folder, "body-heel", "odd", 307.0, -0.05)
        return verify_folder(folder)

    return built_once(tmp_path_factory, "ladders-harmed", harm)


def about(verification, code, subject):
    return [fault for fault in found(verification, code) if subject in fault.subject]


def test_a_line_moved_by_a_twentieth_is_named(harmed):
    (fault,) = about(harmed, "ladder-moved", "body-toe")
    assert fault.subject == "body-toe, boot 303" and fault.source == "STL"
    assert "0.050 mm too far to the tip" in fault.message
    assert fault.found == pytest.approx(0.05, abs=1e-3)


def test_a_line_moved_in_the_step_file_is_named(harmed):
    (fault,) = about(harmed, "ladder-moved", "boot 307")
    assert "body-heel" in fault.subject and fault.source == "STEP"
    assert "0.050 mm too far to the tail" in fault.message


def test_a_missing_line_is_named(harmed):
    (fault,) = found(harmed, "ladder-missing")
    assert fault.subject == "body-toe, boot 306" and fault.source == "STL"
    lost = [boot for boot in harmed.ladders if boot.deviation is None]
    assert [(boot.part, boot.boot) for boot in lost] == [
        ("body-toe", 306.0),
        ("body-heel", 303.0),
    ]


def test_a_line_that_ends_too_high_is_named(harmed):
    (low,) = about(harmed, "ladder-high", "body-toe")
    assert low.subject == "body-toe, boot 308" and low.source == "STL"
    assert (low.found, low.limit) == (pytest.approx(1.05, abs=1e-3), 1.0)
    (high,) = about(harmed, "ladder-high", "body-heel")
    assert high.subject == "body-heel, boot 303" and high.source == "STL"
    assert "ends more than 1.1 mm above the ski" in high.message


def test_a_mirrored_ladder_is_named(harmed):
    # Even lengths run from 300 to 310: mirrored, every line lies where another one lay.
    (fault,) = found(harmed, "ladder-mirrored")
    assert fault.subject == "body-heel, even ladder" and fault.source == "STL"
    assert any("stands 310" in str(f) and "line for 300" in str(f) for f in harmed.faults)


def test_a_line_of_the_shifts_moved_is_named(harmed):
    (fault,) = about(harmed, "ladder-moved", "shift")
    assert fault.subject == "body-heel, shift 7"


def test_what_was_not_harmed_is_not_blamed(harmed):
    ladders = {(f.code, f.subject) for f in harmed.faults if "ladder" in f.code}
    consequent = ("verify.ladder-number", "verify.ladder-witness")
    assert {subject for code, subject in ladders if code not in consequent} == {
        "body-toe, boot 303",
        "body-toe, boot 306",
        "body-toe, boot 308",
        "body-heel, boot 303",
        "body-heel, shift 7",
        "body-heel, even ladder",
        "body-heel, boot 307",
    }
    assert {subject for code, subject in ladders if code == "verify.ladder-number"} == {
        "body-heel, even ladder"
    }
    # Mirrored, the half-long line of 304 lies where that of 306 did.
    assert {subject for code, subject in ladders if code == "verify.ladder-witness"} == {
        "body-heel, boot 304",
        "body-heel, boot 306",
    }


def test_neither_a_hole_moved_nor_the_manifests_own_places_are_laid_to_the_ladder(folder):
    def shift_them(manifest):
        for ladder in manifest["ladders"]:
            for line in ladder["rows"][0]["lines"]:
                line["x"] += 0.05

    faults.edit_manifest(folder, shift_them)
    faults.move_hole(folder, "toe-1", 0.1)
    verification = verify_folder(folder)
    assert [fault.code for fault in verification.faults if "ladder" in fault.code] == []
    assert found(verification, "moved")


def test_a_boot_without_a_line_and_another_layout_are_faults(folder):
    def change(manifest):
        for ladder in manifest["ladders"]:
            row = ladder["rows"][0]
            row["lines"] = [line for line in row["lines"] if line["first"] != 303.0]
        (entry,) = (one for one in manifest["boots"] if one["boot"] == 300.0)
        entry["x"] = {hole: x + 0.1 for hole, x in entry["x"].items()}

    faults.edit_manifest(folder, change)
    verification = verify_folder(folder)
    assert all("boot 303" in str(fault) for fault in found(verification, "ladder-missing"))
    assert verification.of("verify.ladder-extra")
    moved = found(verification, "ladder-moved")
    assert all("boot 300" in str(fault) for fault in moved)
    assert {fault.source for fault in moved} == {"STEP", "STL"}


def test_a_manifest_whose_range_and_layouts_differ_is_refused(folder, capsys):
    faults.edit_manifest(folder, lambda manifest: manifest["boots"].pop())
    assert main(["check", str(folder), "--json"]) == 2
    said = json.loads(capsys.readouterr().out)
    assert "every boot length that was asked for" in said["errors"][0]["message"]

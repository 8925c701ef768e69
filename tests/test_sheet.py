"""The bench sheet: room for every word, and no sheet for a jig that is not verified."""

from __future__ import annotations

import copy
import hashlib
import json
import os
import re
import subprocess
import sys
from dataclasses import asdict
from pathlib import Path

import numpy as np
import pytest
from ladder_samples import ladder_manifest
from record_samples import JIG_MARK, drilled, sheet_pdf
from sheet_samples import STEMS, STRAINED, UNITS, bench, manifest, pages, tiles

from jiggen.cautions import CAUTIONS
from jiggen.cli import build as _registered  # noqa: F401 - makes it a command
from jiggen.cli import main
from jiggen.drilling import DrillingLimits, Screw, SkiState
from jiggen.errors import CheckFailed, InputError
from jiggen.verify import Fault
from jiggen.verify.reading.pdf import read_pages

LEAST_MARGIN = 9.9  # mm
NEAR = 0.01  # mm
COMPENSATION = {"printer": "club-hall", "matrix": [[1, 0], [0, 1]], "height": 1} | dict.fromkeys(
    ("hole", "pocket", "moving"), 0.0
)
EITHER = pytest.mark.parametrize("paper", UNITS)


# -- room for every word ------------------------------------------------------------------------


@EITHER
@pytest.mark.parametrize("name", [*STEMS, *STRAINED])
def test_no_words_run_over_the_margins_or_into_one_another(name, paper):
    for number, page in enumerate(pages(name, paper), start=1):
        boxes = [word.box for word in page.words if word.text.strip()]
        assert boxes
        low, high = np.min(boxes, axis=0)[:2], np.max(boxes, axis=0)[2:]
        assert (low >= LEAST_MARGIN - 0.6).all(), number  # a descender may hang into the margin
        assert (high <= np.subtract(page.size, LEAST_MARGIN)).all(), number
        for index, one in enumerate(page.words):
            for other in page.words[:index]:
                assert not meet(one.box, other.box), (number, one.text, other.text)


@EITHER
def test_a_jig_for_many_boots_keeps_to_its_margins_too(paper):
    data = sheet_pdf(ladder_manifest("step-track"), paper=paper, units=UNITS[paper])
    for page in read_pages(data):
        boxes = [word.box for word in page.words if word.text.strip()]
        assert (np.max(boxes, axis=0)[2:] <= np.subtract(page.size, LEAST_MARGIN)).all()


def meet(one, other, slack: float = 0.1) -> bool:
    return all(one[i] + slack < other[i + 2] and other[i] + slack < one[i + 2] for i in (0, 1))


@EITHER
@pytest.mark.parametrize("name", [*STEMS, *STRAINED])
def test_nothing_drawn_lies_in_the_margins(name, paper):
    for page in pages(name, paper):
        ends = [end for stroke in page.strokes for end in (stroke.start, stroke.end)]
        ends += [np.add(r.centre, sign * r.radius) for r in page.rings for sign in (-1, 1)]
        assert (np.min(ends, axis=0) >= LEAST_MARGIN).all()
        assert (np.max(ends, axis=0) <= np.subtract(page.size, LEAST_MARGIN)).all()


@EITHER
@pytest.mark.parametrize("name", STEMS)
def test_no_words_are_too_small_to_read(name, paper):
    for page in pages(name, paper):
        assert min(word.size for word in page.words) >= 6.5


@pytest.mark.parametrize("name", [*STEMS, *STRAINED])
def test_black_and_grey_only_and_the_fonts_are_in_the_file(name):
    colours = {"k", "K", "sc", "SC", "scn", "SCN", "cs", "CS", "Do"}
    for page in pages(name, "A4"):
        assert not page.operators & colours
        assert all(red == green == blue for red, green, blue in page.colours)
        assert page.fonts_inside


def test_characters_that_the_font_lacks_are_marked_not_dropped():
    changed = copy.deepcopy(manifest("club-piste"))
    changed["inputs"]["pattern"] = "Arvenal 山 plate"
    assert "Arvenal � plate" in read_pages(sheet_pdf(changed))[0].text


# -- what it says -------------------------------------------------------------------------------


@pytest.mark.parametrize("name", [*STEMS, "crowd"])
def test_every_page_has_every_caution(name):
    for page in pages(name, "A4"):
        for caution in CAUTIONS:
            assert caution in page.text
        assert page.text.count(f"jig mark {JIG_MARK}") == 1


def test_the_head_names_the_job_and_leaves_room_to_write():
    read = read_pages(sheet_pdf(manifest("skew-plate"), ticket="Order 118, M. Example"))
    text = read[0].text
    for said in (
        "Arvenal Skew Plate",
        "305 mm",
        "7.5 mm to the tail",
        "metal sheet under the top",
        "RIGHT ski only",
        "84–112 mm",
        "Order 118, M. Example",
        "Date",
        f"Jig mark, engraved {JIG_MARK}",
    ):
        assert said in text


def test_stop_settings_worked_by_hand_stand_in_figures_for_arms_length():
    # club-piste, core metal: drill 4.1, depths 9.2 and 7.4; bush 12 long on a seat at 2.0,
    # so its top is 14.0 above the ski. A = 14.0 + 9.2 = 23.2 and 14.0 + 7.4 = 21.4.
    # Point of a 118 degree drill: 2.05 / tan 59 = 2.05 / 1.6643 = 1.23, so B = 24.4 and 22.6.
    large = [w.text for w in pages("club-piste", "A4")[0].words if w.size >= 24]
    assert large == ["4.1", "9.2", "23.2", "24.4", "4.1", "7.4", "21.4", "22.6"]


def test_inches_stand_beside_millimetres():
    large = [w.text for w in pages("club-piste", "letter")[0].words if w.size >= 24]
    # 24.4317 mm / 25.4 = 0.9619 in
    assert large[6:8] == ["24.4", "0.962"]
    text = bench("club-piste", "letter")
    assert "305 mm (12.008 in)" in text  # 305 / 25.4 = 12.0079
    assert "(3.937 in)" in tiles("club-piste", "letter")[0].text
    assert " in)" not in bench("club-piste", "A4")


@pytest.mark.parametrize("name", STEMS)
def test_the_drawing_has_the_distance_of_every_hole_from_mark_and_centre_line(name):
    said = [word.text for word in pages(name, "A4")[0].words if word.size == 7.5]
    for one in manifest(name)["holes"]:
        for distance in (one["x"], one["y"]):
            assert f"{abs(distance):.2f}".rstrip("0").rstrip(".") in said


@pytest.mark.parametrize("name", [*STEMS, *STRAINED])
def test_the_list_of_holes_has_every_hole_and_a_box_to_tick_for_each_ski(name):
    read = [page for page in pages(name, "A4") if page.size[0] < page.size[1]]
    text = " ".join(page.text for page in read).replace(" ", "")
    start = text.index("Holes:tickeach")
    for one in manifest(name)["holes"]:
        assert one["id"].replace(" ", "") in text[start:]
    boxes = sum(
        1 for page in read for s in page.strokes if abs(s.length - 3.6) < NEAR and s.width > 0.2
    )
    skis = 2 if manifest(name)["inputs"]["pair"] == "same" else 1
    assert boxes % 4 == 0
    assert boxes / 4 >= skis * len(manifest(name)["holes"]) + 14


def test_hardware_tools_and_parts_are_listed():
    text = bench("club-piste")
    for said in (
        "9 × drill bush",
        "2 × lock screw, socket head, M5 x 25",
        "4 × rail (print bed 2)",
    ):
        assert said in text
    # ISO 4762: an M4 takes a 3 mm key, an M5 a 4 mm key
    assert "hexagon key 3 mm" in text
    assert "hexagon key 4 mm" in text
    assert "twist drill 4.1 mm" in text


@EITHER
@pytest.mark.parametrize("name", STEMS)
def test_the_sheet_is_a_shops_record_of_the_pair_and_its_tools_are_complete(name, paper):
    text = bench(name, paper)
    for asked in (
        "Ski: make, model, number",
        "Owner",
        "Binding: make, model",
        "Boot: make, model",
        "Sole length on the shell, mm",
        "Brake width, mm",
        "Tail to mark, left / right, mm",
        "Release set, toe: left / right",
        "Tested with, by",
        "Second check, by",
    ):
        assert asked in text
    for tool in ("tap,", "glue for the holes", "screwdriver", "drill machine", "countersink"):
        assert tool in text
    assert "both skis' marks with one another" in text


@pytest.mark.parametrize("name", STEMS)
def test_a_picture_has_the_jigs_own_holes_and_every_part_has_its_name(name):
    one = manifest(name)
    [page] = [page for page in pages(name, "A4") if "The parts, by their names" in page.text]
    start = page.text.index("The parts, by their names")
    for said in ("rail", "knob", "drill bush", "lock screw", "sight window"):
        assert said in page.text[start:]
    for part in one["parts"]:
        assert part["name"] in bench(name)[bench(name).index("The parts, by their names") :]
    # What is round there has corners: of each hole the drill's, in the bush's.
    square = [a for a in page.areas if abs((a[2] - a[0]) - (a[3] - a[1])) < NEAR]
    drills = [hole["diameter"] for hole in one["holes"]]
    scale = min(a[2] - a[0] for a in square) / min(drills)
    shown = [a for a in square if (a[2] - a[0]) < 1.05 * scale * max(drills)]
    at = np.array([((a[0] + a[2]) / 2, (a[1] + a[3]) / 2) for a in shown])
    places = np.array([(hole["x"], hole["y"]) for hole in one["holes"]])
    assert len(at) == len(places)
    at, places = at - at.mean(axis=0), scale * (places - places.mean(axis=0))
    assert max(np.abs(at - place).max(axis=1).min() for place in places) < 0.02


def test_assembly_is_pictured_with_the_numbers_of_its_steps():
    [page] = [page for page in pages("club-piste", "A4") if "Assembly, once" in page.text]
    text = page.text[page.text.index("Assembly, once") :]
    for said in ("pinion", "M5 nut", "lock screw M5 x 25", "drill bush", "knob", "body"):
        assert said in text[: text.index("1. Before any bush")]
    numbers = {word.text for word in page.words if re.fullmatch(r"\d", word.text)}
    assert {"2", "3", "4", "5"} <= numbers  # bushes, rails, pinion, knob


@pytest.mark.parametrize("name", STEMS)
def test_no_page_but_the_last_is_half_empty(name):
    filled = []
    for page in pages(name, "A4"):
        if page.size[0] < page.size[1]:
            [foot] = {word.box[3] for word in page.words if word.text.startswith("The jig places")}
            low = min(word.box[1] for word in page.words if word.box[1] > foot)
            top = page.size[1] - LEAST_MARGIN
            filled.append((top - low) / (top - foot))
    assert len(filled) == 4
    assert min(filled[:-1]) > 0.65 and np.mean(filled) > 0.75


def test_steps_go_from_sheet_and_print_to_the_function_test():
    text, assembly = bench("club-piste").split("Assembly, once")
    assert "the line across one rail" in assembly and "4.7 mm away" in assembly
    text = text.partition("Steps, for each ski 1.")[2].partition(" Left and right readings")[0]
    steps = [m.group() for m in re.finditer(r"\b\d+\. [A-Z][^.:]*", f"1.{text}")]
    assert [int(step.split(".")[0]) for step in steps] == list(range(1, len(steps) + 1))
    assert "Check this sheet" in steps[0]
    assert "function test by a trained technician" in steps[-1]


# -- the drilling check in the manifest ---------------------------------------------------------


def with_drilling(ski: SkiState, screws=None, limits=DrillingLimits()):  # noqa: B008
    one = manifest("club-piste")
    return {**one, "drilling": drilled(one, one["holes"], ski, limits, screws)}


def test_base_left_and_screws_and_warnings_are_said():
    screws = {h["id"]: Screw(9.0, (14.0, 16.0)) for h in manifest("club-piste")["holes"]}
    ski = SkiState(thickness=(15.0,), widths=((0.0, 50.0),))
    text = read_pages(sheet_pdf(with_drilling(ski, screws)))
    text = " ".join(page.text for page in text)
    # 15 - 9.2 - 1.23 = 4.57
    assert "Remaining base thickness under the point: 4.57 mm" in text
    assert "8 × screw 16 mm" in text
    # toe-5 is 7.4 deep, and 0.5 of that stays free: 16 - 9 = 7 > 6.9, and 14 - 9 = 5 < 6.
    assert "toe-5: a screw of 14 mm holds 5.00 mm in the ski; 6 mm are wanted" in text


def test_no_screw_that_failed_its_check_is_listed():
    screws = {h["id"]: Screw(6.0, (30.0, 40.0)) for h in manifest("club-piste")["holes"]}
    screws["toe-5"] = Screw(6.0, (12.0,))
    read = read_pages(sheet_pdf(with_drilling(SkiState(), screws)))
    text = " ".join(page.text for page in read)
    assert "a screw of 30 mm goes 24.00 mm into the ski" in text
    assert "1 × screw 12 mm" in text and "screw 30 mm" not in text
    wanted = "heel-1, heel-2, heel-3, heel-4: no screw at hand fits. Screws of 12.00 to 14.70 mm"
    assert wanted in text


def test_the_point_angle_of_the_check_is_the_sheets():
    one = with_drilling(SkiState(), limits=DrillingLimits(point_angle=135.0))
    page = read_pages(sheet_pdf(one))[0]
    assert "(135° drill)" in page.text
    # 2.05 / tan 67.5 = 2.05 / 2.4142 = 0.85; 23.2 + 0.85 = 24.05
    large = [word.text for word in page.words if word.size >= 24]
    assert large[2:4] == ["23.2", "24"]


def test_too_thin_a_ski_has_no_sheet():
    with pytest.raises(CheckFailed) as error:
        sheet_pdf(with_drilling(SkiState(thickness=(11.0,))))
    assert {finding.code for finding in error.value.findings} == {"record.ski"}
    assert "mm of ski would be left" in str(error.value)


def test_stop_settings_that_do_not_belong_to_the_holes_are_refused():
    one = with_drilling(SkiState())
    one["drilling"]["stops"][0]["depth"] += 1.0
    with pytest.raises(InputError, match="depth stops and holes do not agree about toe-1"):
        sheet_pdf(one)


# -- refusals -----------------------------------------------------------------------------------


def _failed(one):
    one["verification"]["passed"] = False


def _unverified(one):
    one["verification"] = None


def _moved(one):
    one["holes"][3]["x"] += 0.5


def _added(one):
    one["holes"].append({**one["holes"][0], "id": "toe-9"})
    one["guides"].append({**one["guides"][0], "id": "toe-9"})
    one["drilling"] = drilled(one, one["holes"])


def _dropped(one):
    del one["holes"][0], one["guides"][0]
    one["drilling"] = drilled(one, one["holes"])


def _not_found(one):
    one["verification"]["holes"][2]["deviation"] = None


def _faulty(one):
    fault = Fault("verify.moved", "STEP", "toe-1", "0.5 mm off")
    one["verification"]["faults"] = [asdict(fault)]


@pytest.mark.parametrize(
    "harm, code",
    [
        (_failed, "record.failed"),
        (_unverified, "record.unverified"),
        (_moved, "record.changed"),
        (_added, "record.changed"),
        (_dropped, "record.changed"),
        (_not_found, "record.changed"),
        (_faulty, "record.changed"),
    ],
)
def test_no_sheet_for_a_jig_that_is_not_verified(harm, code):
    one = copy.deepcopy(manifest("club-piste"))
    harm(one)
    with pytest.raises(CheckFailed) as error:
        sheet_pdf(one)
    assert [finding.code for finding in error.value.findings] == [code]
    assert error.value.exit_code == 1


def test_a_damaged_manifest_is_refused_with_every_fault():
    one = copy.deepcopy(manifest("club-piste"))
    one["holes"][0]["depth"] = "deep"
    one["inputs"]["core"] = "wood"
    with pytest.raises(InputError) as error:
        sheet_pdf(one)
    assert {finding.key for finding in error.value.findings} == {"holes[0].depth", "inputs.core"}


def test_a_ticket_that_is_a_book_is_refused():
    with pytest.raises(InputError, match="At most 300"):
        sheet_pdf(manifest("club-piste"), ticket="x" * 301)


# -- same bytes ---------------------------------------------------------------------------------


def test_same_manifest_same_bytes_in_another_process_too(tmp_path):
    one = manifest("step-track")
    first = sheet_pdf(one, ticket="Order 5")
    assert sheet_pdf(copy.deepcopy(one), ticket="Order 5") == first
    path = tmp_path / "manifest.json"
    path.write_text(json.dumps(one))
    program = (
        "import hashlib, pathlib, sys; from jiggen.record import read_jig; "
        "from jiggen.report.sheet import sheet_pdf; "
        "one = read_jig(pathlib.Path(sys.argv[1]).parent); "
        "print(hashlib.sha256(sheet_pdf(one, ticket='Order 5')).hexdigest())"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, path],
        env={**os.environ, "PYTHONHASHSEED": "7", "TZ": "Asia/Tokyo"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert done.stdout.strip() == hashlib.sha256(first).hexdigest()


# -- units --------------------------------------------------------------------------------------


@EITHER
@pytest.mark.parametrize("name", STEMS)
def test_every_large_number_has_its_unit_beside_it(name, paper):
    page = pages(name, paper)[0]
    large = [word for word in page.words if word.size >= 24]
    assert large
    for word in large:
        near = [o for o in page.words if abs(o.box[0] - word.box[2] - 1.0) < 0.01]
        units = {o.text for o in near if word.box[1] < o.box[1] < word.box[3]}
        assert units in ({"mm"}, {"in"})


# -- the command --------------------------------------------------------------------------------


@pytest.fixture
def folder(tmp_path, as_if_verified) -> Path:
    made = tmp_path / "jig"
    made.mkdir()
    (made / "manifest.json").write_text(json.dumps(manifest("club-piste")))
    return made


def test_the_command_writes_beside_the_folder(folder, capsys):
    assert main(["sheet", str(folder), "--paper", "letter", "--ticket", "Order 5"]) == 0
    written = folder.parent / "jig-sheet.pdf"
    wanted = sheet_pdf(manifest("club-piste"), paper="letter", ticket="Order 5")
    assert written.read_bytes() == wanted
    assert str(written) in capsys.readouterr().out
    assert [path.name for path in folder.iterdir()] == ["manifest.json"]


def test_the_command_says_in_json_what_it_wrote(folder, capsys):
    target = folder.parent / "my.pdf"
    assert main(["sheet", str(folder), "-o", str(target), "--units", "in", "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    assert said == {"file": str(target), "paper": "A4", "units": "in", "ticket": ""}
    assert target.read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize(
    "verification", [None, {"passed": False, "checks": 9, "limits": {}, "holes": []}]
)
def test_the_command_refuses_a_jig_that_failed_and_writes_nothing(folder, capsys, verification):
    failed = {**manifest("club-piste"), "verification": verification}
    (folder / "manifest.json").write_text(json.dumps(failed))
    assert main(["sheet", str(folder)]) == 1
    assert "there is no sheet to drill by" in capsys.readouterr().err
    assert [path.name for path in folder.parent.iterdir()] == ["jig"]


def test_the_command_keeps_out_of_the_jigs_folder(folder, capsys):
    assert main(["sheet", str(folder), "-o", str(folder / "sheet.pdf")]) == 2
    assert "jiggen check knows every file" in capsys.readouterr().err
    assert main(["sheet", str(folder), "-o", str(folder.parent / "sheet.txt")]) == 2
    assert main(["sheet", str(folder.parent / "nothing")]) == 2


def test_the_short_form_is_one_page(folder, capsys):
    assert main(["sheet", str(folder), "--short", "--ticket", "Order 5"]) == 0
    [page] = read_pages((folder.parent / "jig-boot-305.pdf").read_bytes())
    for said in ("Order 5", "tick each", "In short, for each ski 1.", "Owner"):
        assert said in page.text
    assert all(caution in page.text for caution in CAUTIONS)
    (folder / "manifest.json").write_text(json.dumps(ladder_manifest("club-piste")))
    capsys.readouterr()
    assert main(["sheet", str(folder), "--short"]) == 2
    assert "for boots from 265 to 345 mm" in capsys.readouterr().err
    assert main(["sheet", str(folder), "--short", "--boot", "306"]) == 0

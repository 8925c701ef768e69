"""How a jig for many boots is set: in the sheet, on the page and in the summary's words."""

import copy
import re
from dataclasses import replace

import numpy as np
import pytest
from ladder_samples import ladder_manifest
from page_samples import Seen
from record_samples import record, redrilled, report_html, sheet_pdf

from jiggen.draw.shapes import Text
from jiggen.drilling import Area, DrillingLimits, SkiState
from jiggen.errors import CheckFailed, InputError
from jiggen.files import MANIFEST, SHEET
from jiggen.record import json_text
from jiggen.report.sheet import setting, strip
from jiggen.verify.papers import verify_papers
from jiggen.verify.reading.pdf import read_pages

LINE = "left, 1st line from 305 to 295"  # of boot 303: odd, and 2 mm short of a number


def settings_of(name):
    return {one.boot: one for one in record(ladder_manifest(name)).boot_settings}


def words_of(manifest, **choices):
    return " ".join(
        " ".join(page.text for page in read_pages(sheet_pdf(manifest, **choices))).split()
    )


@pytest.mark.parametrize(
    ("boot", "reading"),
    [
        (305.0, "left, line 305"),
        (300.0, "right, line 300"),
        (303.0, "left, 1st line from 305 to 295"),
        (301.0, "left, 2nd line from 305 to 295"),
        (299.0, "left, 2nd line from 295 to 305"),
        (266.0, "right, 2nd line from 270 towards shorter boots"),
        (344.0, "right, 2nd line from 340 towards longer boots"),
    ],
)
def test_a_reading_is_at_most_two_lines_from_a_number(boot, reading):
    setting = settings_of("club-piste")[boot]
    assert str(setting.readings["toe"]) == str(setting.readings["heel"]) == reading


def test_readings_of_a_stepped_pattern_name_its_bands_and_cross_no_step():
    by_boot = settings_of("step-track")
    assert str(by_boot[277.0].readings["toe"]) == "right, line 265-277"
    assert str(by_boot[278.0].readings["toe"]) == "right, line 278-305"
    # The heel's lines jump between 303 and 304: count on the step's own side.
    assert str(by_boot[304.0].readings["heel"]) == "right, 3rd line from 310 to 300"
    assert str(by_boot[303.0].readings["heel"]) == "left, 4th line from 295 to 305"


@pytest.mark.parametrize("name", ["club-piste", "step-track", "mixed"])
def test_no_line_can_be_taken_for_a_sum(name):
    for one in settings_of(name).values():
        for reading in one.readings.values():
            said = f"{reading} {reading.other}"
            assert not re.search(r"[+−]|\d\s*-\s+\d", said)
            assert re.search(r"line \d|\d(st|nd|rd|th) line from \d+ (to|towards)", said)


@pytest.mark.parametrize(
    ("boot", "other"),
    [
        (306.0, "left edge, midway between line 305 and the 1st line to 315"),
        (308.0, "left edge, midway between the 1st and the 2nd line from 305 to 315"),
        (303.0, "right edge, midway between the 1st and the 2nd line from 300 to 310"),
        (305.0, "right edge, midway between the 2nd and the 3rd line from 300 to 310"),
        (345.0, "right edge, just past the 2nd line from 340 towards longer boots"),
    ],
)
def test_the_other_edge_is_a_second_witness(boot, other):
    """By hand: odd lengths at the left edge, even ones at the right, 1 mm apart on each."""
    assert {one.other for one in settings_of("club-piste")[boot].readings.values()} == {other}


@pytest.mark.parametrize(
    ("boot", "look"),
    [
        (300.0, "a long line"),
        (302.0, "a short line between a long and a half-long one"),
        (304.0, "a half-long line"),
        (306.0, "a short line between a half-long and a short one"),
        (308.0, "a short line between a short and a long one"),
        (266.0, "the last line, short, beside a short one"),
    ],
)
def test_each_line_looks_unlike_its_neighbours(boot, look):
    assert {one.look for one in settings_of("club-piste")[boot].readings.values()} == {look}
    said = words_of(ladder_manifest("club-piste"), boot=boot)
    assert said.count(f"It is {look}.") == 2


def test_the_other_edge_of_a_stepped_ladder_is_told_as_it_is():
    by_boot = settings_of("step-track")
    assert by_boot[277.0].readings["toe"].other == "left edge, the line opposite"
    # The heel jumps by 5.2 + 0.5 mm between 303 and 304: no longer midway.
    assert by_boot[303.0].readings["heel"].other == (
        "right edge, between the 1st and the 2nd line from 300 to 310"
    )


def checked(folder, manifest):
    """What the verification says of a sheet of `manifest`."""
    (folder / MANIFEST).write_text(json_text(record(manifest)), encoding="utf-8")
    (folder / SHEET).write_bytes(sheet_pdf(manifest))
    return verify_papers(folder)


@pytest.mark.parametrize("name", ["club-piste", "step-track"])
def test_every_boot_has_a_picture_of_its_line_on_each_half(name, tmp_path):
    assert checked(tmp_path, ladder_manifest(name)) == ()


def drawn_two_off(rows, boot, *room):
    """Another boot's picture under this boot's number."""
    other = boot + 2 if boot < 344 else boot - 2
    picture = strip.strip(rows, other, *room)
    shapes = picture.shapes
    picture.shapes = [
        replace(one, words=f"{boot:g}") if isinstance(one, Text) and one.bold else one
        for one in shapes
    ]
    return picture


def without_numbers(rows, boot, *room):
    picture = strip.strip(rows, boot, *room)
    picture.shapes = [one for one in picture.shapes if not isinstance(one, Text) or one.bold]
    return picture


@pytest.mark.parametrize("wrong", [drawn_two_off, without_numbers])
def test_a_wrong_picture_is_found(wrong, tmp_path, monkeypatch):
    monkeypatch.setattr(setting, "strip", wrong)
    found = checked(tmp_path, ladder_manifest("club-piste"))
    assert {fault.code for fault in found} == {"verify.sheet-strip"}
    assert {fault.subject for fault in found} == {f"boot {boot}" for boot in range(265, 346)}


def test_the_first_hole_is_where_the_layout_of_that_boot_has_it():
    by_boot = settings_of("club-piste")
    # By hand from the pattern: 305/2 - 11.4 + 14.2, and -305/2 + 6.8 + 27.9.
    assert by_boot[305.0].first_holes["toe"] == pytest.approx(155.3)
    assert by_boot[305.0].first_holes["heel"] == pytest.approx(-117.8)


def test_the_sheet_tells_how_to_set_each_half_and_has_every_boot():
    said = words_of(ladder_manifest("club-piste"))
    assert "265 to 345 mm" in said
    assert "Lay the line of your boot length on the ski's mark" in said
    assert "the line of each of 81 boot lengths on the mark" in said
    assert "For a mount shift, lay the 0 in a half's slot on the ski's mark" in said
    assert f"303 {LINE} {LINE} 154.3 116.8" in said
    for boot in range(265, 346):
        assert f" {boot} " in said
    assert "Drawn for a boot of 345 mm" in said
    assert "Places along the ski are those for a boot of 345 mm" in said


def test_the_sheet_of_a_stepped_pattern_says_which_boots_share_a_place():
    said = words_of(ladder_manifest("step-track"), units="in")
    assert "boots of one band share one place" in said
    assert "265-277, 278-305, 306-333, 334-345" in said


def test_the_sheet_says_which_piece_needs_no_setting():
    assert "The piece for middle has one line: it serves every boot" in words_of(
        ladder_manifest("mixed")
    )


def test_a_sheet_for_a_ladder_without_a_boots_line_is_refused():
    manifest = copy.deepcopy(ladder_manifest("club-piste"))
    row = manifest["ladders"][0]["rows"][0]
    row["lines"] = [line for line in row["lines"] if line["first"] != 303.0]
    with pytest.raises(InputError, match="boot of 303 mm"):
        sheet_pdf(manifest)


def test_the_page_has_the_table_too(tmp_path):
    text = Seen(report_html(tmp_path, ladder_manifest("club-piste"))).text
    assert "Boot sole 265–345 mm" in text
    assert "Set each half by the boot" in text
    assert f"303 {LINE} {LINE} 154.30 116.80 0.000" in text
    assert "All for a boot of 345 mm" in text


def test_halves_are_shown_apart_but_lie_as_in_use():
    manifest = ladder_manifest("club-piste")
    moved = manifest["shown"]
    assert set(moved) == {
        "body-toe",
        *(f"{kind} toe {end}" for kind in ("pinion", "knob") for end in ("rear", "front")),
        *(f"rail toe {end} {side}" for end in ("rear", "front") for side in ("left", "right")),
    }
    assert len(set(moved.values())) == 1
    for part in manifest["parts"]:
        assert np.array(part["to_ski"]).shape == (4, 4)


def test_drilling_is_checked_again_for_every_boot():
    manifest = ladder_manifest("club-piste")
    state = SkiState(area=Area(-300.0, 300.0, 40.0))
    assert redrilled(manifest, state, DrillingLimits())["drilling"]["errors"] == []
    # By hand: toe-5 of the shortest boot lies at 265/2 - 11.4 - 43.1 = 78.0.
    state = SkiState(area=Area(-300.0, 300.0, 19.0))
    with pytest.raises(CheckFailed):
        redrilled(manifest, state, DrillingLimits())
    near = SkiState(widths=((78.0, 90.0), (300.0, 90.0)), area=None)
    assert redrilled(manifest, near, DrillingLimits())["drilling"]["warnings"] == []

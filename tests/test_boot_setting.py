"""How a jig for many boots is set: in the sheet, on the page and in the summary's words."""

import copy

import numpy as np
import pytest
from ladder_samples import ladder_manifest
from page_samples import Seen
from record_samples import record, redrilled, report_html, sheet_pdf

from jiggen.drilling import Area, DrillingLimits, SkiState
from jiggen.errors import CheckFailed, InputError
from jiggen.verify.reading.pdf import read_pages


def settings_of(name):
    return {one.boot: one for one in record(ladder_manifest(name)).boot_settings}


def words_of(manifest, **choices):
    return " ".join(
        " ".join(page.text for page in read_pages(sheet_pdf(manifest, **choices))).split()
    )


@pytest.mark.parametrize(
    ("boot", "reading"),
    [
        (305.0, "left 305"),
        (300.0, "right 300"),
        (303.0, "left 305 − 1"),
        (301.0, "left 305 − 2"),
        (299.0, "left 295 + 2"),
        (266.0, "right 270 − 2"),
        (344.0, "right 340 + 2"),
    ],
)
def test_a_reading_is_at_most_two_lines_from_a_number(boot, reading):
    setting = settings_of("club-piste")[boot]
    assert str(setting.readings["toe"]) == str(setting.readings["heel"]) == reading


def test_readings_of_a_stepped_pattern_name_its_bands_and_cross_no_step():
    by_boot = settings_of("step-track")
    assert str(by_boot[277.0].readings["toe"]) == "right 265-277"
    assert str(by_boot[278.0].readings["toe"]) == "right 278-305"
    # The heel's lines jump between 303 and 304: count on the step's own side.
    assert str(by_boot[304.0].readings["heel"]) == "right 310 − 3"
    assert str(by_boot[303.0].readings["heel"]) == "left 295 + 4"


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
    assert "303 left 305 − 1 left 305 − 1 154.3 116.8" in said
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
    assert "303 left 305 − 1 left 305 − 1 154.30 116.80 0.000" in text
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

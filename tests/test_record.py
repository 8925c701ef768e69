"""The record: its JSON Schema, and the one depth stop that all outputs print."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path

import jsonschema
import pytest
from ladder_samples import ladder_manifest
from page_samples import Seen, make_folder
from record_samples import record, report_html, sheet_pdf
from sheet_samples import shipped

from jiggen.cli import build as _registered  # noqa: F401 - makes it a command
from jiggen.cli import main
from jiggen.errors import InputError, key_path
from jiggen.record import json_schema, json_text, read_jig, read_record
from jiggen.report.summary import summary
from jiggen.verify import Verification
from jiggen.verify.reading.pdf import read_pages

STORED = Path(__file__).parent.parent / ".docs" / "record.schema.json"


@cache
def schema() -> jsonschema.Draft202012Validator:
    found = json.loads(json_schema())
    jsonschema.Draft202012Validator.check_schema(found)
    return jsonschema.Draft202012Validator(found)


# -- the schema ---------------------------------------------------------------------------------


def test_the_stored_schema_is_the_one_of_the_program(capsys):
    # jiggen schema > .docs/record.schema.json
    assert STORED.read_text(encoding="utf-8") == json_schema()
    assert main(["schema"]) == 0
    assert capsys.readouterr().out == json_schema()


@pytest.mark.parametrize("name", ["club-piste", "skew-plate", "old-inch"])
def test_records_of_jigs_are_valid(name):
    schema().validate(shipped(name))


@pytest.mark.parametrize("name", ["club-piste", "step-track", "mixed"])
def test_records_of_jigs_with_ladders_are_valid(name):
    schema().validate(ladder_manifest(name))


def test_a_built_folder_is_valid_and_says_nothing_that_the_record_does_not(built):
    text = (built.folder / "manifest.json").read_text(encoding="utf-8")
    schema().validate(json.loads(text))
    assert json_text(read_record(built.folder)) == text
    assert json_text(read_jig(built.folder)) == json_text(built.record)


@pytest.mark.parametrize(
    ("change", "path"),
    [
        (lambda data: data["holes"][0].update(depth="deep"), ["holes", 0, "depth"]),
        (lambda data: data["inputs"].update(core="wood"), ["inputs", "core"]),
        (lambda data: data["parts"][0].pop("kind"), ["parts", 0]),
    ],
)
def test_what_is_not_a_record_is_not_valid(change, path):
    data = shipped("club-piste")
    change(data)
    [branch] = schema().iter_errors(data)
    wrong = [list(error.absolute_path) for error in branch.context or [branch]]
    assert path in wrong
    with pytest.raises(InputError):
        record(data)


# -- the depth stop -----------------------------------------------------------------------------


def test_all_outputs_have_the_same_depth_stop(tmp_path):
    manifest = make_folder(tmp_path / "jig")
    made = record(manifest)
    stop = next(one for one in made.drilling.stops if "toe-1" in one.holes)
    # By hand: guide 14.0 over the ski + 9.2 deep, and a 118° point of 3.6: 1.8 / tan 59° = 1.0815.
    assert stop.from_corners == pytest.approx(23.2)
    assert stop.from_tip == pytest.approx(24.2815, abs=1e-4)
    shown = [f"{stop.from_corners:.1f}", f"{stop.from_tip:.1f}"]
    assert f"9.2 {' '.join(shown)}" in Seen(report_html(tmp_path / "jig", manifest)).text
    large = [word.text for word in read_pages(sheet_pdf(manifest))[0].words if word.size >= 24]
    assert large[2:4] == shown
    text = summary(made, Verification(True, 1, {}, ()), tmp_path)
    assert f"depth stop {shown[1]} mm from the drill's tip ({shown[0]} from its corners)" in text


def test_a_record_has_a_jig_mark_or_is_of_an_older_jiggen():
    data = shipped("club-piste")
    assert record(data).jig_mark == data["jig_mark"] == "K7F3H"
    old = {key: value for key, value in data.items() if key != "jig_mark"}
    assert record(old).jig_mark == ""
    for wrong in ("K7F30", "k7f3h", "K7F3", "K7F3H\n"):
        with pytest.raises(InputError):
            record(data | {"jig_mark": wrong})


def test_a_build_says_first_what_to_print_to_buy_and_to_open_and_for_which_ski(tmp_path):
    for side, other in (("left", "RIGHT"), ("right", "LEFT")):
        data = shipped("skew-plate")
        data["inputs"]["side"] = side
        whose = f"boot 305 mm, {side.upper()} ski only"
        good = Verification(True, 1, {}, (), whose=whose)
        text = summary(record(data), good, tmp_path)
        starts = (
            "Jig mark: ",
            "To print: ",
            "To buy:   ",
            "To open:  ",
            "For:      ",
            "Files verified: ",
            "Stop: ",
        )
        places = [f"\n{text}".index(f"\n{start}") for start in starts]
        assert places == sorted(places) and places[0] == 0
        assert text.startswith(f"Jig mark: {data['jig_mark']}, engraved on body-toe, body-heel\n")
        assert f"report.html to look at it, sheet.pdf to work from, in {tmp_path}\n" in text
        assert f"For:      Arvenal Skew Plate, {whose}\n" in text
        assert f"The {other} ski takes another jig: build that one too." in text
    alike = summary(record(shipped("club-piste")), good, tmp_path)
    assert "takes another" not in alike
    assert "wanted x, y" not in text


@pytest.mark.parametrize("key", ["from_tip", "from_corners", "point", "bush_top"])
def test_a_depth_stop_that_is_not_that_of_its_hole_is_refused(key):
    data = shipped("club-piste")
    data["drilling"]["stops"][0][key] += 0.01
    with pytest.raises(InputError, match="depth stop"):
        record(data)


def test_a_key_without_end_is_cut_in_its_finding():
    path = key_path(("versions", "n" * 5000, 3, "id"))
    assert path == f"versions.{'n' * 60}[3].id"

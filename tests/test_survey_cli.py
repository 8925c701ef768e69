"""``jiggen survey``: the report, the pattern, the drawing, and when nothing is written."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from survey_plates import EIGHT, EIGHT_SAID, TWINS, TWINS_SAID, every_pair, noisy
from survey_plates import changed as with_file

from jiggen.cli import run
from jiggen.cli.program import app
from jiggen.errors import InputError
from jiggen.layout import lay_out
from jiggen.measure.survey.examination import examine
from jiggen.measure.survey.findings import refusals
from jiggen.measure.survey.read import read_survey
from jiggen.measure.survey.results import MAGNIFIED, pattern_text, survey_svg
from jiggen.pattern import read_pattern

EXAMPLE = Path(__file__).parent / "data" / "survey.toml"

# True places of the example plate, from its maker (us), and its readings have 0.03 mm of noise.
TRUE = {"a": (97.4, 21.6), "b": (97.4, -21.6), "c": (41.8, 17.9), "d": (41.8, -17.9),
        "e": (-52.3, 19.2), "f": (-52.3, -19.2), "g": (-88.7, 0.0)}  # fmt: skip
MIDDLE = (41.8 - 52.3) / 2  # origin = halfway between c, d, e and f


def changed(folder: Path, *changes: tuple[str, str]) -> Path:
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in changes:
        assert re.search(old, text, re.MULTILINE), old
        text = re.sub(old, new, text, flags=re.MULTILINE)
    path = folder / "survey.toml"
    path.write_text(text, encoding="utf-8")
    return path


def survey(*words: str | Path) -> int:
    return run(app, ["survey", *map(str, words)])


def test_example_becomes_a_pattern_with_its_holes_where_they_are(tmp_path, capsys):
    out = tmp_path / "bench.toml"
    assert survey(EXAMPLE, "-o", out) == 0
    told = capsys.readouterr()
    assert told.err == ""
    assert f"Written: {out}" in told.out
    pattern = read_pattern(out)
    assert (pattern.name, pattern.boot) == ("Arvenal Bench Plate", (255.0, 355.0))
    [group] = pattern.groups
    assert [hole.both_sides for hole in group.holes] == [True, True, True, False]
    placed = lay_out(pattern, 305.0)
    expected = np.array(list(TRUE.values())) - (MIDDLE, 0.0)
    assert placed.positions == pytest.approx(expected, abs=0.1)


def test_report_says_what_is_known_and_how_surely(capsys):
    assert survey(EXAMPLE) == 0
    told = capsys.readouterr().out
    assert re.search(r"^a +102\.6\d +21\.6\d|^a +102\.6\d +21\.5\d", told, re.MULTILINE)
    assert "7 holes, 20 distances" in told
    assert "a to b, outside to outside" in told
    assert "front edge to a, near rim" in told
    assert "Left and right are symmetric as far as measured" in told
    assert "Written" not in told
    assert max(map(len, told.splitlines())) <= 80


def test_numbers_of_the_pattern_are_rounded_to_a_hundredth(tmp_path):
    out = tmp_path / "bench.toml"
    survey(EXAMPLE, "-o", out)
    places = re.findall(r"at = \[(\S+), (\S+)\]", out.read_text(encoding="utf-8"))
    assert len(places) == 4
    assert all(re.fullmatch(r"-?\d+\.\d\d?", number) for place in places for number in place)


def test_round_trip_of_any_plate(tmp_path):
    random = np.random.default_rng(4)
    for plate, told in ((EIGHT, EIGHT_SAID), (TWINS, TWINS_SAID)):
        found = examine(noisy(plate.survey(every_pair(plate.names), **told), random))
        out = tmp_path / "pattern.toml"
        out.write_text(pattern_text(found), encoding="utf-8")
        placed = lay_out(read_pattern(out), 300.0)
        assert placed.positions == pytest.approx(found.fit.places, abs=0.005 + 1e-9)
        assert placed.positions == pytest.approx(plate.truth, abs=0.25)


def test_json_has_everything(tmp_path, capsys):
    out = tmp_path / "bench.toml"
    assert survey(EXAMPLE, "-o", out, "--json") == 0
    data = json.loads(capsys.readouterr().out)
    assert [hole["name"] for hole in data["holes"]] == list("abcdefg")
    assert data["written"] == str(out)
    assert data["refused"] == data["warnings"] == []
    assert (data["rigid"], data["lacking"], data["rank"]) == (True, 0, data["unknowns"])
    assert len(data["readings"]) == 20 + 7  # distances and diameters
    assert data["symmetry"]["verdict"] == "symmetric"
    hole = data["holes"][0]
    assert hole["within"] == pytest.approx(2.4477 * max(hole["deviation"]), rel=0.1)
    assert data["doubt"]["likely"] is False


def test_nothing_is_written_of_a_plate_that_is_not_held(tmp_path, capsys):
    path = changed(tmp_path, ("^(c-g|d-g|f-g).*$", ""), (r"^centre_line.*$", ""))
    out = tmp_path / "bench.toml"
    assert survey(path, "-o", out) == 1
    told = capsys.readouterr()
    assert not out.exists()
    assert "cannot tell where hole g is: it can still swing about e" in told.err
    assert re.search(r"Measure \w to g as well\.|Measure g to \w as well\.", told.err)
    assert re.search(r"^g .*\?", told.out, re.MULTILINE)  # its place is not told as known


def test_accepted_it_is_written_with_a_note(tmp_path, capsys):
    path = changed(tmp_path, ("^(c-g|d-g|f-g).*$", ""), (r"^centre_line.*$", ""))
    out = tmp_path / "bench.toml"
    assert survey(path, "-o", out, "--accept") == 0
    text = out.read_text(encoding="utf-8")
    assert "# ACCEPTED BY HAND despite failed checks. The survey said:" in text
    assert "LEFT OUT, for their places are not known: g." in text
    pattern = read_pattern(out)
    assert len(lay_out(pattern, 305.0).positions) == 6  # a jig must not have g anywhere
    assert "Accepted by hand: cannot tell where hole g is" in pattern.note
    assert pattern.note.startswith("Measured on the bench")
    assert "warning" in capsys.readouterr().err


def test_no_number_is_told_of_a_place_that_is_not_known(tmp_path, capsys):
    loose = ("^(c-g|d-g|f-g).*$", ""), (r"^centre_line.*$", "")  # g swings about e
    few = ("^(c-e|d-f|c-f|d-e|a-e|b-f|c-g|d-g).*$", "")  # the rear half hangs on nothing
    folded = (("^(d-g|f-g).*$", ""), (r"^centre_line.*$", ""))  # g on either side of c and e
    for changes, unknown in ((loose, "g"), ((few,), "abcdefg"), (folded, "g")):
        path, svg = changed(tmp_path, *changes), tmp_path / "look.svg"
        assert survey(path, "--svg", svg) == 1
        told = capsys.readouterr()
        rows = {row.split()[0]: row.split()[1:] for row in told.out.splitlines()[3:10]}
        for name, cells in rows.items():
            assert (cells[2] == "?") == (name in unknown)
            assert ("?" in cells[:2]) == (name in unknown)
        survey(path, "--json")
        for hole in json.loads(capsys.readouterr().out)["holes"]:
            assert (None in (hole["x"], hole["y"])) == (hole["name"] in unknown)
        assert f"place not known: {', '.join(unknown)}" in svg.read_text(encoding="utf-8")
    assert "hole g: g at x " in told.err  # where both ways to lie are told
    assert survey(changed(tmp_path, few), "-o", tmp_path / "x.toml", "--accept") == 2
    assert "the place of no hole is known" in capsys.readouterr().err


def test_the_limit_refuses_and_the_ruler_is_believed(tmp_path, capsys):
    out = tmp_path / "bench.toml"
    assert survey(EXAMPLE, "-o", out, "--limit", "0.05") == 1
    assert "not known within 0.05 mm" in capsys.readouterr().err
    assert not out.exists()
    assert survey(EXAMPLE, "-o", out, "--sigma", "0.4") == 1
    assert "not known within 0.3 mm" in capsys.readouterr().err
    assert survey(EXAMPLE, "-o", out, "--sigma", "0.4", "--limit", "2") == 0
    assert "ACCEPTED" not in out.read_text(encoding="utf-8")


def test_what_a_ruler_cannot_reach_is_told(capsys):
    assert survey(EXAMPLE, "--sigma", "0.3") == 1
    told = capsys.readouterr().err
    found = re.search(r"not known within 0.3 mm: . within (0\.\d\d) mm", told)
    assert found
    assert re.search(r"with a caliper, the same distances\s+would give 0\.0\d mm", told)
    assert "or allow more (--limit)." in " ".join(told.split())
    assert survey(EXAMPLE, "--sigma", "0.3", "--limit", "0.8") == 0  # as the option's help has it


def test_a_misreading_is_named_with_what_it_should_be(tmp_path, capsys):
    path = changed(tmp_path, ("^a-c = .*$", "a-c = { outside = 62.27 }"))
    out = tmp_path / "bench.toml"
    assert survey(path, "-o", out, "--json") == 1
    data = json.loads(capsys.readouterr().out)
    [refused] = data["refused"]
    assert refused["code"] == "survey.gross-error"
    assert "a to c, outside to outside: you wrote 62.27" in refused["message"]
    assert (data["written"], out.exists()) == (None, False)
    assert survey(path) == 1
    assert "<- wrong?" in capsys.readouterr().out


def test_a_plate_that_is_not_alike_left_and_right_is_not_called_misread(tmp_path, capsys):
    # b 0.9 mm ahead of a: every distance to b is as it then is, by hand from the true places
    changes = [
        ("^b-d = .*$", "b-d = { outside = 62.06 }"),
        ("^b-c = .*$", "b-c = { inside = 63.44 }"),
        ("^b-f = .*$", "b-f = { inside = 145.12 }"),
        ("^front-b = .*$", "front-b = { inside = 10.95 }"),
    ]
    assert survey(changed(tmp_path, *changes)) == 1
    told = capsys.readouterr().err
    assert "a and b are" in told
    assert "from being mirror images" in told
    assert "you wrote" not in told


def test_faults_of_the_file_are_told_with_their_lines(tmp_path, capsys):
    assert survey(changed(tmp_path, ("^e = 5.49", 'e = "5.49 or so"'))) == 2
    assert re.search(r"survey\.toml:\d+:1: holes\.e: ", capsys.readouterr().err)
    assert survey(changed(tmp_path, ("^a-b =", "a-bb ="))) == 2
    told = capsys.readouterr().err
    assert re.search(r"survey\.toml:\d+:1: distances\.a-bb: ", told)
    assert 'Did you mean "b"?' in told


def test_holes_too_near_for_their_drills_are_no_pattern(tmp_path, capsys):
    path = changed(tmp_path, ("plain = 3.6, metal = 4.1", "plain = 12.0, metal = 12.0"),
                   ("^depth", "unusual = true\ndepth"),
                   ("^c = .*$", "c = 5.54\nx = 3.0"), ("^c-d =", "c-x = { centre = 8.0 }\nx-d = "
                    "{ centre = 27.8 }\nx-f = { centre = 98.5 }\nx-e = { centre = 94.56 }\n"
                    "a-x = { centre = 56.82 }\nc-d ="))  # fmt: skip
    out = tmp_path / "bench.toml"
    code = survey(path, "-o", out, "--accept")
    told = capsys.readouterr().err
    assert code == 2
    assert "the pattern that would be written: " in told
    assert "These drills need" in told
    assert not out.exists()


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--limit", "0"), "cli.limit"),
        (("--sigma", "x"), "units.length"),
        (("-o", "pattern.txt"), "cli.suffix"),
        (("--svg", "look.png"), "cli.suffix"),
        (("-o", str(EXAMPLE)), "cli.same-file"),
    ],
)
def test_bad_options_are_refused(words, code, capsys):
    before = EXAMPLE.read_bytes()
    assert survey(EXAMPLE, *words, "--json") == 2
    assert json.loads(capsys.readouterr().out)["errors"][0]["code"] == code
    assert EXAMPLE.read_bytes() == before


def test_the_drawing_is_the_plate_at_its_size(tmp_path):
    svg = tmp_path / "look.svg"
    assert survey(EXAMPLE, "--svg", svg) == 0
    root = ET.fromstring(svg.read_text(encoding="utf-8"))
    space = {"s": "http://www.w3.org/2000/svg"}
    circles = root.findall("s:circle", space)
    places = np.array([(float(c.get("cx")), -float(c.get("cy"))) for c in circles])
    assert places == pytest.approx(np.array(list(TRUE.values())) - (MIDDLE, 0.0), abs=0.1)
    assert float(root.get("width")[:-2]) == pytest.approx(float(root.get("viewBox").split()[2]))
    # a's region: its longer half axis is what the report calls within, magnified
    found = examine(read_survey(EXAMPLE))
    longest = float(root.findall("s:ellipse", space)[0].get("rx"))
    assert longest == pytest.approx(MAGNIFIED * found.within[0], abs=1e-3)
    assert survey_svg(found) == survey_svg(found)


def test_note_and_name_survive_odd_characters():
    plain = EIGHT.survey(every_pair(EIGHT.names), **EIGHT_SAID)
    odd = with_file(plain, name='Plate "x" \\ é', note="tab\tand\nline")
    assert '"Plate \\"x\\" \\\\ é"' in pattern_text(examine(odd))


def test_a_name_no_pattern_has_is_refused():
    plain = EIGHT.survey(every_pair(EIGHT.names), **EIGHT_SAID)
    with pytest.raises(InputError):
        pattern_text(examine(with_file(plain, name="x" * 41)))


def test_refusals_carry_codes_and_the_file():
    found = examine(replace(EIGHT.survey(every_pair("abc"), **EIGHT_SAID), source="my.toml"))
    [finding] = refusals(found, 0.3)
    assert (finding.code, finding.where) == ("survey.loose", "my.toml")

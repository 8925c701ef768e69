"""``jiggen scan``: from pictures to a survey and a pattern; what is drawn, what is refused."""

from __future__ import annotations

import io
import json
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest
from PIL import Image
from scanner import Drilled, Lying, Plate, a_scanner
from typer.testing import CliRunner

from jiggen.cli import run
from jiggen.cli.program import app
from jiggen.errors import InputError
from jiggen.files import parse_toml
from jiggen.measure.scan.picture import magnification, scan_drawing
from jiggen.measure.survey.examination import examine
from jiggen.measure.survey.read import read_survey
from jiggen.pattern import read_pattern
from jiggen.request.plate import words_of
from jiggen.request.scan import SCAN, judge_scans

SURVEY = Path(__file__).parent / "data/survey.toml"
# True places of the example plate, from its maker (us), as in test_survey_cli.
TRUE = {"a": (97.4, 21.6), "b": (97.4, -21.6), "c": (41.8, 17.9), "d": (41.8, -17.9),
        "e": (-52.3, 19.2), "f": (-52.3, -19.2), "g": (-88.7, 0.0)}  # fmt: skip
FOUND = dict(zip("gefcdab", "abcdefg", strict=True))  # as named from the left of the first scan
SAID = {
    "distance": ["g-a:outside=193.37", "g-b:outside=193.37"],  # 187.35 mm and two radii
    "rename": [f"{found}={name}" for name, found in FOUND.items()],
    "face": ["top"],
    "name": ["Arvenal Bench Plate"],
    "origin": ["c,d,e,f"],
    "front": ["a,b"],
    "pairs": ["a-b c-d, e-f"],
    "centre-line": ["g"],
    "drill-plain": ["3.6"],
    "drill-metal": ["4.1"],
    "drill-depth": ["9"],
}


@pytest.fixture(scope="module")
def scans(tmp_path_factory) -> list[Path]:
    """The sample plate on a bad scanner, four turns, at 300 dpi."""
    folder, paths = tmp_path_factory.mktemp("scans"), []
    survey = read_survey(SURVEY)
    sizes = dict(zip(survey.holes, survey.diameters, strict=True))
    holes = tuple(Drilled(x, y, sizes[name]) for name, (x, y) in TRUE.items())
    plate = Plate(holes, ((-105, -28), (108, -28), (108, 28), (-105, 28)), grey=0.6)
    scanner = a_scanner(11, dpi=300.0)
    for turn in (0, 90, 180, 270):
        glass = (224.0, 72.0) if turn in (0, 180) else (72.0, 224.0)
        laid = Lying(scanner, plate, turn + 1.4, (1.0, -1.0), glass, 3 + turn, supersampling=2)
        paths.append(folder / f"turn-{turn}.png")
        Image.fromarray(laid.picture()).save(paths[-1], dpi=(300, 300), compress_level=1)
    return paths


@pytest.fixture(scope="module")
def pictures(scans):
    return SCAN.read(SAID | {"images": [*map(str, scans)]}).reading.look_at(scans)


@pytest.fixture(scope="module")
def judged_scans(scans, pictures):
    return asked(scans).judge(pictures)


def asked(scans, **changed):
    return SCAN.read(SAID | {"images": [*map(str, scans)]} | changed)


def fitted(scans, pictures, **changed):
    return asked(scans, **changed).reading.fit(pictures)


def words(scans, said) -> list[str]:
    found = [*map(str, scans)]
    for name, values in said.items():
        found += [part for value in values for part in (f"--{name}", value)]
    return ["scan", *found]


def test_the_sample_plate_by_scan_is_the_pattern_by_caliper(scans, tmp_path, capsys):
    survey, pattern, picture = (tmp_path / name for name in ("s.toml", "p.toml", "holes.svg"))
    files = ["--survey", str(survey), "--out", str(pattern), "--svg", str(picture)]
    assert run(app, [*words(scans, SAID), *files]) == 0
    told = capsys.readouterr()
    assert "7 holes in 4 scans" in told.out
    assert f"Written: {pattern}" in told.out
    by_scan, by_caliper = examine(read_survey(survey)), examine(read_survey(SURVEY))
    middle = (TRUE["c"][0] + TRUE["e"][0]) / 2
    true = np.array([TRUE[name] for name in by_scan.survey.holes]) - (middle, 0)
    assert (np.hypot(*(by_scan.places - true).T) < by_scan.within).all()
    assert (by_scan.within < 0.1).all()
    order = [by_caliper.survey.holes.index(name) for name in by_scan.survey.holes]
    off = np.hypot(*(by_scan.places - by_caliper.places[order]).T)
    assert (off < by_scan.within + by_caliper.within[order]).all()
    [group] = read_pattern(pattern).groups
    assert sorted(hole.both_sides for hole in group.holes) == [False, True, True, True]
    assert "from scans of a plate" in pattern.read_text(encoding="utf-8")
    again = tmp_path / "again.toml"
    assert run(app, ["survey", str(survey), "--out", str(again)]) == 0
    assert again.read_text(encoding="utf-8") == pattern.read_text(encoding="utf-8")
    assert "7 holes, 4 scans" in capsys.readouterr().out
    assert ET.parse(picture).getroot().tag.endswith("svg")


def test_one_scan_without_a_distance_says_what_is_not_known(scans, capsys):
    assert run(app, [*words(scans[:1], {}), "--json"]) == 0
    data = json.loads(capsys.readouterr().out)
    assert [hole["name"] for hole in data["holes"]] == [*"abcdefg"]
    assert all(0.2 < hole["within"] < 2.0 for hole in data["holes"])
    codes = {one["code"] for one in data["warnings"]}
    assert {"scan.no-distance", "scan.one-turn"} <= codes
    assert data["written"] is None


def test_a_survey_is_written_with_what_is_open_and_filled_in_later(scans, judged_scans, tmp_path):
    request = asked(scans, origin=[], front=[], **{"drill-depth": []})
    text = request.survey_text(judged_scans)
    with pytest.raises(InputError) as caught:
        request.solve(text)
    open_keys = {one.key for one in caught.value.findings}
    assert open_keys == {"drill.depth"}
    file = tmp_path / "plate.toml"
    file.write_text(text, encoding="utf-8")
    asks = ["survey", str(file), "--ask"]
    done = CliRunner().invoke(app, asks, input="c,d,e,f\na b\n9\n")
    assert done.exit_code == 0, done.output
    assert "3 readings to take" in done.output
    assert examine(read_survey(file)).within.max() < 0.1
    with pytest.raises(InputError, match="no fields for places that scans tell"):
        words_of(parse_toml(file.read_text(encoding="utf-8")))


def test_the_face_on_the_glass_mirrors_the_plate(scans, judged_scans):
    request = asked(scans, face=["under"])
    judged = request.solve(request.survey_text(judged_scans))
    found = [one for one in judged.against if one.code == "survey.sides"]
    assert found
    assert "the other face of the plate lay on the glass" in found[0].hint
    swapped = asked(scans, face=["under"], pairs=["b-a d-c f-e"], front=["b,a"])
    judged = swapped.solve(swapped.survey_text(judged_scans))
    assert not judged.against
    with pytest.raises(InputError, match="which face"):
        asked(scans, face=[]).plate.check()


def test_without_pairs_two_holes_in_line_and_a_middle_say_how_it_lies(scans, judged_scans):
    said = {"pairs": [], "centre-line": [], "middle": ["a,b,c,d"], "along": ["e,c"], "front": []}
    request = asked(scans, **said)
    judged = request.solve(request.survey_text(judged_scans))
    assert [one for one in judged.against if one.code != "survey.unlike"] == []
    places = dict(zip(judged.found.survey.holes, judged.found.places.tolist(), strict=True))
    assert places["a"][0] > places["e"][0]
    assert places["a"][1] > 0 > places["b"][1]  # a scan is not upside down


def test_a_wrong_distance_is_refused_and_nothing_is_written(scans, pictures, tmp_path, capsys):
    wrong = fitted(scans, pictures, distance=["g-a:outside=193.37", "g-b:outside=194.37"])
    [against] = judge_scans(wrong).against
    assert against.code in ("scan.gross-error", "scan.disagree")
    wrong = judge_scans(fitted(scans, pictures, distance=["g-a:outside=201.37"]))
    assert [one.code for one in wrong.against] == ["scan.scale"]
    note = asked(scans).solve(asked(scans).survey_text(wrong)).found.survey.file.note
    assert "no scanner is so far off" in note
    out = tmp_path / "plate.toml"
    said = SAID | {"distance": ["g-a:outside=201.37"], "out": [str(out)]}
    assert run(app, words(scans[:2], said)) == 1
    assert "no scanner is so far off" in capsys.readouterr().err
    assert not out.exists()


def test_left_out_and_renamed_holes(scans, pictures):
    found = fitted(scans, pictures, **{"leave-out": ["c"], "distance": ["g-a:outside=193.37"]})
    assert sorted(found.seen.names) == sorted(
        set(TRUE) - {next(n for n in FOUND if FOUND[n] == "c")}
    )
    for changed in ({"leave-out": ["z"]}, {"rename": ["z=a"]}, {"distance": ["a-z:outside=9"]}):
        with pytest.raises(InputError, match="no hole was named z"):
            fitted(scans, pictures, **changed)
    with pytest.raises(InputError, match="two holes would be called"):
        fitted(scans, pictures, rename=["a=b"])
    with pytest.raises(InputError, match="no hole can be called"):
        fitted(scans, pictures, rename=["a=front"])


def test_all_that_is_wrong_with_words_is_said_before_a_picture_is_read(capsys):
    bad = {"distance": ["a-b=12", "a-a:outside=3"], "turned": ["0,90"], "rename": ["c"]}
    assert run(app, words(["missing.png"], bad)) == 2
    told = capsys.readouterr().err
    for part in ("a-b=12", "a-a:outside=3", "2 turns for 1 scans", "names no hole anew"):
        assert part in told
    assert "missing.png" not in told


def test_a_picture_given_twice_is_refused(scans, capsys):
    assert run(app, words([scans[1], scans[1]], {})) == 2
    assert "the same picture as turn-90.png" in capsys.readouterr().err


@pytest.mark.parametrize("how", ["camera", "messenger"])
def test_phone_pictures_are_refused_with_the_reason_and_its_size(how, tmp_path, capsys):
    path = tmp_path / "plate.jpg"
    picture, exif = Image.new("L", (400, 300), 200), Image.Exif()
    exif.get_ifd(0x8769)[37386] = 4.2  # focal length
    more = {"exif": exif, "dpi": (300, 300)} if how == "camera" else {}
    picture.save(path, **more)
    assert run(app, words([path], {})) == 2
    told = " ".join(capsys.readouterr().err.split())
    assert "photograph" in told
    assert "0.84%" in told
    assert "1.3 mm over 150 mm" in told


def test_scans_are_drawn_with_what_was_found(scans, pictures):
    found = fitted(scans, pictures, **{"leave-out": ["c"], "distance": ["g-a:outside=193.37"]})
    drawing = scan_drawing(found, pictures)
    times = magnification(found)
    longest = np.hypot(*found.residuals.T).max()
    assert times in (100.0, 200.0, 500.0, 1000.0)
    assert 4.0 < longest * times <= 12.0 or times == 1000.0
    from jiggen.draw.raster import png_bytes
    from jiggen.draw.vector import svg_text

    root = ET.fromstring(svg_text(drawing, 3))
    tags = [one.tag.rpartition("}")[2] for one in root.iter()]
    assert tags.count("image") == 4
    assert len(svg_text(drawing, 3)) < 1_500_000
    green = [c for c in root.iter() if c.get("stroke") == "#0a7a28"]
    assert len(green) == 4 * 6  # one hole is left out in each scan
    red = [c for c in root.iter() if c.get("stroke") == "#c02020"]
    assert len(red) == 4
    said = " ".join(one.text or "" for one in root.iter() if one.tag.endswith("text"))
    assert f"{times:g} times" in said
    with Image.open(io.BytesIO(png_bytes(drawing, 40.0))) as png:
        wide, high = (round(side * 40 / 25.4) for side in drawing.size)
        assert png.size == (wide, high)
        colours = {colour for _, colour in png.getcolors(1 << 20)}
    assert (10, 122, 40) in colours
    assert (192, 32, 32) in colours

from __future__ import annotations

import json
import re
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

from jiggen.cli import main
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns
from jiggen.pattern.find import known_patterns, user_folder
from jiggen.report.patterns import described, list_patterns, sketch

PLATE = """\
format = 1
name = "Bench"
pair = "mirrored"
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9.0
[[group]]
name = "toe"
datum = "boot-toe"
steps = [ { from = 310, shift = -8.0 }, { from = 330, shift = -4.0 } ]
  [[group.hole]]
  at = [0.0, 20.0]
[[group]]
name = "mid"
datum = "boot-centre"
shift = 0.0
  [[group.hole]]
  at = [0.0, 10.0]
  both_sides = true
"""


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder to work in, and a user with no patterns yet."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    monkeypatch.setenv("COLUMNS", "80")
    return tmp_path


def put(folder: Path, name: str, text: str = PLATE) -> Path:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_text(text)
    return folder / name


# -- the search path ----------------------------------------------------------------------------


def test_a_name_finds_the_nearest_folder_first(desk: Path):
    name = shipped_patterns()[0].stem
    assert find_pattern(name) == shipped_patterns()[0]
    # the XDG base directory specification: data of a program lie below XDG_DATA_HOME
    user = put(desk / "data" / "jiggen" / "patterns", f"{name}.toml")
    assert user_folder() == user.parent
    assert find_pattern(name) == user
    local = put(desk / "patterns", f"{name}.toml")
    assert find_pattern(name).resolve() == local
    assert [(known.origin, known.hidden) for known in known_patterns() if known.name == name] == [
        ("local", False),
        ("user", True),
        ("shipped", True),
    ]


def test_every_known_pattern_is_found_by_its_name(desk: Path):
    put(desk / "patterns", "bench.toml")
    put(user_folder(), "mine.toml")
    (desk / "patterns" / "folder.toml").mkdir()
    known = [pattern for pattern in known_patterns() if not pattern.hidden]
    assert {"bench", "mine", *(path.stem for path in shipped_patterns())} == {k.name for k in known}
    assert all(find_pattern(pattern.name) == pattern.path for pattern in known)


def test_a_file_that_two_folders_hold_is_listed_once(desk: Path):
    shipped = shipped_patterns()[0]
    (desk / "patterns").symlink_to(shipped.parent)
    assert [known.name for known in known_patterns()] == [path.stem for path in shipped_patterns()]
    assert {known.origin for known in known_patterns()} == {"local"}


# -- the list -----------------------------------------------------------------------------------


def test_the_list_as_data(desk: Path, capsys):
    put(desk / "patterns", "bench.toml")
    put(desk / "patterns", "broken.toml", "format = 2\nname = 3\n")
    assert main(["patterns", "--json"]) == 0
    entries = {entry["name"]: entry for entry in json.loads(capsys.readouterr().out)["patterns"]}
    assert entries["bench"] == {
        "name": "bench",
        "origin": "local",
        "path": "patterns/bench.toml",
        "hidden": False,
        "faults": 0,
        "title": "Bench",
        "note": "",
        "holes": 3,
        "groups": [
            {"name": "toe", "datum": "boot-toe", "holes": 1},
            {"name": "mid", "datum": "boot-centre", "holes": 2},
        ],
        "boot": None,
        "pair": "mirrored",
        "mark": "boot-centre",
    }
    assert entries["broken"]["faults"] == 2  # the format and the name
    assert "holes" not in entries["broken"]
    shipped = {path.stem for path in shipped_patterns()}
    assert shipped == {name for name, entry in entries.items() if entry["origin"] == "shipped"}
    assert entries["club-piste"]["boot"] == [256.0, 358.0]


def test_the_list_as_text(desk: Path, capsys):
    put(desk / "patterns", "bench.toml")
    put(desk / "patterns", "broken.toml", "format = 2\nname = 3\n")
    put(user_folder(), "bench.toml")
    assert main(["patterns"]) == 0
    lines = capsys.readouterr().out.splitlines()
    cells = [re.split(r"\s{2,}", line) for line in lines]
    assert cells[0] == ["name", "holes", "measured from", "boots in mm", "whose"]
    assert ["bench", "3", "boot-toe, boot-centre", "any", "local"] in cells
    assert ["bench", "3", "boot-toe, boot-centre", "any", "user, hidden"] in cells
    assert ["broken", "-", "2 faults: jiggen show patterns/broken.toml", "local"] in cells
    assert ["club-piste", "9", "boot-toe, boot-heel", "256 to 358", "shipped"] in cells
    assert ["local", "patterns"] in cells
    assert ["user", str(user_folder())] in cells
    assert any(line.startswith("Your own go into ./patterns, or into ") for line in lines)


def test_holes_are_counted_as_they_are_drilled(desk: Path):
    for entry in list_patterns():
        boot = entry.pattern.boot or (305.0, 305.0)
        assert entry.as_dict()["holes"] == len(lay_out(entry.pattern, boot[1]))


def test_a_pattern_in_words(desk: Path):
    assert described(read_pattern(put(desk, "bench.toml"))) == [
        "For boots of any length; left and right ski mirrored.",
        "  toe  1 hole about the boot's toe, in steps by boot: -8 from 310, -4 from 330 mm",
        "  mid  2 holes about the mounting mark",
    ]
    club = described(read_pattern(find_pattern("club-piste")))
    assert club[1] == "For boots of 256 to 358 mm; left and right ski alike."
    assert club[2:] == [
        "  toe   5 holes 11.4 mm behind the boot's toe",
        "  heel  4 holes 6.8 mm in front of the boot's heel",
    ]


# -- the plan -----------------------------------------------------------------------------------


def places(plan: str, width: int) -> tuple[set[tuple[int, int]], int, int]:
    """Row and column of every hole, the centre line's row and the mark's column."""
    lines = plan.splitlines()[:-1]  # the last is the ruler
    centre = next(row for row, line in enumerate(lines) if "-> tip" in line)
    mark = lines[0].index("|")
    names = re.compile(r"[a-z]+-\d+|left|right|-> tip")
    bare = [names.sub(lambda match: " " * len(match[0]), line) for line in lines]
    assert all(len(line) <= width for line in lines)
    holes = {(r, c) for r, line in enumerate(bare) for c, x in enumerate(line) if x in "o8"}
    return holes, centre, mark


@pytest.mark.parametrize("width", [60, 80, 120, 200])
@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
def test_holes_stand_where_they_are_about_to_scale(path: Path, width: int):
    found = lay_out(read_pattern(path), 300.0)
    holes, centre, mark = places(sketch(found, width), width)
    # Two holes give the scale; every other one must then be where it puts it, half a cell off
    # at most either way, and as much for the mark. Rows are twice as high as columns are wide.
    columns = sorted(column for _, column in holes)
    xs = found.positions[:, 0]
    size = (xs.max() - xs.min()) / (columns[-1] - columns[0])
    wanted = {(float(centre - y / (2 * size)), float(mark + x / size)) for x, y in found.positions}
    for row, column in wanted:
        assert any(abs(row - r) <= 0.75 and abs(column - c) <= 1.5 for r, c in holes)
    for r, c in holes:
        assert any(abs(row - r) <= 0.75 and abs(column - c) <= 1.5 for row, column in wanted)


def test_a_plan_to_look_at():
    found = lay_out(read_pattern(find_pattern("hut-plate")), 300.0)
    # rear at -74.5 and -40.9, front at 39.5 and 74.2; about 2.6 mm a column and 5.2 mm a row
    assert sketch(found, 70).splitlines() == [
        "left                               |",
        "     o rear-3     o rear-1         |                    front-1 o",
        "                                   |              o front-3",
        "                                   |",
        "                                   |",
        "-----------------------------------+-----------------------------> tip",
        "                                   |",
        "                                   |",
        "                                   |              o front-4",
        "     o rear-4     o rear-2         |                    front-2 o",
        "right                              |",
        "              -50                  0                 50",
    ]


def test_holes_that_fall_on_one_character():
    found = lay_out(read_pattern(find_pattern("club-piste")), 300.0)
    near = Layout(
        **vars(found)
        | {
            "ids": ("a-1", "a-2", "a-3"),
            "groups": ("a", "a", "a"),
            "positions": np.array([[-150.0, 20.0], [150.0, 20.0], [150.5, 20.5]]),
            "diameters": np.full(3, 3.6),
            "depths": np.full(3, 9.0),
        }
    )
    plan = sketch(near, 60)
    assert plan.count("8") == 1
    assert "a-1" in plan


def test_a_mirrored_ski_turns_the_plan_over():
    pattern = read_pattern(find_pattern("skew-plate"))
    left, right = (
        places(sketch(lay_out(pattern, 300.0, side=side), 80), 80) for side in ("left", "right")
    )
    assert right[0] == {(2 * left[1] - row, column) for row, column in left[0]}


# -- the command --------------------------------------------------------------------------------


def test_show_draws_text_and_svg(desk: Path, capsys):
    assert main(["show", "club-piste", "--boot", "300", "--svg", "look.svg"]) == 0
    said = capsys.readouterr().out
    found = lay_out(read_pattern(find_pattern("club-piste")), 300.0)
    assert sketch(found, 80) in said
    assert "For a boot of 300 mm" in said
    assert "jiggen layout club-piste --boot 300" in said
    circles = ET.parse(desk / "look.svg").getroot().findall(".//{*}circle")
    drawn = sorted((float(c.get("cx")), -float(c.get("cy"))) for c in circles)
    assert np.allclose(drawn, sorted(found.positions.tolist()))


@pytest.mark.parametrize(
    ("name", "boot"),
    # the middle of 256 to 358 and of 256.54 to 360.68; no boots named: the first step's, 310
    [("club-piste", "307"), ("old-inch", "309"), ("bench.toml", "310")],
)
def test_without_a_boot_one_is_chosen_and_said(desk: Path, name: str, boot: str, capsys):
    put(desk, "bench.toml")
    assert main(["show", name]) == 0
    assert f"For a boot of {boot} mm, about to scale" in capsys.readouterr().out


def test_show_names_all_faults_of_a_file(desk: Path, capsys):
    put(desk / "patterns", "broken.toml", "format = 2\nname = 3\n")
    assert main(["show", "broken"]) == 2
    assert capsys.readouterr().err.count("error: patterns/broken.toml:") == 2


@pytest.mark.parametrize(
    "words", [["--boot", "100"], ["--boot", "x"], ["--svg", "a.txt"], ["--boot", "nan"]]
)
def test_show_refuses(desk: Path, words: list[str], capsys):
    assert main(["show", "club-piste", *words]) == 2
    assert capsys.readouterr().err.startswith("error: ")
    assert list(desk.iterdir()) == []

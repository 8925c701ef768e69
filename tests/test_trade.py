"""What nobody sells or screws into a ski: sizes of drills and screws, and holes beside the ski."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from jiggen.cli import main
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.design.guides import design_guides
from jiggen.drilling import DrillingLimits, SkiState, check_drilling, screws_of
from jiggen.errors import InputError
from jiggen.layout import lay_out, off_ski
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.read import parse_pattern
from jiggen.tables import is_sold_screw, sold_drills, trade_drill

PLATE = """
format = 1
name = "Bench"
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9.0
[screw]
plate = 6.0
lengths = [14]
[[group]]
name = "plate"
datum = "boot-centre"
shift = 0.0
hole = [ { at = [60, 20], both_sides = true }, { at = [-60, 20], both_sides = true } ]
"""
SKI = SkiRange(84.0, 112.0)


def plate(tmp_path: Path, *changes: tuple[str, str]) -> str:
    text = PLATE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = tmp_path / "bench.toml"
    path.write_text(text)
    return str(path)


def warned(pattern) -> list[tuple[str, str, str]]:
    """What the drilling check warns of, for a plain core."""
    found = lay_out(pattern, 305.0)
    tops = {guide.id: guide.bush_top_z for guide in design_guides(found, Settings(SKI))}
    checked = check_drilling(found, tops, SkiState(), DrillingLimits(), screws_of(pattern))
    return [(one.code.removeprefix("drilling."), one.message, one.hint) for one in checked.warnings]


# -- sizes that are sold ------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("drill", "taken"),
    [
        (3.6, 3.6),
        (3.6068, 3.6),  # 0.142 in
        (4.0894, 4.1),  # 0.161 in
        (3.6299, 3.6),
        (3.65, 3.65),  # between two sizes: 0.05 from either
        (4.2333, 4.25),  # quarters are sold too
        (3.5719, 3.6),  # 9/64 in
        (3.9688, 3.9688),  # 5/32 in: 0.031 from 4.0
    ],
)
def test_a_drill_is_taken_as_the_size_that_is_sold(drill: float, taken: float):
    assert trade_drill(drill) == pytest.approx(taken, abs=1e-12)


def test_the_sizes_around_one_that_is_not_sold():
    assert sold_drills(3.65) == (3.6, 3.7)
    assert sold_drills(4.22) == (4.2, 4.25)
    assert sold_drills(4.1) == (4.1, 4.1)
    assert [length for length in (12.0, 12.02, 14.224, 14.2875, 15.9) if is_sold_screw(length)] == [
        12.0,
        12.02,
        14.2875,  # 9/16 in
        15.9,  # 5/8 in is 15.875
    ]


@pytest.mark.parametrize("core", ["plain", "metal"])
def test_the_shipped_pattern_in_inches_has_bushes_that_are_sold(core):
    pattern = read_pattern(find_pattern("old-inch"))
    found = lay_out(pattern, 305.0, core=core)
    assert set(found.diameters.tolist()) == {3.6 if core == "plain" else 4.1}
    guides = design_guides(found, Settings(SKI))
    assert {guide.drill for guide in guides} <= {3.6, 4.1}
    assert not [one for one in warned(pattern) if "size" in one[0]]


def test_sizes_that_nobody_sells_are_named(tmp_path: Path):
    wide = plate(tmp_path, ("plain = 3.6", "plain = 3.65"), ("[14]", "[14.224]"))
    assert warned(read_pattern(wide)) == [
        (
            "drill-size",
            "neither a drill nor a bush of 3.65 mm is sold",
            "The nearest sizes that are: 3.6 and 3.7 mm.",
        ),
        (
            "screw-size",
            "a screw of 14.224 mm is not a length that is sold",
            "Whole and half mm are, and sixteenths of an inch.",
        ),
    ]


# -- drills and depths that no binding has --------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("plain = 3.6", "plain = 5.5", "drill.diameter.plain: a drill of 5.5 mm leaves no hold"),
        ("metal = 4.1", "metal = 4.6", "drill.diameter.metal: a drill of 4.6 mm leaves no hold"),
        ("depth = 9.0", "depth = 0.1", "drill.depth: a hole 0.1 mm deep is too shallow"),
        (
            "at = [60, 20]",
            "at = [60, 20], drill = { depth = 4.9 }",
            "group[1].hole[1].drill.depth: a hole 4.9 mm deep is too shallow",
        ),
    ],
)
def test_a_pattern_must_say_that_it_means_them(tmp_path: Path, capsys, old, new, said: str):
    path = plate(tmp_path, (old, new))
    words = ["build", path, "--boot", "305", "--ski", "84-112", "--out", str(tmp_path / "out")]
    assert main(words) == 2
    err = capsys.readouterr().err
    assert said in err
    assert "unusual = true" in err
    assert not (tmp_path / "out").exists()
    meant = plate(tmp_path, (old, new), ("depth = 9.0\n", "depth = 9.0\nunusual = true\n")) \
        if "0.1" not in new else plate(tmp_path, (old, f"{new}\nunusual = true"))  # fmt: skip
    assert main(["layout", meant, "--boot", "305"]) == 0


def test_what_is_meant_is_still_warned_of():
    text = PLATE.replace("3.6, metal = 4.1", "5.5, metal = 5.5").replace("[14]", "[12]")
    text = text.replace("depth = 9.0", "depth = 4.5\nunusual = true")
    codes = [code for code, *_ in warned(parse_pattern(text, "x.toml"))]
    assert codes.count("unusual") == 2
    messages = " ".join(message for _, message, _ in warned(parse_pattern(text, "x.toml")))
    assert "a drill of 5.5 mm leaves no hold" in messages
    assert "a hole 4.5 mm deep is too shallow" in messages


# -- holes beside the ski -------------------------------------------------------------------------


def test_a_build_says_that_a_hole_is_beside_the_ski(tmp_path: Path, capsys):
    path = plate(tmp_path, ("at = [60, 20]", "at = [60, 60]"))
    words = ["build", path, "--boot", "305", "--ski", "84-112", "--out", str(tmp_path / "out")]
    assert main(words) == 2
    err = capsys.readouterr().err
    assert "plate-1, plate-2: 60 mm from the centre line it lies outside a ski 84 mm wide" in err
    assert "wider narrowest ski makes" not in err


def test_a_hole_that_breaks_the_edge_is_refused_and_one_inside_is_not():
    def off(y: float):
        text = PLATE.replace("at = [60, 20]", f"at = [60, {y}]")
        return off_ski(lay_out(parse_pattern(text, "x.toml"), 305.0), 84.0)

    assert not off(40.2)  # its wall ends on the edge: 40.2 + 1.8 = 42
    (edge,) = off(40.3)
    assert "breaks the edge of a ski 84 mm wide" in edge.message
    (outside,) = off(42.0)
    assert "lies outside a ski 84 mm wide" in outside.message
    text = PLATE.replace("at = [60, 20]", "at = [60, 40.3]")
    with pytest.raises(InputError) as caught:
        design_jig(lay_out(parse_pattern(text, "x.toml"), 305.0), Settings(SKI))
    assert {finding.code for finding in caught.value.findings} == {"layout.off-ski"}


def test_a_layout_says_it_too(tmp_path: Path, capsys):
    path = plate(tmp_path, ("at = [60, 20]", "at = [60, 60]"))
    assert main(["layout", path, "--boot", "305", "--ski", "84-112"]) == 0
    said = capsys.readouterr()
    assert "warning: plate-1, plate-2: 60 mm from the centre line it lies outside" in said.err
    assert "A ski narrower than 123.6 mm cannot take these holes." in said.out
    assert main(["layout", path, "--boot", "305", "--ski", "84-112", "--json"]) == 0
    (warning,) = json.loads(capsys.readouterr().out)["warnings"]
    assert warning["code"] == "layout.off-ski"
    assert main(["layout", path, "--boot", "305", "--ski", "1000"]) == 2
    assert "1000 to 1000 mm is not a valid range of ski widths" in capsys.readouterr().err

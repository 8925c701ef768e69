"""``jiggen remount`` and its picture."""

from __future__ import annotations

import json
import math
from pathlib import Path
from xml.etree import ElementTree as ET

import numpy as np
import pytest

import jiggen.cli.remount  # noqa: F401 - registers the command
from jiggen.cautions import CAUTIONS
from jiggen.cli import main
from jiggen.export.remount_svg import LISTED, remount_svg, shift_words
from jiggen.layout import Layout, lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.remount.shifts import OldHole, RemountLimits, moved, old_holes

JOB = ("remount", "club-piste", "--boot", "305")
# One old hole 5 mm in front of toe-5 (x = 152.5 - 11.4 - 43.1 = 98.0, y = 0), one plugged hole
# far from everything.
TABLE = "x,y,diameter,plugged\n103,0,4.1,no\n0,0,,yes\n"
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def table(tmp_path: Path) -> str:
    path = tmp_path / "old.csv"
    path.write_text(TABLE)
    return str(path)


def run(capsys, *words: str) -> tuple[int, str, str]:
    code = main([*JOB, *words])
    out, err = capsys.readouterr()
    return code, out, err


# -- words -------------------------------------------------------------------------------------


def test_conflicts_and_the_nearest_clear_mounts(table, capsys):
    code, out, err = run(capsys, "--old-holes", table)
    assert (code, err) == (1, "")
    lines = out.splitlines()
    assert lines[0] == "Arvenal Club Piste"
    assert lines[2] == ("old holes: 1 open (keep 10 mm), 1 plugged (keep 6 mm), centre to centre")
    assert "NOT CLEAR: 1 of 9 holes is too near an old one." in lines
    assert [line.split() for line in lines if line.startswith("toe-5")] == [
        ["toe-5", "old-1", "5.00", "10.00"]
    ]
    # 15 mm forward would clear toe-5 by 10 mm beyond; toe-3 and -4 are 20.9 to the side.
    # The drill of 3.6 is thinner than the old hole of 4.1: no reuse at 5.
    assert lines[-2:] == [
        "  15 mm towards the tip: --shift 15 (clear from 15 to 60)",
        "  5 mm towards the tail: --shift -5 (clear from -5 to -60)",
    ]
    assert max(map(len, lines)) <= 80


def test_which_holes_to_plug_is_an_answer_beside_other_mounts(tmp_path, capsys):
    path = tmp_path / "old.csv"
    path.write_text("x,y\n105,0\n90.5,0\n300,0\n")  # 7 mm before toe-5 and 7.5 behind it
    code, out, _ = run(capsys, "--old-holes", str(path))
    assert code == 1
    assert "Plug old-1 and old-2, and every hole is clear at this mount." in out
    assert "Nearest clear mount as the old holes are:" in out
    text = path.read_text()
    path.write_text(text.replace("x,y", "x,y,plugged").replace("105,0", "105,0,yes"))
    code, out, _ = run(capsys, "--old-holes", str(path))
    assert "Plug old-2, and every hole" in out
    path.write_text("x,y,plugged\n105,0,yes\n90.5,0,yes\n")
    assert run(capsys, "--old-holes", str(path))[0] == 0


def test_plugs_may_bring_the_nearest_mount_nearer(table, capsys):
    code, out, _ = run(capsys, "--old-holes", table)
    assert code == 1
    # toe-5 is 5 mm behind old-1: a plug asks for 6.
    assert "Plug old-1, and every hole is clear at --shift -1." in out


def test_mounts_farther_than_they_are_moved_come_last_and_are_marked(tmp_path, capsys):
    path = tmp_path / "old.csv"
    path.write_text("x,y\n" + "".join(f"{x},0\n" for x in range(90, 121, 5)))
    _, out, _ = run(capsys, "--old-holes", str(path), "--shift", "-14")
    # Before all of them toe-5 lies at 130 or more, a shift of 32; behind them at 80.
    assert [line.strip() for line in out.splitlines()[-3:]] == [
        "4 mm towards the tail: --shift -18 (clear from -18 to -74)",
        "46 mm towards the tip: --shift 32 (clear from 32 to 46)",
        "farther than the 20 mm that mounts are moved",
    ]
    _, out, _ = run(capsys, "--old-holes", str(path), "--shift", "10")
    ways = [line for line in out.splitlines() if "towards the t" in line]
    assert ["tail" in way for way in ways] == [True, False]  # though the tip's is nearer


def test_each_ski_of_the_pair_has_holes_of_its_own(tmp_path, capsys):
    path = tmp_path / "old.csv"
    path.write_text("x,y,ski\n105,0,left\n90.5,0,right\n300,0,both\n")
    code, out, _ = run(capsys, "--old-holes", str(path))
    assert code == 1
    assert "left ski: NOT CLEAR" in out and "right ski: NOT CLEAR" in out
    assert "Plug old-1-left and old-2-right, and every hole is clear at this mount." in out
    path.write_text("x,y,ski\n105,0,left\n250,0,right\n250,0,left\n")
    _, out, _ = run(capsys, "--old-holes", str(path))
    assert "left ski: NOT CLEAR" in out and "right ski: clear" in out


def test_of_a_mirrored_pattern_the_ski_asked_for_counts(tmp_path, capsys):
    path = tmp_path / "old.csv"
    path.write_text("x,y,ski\n-300,0,left\n300,0,right\n310,0,right\n")
    words = ("remount", "skew-plate", "--boot", "305", "--old-holes", str(path))
    assert main(list(words)) == 0
    assert "2 old holes on the right ski alone: see --side right" in capsys.readouterr().out
    assert main([*words, "--side", "right", "--json"]) == 0
    old = json.loads(capsys.readouterr().out)["old_holes"]
    assert [hole["id"] for hole in old] == ["old-2-right", "old-3-right"]


def test_a_wider_drill_uses_the_hole_again(table, capsys):
    code, out, _ = run(capsys, "--old-holes", table, "--core", "metal")
    assert code == 1
    assert "  4.7 mm towards the tip: --shift 4.7 (clear from 4.7 to 5.3)" in out
    code, out, _ = run(capsys, "--old-holes", table, "--core", "metal", "--shift", "5.2")
    assert code == 0
    assert "Every hole is clear at this mount." in out
    assert "  toe-5 takes the place of old-1, 0.20 mm off" in out
    assert "Nearest" not in out


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--limit", "5"), 0),
        (("--limit", "5.01"), 1),
        (("--limit", "0.2in"), 1),  # 5.08 mm
        (("--shift", "-98", "--plugged-limit", "6"), 1),  # toe-5 on the plugged hole
        (("--shift", "-91", "--plugged-limit", "7.01"), 1),
        (("--shift", "-91", "--plugged-limit", "7"), 0),
    ],
)
def test_the_limits_decide(table, capsys, words, code):
    assert run(capsys, "--old-holes", table, *words)[0] == code


def test_an_earlier_mount_by_a_known_pattern(capsys):
    code, out, _ = run(capsys, "--old", "club-piste", "--old-boot", "315")
    assert code == 1
    assert "NOT CLEAR: 9 of 9 holes" in out
    # a boot 10 longer: its toe holes lie 5 farther forward
    assert "  5 mm towards the tip: --shift 5 (clear from 5 to 5.3)" in out
    assert run(capsys, "--old", "club-piste", "--old-boot", "305")[0] == 0
    assert run(capsys, "--old", "club-piste", "--old-boot", "305", "--old-shift", "5")[0] == 1
    words = ("--old", "club-piste", "--old-boot", "305", "--old-core", "metal")
    assert run(capsys, *words)[0] == 1  # 4.1 is wider than today's drill of 3.6
    words = ("--old", "club-piste", "--old-boot", "319", "--old-plugged")
    assert run(capsys, *words)[0] == 0  # 7 mm from plugged holes


def test_the_earlier_mount_is_on_the_same_ski_unless_said(tmp_path, capsys):
    plate = tmp_path / "plate.toml"
    plate.write_text(
        'format = 1\nname = "One"\npair = "mirrored"\n[drill]\ndepth = 9\n'
        "diameter = { plain = 3.6, metal = 4.1 }\n[[group]]\nname = 'a'\n"
        'datum = "boot-centre"\nshift = 0\n[[group.hole]]\nat = [0, 20]\n'
    )
    base = ["remount", str(plate), "--boot", "305", "--old", str(plate), "--old-boot", "305"]
    for words, again in (
        (["--side", "right"], True),
        (["--side", "right", "--old-side", "left"], False),
    ):
        assert main([*base, *words, "--json"]) == 0
        assert bool(json.loads(capsys.readouterr().out)["reused"]) is again


def test_a_file_and_a_pattern_together(table, capsys):
    _, out, _ = run(
        capsys, "--old-holes", table, "--old", "hut-plate", "--old-boot", "300", "--json"
    )
    ids = [hole["id"] for hole in json.loads(out)["old_holes"]]
    assert ids[:3] == ["old-1", "old-2", "old-front-1"]
    assert len(ids) == 10


def test_json(table, capsys):
    code, out, err = run(capsys, "--old-holes", table, "--json", "--shift", "1")
    assert (code, err) == (1, "")
    data = json.loads(out)
    assert data["mount_shift"] == 1.0
    assert data["is_clear"] is False
    assert data["limits"] == {"open": 10.0, "plugged": 6.0, "reuse": 0.3}
    assert data["conflicts"] == [{"new": "toe-5", "old": "old-1", "distance": 4.0, "limit": 10.0}]
    assert data["to_tip"] == {"exact": 15.0, "set_to": 15.0, "room": [15.0, 61.0]}
    assert data["to_tail"] == {"exact": -5.0, "set_to": -5.0, "room": [-5.0, -59.0]}
    assert data["clear"] == [[-59.0, -5.0], [15.0, 61.0]]
    assert data["old_holes"][1] == {
        "id": "old-2",
        "x": 0.0,
        "y": 0.0,
        "diameter": None,
        "plugged": True,
        "ski": None,
    }
    # 4 mm is too near a plug too: 6 mm behind old-1 toe-5 lies at a shift of -1.
    assert (data["plug"], data["plug_there"]) == ([], ["old-1"])
    assert data["plugged_way"]["set_to"] == -1.0


@pytest.mark.parametrize(
    ("words", "key"),
    [
        ((), "--old-holes"),
        (("--old", "club-piste"), "--old-boot"),
        (("--old-boot", "305"), "--old"),
        (("--old-shift", "0"), "--old"),
        (("--old-side", "left"), "--old"),
        (("--old-plugged",), "--old-plugged"),
    ],
)
def test_options_that_lack_one_another(capsys, words, key):
    code, out, err = run(capsys, *words)
    assert (code, out) == (2, "")
    assert err.startswith(f"error: {key}: ")


@pytest.mark.parametrize(
    "words",
    [
        ("--limit", "ten"),
        ("--limit", "-1"),
        ("--plugged-limit", "1000"),
        ("--svg", "holes.png"),
    ],
)
def test_bad_values_are_refused(table, capsys, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, err = run(capsys, "--old-holes", table, *words)
    assert (code, out) == (2, "")
    assert words[0].strip("-") in err
    assert [path.name for path in tmp_path.iterdir()] == ["old.csv"]


def test_every_fault_of_the_file_comes_with_its_line(tmp_path, capsys):
    path = tmp_path / "old.csv"
    path.write_text("x,y\nabout 100,0\n100,\n")
    code, out, err = run(capsys, "--old-holes", str(path))
    assert (code, out) == (2, "")
    assert f"error: {path}:2: x: " in err
    assert f"error: {path}:3: y: " in err


def test_help_names_the_old_holes(capsys):
    assert main(["remount", "--help"]) == 0
    assert "--old-holes" in capsys.readouterr().out


# -- the picture -------------------------------------------------------------------------------


def club(boot: float, shift: float = 0.0) -> Layout:
    return lay_out(read_pattern(find_pattern("club-piste")), boot, mount_shift=shift)


def mounts(text: str) -> list[ET.Element]:
    root = ET.fromstring(text)
    return [g for g in root.iter(f"{SVG}g") if g.get("class") == "mount"]


def circles(group: ET.Element, kind: str) -> np.ndarray:
    """(n, 3) float: x, y and radius of the circles of one class, in the ski frame."""
    return np.array(
        [
            (float(c.get("cx")), -float(c.get("cy")), float(c.get("r")))
            for c in group.iter(f"{SVG}circle")
            if c.get("class") == kind
        ]
    )


def words_of(text: str) -> list[str]:
    return [t.text or "" for t in ET.fromstring(text).iter(f"{SVG}text")]


def test_the_picture_has_both_mounts_at_one_to_one():
    wanted, old = club(295), old_holes(club(305))
    best = moved(wanted, 5.0)
    text = remount_svg(wanted, best, old, RemountLimits())
    root = ET.fromstring(text)
    width, height = root.get("width"), root.get("height")
    assert width.endswith("mm")
    assert root.get("viewBox") == f"0 0 {width.removesuffix('mm')} {height.removesuffix('mm')}"
    for group, shown in zip(mounts(text), (wanted, best), strict=True):
        new = circles(group, "new")
        assert np.allclose(new[:, :2], shown.positions, rtol=0, atol=1e-6)
        assert np.allclose(new[:, 2], shown.diameters / 2)
        assert np.allclose(circles(group, "old")[:, :2], [(hole.x, hole.y) for hole in old])
        assert (circles(group, "limit")[:, 2] == 10.0).all()
    assert len(circles(mounts(text)[0], "again")) == 0
    assert len(circles(mounts(text)[1], "again")) == 5
    assert "transform" in mounts(text)[0].attrib
    assert "scale(" not in text


def test_the_picture_says_what_is_too_near_and_what_is_clear():
    wanted, old = club(295), old_holes(club(305))
    words = words_of(remount_svg(wanted, moved(wanted, 5.0), old, RemountLimits()))
    assert "asked for: mount shift none: 9 of 9 holes too near an old one" in words
    assert "nearest clear: mount shift 5 mm towards the tip: clear" in words
    assert "toe-1 is 5.00 mm from old-toe-1; 10 mm are needed" in words
    assert {*wanted.ids, *(hole.id for hole in old)} <= set(words)
    assert {"new, clear", "new, too near", "old, open", "old, plugged", "boot centre"} <= set(words)
    assert " ".join(CAUTIONS) in " ".join(words)


def test_the_picture_keeps_to_its_sheet():
    wanted, old = club(295), [*old_holes(club(355)), OldHole("old-far", -320.0, 60.0)]
    text = remount_svg(wanted, moved(wanted, -40.0), old, RemountLimits())
    root = ET.fromstring(text)
    _, _, width, height = map(float, root.get("viewBox").split())
    for group in mounts(text):
        across, down = map(float, group.get("transform")[len("translate(") : -1].split())
        for x, y, radius in np.vstack([circles(group, kind) for kind in ("new", "old", "limit")]):
            assert radius <= across + x <= width - radius
            assert radius <= down - y <= height - radius
        for words in group.iter(f"{SVG}text"):
            assert 0 <= across + float(words.get("x")) <= width
            assert 0 <= down + float(words.get("y")) <= height


def test_plugged_and_unmeasured_holes_look_different():
    old = [OldHole("a", 0, 0, 4.0), OldHole("b", 30, 0, 4.0, True), OldHole("c", 60, 0)]
    text = remount_svg(club(305), None, old, RemountLimits())
    shapes = [c for c in mounts(text)[0].iter(f"{SVG}circle") if c.get("class") == "old"]
    looks = {(c.get("fill"), c.get("stroke-dasharray")) for c in shapes}
    assert len(looks) == 3
    assert sorted(circles(mounts(text)[0], "limit")[:, 2]) == [6.0] * 2 + [10.0] * 4


def test_without_a_best_the_picture_says_why():
    wanted = club(305)
    wall = [OldHole(f"old-{x}", float(x), 0.0) for x in range(-200, 201, 10)]
    text = remount_svg(wanted, None, wall, RemountLimits(open=40.0))
    assert len(mounts(text)) == 1
    words = words_of(text)
    assert "None of the shifts that were tried is clear." in words
    assert sum(" is " in line and " mm from " in line for line in words) == LISTED
    clear = words_of(remount_svg(wanted, None, [], RemountLimits()))
    assert "asked for: mount shift none: clear" in clear
    assert "None of the shifts that were tried is clear." not in clear


def test_names_that_mean_something_to_xml_are_harmless():
    old = [OldHole('<b>&"', 0.0, 0.0), OldHole("a\tb\x07", 30.0, 0.0)]
    words = words_of(remount_svg(club(305), None, old, RemountLimits()))
    assert '<b>&"' in words
    assert "a b\ufffd" in words


def test_the_same_picture_twice():
    wanted, old = club(295), old_holes(club(305))
    first, second = (remount_svg(wanted, None, old, RemountLimits()) for _ in range(2))
    assert first == second


@pytest.mark.parametrize(
    ("shift", "words"),
    [
        (0.0, "none"),
        (-1e-9, "none"),
        (5.0, "5 mm towards the tip"),
        (-14.256, "14.26 mm towards the tail"),
    ],
)
def test_shift_words(shift, words):
    assert shift_words(shift) == words


def test_the_command_draws_what_can_be_set(table, capsys, tmp_path):
    target = tmp_path / "holes.svg"
    code, out, _ = run(capsys, "--old-holes", table, "--shift", "1.5", "--svg", str(target))
    assert code == 1
    assert "--shift -5 " in out
    wanted, best = mounts(target.read_text())
    toe_5 = circles(wanted, "new")[4], circles(best, "new")[4]
    assert math.isclose(toe_5[0][0], 99.5)
    assert math.isclose(toe_5[1][0], 93.0)

"""Holes from a point of the boot, a mark that is not for its centre, places of a rail."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import numpy as np
import pytest

from jiggen import wording
from jiggen.cli import main
from jiggen.design import Bed, Settings, SkiRange
from jiggen.errors import InputError
from jiggen.job import Job, boots_alike, design_job
from jiggen.layout import lay_out, layouts, motions
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import pattern_toml

HEAD = 'format = 1\nname = "Bench"\n'
DRILL = "[drill]\ndiameter = { plain = 3.6, metal = 4.1 }\ndepth = 9.0\n"
POINTS = "points = { pin-line = -15.0, ball = -80.0 }\n"
BALANCED = 'mark = "pin-line"\n'


def group(name: str, datum: str, shift: float, *holes: str, places: str = "") -> str:
    lines = [f'[[group]]\nname = "{name}"\ndatum = "{datum}"\nshift = {shift}', places]
    return "\n".join([*lines, *(f"[[group.hole]]\nat = {hole}" for hole in holes), ""])


TOE = group("toe", "pin-line", 4.0, "[10.0, 12.0]", "[-20.0, 12.0]")
HEEL = group("heel", "boot-heel", 6.0, "[0.0, 14.0]")
BALL = group("ball", "ball", 0.0, "[0.0, 0.0]")


def read(*parts: str):
    return parse_pattern("".join([HEAD, *parts]), "bench.toml")


@pytest.mark.parametrize("boot", [250.0, 305.0, 350.5])
def test_a_point_lies_as_far_from_the_toe_on_every_boot(boot):
    found = lay_out(read(POINTS, DRILL, TOE, HEEL, BALL), boot)
    # By hand: the toe is half a sole in front of the mark, the point 15 behind it, the shift 4.
    wanted = (boot / 2 - 15 + 4) + np.array([10.0, -20.0])
    assert found.positions[:, 0] == pytest.approx([*wanted, 6 - boot / 2, boot / 2 - 80])
    assert found.mark == "boot-centre"


@pytest.mark.parametrize("boot", [250.0, 305.0, 350.5])
def test_with_the_point_on_the_mark_the_heel_moves_by_the_whole_boot(boot):
    pattern = read(BALANCED, POINTS, DRILL, TOE, HEEL, BALL)
    found = lay_out(pattern, boot, mount_shift=2.0)
    # By hand: the pin line is x = 0; the heel lies the whole sole less 15 behind it.
    wanted = np.array([14.0, -16.0, -(boot - 15) + 6, 15.0 - 80.0]) + 2.0
    assert found.positions[:, 0] == pytest.approx(wanted)
    assert found.mark == "pin-line"


def test_the_boot_moves_no_hole_that_is_measured_from_the_point_on_the_mark():
    fixed, moved = read(BALANCED, POINTS, DRILL, TOE), read(BALANCED, POINTS, DRILL, TOE, HEEL)
    assert boots_alike(fixed, (250.0, 350.0)) and not boots_alike(moved, (250.0, 350.0))
    still, heel = motions(layouts(moved, (250.0, 300.0, 350.0)))
    assert still.groups == ("toe",) and still.still
    assert heel.travel == pytest.approx([100.0, 50.0, 0.0])  # a longer boot's lie farther back


def test_holes_too_near_at_one_boot_are_found_by_the_points_too():
    near = group("near", "boot-heel", 0.0, "[250.0, 12.0]")  # at -L/2 + 250, the toe's at L/2 - 1
    boots = "boot = [245, 265]\n"
    with pytest.raises(InputError, match="at a boot of 251 mm"):
        read(boots, POINTS, DRILL, TOE, near)


@pytest.mark.parametrize(
    ("old", "new", "code", "key", "words"),
    [
        ('"pin-line"', '"pin-lin"', "value", "group[1].datum", 'Did you mean "pin-line"?'),
        (BALANCED, 'mark = "pin"\n', "value", "mark", "Allowed here: boot-toe"),
        ("pin-line = -15.0", "pin-line = -900.0", "length", "points.pin-line", "-500 mm to 100"),
        ("ball = ", "boot-toe = ", "name", "points", "another name"),
        ("ball = ", '"b/l" = ', "name", "points", "digits and hyphens"),
        ("shift = 4.0", "shift = 4.0\nplaces = []", "places", "group[1].places", "only one"),
        ("shift = 4.0", "shift = 4.0\nplaces = [0, 0]", "same-hole", "group[1].hole[1]", "Remove"),
        ("shift = 4.0", "shift = 4.0\nplaces = [0, 2]", "spacing", "group[1].hole[1]", "between"),
    ],
)
def test_each_fault_is_named_with_its_place(old, new, code, key, words):
    text = "".join([HEAD, BALANCED, POINTS, DRILL, TOE])
    with pytest.raises(InputError) as caught:
        parse_pattern(text.replace(old, new, 1) if old != '"pin-line"' else _datum(text), "b.toml")
    finding = caught.value.findings[0]
    assert (finding.code, finding.key) == (f"pattern.{code}", key)
    assert words in str(finding) and finding.where.startswith("b.toml:")


def _datum(text: str) -> str:
    return text.replace('datum = "pin-line"', 'datum = "pin-lin"')


def test_places_are_all_drilled_and_their_holes_count_on():
    places = "places = [-26.0, 0.0, 26.0]"
    rail = group("rail", "boot-heel", 20.0, "[3.0, 15.0]\nboth_sides = true", places=places)
    found = lay_out(read(DRILL, rail), 300.0)
    assert found.ids == tuple(f"rail-{number}" for number in range(1, 7))
    # By hand: -150 + 20 + 3 is -127, each place 26 on.
    assert found.positions[:, 0] == pytest.approx([-153, -153, -127, -127, -101, -101])
    assert Counter(found.positions[:, 1].tolist()) == {15.0: 3, -15.0: 3}


def test_what_is_written_is_read_back():
    for units in ("", 'units = "in"\n'):
        text = "".join([HEAD, units, BALANCED, POINTS, DRILL, TOE, HEEL])
        if units:
            text = text.replace("-80.0", "-3.0").replace("-15.0", "-0.6").replace("9.0", "0.36")
            text = text.replace("{ plain = 3.6, metal = 4.1 }", "{ plain = 0.14, metal = 0.16 }")
            text = text.replace("12.0]", "0.5]").replace("14.0]", "0.5]")
        pattern = parse_pattern(text, "")
        assert parse_pattern(pattern_toml(pattern), "") == pattern


@pytest.mark.parametrize(
    ("name", "point", "moved"),
    [("long-valley", "pin-line", False), ("bent-knee", "pin-line", True),
     ("high-pass", "toe-pins", True)],
)  # fmt: skip
def test_the_shipped_kinds_have_points_and_make_a_jig_on_the_usual_bed(name, point, moved):
    pattern = read_pattern(find_pattern(name))
    assert pattern.groups[0].datum == point and dict(pattern.points)[point] < 0
    assert boots_alike(pattern, (260.0, 350.0)) is not moved
    settings = Settings(SkiRange(84.0, 112.0), Bed(220.0, 220.0, 250.0))
    made = design_job(Job(pattern, (305.0, 305.0), settings)).whole
    words = {item.name for body in made.bodies for item in body.engravings}
    assert ("MARK = PIN LINE" in words) is (name == "long-valley")


def test_what_lies_on_the_mark_is_said_wherever_a_layout_is_shown(capsys):
    for command in (["layout", "long-valley", "--boot", "305"], ["show", "long-valley"]):
        assert main(command) == 0
        said = " ".join(capsys.readouterr().out.split())
        assert "pin line on the ski's mark" in said or "pin line goes on the ski's mark" in said
    assert "MARK = PIN LINE" in wording.body_lines(
        "X", (305.0,), 0, (3.6,), "plain", "", "pin-line"
    )
    assert len(wording.body_lines("X", (305.0,), 0, (3.6,), "plain")) == 3
    assert main(["layout", "bent-knee", "--boot", "305"]) == 0
    assert "on the ski's mark" not in capsys.readouterr().out


def test_every_pattern_shipped_names_its_points_in_a_comment():
    for name in ("long-valley", "bent-knee", "high-pass"):
        text = Path(find_pattern(name)).read_text(encoding="utf-8")
        assert "from its toe" in text or "from the boot's toe" in text


def test_a_new_pattern_has_its_own_points_and_mark(tmp_path, capsys):
    target = tmp_path / "track.toml"
    words = ["new", "--name", "Track", "--drill", "3,6", "--depth", "9", "-o", str(target)]
    words += ["--group", "toe,pin-line,-4,5", "--hole", "toe,12,5/13/both", "--hole", "toe,-30/0"]
    assert main([*words, "--point", "pin-line:-7,5", "--mark", "pin-line"]) == 0
    pattern = read_pattern(target)
    assert (pattern.mark, pattern.points) == ("pin-line", (("pin-line", -7.5),))
    assert lay_out(pattern, 290.0).positions[:, 0] == pytest.approx([8.0, 8.0, -34.5])
    capsys.readouterr()
    faulty = [*words, "--force", "--point", "pin-line", "--mark", "ball"]
    assert main(faulty) == 2
    said = capsys.readouterr().err
    assert '--point: "pin-line" is not a valid point' in said and "--mark" in said
    assert '"pin-line" is not a valid datum' in said


def test_a_drawing_is_imported_from_points_of_the_boot(tmp_path, capsys):
    drawing, target = tmp_path / "plate.csv", tmp_path / "plate.toml"
    drawing.write_text(
        "x,y,diameter\n20,12,3.6\n20,-12,3.6\n-25,0,3.6\n-300,14,3.6\n-300,-14,3.6\n"
    )
    words = ["import", str(drawing), "-o", str(target), "--depth", "9", "--drill", "3.6"]
    words += ["--point", "pin-line:-7,5", "--mark", "pin-line"]
    pieces = ["--piece", "-50:50=pin-line", "--piece", "-400:-200=boot-heel@-290/0"]
    assert main([*words, *pieces]) == 0
    pattern = read_pattern(target)
    assert [group.name for group in pattern.groups] == ["pin-line", "heel"]
    x = lay_out(pattern, 290.0).positions[:, 0]
    # By hand: the heel lies 290 - 7.5 behind the pin line, its holes 10 behind the heel.
    assert x == pytest.approx([20.0, 20.0, -25.0, -292.5, -292.5])
    capsys.readouterr()
    assert main([*words, "--force", "--datum", "pin-lin"]) == 2
    assert '--datum: "pin-lin" is not a valid datum' in capsys.readouterr().err

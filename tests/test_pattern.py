from __future__ import annotations

import math
import random
import tomllib
from itertools import combinations
from pathlib import Path

import pytest
import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from jiggen.errors import Finding, InputError
from jiggen.inputs.document import DEEPEST, MAX_BYTES, find_places
from jiggen.inputs.faults import KeyPath, key_text, quoted
from jiggen.pattern import check_boot, find_pattern, read_pattern, shipped_patterns
from jiggen.pattern import find as find_module
from jiggen.pattern.model import Area, Drill, Group, Hole, Pattern, Screw, Step
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import pattern_toml

GOOD = """\
format = 1
name = "Bench"
boot = [260, 350]

[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9.5

[[group]]
name = "toe"
datum = "boot-toe"
shift = -8.0

  [[group.hole]]
  at = [12.0, 21.0]
  both_sides = true

  [[group.hole]]
  at = [-20.0, 0.0]
  drill = { diameter = { metal = 5.2 }, depth = 7.0, unusual = true }

[[group]]
name = "heel"
datum = "boot-heel"
steps = [ { from = 260, shift = -4.0 }, { from = 300, shift = 3.0 } ]

  [[group.hole]]
  at = [0, 16.5]
"""


def write(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "bench.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def faults_of(path: Path) -> tuple[Finding, ...]:
    with pytest.raises(InputError) as caught:
        read_pattern(path)
    assert caught.value.exit_code == 2
    assert all(finding.code.startswith("pattern.") for finding in caught.value.findings)
    return caught.value.findings


def changed(old: str, new: str) -> str:
    assert GOOD.count(old) == 1, f"{old!r} must stand once in GOOD"
    return GOOD.replace(old, new)


# --- what a sound file becomes -------------------------------------------------------------


def test_a_sound_file_is_read_whole(tmp_path: Path) -> None:
    path = write(tmp_path, GOOD)
    pattern = read_pattern(path)
    assert (pattern.name, pattern.note, pattern.units, pattern.pair) == ("Bench", "", "mm", "same")
    assert pattern.boot == (260.0, 350.0)
    assert pattern.source == str(path)
    toe, heel = pattern.groups
    assert (toe.name, toe.datum, toe.shift, toe.steps) == ("toe", "boot-toe", -8.0, ())
    assert [(hole.at, hole.both_sides) for hole in toe.holes] == [
        ((12.0, 21.0), True),
        ((-20.0, 0.0), False),
    ]
    assert heel.steps == (Step(260.0, -4.0), Step(300.0, 3.0))


def test_a_hole_overrides_only_what_it_says(tmp_path: Path) -> None:
    first, second = read_pattern(write(tmp_path, GOOD)).groups[0].holes
    assert (first.drill.plain, first.drill.metal, first.drill.depth) == (3.6, 4.1, 9.5)
    assert (second.drill.plain, second.drill.metal, second.drill.depth) == (3.6, 5.2, 7.0)


def test_steps_hold_up_to_the_next_ones_start(tmp_path: Path) -> None:
    heel = read_pattern(write(tmp_path, GOOD)).groups[1]
    assert [heel.shift_at(boot) for boot in (260, 299.999, 300, 350)] == [-4.0, -4.0, 3.0, 3.0]


def test_holes_with_full_drills_need_no_default(tmp_path: Path) -> None:
    text = (
        'format = 1\nname = "x"\n[[group]]\nname = "g"\ndatum = "boot-centre"\nshift = 0\n'
        "hole = [{at = [9, 0], drill = {depth = 8, diameter = {plain = 3, metal = 4}}}]\n"
    )
    (hole,) = read_pattern(write(tmp_path, text)).groups[0].holes
    assert (hole.drill.plain, hole.drill.metal, hole.drill.depth) == (3.0, 4.0, 8.0)


@pytest.mark.parametrize("change", ["bom", "crlf"])
def test_what_windows_editors_leave_in_a_file_does_no_harm(tmp_path: Path, change: str) -> None:
    text = "\ufeff" + GOOD if change == "bom" else GOOD.replace("\n", "\r\n")
    assert read_pattern(write(tmp_path, text)).groups == read_pattern(write(tmp_path, GOOD)).groups


def test_inches_become_millimetres_once_and_everywhere(tmp_path: Path) -> None:
    # 1 in = 25.4 mm exactly: international yard and pound agreement, 1959; ISO 31-1.
    text = """\
format = 1
name = "Inch"
units = "in"
boot = [10, 14.2]
[drill]
diameter = { plain = 0.14, metal = 0.16 }
depth = 0.375
[[group]]
name = "toe"
datum = "boot-toe"
shift = -0.5
hole = [ { at = [0.5, 0.75], drill = { depth = 0.25 } } ]
[[group]]
name = "heel"
datum = "boot-heel"
steps = [ { from = 10, shift = 0.25 }, { from = 12, shift = -0.25 } ]
hole = [ { at = [-1, 0.6] } ]
"""
    pattern = read_pattern(write(tmp_path, text))
    assert pattern.units == "in"
    assert pattern.boot == (254.0, 360.68)  # 10 × 25.4, 14.2 × 25.4
    toe, heel = pattern.groups
    assert toe.shift == -12.7  # -0.5 × 25.4
    assert toe.holes[0].at == (12.7, 19.05)  # 0.5 × 25.4, 0.75 × 25.4
    drill = toe.holes[0].drill
    assert (drill.plain, drill.metal, drill.depth) == (3.556, 4.064, 6.35)
    assert heel.steps == (Step(254.0, 6.35), Step(304.8, -6.35))
    assert heel.holes[0].at == (-25.4, 15.24)
    assert heel.holes[0].drill.depth == 9.525  # 0.375 × 25.4


# --- each fault by itself --------------------------------------------------------------------

# what to change in GOOD, into what: code, key, line, and words of message and hint
FAULTS = [
    ("format = 1\n", "", "missing-key", "format", 1, "format = 1"),
    ("format = 1\n", "format = 2\n", "format", "format", 1, "format = 1"),
    ("format = 1\n", "format = 1.0\n", "type", "format", 1, "a whole number"),
    ("format = 1\n", "format = true\n", "type", "format", 1, "a whole number"),
    ('name = "Bench"\n', "", "missing-key", "name", 1, "1 to 40 printable"),
    ('"Bench"', '""', "name", "name", 2, "empty"),
    ('"Bench"', '"   "', "name", "name", 2, "empty"),
    ('"Bench"', f'"{"n" * 41}"', "name", "name", 2, "41 characters"),
    ('"Bench"', r'"Ben\u0007ch"', "name", "name", 2, "U+0007"),
    ('"Bench"', r'"Ben\u202Ech"', "name", "name", 2, "U+202E"),
    ('"Bench"', r'"Ben\u2066ch"', "name", "name", 2, "U+2066"),
    ('"Bench"', r'"Ben\nch"', "name", "name", 2, "U+000A"),
    ('"Bench"', "1979-05-27", "type", "name", 2, "a date or time, but must be text"),
    ('"Bench"', '"Bench"\nnote = "\\u202Ex"', "note", "note", 3, "U+202E"),
    ("boot =", "boots =", "unknown-key", "boots", 3, 'Did you mean "boot"?'),
    ("boot = [260, 350]", "boot = [350, 260]", "boot", "boot", 3, "before the shortest"),
    ("boot = [260, 350]", "boot = [2.6, 350]", "boot", "boot", 3, "100 mm to 500 mm"),
    ("boot = [260, 350]", "boot = [260]", "type", "boot", 3, "a list of two numbers"),
    ("boot = [260, 350]", "boot = [260, inf]", "not-finite", "boot", 3, "the longest boot"),
    ("boot = [260, 350]", "boot = [230, 250]", "boot", "boot", 3, "no boot is served"),
    ("boot =", 'units = "cm"\nboot =', "value", "units", 3, "Allowed here: mm, in"),
    ("boot =", 'pair = "mirror"\nboot =', "value", "pair", 3, 'Did you mean "mirrored"?'),
    ("plain = 3.6,", "", "no-drill", "drill.diameter.plain", 6, "plain cores is given for 3 holes"),
    ("depth = 9.5\n", "", "no-drill", "drill.depth", 5, "2 holes, the first group[1].hole[1]"),
    ("plain = 3.6", "plain = 0.99", "diameter", "drill.diameter.plain", 6, "1 mm to 12 mm"),
    ("metal = 4.1", "metal = 12.1", "diameter", "drill.diameter.metal", 6, "12.1 mm"),
    ("metal = 4.1", "metal = nan", "not-finite", "drill.diameter.metal", 6, "finite"),
    ("metal = 4.1", 'metal = "4,1"', "type", "drill.diameter.metal", 6, '"4,1" (text)'),
    ("{ plain = 3.6, metal = 4.1 }", "3.6", "type", "drill.diameter", 6, "a table"),
    ("depth = 9.5", "depth = 0", "depth", "drill.depth", 7, "more than 0, up to 30 mm"),
    ("depth = 9.5", "depth = 30.5", "depth", "drill.depth", 7, "30.5 mm"),
    ("depth = 9.5", "depth = true", "type", "drill.depth", 7, "is true, but must be a number"),
    ("depth = 9.5", "depth = 9.5\ndeep = 1", "unknown-key", "drill.deep", 8, '"depth"'),
    ('name = "toe"\n', "", "missing-key", "group[1].name", 9, "hole ids"),
    ('"toe"', '"t/e"', "name", "group[1].name", 10, '"/"'),
    ('"toe"', '"heel"', "same-name", "group[2].name", 23, 'group[1] is called "heel" too'),
    ('"boot-toe"', '"boot-tow"', "value", "group[1].datum", 11, 'Did you mean "boot-toe"?'),
    ("shift = -8.0\n", "", "shift", "group[1].shift", 9, "no shift and no steps"),
    (
        "shift = -8.0",
        "shift = 1\nsteps = [{from = 250, shift = 1}]",
        *("shift", "group[1].steps", 13, "both shift and steps"),
    ),
    ("shift = -8.0", "shift = true", "type", "group[1].shift", 12, "true, but must be a number"),
    ("shift = -8.0", "shift = -inf", "not-finite", "group[1].shift", 12, "finite"),
    ("shift = -8.0", "shift = 900", "length", "group[1].shift", 12, "1075 mm from the mounting"),
    ("shift = -8.0", "shift = 1e300", "length", "group[1].shift", 12, "-2000 mm to 2000 mm"),
    ("shift = -8.0", "steps = []", "steps", "group[1].steps", 12, "empty"),
    ("{ from = 300,", "{ from = 260,", "steps", "group[2].steps[2].from", 25, "comes after 260"),
    ("{ from = 300,", "{ from = 230,", "steps", "group[2].steps[2].from", 25, "230 mm comes"),
    ("{ from = 300,", "{ from = -1,", "boot", "group[2].steps[2].from", 25, "0 mm to 600 mm"),
    ("{ from = 300,", "{ ", "missing-key", "group[2].steps[2].from", 25, "from which the step"),
    (
        "{ from = 300,",
        "{ form = 1, from = 300,",
        "unknown-key",
        "group[2].steps[2].form",
        25,
        '"from"',
    ),
    ("at = [12.0, 21.0]", "", "missing-key", "group[1].hole[1].at", 14, "[12.0, 21.0]"),
    ("[12.0, 21.0]", "[12.0]", "type", "group[1].hole[1].at", 15, "list of two numbers"),
    ("[12.0, 21.0]", "[12,0, 21.0]", "type", "group[1].hole[1].at", 15, "a list of 3"),
    ("[12.0, 21.0]", "[12.0, nan]", "not-finite", "group[1].hole[1].at", 15, "y is not"),
    ("[12.0, 21.0]", "[-inf, 21]", "not-finite", "group[1].hole[1].at", 15, "x is not"),
    ("[12.0, 21.0]", "[true, 21]", "type", "group[1].hole[1].at", 15, "x is true"),
    ("[12.0, 21.0]", "[12.0, 75.5]", "length", "group[1].hole[1].at", 15, "-75 mm to 75 mm"),
    ("[12.0, 21.0]", "[434, 21.0]", "length", "group[1].hole[1].at", 15, "x is 601 mm"),
    ("[12.0, 21.0]", f"[1{'0' * 400}, 2]", "type", "group[1].hole[1].at", 15, "many digits"),
    ("[12.0, 21.0]", "[12.0, 2.0]", "spacing", "group[1].hole[1]", 14, "4 mm from its other side"),
    ("[12.0, 21.0]", "[12.0, 0]", "both-sides", "group[1].hole[1].both_sides", 16, "y = 0"),
    ("both_sides = true", "both_sides = 1", "type", "group[1].hole[1].both_sides", 16, "true or f"),
    ("both_sides", "bothsides", "unknown-key", "group[1].hole[1].bothsides", 16, '"both_sides"'),
    ("metal = 5.2", "metel = 5.2", "unknown-key", "group[1].hole[2].drill.diameter.metel", 20, "m"),
    (
        "[-20.0, 0.0]",
        "[12.0, -21]",
        "same-hole",
        "group[1].hole[2]",
        18,
        "group[1].hole[1] (right)",
    ),
    # mean of 4.1 and 5.2 is 4.65, and 1 mm of wall: 5.65 mm between centres
    ("[-20.0, 0.0]", "[12.0, 15.36]", "spacing", "group[1].hole[2]", 18, "5.65 mm between"),
    ("  [[group.hole]]\n  at = [0, 16.5]\n", "", "empty-group", "group[2].hole", 22, "no hole"),
]


@pytest.mark.parametrize(("old", "new", "code", "key", "line", "words"), FAULTS)
def test_each_fault_is_named_with_its_place(
    tmp_path: Path, old: str, new: str, code: str, key: str, line: int, words: str
) -> None:
    text = changed(old, new)
    path = write(tmp_path, text)
    findings = faults_of(path)
    assert [(f.code, f.key) for f in findings] == [(f"pattern.{code}", key)], findings
    (finding,) = findings
    file, found_line, column = finding.where.rsplit(":", 2)
    assert (file, int(found_line)) == (str(path), line)
    assert 1 <= int(column) <= len(text.splitlines()[line - 1])
    assert words in str(finding)
    assert finding.hint


NO_GROUP = 'format = 1\nname = "x"\n'


@pytest.mark.parametrize(
    ("text", "code", "key", "line", "words"),
    [
        (NO_GROUP, "no-group", "group", 1, "[[group]]"),
        (f"{NO_GROUP}group = []\n", "no-group", "group", 3, "[[group]]"),
        (f"{NO_GROUP}[group]\nname = 'g'\n", "type", "group", 3, "double brackets"),
        (f"{NO_GROUP}group = [3]\n", "type", "group[1]", 3, "is 3, but must be a table"),
    ],
)
def test_a_file_without_proper_groups(
    tmp_path: Path, text: str, code: str, key: str, line: int, words: str
) -> None:
    path = write(tmp_path, text)
    (finding,) = faults_of(path)
    assert (finding.code, finding.key) == (f"pattern.{code}", key)
    assert finding.where.startswith(f"{path}:{line}:")
    assert words in str(finding)


def test_every_fault_of_a_file_is_reported_at_once_in_its_order(tmp_path: Path) -> None:
    text = """\
format = 1
nmae = "misspelt"
pair = "mirored"
[drill]
diameter = { plain = 0.5 }
depth = 9
[[group]]
name = "toe"
datum = "boot-center"
shift = 1
  [[group.hole]]
  at = [1.0, nan]
  both_side = true
  [[group.hole]]
  at = [30, 0]
  both_sides = true
  drill = { depht = 3 }
  [[group.hole]]
  at = [30, 0.5]
  [[group.hole]]
  at = [60, 80]
  drill = { depth = -1, diameter = { metal = "4" } }
[[group]]
name = "toe"
datum = "boot-toe"
steps = [ { from = 300, shift = 1 }, { from = 255, shift = "x" } ]
hole = []
"""

    def found(text: str) -> list[tuple[str, str]]:
        findings = faults_of(write(tmp_path, text))
        return [(f.code.removeprefix("pattern."), f.key) for f in findings]

    assert found(text) == [
        ("missing-key", "name"),
        ("unknown-key", "nmae"),
        ("value", "pair"),
        ("diameter", "drill.diameter.plain"),
        ("value", "group[1].datum"),
        ("not-finite", "group[1].hole[1].at"),
        ("unknown-key", "group[1].hole[1].both_side"),
        ("unknown-key", "group[1].hole[2].drill.depht"),
        ("length", "group[1].hole[4].at"),
        ("depth", "group[1].hole[4].drill.depth"),
        ("type", "group[1].hole[4].drill.diameter.metal"),
        ("type", "group[2].steps[2].shift"),
    ]
    for bad, good in (
        ("nmae", "name"),
        ("mirored", "mirrored"),
        ("0.5 }", "3.6 }"),
        ("center", "centre"),
        ("nan", "2"),
        ("both_side = true\n  [[", "both_sides = true\n  [["),
        ("depht", "depth"),
        ("60, 80", "60, 8"),
        ("-1", "6"),
        ('"4"', "4"),
        ('"x"', "2"),
    ):
        assert bad in text
        text = text.replace(bad, good)
    assert found(text) == [
        ("no-drill", "drill.diameter.metal"),
        ("both-sides", "group[1].hole[2].both_sides"),
        ("same-name", "group[2].name"),
        ("steps", "group[2].steps[2].from"),
        ("empty-group", "group[2].hole"),
    ]


def test_messages_speak_the_files_unit(tmp_path: Path) -> None:
    text = GOOD.replace("format = 1", 'format = 1\nunits = "in"', 1)
    said = {f.key: str(f) for f in faults_of(write(tmp_path, text))}
    # 3.6 in is 91 mm; the limit of 12 mm is 12 / 25.4 = 0.472441 in
    assert "a drill of 3.6 in" in said["drill.diameter.plain"]
    assert "0.472441 in" in said["drill.diameter.plain"]
    assert "y of 21 in" in said["group[1].hole[1].at"]
    assert " mm" not in "".join(said.values())


def test_a_misspelt_unit_brings_no_false_faults(tmp_path: Path) -> None:
    text = GOOD.replace("format = 1", 'format = 1\nunits = "millimetres"', 1)
    assert [f.key for f in faults_of(write(tmp_path, text))] == ["units"]


def holes_file(tmp_path: Path, count: int) -> Path:
    grid = [(14.0 * i, 14.0 * j) for j in range(-3, 3) for i in range(-20, 20)][:count]
    holes = ",\n".join(f"  {{ at = [{x}, {y}] }}" for x, y in grid)
    return write(
        tmp_path,
        f"{NO_GROUP}[drill]\ndiameter = {{ plain = 3.6, metal = 4.1 }}\ndepth = 9\n[[group]]\n"
        f'name = "g"\ndatum = "boot-centre"\nshift = 0\nhole = [\n{holes}\n]\n',
    )


def test_two_hundred_holes_are_read_and_one_more_is_refused(tmp_path: Path) -> None:
    assert len(read_pattern(holes_file(tmp_path, 200)).groups[0].holes) == 200
    (finding,) = faults_of(holes_file(tmp_path, 201))
    assert (finding.code, finding.key) == ("pattern.too-many-holes", "group")
    assert "201 holes" in finding.message


def test_both_sides_counts_twice(tmp_path: Path) -> None:
    path = holes_file(tmp_path, 200)
    text = path.read_text().replace("[-280.0, -42.0]", "[-280.0, -50], both_sides = true")
    (finding,) = faults_of(write(tmp_path, text))
    assert finding.code == "pattern.too-many-holes"
    assert "201" in finding.message


@pytest.mark.parametrize(
    ("gap", "fits"),
    [
        (5.11, True),  # 4.1 and 4.1: 4.1 + 1 = 5.1 mm between centres
        (5.1, True),
        (5.09, False),
    ],
)
def test_the_wall_between_two_holes_is_one_millimetre(
    tmp_path: Path, gap: float, fits: bool
) -> None:
    hole = "  [[group.hole]]\n  at = [0, 16.5]\n"
    path = write(tmp_path, changed(hole, hole + hole.replace("16.5", f"{16.5 - gap:.3f}")))
    if fits:
        assert len(read_pattern(path).groups[1].holes) == 2
    else:
        (finding,) = faults_of(path)
        assert (finding.code, finding.key) == ("pattern.spacing", "group[2].hole[2]")


# --- screws and the allowed area, both optional --------------------------------------------------

FITTED = (
    GOOD
    + """\
  screw = { plate = 4.0 }

[screw]
plate = 6.0
lengths = [12, 14, 16]

[area]
x = [-210, 200.5]
half_width = 32
"""
)
OWN, SCREW, AREA = 29, 31, 35  # lines of the hole's own screw, of [screw] and of [area]


def test_without_their_tables_neither_screws_nor_an_area_are_known(tmp_path: Path) -> None:
    pattern = read_pattern(write(tmp_path, GOOD))
    assert pattern.area is None
    assert {hole.screw for group in pattern.groups for hole in group.holes} == {None}


def test_screws_and_area_are_read_and_a_hole_overrides_what_it_says(tmp_path: Path) -> None:
    pattern = read_pattern(write(tmp_path, FITTED))
    assert pattern.area == Area(-210.0, 200.5, 32.0)
    first, second = pattern.groups[0].holes
    (third,) = pattern.groups[1].holes
    assert first.screw == second.screw == Screw(6.0, (12.0, 14.0, 16.0))
    assert third.screw == Screw(4.0, (12.0, 14.0, 16.0))


def test_a_plate_of_nothing_is_not_a_plate_unsaid(tmp_path: Path) -> None:
    text = FITTED.replace("plate = 4.0", "plate = 0, lengths = [9]")
    (hole,) = read_pattern(write(tmp_path, text)).groups[1].holes
    assert hole.screw == Screw(0.0, (9.0,))


def test_a_hole_may_have_the_only_screw(tmp_path: Path) -> None:
    text = GOOD + "  screw = { plate = 5, lengths = [16, 12] }\n"
    toe, heel = read_pattern(write(tmp_path, text)).groups
    assert [hole.screw for hole in toe.holes] == [None, None]
    assert heel.holes[0].screw == Screw(5.0, (16.0, 12.0))  # in whatever order they were written


def test_screws_and_area_are_in_the_files_unit(tmp_path: Path) -> None:
    # 1 in = 25.4 mm exactly: international yard and pound agreement, 1959; ISO 31-1.
    text = """\
format = 1
name = "Inch"
units = "in"
[drill]
diameter = { plain = 0.14, metal = 0.16 }
depth = 0.375
[screw]
plate = 0.25
lengths = [0.5, 0.625]
[area]
x = [-8, 7.5]
half_width = 1.25
[[group]]
name = "toe"
datum = "boot-toe"
shift = 0
hole = [ { at = [0.5, 0.75], screw = { plate = 0.125 } } ]
"""
    pattern = read_pattern(write(tmp_path, text))
    assert pattern.groups[0].holes[0].screw == Screw(3.175, (12.7, 15.875))
    assert pattern.area == Area(-203.2, 190.5, 31.75)
    said = {
        f.key: str(f)
        for f in faults_of(write(tmp_path, text.replace("0.25", "6").replace("1.25", "32")))
    }
    assert "a plate of 6 in" in said["screw.plate"]
    assert "2.3622 in" in said["screw.plate"]  # 60 / 25.4
    assert "3.93701 in" in said["area.half_width"]  # 100 / 25.4


def many(count: int) -> str:
    return ", ".join(str(n) for n in range(10, 10 + count))


# what to change in FITTED, into what: code, key, line, and words of message and hint
FITTING_FAULTS = [
    ("plate = 6.0", "plate = -0.1", "screw", "screw.plate", SCREW + 1, "0 mm to 60 mm"),
    ("plate = 6.0", "plate = 60.1", "screw", "screw.plate", SCREW + 1, "a plate of 60.1 mm"),
    ("plate = 6.0", "plate = nan", "not-finite", "screw.plate", SCREW + 1, "goes through"),
    ("plate = 6.0", 'plate = "6"', "type", "screw.plate", SCREW + 1, '"6" (text)'),
    ("[12, 14, 16]", "[3.9, 14]", "screw", "screw.lengths[1]", SCREW + 2, "4 mm to 60 mm"),
    ("[12, 14, 16]", "[14, 60.5]", "screw", "screw.lengths[2]", SCREW + 2, "a screw of 60.5 mm"),
    ("[12, 14, 16]", "[14, inf]", "not-finite", "screw.lengths[2]", SCREW + 2, "[12, 14, 16]"),
    ("[12, 14, 16]", "[14, true]", "type", "screw.lengths[2]", SCREW + 2, "must be a number"),
    (
        "[12, 14, 16]",
        "[12, 14, 12.0]",
        "screw",
        "screw.lengths",
        SCREW + 2,
        "12 is given twice",
    ),
    ("[12, 14, 16]", "[]", "screw", "screw.lengths", SCREW + 2, "no screw length"),
    ("[12, 14, 16]", f"[{many(13)}]", "screw", "screw.lengths", SCREW + 2, "1 to 12 lengths"),
    ("[12, 14, 16]", "14", "type", "screw.lengths", SCREW + 2, "is 14, but must be a list of numb"),
    (
        "[screw]\nplate = 6.0\nlengths = [12, 14, 16]\n",
        "[[screw]]\nplate = 6.0\n",
        *("type", "screw", SCREW, "a table headed [screw]"),
    ),
    ("plate = 4.0", "plat = 4.0", "unknown-key", "group[2].hole[1].screw.plat", OWN, '"plate"?'),
    ("{ plate = 4.0 }", "4.0", "type", "group[2].hole[1].screw", OWN, "differs from [screw]"),
    ("plate = 4.0", "plate = 99", "screw", "group[2].hole[1].screw.plate", OWN, "99 mm"),
    (
        "lengths = [12, 14, 16]",
        "",
        "no-screw",
        "screw.lengths",
        SCREW,
        "given for 3 holes, the fir",
    ),
    ("plate = 6.0", "", "no-screw", "screw.plate", SCREW, "2 holes, the first group[1].hole[1]"),
    (
        "[screw]\nplate = 6.0\nlengths = [12, 14, 16]\n",
        "",
        *("no-screw", "group[2].hole[1].screw.lengths", OWN, "given for 1 hole group[2].hole[1]"),
    ),
    ("[area]", "[aera]", "unknown-key", "aera", AREA, 'Did you mean "area"?'),
    ("[area]", "[[area]]", "type", "area", AREA, "a list of 1, but must be a table"),
    ("half_width = 32\n", "", "missing-key", "area.half_width", AREA, "to either side"),
    ("x = [-210, 200.5]\n", "", "missing-key", "area.x", AREA, "from the mounting mark"),
    (
        "half_width = 32",
        "half_width = 0",
        "area",
        "area.half_width",
        AREA + 2,
        "more than 0, up to",
    ),
    ("half_width = 32", "half_width = 100.5", "area", "area.half_width", AREA + 2, "100 mm"),
    ("half_width = 32", "half_width = nan", "not-finite", "area.half_width", AREA + 2, "finite"),
    (
        "[-210, 200.5]",
        "[200.5, -210]",
        "area",
        "area.x",
        AREA + 1,
        "ends at -210 mm, but begins at",
    ),
    ("[-210, 200.5]", "[200.5, 200.5]", "area", "area.x", AREA + 1, "towards the tail first"),
    ("[-210, 200.5]", "[-210]", "type", "area.x", AREA + 1, "a list of two numbers"),
    ("[-210, 200.5]", "[-210, inf]", "not-finite", "area.x", AREA + 1, "the front end is not"),
    ("[-210, 200.5]", "[-2001, 200]", "length", "area.x", AREA + 1, "-2000 mm to 2000 mm"),
]


@pytest.mark.parametrize(("old", "new", "code", "key", "line", "words"), FITTING_FAULTS)
def test_each_fault_of_screws_and_area_is_named_with_its_place(
    tmp_path: Path, old: str, new: str, code: str, key: str, line: int, words: str
) -> None:
    assert FITTED.count(old) == 1
    path = write(tmp_path, FITTED.replace(old, new))
    findings = faults_of(path)
    assert [(f.code, f.key) for f in findings] == [(f"pattern.{code}", key)], findings
    (finding,) = findings
    file, found_line, _ = finding.where.rsplit(":", 2)
    assert (file, int(found_line)) == (str(path), line)
    assert words in str(finding)
    assert finding.hint


@pytest.mark.parametrize(
    ("old", "new", "meant", "missed"),
    [
        ("[screw]", "[scew]", "screw", None),  # what a hole lacks is asked of sound keys only
        ("half_width =", "halfwidth =", "half_width", "area.half_width"),
    ],
)
def test_a_misspelt_key_is_told_with_what_is_missed_for_it(
    tmp_path: Path, old: str, new: str, meant: str, missed: str | None
) -> None:
    findings = faults_of(write(tmp_path, FITTED.replace(old, new)))
    (slip,) = [f for f in findings if f.code == "pattern.unknown-key"]
    assert f'Did you mean "{meant}"?' in slip.hint
    assert [f.key for f in findings if f != slip] == ([missed] if missed else [])


@pytest.mark.parametrize(
    ("plate", "lengths"),
    [("0", "[4]"), ("60", "[60]"), ("6", f"[{many(12)}]")],
)
def test_screws_at_their_limits_are_read(tmp_path: Path, plate: str, lengths: str) -> None:
    text = FITTED.replace("plate = 6.0", f"plate = {plate}").replace("[12, 14, 16]", lengths)
    screw = read_pattern(write(tmp_path, text)).groups[0].holes[0].screw
    assert screw is not None
    assert (screw.plate, list(screw.lengths)) == (
        float(plate),
        tomllib.loads(f"n = {lengths}")["n"],
    )


def test_all_faults_of_screws_and_area_come_at_once(tmp_path: Path) -> None:
    text = (
        FITTED.replace("plate = 6.0", "plate = 61")
        .replace("[12, 14, 16]", "[1, 2, 70]")
        .replace("plate = 4.0", "plate = 4.0, lengths = [5, 5]")
        .replace("[-210, 200.5]", "[1, 0]")
        .replace("half_width = 32", "half_width = -32")
        .replace("depth = 9.5", "depth = 95")
    )
    assert [f.key for f in faults_of(write(tmp_path, text))] == [
        "drill.depth",
        "group[2].hole[1].screw.lengths",
        "screw.plate",
        "screw.lengths[1]",
        "screw.lengths[2]",
        "screw.lengths[3]",
        "area.x",
        "area.half_width",
    ]


SCREWS = st.builds(
    Screw,
    st.floats(0, 60).map(lambda mm: round(mm, 3)),
    st.lists(st.floats(4, 60).map(lambda mm: round(mm, 3)), min_size=1, max_size=12, unique=True)
    .map(tuple),
)  # fmt: skip


@given(
    st.lists(st.none() | SCREWS, min_size=1, max_size=4) | st.lists(SCREWS, min_size=1, max_size=4),
    st.none() | st.builds(Area, st.floats(-900, 0), st.floats(1, 900), st.floats(1, 100)),
)
@settings(max_examples=60, deadline=None)
def test_what_is_written_of_screws_and_area_is_read_back(
    screws: list[Screw | None], area: Area | None
) -> None:
    if area:
        area = Area(round(area.x_from, 6), round(area.x_to, 6), round(area.half_width, 6))
    drill = Drill(3.6, 4.1, 9.0)
    holes = tuple(Hole((14.0 * n, 0.0), False, drill, screw) for n, screw in enumerate(screws))
    group = Group("g", "boot-centre", 0.0, (), holes)
    for units in ("mm", "in"):
        pattern = Pattern("x", "", units, None, "same", (group,), "x.toml", area)
        again = parse_pattern(pattern_toml(pattern), "x.toml")
        assert [hole.screw for hole in again.groups[0].holes] == screws
        assert again.area == area


@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
def test_a_shipped_pattern_is_written_whole(path: Path) -> None:
    pattern = read_pattern(path)
    assert parse_pattern(pattern_toml(pattern), str(path)) == pattern


# --- groups against each other: it depends on the boot ---------------------------------------

CROSSING = """\
format = 1
name = "Crossing"
BOOT
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9
[[group]]
name = "toe"
datum = "boot-toe"
shift = -130
hole = [ { at = [0, 10] } ]
[[group]]
name = "plate"
datum = "boot-centre"
shift = 20
hole = [ { at = [0, 10] } ]
"""


def test_a_clash_inside_the_boot_range_is_found(tmp_path: Path) -> None:
    # boot / 2 - 130 = 20 at a boot of 300: far apart at either end of the range
    path = write(tmp_path, CROSSING.replace("BOOT", "boot = [260, 340]"))
    (finding,) = faults_of(path)
    assert (finding.code, finding.key) == ("pattern.same-hole", "group[2].hole[1]")
    assert "at a boot of 300 mm" in finding.message


def test_a_range_that_ends_before_the_clash_is_sound(tmp_path: Path) -> None:
    # 5.1 mm apart need 10.2 mm of boot: clear up to 289.8
    assert read_pattern(write(tmp_path, CROSSING.replace("BOOT", "boot = [260, 289.8]"))).boot
    faults = faults_of(write(tmp_path, CROSSING.replace("BOOT", "boot = [260, 290]")))
    assert [f.code for f in faults] == ["pattern.spacing"]


def test_without_a_boot_range_the_boot_wanted_decides(tmp_path: Path) -> None:
    pattern = read_pattern(write(tmp_path, CROSSING.replace("BOOT", "")))
    check_boot(pattern, 265.0)
    with pytest.raises(InputError) as caught:
        check_boot(pattern, 303.0)
    (finding,) = caught.value.findings
    assert (finding.code, finding.key) == ("pattern.spacing", "group[2].hole[1]")
    assert "1.5 mm from group[1].hole[1] at a boot of 303 mm" in finding.message


def test_a_clash_just_below_a_steps_edge_is_found(tmp_path: Path) -> None:
    # the heel's first step holds up to 300: there its hole is 150 + 4 = 154 behind the mark
    plate = (
        '[[group]]\nname = "p"\ndatum = "boot-centre"\nshift = -153\nhole = [{ at = [0, 16.5] }]\n'
    )
    (finding,) = faults_of(write(tmp_path, GOOD + plate))
    assert (finding.code, finding.key) == ("pattern.same-hole", "group[3].hole[1]")
    assert "at a boot of 298 mm" in finding.message  # 149 + 4 = 153


TWO_TRACKS = """\
format = 1
name = "Two tracks"
boot = [260, 340]
[drill]
diameter = { plain = 3.6, metal = 4.1 }
depth = 9
[[group]]
name = "front"
datum = "boot-centre"
steps = [ { from = 260, shift = 60 }, { from = 300, shift = 80 } ]
hole = [ { at = [0, 10] } ]
[[group]]
name = "rear"
datum = "boot-centre"
steps = [ { from = 260, shift = 40 }, { from = EDGE, shift = 60 } ]
hole = [ { at = [0, 10] } ]
"""


@pytest.mark.parametrize(("edge", "boot"), [("300", ""), ("300.5", ""), ("299.5", "299.5")])
def test_groups_that_step_at_the_same_boot_never_meet_there(
    tmp_path: Path, edge: str, boot: str
) -> None:
    path = write(tmp_path, TWO_TRACKS.replace("EDGE", edge))
    if not boot:
        assert read_pattern(path).groups[1].shift_at(340) == 60
    else:
        (finding,) = faults_of(path)
        assert finding.code == "pattern.same-hole"
        assert f"at a boot of {boot} mm" in finding.message


def test_a_group_may_start_far_off_when_its_holes_lie_on_the_ski(tmp_path: Path) -> None:
    text = changed("shift = -8.0", "shift = 492").replace("[12.0, 21.0]", "[-488, 21]")
    (finding,) = faults_of(write(tmp_path, text.replace("[-20.0, 0.0]", "[-60, 0]")))
    assert finding.key == "group[1].hole[2].at"  # 175 + 492 - 60 = 607; the other is at 179
    assert "607 mm" in finding.message
    assert read_pattern(write(tmp_path, text.replace("[-20.0, 0.0]", "[-500, 0]")))


# Steps begin at whole micrometres: nobody's boot is longer by the last digit of a float.
@given(
    st.integers(250_000, 350_000).map(lambda edge: edge / 1000),
    *[st.floats(-20, 20)] * 3,
    st.booleans(),
)
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_clashes_across_groups_agree_with_trying_every_boot(
    tmp_path: Path, edge: float, first: float, second: float, plate: float, same_row: bool
) -> None:
    low, high = 250.0, 350.0
    text = f"""\
format = 1
name = "x"
boot = [{low}, {high}]
[drill]
diameter = {{ plain = 3, metal = 4 }}
depth = 9
[[group]]
name = "a"
datum = "boot-toe"
steps = [ {{ from = 200, shift = {first} }}, {{ from = {edge}, shift = {second} }} ]
hole = [ {{ at = [0, 10] }} ]
[[group]]
name = "b"
datum = "boot-centre"
shift = {150 + 2 * plate}
hole = [ {{ at = [0, {10 if same_row else 7}] }} ]
"""
    boots = [low + (high - low) * i / 20000 for i in range(20001)]
    dy = 0.0 if same_row else 3.0
    least = min(
        math.hypot(b / 2 + (second if b >= edge else first) - (150 + 2 * plate), dy) for b in boots
    )
    try:
        read_pattern(write(tmp_path, text))
        assert least >= 5.0 - 0.01
    except InputError as error:
        assert {f.code for f in error.findings} <= {"pattern.spacing", "pattern.same-hole"}
        assert least <= 5.0 + 0.01


# --- boots a pattern serves --------------------------------------------------------------------


@pytest.mark.parametrize("boot", [259.9, 350.1, math.nan, math.inf, -300.0, 0.0])
def test_a_boot_outside_the_range_is_refused(tmp_path: Path, boot: float) -> None:
    pattern = read_pattern(write(tmp_path, GOOD))
    with pytest.raises(InputError) as caught:
        check_boot(pattern, boot)
    assert {f.code for f in caught.value.findings} == {"pattern.boot-range"}
    assert f"{boot:g}" in str(caught.value)


@pytest.mark.parametrize("boot", [260.0, 299.999, 300.0, 350.0])
def test_a_boot_inside_the_range_is_served(tmp_path: Path, boot: float) -> None:
    check_boot(read_pattern(write(tmp_path, GOOD)), boot)


def test_a_boot_below_the_first_step_is_refused(tmp_path: Path) -> None:
    pattern = read_pattern(write(tmp_path, changed("boot = [260, 350]", "")))
    check_boot(pattern, 260.0)
    with pytest.raises(InputError) as caught:
        check_boot(pattern, 259.0)
    (finding,) = caught.value.findings
    assert (finding.code, finding.key) == ("pattern.boot-range", "group[2].steps[1].from")
    assert "260 mm" in finding.hint


def test_a_boot_that_puts_holes_beyond_any_ski_is_refused(tmp_path: Path) -> None:
    text = changed("boot = [260, 350]", "").replace("shift = -8.0", "shift = 380")
    pattern = read_pattern(write(tmp_path, text))  # 592 at the longest usual boot, 400
    with pytest.raises(InputError) as caught:
        check_boot(pattern, 450.0)
    assert {f.code for f in caught.value.findings} == {"pattern.length"}


# --- files that are no pattern at all -----------------------------------------------------------


def test_missing_file(tmp_path: Path) -> None:
    (finding,) = faults_of(tmp_path / "none.toml")
    assert finding.code == "pattern.missing"
    assert finding.where == str(tmp_path / "none.toml")


def test_a_folder(tmp_path: Path) -> None:
    (finding,) = faults_of(tmp_path)
    assert finding.code == "pattern.folder"


@pytest.mark.parametrize("name", ["zero\0byte", "n" * 5000])
def test_a_name_no_file_can_have(tmp_path: Path, name: str) -> None:
    (finding,) = faults_of(tmp_path / name)
    assert finding.code == "pattern.unreadable"


def test_a_megabyte_is_read_and_a_byte_more_is_not(tmp_path: Path) -> None:
    filler = MAX_BYTES - len(GOOD.encode()) - 3
    full = f"{GOOD}# {'x' * filler}\n"
    assert len(full.encode()) == MAX_BYTES
    assert read_pattern(write(tmp_path, full)).name == "Bench"
    (finding,) = faults_of(write(tmp_path, full + "\n"))
    assert finding.code == "pattern.too-big"


def test_not_utf8_names_the_byte_and_its_line(tmp_path: Path) -> None:
    data = GOOD.encode().replace(b"Bench", b"B\xe4nch")
    path = write(tmp_path, data)
    (finding,) = faults_of(path)
    assert finding.code == "pattern.not-utf8"
    assert f"byte {data.index(0xE4) + 1} (0xe4)" in finding.message
    assert finding.where == f"{path}:2:10"


def test_utf16_is_not_utf8(tmp_path: Path) -> None:
    (finding,) = faults_of(write(tmp_path, GOOD.encode("utf-16")))
    assert finding.code == "pattern.not-utf8"
    assert "byte 1 " in finding.message


@pytest.mark.parametrize(
    ("old", "new", "place"),
    [
        ("depth = 9.5", "depth = 9,5", "7:10"),
        ('"Bench"', '"Bench', "2:14"),
        ("boot = [260, 350]", "boot = [260, 350", "5:1"),
        ("shift = -8.0", "shift = -8.0\nshift = 3", "13:10"),
        ('datum = "boot-toe"', "datum = boot-toe", "11:9"),
        ("  [[group.hole]]\n  at = [0, 16.5]\n", "x = '''", "27:8"),
    ],
)
def test_what_is_not_toml_is_named_with_line_and_column(
    tmp_path: Path, old: str, new: str, place: str
) -> None:
    path = write(tmp_path, changed(old, new))
    (finding,) = faults_of(path)
    assert finding.code == "pattern.syntax"
    assert finding.where == f"{path}:{place}"


@pytest.mark.parametrize(
    "value", ["[" * 20000, "[" * 20000 + "]" * 20000, "9" * 5000, "{x=" * 9000 + "1" + "}" * 9000]
)
def test_toml_beyond_the_readers_limits_is_refused_not_crashed_on(
    tmp_path: Path, value: str
) -> None:
    assert faults_of(write(tmp_path, f"{GOOD}x = {value}\n"))


def test_many_and_deep_keys_take_no_undue_time_or_memory(tmp_path: Path) -> None:
    many = "".join(f"k{n} = 1\n" for n in range(5000))
    assert len(faults_of(write(tmp_path, GOOD + many))) == 5000
    deep = faults_of(write(tmp_path, f"{GOOD}a{'.a' * 40} = 1\n"))
    assert [f.code for f in deep] == ["pattern.unknown-key"]
    deeper = faults_of(write(tmp_path, f"{GOOD}a{'.a' * 40_000} = 1\n"))
    assert [f.code for f in deeper] == ["pattern.syntax"]
    assert max(map(len, find_places(f"a{'.a' * 3000} = 1"))) == DEEPEST


# --- places -------------------------------------------------------------------------------------

TANGLE = '''\
# a [comment] = "with everything"
title = "a # ] } b"   # c
"quo ted".'x.y' . z = [ 1, # one ]
  2, [ 3, { a = 1, b."c d" = "}" } ],
]
"esc\\u0061ped" = 1
many = """one ] "" two
[three]
x = 1 \\""""""
lit = \'\'\'no \\ escape "\'\'\'\'\'
when = 1979-05-27 07:32:00Z
[ t . "u" ]
empty = [ ]
nothing = { }
[[g]]
k.l = 1
k.m = 2
  [[g.h]]
  at = [1,2]
  [[g.h]]
  at = [
    3,
    # between
    4, ]
[[g]]
  [[g.h]]
  at = [5]
  [g.h.sub]
  w = -1e-3
'''


def test_places_in_a_tangled_text() -> None:
    places = find_places(TANGLE)
    wanted: dict[KeyPath, tuple[int, int]] = {
        ("title",): (2, 1),
        ("quo ted",): (3, 1),
        ("quo ted", "x.y"): (3, 11),
        ("quo ted", "x.y", "z"): (3, 19),
        ("quo ted", "x.y", "z", 0): (3, 25),
        ("quo ted", "x.y", "z", 1): (4, 3),
        ("quo ted", "x.y", "z", 2, 1, "b", "c d"): (4, 22),
        ("escaped",): (6, 1),
        ("many",): (7, 1),
        ("lit",): (10, 1),
        ("when",): (11, 1),
        ("t", "u"): (12, 1),
        ("t", "u", "nothing"): (14, 1),
        ("g",): (15, 1),
        ("g", 0, "k", "m"): (17, 3),
        ("g", 0, "h", 0): (18, 3),
        ("g", 0, "h", 1, "at", 1): (24, 5),
        ("g", 1): (25, 1),
        ("g", 1, "h", 0, "sub", "w"): (29, 3),
    }
    assert {path: places[path] for path in wanted} == wanted


def paths_of(value: object, path: KeyPath = ()) -> set[KeyPath]:
    inside: list[tuple[str | int, object]] = []
    if isinstance(value, dict):
        inside = list(value.items())
    elif isinstance(value, list):
        inside = list(enumerate(value))
    return {path} | {p for key, item in inside for p in paths_of(item, (*path, key))}


KEYS = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=5)
SCALARS = st.one_of(
    st.integers(-9, 9),
    st.booleans(),
    st.floats(allow_nan=False).map(lambda x: x + 0.0),
    st.text(st.sampled_from("a\"'\\\n#[]{},=. é"), max_size=6),
    st.datetimes(),
)
TABLES = st.recursive(
    st.dictionaries(KEYS, SCALARS, max_size=3),
    lambda inner: st.dictionaries(
        KEYS, SCALARS | inner | st.lists(SCALARS | inner, max_size=3), max_size=4
    ),
    max_leaves=12,
)


@given(TABLES)
@settings(max_examples=100, deadline=None)
def test_every_key_path_that_tomllib_reads_has_a_place(table: dict[str, object]) -> None:
    text = tomlkit.dumps(table)
    data = tomllib.loads(text)
    places = find_places(text)
    assert set(places) == {path for path in paths_of(data) if 0 < len(path) <= DEEPEST}
    lines = text.replace("\r\n", "\n").split("\n")
    for path, place in places.items():
        head = lines[place.line - 1][place.column - 1 :]
        if isinstance(path[-1], str) and not head.startswith("["):
            key = head.split("=")[0] if head[0] not in "\"'" else head
            assert key.startswith(("'", '"')) or key.split(".")[0].strip() == path[-1]


@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
def test_places_cover_the_shipped_patterns(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    assert set(find_places(text)) == paths_of(tomllib.loads(text)) - {()}


def test_a_fault_in_a_missing_key_is_placed_at_its_table(tmp_path: Path) -> None:
    path = write(tmp_path, changed('datum = "boot-heel"\n', ""))
    (finding,) = faults_of(path)
    assert finding.where == f"{path}:22:1"  # the second [[group]]


def test_key_paths_count_from_one_and_quote_what_is_not_bare() -> None:
    assert key_text(("group", 0, "hole", 2, "at", 1)) == "group[1].hole[3].at"
    assert key_text(("group", 1, "steps", 0, "from")) == "group[2].steps[1].from"
    assert key_text(("drill", "a b")) == 'drill."a b"'
    assert quoted("a\u202eb\x1b[0m") == '"a\\u202eb\\u001b[0m"'


# --- whatever a file holds, it is a pattern or an InputError ----------------------------------

JUNK = [
    *("nan", "inf", "-1e308", "1e400", "true", '""', '"\\u202e"', "[]", "{}", "[[]]", "[nan, 1]"),
    *(
        "[1, 2]",
        "{ plain = 3 }",
        "0",
        "-0.0",
        "1979-05-27",
        "07:32:00",
        "9" * 30,
        "0x1F",
        "'''a'''",
    ),
    *(
        "{ from = 1 }",
        "[{ from = 255, shift = 1 }]",
        '"boot-toe"',
        "[1e308, 1e308]",
        "1_000",
        '"in"',
    ),
]
LINES = FITTED.splitlines()


def mutated(draw: random.Random) -> str:
    lines = list(LINES)
    for _ in range(draw.randint(1, 6)):
        at = draw.randrange(len(lines))
        line = lines[at]
        match draw.randrange(6):
            case 0:
                lines[at] = f"{line.split('=')[0]}= {draw.choice(JUNK)}" if "=" in line else line
            case 1:
                lines[at] = ""
            case 2:
                lines.insert(at, draw.choice(lines))
            case 3:
                cut = draw.randint(0, len(line))
                lines[at] = (
                    line[:cut] + chr(draw.choice([34, 91, 93, 46, 61, 0x202E, 7])) + line[cut:]
                )
            case 4:
                key = draw.choice(["at", "drill", "screw", "area", "x", "lengths", "shift"])
                lines.insert(at, f"{key} = {draw.choice(JUNK)}")
            case _:
                other = draw.randrange(len(lines))
                lines[at], lines[other] = lines[other], line
    return "\n".join(lines)


def sound_or_refused(path: Path) -> Pattern | InputError:
    try:
        return read_pattern(path)
    except InputError as error:
        assert error.findings
        assert all(f.code and f.message and f.where and f.hint for f in error.findings)
        assert str(error).isprintable() or "\n" in str(error)
        return error


@given(st.randoms(use_true_random=False))
@settings(
    max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_a_spoilt_file_is_refused_or_read(tmp_path: Path, draw: random.Random) -> None:
    result = sound_or_refused(write(tmp_path, mutated(draw)))
    if isinstance(result, Pattern):
        for group in result.groups:
            assert all(math.isfinite(v) for hole in group.holes for v in hole.at)
            assert all(1 <= hole.drill.plain <= 12 for hole in group.holes)
            assert all(0 < hole.drill.depth <= 30 for hole in group.holes)
            screws = [hole.screw for hole in group.holes if hole.screw]
            assert all(0 <= screw.plate <= 60 and screw.lengths for screw in screws)
        area = result.area
        assert area is None or (area.x_from < area.x_to and 0 < area.half_width <= 100)


@given(st.binary(max_size=200) | st.text(max_size=200).map(lambda text: text.encode()))
@settings(
    max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_bytes_at_all_are_refused(tmp_path: Path, data: bytes) -> None:
    assert isinstance(sound_or_refused(write(tmp_path, data)), InputError)


@given(TABLES)
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_any_toml_at_all_is_refused(tmp_path: Path, table: dict[str, object]) -> None:
    text = tomlkit.dumps({"format": 1, "group": [table], "drill": table, **table})
    assert isinstance(sound_or_refused(write(tmp_path, text)), InputError)


# --- the patterns that come with jiggen ---------------------------------------------------------


def holes_at(pattern: Pattern, boot: float) -> list[tuple[float, float]]:
    return [
        (slope * boot + apart + group.shift_at(boot) + hole.at[0], side * hole.at[1])
        for group in pattern.groups
        for slope, apart in [pattern.from_mark(group.datum)]
        for hole in group.holes
        for side in ((1, -1) if hole.both_sides else (1,))
    ]


@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
@pytest.mark.parametrize("boot", [260, 265, 277, 278, 305, 333, 334, 345, 350])
def test_shipped_patterns_suit_a_jig(path: Path, boot: float) -> None:
    pattern = read_pattern(path)
    check_boot(pattern, boot)
    holes = holes_at(pattern, boot)
    assert 3 <= len(holes) <= 12
    assert max(abs(y) for _, y in holes) <= 24
    assert max(x for x, _ in holes) <= boot / 2 + 8
    assert min(x for x, _ in holes) >= -boot / 2 - 14
    assert min(math.dist(a, b) for a, b in combinations(holes, 2)) >= 14
    if all(pattern.from_mark(group.datum)[0] == 0 for group in pattern.groups):
        assert max(abs(x) for x, _ in holes) <= 78
    else:
        assert min(abs(x) for x, _ in holes) >= 48


def test_shipped_patterns_show_every_kind() -> None:
    patterns = {path.stem: read_pattern(path) for path in shipped_patterns()}
    assert len(patterns) >= 4
    assert any(pattern.pair == "mirrored" for pattern in patterns.values())
    assert any(pattern.units == "in" for pattern in patterns.values())
    assert any(group.steps for pattern in patterns.values() for group in pattern.groups)
    data = {frozenset(group.datum for group in pattern.groups) for pattern in patterns.values()}
    assert {frozenset({"boot-centre"}), frozenset({"boot-toe", "boot-heel"})} <= data
    for path in shipped_patterns():
        assert path.stem == path.stem.lower()
        assert path.read_text(encoding="utf-8").count("#") >= 8, "patterns teach by comments"


# --- finding -----------------------------------------------------------------------------------


def test_a_path_is_taken_as_given(tmp_path: Path) -> None:
    path = write(tmp_path, GOOD)
    assert find_pattern(path) == path
    assert find_pattern(str(path)) == path


def test_a_name_is_looked_for_here_then_in_patterns_then_among_the_shipped(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    shipped = shipped_patterns()[0]
    assert find_pattern(shipped.stem) == shipped
    local = tmp_path / "patterns" / shipped.name
    local.parent.mkdir()
    local.write_text(GOOD)
    assert find_pattern(shipped.stem).resolve() == local
    here = tmp_path / shipped.stem
    here.write_text(GOOD)
    assert find_pattern(shipped.stem).resolve() == here


@pytest.mark.parametrize("name", ["club-pist", "patterns/club-pist.toml", "club-pist.toml"])
def test_an_unknown_name_lists_the_known_and_the_nearest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as caught:
        find_pattern(name)
    (finding,) = caught.value.findings
    assert finding.code == "pattern.missing"
    assert 'Did you mean "club-piste"?' in finding.hint
    assert all(path.stem in finding.hint for path in shipped_patterns())


@pytest.mark.parametrize("name", ["", "a\0b", "x" * 5000, "\u202e", "..", "/"])
def test_odd_names_are_refused_by_finding_or_by_reading(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError):
        read_pattern(find_pattern(name))


def test_an_installed_package_carries_its_own_patterns(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    packaged = tmp_path / "jiggen" / "patterns"
    packaged.mkdir(parents=True)
    (packaged / "b.toml").write_text(GOOD)
    (packaged / "a.toml").write_text(GOOD)
    monkeypatch.setattr(find_module, "files", lambda _: tmp_path / "jiggen")
    assert [path.name for path in shipped_patterns()] == ["a.toml", "b.toml"]

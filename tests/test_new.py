from __future__ import annotations

import io
import os
import pty
import subprocess
import sys
import tomllib
from dataclasses import fields, replace
from pathlib import Path
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import jiggen.cli.new as command
from jiggen.cli import main
from jiggen.errors import InputError
from jiggen.pattern import read_pattern, shipped_patterns
from jiggen.pattern.model import Datum, Drill, Group, Hole, Pair, Pattern, Step, oddities
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import (
    USUAL_DRILL,
    Draft,
    Units,
    add_holes,
    measure,
    pattern_toml,
    read_datum,
    read_group,
    read_hole,
    read_shift,
)
from jiggen.tables import trade_drill

DRILL = Drill(plain=3.6, metal=4.1, depth=9.0)


def with_source(pattern: Pattern, source: str) -> Pattern:
    return Pattern(**(vars(pattern) | {"source": source}))


# -- the text of a pattern file -----------------------------------------------------------------


@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
def test_a_shipped_pattern_written_again_reads_the_same(path: Path, tmp_path: Path):
    pattern = read_pattern(path)
    again = tmp_path / "again.toml"
    again.write_text(pattern_toml(pattern), encoding="utf-8")
    assert read_pattern(again) == with_source(pattern, str(again))


def nanometres(low: float, high: float):
    """Lengths in mm as a reader can hold them: to a nanometre (ninth decimal: inputs.shape)."""
    return st.floats(low, high).map(lambda value: round(value, 6) + 0.0)


def a_drill():
    """Any drill as the reader takes it: a size that is sold, or far from one; meant where odd."""
    size = nanometres(1.0, 6.0).map(trade_drill)
    drills = st.builds(Drill, plain=size, metal=size, depth=nanometres(1.0, 30.0))
    return drills.map(lambda drill: replace(drill, unusual=bool(oddities(drill))))


def a_group(name: str):
    """Holes 12 mm apart, all on one side or both, in one place or in steps."""
    sites = st.lists(st.integers(-5, 5), min_size=1, max_size=6, unique=True)
    holes = sites.flatmap(
        lambda columns: st.tuples(
            *(
                st.builds(Hole, st.just((12.0 * column, 20.5)), st.booleans(), a_drill())
                for column in columns
            )
        )
    )
    datums = st.sampled_from(get_args(Datum))
    still = st.builds(Group, st.just(name), datums, nanometres(-40, 40), st.just(()), holes)
    moved = nanometres(-40, 40)
    steps = st.tuples(moved, moved).map(lambda two: (Step(255.0, two[0]), Step(290.25, two[1])))
    stepped = st.builds(Group, st.just(name), datums, st.just(0.0), steps, holes)
    return still | stepped


words = st.text(
    st.characters(exclude_categories=("C", "Z"), include_characters=" "), min_size=1, max_size=40
).filter(str.strip)
a_pattern = st.builds(
    Pattern,
    name=words,
    note=words | st.just("") | st.just('two\nlines, a tab\t and "quotes" \\'),
    units=st.sampled_from(get_args(Units)),
    boot=st.none() | st.just((255.0, 355.5)),
    pair=st.sampled_from(get_args(Pair)),
    groups=a_group("one").map(lambda group: (group,)),
    source=st.just("any.toml"),
)


@settings(deadline=None, max_examples=60)
@given(a_pattern, st.lists(st.text(), max_size=3), st.text())
def test_any_pattern_is_read_back_as_it_was_written(pattern: Pattern, head, note: str):
    text = pattern_toml(pattern, head, note)
    back = parse_pattern(text, "any.toml")
    if pattern.units == "mm":
        assert back == pattern
    else:  # mm to inches and back: a nanometre is kept, the bits are not
        assert rounded(back) == rounded(pattern)


def rounded(value):
    """The same values with every number to a nanometre."""
    if isinstance(value, float):
        return round(value, 6) + 0.0
    if isinstance(value, tuple):
        return tuple(map(rounded, value))
    if hasattr(value, "__dataclass_fields__"):
        compared = (field.name for field in fields(value) if field.compare)
        return type(value).__name__, tuple(rounded(getattr(value, name)) for name in compared)
    return value


def test_what_a_reader_is_told():
    hole, odd = Hole((12.0, 21.0), True, DRILL), Hole((-20.0, 0.0), False, Drill(3.6, 4.4, 7.0))
    group = Group("toe", "boot-toe", -8.0, (), (hole, hole, odd))
    pattern = Pattern("Bench", "", "mm", (255.0, 355.0), "same", (group,), "")
    text = pattern_toml(pattern, ["From a \x07 sheet.\nOf two lines."], "Check. " * 40)
    lines = text.splitlines()
    assert lines[0] == "# From a \ufffd sheet. Of two lines."
    assert max(len(line) for line in lines if line.startswith("#")) <= 96
    assert [line for line in lines if line.startswith("name = ")] == [
        'name = "Bench"                    # engraved on the jig',
        'name = "toe"                      # hole ids are made of it',
    ]
    assert "  drill = { diameter = { metal = 4.4 }, depth = 7.0 }" in lines
    with pytest.raises(InputError, match="no hole"):
        pattern_toml(Pattern("Bench", "", "mm", None, "same", (), ""))


def test_what_is_parsed_is_held_to_the_same_rules():
    group = Group("toe", "boot-toe", -8.0, (), (Hole((0.0, 90.0), True, DRILL),))
    text = pattern_toml(Pattern("", "", "mm", None, "same", (group,), ""))
    with pytest.raises(InputError) as caught:
        parse_pattern(text, "x.toml")
    assert [finding.code for finding in caught.value.findings] == ["pattern.name", "pattern.length"]
    assert all(finding.where.startswith("x.toml:") for finding in caught.value.findings)


# -- a draft, word by word ----------------------------------------------------------------------


def test_words_are_read():
    assert measure("12.5", "mm") == 12.5
    assert measure("1", "in") == 25.4  # exactly: international yard and pound agreement, 1959
    assert measure(" -.5 ", "in") == -12.7
    assert measure("4mm", "in") == 4.0
    assert read_group("toe, boot-toe, -8", "mm") == Group("toe", "boot-toe", -8.0, (), ())
    steps = (Step(255.0, 112.6), Step(290.0, 126.3))
    assert read_group("t,boot-centre,255:112.6,290:126.3", "mm").steps == steps
    assert read_shift("10:1", "in") == (0.0, (Step(254.0, 25.4),))
    assert read_hole("12, 21", "mm") == Hole((12.0, 21.0), False, USUAL_DRILL)
    assert read_hole("12 -21 Both", "mm") == Hole((12.0, -21.0), True, USUAL_DRILL)
    assert read_hole("12,5 21,3 both", "mm") == Hole((12.5, 21.3), True, USUAL_DRILL)
    assert read_hole("12,5/21", "in") == Hole((317.5, 533.4), False, USUAL_DRILL)
    assert measure("12,5", "in") == 317.5
    assert read_shift("255:112,6; 290:126,3", "mm")[1] == steps
    assert read_hole("1,0.5,both", "in") == Hole((25.4, 12.7), True, USUAL_DRILL)
    assert read_datum("boot-heel") == "boot-heel"


@pytest.mark.parametrize(
    ("read", "words", "code"),
    [
        (read_group, "toe", "draft.group"),
        (read_group, "toe,boot-toe", "draft.group"),
        (read_group, "toe,boottoe,3", "draft.datum"),
        (read_group, "toe,boot-toe,wide", "units.length"),
        (read_group, "toe,boot-toe,1:2,3", "draft.group"),
        (read_group, "toe,boot-toe,1:", "units.length"),
        (read_hole, "", "draft.hole"),
        (read_hole, "12", "draft.hole"),
        (read_hole, "12,21,22", "draft.hole"),
        (read_hole, "12,21,both,both", "draft.hole"),
        (read_hole, "12,nan", "draft.hole"),
    ],
)
def test_words_that_say_nothing(read, words: str, code: str):
    with pytest.raises(InputError) as caught:
        read(words, "mm")
    (finding,) = caught.value.findings
    assert finding.code == code
    assert finding.hint


def test_every_hole_at_fault_is_named():
    groups = (Group("toe", "boot-toe", 0.0, (), ()),)
    with pytest.raises(InputError) as caught:
        add_holes(groups, ["toe,1,2", "heel,1,2", "toe,1", "toe,1,x"], "mm")
    codes = [finding.code for finding in caught.value.findings]
    assert codes == ["draft.hole"] * 3


def test_a_draft_has_only_the_faults_of_what_is_said():
    draft = Draft(name="Bench")
    assert draft.faults() == ()
    assert [fault.code for fault in draft.faults(finished=True)] == ["pattern.no-group"]
    toe, heel = (Group(name, "boot-toe", 0.0, (), ()) for name in ("toe", "heel"))
    first, second = Hole((0.0, 10.0), True, DRILL), Hole((1.0, 10.0), False, DRILL)
    half = Draft(name="", groups=(replace(toe, holes=(first,)), heel))
    assert [fault.code for fault in half.faults()] == ["pattern.name"]
    assert [fault.code for fault in half.faults(finished=True)] == ["pattern.name"]
    named = replace(half, name="Bench")
    assert [fault.code for fault in named.faults(finished=True)] == ["pattern.empty-group"]
    near = Draft(groups=(replace(toe, holes=(first, second)),))
    assert [fault.code for fault in near.faults()] == ["pattern.spacing"]


# -- by options ---------------------------------------------------------------------------------

TOE = ["--group", "toe,boot-toe,-8", "--hole", "toe,12,21,both", "--hole", "toe,-20,0"]
SIZES = ["--drill", "3.6", "--depth", "9.5"]


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder to work in, and nobody to answer."""
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr("sys.stdin", io.StringIO(""))
    return tmp_path


def test_a_pattern_by_options_alone(desk: Path, capsys):
    more = ["--metal", "4.1", "--boot", "255-355", "--pair", "mirrored"]
    assert main(["new", "--name", "Bench Plate", *SIZES, *more, *TOE]) == 0
    made = read_pattern(desk / "patterns" / "bench-plate.toml")
    drill = Drill(3.6, 4.1, 9.5)
    holes = (Hole((12.0, 21.0), True, drill), Hole((-20.0, 0.0), False, drill))
    group = Group("toe", "boot-toe", -8.0, (), holes)
    source = str(desk / "patterns" / "bench-plate.toml")
    wanted = Pattern("Bench Plate", "", "mm", (255.0, 355.0), "mirrored", (group,), source)
    assert made == wanted
    said = capsys.readouterr().out
    assert said == (
        "patterns/bench-plate.toml: 3 holes.\nLook at it: jiggen show patterns/bench-plate.toml\n"
    )


def test_inches_and_defaults(desk: Path):
    words = ["--units", "in", "--drill", "0.142", "--depth", "9mm", "--boot", "10-14"]
    holes = ["--group", "toe,boot-toe,-0.5", "--hole", "toe,0.5,1,both"]
    assert main(["new", "--name", "Old", *words, *holes, "-o", "old.toml"]) == 0
    text = (desk / "old.toml").read_text()
    assert tomllib.loads(text)["group"][0]["hole"] == [{"at": [0.5, 1.0], "both_sides": True}]
    made = read_pattern(desk / "old.toml")
    assert made.units == "in"
    # 1 in = 25.4 mm exactly: international yard and pound agreement, 1959
    assert made.boot == pytest.approx((254.0, 355.6))
    assert made.groups[0].shift == pytest.approx(-12.7)
    drill = made.groups[0].holes[0].drill
    assert (drill.plain, drill.metal, drill.depth) == pytest.approx(
        (3.6, 3.6, 9.0)
    )  # 0.142 in is 3.6068 mm


def test_every_missing_and_faulty_option_at_once(desk: Path, capsys):
    faulty = ["--group", "heel,boot-hel,3", "--boot", "355-255", "--metal", "40", "-o", "x.txt"]
    assert main(["new", *TOE, *faulty]) == 2
    said = capsys.readouterr().err
    for key in ("--out", "--name", "--drill", "--depth", "--boot", "--metal", "--group"):
        assert f"error: {key}: " in said
    assert list(desk.iterdir()) == []


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--hole", "toe,13,20"], "group[1].hole[3]: 1.41421 mm from group[1].hole[1] (left)"),
        (["--hole", "toe,0,0,both"], "has no other side"),
        (["--hole", "heel,0,0"], 'error: --hole: "heel,0,0" is for a group that is not given'),
        (["--group", "heel,boot-heel,0"], "group[2].hole: the group has no hole"),
        (["--group", "toe,boot-heel,0"], 'group[1] is called "toe" too'),
    ],
)
def test_holes_that_do_not_go_together(desk: Path, words: list[str], said: str, capsys):
    assert main(["new", "--name", "Bench", *SIZES, *TOE, *words]) == 2
    assert said in capsys.readouterr().err
    assert list(desk.iterdir()) == []


def test_groups_without_holes_are_no_pattern(desk: Path, capsys):
    assert main(["new", "--group", "toe,boot-toe,-8"]) == 2
    assert "a group without --hole has no holes" in capsys.readouterr().err


def test_nothing_is_written_over(desk: Path, capsys):
    words = ["new", "--name", "Bench", *SIZES, *TOE]
    assert main(words) == 0
    before = (desk / "patterns" / "bench.toml").read_text()
    assert main([*words, "--boot", "255-355"]) == 2
    assert (desk / "patterns" / "bench.toml").read_text() == before
    assert "--force" in capsys.readouterr().err
    assert main([*words, "--boot", "255-355", "--force"]) == 0
    assert read_pattern(desk / "patterns" / "bench.toml").boot == (255.0, 355.0)


# -- by questions -------------------------------------------------------------------------------

ANSWERS = """\
Bench Plate
\
mm
wide
255-355

3.6
4.1
9

boot-to
boot-toe
-8
12, 21, both
13, 20
-20, 90
-20 0

y
heel
boot-centre
255:-100, 290:-120
0, 15, both

n
"""


def test_questions_are_asked_until_the_answer_is_one(desk: Path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO(ANSWERS))
    assert main(["new", "-o", "bench.toml"]) == 0
    made = read_pattern(desk / "bench.toml")
    toe, heel = made.groups
    assert (made.name, made.boot, made.pair) == ("Bench Plate", (255.0, 355.0), "same")
    assert (toe.name, toe.datum, toe.shift) == ("toe", "boot-toe", -8.0)
    assert [hole.at for hole in toe.holes] == [(12.0, 21.0), (-20.0, 0.0)]
    assert heel.steps == (Step(255.0, -100.0), Step(290.0, -120.0))
    assert {hole.drill for hole in (*toe.holes, *heel.holes)} == {DRILL}
    said = capsys.readouterr().out
    assert said.count("Error: ") == 4  # a boot range, a datum, two holes
    assert 'Did you mean "boot-toe"?' in said
    assert "1.41421 mm from group[1].hole[1] (left)" in said


def test_what_options_say_is_not_asked(desk: Path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("\n\n\n\n9\n\nboot-toe\n\n12,21\n\nn\n"))
    assert main(["new", "--name", "Bench", "--drill", "3.5"]) == 0
    made = read_pattern(desk / "patterns" / "bench.toml")
    assert made.groups[0].holes[0].drill == Drill(3.5, 4.1, 9.0)
    said = capsys.readouterr().out
    assert "Name of the pattern" not in said
    assert "plain core" not in said


def test_input_that_ends_too_soon_names_the_question(desk: Path, monkeypatch, capsys):
    monkeypatch.setattr("sys.stdin", io.StringIO("Bench\n\n"))
    assert main(["new"]) == 2
    assert "error: --boot: no answer to: " in capsys.readouterr().err
    assert list(desk.iterdir()) == []


def test_a_bad_option_is_said_before_anything_is_asked(desk: Path, capsys):
    assert main(["new", "-o", "bench.txt"]) == 2
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "bench.txt does not end in .toml" in captured.err


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="the system has no terminals of this kind")
def test_stopped_at_a_terminal(desk: Path):
    code = "import sys, jiggen.cli, jiggen.cli.new; sys.exit(jiggen.cli.main(['new']))"
    controller, terminal = pty.openpty()
    try:
        program = subprocess.Popen(
            [sys.executable, "-c", code],
            stdin=terminal,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            env=os.environ | {"PYTHONPATH": str(Path(command.__file__).parents[2])},
        )
        os.write(controller, b"\x04")  # end of input, typed
        _, said = program.communicate(timeout=30)
    finally:
        os.close(controller)
        os.close(terminal)
    assert program.returncode == 130
    assert said == b"stopped: nothing was written\n"
    assert list(desk.iterdir()) == []


def test_the_command_knows_the_words_of_the_room():
    assert command.UNITS.choices == get_args(Units)
    assert get_args(command.Pair) == get_args(Pair) == command.PAIR.choices


def test_a_drill_that_no_binding_has_is_written_only_where_it_is_meant(desk: Path, capsys):
    words = ["new", "--name", "Wide", "--drill", "5.5", "--depth", "4", "-o", "wide.toml"]
    words += ["--group", "plate,boot-centre,0", "--hole", "plate,20,20,both"]
    assert main(words) == 2
    said = capsys.readouterr().err
    assert "a drill of 5.5 mm leaves no hold for a binding's screw" in said
    assert "a hole 4 mm deep is too shallow" in said
    assert "--unusual" in said
    assert not (desk / "wide.toml").exists()
    assert main([*words, "--unusual"]) == 0
    hole = read_pattern(desk / "wide.toml").groups[0].holes[0]
    assert hole.drill == Drill(5.5, 5.5, 4.0, unusual=True)

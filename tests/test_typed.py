"""Numbers as a person types them, in every place that takes one: commas, lists, shoe sizes."""

from __future__ import annotations

from pathlib import Path

import pytest

from jiggen import options
from jiggen.cli import main
from jiggen.errors import InputError
from jiggen.evening.read import read_jobs
from jiggen.importing.table import read_circles
from jiggen.remount.read import read_old_holes

LAYOUT = ["layout", "club-piste", "--boot"]
HEAD = "ticket;pattern;boot;ski_toe;ski_heel;thickness\n"


def said(capsys: pytest.CaptureFixture[str], *words: str, code: int) -> str:
    """What the command says, on one line."""
    assert main(list(words)) == code
    return " ".join("".join(capsys.readouterr()).split())


def test_a_decimal_comma_is_understood_by_every_option_of_one_length(capsys):
    with_comma = said(capsys, *LAYOUT, "305,5", "--shift", "-0,5", code=0)
    assert with_comma == said(capsys, *LAYOUT, "305.5", "--shift", "-0.5", code=0)
    assert "boot 305.5 mm, mount shift -0.5 mm" in with_comma
    read = {row.name: row.read("12,5") for row in vars(options).values() if is_length(row)}
    assert set(read.values()) == {12.5} and len(read) >= 10
    assert options.SIDEWALL.read("12,5°") == options.SIDEWALL.read("12,5") == 12.5
    assert options.WIDTH_AT.read("-150,5:96,5") == (-150.5, 96.5)
    assert options.BUSH.read("8,5x12") == (8.5, 12.0)


def is_length(row: object) -> bool:
    return isinstance(row, options.Option) and row.kind == "length"


def test_thickness_is_written_alike_on_the_command_line_and_in_a_table(tmp_path: Path):
    jobs = tmp_path / "jobs.csv"
    for words, values in (("24/22,5", (24.0, 22.5)), ("23,5", (23.5,)), ("22", (22.0,))):
        assert options.THICKNESS.read(words) == values
        jobs.write_text(f"{HEAD}A1;club-piste;305,5;96;92,5;{words}\n")
        (row,) = read_jobs(jobs).rows.values()
        assert (row.boot, row.thickness) == (305.5, values)
    with pytest.raises(InputError, match=r"23\.21 for one, or 23/21 for two"):
        options.THICKNESS.read("23,21")
    jobs.write_text(f"{HEAD}A1;club-piste;305;96;92,5;23,21\n")
    ((_, fault),) = read_jobs(jobs).faults
    assert fault.key == "thickness" and "or 23/21 for two" in fault.hint


def test_a_quoted_decimal_comma_in_a_comma_file_is_a_length(tmp_path: Path):
    path = tmp_path / "list.csv"
    path.write_text('x,y,diameter\n"105,5","-17,25","4,1"\n')
    (hole,) = read_old_holes(path)
    (circle,) = read_circles(path).circles
    for one in (hole, circle):
        assert (one.x, one.y, one.diameter) == (105.5, -17.25, 4.1)


@pytest.mark.parametrize("size", ["26.5", "26,5", "42", "9"])
def test_a_shoe_size_is_no_sole_length_and_the_words_say_where_that_stands(size, tmp_path, capsys):
    wanted = "looks like a shoe size Write the sole length in mm, which is moulded on the shell"
    assert wanted in said(capsys, *LAYOUT, size, code=2)
    # Whatever the boot moves: also where a pattern serves any boot.
    assert wanted in said(capsys, "layout", "sledge-foot", "--boot", size, code=2)
    jobs = tmp_path / "jobs.csv"
    jobs.write_text(f"{HEAD}A1;club-piste;{size};96;92;\n")
    plan = said(capsys, "evening", str(jobs), "--plan", code=2)
    assert f"{jobs}:2: boot: " in plan and wanted in plan
    target = str(tmp_path / "x.toml")
    new = ["new", "--name", "X", "--boot", f"{size}-{size}", "--drill", "3.6", "--depth", "9"]
    new += ["--group", "toe,boot-toe,-8,5", "--hole", "toe,12,5/21", "-o", target]
    assert wanted in said(capsys, *new, code=2)

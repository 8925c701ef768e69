"""Patterns that a reader tries on a megabyte of its worst: none goes back over it again."""

from __future__ import annotations

import random
import subprocess
import sys
import time
from contextlib import suppress
from pathlib import Path

import pytest

from jiggen.errors import InputError
from jiggen.evening.read import read_jobs
from jiggen.importing.svg import read_svg
from jiggen.units import length, sizes
from jiggen.verify.reading.gcode import GcodeError, follow
from jiggen.verify.reading.manifest import MOST_VALUES, read_manifest
from jiggen.verify.reading.step_text import StepError, read_step_text
from jiggen.verify.reading.walls import pieces_of

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" viewBox="0 0 9 9">{}</svg>'


def quickly(read) -> None:
    start = time.process_time()
    with suppress(InputError, StepError, GcodeError):
        read()
    assert time.process_time() - start < 5.0


@pytest.mark.parametrize("style", ["a" * 900_000, "a " * 450_000, " " * 900_000, "a-" * 450_000])
def test_a_long_style(tmp_path: Path, style: str):
    path = tmp_path / "plate.svg"
    path.write_text(SVG.format(f'<circle r="1" style="{style}"/>'))
    quickly(lambda: read_svg(path))


@pytest.mark.parametrize(
    "inside",
    [
        f'<circle r="1" transform="{"scale(1)" * 100_000}"/>',
        f'<g xmlns:a="{"a" * 400_000}">' + "<a:b/>" * 80_000 + "</g>",
        f'<g id="a"><circle r="1" style="{"a:1;" * 100_000}"/></g>' + '<use href="#a"/>' * 10_000,
    ],
    ids=["transform", "namespace", "style"],
)
def test_a_drawing_that_costs_more_than_its_length(tmp_path: Path, inside: str):
    path = tmp_path / "plate.svg"
    path.write_text(SVG.format(inside))
    quickly(lambda: read_svg(path))


@pytest.mark.parametrize("text", ["/* ", "/*'", "'"])
def test_a_step_file_of_comments_that_do_not_end(text: str):
    quickly(lambda: read_step_text(b"ISO-10303-21;" + text.encode() * (10**6 // len(text))))


@pytest.mark.parametrize("name", ["a" + " " * 900_000 + "b", " " * 900_000 + "x", "(" * 900_000])
def test_a_long_name_of_a_column(tmp_path: Path, name: str):
    path = tmp_path / "list.csv"
    path.write_text(f"{name},boot\n1,2\n")
    quickly(lambda: read_jobs(path))


@pytest.mark.parametrize("words", ["1" * 900_000 + "x", "1" + " " * 900_000 + "y"])
def test_a_long_number(words: str):
    quickly(lambda: length(words))
    quickly(lambda: sizes(words, 2))


def test_walls_of_g_code_that_cross_without_end():
    at = random.Random(1)
    moves = (f"G1X{at.randrange(300)}Y{at.randrange(300)}E1" for _ in range(20_000))
    quickly(lambda: pieces_of(follow([";TYPE:Outer wall", "M83", "G1 Z.2", *moves])))


@pytest.mark.parametrize("arc", ["G2X1I9E1", "G2X1I9E1P1000000", "G2 X1 I1e9 E1", "G3 X1 R1e9 E1"])
def test_arcs_of_g_code_that_swell(arc: str):
    with pytest.raises(GcodeError, match="arc"):
        follow([";TYPE:Outer wall", "M83", "G1 Z.2", *[arc, "G1X0"] * 60_000])


def test_every_pattern_takes_time_by_the_length_of_its_text():
    tried = Path(__file__).parent / "bench" / "patterns.py"
    run = subprocess.run([sys.executable, tried], capture_output=True, text=True, check=True)
    planted, *slow, count = run.stdout.splitlines()
    assert planted.startswith("planted .search: ")
    assert int(count.split()[0]) > 50
    assert not slow


@pytest.mark.parametrize("count", [333_000, MOST_VALUES - 1])
def test_a_record_of_many_faults(tmp_path: Path, count: int):
    (tmp_path / "manifest.json").write_text('{"parts":[' + "{}," * count + "{}]}")
    quickly(lambda: read_manifest(tmp_path))

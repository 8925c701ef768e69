"""Patterns that a reader tries on a megabyte of its worst: none goes back over it again."""

from __future__ import annotations

import time
from contextlib import suppress
from pathlib import Path

import pytest

from jiggen.errors import InputError
from jiggen.evening.read import read_jobs
from jiggen.importing.svg import read_svg
from jiggen.units import length, sizes
from jiggen.verify.reading.step_text import StepError, read_step_text

SVG = '<svg xmlns="http://www.w3.org/2000/svg" width="9mm" viewBox="0 0 9 9">{}</svg>'


def quickly(read) -> None:
    start = time.process_time()
    with suppress(InputError, StepError):
        read()
    assert time.process_time() - start < 5.0


@pytest.mark.parametrize("style", ["a" * 900_000, "a " * 450_000, " " * 900_000, "a-" * 450_000])
def test_a_long_style(tmp_path: Path, style: str):
    path = tmp_path / "plate.svg"
    path.write_text(SVG.format(f'<circle r="1" style="{style}"/>'))
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

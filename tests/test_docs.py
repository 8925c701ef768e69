"""What .docs holds is current, its examples run, and its pages name files that exist."""

from __future__ import annotations

import importlib.util
import re
import runpy
import sys
from pathlib import Path

import pytest

REPO = Path(__file__).parents[1]
DOCS = REPO / ".docs"
PAGES = [*sorted(REPO.glob("*.md")), *sorted(DOCS.glob("*.md"))]


def generator():
    spec = importlib.util.spec_from_file_location("make", DOCS / "make.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.mark.parametrize("page", ["reference.md", "findings.md", "record.schema.json"])
def test_a_generated_page_is_current(page: str):
    stored = (DOCS / page).read_text(encoding="utf-8")
    assert generator().PAGES[page]() == stored, "run python .docs/make.py"


@pytest.mark.parametrize("example", sorted((DOCS / "examples").glob("*.py")), ids=lambda p: p.stem)
def test_an_example_runs(example: Path, tmp_path: Path, built, monkeypatch, capsys):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", [str(example), str(built.folder)])  # one reads a folder
    runpy.run_path(str(example), run_name="__main__")
    assert capsys.readouterr().out.strip()


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_names_files_that_exist(page: Path):
    text = page.read_text(encoding="utf-8")
    links = {target for target in re.findall(r"\]\(([^)#]+)\)", text) if "://" not in target}
    assert not [link for link in links if not (page.parent / link).exists()]
    modules = set(re.findall(r"`((?:jiggen|tests)/[\w./-]+\.\w+)`", text))
    assert not [module for module in modules if not (REPO / module).exists()]


def test_the_guide_is_short():
    assert len((REPO / "DEVELOPERS.md").read_text(encoding="utf-8").splitlines()) <= 200


def test_a_code_that_is_composed_is_listed():
    codes = generator().findings()
    assert "`*.unknown-key`" in codes  # of any file that is read
    assert "`pattern.no-group`" in codes
    assert "`verify.moved`" in codes


def test_the_readme_says_what_to_measure_and_how_it_is_set_up_elsewhere():
    text = " ".join((REPO / "README.md").read_text(encoding="utf-8").split())
    for words in (
        "On Windows",
        "macOS",
        "Tested by us:",
        "is moulded on the shell near the heel",
        "is taken with a caliper where the rails' noses touch",
        "the shoulder of a stepped ski drill does not pass the bush",
    ):
        assert words in text

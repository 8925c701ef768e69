"""Plain standard English, as a good manual has it: habits that are not to come back."""

from __future__ import annotations

import ast
import io
import re
import tokenize
from collections.abc import Iterator
from pathlib import Path

import pytest

import jiggen

MODULES = sorted(Path(jiggen.__file__).parent.rglob("*.py"))
PAGES = [
    *sorted(Path(jiggen.__file__).parents[1].glob("*.md")),
    *sorted(Path(jiggen.__file__).parent.rglob("*.html")),
]

# What not to write, and what a manual writes in its place.
HABITS = {
    r"(?<!\bthere) (?:is|are) no (?!(?:longer|more|less|two|\w+er)\b)[a-z-]+": (
        "X is not a valid Y; allowed: …"
    ),
    r"\b(?:clearance|mm|weight|one|lines?|rows?|files?|entry|number|kept|holes) a "
    r"(?:side|hole|row|part|processor|piece|line|station|jig|key|file|reading|bush)\b": (
        "per side, per hole …"
    ),
    r"\breckon\w*": "compute, estimate, expect",
    r"\bmend(?:s|ed|ing)?\b": "repair, correct",
    r"\bmind\b": "warning, beware of",
    r"\blets? go\b": "loses contact",
    r"\blies? in one another\b": "interfere",
    r"\bso round a\b": "radius too large",
    r"\bbad day\b": "say what fails",
    r"\bunless said\b": "default: …",
    r"\bno oftener\b": "measured least often",
    r"\b(?:stop )?collar\b": "depth stop",
    r"\bmisread(?:ing)?s?\b": "gross error",
    r"\bnobody knows\b": "unverified",
    r"\bproofs?\b|\bproven\b": "verification, verified",
}
# Participles as names of things.
NAMES = {"said", "told", "kept", "taken", "held", "alike", "unsaid"}


def texts(module: Path) -> Iterator[tuple[int, str]]:
    """Line and text of every string and comment."""
    source = module.read_text(encoding="utf-8")
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield node.lineno, node.value
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            yield token.start[0], token.string


def ids(path: Path) -> str:
    return path.relative_to(Path(jiggen.__file__).parents[1]).as_posix()


def habits_in(text: str) -> list[str]:
    flat = " ".join(text.split())
    return [
        f"{found.group(0).strip()!r}: write {better!r}"
        for habit, better in HABITS.items()
        for found in re.finditer(habit, flat, re.IGNORECASE)
    ]


@pytest.mark.parametrize("module", MODULES, ids=ids)
def test_a_module_is_in_standard_english(module: Path):
    found = [f"{line}: {habit}" for line, text in texts(module) for habit in habits_in(text)]
    names = {
        node.id
        for node in ast.walk(ast.parse(module.read_text(encoding="utf-8")))
        if isinstance(node, ast.Name) and node.id in NAMES
    }
    assert not found + sorted(names)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_a_page_is_in_standard_english(page: Path):
    text = page.read_text(encoding="utf-8")
    assert not habits_in(re.sub(r"<[^>]+>", " ", text) if page.suffix == ".html" else text)


@pytest.mark.parametrize(
    "text",
    [
        "clay is no core",
        "clearance a side",
        "That wants mending",
        "set the collar",
        "the proof passed",
    ],
)
def test_a_habit_is_seen(text: str):
    assert habits_in(text)

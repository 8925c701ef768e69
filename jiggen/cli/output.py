"""What a command writes to a terminal: tables, JSON, warnings and what it is doing."""

from __future__ import annotations

import json
import re
import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from jiggen.cli.program import COMMANDS, colourful
from jiggen.errors import CheckFailed, Finding, printable
from jiggen.progress import announcing_to, noted

if TYPE_CHECKING:
    pass

WIDTH = 78  # characters of a line of words
_LINE = re.compile(r":\d+(:\d+)?$")
_LABEL = re.compile(r" *+(?:(?:error|failed|warning|[A-Z][a-z ]{0,15}+): ++)?")


def say(text: str, *, err: bool = False, word: str = "") -> None:
    """Write lines to a terminal, with what could steer it shown as an escape.

    Lines that are wider than the terminal are broken between words; a file has them whole.
    A `word` that says what became of a command comes first, in red where there is colour.
    """
    stream = sys.stderr if err else sys.stdout
    text = printable(f"{word}: {text}" if word else text, "\n")
    if stream.isatty():
        text = "\n".join(fitted(text, shutil.get_terminal_size().columns))
    if word and colourful(stream):
        text = typer.style(word, fg="red", bold=True) + text.removeprefix(word)
    typer.echo(text, err=err)


def fitted(text: str, width: int) -> Iterator[str]:
    """Lines of `text` in `width` characters; what goes on starts below what follows a label."""
    for line in text.split("\n"):
        label = _LABEL.match(line)
        indent = " " * (label.end() if label else 0)
        if len(line) <= width or len(indent) > width // 2:
            yield line
        else:
            yield from textwrap.wrap(
                line, width, subsequent_indent=indent, break_long_words=False,
                break_on_hyphens=False,
            )  # fmt: skip


def write(
    as_json: bool,
    data: Callable[[], Any],
    text: Callable[[], str],
    warnings: Iterable[Finding] = (),
    *,
    passed: bool = True,
) -> None:
    """Write a result to standard output: as JSON, or as lines for people, notes and `warnings`.

    The command ends with exit code 1 unless what was made or checked has `passed`.
    """
    notes = noted()
    if as_json:
        found = data()
        if notes and isinstance(found, dict):
            found["notes"] = [finding.as_dict() for finding in notes]
        typer.echo(json.dumps(found, indent=1, ensure_ascii=False))
    else:
        say(text())
    for finding in () if as_json else notes:
        say(f"note: {as_lines(finding)}", err=True)
    for finding in () if as_json else warnings:
        say(f"warning: {as_lines(finding)}", err=True)
    if not passed:
        raise typer.Exit(CheckFailed.exit_code)


def write_judged(
    as_json: bool,
    data: Callable[[], dict[str, object]],
    text: Callable[[], str],
    against: Sequence[Finding],
    *,
    warnings: Sequence[Finding] = (),
    written: Path | None = None,
    accepted: bool = False,
) -> None:
    """Write a result with what speaks `against` it: exit code 1 unless that is `accepted`.

    `written` is the file that was made of it all the same, if any.
    """
    outcome = {
        "refused": [finding.as_dict() for finding in against],
        "warnings": [finding.as_dict() for finding in warnings],
        "written": str(written) if written else None,
    }
    write(as_json, lambda: data() | outcome, text, (*warnings, *(against if accepted else ())))
    if against and not accepted:
        raise typer.Exit(CheckFailed.exit_code) if as_json else CheckFailed(against)


def plain(value: Any) -> Any:
    """A value for JSON: arrays as lists, numbers to six decimals, None where one is infinite."""
    if hasattr(value, "tolist"):
        value = value.tolist()
    if isinstance(value, float):
        return round(value, 6) + 0.0 if abs(value) < float("inf") else None
    if isinstance(value, dict):
        return {key: plain(inner) for key, inner in value.items()}
    return [plain(inner) for inner in value] if isinstance(value, list | tuple) else value


@contextmanager
def shown_progress() -> Iterator[None]:
    """A line on standard error that says what is being done, on a terminal only."""
    if not sys.stderr.isatty():
        yield
        return
    from rich.console import Console

    with Console(stderr=True).status("starting") as status, announcing_to(status.update):
        yield


def in_options(finding: Finding) -> Finding:
    """The finding with the options of its key in its hint: "bed, bush" as "(--bed, --bush)".

    A key with a line of a file before it is that file's.
    """
    names = finding.key.split(", ")
    known = {row.name for rows in COMMANDS.values() for row in rows.values() if not row.argument}
    if not known.issuperset(names) or _LINE.search(finding.where):
        return finding
    flag = ", ".join(f"--{name}" for name in names)
    words = finding.hint or finding.message
    placed = f"{words[:-1]} ({flag})." if words.endswith(".") else f"{words} ({flag})"
    return replace(finding, key=flag, **{"hint" if finding.hint else "message": placed})


def as_lines(finding: Finding) -> str:
    """A finding for people: an option that its text names is not named before it once more."""
    shown = in_options(finding)
    return str(shown if shown is finding else replace(shown, key=""))

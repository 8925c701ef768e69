"""What a command writes to a terminal: findings in the words of its options."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import replace
from functools import cache

import typer

from jiggen.cli.program import app
from jiggen.errors import Finding

_LINE = re.compile(r":\d+(:\d+)?$")


def in_options(finding: Finding) -> Finding:
    """The finding with the option that its key names: key "bed" becomes "(--bed)" in its hint.

    Only this room knows the options.  A key with a line of a file before it is that file's.
    """
    if finding.key not in _option_names() or _LINE.search(finding.where):
        return finding
    flag = f"--{finding.key}"
    words = finding.hint or finding.message
    placed = f"{words[:-1]} ({flag})." if words.endswith(".") else f"{words} ({flag})"
    if finding.hint:
        return replace(finding, key=flag, hint=placed)
    return replace(finding, key=flag, message=placed)


def as_lines(finding: Finding) -> str:
    """A finding for people: an option that its text names is not named before it once more."""
    shown = in_options(finding)
    return str(shown if shown is finding else replace(shown, key=""))


def warn(findings: Iterable[Finding]) -> None:
    """Write each finding as a warning to standard error."""
    for finding in findings:
        typer.echo(f"warning: {as_lines(finding)}", err=True)


@cache
def _option_names() -> frozenset[str]:
    """The name of every option of every command, without its dashes."""
    return frozenset(
        option.removeprefix("--") for option in _options_of(app) if option.startswith("--")
    )


def _options_of(program: typer.Typer) -> Iterable[str]:
    todo = [typer.main.get_command(program)]
    while todo:
        command = todo.pop()
        todo += getattr(command, "commands", {}).values()
        for parameter in command.params:
            yield from parameter.opts

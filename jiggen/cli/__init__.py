"""Room: cli. The program `jiggen`: words in, words and exit codes out.

Each command is a module of its own that registers itself on `program.app`; importing it here
is what makes it a command.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from jiggen.cli import (
    accuracy,
    build,
    check,
    evening,
    gauge,
    importing,
    layout,
    materials,
    new,
    patterns,
    printed,
    profile,
    remount,
    sheet,
    survey,
    trial,
)
from jiggen.cli.boundary import collect_seldom, run
from jiggen.cli.program import app

__all__ = [
    "accuracy",
    "app",
    "build",
    "check",
    "evening",
    "gauge",
    "importing",
    "layout",
    "main",
    "materials",
    "new",
    "patterns",
    "printed",
    "profile",
    "remount",
    "sheet",
    "survey",
    "trial",
]


def main(argv: Sequence[str] | None = None) -> int:
    """Run jiggen on `argv` (default: the command line's words); returns the exit code."""
    if argv is None:  # this process is ours
        collect_seldom()
    return run(app, sys.argv[1:] if argv is None else argv)

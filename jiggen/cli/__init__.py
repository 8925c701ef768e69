"""Room: cli. The program `jiggen`: words in, words and exit codes out.

Each module registers its commands on `program.app`; importing it here is what makes them
commands.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence

from jiggen.cli import (
    accuracy,
    build,
    defaults,
    evening,
    importing,
    layout,
    new,
    printed,
    profile,
    remount,
    sheet,
    survey,
)
from jiggen.cli.boundary import collect_seldom, run
from jiggen.cli.program import app

__all__ = [
    "accuracy",
    "app",
    "build",
    "defaults",
    "evening",
    "importing",
    "layout",
    "main",
    "new",
    "printed",
    "profile",
    "remount",
    "sheet",
    "survey",
]


def main(argv: Sequence[str] | None = None) -> int:
    """Run jiggen on `argv` (default: the command line's words); returns the exit code."""
    if argv is None:  # this process is ours
        collect_seldom()
    return run(app, sys.argv[1:] if argv is None else argv)

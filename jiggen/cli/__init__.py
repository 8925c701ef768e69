"""Room: cli. The program `jiggen`: words in, words and exit codes out.

Each module registers its commands on `program.app`; importing it here is what makes them
commands.
"""

from __future__ import annotations

import sys
from collections.abc import Sequence
from importlib import import_module

from jiggen.cli.boundary import collect_seldom, run
from jiggen.cli.program import app

COMMANDS = (
    "accuracy", "build", "defaults", "evening", "layout", "new", "printed", "profile", "remount",
    "survey",
)  # fmt: skip
for _module in COMMANDS:
    import_module(f"jiggen.cli.{_module}")


def main(argv: Sequence[str] | None = None) -> int:
    """Run jiggen on `argv` (default: the command line's words); returns the exit code."""
    if argv is None:  # this process is ours
        collect_seldom()
    return run(app, sys.argv[1:] if argv is None else argv)

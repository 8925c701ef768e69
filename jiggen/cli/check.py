"""``jiggen check``: a built folder verified again, from its files alone."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated

import typer

from jiggen.cli import options
from jiggen.cli.program import app
from jiggen.errors import CheckFailed


@app.command(rich_help_panel=options.JIGS)
def check(
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="A folder that jiggen build made.", show_default=False),
    ],
    as_json: options.JsonOption = False,
) -> None:
    """Verify a built folder again: every hole, every part, and that no file has changed.

    Exit code 0 when all is as it was designed, 1 when anything is not: then do not use it.
    """
    from jiggen.verify import check as check_folder
    from jiggen.verify import table, verdict

    verification = check_folder(folder)
    if as_json:
        typer.echo(json.dumps(verification.as_dict(), indent=1, ensure_ascii=False))
    else:
        typer.echo(f"{table(verification)}\n\n{verdict(verification)}")
    if not verification.passed:
        raise typer.Exit(CheckFailed.exit_code)

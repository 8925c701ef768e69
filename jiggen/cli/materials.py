"""``jiggen materials``: which plastic to print a jig in, and why."""

from __future__ import annotations

import json
from typing import Annotated

import typer

from jiggen.cli import options
from jiggen.cli.program import app


@app.command(rich_help_panel=options.JIGS)
def materials(
    name: Annotated[
        str | None,
        typer.Argument(
            metavar="[NAME]",
            help="One plastic in full, with the source of each number.",
            show_default=False,
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Compare the plastics: how much they shrink, bend and soften, and what a hole is off by then.

    The numbers are published ranges of plain plastics; what stands on a spool may differ.
    """
    from jiggen.report.materials import as_data, described, table
    from jiggen.tables.materials import material
    from jiggen.tables.materials import materials as listed

    one = None if name is None else material(name, "NAME")
    if as_json:
        data = as_data(listed() if one is None else (one,))
        typer.echo(json.dumps(data, indent=1, ensure_ascii=False))
        return
    typer.echo(table() if one is None else described(one))

"""``jiggen gauge``: a small print that tells, once measured, what a printer does to parts."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.build import shown_progress
from jiggen.cli.program import app
from jiggen.errors import CheckFailed
from jiggen.units import box, length


@app.command(rich_help_panel=options.JIGS)
def gauge(
    bed: options.BedOption = "220x220x250",
    bush: options.BushOption = "auto",
    caliper: Annotated[
        str,
        typer.Option(
            "--caliper",
            metavar="MM",
            help="How far your caliper opens: the pegs stand as far apart as it spans.",
            rich_help_panel=options.PRINTER,
        ),
    ] = "150",
    out: Annotated[
        Path,
        typer.Option(
            "--out",
            "-o",
            metavar="DIR",
            help="Folder for the files.",
            rich_help_panel=options.RESULT,
        ),
    ] = Path("out/gauge"),
    force: Annotated[
        bool,
        typer.Option(
            "--force",
            metavar="",
            help="Replace the folder even if jiggen did not make it, or readings are in it.",
            rich_help_panel=options.RESULT,
        ),
    ] = False,
    as_json: options.JsonOption = False,
) -> None:
    """Make a gauge: a small frame to print and measure, so that jigs come out true.

    It shows how your printer stretches, leans and shrinks parts, and which fits it needs. The
    sheet in its folder says what to measure; jiggen profile fit turns that into a profile.
    Exit code 0 when its verification passes; 1 when anything fails: the folder's name then ends in
    -failed: do not print it.
    """
    size, reach, chosen = box(bed, "--bed"), length(caliper, "--caliper"), options.read_bush(bush)

    from jiggen.design import Bed
    from jiggen.design.gauge import design_gauge
    from jiggen.report.gauge import build_gauge_print, gauge_summary

    with shown_progress() as progress:
        progress("design")
        designed = design_gauge(Bed(*size), chosen, reach)
        finished = build_gauge_print(designed, out, force=force, progress=progress)
    if as_json:
        data: dict[str, Any] = {"folder": str(finished.folder), **finished.manifest}
        typer.echo(json.dumps(data, indent=1, ensure_ascii=False))
    else:
        typer.echo(gauge_summary(finished))
    if not finished.verification.passed:
        raise typer.Exit(CheckFailed.exit_code)

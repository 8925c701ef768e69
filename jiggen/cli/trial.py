"""``jiggen trial``: a thin plate to lay on the real one, before any jig is built."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.build import shown_progress
from jiggen.cli.program import app
from jiggen.errors import CheckFailed
from jiggen.units import box


@app.command(rich_help_panel=options.PATTERNS)
def trial(
    pattern: options.PatternArgument,
    boot: options.BootOption,
    shift: options.ShiftOption = "0",
    core: options.CoreOption = "plain",
    side: options.SideOption = "left",
    bed: Annotated[
        str,
        typer.Option(
            metavar="XxYxZ",
            help="What the printer can print: width, depth, height.",
            rich_help_panel=options.JOB,
        ),
    ] = "220x220x250",
    printer: options.PrinterOption = None,
    out: Annotated[
        Path | None,
        typer.Option(
            metavar="DIR",
            help="Folder for the files; by default out/<pattern>-<boot>-trial.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    force: Annotated[
        bool,
        typer.Option(
            "--force",
            metavar="",
            help="Replace the folder even if jiggen did not make it.",
            rich_help_panel=options.RESULT,
        ),
    ] = False,
    as_json: options.JsonOption = False,
) -> None:
    """Make a trial plate: 2 mm thin, with every hole, to lay on the real plate first.

    It costs little plastic and shows whether the pattern is right. It guides no drill.
    Exit code 0 when its verification passes; 1 when anything fails: the folder's name then ends in
    -failed: do not print it.
    """
    size = box(bed, "--bed")
    profile = options.read_printer(printer)
    holes = options.read_layout(pattern, boot, shift, core, side)

    from jiggen.design import Bed
    from jiggen.report.folder import folder_name
    from jiggen.report.trial import build_trial_plate, trial_summary

    target = out or Path("out") / f"{folder_name(holes.pattern, holes.boot)}-trial"
    with shown_progress() as progress:
        finished = build_trial_plate(
            holes, Bed(*size), target, printer=profile, force=force, progress=progress
        )
    if as_json:
        data: dict[str, Any] = {"folder": str(finished.folder), **finished.manifest}
        typer.echo(json.dumps(data, indent=1, ensure_ascii=False))
    else:
        typer.echo(trial_summary(finished))
    if not finished.verification.passed:
        raise typer.Exit(CheckFailed.exit_code)

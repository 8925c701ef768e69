"""``jiggen sheet`` and ``schema``: what is made of a built folder, and what its record says."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

from jiggen import options as table
from jiggen.cli import options
from jiggen.cli.output import write
from jiggen.cli.program import JIGS, command
from jiggen.options import SKI

CORE = replace(
    table.CORE,
    help="What is under the top sheet; refused when the jig was built for another.",
    group=SKI,
    default=None,
)
OUT = replace(
    table.OUT,
    help="The PDF; by default DIR-sheet.pdf, beside the folder.",
    metavar="FILE",
    suffix=".pdf",
    short="o",
)


@command(JIGS)
def sheet(
    folder: options.FolderArgument,
    paper: options.PaperOption,
    units: Annotated[options.Units, table.UNITS],
    ticket: Annotated[str, table.TICKET],
    core: Annotated[options.Core | None, CORE],
    thickness: options.ThicknessOption,
    width_at: options.WidthOption,
    area: options.AreaOption,
    base_left: options.BaseOption,
    edge: options.EdgeOption,
    out: Annotated[Path | None, OUT],
    as_json: options.JsonOption,
) -> None:
    """Write the sheet to work from: drill and depth stop, tools, steps, and the holes at 1:1.

    With what was measured on the ski in hand, the drilling is checked again for it. Exit code 1
    when the jig failed or was never verified, or the ski is too thin: then no sheet is made.
    """
    state = options.read_ski_state(thickness, width_at, area)
    limits = options.read_limits(base_left, edge)
    target = out or _beside(folder)
    options.check_outside(target, folder, "--out")

    from jiggen.drilling import SkiState
    from jiggen.files import write_whole
    from jiggen.record import read_jig
    from jiggen.report.redrill import check_core, redrilled
    from jiggen.report.sheet import sheet_pdf

    record = read_jig(folder)
    if core:
        check_core(record, core)
    if state != SkiState():
        record = redrilled(record, state, limits)
    write_whole(target, sheet_pdf(record, paper=paper, units=units, ticket=ticket), "--out")
    write(
        as_json,
        lambda: {"file": str(target), "paper": paper, "units": units, "ticket": ticket},
        lambda: f"{target}\nPrint it at 100 %, and check its bars with a ruler.",
    )


@command(JIGS)
def schema() -> None:
    """Print the JSON Schema of manifest.json, the record that every built folder has.

    It describes jigs, trial plates and gauges, and is stable for one format number.
    """
    import typer

    from jiggen.record import json_schema

    typer.echo(json_schema(), nl=False)


def _beside(folder: Path) -> Path:
    """The sheet's usual place: beside the folder, under its name."""
    full = folder.resolve()
    return full.parent / f"{full.name}-sheet.pdf"

"""``jiggen sheet``: the PDF for the bench, from a built and verified folder."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Literal

import typer

from jiggen.cli import options
from jiggen.cli import ski as ski_in_hand
from jiggen.cli.program import app
from jiggen.cli.targets import check_outside

SHEET = "The sheet"

# The same words as in jiggen.report.sheet.page, which is not imported here: --help is quick.
Paper = Literal["A4", "letter"]
Units = Literal["mm", "in"]


@app.command(rich_help_panel=options.JIGS)
def sheet(
    folder: Annotated[
        Path,
        typer.Argument(metavar="DIR", help="A folder that jiggen build made.", show_default=False),
    ],
    paper: Annotated[
        Paper, typer.Option("--paper", help="What the printer holds.", rich_help_panel=SHEET)
    ] = "A4",
    units: Annotated[
        Units,
        typer.Option("--units", help="in writes inches beside mm.", rich_help_panel=SHEET),
    ] = "mm",
    ticket: Annotated[
        str,
        typer.Option(
            "--ticket",
            metavar="TEXT",
            help="Free text for the head: customer, order, ski.",
            rich_help_panel=SHEET,
        ),
    ] = "",
    core: Annotated[
        options.Core | None,
        typer.Option(
            "--core",
            help="What lies under the top sheet; refused when the jig was built for another.",
            rich_help_panel=ski_in_hand.SKI,
            show_default=False,
        ),
    ] = None,
    thickness: ski_in_hand.ThicknessOption = None,
    width_at: ski_in_hand.WidthOption = None,
    area: ski_in_hand.AreaOption = None,
    base_left: ski_in_hand.BaseOption = "2",
    edge: ski_in_hand.EdgeOption = "8",
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            "-o",
            metavar="FILE",
            help="The PDF; by default DIR-sheet.pdf, beside the folder.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Write the sheet to work from: drill and stop, tools, steps, and the holes at 1:1.

    With what was measured on the ski in hand, the drilling is checked again for it. Exit code 1
    when the jig failed or was never verified, or the ski is too thin: then there is no sheet.
    """
    state = ski_in_hand.read_ski_state(thickness, width_at, area)
    limits = ski_in_hand.read_limits(base_left, edge)
    target = options.read_target(out, ".pdf", "--out") or _beside(folder)
    check_outside(target, folder, "--out")

    from jiggen.drilling import SkiState
    from jiggen.files import write_whole
    from jiggen.report.redrill import check_core, redrilled
    from jiggen.report.sheet import sheet_pdf
    from jiggen.verify.manifest import read_whole_manifest

    manifest = read_whole_manifest(folder)
    if core:
        check_core(manifest, core)
    if state != SkiState():
        manifest = redrilled(manifest, state, limits)
    write_whole(target, sheet_pdf(manifest, paper=paper, units=units, ticket=ticket), "--out")
    if as_json:
        said = {"file": str(target), "paper": paper, "units": units, "ticket": ticket}
        typer.echo(json.dumps(said, indent=1, ensure_ascii=False))
    else:
        typer.echo(f"{target}\nPrint it at 100 %, and check its bars with a ruler.")


def _beside(folder: Path) -> Path:
    """The sheet's usual place: beside the folder, under its name."""
    full = folder.resolve()
    return full.parent / f"{full.name}-sheet.pdf"

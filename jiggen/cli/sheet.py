"""``jiggen sheet``: the PDF for the bench, from a built and proven folder."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal

import typer

from jiggen.cli import options
from jiggen.cli.program import app
from jiggen.errors import Finding, InputError

SHEET = "The sheet"

# The same words as in jiggen.report.sheet.page, which is not imported here: --help is quick.
Paper = Literal["A4", "letter"]
Units = Literal["mm", "in"]


@app.command()
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

    Exit code 1 when the jig's proof failed or is missing: then there is no sheet.
    """
    target = options.read_target(out, ".pdf", "--out") or _beside(folder)
    _check_outside(target, folder)

    from jiggen.files import write_whole
    from jiggen.report.sheet import sheet_pdf
    from jiggen.verify.manifest import MANIFEST, read_manifest

    read_manifest(folder)  # refuses what is no jig's manifest
    manifest: dict[str, Any] = json.loads((folder / MANIFEST).read_bytes())
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


def _check_outside(target: Path, folder: Path) -> None:
    """Raise InputError ``cli.inside`` for a file in the folder: its proof counts every file."""
    if target.resolve().is_relative_to(folder.resolve()):
        message = f"{target.name} would lie in the jig's own folder"
        hint = "jiggen check knows every file of that folder: write the sheet beside it."
        raise InputError(Finding("cli.inside", message, where=str(target), key="--out", hint=hint))

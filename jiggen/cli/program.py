"""The program `jiggen`: what stands before any command, and nothing heavy."""

from __future__ import annotations

from typing import Annotated

import typer

from jiggen import __version__
from jiggen.cautions import CAUTIONS

app = typer.Typer(
    name="jiggen",
    help="Drilling jigs for mounting bindings and plates on skis: printed, clamped on, verified.",
    # rich would join the lines of one paragraph: each caution is its own.
    epilog="\n\n".join(CAUTIONS),
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"jiggen {__version__}")
        raise typer.Exit


@app.callback()
def program(
    version: Annotated[
        bool,
        typer.Option(
            "--version",
            metavar="",
            callback=_show_version,
            is_eager=True,
            help="Show the version and stop.",
        ),
    ] = False,
    debug: Annotated[
        bool,
        typer.Option(
            "--debug", metavar="", help="Show where in the program an unexpected error arose."
        ),
    ] = False,
) -> None:
    """Read the options before the command; `jiggen.cli.boundary` has taken --debug out."""

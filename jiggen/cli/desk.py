"""``jiggen desk``: the pages to work from, in a browser."""

from __future__ import annotations

import os
from pathlib import Path
from typing import Annotated

from jiggen.cli import output
from jiggen.cli.program import JIGS, command
from jiggen.errors import InputError
from jiggen.files import make_folder
from jiggen.options import Option

PORT = Option(
    "port",
    "count",
    "The port of this computer to answer at; default: the same every day, or a free one.",
    group="Options",
    counts=(0, 65535),
)
NO_BROWSER = Option("no-browser", "flag", "Only show the address.", group="Options")
WORKSHOP = Option(
    "workshop",
    "path",
    "Folder to work in, with patterns, jigs and shelf; default: the current one.",
    group="Options",
    metavar="DIR",
)


@command(JIGS)
def desk(
    port: Annotated[int | None, PORT],
    no_browser: Annotated[bool, NO_BROWSER],
    workshop: Annotated[Path | None, WORKSHOP],
) -> None:
    """Open the pages to work from: the whole job without typing commands.

    They are served to this computer alone, by it alone, and need no network. Ctrl-C stops it.
    """
    from jiggen.desk.server import serve

    if workshop is not None:
        make_folder(workshop, "--workshop")
        try:
            os.chdir(workshop)
        except OSError as error:
            message = f"cannot be worked in: {error.strerror or error}"
            raise InputError.of(
                "desk.workshop", message, where=str(workshop), key="--workshop"
            ) from error
    serve(
        port,
        browser=not no_browser,
        say=lambda address: output.say(f"The desk is at {address}\nCtrl-C stops it."),
    )
    output.say("\nThe desk is closed.")

"""The file that a command writes: where it may go, and that nothing is lost by it."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from jiggen.cli import options
from jiggen.errors import Finding, InputError

ForceOption = Annotated[
    bool,
    typer.Option(
        "--force",
        metavar="",
        help="Replace the pattern file if there is one of that name.",
        rich_help_panel=options.RESULT,
    ),
]


def local_target(name: str) -> Path:
    """A file in ./patterns for a pattern of that name: there its name alone finds it."""
    from jiggen.files import plain_name

    return Path("patterns") / f"{plain_name(name, 'pattern')}.toml"


def target_faults(path: Path, *, force: bool) -> tuple[Finding, ...]:
    """What keeps `path` from being written: its name's end, or a file that is there."""
    try:
        options.read_target(path, ".toml", "--out")
    except InputError as error:
        return error.findings
    if path.is_dir() or (path.exists() and not force):
        hint = "Choose another name with -o, or replace the file with --force."
        what = "folder" if path.is_dir() else "file"
        message = f"there is already a {what} of that name; nothing was written"
        return (Finding("cli.exists", message, str(path), "--out", hint),)
    return ()


def check_outside(target: Path, folder: Path, key: str) -> None:
    """Raise InputError ``cli.inside`` for a file in a jig's folder: every file in it is checked."""
    if target.resolve().is_relative_to(folder.resolve()):
        message = f"{target.name} would lie in the jig's own folder"
        hint = "jiggen check knows every file of that folder: write it beside the folder."
        raise InputError(Finding("cli.inside", message, where=str(target), key=key, hint=hint))


def write_pattern(path: Path, text: str) -> None:
    """Write the pattern file; its folder is made when it is the local one.

    Raises InputError ``files.cannot-write``.
    """
    from jiggen.files import make_folder, write_whole

    if path.parent == Path("patterns"):
        make_folder(path.parent, "--out")
    write_whole(path, text, "--out")

"""The program `jiggen`, and how its commands are made: nothing heavy.

A command's parameters are annotated with rows of an options table, ``bed: Annotated[Size, BED]``,
or are a dataclass of such fields, a block of options that several commands share.
"""

import inspect
import os
import re
import shutil
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Annotated, Any, TextIO

import typer

from jiggen import __version__
from jiggen.cautions import CAUTIONS
from jiggen.options import Option
from jiggen.request.reading import Reading, field_of, read_words, rows_of, value_of

# The program's help groups the commands by what they are about.
PATTERNS, JIGS, SKIS = "Patterns", "Jigs", "Skis that were drilled before"

_PARAGRAPH = re.compile(r"(?<=\S)\n(?=\S)")

COMMANDS: dict[str, dict[str, Option]] = {}
"""The options of each command, ``profile fit``, by the name of typer's parameter for each."""


def colourful(stream: TextIO) -> bool:
    """Whether `stream` is a terminal that may be written to in colour (NO_COLOR wins)."""
    refused = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return stream.isatty() and not refused


@contextmanager
def _plain_terminal() -> Iterator[None]:
    """Keep typer from colouring help for FORCE_COLOR and some CI services, terminal or not.

    A terminal that calls itself dumb is never coloured; without COLUMNS it would be 80 wide.
    """
    before = {name: os.environ.get(name) for name in ("TERM", "COLUMNS")}
    if not colourful(sys.stdout):
        os.environ |= {"TERM": "dumb", "COLUMNS": str(shutil.get_terminal_size().columns)}
    try:
        yield
    finally:
        for name, value in before.items():
            os.environ.pop(name, None)
            if value is not None:
                os.environ[name] = value


class Command(typer.core.TyperCommand):
    """A command whose help has no colour where `colourful` says no."""

    @_plain_terminal()
    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the help."""
        super().format_help(ctx, formatter)


class Group(typer.core.TyperGroup):
    """A group of commands by name, whose help has no colour where `colourful` says no."""

    def list_commands(self, ctx: Any) -> list[str]:
        """Names of the commands in the order in which help shows them."""
        return sorted(super().list_commands(ctx))

    @_plain_terminal()
    def format_help(self, ctx: Any, formatter: Any) -> None:
        """Write the help."""
        super().format_help(ctx, formatter)


app = typer.Typer(
    name="jiggen",
    cls=Group,
    help="Drilling jigs for mounting bindings and plates on skis: printed, clamped on, verified.",
    # rich would join the lines of one paragraph: each caution is its own.
    epilog="\n\n".join(CAUTIONS),
    add_completion=False,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"]},
)


def command(
    panel: str | None, name: str | None = None, group: typer.Typer = app
) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Make a function a command of `group`, under its own name unless `name` is given.

    All faults of the options' values are reported at once; a function that takes a `Reading`
    first is called all the same, with None for such values, to add what else is wrong.
    """

    def register(body: Callable[..., None]) -> Callable[..., None]:
        parameters = inspect.signature(body, eval_str=True).parameters.values()
        asked = {
            each.name: each.annotation for each in parameters if each.annotation is not Reading
        }
        rows = {field_of(row): row for annotation in asked.values() for row in rows_of(annotation)}

        def run(**words: Any) -> None:
            reading = Reading()
            values = {
                field: read_words(rows[field], given, reading) for field, given in words.items()
            }
            given = {name: value_of(annotation, values) for name, annotation in asked.items()}
            if len(parameters) > len(asked):
                body(reading, **given)
            else:
                reading.end()
                body(**given)

        # one line a paragraph: help breaks it to the terminal
        run.__doc__ = _PARAGRAPH.sub(" ", inspect.cleandoc(body.__doc__ or ""))
        run.__signature__ = inspect.Signature(  # type: ignore[attr-defined]
            [_parameter(field, row) for field, row in rows.items()]
        )
        called = name or body.__name__
        group.command(called, cls=Command, rich_help_panel=panel)(run)
        COMMANDS[called if group is app else f"{group.info.name} {called}"] = rows
        return body

    return register


def _parameter(field: str, row: Option) -> inspect.Parameter:
    """The parameter that typer makes an option or an argument from."""
    settings: dict[str, Any] = {"help": row.help, "metavar": row.shown_form}
    default: Any = row.default
    form: Any = str
    if row.kind == "flag":
        form, default = bool, False
    elif row.kind == "count":
        form = int
        settings |= {"min": row.counts[0], "max": row.counts[-1]}
    elif row.kind == "path" and not row.suffix:
        form = Path
    settings["show_default"] = bool(default)
    if row.repeated:
        form = list[form]
    if row.argument:
        info = typer.Argument(**settings)
    else:
        names = (row.flag, f"-{row.short}") if row.short else (row.flag,)
        info = typer.Option(*names, rich_help_panel=row.group, **settings)
    return inspect.Parameter(
        field,
        inspect.Parameter.KEYWORD_ONLY,
        default=inspect.Parameter.empty if row.required else default,
        annotation=Annotated[form, info],
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
    """Read the options before the command; `jiggen.cli.run` has removed --debug."""

"""``jiggen new``: a pattern file from the answers to questions, or from options alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from jiggen.cli import options
from jiggen.cli.faults import Reading
from jiggen.cli.program import app
from jiggen.cli.targets import ForceOption, local_target, target_faults, write_pattern
from jiggen.errors import Finding

if TYPE_CHECKING:
    from jiggen.pattern.draft import Draft
    from jiggen.pattern.model import Group

PATTERN = "The pattern"
HOLES = "Its holes: with --hole given, nothing is asked"

# The same words as in jiggen.pattern.model (see options).
Units = Literal["mm", "in"]
Pair = Literal["same", "mirrored"]

HEAD = (
    "Written by jiggen new. Change what you like, and look: jiggen show, with this file's name.",
)
WELCOME = (
    "A new pattern: have the plate's mounting sheet at hand, or the plate and a caliper.\n"
    "Enter takes what stands in brackets. Ctrl-C stops, and nothing is written.\n"
)


@app.command(rich_help_panel=options.PATTERNS)
def new(
    name: Annotated[
        str | None,
        typer.Option(
            metavar="NAME", help="Its name, engraved on the jig.", rich_help_panel=PATTERN
        ),
    ] = None,
    units: Annotated[
        Units | None,
        typer.Option(help="Of every length in the file.", rich_help_panel=PATTERN),
    ] = None,
    boot: Annotated[
        str | None,
        typer.Option(
            metavar="MM",
            help="Shortest to longest boot sole that it serves: 255-355.",
            rich_help_panel=PATTERN,
        ),
    ] = None,
    pair: Annotated[
        Pair | None,
        typer.Option(help="Left and right ski alike, or mirrored.", rich_help_panel=PATTERN),
    ] = None,
    drill: Annotated[
        str | None,
        typer.Option(metavar="MM", help="Drill diameter in a plain core.", rich_help_panel=PATTERN),
    ] = None,
    metal: Annotated[
        str | None,
        typer.Option(
            metavar="MM",
            help="Drill diameter under a metal sheet; with --hole, by default as --drill.",
            rich_help_panel=PATTERN,
        ),
    ] = None,
    depth: Annotated[
        str | None,
        typer.Option(
            metavar="MM", help="Drill depth below the top sheet.", rich_help_panel=PATTERN
        ),
    ] = None,
    group: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME,DATUM,SHIFT",
            help="Holes that move together: toe,boot-toe,-8. Of steps, each is boot:shift.",
            rich_help_panel=HOLES,
        ),
    ] = None,
    hole: Annotated[
        list[str] | None,
        typer.Option(
            metavar="GROUP,X,Y[,both]",
            help="A hole, x to the tip and y to the left: toe,12,21,both.",
            rich_help_panel=HOLES,
        ),
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "-o",
            "--out",
            metavar="FILE",
            help="The pattern file to write; by default patterns/<name>.toml.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    force: ForceOption = False,
) -> None:
    """Write a new pattern file: answer the questions, or say it all with options.

    Have the plate's mounting sheet at hand, or the plate and a caliper.
    """
    reading = Reading(*(target_faults(out, force=force) if out else ()))
    given = {
        "--name": name,
        "--units": units,
        "--boot": boot,
        "--pair": pair,
        "--drill": drill,
        "--metal": metal,
        "--depth": depth,
    }
    if hole:
        draft = _from_options(given, group or [], hole, reading)
    else:
        draft = _asked(given, group or [], reading)
    target = out or local_target(draft.name)
    if not out:
        reading.faults += target_faults(target, force=force)
    reading.end()
    write_pattern(target, draft.text(HEAD))
    holes = sum(1 + hole.both_sides for group in draft.groups for hole in group.holes)
    typer.echo(f"{target}: {holes} {'hole' if holes == 1 else 'holes'}.")
    typer.echo(f"Look at it: jiggen show {target}")


def _from_options(
    given: dict[str, str | None], groups: list[str], holes: list[str], reading: Reading
) -> Draft:
    """The draft that the options say, and nothing asked."""
    from jiggen.cli.questions import QUESTIONS, answer
    from jiggen.pattern.draft import Draft, add_holes

    draft = Draft()
    for question in QUESTIONS:
        words = given[question.option]
        if words is None and question.silent is None:
            message = "is missing: with --hole given, nothing is asked"
            hint = f"It is the {question.words[0].lower()}{question.words[1:]}."
            reading.faults.append(Finding("cli.missing", message, key=question.option, hint=hint))
        else:
            draft = answer(draft, question, words or question.silent or "", reading)
    named = [_group(words, draft.units, reading) for words in groups]
    sound = tuple(found for found in named if found)
    if len(sound) == len(groups):
        filled = reading.read(
            lambda: add_holes(sound, holes, draft.units, draft.drill, "--hole"), sound
        )
        draft = replace(draft, groups=filled)
    if not reading.faults:
        reading.faults += draft.faults(finished=True)
    return draft


def _group(words: str, units: Units, reading: Reading) -> Group | None:
    from jiggen.pattern.draft import read_group

    return reading.read(lambda: read_group(words, units, "--group"), None)


def _asked(given: dict[str, str | None], groups: list[str], reading: Reading) -> Draft:
    """The draft that the answers make; what the options say is not asked."""
    from jiggen.cli.questions import QUESTIONS, answer, ask, ask_group
    from jiggen.pattern.draft import Draft

    if groups:
        hint = "Give each of its holes with --hole, or let yourself be asked for both."
        message = "a group without --hole has no holes"
        reading.faults.append(Finding("cli.missing", message, key="--group", hint=hint))
    reading.end()  # before anyone answers twenty questions
    typer.echo(WELCOME)
    draft = Draft()
    for question in QUESTIONS:
        words = given[question.option]
        if words is None:
            draft = ask(draft, question.words, question.read, question.usual, question.option)
        else:
            draft = answer(draft, question, words, reading)
            reading.end()
    more = True
    while more:
        typer.echo()
        draft = ask_group(draft)
        more = typer.confirm("Another group of holes that moves by itself", default=False)
    return draft

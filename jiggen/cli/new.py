"""``jiggen new``: a pattern file from the answers to questions, or from options alone."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, get_args

import typer

from jiggen.cli import options
from jiggen.cli.output import counted
from jiggen.cli.program import PATTERNS, Reading, command
from jiggen.errors import Finding
from jiggen.options import Option, result

if TYPE_CHECKING:
    from jiggen.pattern.draft import Draft

Pair = Literal["same", "mirrored"]

PATTERN = "The pattern"
HOLES = "Its holes: with --hole given, nothing is asked"
_pattern = partial(Option, group=PATTERN)
_holes = partial(Option, group=HOLES)
NAME = _pattern("name", "text", "Its name, engraved on the jig.")
UNITS = _pattern("units", "choice", "Of every length in the file.", choices=("mm", "in"))
BOOT = _pattern(
    "boot", "text", "Shortest to longest boot sole that it serves: 255-355.", metavar="MM"
)
PAIR = _pattern(
    "pair", "choice", "Left and right ski the same, or mirrored.", choices=get_args(Pair)
)
DRILL = _pattern("drill", "text", "Drill diameter in a plain core.", metavar="MM")
METAL = _pattern(
    "metal",
    "text",
    "Drill diameter under a metal sheet; with --hole, by default as --drill.",
    metavar="MM",
)
DEPTH = _pattern("depth", "text", "Drill depth below the top sheet.", metavar="MM")
GROUP = _holes(
    "group",
    "text",
    "Holes that move together: toe,boot-toe,-8. Of steps, each is boot:shift.",
    repeated=True,
    metavar="NAME,DATUM,SHIFT",
)
HOLE = _holes(
    "hole",
    "text",
    "A hole, x to the tip and y to the left: toe,12,21,both.",
    repeated=True,
    metavar="GROUP,X,Y[,both]",
)
OUT = result(
    "out",
    "path",
    "The pattern file to write; by default patterns/<name>.toml.",
    suffix=".toml",
    short="o",
)
FORCE = result("force", "flag", "Replace the pattern file if there is one of that name.")
HEAD = (
    "Written by jiggen new. Change what you like, and look: jiggen show, with this file's name.",
)
WELCOME = (
    "A new pattern: have the plate's mounting sheet at hand, or the plate and a caliper.\n"
    "Enter takes what stands in brackets. Ctrl-C stops, and nothing is written.\n"
)


@command(PATTERNS)
def new(
    reading: Reading,
    name: Annotated[str | None, NAME],
    units: Annotated[options.Units | None, UNITS],
    boot: Annotated[str | None, BOOT],
    pair: Annotated[Pair | None, PAIR],
    drill: Annotated[str | None, DRILL],
    metal: Annotated[str | None, METAL],
    depth: Annotated[str | None, DEPTH],
    group: Annotated[list[str] | None, GROUP],
    hole: Annotated[list[str] | None, HOLE],
    out: Annotated[Path | None, OUT],
    force: Annotated[bool, FORCE],
) -> None:
    """Write a new pattern file: answer the questions, or say it all with options.

    Have the plate's mounting sheet at hand, or the plate and a caliper.
    """
    reading.faults += target_faults(out, force=force) if out else ()
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
    typer.echo(f"{target}: {counted(holes, 'hole')}.")
    typer.echo(f"Look at it: jiggen show {target}")


def _from_options(
    given: dict[str, str | None], groups: list[str], holes: list[str], reading: Reading
) -> Draft:
    """The draft that the options say, and nothing asked."""
    from jiggen.cli.questions import QUESTIONS, answer
    from jiggen.pattern.draft import Draft, add_holes, read_group

    draft = Draft()
    for question in QUESTIONS:
        words = given[question.option]
        if words is None and question.silent is None:
            message = "is missing: with --hole given, nothing is asked"
            hint = f"It is the {question.words[0].lower()}{question.words[1:]}."
            reading.faults.append(Finding("cli.missing", message, key=question.option, hint=hint))
        else:
            draft = answer(draft, question, words or question.silent or "", reading)
    named = [
        reading.read(partial(read_group, words, draft.units, "--group"), None) for words in groups
    ]
    sound = tuple(found for found in named if found)
    if len(sound) == len(groups):
        filled = reading.read(
            lambda: add_holes(sound, holes, draft.units, draft.drill, "--hole"), sound
        )
        draft = replace(draft, groups=filled)
    if not reading.faults:
        reading.faults += draft.faults(finished=True)
    return draft


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


def local_target(name: str) -> Path:
    """A file in ./patterns for a pattern of that name: there its name alone finds it."""
    from jiggen.files import plain_name

    return Path("patterns") / f"{plain_name(name, 'pattern')}.toml"


def target_faults(path: Path, *, force: bool) -> tuple[Finding, ...]:
    """What keeps `path` from being written: something that is there."""
    if path.is_dir() or (path.exists() and not force):
        hint = "Choose another name with -o, or replace the file with --force."
        what = "folder" if path.is_dir() else "file"
        message = f"there is already a {what} of that name; nothing was written"
        return (Finding("cli.exists", message, str(path), "--out", hint),)
    return ()


def write_pattern(path: Path, text: str) -> None:
    """Write the pattern file; its folder is made when it is the local one.

    Raises InputError ``files.cannot-write``.
    """
    from jiggen.files import make_folder, write_whole

    if path.parent == Path("patterns"):
        make_folder(path.parent, "--out")
    write_whole(path, text, "--out")

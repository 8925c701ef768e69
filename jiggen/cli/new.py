"""``jiggen new`` and ``jiggen import``: a pattern file from answers, options or a drawing."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, get_args

import typer

from jiggen.cli import options
from jiggen.cli.program import PATTERNS, Reading, command
from jiggen.errors import Finding
from jiggen.options import Option, result
from jiggen.units import counted

if TYPE_CHECKING:
    from jiggen.importing import Imported
    from jiggen.importing.model import Turn

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
# The same words as in jiggen.pattern.model and jiggen.importing.model (see options).
Origin = Literal["middle"] | tuple[float, float]
Datum = Literal["boot-toe", "boot-heel", "boot-centre"]
Degrees = Literal["0", "90", "180", "270"]
TURNS: dict[Degrees, Turn] = {"0": 0, "90": 90, "180": 180, "270": 270}

DRAWING = "The drawing"
_drawing = partial(Option, group=DRAWING)
DRAWING_FILE = Option(
    "file",
    "path",
    "A drawing of the plate, .dxf or .svg, or a table of x, y, diameter, .csv.",
    argument=True,
    required=True,
)
TARGET = replace(OUT, help="The pattern file to write: pattern.toml.", required=True)
DRAWING_UNITS = _drawing(
    "units",
    "choice",
    "What a unit of the drawing is, where it does not say so or is wrong.",
    choices=("mm", "in"),
)
LAYER = _drawing(
    "layer",
    "text",
    "Take the circles on this layer (of an SVG: in this group); may be repeated.",
    repeated=True,
)
ONLY = _drawing(
    "only", "range", "Take circles of this diameter, or from least to greatest: 5.5, 4-6."
)
ORIGIN = _drawing(
    "origin",
    "point",
    "The drawing's point that the datum below lies on, in mm; middle is the middle of the holes.",
    default="0,0",
)
TURN = _drawing(
    "turn",
    "choice",
    "Turn the drawing anticlockwise, so that the tip is at its right.",
    choices=get_args(Degrees),
    default="0",
)
DRAWING_NAME = _pattern(
    "name", "text", "The pattern's name, engraved on the jig; by default the drawing's.", default=""
)
DATUM = _pattern(
    "datum",
    "choice",
    "What the holes move with: the boot's toe, its heel, or nothing.",
    choices=get_args(Datum),
    default="boot-centre",
)
CIRCLES_DRILL = _pattern("drill", "length", "Drill diameter; by default the circles' own.")
CIRCLES_METAL = _pattern(
    "metal", "length", "Drill diameter under a metal sheet; by default as --drill."
)
CIRCLES_DEPTH = _pattern(
    "depth", "length", "Drill depth below the top sheet; by default 9, which is only a guess."
)

HEAD = (
    "Written by jiggen new. Change what you like, and look: jiggen show, with this file's name.",
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
    from jiggen.cli.questions import draft_from_answers, draft_from_options

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
        draft = draft_from_options(given, group or [], hole, reading)
    else:
        draft = draft_from_answers(given, group or [], reading)
    target = out or local_target(draft.name)
    if not out:
        reading.faults += target_faults(target, force=force)
    reading.end()
    write_pattern(target, draft.text(HEAD))
    holes = sum(1 + hole.both_sides for group in draft.groups for hole in group.holes)
    typer.echo(f"{target}: {counted(holes, 'hole')}.")
    typer.echo(f"Look at it: jiggen show {target}")


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


@command(PATTERNS, "import")
def import_drawing(
    reading: Reading,
    file: Annotated[Path, DRAWING_FILE],
    out: Annotated[Path | None, TARGET],
    units: Annotated[options.Units | None, DRAWING_UNITS],
    layer: Annotated[list[str] | None, LAYER],
    only: Annotated[options.Range | None, ONLY],
    origin: Annotated[Origin | None, ORIGIN],
    turn: Annotated[Degrees, TURN],
    name: Annotated[str, DRAWING_NAME],
    datum: Annotated[Datum, DATUM],
    drill: Annotated[float | None, CIRCLES_DRILL],
    metal: Annotated[float | None, CIRCLES_METAL],
    depth: Annotated[float | None, CIRCLES_DEPTH],
    force: Annotated[bool, FORCE],
) -> None:
    """Make a pattern file from a drawing: each circle is a hole.

    Holes that mirror one another about the centre line (y = 0) become one on both sides.
    """
    reading.faults += target_faults(out, force=force) if out else ()

    from jiggen.importing import Choices, import_pattern

    choices = Choices(
        units=units,
        layers=tuple(layer or ()),
        only=only,
        origin=origin or "middle",
        turn=TURNS[turn],
        name=name,
        datum=datum,
        drill=drill,
        metal=metal,
        depth=depth,
    )
    made = reading.read(lambda: import_pattern(file, choices, str(out)), None)
    reading.end()
    if made and out:
        write_pattern(out, made.text)
        typer.echo(_summary(file, out, made))


def _summary(file: Path, out: Path, made: Imported) -> str:
    holes = sum(1 + hole.both_sides for group in made.pattern.groups for hole in group.holes)
    over = f", {made.passed_over} passed over" if made.passed_over else ""
    lines = [
        f"{file.name}: {counted(made.circles, 'circle')}{over}; its unit: {made.unit}.",
        f"{out}: {counted(holes, 'hole')}, {counted(made.pairs, 'pair')} of them on both sides.",
    ]
    if made.checks:
        lines += ["", "Check in the file:", *(f"- {check}" for check in made.checks)]
    return "\n".join([*lines, "", f"Look at it: jiggen show {out}"])

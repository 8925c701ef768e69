"""``jiggen import``: a pattern file from a drawing of the plate."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from jiggen.cli import options
from jiggen.cli.faults import Reading
from jiggen.cli.program import app
from jiggen.cli.targets import ForceOption, target_faults, write_pattern
from jiggen.errors import Finding, InputError
from jiggen.units import length, length_range

if TYPE_CHECKING:
    from jiggen.importing import Imported
    from jiggen.importing.model import Origin, Turn

DRAWING = "The drawing"
PATTERN = "The pattern"

# The same words as in jiggen.pattern.model and jiggen.importing.model (see options).
Datum = Literal["boot-toe", "boot-heel", "boot-centre"]
Units = Literal["mm", "in"]
Degrees = Literal["0", "90", "180", "270"]
TURNS: dict[Degrees, Turn] = {"0": 0, "90": 90, "180": 180, "270": 270}


@app.command("import", rich_help_panel=options.PATTERNS)
def import_drawing(
    file: Annotated[
        Path,
        typer.Argument(
            metavar="FILE",
            help="A drawing of the plate, .dxf or .svg, or a table of x, y, diameter, .csv.",
            show_default=False,
        ),
    ],
    out: Annotated[
        Path,
        typer.Option(
            "-o",
            "--out",
            metavar="FILE",
            help="The pattern file to write: pattern.toml.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ],
    units: Annotated[
        Units | None,
        typer.Option(
            help="What a unit of the drawing is, where it does not say so or is wrong.",
            rich_help_panel=DRAWING,
        ),
    ] = None,
    layer: Annotated[
        list[str] | None,
        typer.Option(
            metavar="NAME",
            help="Take the circles on this layer (of an SVG: in this group); may be repeated.",
            rich_help_panel=DRAWING,
        ),
    ] = None,
    only: Annotated[
        str | None,
        typer.Option(
            metavar="MM",
            help="Take circles of this diameter, or from least to greatest: 5.5, 4-6.",
            rich_help_panel=DRAWING,
        ),
    ] = None,
    origin: Annotated[
        str,
        typer.Option(
            metavar="X,Y",
            help="The drawing's point that the datum below lies on, in mm; middle is the middle "
            "of the holes.",
            rich_help_panel=DRAWING,
        ),
    ] = "0,0",
    turn: Annotated[
        Degrees,
        typer.Option(
            help="Turn the drawing anticlockwise, so that the tip is at its right.",
            rich_help_panel=DRAWING,
        ),
    ] = "0",
    name: Annotated[
        str,
        typer.Option(
            metavar="NAME",
            help="The pattern's name, engraved on the jig; by default the drawing's.",
            rich_help_panel=PATTERN,
            show_default=False,
        ),
    ] = "",
    datum: Annotated[
        Datum,
        typer.Option(
            help="What the holes move with: the boot's toe, its heel, or nothing.",
            rich_help_panel=PATTERN,
        ),
    ] = "boot-centre",
    drill: Annotated[
        str | None,
        typer.Option(
            metavar="MM",
            help="Drill diameter; by default the circles' own.",
            rich_help_panel=PATTERN,
            show_default=False,
        ),
    ] = None,
    metal: Annotated[
        str | None,
        typer.Option(
            metavar="MM",
            help="Drill diameter under a metal sheet; by default as --drill.",
            rich_help_panel=PATTERN,
            show_default=False,
        ),
    ] = None,
    depth: Annotated[
        str | None,
        typer.Option(
            metavar="MM",
            help="Drill depth below the top sheet; by default 9, which is only a guess.",
            rich_help_panel=PATTERN,
            show_default=False,
        ),
    ] = None,
    force: ForceOption = False,
) -> None:
    """Make a pattern file from a drawing: each circle is a hole.

    Holes that mirror one another about the centre line (y = 0) become one on both sides.
    """
    reading = Reading(*target_faults(out, force=force))
    sizes = (("--drill", drill), ("--metal", metal), ("--depth", depth))
    drills = [_size(reading, words, key) for key, words in sizes]
    span = reading.read(lambda: None if only is None else length_range(only, "--only"), None)
    middle: Origin = "middle"
    start = reading.read(lambda: _origin(origin), middle)

    from jiggen.importing import Choices, import_pattern

    choices = Choices(
        units=units,
        layers=tuple(layer or ()),
        only=span,
        origin=start,
        turn=TURNS[turn],
        name=name,
        datum=datum,
        drill=drills[0],
        metal=drills[1],
        depth=drills[2],
    )
    made = reading.read(lambda: import_pattern(file, choices, str(out)), None)
    reading.end()
    if made:
        write_pattern(out, made.text)
        typer.echo(_said(file, out, made))


def _size(reading: Reading, words: str | None, key: str) -> float | None:
    return reading.read(lambda: None if words is None else length(words, key), None)


def _origin(words: str) -> Origin:
    """The point that ``X,Y`` says, in mm, or "middle".  Raises InputError."""
    if words == "middle":
        return "middle"
    x, comma, y = words.partition(",")
    if not comma:
        hint = "Write X,Y as the drawing program shows them, or middle."
        message = f'"{words[:40]}" is no point'
        raise InputError(Finding("import.origin", message, key="--origin", hint=hint))
    return length(x, "--origin"), length(y, "--origin")


def _said(file: Path, out: Path, made: Imported) -> str:
    holes = sum(1 + hole.both_sides for group in made.pattern.groups for hole in group.holes)
    over = f", {made.passed_over} passed over" if made.passed_over else ""
    lines = [
        f"{file.name}: {_counted(made.circles, 'circle')}{over}; its unit: {made.unit}.",
        f"{out}: {_counted(holes, 'hole')}, {_counted(made.pairs, 'pair')} of them on both sides.",
    ]
    if made.checks:
        lines += ["", "Check in the file:", *(f"- {check}" for check in made.checks)]
    return "\n".join([*lines, "", f"Look at it: jiggen show {out}"])


def _counted(count: int, name: str) -> str:
    return f"{count} {name}" if count == 1 else f"{count} {name}s"

"""``jiggen import``: a pattern file from a drawing of the plate."""

from __future__ import annotations

from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, get_args

import typer

from jiggen.cli import options
from jiggen.cli.new import FORCE, OUT, PATTERN, target_faults, write_pattern
from jiggen.cli.output import counted
from jiggen.cli.program import PATTERNS, Reading, command
from jiggen.options import Option

if TYPE_CHECKING:
    from jiggen.importing import Imported
    from jiggen.importing.model import Turn

# The same words as in jiggen.pattern.model and jiggen.importing.model (see options).
Origin = Literal["middle"] | tuple[float, float]
Datum = Literal["boot-toe", "boot-heel", "boot-centre"]
Degrees = Literal["0", "90", "180", "270"]
TURNS: dict[Degrees, Turn] = {"0": 0, "90": 90, "180": 180, "270": 270}

DRAWING = "The drawing"
_drawing = partial(Option, group=DRAWING)
_pattern = partial(Option, group=PATTERN)
FILE = Option(
    "file",
    "path",
    "A drawing of the plate, .dxf or .svg, or a table of x, y, diameter, .csv.",
    argument=True,
    required=True,
)
TARGET = replace(OUT, help="The pattern file to write: pattern.toml.", required=True)
UNITS = _drawing(
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
NAME = _pattern(
    "name", "text", "The pattern's name, engraved on the jig; by default the drawing's.", default=""
)
DATUM = _pattern(
    "datum",
    "choice",
    "What the holes move with: the boot's toe, its heel, or nothing.",
    choices=get_args(Datum),
    default="boot-centre",
)
DRILL = _pattern("drill", "length", "Drill diameter; by default the circles' own.")
METAL = _pattern("metal", "length", "Drill diameter under a metal sheet; by default as --drill.")
DEPTH = _pattern(
    "depth", "length", "Drill depth below the top sheet; by default 9, which is only a guess."
)


@command(PATTERNS, "import")
def import_drawing(
    reading: Reading,
    file: Annotated[Path, FILE],
    out: Annotated[Path | None, TARGET],
    units: Annotated[options.Units | None, UNITS],
    layer: Annotated[list[str] | None, LAYER],
    only: Annotated[options.Range | None, ONLY],
    origin: Annotated[Origin | None, ORIGIN],
    turn: Annotated[Degrees, TURN],
    name: Annotated[str, NAME],
    datum: Annotated[Datum, DATUM],
    drill: Annotated[float | None, DRILL],
    metal: Annotated[float | None, METAL],
    depth: Annotated[float | None, DEPTH],
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

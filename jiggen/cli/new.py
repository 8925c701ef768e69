"""``jiggen new`` and ``jiggen import``: a pattern file from answers, options or a drawing."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal, get_args

from jiggen.cli import output
from jiggen.cli.program import PATTERNS, command
from jiggen.errors import Finding
from jiggen.options import Option, argument, result
from jiggen.request import options
from jiggen.request.reading import Reading
from jiggen.units import counted
from jiggen.wording import CENTRE

if TYPE_CHECKING:
    from jiggen.importing import Turn
    from jiggen.pattern.model import Group

Pair = Literal["same", "mirrored"]

HOLES = "Its holes: with --hole given, nothing is asked"
DRAWING = "The drawing"
_pattern = partial(Option, group="The pattern")
_words = partial(Option, kind="text", group="The pattern", metavar="MM")
_holes = partial(Option, kind="text", group=HOLES, repeated=True)
_drawing = partial(Option, group=DRAWING)

NAME = _pattern("name", "text", "Name of the pattern, engraved on the jig.")
UNITS = _pattern("units", "choice", "Unit of every length in the file.", choices=("mm", "in"))
BOOT = _words("boot", help="Shortest to longest boot sole it serves, 255-355 (none: any).")
PAIR = _pattern("pair", "choice", "Left and right ski: same or mirrored.", choices=get_args(Pair))
DRILL = _words("drill", help="Drill diameter in a plain core.")
METAL = _words(
    "metal", help="Drill diameter under a metal sheet; with --hole, by default as --drill."
)
DEPTH = _words("depth", help="Drill depth below the top sheet.")
UNUSUAL = _pattern(
    "unusual", "flag", "Drills over 4.5 mm or holes less than 5 mm deep are meant, for inserts say."
)
POINT = _pattern(
    "point",
    "text",
    "A point of the boot that holes are measured from, and how far in front of its toe it is: "
    "pin-line:-15; may be repeated.",
    metavar="NAME:MM",
    repeated=True,
)
ON_MARK = _pattern(
    "mark",
    "text",
    "Which point of the boot lies on the ski's mark; by default boot-centre.",
    metavar="POINT",
)
GROUP = _holes(
    "group",
    help="Holes that move together: toe,boot-toe,-8. Of steps, each is boot:shift.",
    metavar="NAME,DATUM,SHIFT",
)
HOLE = _holes(
    "hole", help="x to the tip, y to the left: toe,12,21,both.", metavar="GROUP,X,Y[,both]"
)
OUT = result(
    "out",
    "path",
    "Pattern file to write; by default patterns/<name>.toml.",
    suffix=".toml",
    short="o",
)
FORCE = result("force", "flag", "Replace the pattern file if there is one of that name.")
# The same words as in jiggen.pattern.model and jiggen.importing (see options).
Origin = Literal["middle"] | tuple[float, float]
Degrees = Literal["0", "90", "180", "270"]
TURNS: dict[Degrees, Turn] = {"0": 0, "90": 90, "180": 180, "270": 270}

FILE = argument("file", "path", "Drawing of the plate, .dxf or .svg; or x, y, diameter, .csv.")
TARGET = replace(OUT, help="The pattern file to write: pattern.toml.", required=True)
DRAWING_UNITS = replace(
    UNITS, help="A unit of the drawing, where it names none or a wrong one.", group=DRAWING
)
LAYER = _drawing(
    "layer", "text", "Circles on this layer (of an SVG: group); may be repeated.", repeated=True
)
ONLY = _drawing(
    "only", "range", "Take circles of this diameter, or from least to greatest: 5.5, 4-6."
)
ORIGIN = _drawing(
    "origin", "point", "Its point at the datum, in mm, by default 0/0; middle is that of the holes."
)
TURN = _drawing(
    "turn",
    "choice",
    "Turn it anticlockwise until the tip is to the right: 270 for a tip above; by default 0, and "
    "a drawing that stands upright is refused.",
    choices=tuple(TURNS),
)
PIECE = _drawing(
    "piece",
    "text",
    "Holes that move together, by layer or by from:to along the ski, what they move with, and the "
    "drawing's point there: Toe=boot-toe@120/0, -200:0=boot-heel@-150/0; may be repeated.",
    repeated=True,
    metavar="WHERE=DATUM[@X/Y]",
)
TITLE = replace(NAME, help="The pattern's name; by default the drawing's.", default="")
DATUM = _pattern(
    "datum",
    "text",
    "What the holes move with: boot-toe, boot-heel, a point of the boot, or nothing, boot-centre.",
    metavar="POINT",
    default="boot-centre",
)
CIRCLES_DRILL = _pattern(
    "drill", "length", "Drill diameter, of points too; by default 3.6, which is only a guess."
)
CIRCLES_METAL = _pattern(
    "metal", "length", "Drill diameter under a metal sheet; by default as --drill, or 4.1, a guess."
)
AS_DRAWN = _pattern(
    "as-drawn", "flag", "The circles' own diameters are the drills: of a template, not of a plate."
)
CIRCLES_DEPTH = _pattern(
    "depth", "length", "Drill depth below the top sheet; by default 9, which is only a guess."
)


@dataclass(frozen=True)
class Given:
    """The options that answer a question; None is asked for."""

    name: Annotated[str | None, NAME]
    units: Annotated[options.Units | None, UNITS]
    boot: Annotated[str | None, BOOT]
    pair: Annotated[Pair | None, PAIR]
    drill: Annotated[str | None, DRILL]
    metal: Annotated[str | None, METAL]
    depth: Annotated[str | None, DEPTH]
    unusual: Annotated[bool, UNUSUAL]
    point: Annotated[list[str] | None, POINT]
    mark: Annotated[str | None, ON_MARK]


@command(PATTERNS)
def new(
    reading: Reading,
    given: Given,
    group: Annotated[list[str] | None, GROUP],
    hole: Annotated[list[str] | None, HOLE],
    out: Annotated[Path | None, OUT],
    force: Annotated[bool, FORCE],
) -> None:
    """Write a new pattern file: answer the questions, or say it all with options.

    Have the plate's mounting sheet at hand, or the plate and a caliper.
    """
    from jiggen.cli.questions import make_draft

    _check_free(out, force, reading)
    draft = make_draft(given, group or [], hole or [], reading)
    target = out or local_target(draft.name)
    if not out:
        _check_free(target, force, reading)
    reading.end()
    head = "Written by jiggen new. Change what you like, and look: jiggen show, with its name."
    _write_pattern(target, draft.text([head]))
    output.say(f"{target}: {_count_holes(draft.groups)}.\nLook at it: jiggen show {target}")


def local_target(name: str) -> Path:
    """A file in ./patterns for a pattern of that name: there its name alone finds it."""
    from jiggen.files import plain_name

    return Path("patterns") / f"{plain_name(name, 'pattern')}.toml"


def _check_free(path: Path | None, force: bool, reading: Reading) -> None:
    """A fault in `reading` when something is at `path` that may not be replaced."""
    if path and (path.is_dir() or (path.exists() and not force)):
        hint = "Choose another name with -o, or replace the file with --force."
        what = "folder" if path.is_dir() else "file"
        message = f"there is already a {what} of that name; nothing was written"
        reading.faults.append(Finding("cli.exists", message, str(path), "--out", hint))


def _write_pattern(path: Path, text: str) -> None:
    """Write the pattern file, its folder made when it is the local one.  Raises InputError."""
    from jiggen.files import make_folder, write_whole

    if path.parent == Path("patterns"):
        make_folder(path.parent, "--out")
    write_whole(path, text, "--out")


def _count_holes(groups: Iterable[Group]) -> str:
    return counted(sum(1 + hole.both_sides for group in groups for hole in group.holes), "hole")


@command(PATTERNS, "import")
def import_drawing(
    reading: Reading,
    file: Annotated[Path, FILE],
    out: Annotated[Path | None, TARGET],
    units: Annotated[options.Units | None, DRAWING_UNITS],
    layer: Annotated[list[str] | None, LAYER],
    only: Annotated[options.Range | None, ONLY],
    origin: Annotated[Origin | None, ORIGIN],
    turn: Annotated[Degrees | None, TURN],
    piece: Annotated[list[str] | None, PIECE],
    name: Annotated[str, TITLE],
    datum: Annotated[str, DATUM],
    point: Annotated[list[str] | None, POINT],
    mark: Annotated[str | None, ON_MARK],
    drill: Annotated[float | None, CIRCLES_DRILL],
    metal: Annotated[float | None, CIRCLES_METAL],
    depth: Annotated[float | None, CIRCLES_DEPTH],
    as_drawn: Annotated[bool, AS_DRAWN],
    unusual: Annotated[bool, UNUSUAL],
    force: Annotated[bool, FORCE],
) -> None:
    """Make a pattern file from a drawing: each circle, and each round outline, is a hole.

    Holes that mirror one another about the centre line (y = 0) become one on both sides.
    """
    _check_free(out, force, reading)

    from jiggen.importing import Choices
    from jiggen.importing.job import import_pattern
    from jiggen.importing.placing import read_piece
    from jiggen.pattern.write import read_datum, read_point

    named = [reading.read(partial(read_point, one, "mm"), None, "--point") for one in point or ()]
    points = tuple(one for one in named if one)
    known = dict(points)
    parts = [
        reading.read(partial(read_piece, words, known), None, "--piece") for words in piece or ()
    ]
    choices = Choices(
        units=units,
        layers=tuple(layer or ()),
        only=only,
        origin=origin,
        turn=TURNS[turn] if turn else None,
        pieces=tuple(part for part in parts if part),
        name=name,
        datum=reading.read(partial(read_datum, datum, known), "boot-centre", "--datum"),
        mark=reading.read(partial(read_datum, mark or CENTRE, known), CENTRE, "--mark"),
        points=points,
        drill=drill,
        metal=metal,
        depth=depth,
        as_drawn=as_drawn,
        unusual=unusual,
    )
    made = reading.read(lambda: import_pattern(file, choices, str(out)), None)
    reading.end()
    if not made or not out:
        return
    _write_pattern(out, made.text)
    over, rounded = "", ""
    if made.passed_over:
        over = f", {made.passed_over} passed over, of other layers, diameters or pieces"
    if made.rounded:
        from jiggen.importing.outlines import ROUND

        kinds = ", ".join(f"{count} x {kind}" for kind, count in made.rounded.items())
        rounded = f"\nNot drawn as circles: {kinds}; round within {ROUND:.1%} of their diameter."
    holes, pairs = _count_holes(made.pattern.groups), counted(made.pairs, "pair")
    lines = [
        f"{file.name}: {counted(made.circles, 'circle')}{over}; its unit: {made.unit}.{rounded}",
        f"{out}: {holes}, {pairs} of them on both sides.",
    ]
    if made.checks:
        lines += ["", "Check in the file:", *(f"- {check}" for check in made.checks)]
    text = "\n".join([*lines, "", f"Look at it: jiggen show {out}"])
    output.write(False, dict, lambda: text, made.warnings)

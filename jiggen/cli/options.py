"""Arguments and options that several commands share, and how their words are read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from jiggen.errors import Finding, InputError
from jiggen.units import box, length, length_range, sizes

if TYPE_CHECKING:
    from jiggen.design import Settings
    from jiggen.design.settings import BushChoice
    from jiggen.layout import Layout
    from jiggen.pattern import Pattern
    from jiggen.printer import Profile

# The program's help groups the commands by what they are about.
PATTERNS, JIGS, SKIS = "Patterns", "Jigs", "Skis that were drilled before"

# Help shows its panels in this order: what a technician decides first stands first.
JOB = "The job"
PRINTER = "The printer and the drill bushes"
RESULT = "What comes out"

# The same words as in jiggen.pattern.model, which is not imported here: it would take longer
# than everything else that --help needs.
Core = Literal["plain", "metal"]
Side = Literal["left", "right"]

PatternArgument = Annotated[
    str,
    typer.Argument(
        metavar="PATTERN",
        help="A pattern's name, or the path of a pattern file.",
        show_default=False,
    ),
]
BootOption = Annotated[
    str,
    typer.Option(
        "--boot",
        metavar="MM",
        help="Boot sole length: 305, or 12in.",
        rich_help_panel=JOB,
        show_default=False,
    ),
]
BootsOption = Annotated[
    str,
    typer.Option(
        "--boot",
        metavar="MM",
        help="Boot sole length: 305, or 12in; a range makes one jig for all of them: 265-345.",
        rich_help_panel=JOB,
        show_default=False,
    ),
]
ShiftOption = Annotated[
    str,
    typer.Option(
        "--shift",
        metavar="MM",
        help="Move every hole along the ski: 5 towards the tip, -5 towards the tail.",
        rich_help_panel=JOB,
    ),
]
CoreOption = Annotated[
    Core,
    typer.Option(
        "--core",
        help="What lies under the top sheet; it decides the drill.",
        rich_help_panel=JOB,
    ),
]
SideOption = Annotated[
    Side,
    typer.Option(
        "--side",
        help="Which ski of the pair; only for patterns whose pair is mirrored.",
        rich_help_panel=JOB,
    ),
]
SkiOption = Annotated[
    str,
    typer.Option(
        "--ski",
        metavar="MM",
        help="Narrowest to widest ski under the jig: 84-112.",
        rich_help_panel=JOB,
        show_default=False,
    ),
]
BushOption = Annotated[
    str,
    typer.Option(
        "--bush",
        metavar="BUSH",
        help="auto takes the DIN 179 bush for the drill; none guides the drill in the "
        "print; 8x12 is the bush in hand, outside by length.",
        rich_help_panel=PRINTER,
    ),
]
BushFitOption = Annotated[
    str,
    typer.Option(
        "--bush-fit",
        metavar="MM",
        help="Added to the bush's outside diameter: printed holes come out small.",
        rich_help_panel=PRINTER,
    ),
]
BedOption = Annotated[
    str,
    typer.Option(
        "--bed",
        metavar="XxYxZ",
        help="What the printer can print: width, depth, height.",
        rich_help_panel=PRINTER,
    ),
]
MaterialOption = Annotated[
    str,
    typer.Option(
        "--material",
        metavar="NAME",
        help="Plastic it is printed in: PLA, PETG, ABS, ASA, PA or PC; jiggen materials compares.",
        rich_help_panel=PRINTER,
    ),
]
PrinterOption = Annotated[
    str | None,
    typer.Option(
        "--printer",
        metavar="NAME",
        help="Make the parts so that they come out true on this printer: a stored profile's "
        "name, or the path of one.",
        rich_help_panel=PRINTER,
        show_default=False,
    ),
]
JsonOption = Annotated[
    bool,
    typer.Option(
        "--json",
        metavar="",
        help="Write JSON to standard output, errors too.",
        rich_help_panel=RESULT,
    ),
]


def read_layout(pattern: str, boot: str, shift: str, core: Core, side: Side) -> Layout:
    """The layout that the words of a command line ask for; raises as `read_with_pattern`."""
    return read_with_pattern(pattern, boot, shift, core, side)[1]


def read_with_pattern(
    pattern: str, boot: str, shift: str, core: Core, side: Side
) -> tuple[Pattern, Layout]:
    """The pattern that the words of a command line name, and the layout that they ask for.

    Raises InputError for a length that is none, for the pattern, and for what does not fit it.
    """
    sole, moved = length(boot, "--boot"), length(shift, "--shift")

    from jiggen.layout import layout
    from jiggen.pattern import find_pattern, read_pattern

    found = read_pattern(find_pattern(pattern))
    return found, layout(found, sole, mount_shift=moved, core=core, side=side)


def read_pattern_and_boots(pattern: str, boots: str) -> tuple[Pattern, tuple[float, float]]:
    """The pattern that the words of a command line name, and a range of boot soles in mm.

    Raises InputError for a range that is none, and for the pattern.
    """
    ends = length_range(boots, "--boot")

    from jiggen.pattern import find_pattern, read_pattern

    return read_pattern(find_pattern(pattern)), ends


def read_ski(words: str | None) -> tuple[float, float] | None:
    """Narrowest and widest ski in mm, or None when nothing was said."""
    return None if words is None else length_range(words, "--ski")


def read_settings(ski: str, bed: str, bush: str) -> Settings:
    """A jig's settings from the words of a command line, the rest as by default."""
    least, most = length_range(ski, "--ski")

    from jiggen.design import Bed, Settings, SkiRange

    return Settings(SkiRange(least, most), bed=Bed(*box(bed, "--bed")), bush=read_bush(bush))


def read_material(words: str) -> str:
    """The short name of a plastic.  Raises InputError for one that is not listed."""
    from jiggen.tables.materials import material

    return material(words, "--material").name


def read_printer(words: str | None) -> Profile | None:
    """The profile of the printer that was named; None when none was.

    Raises InputError for a profile that is unknown or wrong.
    """
    if words is None:
        return None

    from jiggen.printer import find_profile

    return find_profile(words)


def read_bush(words: str) -> BushChoice:
    """What --bush says: auto, none, or the bush in hand.  Raises InputError ``units.sizes``."""
    if words == "auto":
        return "auto"
    if words == "none":
        return "none"

    from jiggen.design import Bush

    try:
        return Bush(*sizes(words, 2, "--bush"))
    except InputError as error:
        hint = "Write auto, none, or outside x length of the bush in hand: 8x12."
        raise InputError(
            Finding("units.sizes", f'"{words[:40]}" is no bush', key="--bush", hint=hint)
        ) from error


def read_target(path: Path | None, suffix: str, key: str) -> Path | None:
    """`path` if it ends in `suffix`, so that no slip of the hand replaces another file.

    Raises InputError ``cli.suffix``.
    """
    if path is not None and path.suffix.lower() != suffix:
        message = f"{path.name or path} does not end in {suffix}"
        hint = f"Name a file that ends in {suffix}; a file of that name is replaced."
        raise InputError(Finding("cli.suffix", message, key=key, hint=hint))
    return path

"""Arguments and options that several commands share, and how their words are read."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from jiggen.errors import Finding, InputError
from jiggen.units import length, length_range

if TYPE_CHECKING:
    from jiggen.layout import Layout

# Help shows its panels in this order: what a technician decides first stands first.
JOB = "The job"
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
    """The layout that the words of a command line ask for.

    Raises InputError for a length that is none, for the pattern, and for what does not fit it.
    """
    sole, moved = length(boot, "--boot"), length(shift, "--shift")

    from jiggen.layout import layout
    from jiggen.pattern import find_pattern, read_pattern

    found = read_pattern(find_pattern(pattern))
    return layout(found, sole, mount_shift=moved, core=core, side=side)


def read_ski(words: str | None) -> tuple[float, float] | None:
    """Narrowest and widest ski in mm, or None when nothing was said."""
    return None if words is None else length_range(words, "--ski")


def read_target(path: Path | None, suffix: str, key: str) -> Path | None:
    """`path` if it ends in `suffix`, so that no slip of the hand replaces another file.

    Raises InputError ``cli.suffix``.
    """
    if path is not None and path.suffix.lower() != suffix:
        message = f"{path.name or path} does not end in {suffix}"
        hint = f"Name a file that ends in {suffix}; a file of that name is replaced."
        raise InputError(Finding("cli.suffix", message, key=key, hint=hint))
    return path

"""Options about the ski in hand, shared by the commands that check a drilling against it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from jiggen.errors import Finding, InputError
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.drilling import Area, DrillingLimits, SkiState

SKI = "The ski in hand"

ThicknessOption = Annotated[
    str | None,
    typer.Option(
        "--thickness",
        metavar="MM",
        help="Ski thickness where it is drilled: 22, or under toe and heel: 23,21.",
        rich_help_panel=SKI,
        show_default=False,
    ),
]
WidthOption = Annotated[
    list[str] | None,
    typer.Option(
        "--width-at",
        metavar="X:MM",
        help="Ski width at a place: 150:96 is 96 mm wide, 150 mm in front of the mark. "
        "Up to three times.",
        rich_help_panel=SKI,
        show_default=False,
    ),
]
AreaOption = Annotated[
    str | None,
    typer.Option(
        "--area",
        metavar="X,X,Y",
        help="Where holes are allowed: from x, to x, and to either side: -210,200,32. "
        "By default the pattern's own, if it has one.",
        rich_help_panel=SKI,
        show_default=False,
    ),
]
BaseOption = Annotated[
    str,
    typer.Option(
        "--base-left",
        metavar="MM",
        help="Least left under the drill's point.",
        rich_help_panel=SKI,
    ),
]
EdgeOption = Annotated[
    str,
    typer.Option(
        "--edge",
        metavar="MM",
        help="Warn of a hole whose wall is nearer to the ski's edge.",
        rich_help_panel=SKI,
    ),
]


def read_ski_state(thickness: str | None, widths: list[str] | None, area: str | None) -> SkiState:
    """What was measured on the ski, from the words of a command line.

    Raises InputError ``cli.ski`` or ``units.length`` for words that are none.
    """
    from jiggen.drilling import SkiState

    state = SkiState(
        thickness=_lengths(thickness, ",", "--thickness") if thickness else (),
        widths=tuple(_width(words) for words in widths or ()),
        area=_area(area) if area else None,
    )
    state.check()
    return state


def read_limits(base_left: str, edge: str) -> DrillingLimits:
    """The drilling check's limits, those a command line sets and the rest by default."""
    from dataclasses import replace

    from jiggen.drilling import DrillingLimits

    limits = replace(
        DrillingLimits(),
        base_left=length(base_left, "--base-left"),
        edge=length(edge, "--edge"),
    )
    limits.check()
    return limits


def _width(words: str) -> tuple[float, float]:
    found = _lengths(words, ":", "--width-at")
    if len(found) != 2:
        raise _refusal("--width-at", words, "Write place:width, both from the mark: 150:96.")
    return found[0], found[1]


def _area(words: str) -> Area:
    from jiggen.drilling import Area

    found = _lengths(words, ",", "--area")
    if len(found) != 3:
        raise _refusal("--area", words, "Write from x, to x, to either side: -210,200,32.")
    return Area(*found)


def _lengths(words: str, between: str, key: str) -> tuple[float, ...]:
    return tuple(length(word, key) for word in words.split(between))


def _refusal(key: str, words: str, hint: str) -> InputError:
    return InputError(Finding("cli.ski", f'"{words[:40]}" cannot be read', key=key, hint=hint))

"""The ski's mounting mark in words: what lies on it, where it is, how both skis are compared."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

from jiggen.units import number
from jiggen.wording import CENTRE, point_words

if TYPE_CHECKING:
    from jiggen.drilling import SkiMark
    from jiggen.record.entries import MarkPlace

APART = 1.0  # mm that the marks of a pair may differ: common practice, no source
FIND = (
    "One mark: it is a line or an arrow on the top sheet or on the side. Hold it against the "
    "maker's sheet for this ski and year.",
    "Several marks: only the maker's sheet says which of them is meant. Never guess.",
    "No mark: take the maker's distance from the tail, or half the chord if the maker says so. "
    "Hook a steel tape over the tail's end and pull it straight to the tip above the middle of the "
    "ski, which lies free and flat: never along its curve.",
    "Draw the mark square to the ski: its sides run apart, so join the middles of the width 200 mm "
    "before and behind the mark, and set the square on that line.",
    "Compare: base on base, tails flush against a wall. The marks must meet within "
    f"{APART:g} mm (common practice, no source). If not, measure both again; do not drill the pair "
    "before you know why.",
)
BALANCED = (
    "A cross-country ski is marked for the pin line: where the bare ski balances on an edge, "
    "unless its maker says otherwise (common practice, no source)."
)


def about_mark(point: str) -> Iterator[str]:
    """A sentence where another point of the boot than the middle of its sole lies on the mark."""
    if point != CENTRE:
        yield (
            f"The boot's {point_words(point)} goes on the ski's mark: a mark for the middle of "
            "the sole is the wrong one."
        )


def where_marked(mark: MarkPlace | SkiMark) -> str:
    """Where the mark of the ski in hand is."""
    if mark.way == "tail":
        return f"The mark is {mark.from_tail:g} mm in front of the tail's end, in a straight line."
    return (
        f"The mark is at half the chord of {mark.length:g} mm: {mark.from_tail:g} mm in front of "
        "the tail's end, in a straight line."
    )


def slot_words(by_slot: float, error: float) -> str:
    """How the slot of a half sets a mount shift, and how much less exact holes are by it, mm."""
    at = f"{number(abs(by_slot), 3)} on the {'TIP' if by_slot > 0 else 'TAIL'} side"
    return (
        f"Shift first: lay the 0 of a half's slot on the ski's mark, draw a new mark at {at}, and "
        "tape over the old one. Every half goes by the new mark; holes come up to "
        f"{number(error, 1)} mm less exact along the ski."
    )

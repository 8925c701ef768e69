"""What is printed at once, in words: the beds of a manifest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any


def bed_lines(beds: Sequence[Mapping[str, Any]]) -> list[str]:
    """A line a bed: ``bed 1: body-toe, 2 x knob (bed-1.3mf)``."""
    return [
        f"bed {number}: {', '.join(_counted(count, part) for part, count in on(bed).items())} "
        f"({bed['file']})"
        for number, bed in enumerate(beds, start=1)
    ]


def on(bed: Mapping[str, Any]) -> dict[str, int]:
    """How many pieces of each part are on a bed."""
    return dict(Counter(piece["part"] for piece in bed["pieces"]))


def to_print(beds: Sequence[Mapping[str, Any]]) -> list[str]:
    """The lines of a summary on what to print, bed by bed."""
    lines = bed_lines(beds)
    return [f"{'' if number else 'To print:':<10}{line}" for number, line in enumerate(lines)]


def _counted(count: int, name: str) -> str:
    return name if count == 1 else f"{count} x {name}"

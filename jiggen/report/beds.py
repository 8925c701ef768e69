"""What is printed at once, in words: the beds of a record."""

from __future__ import annotations

from collections.abc import Sequence

from jiggen.record.model import PrintBed


def to_print(beds: Sequence[PrintBed]) -> list[str]:
    """The lines of a summary on what to print, bed by bed."""
    return [
        f"{'' if number else 'To print:':<10}bed {number + 1}: {_pieces(bed)} ({bed.file})"
        for number, bed in enumerate(beds)
    ]


def _pieces(bed: PrintBed) -> str:
    return ", ".join(f"{n} x {part}" if n > 1 else part for part, n in bed.counts.items())

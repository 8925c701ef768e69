"""Tables and sentences as lines of a terminal, and the same as records for JSON."""

from __future__ import annotations

import textwrap
from collections.abc import Container, Iterable, Sequence
from typing import TYPE_CHECKING, Any

from jiggen.units import fixed

if TYPE_CHECKING:
    from jiggen.measure.adjustment import GrossError

WIDTH = 78  # characters of a line of words


def records(**values: Iterable[Any]) -> list[dict[str, object]]:
    """Columns of a table as a JSON list with an object for each row."""
    return [dict(zip(values, row, strict=True)) for row in zip(*values.values(), strict=True)]


def columns(
    head: Sequence[str], rows: Iterable[Sequence[str]], width: int = 10, left: int = 1
) -> list[str]:
    """A table as lines: the first `left` columns to the left, the others, `width` wide, right."""
    rows = [head, *rows]
    wide = [max(len(row[n]) for row in rows) for n in range(left)]
    return [
        "  ".join(map(str.ljust, row, wide)) + "".join(cell.rjust(width) for cell in row[left:])
        for row in rows
    ]


def reading_table(
    title: str,
    labels: Sequence[str],
    values: Iterable[float],
    residuals: Iterable[float],
    wrong: int | None,
    unchecked: Container[int] = (),
    places: int = 2,
) -> list[str]:
    """Readings as lines: what was read, what it should be by the fit, and the difference.

    The row `wrong` is marked, and so are those that nothing checks.
    """
    rows = (
        (label, fixed(read, places), fixed(read - off, places), fixed(off, places, "+"))
        for label, read, off in zip(labels, values, residuals, strict=False)
    )
    marks = (
        " <- wrong?" if row == wrong else " *" if row in unchecked else ""
        for row in range(len(labels))
    )
    table = columns((title, "read", "fits", "off"), rows)
    return [*map("".join, zip(table, ["", *marks], strict=False))]


def gross_error_record(labels: Sequence[str], wrong: GrossError[Any] | None) -> Any:
    """For JSON: the reading that is most likely wrong, by how much, and which others may be."""
    return wrong and {
        "name": labels[wrong.row],
        **{key: getattr(wrong, key) for key in ("off", "normalised", "likely")},
        "rivals": [labels[row] for row in wrong.rivals],
    }


def wrapped(words: str) -> list[str]:
    """A sentence or two as lines."""
    return textwrap.wrap(words, WIDTH)

"""Room: report."""

from collections.abc import Sequence


def text_table(rows: Sequence[Sequence[str]]) -> list[str]:
    """Rows as lines of text, their columns under one another."""
    widths = [max(map(len, column)) for column in zip(*rows, strict=True)]
    return ["  ".join(map(str.ljust, row, widths)).rstrip() for row in rows]

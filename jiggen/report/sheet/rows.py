"""Headings and lines of tables, as every section of the bench pages has them."""

from __future__ import annotations

from collections.abc import Sequence

from jiggen.report.sheet.block import Block, beside, paragraph, space, stack
from jiggen.report.sheet.fonts import fit
from jiggen.report.sheet.page import Line, Pen, Shapes

HEADING = 11.0  # points
RULE = Pen(0.2, 0.4)
ROW = 6.2  # mm, a row of a list


def heading(words: str, width: float) -> Block:
    """A heading under a rule."""
    shapes = Shapes(lines=[Line((0.0, -2.0), (width, -2.0), RULE)])
    return stack([Block(3.0, shapes), paragraph(words, HEADING, width, bold=True), space(1.0)])


def row(
    values: Sequence[str], columns: Sequence[float], size: float, width: float, grey: float = 0.0
) -> Block:
    """One line of a table `width` mm wide, each value small enough for its column."""
    cells, x = [], 0.0
    for value, column in zip(values, columns, strict=True):
        room = column - 2.0
        cells.append((x, paragraph(value, fit(value, size, 5.0, room), room, grey=grey)))
        x += column
    block = beside(cells)
    rule = Shapes(lines=[Line((0.0, 0.0), (width, 0.0), Pen(0.1, 0.6))])
    return beside([(0.0, stack([space(1.2), block])), (0.0, Block(ROW, rule))])

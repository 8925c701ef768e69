"""What the pages to work from are made of: headings, lines to write on, boxes to tick, rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from jiggen.draw.fonts import fit
from jiggen.report.sheet.block import Block, beside, paragraph, space, stack
from jiggen.report.sheet.page import Line, Pen, Shapes

HEADING, BODY, SMALL = 11.0, 9.0, 7.5  # points
RULE, BOX = Pen(0.2, 0.4), Pen(0.25)
TICK = 3.6  # mm, a box to tick
GUTTER = 5.0  # mm between columns
ROW = 6.2  # mm, a row of a list


def head_line(words: str, width: float) -> Block:
    """A heading under a rule."""
    shapes = Shapes(lines=[Line((0.0, -2.0), (width, -2.0), RULE)])
    return stack([Block(3.0, shapes), paragraph(words, HEADING, width, bold=True), space(1.0)])


def cell(name: str, value: str, width: float, lines: int = 1) -> Block:
    """A small name over a large value."""
    size = fit(value, 13.0, 8.0, width, lines, bold=True)
    return stack(
        [
            paragraph(name, SMALL, width, grey=0.3),
            paragraph(value, size, width, bold=True),
            space(1.5),
        ]
    )


def blank(name: str, width: float) -> Block:
    """A name over a line to write on."""
    line = Block(9.5, Shapes(lines=[Line((0.0, -8.5), (width, -8.5), RULE)]))
    return beside([(0.0, paragraph(name, SMALL, width, grey=0.3)), (0.0, line)])


def ticked(lines: Iterable[str], width: float, size: float) -> list[Block]:
    """Each line behind a box to tick."""
    blocks = []
    for line in lines:
        box = Shapes()
        box.box((0.2, -TICK - 0.2), (TICK + 0.2, -0.2), BOX)
        words = paragraph(line, size, width - TICK - 2.0)
        blocks.append(
            stack([beside([(0.0, Block(TICK + 0.4, box)), (TICK + 2.0, words)]), space(1.3)])
        )
    return blocks


def table_row(
    values: Sequence[str],
    columns: Sequence[float],
    size: float,
    width: float,
    grey: float = 0.0,
    height: float = ROW,
    over: float = 1.2,
) -> Block:
    """One line of a table `width` mm wide, each value small enough for its column.

    `height` is the line's, `over` what is free over the words; mm.
    """
    cells, x = [], 0.0
    for value, column in zip(values, columns, strict=True):
        room = column - 2.0
        cells.append((x, paragraph(value, fit(value, size, 5.0, room), room, grey=grey)))
        x += column
    block = beside(cells)
    rule = Shapes(lines=[Line((0.0, 0.0), (width, 0.0), Pen(0.1, 0.6))])
    return beside([(0.0, stack([space(over), block])), (0.0, Block(height, rule))])

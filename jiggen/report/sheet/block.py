"""Pieces of a page that are stacked downwards, and the pages they fill."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from jiggen.draw.fonts import wrap
from jiggen.report.sheet.page import POINT, Anchor, Page, Point, Shapes, Size, Text

LEADING = 1.25  # line pitch over type size
ASCENT = 0.93  # of a line over its base line, over type size
FEW = 4  # rows


@dataclass(frozen=True)
class Block:
    """A piece of a page: its shapes reach from y = 0 at its top down to y = -height (mm)."""

    height: float
    shapes: Shapes


@dataclass(frozen=True)
class Section:
    """Rows under a head, which is said again where they go on on another page."""

    head: Block
    rows: tuple[Block, ...]

    @property
    def height(self) -> float:
        """Height of it all in mm."""
        return self.head.height + sum(row.height for row in self.rows)


@dataclass(frozen=True)
class Frame:
    """Where the content of a page goes, mm from its lower left corner."""

    left: float
    foot: float
    right: float
    top: float

    @property
    def width(self) -> float:
        """Width of the content in mm."""
        return self.right - self.left

    @property
    def height(self) -> float:
        """Room for blocks in mm."""
        return self.top - self.foot


def space(height: float) -> Block:
    """Nothing, `height` mm of it."""
    return Block(height, Shapes())


def paragraph(
    words: str,
    size: float,
    width: float,
    *,
    bold: bool = False,
    grey: float = 0.0,
    anchor: Anchor = "start",
    leading: float = LEADING,
) -> Block:
    """`words` set in `size` points on lines no wider than `width` mm, `leading` times apart."""
    shapes = Shapes()
    x = {"start": 0.0, "middle": width / 2, "end": width}[anchor]
    pitch = leading * size * POINT
    lines = wrap(words, size, width, bold=bold)
    for number, line in enumerate(lines):
        y = -number * pitch - ASCENT * size * POINT
        shapes.texts.append(Text((x, y), line, size, bold, anchor, grey=grey))
    return Block(len(lines) * pitch, shapes)


def stack(blocks: Iterable[Block]) -> Block:
    """Blocks under one another."""
    shapes, y = Shapes(), 0.0
    for block in blocks:
        shapes.add(block.shapes, (0.0, -y))
        y += block.height
    return Block(y, shapes)


def beside(columns: Iterable[tuple[float, Block]]) -> Block:
    """Blocks beside one another, each with its left edge's x in mm."""
    shapes, height = Shapes(), 0.0
    for x, block in columns:
        shapes.add(block.shapes, (x, 0.0))
        height = max(height, block.height)
    return Block(height, shapes)


def flow(sections: Sequence[Section], frame: Frame, size: Size) -> list[Page]:
    """The pages that `sections` fill.

    A section that fits on a page is kept whole, of a longer one at least the first FEW rows; no
    row is broken.
    """
    pages: list[Page] = []
    y = frame.foot

    def put(block: Block) -> None:
        nonlocal y
        at: Point = (frame.left, y)
        pages[-1].shapes.add(block.shapes, at)
        y -= block.height

    def turn() -> None:
        nonlocal y
        pages.append(Page(size, Shapes()))
        y = frame.top

    for section in sections:
        few = section.head.height + sum(row.height for row in section.rows[:FEW])
        wanted = section.height if section.height <= frame.height else few
        if not pages or y - wanted < frame.foot:
            turn()
        put(section.head)
        for row in section.rows:
            if y - row.height < frame.foot:
                turn()
                put(section.head)
            put(row)
    return pages

"""The foot of every page: the usual cautions, what the page belongs to, and its number."""

from __future__ import annotations

from collections.abc import Sequence

from jiggen.cautions import CAUTIONS
from jiggen.draw.fonts import fit, width_of
from jiggen.report.sheet.block import Block, Frame, paragraph, space, stack
from jiggen.report.sheet.page import MARGIN, Line, Page, Pen, Shapes, Size
from jiggen.report.sheet.words import say

CAUTION, FOOT = 7.0, 7.5  # points
FOOT_LINE = 4.0  # mm, the line with the page's number
FOOT_GAP = 2.0  # mm over the foot


def _width(size: Size) -> float:
    return size[0] - 2 * MARGIN


def frame_of(size: Size) -> Frame:
    """The room for content over the foot of a page."""
    foot = MARGIN + _cautions(_width(size)).height + FOOT_LINE + FOOT_GAP
    return Frame(MARGIN, foot, size[0] - MARGIN, size[1] - MARGIN)


def _cautions(width: float) -> Block:
    """The usual cautions under a rule."""
    rule = Shapes(lines=[Line((0.0, 0.0), (width, 0.0), Pen(0.2, 0.4))])
    return stack([Block(0.8, rule), paragraph(" ".join(CAUTIONS), CAUTION, width)])


def add_feet(pages: Sequence[Page], about: str, version: str) -> None:
    """Add the foot of each page: cautions, then what it belongs to and its number.

    `about` says what the sheet is for, `version` is jiggen's.
    """
    for number, page in enumerate(pages, start=1):
        line = Shapes()
        width = _width(page.size)
        count = say("foot.page", page=number, pages=len(pages))
        maker = say("foot.maker", version=version)
        side = width_of(count, FOOT) + 6.0
        room = width - 2 * side
        size = fit(about, FOOT, 5.0, room)
        line.add(paragraph(maker, fit(maker, FOOT, 4.0, side), side).shapes)
        line.add(paragraph(about, size, room, anchor="middle").shapes, (side, 0.0))
        line.add(paragraph(count, FOOT, width, anchor="end").shapes)
        foot = stack([_cautions(width), space(0.5), Block(FOOT_LINE - 0.5, line)])
        page.shapes.add(foot.shapes, (MARGIN, MARGIN + foot.height))

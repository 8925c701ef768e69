"""A PDF of pages that each carry the cautions, what they belong to, and their number."""

import io
from collections.abc import Iterable
from functools import partial
from typing import Any, Literal

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import BaseDocTemplate, Frame, KeepTogether, PageTemplate, Table
from reportlab.platypus.flowables import Flowable

from jiggen.cautions import CAUTIONS
from jiggen.draw.fonts import POINT, fit, font_name, width_of
from jiggen.draw.pdf import describe, no_clock
from jiggen.report.sheet import kit

Paper = Literal["A4", "letter"]
Size = tuple[float, float]
"""Width and height in mm."""

PAPERS: dict[Paper, Size] = {
    "A4": (210.0, 297.0),  # ISO 216
    "letter": (215.9, 279.4),  # 8.5 x 11 in: ANSI/ASME Y14.1, size A
}
MARGIN = 10.0  # mm; common practice, no source: office printers leave 4 to 6.4 mm blank
UPRIGHT, LYING = TEMPLATES = ("upright", "lying")  # of pages
CAUTION, FOOT = 7.0, 7.5  # points
FOOT_GAP = 2.0  # mm over the cautions


def frame_size(paper: Paper, *, upright: bool = True) -> Size:
    """Width and height in mm of the room for content on a page."""
    width, height = PAPERS[paper] if upright else PAPERS[paper][::-1]
    width -= 2 * MARGIN
    foot = kit.height_of(_foot(width, "", "", "page 1 of 1"), width) + FOOT_GAP
    return width, height - 2 * MARGIN - foot


def write_document(
    story: Iterable[Flowable],
    paper: Paper,
    title: str,
    about: str,
    version: str,
    mark: str = "",
    *,
    first: str = UPRIGHT,
) -> bytes:
    """The PDF of `story`, with its `first` page upright or lying: equal bytes for equal stories.

    A table stays on one page if it fits on one and is not loose.  `about` says what the pages are
    for, `version` is jiggen's, `mark` that of the record they belong to.  The templates ``UPRIGHT``
    and ``LYING`` are there to turn to.
    """
    stream = io.BytesIO()
    document = BaseDocTemplate(
        stream,
        pageTemplates=[_template(name, paper) for name in sorted(TEMPLATES, key=first.__ne__)],
        initialFontName=font_name(False),
        pageCompression=1,
        invariant=1,
    )
    room = frame_size(paper)
    blocks = [KeepTogether([one]) if _is_kept(one, *room) else one for one in story]
    document.build(blocks, canvasmaker=partial(_Pages, title, about, f"jiggen {version}", mark))
    return stream.getvalue()


def _is_kept(one: Flowable, width: float, height: float) -> bool:
    """Whether it stays on one page: a table that is longer starts where there is room."""
    table = isinstance(one, Table) and not hasattr(one, "loose")
    return table and kit.height_of((one,), width) <= height


def _template(name: str, paper: Paper) -> PageTemplate:
    page = PAPERS[paper] if name == UPRIGHT else PAPERS[paper][::-1]
    across, up = frame_size(paper, upright=name == UPRIGHT)
    sides = (side / POINT for side in (MARGIN, page[1] - MARGIN - up, across, up))
    frame = Frame(*sides, leftPadding=0, rightPadding=0, topPadding=0, bottomPadding=0)
    return PageTemplate(name, [frame], pagesize=tuple(side / POINT for side in page))


def _foot(width: float, about: str, maker: str, count: str) -> list[Flowable]:
    """The usual cautions under a rule, then what the page belongs to and its number."""
    side = width_of(count, FOOT) + 6.0
    middle = width - 2 * side
    line = kit.beside(
        (side, kit.para(maker, fit(maker, FOOT, 4.0, side))),
        (middle, kit.para(about, fit(about, FOOT, 5.0, middle), anchor="middle")),
        (side, kit.para(count, FOOT, anchor="end")),
    )
    return [kit.rule(width, 0.0, 0.8), kit.para(" ".join(CAUTIONS), CAUTION), kit.gap(0.7), line]


class _Pages(Canvas):  # type: ignore[misc]  # reportlab has no types
    """A canvas that draws each page's foot when it knows how many there are."""

    def __init__(
        self, title: str, about: str, maker: str, mark: str, *args: Any, **how: Any
    ) -> None:
        with no_clock():
            super().__init__(*args, **how)
        self._title, self._about, self._maker, self._mark = title, about, maker, mark
        self._states: list[dict[str, object]] = []

    def showPage(self) -> None:  # noqa: N802 - reportlab's name
        self._states.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        states = self._states
        for number, state in enumerate(states, start=1):
            self.__dict__.update(state)
            width, y = self._pagesize[0] * POINT - 2 * MARGIN, MARGIN / POINT
            count = f"page {number} of {len(states)}"
            for flowable in reversed(_foot(width, self._about, self._maker, count)):
                _, height = flowable.wrapOn(self, width / POINT, 1e6)
                flowable.drawOn(self, MARGIN / POINT, y)
                y += height
            super().showPage()
        describe(self, self._title, self._mark)
        super().save()

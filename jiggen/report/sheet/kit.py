"""What the sheets are made of: lengths in words, paragraphs, boxes to tick, tables, drawings.

Lengths are mm, type sizes points.
"""

import math
from collections.abc import Iterable, Sequence
from typing import Any, Literal, TypeAlias

from reportlab.lib.colors import HexColor
from reportlab.lib.styles import ParagraphStyle
from reportlab.platypus import Paragraph, Spacer, Table
from reportlab.platypus.flowables import Flowable
from reportlab.platypus.paraparser import ParaFrag

from jiggen.draw.figures import box
from jiggen.draw.fonts import POINT, fit, font_name, points
from jiggen.draw.pdf import paint
from jiggen.draw.shapes import Anchor, Area, Colour, Line, Pen, Point, Shape, Text, grey
from jiggen.layout import Layout
from jiggen.record import JigRecord
from jiggen.record.entries import LayoutInputs
from jiggen.units import INCH, number

Units = Literal["mm", "in"]

HEADING, BODY, SMALL = 11.0, 9.0, 7.5  # points
LEADING = 1.25  # line pitch over type size
RULE, BOX, THIN = Pen(0.2, grey(0.4)), Pen(0.25), Pen(0.1, grey(0.6))
DIM = 0.3  # grey of what only explains
TICK = 3.6  # mm, a box to tick
GUTTER = 5.0  # mm between columns
FEW = 4  # rows that stay with their heading where a section is longer than a page

Cell: TypeAlias = "Flowable | Sequence[Flowable]"


class Picture(Flowable):  # type: ignore[misc]  # reportlab has no types
    """Shapes at 1:1 in a room of `width` by `height` mm, their origin at its top left corner."""

    def __init__(self, width: float, height: float, shapes: Iterable[Shape]) -> None:
        super().__init__()
        self.width, self.height = width / POINT, height / POINT
        self.shapes = list(shapes)

    def draw(self) -> None:
        """Called by reportlab."""
        self.canv.translate(0, self.height)
        paint(self.canv, self.shapes)


def para(
    words: str,
    size: float = BODY,
    *,
    bold: bool = False,
    dim: float = 0.0,
    anchor: Anchor = "start",
) -> Paragraph:
    """`words` set in `size` points, on as many lines as they need; `dim` is their grey."""
    font = {"fontName": font_name(bold), "fontSize": size, "textColor": HexColor(grey(dim))}
    style = ParagraphStyle(
        "words",
        leading=LEADING * size,
        alignment=("start", "middle", "end").index(anchor),
        spaceShrinkage=0,  # never wider than its room
        **font,
    )
    # Handed over in this form, words are not read as reportlab's own markup.
    run = ParaFrag(text=words, rise=0, greek=0, link=[], us_lines=[], **font)
    return Paragraph("", style, frags=[run])


def typeset(
    at: Point,
    words: str,
    size: float,
    *,
    bold: bool = False,
    anchor: Anchor = "start",
    turn: int = 0,
    dim: float = 0.0,
) -> Text:
    """A line of `words` for a drawing, set in `size` points."""
    return Text(at, words, points(size), anchor, "", bold, grey(dim), turn)


def gap(height: float) -> Spacer:
    """Nothing, `height` mm of it."""
    return Spacer(0, height / POINT)


def height_of(flowables: Iterable[Flowable], width: float) -> float:
    """Height in mm of flowables under one another, `width` mm wide."""
    return sum(float(one.wrap(width / POINT, 1e6)[1]) for one in flowables) * POINT


def beside(*columns: tuple[float, Cell], right: float = 0.0) -> Table:
    """Columns beside one another, each with its width in mm; `right` mm stay free in each."""
    widths = [width for width, _ in columns]
    return section((), [[cell for _, cell in columns]], widths, right=right)


def rule(width: float, above: float, below: float) -> Picture:
    """A line, with some mm free above and below it."""
    return Picture(width, above + below, [Line((0.0, -above), (width, -above), RULE)])


def headline(words: str, width: float) -> list[Flowable]:
    """A heading under a rule."""
    return [rule(width, 2.0, 1.0), para(words, HEADING, bold=True), gap(1.0)]


def section(
    heading: str | Sequence[Flowable],
    rows: Sequence[Sequence[Cell]],
    widths: Sequence[float],
    *,
    names: Sequence[str] = (),
    few: int = FEW,
    together: int = 1,
    ruled: bool = False,
    above: float = 0.0,
    below: float = 0.0,
    right: float = 0.0,
) -> Table:
    """Cells in columns of `widths` mm, under a heading, if any, which stands on each page again.

    `names` are those of the columns; the first `few` rows are on one page with the heading, and
    `together` rows at a time on one page.
    `ruled` draws a thin line over each row; `above`, `below` and `right` are mm free in each cell.
    """
    style: list[tuple[Any, ...]] = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), right / POINT),
        ("TOPPADDING", (0, 0), (-1, -1), above / POINT),
        ("BOTTOMPADDING", (0, 0), (-1, -1), below / POINT),
    ]
    heads: list[Sequence[Cell]] = []
    if heading:
        words = headline(heading, sum(widths)) if isinstance(heading, str) else heading
        heads.append([words, *[[]] * (len(widths) - 1)])
        sides = ("TOPPADDING", "BOTTOMPADDING", "RIGHTPADDING")
        style += [("SPAN", (0, 0), (-1, 0)), *((side, (0, 0), (-1, 0), 0) for side in sides)]
    if names:
        heads.append([para(name, SMALL, dim=DIM) for name in names])
    if heads:
        style.append(("NOSPLIT", (0, 0), (0, len(heads) + min(few, len(rows)) - 1)))
    style += [
        ("NOSPLIT", (0, len(heads) + n), (0, len(heads) + n + together - 1))
        for n in range(0, len(rows) if together > 1 else 0, together)
    ]
    if ruled:
        rule = (THIN.width / POINT, HexColor(THIN.colour))
        style.append(("LINEABOVE", (0, len(heads)), (-1, -1), *rule))
    cells = [
        [list(cell) if isinstance(cell, Sequence) else cell for cell in row]
        for row in (*heads, *rows)
    ]
    wide = [width / POINT for width in widths]
    return Table(cells, wide, repeatRows=len(heads), style=style, hAlign="LEFT")


def tick(size: float = TICK) -> Picture:
    """A box to tick."""
    return Picture(size + 0.4, size + 0.4, box((0.2, -size - 0.2), (size + 0.2, -0.2), BOX))


def loose(table: Table) -> Table:
    """A section that may go on over the page's end, with a few rows of it on either page."""
    table.loose = True
    table.setStyle([("NOSPLIT", (0, -FEW), (-1, -1))])
    return table


def checklist(name: str, lines: Iterable[str], width: float) -> Table:
    """Each line behind a box to tick, under the heading `name`."""
    rows = [[tick(), para(line)] for line in lines]
    return section(name, rows, (TICK + 2.0, width - TICK - 2.0), below=1.3)


def steps(lines: Iterable[str]) -> list[str]:
    """Lines with their numbers."""
    return [f"{count}. {line}" for count, line in enumerate(lines, start=1)]


def field(name: str, value: str, width: float, lines: int = 1) -> list[Flowable]:
    """A small name over a large value."""
    size = fit(value, 13.0, 8.0, width, lines, bold=True)
    return [para(name, SMALL, dim=DIM), para(value, size, bold=True), gap(1.5)]


def blank(name: str, width: float) -> list[Flowable]:
    """A name over a line to write on."""
    return [para(name, SMALL, dim=DIM), rule(width, 5.2, 1.0)]


def columns(width: float, *cells: Cell) -> Table:
    """Cells beside one another in columns of one width, GUTTER apart."""
    own = column(width, len(cells))
    parts: list[tuple[float, Cell]] = []
    for cell in cells:
        parts += [(own, cell), (GUTTER, [])]
    return beside(*parts[:-1])


def column(width: float, count: int) -> float:
    """The width in mm of each of `count` columns, GUTTER apart."""
    return (width - (count - 1) * GUTTER) / count


def filled(one: Point, other: Point, fill: Colour, pen: Pen) -> list[Shape]:
    """A rectangle between two corners, filled and outlined."""
    (x0, x1), (y0, y1) = sorted((one[0], other[0])), sorted((one[1], other[1]))
    area = Area(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), fill)
    return [area, *box((x0, y0), (x1, y1), pen)]


def inches(value: float) -> str:
    """A length in mm as inches to a thousandth."""
    return f"{value / INCH + 0.0:.3f}"


def short(value: float, units: Units, digits: int = 2) -> str:
    """A length in mm without its unit: ``155.3``, or ``155.3 (6.114)`` with inches."""
    return number(value, digits) + ("" if units == "mm" else f" ({inches(value)})")


def full(value: float, units: Units) -> str:
    """A length in mm with its unit: ``155.3 mm``, or ``155.3 mm (6.114 in)`` with inches."""
    return f"{number(value)} mm" + ("" if units == "mm" else f" ({inches(value)} in)")


def thousandths(deviation: float) -> str:
    """A deviation in mm, rounded up and never nothing."""
    return f"{math.ceil(max(deviation, 1e-9) * 1000) / 1000:.3f}"


def boot_lengths(job: JigRecord, units: Units) -> str:
    """The boot sole of a jig: one length, or from and to."""
    if job.inputs.boots is None:
        return full(job.inputs.boot, units)
    least, most = job.inputs.boots
    return f"{number(least)} to {full(most, units)}"


def which_skis(of: LayoutInputs | Layout) -> str:
    """Which ski of a pair holes are for."""
    return "left and right" if of.pair == "same" else f"{of.side.upper()} ski only"

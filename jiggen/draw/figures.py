"""Figures that more than one drawing needs: crosses, arrows, leader lines, scale bars, words."""

import math
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from jiggen.draw.shapes import Area, Box, Line, Pen, Point, Text

ID_HEIGHT, NAME_HEIGHT, NOTE_HEIGHT, SMALL_HEIGHT = 2.2, 5.0, 2.6, 2.1  # mm, of capitals
LEADING = 1.9  # line pitch over the height of capitals
RUNNING = 0.85  # mean width of a character in running text over the height of capitals
ARM = 1.5  # mm that a hole's cross reaches past its edge
SCALE_BAR, TICK = 100.0, 10.0  # mm
MEASURE_BAR = f"{SCALE_BAR:g} mm: measure this bar before you trust a print"


def polyline(points: Iterable[Point], pen: Pen, *, closed: bool = False) -> list[Line]:
    """The lines from point to point, and back to the first when `closed`."""
    path = list(points)
    return [Line(a, b, pen) for a, b in pairwise(path + path[:1] * closed)]


def box(low: Point, high: Point, pen: Pen) -> list[Line]:
    """An upright rectangle's outline."""
    return polyline((low, (high[0], low[1]), high, (low[0], high[1])), pen, closed=True)


def cross(at: Point, arm: float, pen: Pen | None = None, layer: str = "") -> list[Line]:
    """Two lines through `at` that reach `arm` mm to either side."""
    x, y = at
    return [
        Line((x - arm, y), (x + arm, y), pen, layer),
        Line((x, y - arm), (x, y + arm), pen, layer),
    ]


def arrow(tail: Point, head: Point, pen: Pen, length: float = 2.0) -> list[Line | Area]:
    """A line with a filled head of `length` mm at its end."""
    far = math.dist(tail, head)
    ux, uy = ((end - start) / far * length for start, end in zip(tail, head, strict=True))
    x, y = head[0] - ux, head[1] - uy
    wings = (x - 0.3 * uy, y + 0.3 * ux), (x + 0.3 * uy, y - 0.3 * ux)
    return [Line(tail, head, pen), Area((head, *wings), pen.colour)]


def leader(at: Point, radius: float, name: Box, pen: Pen | None = None, layer: str = "") -> Line:
    """From the rim of a hole at `at` to the nearest place of its name's box."""
    x0, y0, x1, y1 = name
    end = (min(max(at[0], x0), x1), min(max(at[1], y0), y1))
    share = radius / math.dist(at, end)
    start = (at[0] + share * (end[0] - at[0]), at[1] + share * (end[1] - at[1]))
    return Line(start, end, pen, layer)


def scale_bar(
    start: Point,
    pen: Pen | None = None,
    layer: str = "",
    *,
    ticks: tuple[float, float] = (5.0, 2.5),
    long_at: tuple[int, ...] = (0, 10),
    upright: bool = False,
) -> Iterator[Line]:
    """SCALE_BAR mm along x, or along y when `upright`, with a tick each TICK mm.

    `ticks` are the lengths in mm of those whose numbers are in `long_at`, and of the others.
    """
    (x, y), (dx, dy) = start, (0.0, 1.0) if upright else (1.0, 0.0)
    yield Line(start, (x + SCALE_BAR * dx, y + SCALE_BAR * dy), pen, layer)
    for number in range(round(SCALE_BAR / TICK) + 1):
        length = ticks[0] if number in long_at else ticks[1]
        foot = (x + number * TICK * dx, y + number * TICK * dy)
        yield Line(foot, (foot[0] + length * dy, foot[1] + length * dx), pen, layer)


def one_line(text: str) -> str:
    """`text` on one line, with a mark for what cannot be printed."""
    shown = "".join(c if c.isprintable() else "\ufffd" for c in " ".join(text.split()))
    return shown or "?"


def wrapped(paragraphs: Iterable[str], height: float, width: float) -> list[str]:
    """Each paragraph on lines no wider than `width` mm in capitals of `height` mm.

    The font is not known, so widths are estimated; a word longer than a line stays whole.
    """
    characters = int(width / (height * RUNNING))
    return [
        line
        for words in paragraphs
        for line in textwrap.wrap(words, characters, break_long_words=False, break_on_hyphens=False)
    ]


def lines_of_text(
    lines: Sequence[str], corner: Point, height: float, layer: str = "", *, bold: bool = False
) -> list[Text]:
    """The lines under one another, from `corner` down, LEADING times `height` mm apart."""
    x, y = corner
    texts = []
    for words in lines:
        y -= LEADING * height
        texts.append(Text((x, y), words, height, layer=layer, bold=bold))
    return texts

"""The holes at 1:1, over as many lying pages as it takes, to lay the plate and the jig on.

A page shows a window of the ski.  Where two windows meet, both show the same registration
crosses, and a dashed seam to cut along.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain, pairwise, product
from string import ascii_lowercase, ascii_uppercase
from typing import NamedTuple

from reportlab.platypus import PageBreak
from reportlab.platypus.flowables import Flowable

from jiggen.draw.figures import SCALE_BAR, cross, scale_bar
from jiggen.draw.fonts import POINT, fit, points, width_of, wrap
from jiggen.draw.shapes import Anchor, Box, Circle, Line, Pen, Point, Shape, grey
from jiggen.layout import check_plate_hole
from jiggen.record.entries import Hole
from jiggen.report.sheet import kit
from jiggen.report.sheet.document import Size
from jiggen.report.sheet.drawing import (
    View,
    box_around,
    draw_holes,
    draw_names,
    draw_ski,
    draw_way,
    place_names,
    ski_lines,
)

PageIndex = tuple[int, int]
"""Row, from the left of the ski, and column, from its tail."""

BODY = 8.5  # points
ID_SIZES = (9.0, 7.0, 5.5)  # points; the first with which every id fits
MANY = 60  # holes on a page, for which only the smallest size is tried
STRIP = 12.0  # mm for a bar, its ticks and its number
BAND = 5.0  # mm at a window's top for the name of the mounting mark
ARM = 1.5  # mm that a hole's cross reaches past its edge
LEADER = 18.0  # mm that a name may lie from its hole
BEYOND = 12.0  # mm shown past the last hole
NAME_ROOM = 8.0  # mm shown past the outermost hole, for its name
CROSS_ARM = 6.0  # mm, of a registration cross
SEAM_GAP, SEAM_NAME = 1.0, 30.0  # mm from a seam, and along it, to its name
OVERLAP = 20.0  # mm that neighbouring windows share; a seam runs through its middle
STEP = 0.5  # mm between the places that are tried
INSET, INSET_ALONG = 14.0, 65.0  # mm from a window's corner to a cross on an upright, a level seam
APART = 10.0  # mm that a registration cross keeps from the centre of a hole, along x or y

USE = (
    "Lay the plate on it, mark on mark, and each body of the jig before its rails go in. Look "
    "straight down: every hole has its cross in the middle. Only a check: never drill through "
    "paper."
)
AS_LARGE = "Dashed: the plate's own holes, {wide} wide."
JOIN = (
    "To join: cut one page along the seam and lay it on the other so that crosses of the same "
    "letter meet; tape."
)
CHECK = (
    "Check with a ruler: both bars, along and across, must be {length} long. If not, print "
    "again at 100 %, not fitted to the page."
)

REGISTER, INK = Pen(0.2), Pen(0.25)
PLATE = Pen(0.2, grey(0.3), (1.5, 1.0))
SEAM = Pen(0.15, grey(0.4), (2.0, 2.0))
_CAPITAL = points(BODY)  # mm


class Window(NamedTuple):
    """What one page shows of a length, from `low` to `high` mm."""

    low: float
    high: float

    def holds(self, place: float, reach: float) -> bool:
        """Whether `place` lies in the window with `reach` mm to either side."""
        return self.low <= place - reach and place + reach <= self.high


class Register(NamedTuple):
    """A registration cross in the ski frame, mm, that two `pages` of a row or a column share."""

    at: Point
    pages: tuple[PageIndex, PageIndex]


Marks = Iterator[tuple[list[Shape], Box]]
"""Shapes, and the box around them that the holes' names keep clear of."""


@dataclass(frozen=True)
class Plan:
    """What is drawn at 1:1: whose holes they are, edges of `skis` of these widths, in mm.

    With the `plate_hole`s, mm, each hole of the plate is drawn around its own too.
    """

    about: str
    holes: tuple[Hole, ...]
    skis: tuple[float, ...]
    plate_hole: float | None = None

    def reach(self, hole: Hole) -> float:
        """How far from its centre a hole is drawn, mm."""
        return max(self.plate_hole or 0.0, hole.diameter) / 2 + ARM


def tile_pages(plan: Plan, units: kit.Units, frame: Size) -> list[Flowable]:
    """The 1:1 pages, which lie; `frame` is the room on a page.  All but the first break before.

    Raises InputError ``layout.plate-hole``.
    """
    if plan.plate_hole is not None:
        check_plate_hole(plan.plate_hole)
    width, height = frame
    top = kit.height_of(_head(plan, units, (0, 0), 9, width), width)  # every page's is as high
    height -= top + 0.1  # a little, since heights are rounded
    room = (STRIP, STRIP - height, width, 0.0)  # of the window in a page's picture
    xs, ys = [hole.x for hole in plan.holes], [hole.y for hole in plan.holes]
    half = max(abs(y) for y in ys) + NAME_ROOM
    columns = cut(min(0.0, *xs) - BEYOND, max(0.0, *xs) + BEYOND, room[2] - room[0], [*xs, 0.0])
    rows = cut(-half, half, room[3] - room[1], [*ys, 0.0])[::-1]
    crosses = tuple(registers(columns, rows, list(zip(xs, ys, strict=True))))
    story: list[Flowable] = []
    for row, column in product(range(len(rows)), range(len(columns))):
        across, along = rows[row], columns[column]
        view = View(1.0, room[0] - along.low, room[1] - across.low)
        holes = [
            hole
            for hole in plan.holes
            if along.holds(hole.x, plan.reach(hole)) and across.holds(hole.y, plan.reach(hole))
        ]
        marks = [
            *_seams(view, columns, rows, room),
            *_registers(view, crosses, (row, column)),
            *_edge_names(view, plan.skis, units, room),
        ]
        obstacles = ski_lines(view, plan.skis)
        arm = max((plan.reach(hole) - hole.diameter / 2 for hole in holes), default=ARM)
        shapes = [
            *draw_ski(view, plan.skis, room, BAND),
            *chain.from_iterable(shapes for shapes, _ in marks),
            *draw_holes(holes, view, ARM),
            *_plate_holes(holes, view, plan.plate_hole),
            *_hole_names(holes, view, [*obstacles, *(box for _, box in marks)], room, arm),
            *_bars(-height, width, units),
        ]
        head = _head(plan, units, (row, column), len(rows) * len(columns), width)
        story += [*([PageBreak()] if story else []), *head, kit.Picture(width, height, shapes)]
    return story


def cut(low: float, high: float, size: float, avoid: Sequence[float]) -> tuple[Window, ...]:
    """The fewest windows of `size` mm that cover `low` to `high` (mm), each sharing OVERLAP.

    What they cover too much decides where they lie: so that the seams keep as far as can be
    from the places to `avoid`, and else evenly about the middle.
    """
    step = size - OVERLAP
    count = max(1, math.ceil((high - low - OVERLAP) / step))
    spare = count * step + OVERLAP - (high - low)
    middle = low - spare / 2
    tries = math.floor(spare / 2 / STEP)
    offsets = sorted((STEP * n for n in range(-tries, tries + 1)), key=abs)

    def clear(offset: float) -> float:
        seams = (middle + offset + n * step + OVERLAP / 2 for n in range(1, count))
        return min((abs(seam - place) for seam in seams for place in avoid), default=0.0)

    start = middle + max(offsets, key=clear)
    return tuple(Window(start + n * step, start + n * step + size) for n in range(count))


def seams(windows: Sequence[Window]) -> tuple[float, ...]:
    """Where each window gives over to the next, mm."""
    return tuple(
        (max(one.low, other.low) + min(one.high, other.high)) / 2
        for one, other in pairwise(windows)
    )


def registers(
    columns: Sequence[Window], rows: Sequence[Window], holes: Sequence[Point]
) -> Iterator[Register]:
    """Two crosses for every two pages that share a seam, as far apart as the holes allow."""
    for r, row in enumerate(rows):
        for c, x in enumerate(seams(columns)):
            near = [y for hole_x, y in holes if abs(hole_x - x) < APART]
            for y in _ends(row, INSET, near):
                yield Register((x, y), ((r, c), (r, c + 1)))
    for r, y in enumerate(seams(rows)):
        for c, column in enumerate(columns):
            near = [x for x, hole_y in holes if abs(hole_y - y) < APART]
            for x in _ends(column, INSET_ALONG, near):
                yield Register((x, y), ((r, c), (r + 1, c)))


def _ends(window: Window, inset: float, avoid: Sequence[float]) -> Iterator[float]:
    """The places nearest to either end of a window that keep APART from all of `avoid`."""
    half = (window.high - window.low) / 2 - inset
    for end, way in ((window.high - inset, -1.0), (window.low + inset, 1.0)):
        places = (end + way * STEP * n for n in range(math.floor(half / STEP)))
        yield next((p for p in places if all(abs(p - other) >= APART for other in avoid)), end)


def _edge_names(view: View, skis: Sequence[float], units: kit.Units, room: Box) -> Marks:
    """Words at each dashed edge that say of which ski it is, on the left half."""
    left, foot, right, top = room
    # Where the mounting mark is not, and far from the words at the registration crosses.
    share = 0.7 if view.mark < (left + right) / 2 else 0.3
    x = left + share * (right - left)
    for width, drop in zip(skis[::-1], (-1.0, 1.0 + points(kit.SMALL)), strict=False):
        y = view.at(0.0, width / 2)[1] - drop
        if foot <= y <= top - BAND - kit.SMALL * POINT:
            words = f"ski {kit.full(width, units)} wide"
            half = width_of(words, kit.SMALL) / 2
            around = box_around((x - half, y), (x + half, y + kit.SMALL * POINT), 0.5)
            yield [kit.typeset((x, y), words, kit.SMALL, anchor="middle", dim=kit.DIM)], around


def _seams(view: View, columns: Sequence[Window], rows: Sequence[Window], room: Box) -> Marks:
    """The seams that run through the window, each with its name."""
    left, foot, right, top = room
    high = kit.SMALL * POINT
    for x in (view.at(x, 0.0)[0] for x in seams(columns)):
        if left < x < right:
            at = (x - SEAM_GAP, foot + SEAM_NAME)
            name = kit.typeset(at, "seam", kit.SMALL, turn=90, dim=kit.DIM)
            line = Line((x, foot), (x, top - BAND), SEAM)
            yield [line, name], box_around((x - high, foot), (x, top))
    for y in (view.at(0.0, y)[1] for y in seams(rows)):
        if foot < y < top:
            at = (left + SEAM_NAME, y + SEAM_GAP)
            name = kit.typeset(at, "seam", kit.SMALL, dim=kit.DIM)
            line = Line((left, y), (right, y), SEAM)
            yield [line, name], box_around((left, y), (right, y + high))


def _registers(view: View, crosses: Sequence[Register], page: PageIndex) -> Marks:
    """The registration crosses of a page, each with its letter and the page it leads to."""
    for count, (place, pages) in enumerate(crosses):
        if page not in pages:
            continue
        x, y = view.at(*place)
        turns, letter = divmod(count, len(ascii_lowercase))  # a to z, then aa, bb and so on
        first = pages[0] == page
        words = f"{ascii_lowercase[letter] * (turns + 1)} to page {_name(pages[first])}"
        # On the side that remains when the seam is cut: towards this page's own middle.
        one_row = pages[0][0] == pages[1][0]
        left, below = one_row and first, not one_row and not first
        anchor: Anchor = "end" if left else "start"
        at = (x - 1.5 if left else x + 1.5, y - 1.5 - _CAPITAL if below else y + 1.5)
        yield list(cross((x, y), CROSS_ARM, REGISTER)), box_around((x, y), (x, y), CROSS_ARM + 1.0)
        end = at[0] + width_of(words, BODY, bold=True) * (-1 if left else 1)
        around = box_around(at, (end, at[1] + _CAPITAL), 1.0)
        yield [kit.typeset(at, words, BODY, bold=True, anchor=anchor)], around


def _plate_holes(holes: Sequence[Hole], view: View, plate_hole: float | None) -> Iterator[Shape]:
    """Around each hole the plate's own, if it is known how wide that is."""
    if plate_hole:
        yield from (Circle(view.at(hole.x, hole.y), plate_hole / 2, PLATE) for hole in holes)


def _hole_names(
    holes: Sequence[Hole], view: View, obstacles: Sequence[Box], room: Box, arm: float
) -> Iterator[Shape]:
    """The ids, as large as they fit, near their holes; or a note that some did not fit."""
    left, foot, right, top = room
    free = (left, foot, right, top - BAND)
    for size in ID_SIZES if len(holes) <= MANY else ID_SIZES[-1:]:
        named = place_names(holes, view, arm, obstacles, size, free, LEADER)
        if len(named) == len(holes):
            break
    else:
        left_half = view.mark > (left + right) / 2
        at = (left if left_half else right, top - BAND + 1.2)
        anchor: Anchor = "start" if left_half else "end"
        words = "Names that did not fit here are in the list of holes."
        yield kit.typeset(at, words, kit.SMALL, anchor=anchor)
    yield from draw_names(named, view, size)


def _name(page: PageIndex) -> str:
    """A page's name: a letter for its row, a number for its column."""
    return f"{ascii_uppercase[page[0]]}{page[1] + 1}"


def _head(
    plan: Plan, units: kit.Units, page: PageIndex, pages: int, width: float
) -> list[Flowable]:
    """What the page is, what it is for, and which way it lies."""
    heading = "Holes at 1:1" if pages == 1 else f"Holes at 1:1, page {_name(page)} of {pages}"
    left = width_of(heading, kit.HEADING, bold=True) + 8.0
    size = fit(plan.about, kit.HEADING, 6.0, width - left)
    use = USE
    if plan.plate_hole:
        use += f" {AS_LARGE.format(wide=kit.full(plan.plate_hole, units))}"
    return [
        kit.beside(
            (left, kit.para(heading, kit.HEADING, bold=True)),
            (width - left, kit.para(plan.about, size, anchor="end")),
        ),
        kit.para(use, BODY),
        *([kit.para(JOIN, BODY)] if pages > 1 else []),
        kit.gap(1.0),
        kit.Picture(width, 4.0, draw_way(width, -2.4, outermost=page[0] == 0)),
    ]


def _bars(foot: float, right: float, units: kit.Units) -> Iterator[Shape]:
    """A bar along and one across from `foot`, and that they are to be measured."""
    length = kit.full(SCALE_BAR, units)
    y, x = foot + STRIP - 6.5, 5.0
    bar = partial(scale_bar, pen=INK, ticks=(4.5, 2.5), long_at=(0, 5, 10))
    yield from bar((STRIP, y))
    yield kit.typeset((STRIP + SCALE_BAR + 2.0, y), length, BODY, bold=True)
    yield from bar((x, foot + STRIP), upright=True)
    at = (x - 1.5, foot + STRIP + SCALE_BAR / 2)
    yield kit.typeset(at, length, BODY, bold=True, anchor="middle", turn=90)

    left = STRIP + SCALE_BAR + width_of(length, BODY, bold=True) + 8.0
    for number, line in enumerate(wrap(CHECK.format(length=length), BODY, right - left)):
        yield kit.typeset((left, y - 1.25 * number * BODY * POINT), line, BODY)

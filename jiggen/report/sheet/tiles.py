"""The holes at 1:1, over as many lying pages as it takes, to lay over the jig and the plate.

A page shows a window of the ski.  Where two windows meet, both show the same registration
crosses, and a dashed seam to cut along.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial
from itertools import product
from string import ascii_lowercase, ascii_uppercase

from reportlab.platypus import NextPageTemplate, PageBreak
from reportlab.platypus.flowables import Flowable

from jiggen.draw.figures import SCALE_BAR, arrow, cross, scale_bar
from jiggen.draw.fonts import POINT, fit, plain, points, width_of, wrap
from jiggen.draw.shapes import Anchor, Box, Line, Pen, Shape, grey
from jiggen.record import Hole, JigRecord
from jiggen.report.sheet.document import LYING, Size, Units
from jiggen.report.sheet.drawing import (
    View,
    box_around,
    draw_holes,
    draw_names,
    place_names,
    ski_lines,
)
from jiggen.report.sheet.flowables import (
    DIM,
    HEADING,
    SMALL,
    Picture,
    beside,
    gap,
    height_of,
    para,
    typeset,
)
from jiggen.report.sheet.measures import full, in_brackets, which_skis
from jiggen.report.sheet.tiling import Cut, Register, cut, registers, seams

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

USE = (
    "Lay it over the finished jig, and over the plate. It is for checking: drill through the jig, "
    "never through paper."
)
JOIN = (
    "To join: cut one page along the seam and lay it on the other so that crosses of the same "
    "letter meet; tape."
)
SEAM_WORDS = "seam"
CHECK = (
    "Check with a ruler: both bars, along and across, must be 100 mm{inches} long. If not, print "
    "again at 100 %, not fitted to the page."
)

MARK, REGISTER, INK = Pen(0.4), Pen(0.2), Pen(0.25)
CENTRE = Pen(0.18, grey(0.3), (10.0, 1.5, 1.0, 1.5))
EDGE = Pen(0.2, grey(0.55), (5.0, 3.0))
SEAM = Pen(0.15, grey(0.4), (2.0, 2.0))
_CAPITAL = points(BODY)  # mm


@dataclass(frozen=True)
class _Tile:
    """One page: what it shows, and where. `room` is its window in the page's picture, mm."""

    job: JigRecord
    units: Units
    plan: Cut
    row: int
    column: int
    room: Box

    @property
    def view(self) -> View:
        """From the ski frame to the paper, at 1:1."""
        along, across = self.plan.columns[self.column], self.plan.rows[self.row]
        return View(1.0, self.room[0] - along.low, self.room[1] - across.low)

    @property
    def holes(self) -> tuple[Hole, ...]:
        """The holes that lie in the window whole, crosses included."""
        along, across = self.plan.columns[self.column], self.plan.rows[self.row]
        return tuple(
            hole
            for hole in self.job.holes
            if along.holds(hole.x, hole.diameter / 2 + ARM)
            and across.holds(hole.y, hole.diameter / 2 + ARM)
        )

    @property
    def registers(self) -> tuple[Register, ...]:
        """The registration crosses that this page has in common with others."""
        return tuple(r for r in self.plan.registers if (self.row, self.column) in r.pages)


def tile_pages(job: JigRecord, units: Units, frame: Size) -> list[Flowable]:
    """The 1:1 pages, which lie; `frame` is the room on a page."""
    width, height = frame
    top = height_of(_head(job, units, "A1", 9, width), width)  # every page's is as high
    height -= top + 0.1  # a little, since heights are rounded
    room = (STRIP, STRIP - height, width, 0.0)
    plan = _cut(job, room[2] - room[0], room[3] - room[1])
    story: list[Flowable] = [NextPageTemplate(LYING)]
    for row, column in product(range(len(plan.rows)), range(len(plan.columns))):
        tile = _Tile(job, units, plan, row, column, room)
        name = _name((row, column))
        shapes = [*_draw(tile), *_bars(-height, width, units)]
        head = _head(job, units, name, plan.pages, width, outermost=row == 0)
        story += [PageBreak(), *head, Picture(width, height, shapes)]
    return story


def _cut(job: JigRecord, width: float, height: float) -> Cut:
    """How the layout is cut into windows of `width` by `height`."""
    xs, ys = [hole.x for hole in job.holes], [hole.y for hole in job.holes]
    along = cut(min(0.0, *xs) - BEYOND, max(0.0, *xs) + BEYOND, width, [*xs, 0.0])
    half = max(abs(y) for y in ys) + NAME_ROOM
    across = cut(-half, half, height, [*ys, 0.0])[::-1]
    holes = [(hole.x, hole.y) for hole in job.holes]
    return Cut(along, across, registers(along, across, holes))


def _name(page: tuple[int, int]) -> str:
    """A page's name: a letter for its row, a number for its column."""
    row, column = page
    return f"{ascii_uppercase[row]}{column + 1}"


def _draw(tile: _Tile) -> list[Shape]:
    seam_shapes, seam_boxes = _seams(tile)
    cross_shapes, cross_boxes = _registers(tile)
    edge_shapes, edge_boxes = _edge_names(tile)
    written = [*seam_boxes, *cross_boxes, *edge_boxes]
    return [
        *_ski(tile),
        *seam_shapes,
        *cross_shapes,
        *edge_shapes,
        *draw_holes(tile.holes, tile.view, ARM),
        *_hole_names(tile, written),
    ]


def _ski(tile: _Tile) -> Iterator[Shape]:
    """The ski's edges, the centre line and the mounting mark, as far as the window shows them."""
    (left, foot, right, top), view, skis = tile.room, tile.view, tile.job.inputs.ski
    halves = (sign * width / 2 for width in {skis.least, skis.most} for sign in (1, -1))
    for half, pen in ((0.0, CENTRE), *((half, EDGE) for half in sorted(halves))):
        y = view.at(0.0, half)[1]
        if foot <= y <= top:
            yield Line((left, y), (right, y), pen)
    if left <= view.mark <= right:
        yield Line((view.mark, foot), (view.mark, top - BAND), MARK)
        words = "mounting mark"
        half_width = width_of(words, SMALL, bold=True) / 2
        x = min(max(view.mark, left + half_width), right - half_width)
        yield typeset((x, top - BAND + 1.2), words, SMALL, bold=True, anchor="middle")


def _edge_names(tile: _Tile) -> tuple[list[Shape], list[Box]]:
    """Words at each dashed edge that say of which ski it is, on the left half; their boxes."""
    (left, foot, right, top), view, skis = tile.room, tile.view, tile.job.inputs.ski
    # Where the mounting mark is not, and far from the words at the registration crosses.
    share = 0.7 if view.mark < (left + right) / 2 else 0.3
    x = left + share * (right - left)
    shapes: list[Shape] = []
    boxes = []
    for width, drop in {skis.most: -1.0, skis.least: 1.0 + points(SMALL)}.items():
        y = view.at(0.0, width / 2)[1] - drop
        if foot <= y <= top - BAND - SMALL * POINT:
            words = f"ski {full(width, tile.units)} wide"
            shapes.append(typeset((x, y), words, SMALL, anchor="middle", dim=DIM))
            half = width_of(words, SMALL) / 2
            boxes.append(box_around((x - half, y), (x + half, y + SMALL * POINT), 0.5))
    return shapes, boxes


def _seams(tile: _Tile) -> tuple[list[Shape], list[Box]]:
    """The seams that run through the window, with their name; the boxes of both."""
    (left, foot, right, top), view = tile.room, tile.view
    upright = (view.at(x, 0.0)[0] for x in seams(tile.plan.columns))
    level = (view.at(0.0, y)[1] for y in seams(tile.plan.rows))
    shapes: list[Shape] = []
    boxes = []
    for x in (x for x in upright if left < x < right):
        at = (x - SEAM_GAP, foot + SEAM_NAME)
        shapes.append(Line((x, foot), (x, top - BAND), SEAM))
        shapes.append(typeset(at, SEAM_WORDS, SMALL, turn=90, dim=DIM))
        boxes.append(box_around((x - SMALL * POINT, foot), (x, top)))
    for y in (y for y in level if foot < y < top):
        at = (left + SEAM_NAME, y + SEAM_GAP)
        shapes.append(Line((left, y), (right, y), SEAM))
        shapes.append(typeset(at, SEAM_WORDS, SMALL, dim=DIM))
        boxes.append(box_around((left, y), (right, y + SMALL * POINT)))
    return shapes, boxes


def _registers(tile: _Tile) -> tuple[list[Shape], list[Box]]:
    """The registration crosses, each with its letter and the page it leads to; their boxes."""
    shapes: list[Shape] = []
    boxes = []
    for register in tile.registers:
        x, y = tile.view.at(*register.at)
        shapes += cross((x, y), CROSS_ARM, REGISTER)
        here = (tile.row, tile.column)
        first = register.pages[0] == here
        other = register.pages[1] if first else register.pages[0]
        words = f"{_letter(register.letter)} to page {_name(other)}"
        # On the side that remains when the seam is cut: towards this page's own middle.
        left = register.upright and first
        below = not register.upright and not first
        anchor: Anchor = "end" if left else "start"
        at = (x - 1.5 if left else x + 1.5, y - 1.5 - _CAPITAL if below else y + 1.5)
        shapes.append(typeset(at, words, BODY, bold=True, anchor=anchor))
        boxes.append(box_around((x, y), (x, y), CROSS_ARM + 1.0))
        end = at[0] + width_of(words, BODY, bold=True) * (-1 if left else 1)
        boxes.append(box_around(at, (end, at[1] + _CAPITAL), 1.0))
    return shapes, boxes


def _letter(number: int) -> str:
    """The letter of a cross: a to z, then aa, bb and so on."""
    turns, letter = divmod(number, len(ascii_lowercase))
    return ascii_lowercase[letter] * (turns + 1)


def _hole_names(tile: _Tile, written: list[Box]) -> Iterator[Shape]:
    """The ids, as large as they fit, near their holes; or a note that some did not fit."""
    if not tile.holes:
        return
    left, foot, right, top = tile.room
    skis, view = tile.job.inputs.ski, tile.view
    free = (left, foot, right, top - BAND)
    obstacles = [*ski_lines(view, (skis.least, skis.most)), *written]
    for size in ID_SIZES if len(tile.holes) <= MANY else ID_SIZES[-1:]:
        named = place_names(tile.holes, view, ARM, obstacles, size, free, LEADER)
        if len(named) == len(tile.holes):
            break
    else:
        left_half = view.mark > (left + right) / 2
        at = (left if left_half else right, top - BAND + 1.2)
        anchor: Anchor = "start" if left_half else "end"
        words = "Names that did not fit here are in the list of holes."
        yield typeset(at, words, SMALL, anchor=anchor)
    yield from draw_names(named, view, size)


# -- around the window --------------------------------------------------------------------------


def _head(
    job: JigRecord, units: Units, name: str, pages: int, width: float, *, outermost: bool = True
) -> list[Flowable]:
    """What the page is, what it is for, and which way it lies.

    `outermost`: the ski's left side is at the top of this page.
    """
    heading = "Holes at 1:1" if pages == 1 else f"Holes at 1:1, page {name} of {pages}"
    about = f"{plain(job.inputs.pattern)}, boot {full(job.inputs.boot, units)}, {which_skis(job)}"
    left = width_of(heading, HEADING, bold=True) + 8.0
    size = fit(about, HEADING, 6.0, width - left)
    level = -SMALL * POINT / 2
    way = [
        *arrow((width - 14.0, level), (width, level), INK),
        typeset((width - 16.0, level - points(SMALL) / 2), "to the tip", SMALL, anchor="end"),
    ]
    if outermost:
        at = (width / 2, level - points(SMALL) / 2)
        way.append(typeset(at, "left side of the ski", SMALL, anchor="middle"))
    return [
        beside(
            (left, para(heading, HEADING, bold=True)),
            (width - left, para(about, size, anchor="end")),
        ),
        para(USE, BODY),
        *([para(JOIN, BODY)] if pages > 1 else []),
        gap(1.0),
        Picture(width, SMALL * POINT * 1.25 + 0.5, way),
    ]


def _bars(foot: float, right: float, units: Units) -> Iterator[Shape]:
    """A bar along and one across from `foot`, and that they are to be measured."""
    inches = in_brackets(SCALE_BAR, units)
    length = f"{SCALE_BAR:g} mm{inches}"
    y, x = foot + STRIP - 6.5, 5.0
    bar = partial(scale_bar, pen=INK, ticks=(4.5, 2.5), long_at=(0, 5, 10))
    yield from bar((STRIP, y))
    yield typeset((STRIP + SCALE_BAR + 2.0, y), length, BODY, bold=True)
    yield from bar((x, foot + STRIP), upright=True)
    at = (x - 1.5, foot + STRIP + SCALE_BAR / 2)
    yield typeset(at, length, BODY, bold=True, anchor="middle", turn=90)

    left = STRIP + SCALE_BAR + width_of(length, BODY, bold=True) + 8.0
    for number, line in enumerate(wrap(CHECK.format(inches=inches), BODY, right - left)):
        yield typeset((left, y - 1.25 * number * BODY * POINT), line, BODY)

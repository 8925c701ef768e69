"""The holes at 1:1, over as many lying pages as it takes, to lay over the jig and the plate.

A page shows a window of the ski.  Where two windows meet, both show the same registration
crosses, and a dashed seam to cut along.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product
from string import ascii_lowercase, ascii_uppercase

from jiggen.draw.fonts import fit, plain, width_of
from jiggen.record import Hole, JigRecord
from jiggen.report.sheet.block import Block, Frame, beside, paragraph, space, stack
from jiggen.report.sheet.holes import (
    Box,
    View,
    box_around,
    distance,
    draw_holes,
    draw_names,
    fence,
    inside,
    place_names,
    ski_lines,
)
from jiggen.report.sheet.measures import full, in_brackets
from jiggen.report.sheet.page import (
    CAPITALS,
    POINT,
    Anchor,
    Line,
    Page,
    Pen,
    Point,
    Shapes,
    Size,
    Text,
    Units,
)
from jiggen.report.sheet.tiling import Cut, Register, cut, registers, seams
from jiggen.report.sheet.words import say

HEADING, BODY, SMALL = 11.0, 8.5, 7.5  # points
ID_SIZES = (9.0, 7.0, 5.5)  # points; the first with which every id finds room
MANY = 60  # holes on a page, for which only the smallest size is tried
BAR, TICK = 100.0, 10.0  # mm
STRIP = 12.0  # mm for a bar, its ticks and its number
BAND = 5.0  # mm at a window's top for the name of the mounting mark
ARM = 1.5  # mm that a hole's cross reaches past its edge
LEADER = 18.0  # mm that a name may lie from its hole
BEYOND = 12.0  # mm shown past the last hole
NAME_ROOM = 8.0  # mm shown past the outermost hole, for its name
CROSS_ARM = 6.0  # mm, of a registration cross
SEAM_GAP, SEAM_NAME = 1.0, 30.0  # mm from a seam, and along it, to its name

MARK, REGISTER, INK = Pen(0.4), Pen(0.2), Pen(0.25)
CENTRE = Pen(0.18, 0.3, (10.0, 1.5, 1.0, 1.5))
EDGE = Pen(0.2, 0.55, (5.0, 3.0))
SEAM = Pen(0.15, 0.4, (2.0, 2.0))
_CAPITAL = BODY * POINT * CAPITALS  # mm


@dataclass(frozen=True)
class _Tile:
    """One page: what it shows, and where. `room` is its window on the paper, mm."""

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


def tile_pages(job: JigRecord, units: Units, size: Size, frame: Frame) -> list[Page]:
    """The 1:1 pages of a `size`, their content in `frame`."""
    head = _head(job, units, "A1", 9, frame.width)  # every page's is as high
    room = (frame.left + STRIP, frame.foot + STRIP, frame.right, frame.top - head.height)
    plan = _cut(job, room[2] - room[0], room[3] - room[1])
    pages = []
    for row, column in product(range(len(plan.rows)), range(len(plan.columns))):
        tile = _Tile(job, units, plan, row, column, room)
        page = Page(size, _draw(tile))
        name = _name((row, column))
        head = _head(job, units, name, plan.pages, frame.width, outermost=row == 0)
        page.shapes.add(head.shapes, (frame.left, frame.top))
        _draw_bars(page.shapes, frame, units)
        pages.append(page)
    return pages


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
    return say("tile.name", row=ascii_uppercase[row], column=column + 1)


def _draw(tile: _Tile) -> Shapes:
    shapes = Shapes()
    _draw_ski(shapes, tile)
    written = [
        *_draw_seams(shapes, tile),
        *_draw_registers(shapes, tile),
        *_name_edges(shapes, tile),
    ]
    draw_holes(shapes, tile.holes, tile.view, ARM)
    _name_holes(shapes, tile, written)
    return shapes


def _draw_ski(shapes: Shapes, tile: _Tile) -> None:
    """The ski's edges, the centre line and the mounting mark, as far as the window shows them."""
    (left, foot, right, top), view, skis = tile.room, tile.view, tile.job.inputs.ski
    halves = (sign * width / 2 for width in {skis.least, skis.most} for sign in (1, -1))
    for half, pen in ((0.0, CENTRE), *((half, EDGE) for half in sorted(halves))):
        y = view.at(0.0, half)[1]
        if foot <= y <= top:
            shapes.lines.append(Line((left, y), (right, y), pen))
    if left <= view.mark <= right:
        shapes.lines.append(Line((view.mark, foot), (view.mark, top - BAND), MARK))
        words = say("drawing.mark")
        half_width = width_of(words, SMALL, bold=True) / 2
        x = min(max(view.mark, left + half_width), right - half_width)
        at = (x, top - BAND + 1.2)
        shapes.texts.append(Text(at, words, SMALL, bold=True, anchor="middle"))


def _name_edges(shapes: Shapes, tile: _Tile) -> list[Box]:
    """Say which ski each dashed edge is of, on the left half of the ski; the words' boxes."""
    (left, foot, right, top), view, skis = tile.room, tile.view, tile.job.inputs.ski
    # Where the mounting mark is not, and far from the words at the registration crosses.
    share = 0.7 if view.mark < (left + right) / 2 else 0.3
    x = left + share * (right - left)
    boxes = []
    for width, drop in {skis.most: -1.0, skis.least: 1.0 + SMALL * POINT * CAPITALS}.items():
        y = view.at(0.0, width / 2)[1] - drop
        if foot <= y <= top - BAND - SMALL * POINT:
            words = say("tile.edge", width=full(width, tile.units))
            shapes.texts.append(Text((x, y), words, SMALL, anchor="middle", grey=0.3))
            half = width_of(words, SMALL) / 2
            boxes.append(box_around((x - half, y), (x + half, y + SMALL * POINT), 0.5))
    return boxes


def _draw_seams(shapes: Shapes, tile: _Tile) -> list[Box]:
    """The seams that run through the window, with their name; the boxes of both."""
    (left, foot, right, top), view = tile.room, tile.view
    name = say("tile.seam")
    upright = (view.at(x, 0.0)[0] for x in seams(tile.plan.columns))
    level = (view.at(0.0, y)[1] for y in seams(tile.plan.rows))
    boxes = []
    for x in (x for x in upright if left < x < right):
        shapes.lines.append(Line((x, foot), (x, top - BAND), SEAM))
        at = (x - SEAM_GAP, foot + SEAM_NAME)
        shapes.texts.append(Text(at, name, SMALL, turn=90, grey=0.3))
        boxes.append(box_around((x - SMALL * POINT, foot), (x, top)))
    for y in (y for y in level if foot < y < top):
        shapes.lines.append(Line((left, y), (right, y), SEAM))
        at = (left + SEAM_NAME, y + SEAM_GAP)
        shapes.texts.append(Text(at, name, SMALL, grey=0.3))
        boxes.append(box_around((left, y), (right, y + SMALL * POINT)))
    return boxes


def _draw_registers(shapes: Shapes, tile: _Tile) -> list[Box]:
    """The registration crosses, each with its letter and the page it leads to; their boxes."""
    boxes = []
    for register in tile.registers:
        x, y = tile.view.at(*register.at)
        shapes.lines.append(Line((x - CROSS_ARM, y), (x + CROSS_ARM, y), REGISTER))
        shapes.lines.append(Line((x, y - CROSS_ARM), (x, y + CROSS_ARM), REGISTER))
        here = (tile.row, tile.column)
        first = register.pages[0] == here
        other = register.pages[1] if first else register.pages[0]
        words = say("tile.cross", letter=_letter(register.letter), tile=_name(other))
        # On the side that is kept when the seam is cut: towards this page's own middle.
        left = register.upright and first
        below = not register.upright and not first
        anchor: Anchor = "end" if left else "start"
        at = (x - 1.5 if left else x + 1.5, y - 1.5 - _CAPITAL if below else y + 1.5)
        shapes.texts.append(Text(at, words, BODY, bold=True, anchor=anchor))
        boxes.append(box_around((x, y), (x, y), CROSS_ARM + 1.0))
        end = at[0] + width_of(words, BODY, bold=True) * (-1 if left else 1)
        boxes.append(box_around(at, (end, at[1] + _CAPITAL), 1.0))
    return boxes


def _letter(number: int) -> str:
    """The letter of a cross: a to z, then aa, bb and so on."""
    turns, letter = divmod(number, len(ascii_lowercase))
    return ascii_lowercase[letter] * (turns + 1)


def _name_holes(shapes: Shapes, tile: _Tile, written: list[Box]) -> None:
    """Write the ids, as large as they find room, near their holes; or say that some found none."""
    if not tile.holes:
        return
    left, foot, right, top = tile.room
    skis, view = tile.job.inputs.ski, tile.view
    free = (left, foot, right, top - BAND)
    obstacles = [*ski_lines(view, (skis.least, skis.most)), *written, *fence(free)]
    for size in ID_SIZES if len(tile.holes) <= MANY else ID_SIZES[-1:]:
        labels = place_names(tile.holes, view, ARM, obstacles, size)
        named = [
            (hole, label)
            for hole, label in zip(tile.holes, labels, strict=True)
            if inside(label, free) and distance(view.at(hole.x, hole.y), label) <= LEADER
        ]
        if len(named) == len(labels):
            break
    else:
        left_half = view.mark > (left + right) / 2
        at = (left if left_half else right, top - BAND + 1.2)
        anchor: Anchor = "start" if left_half else "end"
        shapes.texts.append(Text(at, say("tile.left-out"), SMALL, anchor=anchor))
    draw_names(shapes, [hole for hole, _ in named], view, [label for _, label in named], size)


# -- around the window --------------------------------------------------------------------------


def _head(
    job: JigRecord, units: Units, name: str, pages: int, width: float, *, outermost: bool = True
) -> Block:
    """What the page is, what it is for, and which way it lies.

    `outermost`: the ski's left side is at the top of this page.
    """
    inputs = job.inputs
    heading = say("tile.only") if pages == 1 else say("tile.heading", tile=name, tiles=pages)
    skis = "skis.same" if inputs.pair == "same" else f"skis.{inputs.side}"
    about = say(
        "tile.job",
        pattern=plain(inputs.pattern),
        boot=full(inputs.boot, units),
        skis=say(skis),
    )
    left = width_of(heading, HEADING, bold=True) + 8.0
    size = fit(about, HEADING, 6.0, width - left)
    uses = [say("tile.use"), *([say("tile.join")] if pages > 1 else [])]
    side = say("drawing.left") if outermost else ""
    way = Shapes()
    level = -SMALL * POINT * (1 - CAPITALS / 2)
    way.arrow((width - 14.0, level), (width, level), INK)
    words = (
        (0.0, paragraph(side, SMALL, width, anchor="middle")),
        (0.0, paragraph(say("drawing.tip"), SMALL, width - 16.0, anchor="end")),
        (0.0, Block(0.0, way)),
    )
    return stack(
        [
            beside(
                [
                    (0.0, paragraph(heading, HEADING, left, bold=True)),
                    (left, paragraph(about, size, width - left, anchor="end")),
                ]
            ),
            *(paragraph(use, BODY, width) for use in uses),
            space(1.0),
            beside(words),
            space(0.5),
        ]
    )


def _draw_bars(shapes: Shapes, frame: Frame, units: Units) -> None:
    """A bar along and one across, and that they are to be measured."""
    corner = (frame.left + STRIP, frame.foot + STRIP)
    inches = in_brackets(BAR, units)
    length = say("tile.bar", inches=inches)

    y = corner[1] - 6.5
    _draw_bar(shapes, (corner[0], y), (1.0, 0.0))
    shapes.texts.append(Text((corner[0] + BAR + 2.0, y), length, BODY, bold=True))
    x = frame.left + 5.0
    _draw_bar(shapes, (x, corner[1]), (0.0, 1.0))
    at = (x - 1.5, corner[1] + BAR / 2)
    shapes.texts.append(Text(at, length, BODY, bold=True, anchor="middle", turn=90))

    left = corner[0] + BAR + width_of(length, BODY, bold=True) + 8.0
    check = paragraph(say("tile.check", inches=inches), BODY, frame.right - left)
    shapes.add(check.shapes, (left, frame.foot + STRIP - 2.5))


def _draw_bar(shapes: Shapes, start: Point, way: Point) -> None:
    """BAR mm from `start` along x or y, with a tick each TICK mm to its left side."""
    (x, y), (dx, dy) = start, way
    shapes.lines.append(Line(start, (x + BAR * dx, y + BAR * dy), INK))
    for number in range(round(BAR / TICK) + 1):
        length = 4.5 if number * TICK in (0.0, BAR / 2, BAR) else 2.5
        foot = (x + number * TICK * dx, y + number * TICK * dy)
        shapes.lines.append(Line(foot, (foot[0] + length * dy, foot[1] + length * dx), INK))

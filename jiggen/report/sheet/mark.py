"""The section about the ski's mark: where it is, how it is found, how both skis are compared."""

import math
from collections.abc import Iterator, Sequence

from reportlab.platypus.flowables import Flowable

from jiggen.draw.figures import arrow, polyline
from jiggen.draw.fonts import plain
from jiggen.draw.shapes import Line, Pen, Point, Shape, grey
from jiggen.record import JigRecord
from jiggen.report.mark import BALANCED, FIND, about_mark, where_marked
from jiggen.report.sheet import kit
from jiggen.wording import CENTRE

HEIGHT = 39.0  # mm of the picture
SIZE = 7.5  # points
MARK_AT = 0.44  # of a drawn ski's length from its tail
THICK = 1.1  # mm of a drawn ski
SKI, EDGE, MARK, THIN = Pen(0.35), Pen(0.6), Pen(0.5), Pen(0.15, grey(0.35))
SHARE = 0.37  # of the width for the picture


def mark_section(job: JigRecord, units: kit.Units, width: float) -> Flowable:
    """What is asked of the mark, a picture of both ways to measure, and how it is found."""
    marked = job.inputs.ski_in_hand.mark
    lines = [*about_mark(job.inputs.mark), *([where_marked(marked)] if marked else [])]
    cells: list[list[kit.Cell]] = [[kit.para(plain(line), bold=True)] for line in lines]
    if marked:
        ends = (end(job.holes, key=lambda hole: hole.x) for end in (min, max))
        places = (
            f"{hole.id} {kit.full(round(marked.from_tail + hole.x, 1), units)}" for hole in ends
        )
        words = "So far in front of the tail's end lie the rearmost and the foremost hole"
        drawn = f", for a boot of {kit.full(job.inputs.boot, units)}" if job.ladders else ""
        cells.append([kit.para(f"{words}{drawn}: {', '.join(places)}.")])
    found = FIND if job.inputs.mark == CENTRE else (*FIND, BALANCED)
    left = SHARE * width
    paragraphs = [flowable for line in found for flowable in (kit.para(line, SIZE), kit.gap(0.7))]
    picture = kit.Picture(left, HEIGHT, _picture(left))
    own = width - left - kit.GUTTER
    cells.append([kit.beside((left, picture), (kit.GUTTER, []), (own, paragraphs))])
    return kit.section("The mark on both skis", cells, (width,))


def _picture(width: float) -> Iterator[Shape]:
    """A ski from the side with both lengths, over a pair base on base against a wall."""
    length, base = width - 4.0, -9.0
    ski = _side(length, 1)
    yield from _outline(ski, (2.0, base))
    mark, tip = MARK_AT * length, ski[-1]
    for x, drop, top, words in (
        (mark, 4.5, 3.5, "tail to mark"),
        (length, 9.0, tip[1], "chord: tail to tip"),
    ):
        y = base - drop
        yield Line((2.0 + x, base + top), (2.0 + x, y - 1.0), MARK if x == mark else THIN)
        yield from arrow((2.0 + x / 2, y), (2.0 + x, y), THIN)
        yield from arrow((2.0 + x / 2, y), (2.0, y), THIN)
        yield kit.typeset((2.0 + x / 2, y - 3.0), words, SIZE, anchor="middle")
    yield Line((2.0, base + ski[0][1]), (2.0, base - 10.0), THIN)
    middle = 9.0 - HEIGHT
    yield Line((2.0, middle - 8.0), (2.0, middle + 8.0), EDGE)
    for way in (1, -1):
        yield from _outline(_side(length, way), (2.0, middle))
    yield Line((2.0 + mark, middle - 4.0), (2.0 + mark, middle + 4.0), MARK)
    yield kit.typeset((2.0 + mark, middle - 7.5), "both marks meet", SIZE, anchor="middle")
    yield kit.typeset((3.5, middle - 7.5), "wall", SIZE)


def _side(length: float, way: int) -> list[Point]:
    """The base of a ski `length` mm long from the side, tail first; its back above, or below."""
    points = []
    for step in range(61):
        t = step / 60
        camber = math.sin(math.pi * min(max((t - 0.06) / 0.8, 0.0), 1.0)) ** 2
        rise = 7.0 * max((t - 0.86) / 0.14, 0.0) ** 2 + 1.2 * max((0.06 - t) / 0.06, 0.0) ** 2
        points.append((t * length, way * (1.2 * camber + rise)))
    return points


def _outline(base: Sequence[Point], at: Point) -> Iterator[Shape]:
    way = 1 if base[-1][1] > 0 else -1
    back = [(x, y + way * THICK) for x, y in reversed(base)]
    moved = [(at[0] + x, at[1] + y) for x, y in (*base, *back)]
    yield from polyline(moved, SKI, closed=True)

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

HEIGHT = 33.0  # mm of the picture
SIZE = 7.5  # points
MARK_AT = 0.44  # of a drawn ski's length from its tail
THICK = 1.1  # mm of a drawn ski
SKI, EDGE, MARK, THIN = Pen(0.35), Pen(0.6), Pen(0.5), Pen(0.15, grey(0.35))
SHARE = 0.56  # of the width for the ski on its own


def mark_section(job: JigRecord, units: kit.Units, width: float) -> Flowable:
    """What is asked of the mark, a picture of both ways to measure, and lines to fill in."""
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
    cells.append([kit.Picture(width, HEIGHT, _picture(width))])
    found = FIND if job.inputs.mark == CENTRE else (*FIND, BALANCED)
    cells += [[kit.para(line)] for line in found]
    names = ("Left ski, tail to mark", "Right ski, tail to mark", "Left chord", "Right chord")
    own = kit.column(width, len(names))
    cells.append([kit.columns(width, *(kit.blank(name, own) for name in names))])
    return kit.section("The mark on both skis", cells, (width,), below=1.0)


def _picture(width: float) -> Iterator[Shape]:
    """A ski from the side with both lengths, and a pair base on base against a wall."""
    alone = SHARE * width - 2 * kit.GUTTER
    ski, middle = _side(alone, 1), -11.0
    yield from _outline(ski, (2.0, middle))
    tail, tip = ski[0], ski[-1]
    ends = ((MARK_AT * alone, -6.0, "tail to mark"), (tip[0], -12.0, "chord: tail to tip"))
    for x, drop, words in ends:
        y = middle + drop
        top = middle + (tip[1] if x == tip[0] else 3.5)
        yield Line((2.0 + x, top), (2.0 + x, y - 1.0), MARK if x != tip[0] else THIN)
        yield from arrow((2.0 + x / 2, y), (2.0 + x, y), THIN)
        yield from arrow((2.0 + x / 2, y), (2.0, y), THIN)
        yield kit.typeset((2.0 + x / 2, y - 3.2), words, SIZE, anchor="middle")
    yield Line((2.0, middle + tail[1]), (2.0, middle - 13.0), THIN)
    start, pair = SHARE * width + 4.0, (1 - SHARE) * width - 6.0
    yield Line((start, middle - 12.0), (start, middle + 9.0), EDGE)
    for way in (1, -1):
        yield from _outline(_side(pair, way), (start, middle - 1.5))
    x = start + MARK_AT * pair
    yield Line((x, middle - 7.0), (x, middle + 4.0), MARK)
    yield kit.typeset((x, middle - 10.5), "both marks meet", SIZE, anchor="middle")
    yield kit.typeset((start + 1.5, middle - 12.0), "wall", SIZE)


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

"""A section through jig and ski that says what A, B, D and G are; not to scale, mm as drawn."""

from __future__ import annotations

from jiggen.report.sheet.block import Block
from jiggen.report.sheet.page import Area, Line, Pen, Point, Shapes, Text
from jiggen.report.sheet.words import say

WIDTH, HEIGHT = 66.0, 39.6
OUTLINE, THIN = Pen(0.25), Pen(0.1, 0.3)
LETTER, NOTE = 12.0, 7.0  # points
GUIDE_TOP, SKI_TOP, CORNERS, TIP, SKI_FOOT = -9.0, -22.0, -32.0, -34.6, -39.0  # y
BODY_TOP, BODY_FOOT = -10.0, -21.0
MIDDLE, DRILL, GUIDE, STOP = 33.0, 2.2, 4.6, 7.0  # x, and half widths
LEFT, RIGHT = 17.0, 49.0  # x of the ski's and the jig's ends
A, B, G_D = 10.0, 3.0, 57.0  # x of the dimensions


def stop_picture() -> Block:
    """The section, WIDTH by HEIGHT."""
    shapes = Shapes()
    for side in (-1, 1):
        inner, outer = MIDDLE + side * DRILL, MIDDLE + side * GUIDE
        _fill(shapes, (inner, BODY_FOOT), (outer, GUIDE_TOP), 0.78)
        end = LEFT if side < 0 else RIGHT
        _outline(shapes, (outer, BODY_FOOT), (end, BODY_TOP))
        _fill(shapes, (inner, GUIDE_TOP), (MIDDLE + side * STOP, -3.0), 0.45)
    hole = [(MIDDLE - DRILL, SKI_TOP), (MIDDLE - DRILL, CORNERS), (MIDDLE, TIP)]
    hole += [(2 * MIDDLE - x, y) for x, y in reversed(hole[:2])]
    shapes.polyline([(LEFT, SKI_TOP), *hole, (RIGHT, SKI_TOP)], OUTLINE)
    shapes.polyline(
        [(LEFT, SKI_TOP), (LEFT, SKI_FOOT), (RIGHT, SKI_FOOT), (RIGHT, SKI_TOP)], OUTLINE
    )
    for side in (-1, 1):
        x = MIDDLE + side * DRILL
        shapes.lines.append(Line((x, 0.0), (x, SKI_TOP), OUTLINE))
    _dimension(shapes, A, (GUIDE_TOP, CORNERS), "A", (MIDDLE - STOP, MIDDLE - DRILL))
    _dimension(shapes, B, (GUIDE_TOP, TIP), "B", (MIDDLE - STOP, MIDDLE))
    _dimension(shapes, G_D, (GUIDE_TOP, SKI_TOP), "G", (MIDDLE + GUIDE, RIGHT))
    _dimension(shapes, G_D, (SKI_TOP, CORNERS), "D", (RIGHT, MIDDLE + DRILL))
    for key, at in (
        ("stop.picture.stop", (MIDDLE + STOP + 1.5, -6.8)),
        ("stop.picture.jig", (MIDDLE + GUIDE + 2.0, -16.5)),
        ("stop.picture.ski", (MIDDLE + GUIDE + 2.0, -37.0)),
    ):
        shapes.texts.append(Text(at, say(key), NOTE))
    return Block(HEIGHT, shapes)


def _dimension(
    shapes: Shapes, x: float, span: tuple[float, float], letter: str, starts: tuple[float, float]
) -> None:
    """An upright dimension at `x`, with a thin line from where each end of `span` is meant."""
    for y, start in zip(span, starts, strict=True):
        beyond = x + (1.0 if x > start else -1.0)
        shapes.lines.append(Line((start, y), (beyond, y), THIN))
    middle = sum(span) / 2
    for end in span:
        shapes.arrow((x, middle), (x, end), Pen(0.15), 1.6)
    shapes.texts.append(Text((x + 1.2, middle - 1.5), letter, LETTER, bold=True))


def _fill(shapes: Shapes, one: Point, other: Point, grey: float) -> None:
    (x0, y0), (x1, y1) = one, other
    shapes.areas.append(Area(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), grey))
    _outline(shapes, one, other)


def _outline(shapes: Shapes, one: Point, other: Point) -> None:
    low = min(one[0], other[0]), min(one[1], other[1])
    high = max(one[0], other[0]), max(one[1], other[1])
    shapes.box(low, high, OUTLINE)

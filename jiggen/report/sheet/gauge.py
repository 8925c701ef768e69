"""The gauge's sheet: how to print it, where to measure, and room for every reading."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from reportlab.platypus.flowables import Flowable

from jiggen import __version__
from jiggen.design.gauge import Gauge, Reading, Readings, readings_of
from jiggen.design.lettering import Ring
from jiggen.draw.figures import box, polyline
from jiggen.draw.shapes import BLACK, WHITE, Area, Circle, Colour, Line, Pen, Point, Shape, grey
from jiggen.outcome import Verification
from jiggen.report.sheet.document import frame_size, write_document
from jiggen.report.sheet.flowables import (
    DIM,
    GUTTER,
    SMALL,
    Picture,
    blank,
    checklist,
    column,
    columns,
    gap,
    headline,
    para,
    section,
    table,
    typeset,
)

WHY = (
    "Printed parts come out a little too large or too small, and every printer differs. Print the "
    "gauge, measure it with a caliper, and jigs can be made that come out true to size."
)
PRINT = (
    "Print the three parts as they lie, without supports. Never turn or mirror them in the slicing "
    "program: the arrows X and Y on the frame must point along the printer's own x and y.",
    "No scaling. Switch off whatever the slicing program does against shrinkage, for holes or for "
    "the first layer.",
    "Use the material, nozzle, layers and speed that the jigs will have. What is found holds for "
    "these alone.",
    "Let it cool on the bed, then lie at room temperature for an hour. Take off strings and blobs. "
    "Never file or sand it.",
)
MEASURE = (
    "Wipe the jaws, close them, and set the caliper to zero. Lay the frame on a flat table.",
    "Pegs, 1 to 6: outside jaws over both pegs, upright and pushed down onto the table, closed "
    "with little force. Swing the caliper a little: the largest reading is right.",
    "Holes, 7 to 12: one inside jaw in each hole, spread until both touch the far rims. Swing it a "
    "little: the largest reading is right.",
    "Diameters, 13 to 20: pegs above the frame, the smallest reading is right; holes with the "
    "inside jaws, the largest. Once along x, once along y: the mean is the reading.",
    "Heights, 21 to 25: one jaw flat on the underside, the other on top: the frame on a rib, then "
    "each peg.",
    "Take each reading twice, and write down both of 1 to 20. If the two differ by more than "
    "0.05 mm, clean the place and start that reading again.",
)
GROSS_ERROR = 'A reading more than 1 mm off its "about" is a gross error: look again.'
BUSH = (
    "Press the {outside:g} mm bush into the pockets, smallest first, by hand or gently in a vice. "
    "Best is the pocket that it goes into square with firm pressure, and neither turns in nor "
    "falls out of. Push it out again from the other side."
)
SLIDE = (
    "Push the small toothed bar through the slots, lying as it was printed: it goes in one way "
    "round. Best is the narrowest slot that it runs through freely, pushed with one finger. Do not "
    "grease it."
)
THEN = (
    "Write the readings into measurements.toml in the gauge's folder, each in place of the two "
    "quotation marks: value = 106.12. Leave a row as it is where you did not measure.",
    "Type: jiggen profile fit measurements.toml, and a name for it. It names a reading that does "
    "not agree with the others: take that one again.",
    "Build jigs for that printer, and check the first one.",
    "Print a new gauge when the material, the nozzle or the printer's belts change.",
)
PLAN_SHARE = 0.88  # of a column that the drawing from above is wide
SHARES = (0.10, 0.32, 0.18, 0.40)  # of a column: number, what, about, read
NAMES = ("no.", "what", "about", "read, and again")

# The pictures, mm as drawn:
OUTLINE, THIN = Pen(0.2, grey(0.4)), Pen(0.1, grey(0.45))
READING, JAW_PEN = Pen(0.2), Pen(0.5)
NUMBER, NOTE = 10.0, 7.5  # points
FRAME_GREY, PEG_GREY, JAW_GREY = grey(0.9), grey(0.6), grey(0.45)
CORNERS = 24  # of a drawn peg
JAWS = {"peg": 4.0, "hole": 3.0}  # mm as drawn
SHARE, BESIDE = 0.33, 2.6  # of a reading's line, and mm from it, where its number stands
BORDER = 6.0  # mm of life around the frame
VIEW_HEIGHT = 30.0  # mm of the views from the side


def gauge_sheet(gauge: Gauge, verification: Verification) -> bytes:
    """The sheet of a gauge as PDF, by its `verification`: equal bytes for equal gauges."""
    width, _ = frame_size("A4")
    readings = readings_of(gauge)
    pictures = _pictures(gauge, readings, width)
    story = [
        *_head(verification, width),
        _steps("Print", PRINT, width),
        section(headline("Where the readings are taken", width), [[pictures]], (width,)),
        _steps("Measure", MEASURE, width),
        _table(readings, width),
        _fits(gauge, width),
        _steps("Then", THEN, width),
    ]
    about = f"gauge {gauge.span[0]:g} x {gauge.span[1]:g} mm"
    return write_document(story, "A4", "Gauge: measure the printer", about, __version__)


def _head(verification: Verification, width: float) -> list[Flowable]:
    own = column(width, 3)
    names = ("Printer, nozzle", "Material, layers", "Date, measured by")
    deviation = f"{max(math.ceil(1000 * verification.deviation), 1) / 1000:.3f}"
    verified = (
        f"Gauge verified from its files: {verification.checks} checks; each hole and peg is within "
        f"{deviation} mm of its place."
    )
    return [
        para("Gauge sheet", dim=DIM),
        para("What does your printer do?", 20.0, bold=True),
        gap(1.0),
        para(WHY),
        gap(1.5),
        columns(width, [blank(name, own) for name in names]),
        gap(1.0),
        para(verified, SMALL, dim=DIM),
    ]


def _steps(name: str, lines: Sequence[str], width: float) -> Flowable:
    numbered = [f"{number}. {line}" for number, line in enumerate(lines, start=1)]
    return checklist(numbered, headline(name, width), width)


def _pictures(gauge: Gauge, readings: Readings, width: float) -> list[Flowable]:
    own = column(width, 2)
    wide = PLAN_SHARE * own
    inset = (own - wide) / 2
    pegs = [reading for reading in readings.distances if reading.of[0].kind == "peg"]
    holes = [reading for reading in readings.distances if reading.of[0].kind == "hole"]
    plans = [_plan_with_readings(gauge, some, wide) for some in (pegs, holes)]
    cells = [[[], plans[0], [], plans[1]]]
    return [
        table(cells, (inset, wide, 2 * inset + GUTTER, wide + inset)),
        gap(2.0),
        columns(width, _views(column(width, 3))),
        gap(1.0),
    ]


def _table(readings: Readings, width: float) -> Flowable:
    """A row per reading, in two columns, with a line to write on."""
    own = column(width, 2)
    left = [
        (item.number, f"{item.of[0].id} to {item.of[1].id}", item.asked)
        for item in readings.distances
    ]
    right = [
        (item.number, f"{item.of[0].kind} {item.of[0].id}, across", item.asked)
        for item in readings.diameters
    ]
    right += [
        (item.number, f"peg {item.of[0].id}, height" if item.of else "frame, height", item.asked)
        for item in readings.heights
    ]
    halves = [
        table(
            [
                [para(name, SMALL, dim=DIM) for name in NAMES],
                *(
                    [para(str(number)), para(what), para(f"{about:.2f}"), []]
                    for number, what, about in rows
                ),
            ],
            [share * own for share in SHARES],
            ruled=True,
            above=1.2,
            below=1.0,
        )
        for rows in (left, right)
    ]
    rows = [[columns(width, halves)], [[gap(1.0), para(GROSS_ERROR, SMALL, dim=DIM)]]]
    return section(headline("Readings, mm", width), rows, (width,))


def _fits(gauge: Gauge, width: float) -> Flowable:
    own = column(width, 2)
    cells: list[list[Flowable]] = [
        [
            para(SLIDE),
            gap(1.5),
            _slots_from_the_end(gauge, own),
            gap(1.5),
            *blank("Best slot (slide)", own),
        ]
    ]
    if gauge.bush:
        words = BUSH.format(outside=gauge.bush.outside)
        cells.insert(0, [para(words), gap(1.5), *blank("Best pocket (bush_fit)", own)])
    both = columns(width, cells, 2)
    return section(headline("Fits", width), [[both]], (width,))


# -- the pictures --------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Plan:
    """From the bed's frame (mm) to a drawing `width` mm wide, its top at y = 0."""

    scale: float
    top: float

    def at(self, x: float, y: float) -> Point:
        return self.scale * x, self.scale * (y - self.top)


def _plan_with_readings(gauge: Gauge, readings: Iterable[Reading], width: float) -> Picture:
    """The gauge from above, with a line and a number for each reading."""
    spans = [max(peg.x for peg in gauge.pegs), max(peg.y for peg in gauge.pegs)]
    across, up = (far + gauge.pegs[0].diameter / 2 for far in spans)
    plan = _Plan(width / across, up + BORDER)
    shapes = [*_frame(gauge, plan)]
    for reading in readings:
        shapes += _reading(reading, plan, (across / 2, up / 2))
    return Picture(width, plan.scale * (up + 2 * BORDER), shapes)


def _frame(gauge: Gauge, plan: _Plan) -> Iterator[Shape]:
    outer, inner = gauge.outline.outer, gauge.outline.inner
    yield Area(_ring(outer, plan), FRAME_GREY)
    yield from (Area(_ring(ring, plan), WHITE) for ring in inner)
    for ring in (outer, *inner):
        yield from polyline(_ring(ring, plan), OUTLINE, closed=True)
    for peg in gauge.pegs:
        turn = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
        around = np.column_stack([np.cos(turn), np.sin(turn)]) * peg.diameter / 2
        yield Area(_ring(np.add(around, (peg.x, peg.y)), plan), PEG_GREY)
    for guide in gauge.guides:
        pen = OUTLINE if guide.bush is None else THIN
        yield Circle(plan.at(guide.x, guide.y), guide.radius * plan.scale, pen)
    for item in gauge.engravings:
        for region in item.regions:
            yield Area(_ring(region.outer, plan), BLACK)
            yield from (Area(_ring(ring, plan), FRAME_GREY) for ring in region.inner)


def _ring(ring: Ring, plan: _Plan) -> tuple[Point, ...]:
    return tuple(plan.at(float(x), float(y)) for x, y in ring)


def _reading(reading: Reading, plan: _Plan, middle: Point) -> Iterator[Shape]:
    """A line with the caliper's jaws at its ends, and its number beside it.

    The number stands off the line's middle, where lines cross, and away from the frame's.
    """
    one, other = reading.of
    far = math.hypot(other.x - one.x, other.y - one.y)
    ux, uy = (other.x - one.x) / far, (other.y - one.y) / far
    ends = []
    for end, sign in ((one, -1), (other, 1)):
        reach = sign * end.diameter / 2
        x, y = plan.at(end.x + ux * reach, end.y + uy * reach)
        half = JAWS[end.kind] / 2
        yield Line((x - half * uy, y + half * ux), (x + half * uy, y - half * ux), JAW_PEN)
        ends.append((x, y))
    (x0, y0), (x1, y1) = ends
    yield Line((x0, y0), (x1, y1), READING)
    x, y = x0 + SHARE * (x1 - x0), y0 + SHARE * (y1 - y0)
    inwards = (middle[1] - one.y) * ux - (middle[0] - one.x) * uy > 0
    off = -BESIDE if inwards else BESIDE
    beside = (x - off * uy, y + off * ux - 1.2)
    yield typeset(beside, str(reading.number), NUMBER, bold=True, anchor="middle")


def _views(width: float) -> Sequence[Sequence[Flowable]]:
    """From the side: jaws over two pegs, in two holes, and on a peg's top; each `width` wide."""
    drawn = (
        (_over_pegs(width), "1 to 6: over both pegs"),
        (_in_holes(width), "7 to 12: far rim to far rim"),
        (_on_top(width), "21 to 25: heights"),
    )
    return [
        [Picture(width, VIEW_HEIGHT, shapes), para(words, NOTE, anchor="middle")]
        for shapes, words in drawn
    ]


TABLE, RIB_TOP, PEG_TOP, BEAM = -27.0, -21.5, -15.5, -6.0  # y
PEG_WIDE, JAW, BEAM_HIGH = 5.0, 4.0, 4.0


def _table_top(width: float) -> Iterator[Shape]:
    yield Line((0.0, TABLE), (width, TABLE), OUTLINE)
    yield typeset((width, TABLE - 2.6), "table", 7.0, anchor="end")


def _over_pegs(width: float) -> Iterator[Shape]:
    yield from _table_top(width)
    left, right = 11.0, width - 11.0
    yield from _box((left, TABLE), (right, RIB_TOP), FRAME_GREY)
    for x, out in ((left, -1), (right, 1)):
        yield from _box((x - PEG_WIDE / 2, TABLE), (x + PEG_WIDE / 2, PEG_TOP), PEG_GREY)
        face = x + out * PEG_WIDE / 2
        yield from _box((face, TABLE + 0.2), (face + out * JAW, BEAM), JAW_GREY)
    yield from _box((left - 9.0, BEAM), (right + 9.0, BEAM + BEAM_HIGH), JAW_GREY)


def _in_holes(width: float) -> Iterator[Shape]:
    yield from _table_top(width)
    hole, left, right = 7.0, 7.0, width - 14.0
    ends = (4.0, left, left + hole, right, right + hole, width - 4.0)
    for start, stop in zip(ends[::2], ends[1::2], strict=True):
        yield from _box((start, TABLE), (stop, RIB_TOP), FRAME_GREY)
    for face, inwards in ((left, 1), (right + hole, -1)):
        yield from _box((face, TABLE + 1.0), (face + inwards * 2.0, BEAM), JAW_GREY)
    yield from _box((left, BEAM), (right + hole, BEAM + BEAM_HIGH), JAW_GREY)


def _on_top(width: float) -> Iterator[Shape]:
    x, low, high = width / 2 - 8.0, TABLE + 5.0, PEG_TOP + 5.0
    yield from _box((x, low), (width - 4.0, low + RIB_TOP - TABLE), FRAME_GREY)
    yield from _box((x - PEG_WIDE / 2, low), (x + PEG_WIDE / 2, high), PEG_GREY)
    beam = x - PEG_WIDE / 2 - 9.0
    for inner, outer in ((low, low - JAW), (high, high + JAW)):
        yield from _box((beam, inner), (x + PEG_WIDE / 2, outer), JAW_GREY)
    yield from _box((beam - 4.0, low - JAW - 0.5), (beam, high + JAW + 2.0), JAW_GREY)


def _slots_from_the_end(gauge: Gauge, width: float) -> Picture:
    """The slots seen along them, with their numbers, and the toothed bar in one of them."""
    ladder = gauge.ladder
    scale = width / ladder.size[0]
    outline = [(0.0, 0.0), (0.0, ladder.size[2])]
    for profile in ladder.slots:
        left, right, *_ = profile
        mouth = ((left[0], ladder.size[2]), (right[0], ladder.size[2]))
        outline += [mouth[0], *reversed(profile[2:]), mouth[1]]
    outline += [(ladder.size[0], ladder.size[2]), (ladder.size[0], 0.0)]
    points = tuple((scale * x, scale * (z - ladder.size[2])) for x, z in outline)
    bar = tuple((scale * x, scale * (z - ladder.size[2])) for x, z in ladder.bar)
    shapes: list[Shape] = []
    for corners, fill in ((points, FRAME_GREY), (bar, PEG_GREY)):
        shapes += [Area(corners, fill), *polyline(corners, OUTLINE, closed=True)]
    foot = -scale * ladder.size[2] - 3.0
    for clearance, profile in zip(ladder.clearances, ladder.slots, strict=True):
        sides = [scale * x for x, _ in profile]
        middle = (min(sides) + max(sides)) / 2
        shapes.append(typeset((middle, foot), f"{clearance:.2f}", NOTE, anchor="middle"))
    return Picture(width, -foot + 1.0, shapes)


def _box(one: Point, other: Point, fill: Colour) -> Iterator[Shape]:
    (x0, x1), (y0, y1) = sorted((one[0], other[0])), sorted((one[1], other[1]))
    yield Area(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), fill)
    yield from box((x0, y0), (x1, y1), THIN)

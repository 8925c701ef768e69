"""The gauge's sheet: how to print it, where to measure, and room for every reading."""

import math
from collections.abc import Iterable, Iterator

import numpy as np
from reportlab.platypus.flowables import Flowable

from jiggen import __version__
from jiggen.design.fit_ladder import CLEARANCES
from jiggen.design.gauge import Gauge, Reading, Readings, readings_of
from jiggen.design.lettering import Ring
from jiggen.draw.figures import polyline
from jiggen.draw.shapes import BLACK, WHITE, Area, Circle, Colour, Line, Pen, Point, Shape, grey
from jiggen.outcome import Verification
from jiggen.report.sheet import kit
from jiggen.report.sheet.document import frame_size, write_document
from jiggen.report.sheet.drawing import View

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
TABLE, RIB_TOP, PEG_TOP, BEAM = -27.0, -21.5, -15.5, -6.0  # y in them
PEG_HALF, JAW, BEAM_TOP = 2.5, 4.0, -2.0


def gauge_sheet(
    gauge: Gauge, verification: Verification, mark: str = "", jig_mark: str = ""
) -> bytes:
    """The sheet of a gauge as PDF, by its `verification`: equal bytes for equal gauges.

    `mark` is that of its record, `jig_mark` is engraved on its frame.
    """
    width, _ = frame_size("A4")
    readings = readings_of(gauge)
    pictures = _pictures(gauge, readings, width)
    story = [
        *_head(verification, jig_mark, width),
        kit.checklist("Print", kit.steps(PRINT), width),
        kit.section("Where the readings are taken", [[pictures]], (width,)),
        kit.checklist("Measure", kit.steps(MEASURE), width),
        _table(readings, width),
        _fits(gauge, width),
        kit.checklist("Then", kit.steps(THEN), width),
    ]
    about = f"gauge {gauge.span[0]:g} x {gauge.span[1]:g} mm, jig mark {jig_mark}"
    return write_document(story, "A4", "Gauge: measure the printer", about, __version__, mark)


def _head(verification: Verification, jig_mark: str, width: float) -> list[Flowable]:
    own = kit.column(width, 3)
    names = ("Printer, nozzle", "Material, layers", "Date, measured by")
    verified = (
        f"Files of the gauge verified: {verification.checks} checks; each hole and peg is within "
        f"{kit.thousandths(verification.deviation)} mm of its place. No print was measured."
    )
    return [
        kit.para("Gauge sheet", dim=kit.DIM),
        kit.beside(
            (width - own, kit.para("What does your printer do?", 20.0, bold=True)),
            (own, kit.field("Jig mark, engraved", jig_mark, own)),
        ),
        kit.gap(1.0),
        kit.para(WHY),
        kit.gap(1.5),
        kit.columns(width, *(kit.blank(name, own) for name in names)),
        kit.gap(1.0),
        kit.para(verified, kit.SMALL, dim=kit.DIM),
    ]


def _pictures(gauge: Gauge, readings: Readings, width: float) -> list[Flowable]:
    """Two plans with the distances of pegs and of holes, over three views from the side."""
    own, third = kit.column(width, 2), kit.column(width, 3)
    plans = []
    for kind in ("peg", "hole"):
        some = (reading for reading in readings.distances if reading.of[0].kind == kind)
        plans.append(_plan_with_readings(gauge, some, own))
    cells: list[kit.Cell] = []
    for words, boxes in _views(third).items():
        shapes = [
            shape for one, other, fill in boxes for shape in kit.filled(one, other, fill, THIN)
        ]
        if "heights" not in words:
            shapes.append(Line((0.0, TABLE), (third, TABLE), OUTLINE))
            shapes.append(kit.typeset((third, TABLE - 2.6), "table", 7.0, anchor="end"))
        picture = kit.Picture(third, VIEW_HEIGHT, shapes)
        cells.append([picture, kit.para(words, NOTE, anchor="middle")])
    return [kit.columns(width, *plans), kit.gap(2.0), kit.columns(width, *cells), kit.gap(1.0)]


def _table(readings: Readings, width: float) -> Flowable:
    """A row per reading, in two columns, with a line to write on."""
    own = kit.column(width, 2)
    pairs = {item.number: item.of for item in readings.distances}
    names = {number: f"{one.id} to {other.id}" for number, (one, other) in pairs.items()}
    for item in readings.diameters:
        names[item.number] = f"{item.of[0].kind} {item.of[0].id}, across"
    for item in readings.heights:
        names[item.number] = f"peg {item.of[0].id}, height" if item.of else "frame, height"
    halves = []
    for items in (readings.distances, (*readings.diameters, *readings.heights)):
        rows = []
        for item in items:
            words = (str(item.number), names[item.number], f"{item.asked:.2f}", "")
            rows.append([kit.para(word) for word in words])
        widths = [share * own for share in SHARES]
        halves.append(kit.section((), rows, widths, names=NAMES, ruled=True, above=1.2, below=1.0))
    note = [kit.gap(1.0), kit.para(GROSS_ERROR, kit.SMALL, dim=kit.DIM)]
    cells = [[kit.columns(width, *halves)], [note]]
    return kit.section("Readings, mm", cells, (width,))


def _fits(gauge: Gauge, width: float) -> Flowable:
    own = kit.column(width, 2)
    slots = [kit.para(SLIDE), kit.gap(1.5), _slots_from_the_end(gauge, own), kit.gap(1.5)]
    cells = [[*slots, *kit.blank("Best slot (slide)", own)], []]
    if gauge.bush:
        words = kit.para(BUSH.format(outside=gauge.bush.outside))
        cells = [[words, kit.gap(1.5), *kit.blank("Best pocket (bush_fit)", own)], cells[0]]
    return kit.section("Fits", [[kit.columns(width, *cells)]], (width,))


def _plan_with_readings(gauge: Gauge, readings: Iterable[Reading], width: float) -> kit.Picture:
    """The gauge from above, with a line and a number for each reading."""
    view, height, middle = plan_view(gauge, width)
    shapes = [*draw_frame(gauge, view)]
    for reading in readings:
        shapes += draw_reading(reading, view, middle)
    return kit.Picture(width, height, shapes)


def plan_view(gauge: Gauge, width: float) -> tuple[View, float, Point]:
    """The bed's frame on a picture `width` mm wide; how high it is, and the gauge's middle."""
    spans = [max(peg.x for peg in gauge.pegs), max(peg.y for peg in gauge.pegs)]
    across, up = (far + gauge.pegs[0].diameter / 2 for far in spans)
    scale = PLAN_SHARE * width / across
    view = View(scale, (width - scale * across) / 2, -scale * (up + BORDER))
    return view, scale * (up + 2 * BORDER), (across / 2, up / 2)


def draw_frame(gauge: Gauge, view: View) -> Iterator[Shape]:
    """The gauge's frame from above."""
    outer, inner = gauge.outline.outer, gauge.outline.inner
    yield Area(_ring(outer, view), FRAME_GREY)
    yield from (Area(_ring(ring, view), WHITE) for ring in inner)
    for ring in (outer, *inner):
        yield from polyline(_ring(ring, view), OUTLINE, closed=True)
    turn = np.linspace(0.0, 2 * np.pi, CORNERS, endpoint=False)
    around = np.column_stack([np.cos(turn), np.sin(turn)]) / 2
    for peg in gauge.pegs:
        yield Area(_ring(around * peg.diameter + (peg.x, peg.y), view), PEG_GREY)
    for guide in gauge.guides:
        pen = OUTLINE if guide.bush is None else THIN
        yield Circle(view.at(guide.x, guide.y), guide.radius * view.scale, pen)
    for region in (region for item in gauge.engravings for region in item.regions):
        yield Area(_ring(region.outer, view), BLACK)
        yield from (Area(_ring(ring, view), FRAME_GREY) for ring in region.inner)


def _ring(ring: Ring, view: View) -> tuple[Point, ...]:
    return tuple(view.at(float(x), float(y)) for x, y in ring)


def draw_reading(reading: Reading, view: View, middle: Point) -> Iterator[Shape]:
    """A line with the caliper's jaws at its ends, and its number beside it.

    The number stands off the line's middle, where lines cross, and away from the frame's.
    """
    one, other = reading.of
    far = math.hypot(other.x - one.x, other.y - one.y)
    ux, uy = (other.x - one.x) / far, (other.y - one.y) / far
    ends = []
    for end, sign in ((one, -1), (other, 1)):
        reach = sign * end.diameter / 2
        x, y = view.at(end.x + ux * reach, end.y + uy * reach)
        half = JAWS[end.kind] / 2
        yield Line((x - half * uy, y + half * ux), (x + half * uy, y - half * ux), JAW_PEN)
        ends.append((x, y))
    (x0, y0), (x1, y1) = ends
    yield Line((x0, y0), (x1, y1), READING)
    x, y = x0 + SHARE * (x1 - x0), y0 + SHARE * (y1 - y0)
    inwards = (middle[1] - one.y) * ux - (middle[0] - one.x) * uy > 0
    off = -BESIDE if inwards else BESIDE
    at = (x - off * uy, y + off * ux - 1.2)
    yield kit.typeset(at, str(reading.number), NUMBER, bold=True, anchor="middle")


def _views(width: float) -> dict[str, list[tuple[Point, Point, Colour]]]:
    """From the side: filled boxes of the table's things and the caliper, by what they show."""
    one, other = 11.0, width - 11.0  # middles of two pegs
    left, right = 7.0, width - 7.0  # far rims of two holes
    x, low, high = width / 2 - 8.0, TABLE + 5.0, PEG_TOP + 5.0  # a peg, its foot and its top
    end = x + PEG_HALF
    beam = end - 14.0
    over = [((one, TABLE), (other, RIB_TOP), FRAME_GREY)]
    for peg, out in ((one, -1), (other, 1)):
        face = peg + out * PEG_HALF
        over.append(((peg - PEG_HALF, TABLE), (peg + PEG_HALF, PEG_TOP), PEG_GREY))
        over.append(((face, TABLE + 0.2), (face + out * JAW, BEAM), JAW_GREY))
    return {
        "1 to 6: over both pegs": [
            *over,
            ((one - 9.0, BEAM), (other + 9.0, BEAM_TOP), JAW_GREY),
        ],
        "7 to 12: far rim to far rim": [
            ((4.0, TABLE), (left, RIB_TOP), FRAME_GREY),
            ((14.0, TABLE), (width - 14.0, RIB_TOP), FRAME_GREY),
            ((right, TABLE), (width - 4.0, RIB_TOP), FRAME_GREY),
            ((left, TABLE + 1.0), (left + 2.0, BEAM), JAW_GREY),
            ((right, TABLE + 1.0), (right - 2.0, BEAM), JAW_GREY),
            ((left, BEAM), (right, BEAM_TOP), JAW_GREY),
        ],
        "21 to 25: heights": [
            ((x, low), (width - 4.0, low + RIB_TOP - TABLE), FRAME_GREY),
            ((x - PEG_HALF, low), (end, high), PEG_GREY),
            ((beam, low), (end, low - JAW), JAW_GREY),
            ((beam, high), (end, high + JAW), JAW_GREY),
            ((beam - 4.0, low - JAW - 0.5), (beam, high + JAW + 2.0), JAW_GREY),
        ],
    }


def _slots_from_the_end(gauge: Gauge, width: float) -> kit.Picture:
    """The slots seen along them, with their numbers, and the toothed bar in one of them."""
    ladder = gauge.ladder
    long, _, high = ladder.size
    scale = width / long
    view = View(scale, 0.0, -scale * high)
    outline = [(0.0, 0.0), (0.0, high)]
    foot = view.middle - 3.0
    shapes: list[Shape] = []
    for clearance, profile in zip(CLEARANCES, ladder.slots, strict=True):
        left, right, *inside = profile
        outline += [(left[0], high), *reversed(inside), (right[0], high)]
        xs = [x for x, _ in profile]
        at = (scale * (min(xs) + max(xs)) / 2, foot)
        shapes.append(kit.typeset(at, f"{clearance:.2f}", NOTE, anchor="middle"))
    outline += [(long, high), (long, 0.0)]
    for ring, fill in ((outline, FRAME_GREY), (ladder.bar, PEG_GREY)):
        corners = tuple(view.at(x, z) for x, z in ring)
        shapes += [Area(corners, fill), *polyline(corners, OUTLINE, closed=True)]
    return kit.Picture(width, 1.0 - foot, shapes)

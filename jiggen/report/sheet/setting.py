"""How drill, depth stop and the halves of a jig for many boots are set, and warnings before it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from textwrap import shorten

from reportlab.platypus.flowables import Flowable

from jiggen.draw.figures import arrow, box, polyline
from jiggen.draw.fonts import POINT, plain, width_of, wrap
from jiggen.draw.shapes import Area, Colour, Line, Pen, Point, Shape, grey
from jiggen.record import JigRecord
from jiggen.record.model import BootSetting
from jiggen.record.results import DepthStop
from jiggen.report.sheet.document import Units
from jiggen.report.sheet.flowables import (
    BODY,
    DIM,
    GUTTER,
    RULE,
    SMALL,
    Picture,
    beside,
    checklist,
    gap,
    headline,
    para,
    section,
    typeset,
)
from jiggen.report.sheet.measures import full, inches, short
from jiggen.report.summary import WRONG_LINE, half_instructions
from jiggen.units import number

HOLES = 10.0  # points
NUMBER, NUMBER_IN = 28.0, 24.0  # points: read at arm's length
STOP_DIGITS = 1  # a depth stop cannot be set finer than to 0.1 mm; common practice, no source
LONGEST_KEY = 200  # characters, for the holes of a warning
RUN_LINES = 3  # at most, for the holes of a setting
CELL = 8.0  # points, in the tables of boot lengths
TABLES, TABLE_GUTTER = 2, 8.0  # beside one another, and mm between them

# The picture, mm as drawn:
WIDTH, HEIGHT = 66.0, 39.6
OUTLINE, THIN = Pen(0.25), Pen(0.1, grey(0.3))
LETTER, NOTE = 12.0, 7.0  # points
GUIDE_TOP, SKI_TOP, CORNERS, TIP, SKI_FOOT = -9.0, -22.0, -32.0, -34.6, -39.0  # y
BODY_TOP, BODY_FOOT = -10.0, -21.0
MIDDLE, DRILL, GUIDE, STOP = 33.0, 2.2, 4.6, 7.0  # x, and half widths
LEFT, RIGHT = 17.0, 49.0  # x of the ski's and the jig's ends
A, B, G_D = 10.0, 3.0, 57.0  # x of the dimensions


def stop_section(job: JigRecord, units: Units, width: float) -> Flowable:
    """How drill and depth stop are set, by one row of large numbers for each setting."""
    stops = job.drilling.stops
    beside_it = width - WIDTH - GUTTER
    angles = ", ".join(dict.fromkeys(number(stop.point_angle, 1) for stop in stops))
    legend = {
        "G": "top of the guide above the ski. The guide is the drill bush; in a jig without bushes "
        "it is the printed hole.",
        "D": "depth below the top sheet, at the drill's full diameter.",
        "A": "from the depth stop to the drill's cutting corners: A = G + D.",
        "B": f"from the depth stop to the very tip: B = A + the point ({angles}° drill).",
    }
    explained = beside(
        (WIDTH + GUTTER, _picture()),
        (
            beside_it,
            [
                *(
                    beside((5.0, para(letter, bold=True)), (beside_it - 5.0, para(words)))
                    for letter, words in legend.items()
                ),
                gap(1.5),
                para(
                    "Set the depth stop by A or by B, whichever your caliper reaches. Another "
                    "point angle changes B, never A."
                ),
            ],
        ),
    )
    heading = [*headline("Drill and depth stop", width), explained, gap(1.0)]
    rows = [[_stop(stop, job, units, width)] for stop in stops]
    return section(heading, rows, (width,))


def _stop(stop: DepthStop, job: JigRecord, units: Units, width: float) -> list[Flowable]:
    """One depth stop: its holes, then four large numbers."""
    top = _heights(stop, job, units)
    right = width_of(top, SMALL) + 0.5
    left = width - right - GUTTER
    names = "every hole" if len(job.drilling.stops) == 1 else _hole_names(stop, job, left)
    own = width / 4
    numbers = (
        ("Drill", stop.drill, 2),
        ("Depth D", stop.depth, 2),
        ("Stop A, to the corners", stop.from_corners, STOP_DIGITS),
        ("Stop B, to the tip", stop.from_tip, STOP_DIGITS),
    )
    return [
        Picture(width, 1.2, [Line((0.0, 0.0), (width, 0.0), RULE)]),
        beside(
            (left + GUTTER, para(names, HOLES, bold=True)),
            (right, para(top, SMALL, dim=DIM, anchor="end")),
        ),
        gap(0.6),
        beside(*((own, _number(*one, units, own)) for one in numbers)),
        gap(1.2),
    ]


def _heights(stop: DepthStop, job: JigRecord, units: Units) -> str:
    """The guide's height, and the base thickness that remains where the ski is known."""
    guide = f"Top of the guide above the ski: G = {full(stop.bush_top, units)}"
    holes = job.drilling.holes
    left = [h.base_left for h in holes if h.base_left is not None and h.id in stop.holes]
    if not left:
        return guide
    return f"Remaining base thickness under the point: {full(min(left), units)}. {guide}"


def _number(name: str, value: float, digits: int, units: Units, width: float) -> list[Flowable]:
    """A length large enough to be read at arm's length, its name over it."""
    lines = [(number(value, digits), "mm")]
    if units == "in":
        lines.append((inches(value), "in"))
    size = NUMBER if units == "mm" else NUMBER_IN
    shown: list[Flowable] = [para(name, SMALL, dim=DIM)]
    for figures, unit in lines:
        base = -0.93 * size * POINT
        after = width_of(figures, size, bold=True) + 1.0
        words = [
            typeset((0.0, base), figures, size, bold=True),
            typeset((after, base), unit, BODY),
        ]
        shown.append(Picture(width, 1.1 * size * POINT, words))
    return shown


def _hole_names(stop: DepthStop, job: JigRecord, width: float) -> str:
    """The stop's holes on RUN_LINES lines at most; the list of holes has them all."""
    runs = [
        plain(first) if first == last else f"{plain(first)} to {plain(last)}"
        for first, last in _runs(stop, job)
    ]
    for count in range(len(runs), 0, -1):
        words = ", ".join(runs[:count])
        if count < len(runs):
            words = f"{words} … and more: see the list of holes"
        if len(wrap(words, HOLES, width, bold=True)) <= RUN_LINES:
            break
    return words


def _runs(stop: DepthStop, job: JigRecord) -> tuple[tuple[str, str], ...]:
    """The stop's holes as runs without a gap within a group: (first, last) of each."""
    found: list[tuple[str, str]] = []
    before = None
    for hole in job.holes:
        mine = hole.id in stop.holes
        if mine and before == hole.group:
            found[-1] = (found[-1][0], hole.id)
        elif mine:
            found.append((hole.id, hole.id))
        before = hole.group if mine else None
    return tuple(found)


def warning_sections(job: JigRecord, width: float) -> Iterator[Flowable]:
    """What the drilling check warns of, if anything."""
    lines = [
        f"{shorten(plain(one.key), LONGEST_KEY, placeholder=' …')}: "
        f"{plain(one.message)}. {plain(one.hint)}"
        for one in job.drilling.warnings
    ]
    if lines:
        yield checklist(lines, headline("Warnings before drilling", width), width)


# -- boot lengths ------------------------------------------------------------------------------


def boot_sections(job: JigRecord, units: Units, width: float) -> list[Flowable]:
    """How to set the halves, and the table of boot lengths; nothing of a jig without ladders."""
    if not job.ladders:
        return []
    rows = [[para(plain(line))] for line in half_instructions(job)]
    rows.append([para(WRONG_LINE, bold=True)])
    heading = headline("Set each half by the boot", width)
    return [section(heading, rows, (width,), below=1.0), _boot_table(job, units, width)]


def _boot_table(job: JigRecord, units: Units, width: float) -> Flowable:
    """A row for each boot length, in TABLES tables beside one another."""
    own = (width - (TABLES - 1) * TABLE_GUTTER) / TABLES
    halves = [plain(ladder.half) for ladder in job.ladders]
    first = [plain(job.first_holes[ladder.part]) for ladder in job.ladders]
    widths = [0.12 * own, *([0.44 * own / len(halves)] * 2 * len(halves))]
    names = ["boot", *(f"{half} half" for half in halves), *(f"{hole} at" for hole in first)]
    settings = job.boot_settings
    deep = math.ceil(len(settings) / TABLES)
    rows = []
    for row in range(deep):
        cells = [_boot_row(settings[at], units) for at in range(row, len(settings), deep)]
        cells += [[""] * len(names)] * (TABLES - len(cells))
        rows.append([para(words, CELL) for part in cells for words in part])
    return section(
        headline("Boot lengths", width),
        rows,
        ([*widths[:-1], widths[-1] + TABLE_GUTTER] * TABLES)[:-1] + widths[-1:],
        names=names * TABLES,
        ruled=True,
        above=0.6,
        below=0.5,
        right=2.0,
    )


def _boot_row(setting: BootSetting, units: Units) -> list[str]:
    return [
        number(setting.boot),
        *(plain(str(reading)) for reading in setting.readings.values()),
        *(short(abs(x), units, 1) for x in setting.first_holes.values()),
    ]


# -- the picture --------------------------------------------------------------------------------


def _picture() -> Picture:
    """A section through jig and ski that says what A, B, D and G are; not to scale."""
    return Picture(WIDTH, HEIGHT, _section())


def _section() -> Iterator[Shape]:
    for side in (-1, 1):
        inner, outer = MIDDLE + side * DRILL, MIDDLE + side * GUIDE
        end = LEFT if side < 0 else RIGHT
        yield from _filled((inner, BODY_FOOT), (outer, GUIDE_TOP), grey(0.78))
        yield from _outline((outer, BODY_FOOT), (end, BODY_TOP))
        yield from _filled((inner, GUIDE_TOP), (MIDDLE + side * STOP, -3.0), grey(0.45))
    hole = [(MIDDLE - DRILL, SKI_TOP), (MIDDLE - DRILL, CORNERS), (MIDDLE, TIP)]
    hole += [(2 * MIDDLE - x, y) for x, y in reversed(hole[:2])]
    yield from polyline([(LEFT, SKI_TOP), *hole, (RIGHT, SKI_TOP)], OUTLINE)
    ski = [(LEFT, SKI_TOP), (LEFT, SKI_FOOT), (RIGHT, SKI_FOOT), (RIGHT, SKI_TOP)]
    yield from polyline(ski, OUTLINE)
    for x in (MIDDLE - DRILL, MIDDLE + DRILL):
        yield Line((x, 0.0), (x, SKI_TOP), OUTLINE)
    yield from _dimension(A, (GUIDE_TOP, CORNERS), "A", (MIDDLE - STOP, MIDDLE - DRILL))
    yield from _dimension(B, (GUIDE_TOP, TIP), "B", (MIDDLE - STOP, MIDDLE))
    yield from _dimension(G_D, (GUIDE_TOP, SKI_TOP), "G", (MIDDLE + GUIDE, RIGHT))
    yield from _dimension(G_D, (SKI_TOP, CORNERS), "D", (RIGHT, MIDDLE + DRILL))
    yield typeset((MIDDLE + STOP + 1.5, -6.8), "depth stop", NOTE)
    yield typeset((MIDDLE + GUIDE + 2.0, -16.5), "jig", NOTE)
    yield typeset((MIDDLE + GUIDE + 2.0, -37.0), "ski", NOTE)


def _dimension(
    x: float, span: tuple[float, float], letter: str, starts: tuple[float, float]
) -> Iterator[Shape]:
    """An upright dimension at `x`, with a thin line from where each end of `span` is meant."""
    for y, start in zip(span, starts, strict=True):
        beyond = x + (1.0 if x > start else -1.0)
        yield Line((start, y), (beyond, y), THIN)
    middle = sum(span) / 2
    for end in span:
        yield from arrow((x, middle), (x, end), Pen(0.15), 1.6)
    yield typeset((x + 1.2, middle - 1.5), letter, LETTER, bold=True)


def _filled(one: Point, other: Point, fill: Colour) -> Iterator[Shape]:
    (x0, y0), (x1, y1) = one, other
    yield Area(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), fill)
    yield from _outline(one, other)


def _outline(one: Point, other: Point) -> list[Line]:
    low = min(one[0], other[0]), min(one[1], other[1])
    high = max(one[0], other[0]), max(one[1], other[1])
    return box(low, high, OUTLINE)

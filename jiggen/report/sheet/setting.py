"""How drill, depth stop and the halves of a jig for many boots are set, and warnings before it."""

import math
from collections.abc import Iterator
from itertools import groupby
from textwrap import shorten

from reportlab.platypus.flowables import Flowable

from jiggen.draw.figures import arrow, polyline
from jiggen.draw.fonts import POINT, plain, width_of, wrap
from jiggen.draw.shapes import WHITE, Line, Pen, Shape, grey
from jiggen.record import JigRecord
from jiggen.record.results import DepthStop, DrilledHole
from jiggen.report.depth import depth_words
from jiggen.report.sheet import kit
from jiggen.report.sheet.strip import strip
from jiggen.report.summary import WRONG_LINE, half_instructions, room_words
from jiggen.units import number

HOLES = 10.0  # points
NUMBER, NUMBER_IN = 28.0, 24.0  # points: read at arm's length
STOP_DIGITS = 1  # a depth stop cannot be set finer than to 0.1 mm; common practice, no source
LONGEST_KEY = 200  # characters, for the holes of a warning
RUN_LINES = 3  # at most, for the holes of a setting
CELL = 6.4  # points, in the tables of boot lengths
TABLES, TABLE_GUTTER = 2, 8.0  # beside one another, and mm between them
BOOT_WIDE, PLACE_WIDE, RIGHT_FREE = 7.0, 8.5, 0.8  # mm, columns and what stays free in each

STRIPS = (
    "Each picture shows a half's tongue from above, tip to the right, its left edge on top: the "
    "wide line is the ski's mark, and the boot's length stands at the edge to read. Number and "
    "lines beside the mark must look so on the other edge, too."
)
SET_BY = (
    "Set the depth stop by A or by B, whichever your caliper reaches. Another point angle changes "
    "B, never A."
)

# The picture, mm as drawn:
WIDTH, HEIGHT = 66.0, 39.6
OUTLINE, THIN = Pen(0.25), Pen(0.1, grey(0.3))
LETTER, NOTE = 12.0, 7.0  # points
GUIDE_TOP, SKI_TOP, CORNERS, TIP, SKI_FOOT = -9.0, -22.0, -32.0, -34.6, -39.0  # y
BODY_TOP, BODY_FOOT = -10.0, -21.0
MIDDLE, DRILL, GUIDE, STOP = 33.0, 2.2, 4.6, 7.0  # x, and half widths
LEFT, RIGHT = 17.0, 49.0  # x of the ski's and the jig's ends
A, B, G_D = 10.0, 3.0, 57.0  # x of the dimensions


def stop_section(job: JigRecord, units: kit.Units, width: float) -> Flowable:
    """How drill and depth stop are set, by one row of large numbers for each setting."""
    stops = job.drilling.stops
    beside_it = width - WIDTH - kit.GUTTER
    angles = ", ".join(dict.fromkeys(number(stop.point_angle, 1) for stop in stops))
    legend = {
        "G": "top of the guide above the ski. The guide is the drill bush; in a jig without bushes "
        "it is the printed hole.",
        "D": "depth below the top sheet, at the drill's full diameter.",
        "A": "from the depth stop to the drill's cutting corners: A = G + D.",
        "B": f"from the depth stop to the very tip: B = A + the point ({angles}° drill).",
    }
    words = [
        kit.beside((5.0, kit.para(letter, bold=True)), (beside_it - 5.0, kit.para(meaning)))
        for letter, meaning in legend.items()
    ]
    words += [kit.gap(1.5), kit.para(SET_BY)]
    picture = kit.Picture(WIDTH, HEIGHT, _picture())
    explained = kit.beside((WIDTH + kit.GUTTER, picture), (beside_it, words))
    heading = [*kit.headline("Drill and depth stop", width), explained, kit.gap(1.0)]
    return kit.section(heading, [[_stop(stop, job, units, width)] for stop in stops], (width,))


def _stop(stop: DepthStop, job: JigRecord, units: kit.Units, width: float) -> list[Flowable]:
    """One depth stop: its holes, the base left under them where known, four large numbers."""
    top = f"Top of the guide above the ski: G = {kit.full(stop.bush_top, units)}"
    holes = [hole for hole in job.drilling.holes if hole.id in stop.holes]
    if base := [hole.base_left for hole in holes if hole.base_left is not None]:
        top = f"Remaining base thickness under the point: {kit.full(min(base), units)}. {top}"
    room = room_words(job, stop, lambda mm: kit.full(mm, units))
    right = width_of(top, kit.SMALL) + 0.5
    left = width - right - kit.GUTTER
    names = "every hole" if len(job.drilling.stops) == 1 else _hole_names(stop, job, left)
    numbers = (
        _number("Drill", stop.drill, 2, units),
        _number("Depth D", stop.depth, 2, units),
        _number("Stop A, to the corners", stop.from_corners, STOP_DIGITS, units),
        _number("Stop B, to the tip", stop.from_tip, STOP_DIGITS, units),
    )
    return [
        kit.rule(width, 0.0, 1.2),
        kit.beside(
            (width - right, kit.para(names, HOLES, bold=True)),
            (right, kit.para(top, kit.SMALL, dim=kit.DIM, anchor="end")),
        ),
        kit.gap(0.6),
        kit.beside(*((width / 4, shown) for shown in numbers)),
        kit.gap(0.6),
        kit.para(f"{plain(room[0].upper() + room[1:])}."),
        *_depth(job, holes, units),
        kit.gap(1.2),
    ]


def _depth(job: JigRecord, holes: list[DrilledHole], units: kit.Units) -> list[Flowable]:
    """How far off the depth may come out, and that it is taken off the base left."""
    ids = [hole.id for hole in holes]
    words = depth_words(job.accuracy.depth, lambda mm: kit.full(mm, units), ids)
    if words and any(hole.base_left is not None for hole in holes):
        words += ". The base above allows for the first"
    return [kit.para(f"Depth: {words}.")] if words else []


def _number(name: str, value: float, digits: int, units: kit.Units) -> list[Flowable]:
    """A length large enough to be read at arm's length, its name over it."""
    size = NUMBER if units == "mm" else NUMBER_IN
    base = -0.93 * size * POINT
    shown: list[Flowable] = [kit.para(name, kit.SMALL, dim=kit.DIM)]
    lines = {"mm": number(value, digits), "in": kit.inches(value)}
    for unit in ("mm",) if units == "mm" else ("mm", "in"):
        after = width_of(lines[unit], size, bold=True) + 1.0
        words = [
            kit.typeset((0.0, base), lines[unit], size, bold=True),
            kit.typeset((after, base), unit, kit.BODY),
        ]
        shown.append(kit.Picture(after, 1.1 * size * POINT, words))
    return shown


def _hole_names(stop: DepthStop, job: JigRecord, width: float) -> str:
    """The stop's holes on RUN_LINES lines at most; the list of holes has them all.

    Those that follow one another within a group are named by the first and the last.
    """
    runs = []
    for (mine, _), run in groupby(job.holes, lambda hole: (hole.id in stop.holes, hole.group)):
        if mine:
            first, *others = (plain(hole.id) for hole in run)
            runs.append(" to ".join([first, *others[-1:]]))
    for count in range(len(runs), 0, -1):
        words = ", ".join(runs[:count])
        if count < len(runs):
            words = f"{words} … and more: see the list of holes"
        if len(wrap(words, HOLES, width, bold=True)) <= RUN_LINES:
            break
    return words


def warning_sections(job: JigRecord, width: float) -> Iterator[Flowable]:
    """What the drilling check warns of, if anything."""
    lines = [
        f"{shorten(plain(one.key), LONGEST_KEY, placeholder=' …')}: "
        f"{plain(one.message)}. {plain(one.hint)}"
        for one in job.drilling.warnings
    ]
    if lines:
        yield kit.checklist("Warnings before drilling", lines, width)


def boot_sections(job: JigRecord, units: kit.Units, width: float) -> Iterator[Flowable]:
    """How to set the halves, and the table of boot lengths; nothing of a jig without ladders.

    A row for each boot length, in TABLES tables beside one another.
    """
    if not job.ladders:
        return
    lines = [[kit.para(plain(line))] for line in half_instructions(job)]
    lines.append([kit.para(WRONG_LINE, bold=True)])
    lines.append([kit.para(STRIPS)])
    yield kit.section("Set each half by the boot", lines, (width,), below=1.0)

    own = (width - (TABLES - 1) * TABLE_GUTTER) / TABLES
    names = ["boot", *(f"{plain(ladder.half)} half" for ladder in job.ladders)]
    names += [f"{plain(job.first_holes[ladder.part])} at" for ladder in job.ladders]
    count = len(job.ladders)
    wide = (own - BOOT_WIDE - count * PLACE_WIDE) / count
    widths = [BOOT_WIDE, *[wide] * count, *[PLACE_WIDE] * count]
    settings = []
    for setting in job.boot_settings:
        pictures = [
            strip(ladder.boot_lines, setting.boot, wide - RIGHT_FREE) for ladder in job.ladders
        ]
        words = [
            number(setting.boot),
            *(plain(str(reading)) for reading in setting.readings.values()),
            *(kit.short(abs(x), units, 1) for x in setting.first_holes.values()),
        ]
        settings.append([[kit.para(word, CELL) for word in words], ["", *pictures, *[""] * count]])
    deep = math.ceil(len(settings) / TABLES)
    settings += [[[""] * len(names)] * 2] * (deep * TABLES - len(settings))
    rows = (
        [cell for boot in settings[n::deep] for cell in boot[part]]
        for n in range(deep)
        for part in range(2)
    )
    yield kit.section(
        "Boot lengths",
        list(rows),
        ([*widths[:-1], widths[-1] + TABLE_GUTTER] * TABLES)[:-1] + widths[-1:],
        names=names * TABLES,
        together=2,
        above=0.2,
        below=0.4,
        right=RIGHT_FREE,
    )


def _picture() -> Iterator[Shape]:
    """A section through jig and ski that says what A, B, D and G are; not to scale."""
    for side, end in ((-1, LEFT), (1, RIGHT)):
        inner, outer = MIDDLE + side * DRILL, MIDDLE + side * GUIDE
        yield from kit.filled((inner, BODY_FOOT), (outer, GUIDE_TOP), grey(0.78), OUTLINE)
        yield from kit.filled((outer, BODY_FOOT), (end, BODY_TOP), WHITE, OUTLINE)
        top = (MIDDLE + side * STOP, -3.0)
        yield from kit.filled((inner, GUIDE_TOP), top, grey(0.45), OUTLINE)
        yield Line((inner, 0.0), (inner, SKI_TOP), OUTLINE)
    hole = [(MIDDLE - DRILL, SKI_TOP), (MIDDLE - DRILL, CORNERS), (MIDDLE, TIP)]
    hole += [(2 * MIDDLE - x, y) for x, y in reversed(hole[:2])]
    foot = [(RIGHT, SKI_TOP), (RIGHT, SKI_FOOT), (LEFT, SKI_FOOT), (LEFT, SKI_TOP)]
    yield from polyline([(LEFT, SKI_TOP), *hole, *foot], OUTLINE)
    yield from _dimension(A, (GUIDE_TOP, CORNERS), "A", (MIDDLE - STOP, MIDDLE - DRILL))
    yield from _dimension(B, (GUIDE_TOP, TIP), "B", (MIDDLE - STOP, MIDDLE))
    yield from _dimension(G_D, (GUIDE_TOP, SKI_TOP), "G", (MIDDLE + GUIDE, RIGHT))
    yield from _dimension(G_D, (SKI_TOP, CORNERS), "D", (RIGHT, MIDDLE + DRILL))
    yield kit.typeset((MIDDLE + STOP + 1.5, -6.8), "depth stop", NOTE)
    yield kit.typeset((MIDDLE + GUIDE + 2.0, -16.5), "jig", NOTE)
    yield kit.typeset((MIDDLE + GUIDE + 2.0, -37.0), "ski", NOTE)


def _dimension(
    x: float, span: tuple[float, float], letter: str, starts: tuple[float, float]
) -> Iterator[Shape]:
    """An upright dimension at `x`, with a thin line from where each end of `span` is meant."""
    middle = sum(span) / 2
    for y, start in zip(span, starts, strict=True):
        beyond = x + (1.0 if x > start else -1.0)
        yield Line((start, y), (beyond, y), THIN)
        yield from arrow((x, middle), (x, y), Pen(0.15), 1.6)
    yield kit.typeset((x + 1.2, middle - 1.5), letter, LETTER, bold=True)

"""The gauge's sheet: how to print it, where to measure, and room for every reading."""

from __future__ import annotations

import math

from jiggen import __version__
from jiggen.design.gauge import Gauge
from jiggen.design.gauge_readings import Readings, readings_of
from jiggen.record.results import Verification
from jiggen.report.sheet.block import Block, Section, beside, flow, paragraph, space, stack
from jiggen.report.sheet.feet import add_feet, frame_of
from jiggen.report.sheet.forms import (
    BODY,
    GUTTER,
    SMALL,
    blank,
    head_line,
    table_row,
    ticked,
)
from jiggen.report.sheet.gauge_picture import plan_with_readings, slots_from_the_end, views
from jiggen.report.sheet.page import Page, page_size
from jiggen.report.sheet.pdf import written
from jiggen.report.sheet.words import say

PRINT = ("lie", "plain", "same", "cool")
HOW = ("zero", "pegs", "holes", "diameters", "heights", "twice")
THEN = ("file", "fit", "build", "again")
PLAN_SHARE = 0.88  # of a column that the drawing from above is wide
SHARES = (0.10, 0.32, 0.18, 0.40)  # of a column: number, what, about, read


def gauge_sheet(gauge: Gauge, verification: Verification) -> bytes:
    """The sheet of a gauge as PDF, by its `verification`: equal bytes for equal gauges."""
    return written(gauge_pages(gauge, verification), say("gauge.title"))


def gauge_pages(gauge: Gauge, verification: Verification) -> list[Page]:
    """Its pages, before they are written."""
    size = page_size("A4")
    frame = frame_of(size)
    readings = readings_of(gauge)
    sections = [
        Section(space(0.0), (_head(verification, frame.width),)),
        _steps("print", PRINT, frame.width),
        Section(
            head_line(say("gauge.where.heading"), frame.width),
            (_pictures(gauge, readings, frame.width),),
        ),
        _steps("how", HOW, frame.width),
        _table(readings, frame.width),
        _fits(gauge, frame.width),
        _steps("then", THEN, frame.width),
    ]
    pages = flow(sections, frame, size)
    about = say("gauge.about", x=f"{gauge.span[0]:g}", y=f"{gauge.span[1]:g}")
    add_feet(pages, about, __version__)
    return pages


def _head(verification: Verification, width: float) -> Block:
    column = (width - 2 * GUTTER) / 3
    names = (say(f"gauge.{name}") for name in ("printer", "material", "by"))
    blanks = ((i * (column + GUTTER), blank(name, column)) for i, name in enumerate(names))
    worst = verification.deviation
    deviation = f"{max(math.ceil(1000 * worst), 1) / 1000:.3f}"
    verified = say("gauge.verification", checks=verification.checks, deviation=deviation)
    return stack(
        [
            paragraph(say("gauge.kind"), BODY, width, grey=0.3),
            paragraph(say("gauge.name"), 20.0, width, bold=True),
            space(1.0),
            paragraph(say("gauge.why"), BODY, width),
            space(1.5),
            beside(blanks),
            space(1.0),
            paragraph(verified, SMALL, width, grey=0.3),
        ]
    )


def _steps(name: str, keys: tuple[str, ...], width: float) -> Section:
    lines = [f"{n}. {say(f'gauge.{name}.{key}')}" for n, key in enumerate(keys, start=1)]
    heading = head_line(say(f"gauge.{name}.heading"), width)
    return Section(heading, tuple(ticked(lines, width, BODY)))


def _pictures(gauge: Gauge, readings: Readings, width: float) -> Block:
    column = (width - GUTTER) / 2
    wide = PLAN_SHARE * column
    pegs = [reading for reading in readings.distances if reading.between[0].kind == "peg"]
    holes = [reading for reading in readings.distances if reading.between[0].kind == "hole"]
    plans = (plan_with_readings(gauge, some, wide) for some in (pegs, holes))
    inset = (column - wide) / 2
    third = (width - 2 * GUTTER) / 3
    return stack(
        [
            beside((inset + i * (column + GUTTER), plan) for i, plan in enumerate(plans)),
            space(2.0),
            beside((i * (third + GUTTER), view) for i, view in enumerate(views(third))),
            space(1.0),
        ]
    )


def _table(readings: Readings, width: float) -> Section:
    """A row a reading, in two columns, with a line to write on."""
    column = (width - GUTTER) / 2
    left = [
        (
            item.number,
            say("gauge.readings.distance", one=item.between[0].id, other=item.between[1].id),
            item.asked,
        )
        for item in readings.distances
    ]
    right = [
        (item.number, say(f"gauge.readings.{item.of.kind}", name=item.of.id), item.asked)
        for item in readings.diameters
    ]
    right += [
        (
            item.number,
            say("gauge.readings.top" if item.of else "gauge.readings.frame", name=item.of),
            item.asked,
        )
        for item in readings.heights
    ]
    rows = beside(
        (
            i * (column + GUTTER),
            stack([_titles(column), *(_line(*row, column) for row in rows)]),
        )
        for i, rows in enumerate((left, right))
    )
    slip = paragraph(say("gauge.readings.slip"), SMALL, width, grey=0.3)
    heading = head_line(say("gauge.readings.heading"), width)
    return Section(heading, (rows, stack([space(1.0), slip])))


def _titles(width: float) -> Block:
    names = [say(f"gauge.readings.{name}") for name in ("number", "what", "about", "read")]
    return table_row(names, [share * width for share in SHARES], SMALL, width, grey=0.3)


def _line(number: int, what: str, about: float, width: float) -> Block:
    values = [str(number), what, f"{about:.2f}"]
    return table_row(values, [share * width for share in SHARES[:3]], BODY, width)


def _fits(gauge: Gauge, width: float) -> Section:
    column = (width - GUTTER) / 2
    slide = stack(
        [
            paragraph(say("gauge.fits.slide"), BODY, column),
            space(1.5),
            slots_from_the_end(gauge, column),
            space(1.5),
            blank(say("gauge.fits.slot"), column),
        ]
    )
    columns = [slide]
    if gauge.bush:
        how = say("gauge.fits.bush", outside=f"{gauge.bush.outside:g}")
        answer = blank(say("gauge.fits.pocket"), column)
        columns.insert(0, stack([paragraph(how, BODY, column), space(1.5), answer]))
    both = beside((i * (column + GUTTER), block) for i, block in enumerate(columns))
    return Section(head_line(say("gauge.fits.heading"), width), (both,))

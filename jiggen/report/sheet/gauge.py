"""The gauge's sheet: how to print it, where to measure, and room for every reading."""

from __future__ import annotations

import math
from collections.abc import Sequence

from reportlab.platypus.flowables import Flowable

from jiggen import __version__
from jiggen.design.gauge import Gauge, Readings, readings_of
from jiggen.record.results import Verification
from jiggen.report.sheet.document import frame_size, write_document
from jiggen.report.sheet.flowables import (
    DIM,
    GUTTER,
    SMALL,
    blank,
    checklist,
    column,
    columns,
    gap,
    headline,
    para,
    section,
    table,
)
from jiggen.report.sheet.gauge_picture import plan_with_readings, slots_from_the_end, views

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
    pegs = [reading for reading in readings.distances if reading.between[0].kind == "peg"]
    holes = [reading for reading in readings.distances if reading.between[0].kind == "hole"]
    plans = [plan_with_readings(gauge, some, wide) for some in (pegs, holes)]
    cells = [[[], plans[0], [], plans[1]]]
    return [
        table(cells, (inset, wide, 2 * inset + GUTTER, wide + inset)),
        gap(2.0),
        columns(width, views(column(width, 3))),
        gap(1.0),
    ]


def _table(readings: Readings, width: float) -> Flowable:
    """A row per reading, in two columns, with a line to write on."""
    own = column(width, 2)
    left = [
        (item.number, f"{item.between[0].id} to {item.between[1].id}", item.asked)
        for item in readings.distances
    ]
    right = [
        (item.number, f"{item.of.kind} {item.of.id}, across", item.asked)
        for item in readings.diameters
    ]
    right += [
        (item.number, f"peg {item.of}, height" if item.of else "frame, height", item.asked)
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
            slots_from_the_end(gauge, own),
            gap(1.5),
            *blank("Best slot (slide)", own),
        ]
    ]
    if gauge.bush:
        words = BUSH.format(outside=gauge.bush.outside)
        cells.insert(0, [para(words), gap(1.5), *blank("Best pocket (bush_fit)", own)])
    both = columns(width, cells, 2)
    return section(headline("Fits", width), [[both]], (width,))

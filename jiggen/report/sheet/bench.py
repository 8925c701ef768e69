"""The pages to work from: job, depth stops, layout, lists, steps, holes to tick, plastic."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence

from reportlab.platypus.flowables import Flowable

from jiggen.draw.figures import box
from jiggen.draw.fonts import fit, plain
from jiggen.record import JigRecord
from jiggen.record.results import Plastic
from jiggen.report.sheet.document import Units
from jiggen.report.sheet.drawing import layout_drawing
from jiggen.report.sheet.flowables import (
    BOX,
    DIM,
    GUTTER,
    SMALL,
    TICK,
    Cell,
    Picture,
    beside,
    blank,
    checklist,
    column,
    columns,
    field,
    gap,
    headline,
    para,
    section,
)
from jiggen.report.sheet.measures import (
    boot_lengths,
    full,
    short,
    ski_widths,
    which_skis,
)
from jiggen.report.sheet.setting import (
    STOP_DIGITS,
    boot_sections,
    stop_section,
    warning_sections,
)
from jiggen.report.summary import MOUNT_SHIFT, mass_note, mass_rows
from jiggen.units import number

PLASTIC_SHARES = (0.22, 0.10, 0.16, 0.12, 0.14, 0.26)  # of the width, per column
PLASTIC_NAMES = ("part", "pieces", "volume of each", "solid", "as advised", "print it")
CORES = {"plain": "plain", "metal": "metal sheet under the top"}

SCALE = (
    "Check the printed scale: both 100 mm bars on each 1:1 page with a rule, and the engraved "
    "100.0 scale on each body with the caliper."
)
ASSEMBLE = (
    "Assemble the jig from what is listed above. The two rails of a station must stand out "
    "equally far."
)
OVER_PLATE = (
    "Dry fit: lay the 1:1 holes over the plate or binding: every hole lies in the middle of the "
    "plate's own."
)
TICKET = "Compare boot sole, mount shift, core and ski with the ticket."
READINGS = (
    "Read the scales of all four rails at the body's side edge: left and right must agree, see "
    "below."
)
DRILL = (
    "Clamp the jig down at the diamonds.",
    "Set the depth stop by A or B above. Drill the scrap board through the jig, and measure the "
    "depth.",
    "Drill every hole perpendicular to the ski until the depth stop rests on the guide. Clear the "
    "chips often. Tick the hole in the list. Where the setting changes, set the depth stop anew.",
)
FINISH = (
    "Take the jig off, brush the holes clean, and lay the plate on without force: every hole must "
    "meet.",
    "Tap, glue and tighten the screws as the maker's instructions say.",
    "Release set, and function test by a trained technician.",
)
STEPS = (
    SCALE,
    ASSEMBLE,
    "Lay the 1:1 holes over the finished jig, mark on mark: every hole lies in the middle of its "
    "guide.",
    OVER_PLATE,
    TICKET,
    "Fix the ski. Find its mounting mark, and mark it so that it can be seen through the jig's "
    "windows.",
    "Lay the jig on the ski, arrow to the tip. Turn the knobs until all four rails touch.",
    "Slide it until its line lies on the mounting mark in both windows, seen straight down. "
    "Tighten both lock screws. Look again.",
    READINGS,
    *DRILL,
    *FINISH,
)
LADDER_STEPS = (
    SCALE,
    ASSEMBLE,
    "Lay the 1:1 holes over each half, mark on the line of the boot they are drawn for: every hole "
    "lies in the middle of its guide.",
    OVER_PLATE,
    TICKET,
    "Fix the ski. Find its mounting mark, and mark it so that it can be seen on either side of a "
    "half's tongue.",
    MOUNT_SHIFT,
    "Take one half. Lay it on the ski, arrow to the tip, its tongue over the mark. Turn both knobs "
    "until all four rails touch.",
    "Slide it until the line of your boot length lies on the mark, seen straight down at the "
    "tongue's edge. Tighten both lock screws. Look again, and measure to the half's first hole.",
    READINGS,
    *DRILL,
    "Take the half off, and do the same with the next one: the same mark, the same boot length.",
    *FINISH,
)
TOOLS = (
    "caliper, and a steel rule",
    "vice for the ski, clamps for the jig",
    "scrap board for the first hole",
    "brush for the chips",
    "fine pen, adhesive tape",
    "eye protection",
)
ONE_LINE_OFF = (
    "The scale on each rail shows half the ski's width at the body's side edge, in mm. Left and "
    "right must agree at each station. If they differ by one line, the holes are displaced "
    "sideways by so many mm:"
)


def bench_sections(job: JigRecord, units: Units, ticket: str, width: float) -> list[Flowable]:
    """Everything on the bench pages, `width` mm wide, in the order it is needed."""
    drawing = layout_drawing(job, units, width)
    return [
        *_head(job, units, ticket, width),
        stop_section(job, units, width),
        *warning_sections(job, width),
        *boot_sections(job, units, width),
        section(headline("Layout", width), [[drawing]], (width,)),
        _lists(job, units, width),
        _steps(job, width),
        *_readings(job, units, width),
        _holes(job, units, width),
        _plastic(job.plastic, width),  # printed once: after what every ski needs
    ]


# -- the head -----------------------------------------------------------------------------------


def _head(job: JigRecord, units: Units, ticket: str, width: float) -> list[Flowable]:
    inputs = job.inputs
    name = plain(inputs.pattern)
    own = column(width, 3)
    verification = job.verification
    assert verification is not None, "only a verified jig has a sheet"
    deviation = math.ceil(max(verification.deviation, 1e-9) * 1000) / 1000
    verified = (
        f"Jig verified from its files: {verification.checks} checks; each of the {len(job.holes)} "
        f"holes is within {deviation:.3f} mm of its place"
    )
    if job.ladders:
        verified += f", with the line of each of {len(job.boots)} boot lengths on the mark"
    return [
        para("Drilling sheet", dim=DIM),
        para(name, fit(name, 22.0, 12.0, width, 1, bold=True), bold=True),
        gap(1.5),
        columns(
            width,
            [
                field("Boot sole", boot_lengths(job, units), own),
                field("Mount shift", _shift(job, units), own),
                field("Skis", which_skis(job), own),
            ],
        ),
        columns(
            width,
            [
                field("Core", CORES[inputs.core], own),
                field("Ski widths", ski_widths(job, units), own),
                blank("Date", own),
            ],
        ),
        # The ticket takes two columns: what a shop writes there is a sentence.
        beside(
            (2 * own + GUTTER, field("Ticket", plain(ticket), 2 * own + GUTTER, lines=2)),
            (GUTTER, []),
            (own, blank("Drilled by", own)),
        ),
        para(f"{verified}.", SMALL, dim=DIM),
        gap(1.0),
    ]


def _shift(job: JigRecord, units: Units) -> str:
    """The mount shift and which way it goes."""
    shift = job.inputs.shift
    if not shift:
        return "none"
    return f"{full(abs(shift), units)} to the {'tip' if shift > 0 else 'tail'}"


# -- lists, steps, holes ------------------------------------------------------------------------


def _lists(job: JigRecord, units: Units, width: float) -> Flowable:
    """Tools, what is bought and what is printed, beside one another."""
    own = column(width, 3)
    lists = (
        ("Tools", _tools(job, units)),
        ("Bought for the jig", _bought(job)),
        ("Printed", _printed(job)),
    )
    cells = [[checklist(lines, headline(name, own), own), gap(1.0)] for name, lines in lists]
    return columns(width, cells)


def _tools(job: JigRecord, units: Units) -> list[str]:
    drills = sorted({hole.diameter for hole in job.holes})
    screws = Counter(hole.screw for hole in job.drilling.holes if hole.screw)
    keys = sorted({line.key for line in job.hardware if line.key})
    return [
        *(f"twist drill {full(drill, units)} with depth stop" for drill in drills),
        *(f"{n} × screw {full(length, units)} for the plate" for length, n in screws.items()),
        *(f"hexagon key {number(key)} mm" for key in keys),
        *TOOLS,
    ]


def _bought(job: JigRecord) -> list[str]:
    return [
        f"{line.count} × {plain(line.name)}, {plain(line.size)}"
        + (f" ({line.standard})" if line.standard else "")
        for line in job.hardware
    ]


def _printed(job: JigRecord) -> list[str]:
    """What is printed, bed by bed, and for which printer."""
    lines = [
        f"{count} × {plain(part)} (print bed {bed})"
        for bed, laid in enumerate(job.beds, start=1)
        for part, count in laid.counts.items()
    ]
    if job.compensation:
        lines.append(
            f"made for printer {plain(job.compensation.printer)} alone: as the files lie, not "
            "turned on its bed, at 100 %"
        )
    return lines


def _steps(job: JigRecord, width: float) -> Flowable:
    steps = LADDER_STEPS if job.ladders else STEPS
    lines = [f"{number}. {step}" for number, step in enumerate(steps, start=1)]
    return checklist(lines, headline("Steps", width), width)


def _readings(job: JigRecord, units: Units, width: float) -> Iterator[Flowable]:
    """What one line of difference between a station's two readings means at each hole."""
    stations: dict[str, dict[float, list[str]]] = {}
    for hole in job.holes:
        for station, shift in job.accuracy.division.get(hole.id, {}).items():
            stations.setdefault(station, {}).setdefault(round(shift, 2), []).append(hole.id)
    rows = [
        f"{plain(station)} station: "
        + "; ".join(
            f"{plain(', '.join(holes))} by {short(shift, units)}" for shift, holes in shifts.items()
        )
        for station, shifts in stations.items()
    ]
    if rows:
        cells = [[para(words)] for words in (ONE_LINE_OFF, *rows)]
        yield section(headline("Left and right readings", width), cells, (width,), below=1.0)


def _holes(job: JigRecord, units: Units, width: float) -> Flowable:
    """Every hole with its numbers, and a box to tick for each ski that gets it."""
    skis = ("left", "right") if job.inputs.pair == "same" else (job.inputs.side,)
    shares = (0.16, 0.175, 0.175, 0.115, 0.115, 0.12, 0.07, 0.07)
    names = ["hole", "from the mark", "from the centre line", "drill", "depth D", "stop B"]
    names += [f"{ski} ski" for ski in skis]
    rows: list[Sequence[Cell]] = []
    for hole in job.holes:
        values = (
            plain(hole.id),
            _towards(hole.x, ("to tip", "to tail"), units),
            _towards(hole.y, ("left", "right"), units),
            short(hole.diameter, units),
            short(hole.depth, units),
            short(job.drilling.stop_of(hole.id).from_tip, units, STOP_DIGITS),
        )
        rows.append([*map(para, values), *(_tick() for _ in skis)])
    heading = headline("Holes: tick each when it is drilled", width)
    if job.ladders:
        boot = full(job.inputs.boot, units)
        heading.append(para(f"Places along the ski are those for a boot of {boot}.", SMALL))
    widths = [share * width for share in shares[: len(names)]]
    return section(heading, rows, widths, names=names, ruled=True, above=1.1, below=0.9, right=2.0)


def _tick() -> Picture:
    """A box as high as a line of the list."""
    return Picture(TICK, TICK, box((0.0, -TICK), (TICK, 0.0), BOX))


def _towards(value: float, ways: tuple[str, str], units: Units) -> str:
    if not round(value, 2):
        return "0"
    return f"{short(abs(value), units)} {ways[0] if value > 0 else ways[1]}"


# -- printing the parts --------------------------------------------------------------------------


def _plastic(plastic: Plastic, width: float) -> Flowable:
    """A table of the parts, then what to know."""
    rows: list[list[Cell]] = [
        [para(plain(value)) for value in values] for values in mass_rows(plastic)
    ]
    words: list[Flowable] = [para(mass_note(plastic), SMALL)]
    for advice in plastic.advice:
        words += [gap(0.8), para(f"– {plain(advice)}")]
    last = len(rows) + 2  # after the heading and the names
    rows.append([words, *[[]] * (len(PLASTIC_SHARES) - 1)])
    return section(
        headline(f"Printing in {plain(plastic.name)}", width),
        rows,
        [share * width for share in PLASTIC_SHARES],
        names=PLASTIC_NAMES,
        ruled=True,
        above=1.1,
        below=0.9,
        right=2.0,
        more=[("SPAN", (0, last), (-1, last))],
    )

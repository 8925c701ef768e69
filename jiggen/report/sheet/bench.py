"""The pages to work from: job, depth stops, layout, lists, steps, holes to tick, plastic."""

import math
from collections.abc import Iterator
from typing import Any

from reportlab.platypus.flowables import Flowable

from jiggen.design.envelopes import CHUCK, CLAMP_PAD, beside_pad
from jiggen.draw.fonts import fit, plain
from jiggen.record import JigRecord
from jiggen.record.results import Plastic
from jiggen.report.assembly import assembly_steps
from jiggen.report.check import HEADS, HOW, check_rows, rules
from jiggen.report.sheet import kit
from jiggen.report.sheet.drawing import layout_drawing
from jiggen.report.sheet.mark import mark_section
from jiggen.report.sheet.pictures import assembly_picture, parts_picture
from jiggen.report.sheet.setting import (
    STOP_DIGITS,
    boot_sections,
    stop_section,
    warning_sections,
)
from jiggen.report.sides import about_ski, measured_where, press_words
from jiggen.report.summary import (
    CORES,
    MASS_HEADS,
    MOUNT_SHIFT,
    headline,
    mass_note,
    mass_rows,
    print_settings,
)
from jiggen.units import number

CHECK_SHARES = (0.13, 0.33, 0.1, 0.165, 0.165, 0.11)  # of the width, per column
LIST_SHARES = (0.38, 0.31, 0.31)  # of the width: tools, what is bought, what is printed
PICTURE_SHARE = 0.4  # of the width, beside the steps of assembly
PLASTIC_SHARES = (0.22, 0.10, 0.16, 0.12, 0.14, 0.26)  # of the width, per column
ADVICE = 8.0  # points
LIST: dict[str, Any] = {"ruled": True, "above": 1.1, "below": 0.9, "right": 2.0}

WHOLE = (
    "Lay the body on the 1:1 holes before its rails go in, its line on the mark. Straight down "
    "every guide the cross lies in the middle.",
    "Fix the ski. Find its mounting mark, see below, and mark it so that it can be seen through "
    "the jig's windows.",
    "Lay the jig on the ski, arrow to the tip. Turn the knobs until the rails nearly touch, and "
    "slide it until its line lies on the mounting mark in both windows, seen straight down.",
    "{press}, and turn the knobs until all four rails press on the ski. Look at the line again. "
    "Tighten both lock screws.",
)
HALVES = (
    "Lay each half on the 1:1 holes before its rails go in, the line of the boot they are drawn "
    "for on the mark. Straight down every guide the cross lies in the middle.",
    "Fix the ski. Find its mounting mark, see below, and mark it so that it can be seen on either "
    "side of a half's tongue.",
    MOUNT_SHIFT,
    "Take one half. Lay it on the ski, arrow to the tip, its tongue over the mark. Turn both knobs "
    "until the rails nearly touch, and slide it until the line of your boot length lies on the "
    "mark, seen straight down where it ends beside the ski. Both edges must look as in the boot's "
    "picture.",
    "{press}, and turn the knobs until all four rails press on the ski. Look at both edges again, "
    "and tighten both lock screws. Measure to the half's first hole.",
)
NEXT = "Take the half off, and do the same with the next one: the same mark, the same boot length."
TOOLS = (
    "caliper, steel rule, try square",
    "vice for the ski, clamps for the jig",
    "drill machine; scrap board to try it on",
    "brush; countersink, turned by hand",
    "tap, where maker or metal sheet ask for it",
    "glue for the holes, as the maker says",
    "screwdriver that fits the screws' heads",
    "fine pen, adhesive tape, eye protection",
)
RECORD = (  # to be written by hand
    ("Ski: make, model, number", "Owner", "Binding: make, model", "Boot: make, model"),
    ("Sole length on the shell, mm", "Brake width, mm", "Tail to mark, left / right, mm", "Date"),
    ("Release set, toe: left / right", "heel: left / right", "Tested with, by", "Second check, by"),
)
ONE_LINE_OFF = (
    "The scale on each rail shows half the ski's width at the body's side edge, in mm. Left and "
    "right must agree at each station. If they differ by one line, the holes are displaced "
    "sideways by so many mm:"
)


def bench_sections(job: JigRecord, units: kit.Units, ticket: str, width: float) -> list[Flowable]:
    """Everything on the bench pages, `width` mm wide, in the order it is needed."""
    drawing = layout_drawing(job, units, width)
    return [
        *head("Drilling sheet", job, units, ticket, width),
        stop_section(job, units, width),
        *warning_sections(job, width),
        *boot_sections(job, units, width),
        kit.section("Layout", [[drawing]], (width,)),
        holes_section(job, units, width),
        kit.loose(kit.checklist("Steps, for each ski", kit.steps(_steps(job)), width)),
        *_readings(job, units, width),
        kit.loose(mark_section(job, units, width)),
        record_section(width),
        # What is done once comes after what every ski needs.
        _lists(job, units, width),
        kit.section("The parts, by their names", [[parts_picture(job, width)]], (width,)),
        *_check(job, width),
        _assembly(job, width),
        kit.loose(_plastic(job.plastic, width)),
    ]


def _assembly(job: JigRecord, width: float) -> Flowable:
    """How a station goes together, in a picture beside the steps for it."""
    lines, left = kit.steps(assembly_steps(job)), PICTURE_SHARE * width
    own = width - left - kit.GUTTER
    picture, steps = assembly_picture(job, left), kit.checklist("", lines, own)
    both = kit.beside((left, picture), (kit.GUTTER, []), (own, steps))
    return kit.section("Assembly, once", [[both]], (width,))


def record_section(width: float) -> Flowable:
    """What a shop keeps of the pair, to be filled in by hand."""
    return kit.section("Record of the pair", record_rows(width), (width,))


def record_rows(width: float, first: int = 0) -> list[list[kit.Cell]]:
    """The rows of the record, from the `first` on."""
    own = kit.column(width, 4)
    return [
        [kit.columns(width, *(kit.blank(name, own) for name in names))] for names in RECORD[first:]
    ]


def head(title: str, job: JigRecord, units: kit.Units, ticket: str, width: float) -> list[Flowable]:
    """What a sheet is for, and what its jig was found to be."""
    inputs, found = job.inputs, job.verification
    assert found is not None, "only a verified jig has a sheet"
    name, shift = plain(inputs.pattern), inputs.shift
    own = kit.column(width, 3)
    rest = width - own
    ends = dict.fromkeys((inputs.ski.least, inputs.ski.most))
    widths = f"{'–'.join(map(number, ends))} mm"
    if units == "in":
        widths += f" ({'–'.join(map(kit.inches, ends))} in)"
    way = f"{kit.full(abs(shift), units)} to the {'tip' if shift > 0 else 'tail'}"
    verified = (
        f"Files of the jig verified: {found.checks} checks; each of the {len(job.holes)} "
        f"holes is within {kit.thousandths(found.deviation)} mm of its place"
    )
    if job.ladders:
        lines = f"each of {len(job.boots)} boot lengths" if len(job.boots) > 1 else "this boot"
        verified += f", with the line of {lines} on the mark"
    return [
        kit.para(title, dim=kit.DIM),
        kit.beside(
            (rest, kit.para(name, fit(name, 22.0, 12.0, rest, 1, bold=True), bold=True)),
            (own, kit.field("Jig mark, engraved", job.jig_mark, own)),
        ),
        kit.gap(1.5),
        kit.columns(
            width,
            kit.field("Boot sole", kit.boot_lengths(job, units), own),
            kit.field("Mount shift", way if shift else "none", own),
            kit.field("Skis", kit.which_skis(inputs), own),
        ),
        kit.columns(
            width,
            kit.field("Core", CORES[inputs.core], own),
            kit.field(f"Ski widths, {measured_where(inputs.rail_depth)}", widths, own),
            kit.blank("Date", own),
        ),
        # The ticket takes two columns: what a shop writes there is a sentence.
        kit.beside(
            (width - own, kit.field("Ticket", plain(ticket), 2 * own + kit.GUTTER, lines=2)),
            (own, kit.blank("Drilled by", own)),
        ),
        kit.para(f"{verified}. No print was measured.", kit.SMALL, dim=kit.DIM),
        kit.para(" ".join(about_ski(job)), kit.SMALL),
        kit.gap(1.0),
    ]


def _lists(job: JigRecord, units: kit.Units, width: float) -> Flowable:
    """Tools, what is bought, and what is printed bed by bed and for which printer, in columns."""
    drills = sorted({hole.diameter for hole in job.holes})
    unfit = job.drilling.unfit
    keys = sorted({line.key for line in job.hardware if line.key})
    tools = [
        *(f"twist drill {kit.full(drill, units)}, plain, with depth stop" for drill in drills),
        *(f"{n} × screw {kit.full(mm, units)}" for mm, n in job.drilling.screws.items()),
        *(f"screws for {ids}: no screw at hand fits. {hint}" for ids, hint in unfit.items()),
        *(f"hexagon key {number(key)} mm, bent" for key in keys),
        *TOOLS,
    ]
    bought = [
        f"{line.count} × {plain(line.name)}, {plain(line.size)}"
        + (f" ({line.standard})" if line.standard else "")
        for line in job.hardware
    ]
    printed = [
        f"{count} × {plain(part)} (print bed {bed})"
        for bed, laid in enumerate(job.beds, start=1)
        for part, count in laid.counts.items()
    ]
    settings: dict[str, list[str]] = {}
    for bed, laid in enumerate(job.beds, start=1):
        if laid.advice:
            settings.setdefault(print_settings(laid.advice), []).append(f"{bed}")
    printed += [f"print bed {', '.join(beds)}: {words}" for words, beds in settings.items()]
    if job.compensation:
        printed.append(
            f"made for printer {plain(job.compensation.printer)} alone: as the files lie, not "
            "turned on its bed, at 100 %"
        )
    lists = {"Tools": tools, "Bought for the jig": bought, "Printed": printed}
    columns: list[tuple[float, kit.Cell]] = []
    for share, (name, lines) in zip(LIST_SHARES, lists.items(), strict=True):
        own = share * (width - 2 * kit.GUTTER)
        columns += [(own, [kit.checklist(name, lines, own), kit.gap(1.0)]), (kit.GUTTER, [])]
    return kit.beside(*columns[:-1])


def _steps(job: JigRecord) -> tuple[str, ...]:
    """What to do, in order, with a whole jig or with halves."""
    press, halves = press_words(job.hold), bool(job.ladders)
    lay_over, *place = (step.format(press=press) for step in (HALVES if halves else WHOLE))
    return (
        "Check this sheet, both 100 mm bars on each 1:1 page, with a rule, and the print with "
        "caliper and try square, within the limits above.",
        lay_over,
        "Assemble the jig from what is listed above, as Assembly says.",
        "Dry fit: lay the plate or the binding's pieces on the 1:1 holes, never under them: in the "
        "middle of every hole of theirs a cross shows, and the circle with an even rim.",
        "Compare the jig mark with the jig's; boot sole, mount shift, core and ski with the "
        "ticket; both skis' marks with one another: as far from the tail on either. Write it into "
        "the record.",
        *place,
        "Read the scales of all four rails at the body's side edge: left and right must agree, "
        "see below.",
        _clamping(job),
        "Set the depth stop by A or B above. Drill the scrap board through the jig, and measure "
        "the depth.",
        "Drill every hole perpendicular to the ski until the depth stop rests on the guide. Clear "
        "the chips often. Tick the hole in the list. Where the setting changes, set the depth "
        "stop anew.",
        *([NEXT] if halves else []),
        "Take the jig off and the raised rims with the countersink, brush the holes clean, and lay "
        "the plate on without force: every hole must meet.",
        "Tap, glue and tighten the screws as the maker's instructions say.",
        "Release set, and function test by a trained technician. Fill in the record; a second "
        "person checks it.",
    )


def _check(job: JigRecord, width: float) -> Iterator[Flowable]:
    """What the caliper must show on each body before it is used, and what the jig is good for."""
    rows: list[list[kit.Cell]] = [
        [*(kit.para(plain(cell)) for cell in row), kit.rule(CHECK_SHARES[-1] * width - 2, 4, 0)]
        for row in check_rows(job)
    ]
    expected = f"Expect of 95 of 100 holes, at the worst hole: {plain(headline(job.accuracy))}."
    words = [kit.para(line) for line in (*rules(job), expected)]
    under = [flowable for line in words for flowable in (kit.gap(0.8), line)]
    if not rows:
        yield kit.section("Accuracy", [[under]], (width,))
        return
    heading = [*kit.headline("Check of the print", width), kit.para(HOW), kit.gap(0.8)]
    widths = [share * width for share in CHECK_SHARES]
    table = kit.section((), rows, widths, names=(*HEADS, "reading"), **LIST)
    yield kit.section(heading, [[table], [under]], (width,))


def _clamping(job: JigRecord) -> str:
    """Where the jig is clamped down, and what of it has no place for a clamp's pad."""
    words = f"Clamp the jig down firmly at the diamonds, with pads up to {CLAMP_PAD:g} mm wide."
    sentences = [words] if job.clamps else []
    places = {guide.id: guide.part for guide in job.guides}
    near = [
        plain(hole.id)
        for hole in job.holes
        for mark in job.clamps
        if mark.part == places[hole.id]
        and math.dist((hole.x, hole.y), (mark.x, mark.y)) < beside_pad(CHUCK)
    ]
    if near:
        holes = ", ".join(dict.fromkeys(near))
        sentences.append(
            f"A chuck has no room beside a clamp at {holes}: move that one to drill there."
        )
    if job.unclamped:
        names = " and ".join(plain(name) for name in job.unclamped)
        sentences.append(
            f"{names}: there is no room for a pad; clamp it by the flats of its rails."
        )
    return " ".join(sentences)


def _readings(job: JigRecord, units: kit.Units, width: float) -> Iterator[Flowable]:
    """What one line of difference between a station's two readings means at each hole."""
    stations: dict[str, dict[float, list[str]]] = {}
    for hole in job.holes:
        for station, shift in job.accuracy.division.get(hole.id, {}).items():
            stations.setdefault(station, {}).setdefault(round(shift, 2), []).append(hole.id)
    lines = [ONE_LINE_OFF]
    for station, shifts in stations.items():
        holes = (f"{plain(', '.join(ids))} by {kit.short(x, units)}" for x, ids in shifts.items())
        lines.append(f"{plain(station)} station: {'; '.join(holes)}")
    if stations:
        rows = [[kit.para(words)] for words in lines]
        yield kit.section("Left and right readings", rows, (width,), below=1.0)


def holes_section(job: JigRecord, units: kit.Units, width: float, **look: float) -> Flowable:
    """Every hole with its numbers, and a box to tick for each ski that gets it."""
    skis = ("left", "right") if job.inputs.pair == "same" else (job.inputs.side,)
    names = ["hole", "from the mark", "from the centre line", "drill", "depth D", "stop B"]
    shares = (0.16, 0.175, 0.175, 0.115, 0.115, 0.12, *[0.07] * len(skis))
    rows: list[list[kit.Cell]] = []
    stops = {name: stop for stop in job.drilling.stops for name in stop.holes}
    for hole in job.holes:
        values = (
            plain(hole.id),
            _towards(hole.x, "to tip", "to tail", units),
            _towards(hole.y, "left", "right", units),
            kit.short(hole.diameter, units),
            kit.short(hole.depth, units),
            kit.short(stops[hole.id].from_tip, units, STOP_DIGITS),
        )
        rows.append([*map(kit.para, values), *(kit.tick() for _ in skis)])
    heading = kit.headline("Holes: tick each when it is drilled", width)
    if job.ladders:
        boot = kit.full(job.inputs.boot, units)
        heading.append(kit.para(f"Places along the ski are those for a boot of {boot}.", kit.SMALL))
    widths = [share * width for share in shares]
    names += [f"{ski} ski" for ski in skis]
    return kit.section(heading, rows, widths, names=names, **LIST | look)


def _towards(value: float, above: str, below: str, units: kit.Units) -> str:
    if not round(value, 2):
        return "0"
    return f"{kit.short(abs(value), units)} {above if value > 0 else below}"


def _plastic(plastic: Plastic, width: float) -> Flowable:
    """A table of the parts, then what to know."""
    rows: list[list[kit.Cell]] = [
        [kit.para(plain(value)) for value in values] for values in mass_rows(plastic)
    ]
    words: list[Flowable] = [kit.gap(1.1), kit.para(mass_note(plastic), kit.SMALL)]
    for advice in plastic.advice:
        words += [kit.gap(0.5), kit.para(f"– {plain(advice)}", ADVICE)]
    widths = [share * width for share in PLASTIC_SHARES]
    table = kit.section((), rows, widths, names=MASS_HEADS, **LIST | {"above": 0.6, "below": 0.3})
    return kit.section(f"Printing in {plain(plastic.name)}", [[table], [words]], (width,))

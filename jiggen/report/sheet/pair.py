"""One page for the pair in hand: its line, the rails, drill and depth stop, holes and screws."""

from collections.abc import Iterator

from reportlab.platypus.flowables import Flowable

from jiggen.draw.fonts import plain
from jiggen.record import JigRecord
from jiggen.report.sheet import kit
from jiggen.report.sheet.bench import head, holes_section, record_rows
from jiggen.report.sheet.document import Size
from jiggen.report.sheet.setting import STOP_DIGITS, warning_sections
from jiggen.report.sheet.strip import strip
from jiggen.report.sides import press_words, rail_readings
from jiggen.report.summary import WRONG_LINE

SPARE = 1.0  # mm: heights are rounded
SIZE, LOOK = 1.7, 8.0  # of a strip picture, beside those of the list of all boots; points
STOPS = (0.4, 0.12, 0.14, 0.17, 0.17)  # of the width, per column
WITNESS = (
    "From above, tip to the right: the wide line is the ski's mark. Both edges must look so, or it "
    "is the wrong line."
)
COMPARE = "Compare jig mark, ticket, boot, shift and core with ski and jig, and both skis' marks."
WHOLE = "Fix the ski. Jig on, arrow to the tip, its line on the mark in both windows."
HALVES = "Fix the ski. One half on, arrow to the tip, its line on the mark, seen straight down."
DRILL = (
    "Look at the line again, lock, read all four rails, and clamp the jig down.",
    "Set drill and stop, drill a scrap board, measure. Then drill, clear the chips, tick.",
)
NEXT = "The other half in the same way, by its own line."
LAST = (
    "Jig off, rims off, holes brushed. Test-fit the plate. Tap, glue and screws as the maker says.",
    "Release set and tested by a trained technician; a second person checks.",
)


def pair_page(job: JigRecord, units: kit.Units, ticket: str, room: Size) -> list[Flowable]:
    """Everything on the page, which has so much `room`; `job` is that of one boot.

    Steps in few words and the record's first row are there if they fit.
    """
    width, height = room
    for short, row in ((True, 0), (True, 1), (False, 0), (False, 1)):
        story = [*_sections(job, units, ticket, width, row), *(_short(job, width) if short else ())]
        if kit.height_of(story, width) < height - SPARE:
            break
    return story


def _sections(
    job: JigRecord, units: kit.Units, ticket: str, width: float, row: int
) -> Iterator[Flowable]:
    """What is always there, the record from a `row` on."""
    yield from head("Sheet for one pair", job, units, ticket, width)
    yield from _lines(job, units, width)
    yield _rails(job, units, width)
    yield _stops(job, units, width)
    yield from warning_sections(job, width)
    yield holes_section(job, units, width, above=0.5, below=0.3)
    screws = [f"{n} × {kit.full(mm, units)}" for mm, n in job.drilling.screws.items()]
    screws += [f"{ids}: none at hand fits. {hint}" for ids, hint in job.drilling.unfit.items()]
    words = kit.para(f"Screws, for one ski: {plain('; '.join(screws) or 'not given')}.")
    yield kit.section((), [[words], [kit.gap(1.0)], *record_rows(width, row)], (width,))


def _short(job: JigRecord, width: float) -> Iterator[Flowable]:
    """The steps of the whole sheet in few words."""
    place, then = (HALVES, [NEXT]) if job.ladders else (WHOLE, [])
    press = f"{press_words(job.hold)}, and turn the knobs until all four rails press."
    lines = [COMPARE, place, press, *DRILL, *then, *LAST]
    yield kit.checklist("In short, for each ski", kit.steps(lines), width)


def _lines(job: JigRecord, units: kit.Units, width: float) -> Iterator[Flowable]:
    """The line of each half: its picture, in words, and how far its first hole is."""
    own = kit.column(width, max(1, len(job.ladders)))
    cells: list[kit.Cell] = []
    for setting in job.boot_settings:
        for ladder in job.ladders:
            reading, x = setting.readings[ladder.half], setting.first_holes[ladder.half]
            hole = plain(job.first_holes[ladder.part])
            line = f"{plain(ladder.half)} half: {reading.edge} edge, {plain(str(reading.line))}"
            look = (
                f"It is {reading.look}. At the mark opposite: {plain(reading.other)}. By a rule, "
                f"{hole} is {kit.full(abs(x), units)} from the mark."
            )
            words = kit.para(line, kit.HEADING, bold=True), kit.para(look, LOOK)
            cells.append([*words, strip(ladder.boot_lines, setting.boot, own, SIZE)])
    if cells:
        heading = [*kit.headline("Lay this line on the ski's mark", width), kit.para(WITNESS)]
        rows: list[list[kit.Cell]] = [[kit.columns(width, *cells)]]
        rows.append([kit.para(WRONG_LINE, kit.SMALL, bold=True)])
        yield kit.section(heading, rows, (width,), below=0.8)


def _rails(job: JigRecord, units: kit.Units, width: float) -> Flowable:
    """What the rails read at each station, as far as it is known."""
    known = rail_readings(job)
    own = kit.column(width, len(job.stations))
    cells = [
        kit.field(name, f"about {kit.short(known[name], units, 1)}", own)
        if name in known
        else kit.blank(name, own)
        for name in (plain(station.name) for station in job.stations)
    ]
    rows: list[list[kit.Cell]] = [[kit.columns(width, *cells)]]
    words = "Rails: left and right must read the same, half the ski's width there"
    return kit.section(words, rows, (width,))


def _stops(job: JigRecord, units: kit.Units, width: float) -> Flowable:
    """A row for each setting of drill and depth stop."""
    names = ("holes", "drill", "depth D", "stop A, to the corners", "stop B, to the tip")
    rows: list[list[kit.Cell]] = []
    for stop in job.drilling.stops:
        values = (
            kit.short(stop.drill, units),
            kit.short(stop.depth, units),
            kit.short(stop.from_corners, units, STOP_DIGITS),
            kit.short(stop.from_tip, units, STOP_DIGITS),
        )
        cells = [kit.para(value, kit.HEADING, bold=True) for value in values]
        rows.append([kit.para(plain(", ".join(stop.holes))), *cells])
    widths = [share * width for share in STOPS]
    return kit.section(
        "Drill and depth stop", rows, widths, names=names, ruled=True, above=0.6, below=0.6
    )

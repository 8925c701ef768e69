"""The pages to work from: job, drill and stop, layout, lists, steps, holes to tick."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from textwrap import shorten

from jiggen.draw.fonts import fit, plain, width_of, wrap
from jiggen.record import DepthStop, JigRecord
from jiggen.record.model import Bought
from jiggen.report.sheet.block import Block, Section, beside, paragraph, space, stack
from jiggen.report.sheet.boots import boot_sections, boot_words
from jiggen.report.sheet.drawing import layout_drawing
from jiggen.report.sheet.forms import (
    BODY,
    BOX,
    GUTTER,
    RULE,
    SMALL,
    TICK,
    blank,
    cell,
    head_line,
    table_row,
    ticked,
)
from jiggen.report.sheet.materials import plastic_section
from jiggen.report.sheet.measures import full, inches, number, short, ski_widths
from jiggen.report.sheet.page import Line, Shapes, Text, Units
from jiggen.report.sheet.stop_picture import WIDTH, stop_picture
from jiggen.report.sheet.words import say

HOLES = 10.0  # points
NUMBER, NUMBER_IN = 28.0, 24.0  # points: read at arm's length
STOP_DIGITS = 1  # a stop cannot be set finer than to 0.1 mm; common practice, no source
LONGEST_KEY = 200  # characters, for the holes of a notice
RUN_LINES = 3  # at most, for the holes of a setting
STEPS = (
    *("scale", "assemble", "over-jig", "over-plate", "ticket", "ski", "centre", "mark"),
    *("readings", "clamp", "stop", "drill", "fit", "screws", "test"),
)
LADDER_STEPS = (
    *("scale", "assemble", "over-half", "over-plate", "ticket", "see", "shift", "half", "set"),
    *("readings", "clamp", "stop", "drill", "other", "fit", "screws", "test"),
)
STATIC_TOOLS = ("caliper", "clamps", "scrap", "brush", "pen", "glasses")


def bench_sections(job: JigRecord, units: Units, ticket: str, width: float) -> list[Section]:
    """Everything on the bench pages, `width` mm wide, in the order it is needed."""
    drawing = layout_drawing(job, units, width)
    return [
        Section(space(0.0), (_head(job, units, ticket, width),)),
        _stops(job, units, width),
        *_notices(job, width),
        *boot_sections(job, units, width),
        Section(head_line(say("drawing.heading"), width), (drawing,)),
        Section(space(0.0), (_lists(job, units, width),)),
        _steps(job, width),
        *_readings(job, units, width),
        _holes(job, units, width),
        *plastic_section(job.plastic, width),  # printed once: after what every ski needs
    ]


# -- the head -----------------------------------------------------------------------------------


def _head(job: JigRecord, units: Units, ticket: str, width: float) -> Block:
    inputs = job.inputs
    name = plain(inputs.pattern)
    size = fit(name, 22.0, 12.0, width, 1, bold=True)
    skis = "skis.same" if inputs.pair == "same" else f"skis.{inputs.side}"
    cells = [
        (say("head.boot"), boot_words(job, units)),
        (say("head.shift"), _shift(job, units)),
        (say("head.skis"), say(skis)),
        (say("head.core"), say(f"core.{inputs.core}")),
        (say("head.widths"), ski_widths(job, units)),
    ]
    checks, deviation = (
        (job.verification.checks, job.verification.deviation) if job.verification else (0, 0.0)
    )
    verified = say(
        "head.verification-boots" if job.ladders else "head.verification",
        boots=len(job.boots),
        holes=len(job.holes),
        checks=checks,
        deviation=f"{math.ceil(max(deviation, 1e-9) * 1000) / 1000:.3f}",
    )
    return stack(
        [
            paragraph(say("head.kind"), BODY, width, grey=0.3),
            paragraph(name, size, width, bold=True),
            space(1.5),
            _grid(cells, ticket, width),
            paragraph(verified, SMALL, width, grey=0.3),
            space(1.0),
        ]
    )


def _shift(job: JigRecord, units: Units) -> str:
    """The mount shift and which way it goes."""
    shift = job.inputs.shift
    if not shift:
        return say("shift.none")
    return say("shift.tip" if shift > 0 else "shift.tail", length=full(abs(shift), units))


def _grid(cells: list[tuple[str, str]], ticket: str, width: float) -> Block:
    """Small names over large values, three in a row; then what is written by hand."""
    column = (width - 2 * GUTTER) / 3
    xs = [index * (column + GUTTER) for index in range(3)]
    blocks = [cell(name, value, column) for name, value in cells]
    date, by = (blank(say(key), column) for key in ("head.date", "head.by"))
    # The ticket takes two columns: what a shop writes there is a sentence.
    wide = cell(say("head.ticket"), plain(ticket), xs[2] - GUTTER, lines=2)
    return stack(
        [
            beside(zip(xs, blocks[:3], strict=True)),
            beside(zip(xs, [*blocks[3:], date], strict=True)),
            beside([(0.0, wide), (xs[2], by)]),
        ]
    )


# -- drill and stop -----------------------------------------------------------------------------


def _stops(job: JigRecord, units: Units, width: float) -> Section:
    stops = job.drilling.stops
    legend_width = width - WIDTH - GUTTER
    legend = [
        beside(
            [
                (0.0, paragraph(letter, BODY, 5.0, bold=True)),
                (5.0, paragraph(words, BODY, legend_width - 5.0)),
            ]
        )
        for letter, words in _legend(stops).items()
    ]
    use = paragraph(say("stop.legend.use"), BODY, legend_width)
    explained = beside([(0.0, stop_picture()), (WIDTH + GUTTER, stack([*legend, space(1.5), use]))])
    head = stack([head_line(say("stop.heading"), width), explained, space(1.0)])
    rows = [_stop(stop, job, units, width, len(stops) == 1) for stop in stops]
    return Section(head, tuple(rows))


def _legend(stops: Iterable[DepthStop]) -> dict[str, str]:
    """What each letter of the picture means."""
    angles = dict.fromkeys(number(stop.point_angle, 1) for stop in stops)
    return {
        "G": say("stop.legend.g"),
        "D": say("stop.legend.d"),
        "A": say("stop.legend.a"),
        "B": say("stop.legend.b", angle=", ".join(angles)),
    }


def _stop(stop: DepthStop, job: JigRecord, units: Units, width: float, only: bool) -> Block:
    """One depth stop: its holes, then four large numbers."""
    top = _heights(stop, job, units)
    left = width - width_of(top, SMALL) - GUTTER
    names = say("stop.every") if only else _hole_words(stop, job, left)
    head = [
        (0.0, paragraph(names, HOLES, left, bold=True)),
        (0.0, paragraph(top, SMALL, width, grey=0.3, anchor="end")),
    ]
    column = width / 4
    numbers = (
        ("stop.drill", stop.drill, 2),
        ("stop.depth", stop.depth, 2),
        ("stop.corners", stop.from_corners, STOP_DIGITS),
        ("stop.tip", stop.from_tip, STOP_DIGITS),
    )
    cells = [
        (index * column, _number(say(key), value, digits, units, column - 2.0))
        for index, (key, value, digits) in enumerate(numbers)
    ]
    rule = Block(1.2, Shapes(lines=[Line((0.0, 0.0), (width, 0.0), RULE)]))
    return stack(
        [
            rule,
            beside(head),
            space(0.6),
            beside(cells),
            space(1.2),
        ]
    )


def _heights(stop: DepthStop, job: JigRecord, units: Units) -> str:
    """The guide's height, and what is left of the base where the ski is known."""
    guide = say("stop.guide-top", length=full(stop.bush_top, units))
    holes = job.drilling.holes
    left = [h.base_left for h in holes if h.base_left is not None and h.id in stop.holes]
    return say("stop.base", length=full(min(left), units), guide=guide) if left else guide


def _notices(job: JigRecord, width: float) -> list[Section]:
    """What the drilling check warns of, if anything."""
    lines = [
        say(
            "notice.line",
            holes=shorten(plain(notice.key), LONGEST_KEY, placeholder=" …"),
            message=plain(notice.message),
            hint=plain(notice.hint),
        )
        for notice in job.drilling.warnings
    ]
    heading = head_line(say("notice.heading"), width)
    return [Section(heading, tuple(ticked(lines, width, BODY)))] if lines else []


def _hole_words(stop: DepthStop, job: JigRecord, width: float) -> str:
    """The stop's holes on RUN_LINES lines at most; the list of holes has them all."""
    said = [
        plain(first) if first == last else say("stop.run", first=plain(first), last=plain(last))
        for first, last in _runs(stop, job)
    ]
    for count in range(len(said), 0, -1):
        words = ", ".join(said[:count])
        if count < len(said):
            words = f"{words} {say('stop.more')}"
        if len(wrap(words, HOLES, width, bold=True)) <= RUN_LINES:
            break
    return words


def _number(name: str, value: float, digits: int, units: Units, width: float) -> Block:
    """A length large enough to be read at arm's length, its name over it."""
    lines = [(number(value, digits), "mm")]
    if units == "in":
        lines.append((inches(value), "in"))
    size = NUMBER if units == "mm" else NUMBER_IN
    blocks = [paragraph(name, SMALL, width, grey=0.3)]
    for figures, unit in lines:
        shown = paragraph(figures, size, width, bold=True, leading=1.1)
        x = width_of(figures, size, bold=True) + 1.0
        y = shown.shapes.texts[0].at[1]
        shown.shapes.texts.append(Text((x, y), unit, BODY))
        blocks.append(shown)
    return stack(blocks)


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


# -- lists, steps, holes ------------------------------------------------------------------------


def _lists(job: JigRecord, units: Units, width: float) -> Block:
    """Tools, what is bought and what is printed, beside one another."""
    column = (width - 2 * GUTTER) / 3
    lists = (
        ("tools.heading", _tools(job, units)),
        ("buy.heading", [_bought(line) for line in job.hardware]),
        ("print.heading", _printed(job)),
    )
    return beside(
        (
            index * (column + GUTTER),
            stack([head_line(say(key), column), *ticked(lines, column, BODY), space(1.0)]),
        )
        for index, (key, lines) in enumerate(lists)
    )


def _tools(job: JigRecord, units: Units) -> list[str]:
    drills = sorted({hole.diameter for hole in job.holes})
    screws = Counter(hole.screw for hole in job.drilling.holes if hole.screw)
    keys = sorted({line.key for line in job.hardware if line.key})
    return [
        *(say("tools.drill", diameter=full(drill, units)) for drill in drills),
        *(say("tools.screws", count=n, length=full(s, units)) for s, n in screws.items()),
        *(say("tools.key", size=number(key)) for key in keys),
        *(say(f"tools.{tool}") for tool in STATIC_TOOLS),
    ]


def _printed(job: JigRecord) -> list[str]:
    """What is printed, bed by bed, and for which printer."""
    lines = [
        say("print.line", count=count, name=plain(part), bed=number)
        for number, bed in enumerate(job.beds, start=1)
        for part, count in bed.counts.items()
    ]
    if job.compensation:
        lines.append(say("print.printer", printer=plain(job.compensation.printer)))
    return lines


def _bought(line: Bought) -> str:
    words = say("buy.line", count=line.count, name=plain(line.name), size=plain(line.size))
    return say("buy.standard", line=words, standard=line.standard) if line.standard else words


def _steps(job: JigRecord, width: float) -> Section:
    steps = LADDER_STEPS if job.ladders else STEPS
    lines = (f"{n}. {say(f'steps.{step}')}" for n, step in enumerate(steps, start=1))
    return Section(head_line(say("steps.heading"), width), tuple(ticked(lines, width, BODY)))


def _readings(job: JigRecord, units: Units, width: float) -> list[Section]:
    """What one line of difference between a station's two readings means at each hole."""
    stations: dict[str, dict[float, list[str]]] = {}
    for hole in job.holes:
        for station, shift in job.accuracy.division.get(hole.id, {}).items():
            stations.setdefault(station, {}).setdefault(round(shift, 2), []).append(hole.id)
    lines = [
        say(
            "readings.line",
            station=plain(station),
            shifts="; ".join(
                say("readings.shift", holes=plain(", ".join(holes)), length=short(shift, units))
                for shift, holes in shifts.items()
            ),
        )
        for station, shifts in stations.items()
    ]
    words = [say("readings.how"), *lines]
    blocks = [stack([paragraph(line, BODY, width), space(1.0)]) for line in words]
    heading = head_line(say("readings.heading"), width)
    return [Section(heading, tuple(blocks))] if lines else []


def _holes(job: JigRecord, units: Units, width: float) -> Section:
    """Every hole with its numbers, and a box to tick for each ski that gets it."""
    skis = ("left", "right") if job.inputs.pair == "same" else (job.inputs.side,)
    shares = (0.20, 0.18, 0.18, 0.10, 0.10, 0.10, 0.07, 0.07)
    columns = [share * width for share in shares[: 6 + len(skis)]]
    names = ("id", "x", "y", "drill", "depth", "tip", *skis)
    head = table_row([say(f"holes.{name}") for name in names], columns, SMALL, width, grey=0.3)
    rows = []
    for hole in job.holes:
        values = [
            plain(hole.id),
            _towards(hole.x, ("towards.tip", "towards.tail"), units),
            _towards(hole.y, ("towards.left", "towards.right"), units),
            *(short(v, units) for v in (hole.diameter, hole.depth)),
            short(job.drilling.stop_of(hole.id).from_tip, units, STOP_DIGITS),
        ]
        row = table_row(values, columns[:6], BODY, width)
        for index in range(len(skis)):
            x = sum(columns[: 6 + index])
            row.shapes.box((x, -TICK - 1.3), (x + TICK, -1.3), BOX)
        rows.append(row)
    about = [_drawn_for(job, units, width)] if job.ladders else []
    return Section(stack([head_line(say("holes.heading"), width), *about, head]), tuple(rows))


def _drawn_for(job: JigRecord, units: Units, width: float) -> Block:
    return paragraph(say("holes.boot", boot=full(job.inputs.boot, units)), SMALL, width)


def _towards(value: float, keys: tuple[str, str], units: Units) -> str:
    if not round(value, 2):
        return say("towards.none")
    return say(keys[0] if value > 0 else keys[1], length=short(abs(value), units))

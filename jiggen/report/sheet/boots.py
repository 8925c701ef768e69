"""How a jig for many boots is set: in words, and a reading for each boot length."""

from __future__ import annotations

import math
from collections.abc import Iterator

from jiggen.draw.fonts import plain
from jiggen.record import JigRecord
from jiggen.record.model import BootSetting
from jiggen.report.sheet.block import Block, Section, beside, paragraph, space, stack
from jiggen.report.sheet.forms import head_line, table_row
from jiggen.report.sheet.measures import full, number, short
from jiggen.report.sheet.page import Units
from jiggen.report.sheet.words import say

BODY, SMALL, CELL = 9.0, 7.5, 8.0  # points
COLUMNS = 2  # of the table, beside one another
GUTTER = 8.0  # mm between them
ROW, OVER = 4.6, 0.9  # mm


def boot_words(job: JigRecord, units: Units) -> str:
    """The boot sole of a job: one length, or from and to."""
    if job.inputs.boots is None:
        return full(job.inputs.boot, units)
    least, most = job.inputs.boots
    return say("boots.range", least=number(least), most=full(most, units))


def boot_sections(job: JigRecord, units: Units, width: float) -> list[Section]:
    """How to set the halves, and the table of boot lengths; nothing of a jig without ladders."""
    if not job.ladders:
        return []
    lines = [*_instructions(job), say("set.table")]
    words = [stack([paragraph(line, BODY, width), space(1.0)]) for line in lines]
    caution = stack([paragraph(say("set.caution"), BODY, width, bold=True), space(1.5)])
    return [
        Section(head_line(say("set.heading"), width), (*words, caution)),
        _table(job, units, width),
    ]


def _instructions(job: JigRecord) -> Iterator[str]:
    parts = [part.name for part in job.parts if part.is_body]
    yield say("set.one", halves=", ".join(plain(part) for part in parts))
    if any(not ladder.bands for ladder in job.ladders):
        yield say("set.line")
    for ladder in job.ladders:
        if ladder.bands:
            bands = ", ".join(map(plain, ladder.bands))
            yield say("set.band", half=plain(ladder.half), bands=bands)
    moved = {group for ladder in job.ladders for group in ladder.groups}
    still = [
        group for group in dict.fromkeys(hole.group for hole in job.holes) if group not in moved
    ]
    if still:
        yield say("set.still", groups=plain(", ".join(still)))


def _table(job: JigRecord, units: Units, width: float) -> Section:
    """A row for each boot length, in COLUMNS beside one another."""
    own = (width - (COLUMNS - 1) * GUTTER) / COLUMNS
    halves = [ladder.half for ladder in job.ladders]
    first = [job.first_holes[ladder.part] for ladder in job.ladders]
    shares = [0.12, *(0.88 / (2 * len(halves)) for _ in halves for _ in (0, 1))]
    widths = [share * own for share in shares]
    names = [
        say("set.boot"),
        *(say("set.half", half=plain(half)) for half in halves),
        *(say("set.first", hole=plain(hole)) for hole in first),
    ]
    settings = job.boot_settings
    deep = math.ceil(len(settings) / COLUMNS)
    rows = [
        beside(
            (column * (own + GUTTER), _line(settings[at], widths, own, units))
            for column in range(COLUMNS)
            if (at := row + column * deep) < len(settings)
        )
        for row in range(deep)
    ]
    columns = beside(
        (
            column * (own + GUTTER),
            table_row(names, widths, SMALL, own, grey=0.3, height=ROW, over=OVER),
        )
        for column in range(COLUMNS)
    )
    return Section(stack([head_line(say("set.lengths"), width), columns]), tuple(rows))


def _line(setting: BootSetting, widths: list[float], own: float, units: Units) -> Block:
    values = [
        number(setting.boot),
        *(plain(str(reading)) for reading in setting.readings.values()),
        *(short(abs(x), units, 1) for x in setting.first_holes.values()),
    ]
    return table_row(values, widths, CELL, own, height=ROW, over=OVER)

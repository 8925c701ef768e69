"""How a jig for many boots is set: in words, and a reading for each boot length."""

from __future__ import annotations

import math

from reportlab.platypus.flowables import Flowable

from jiggen.draw.fonts import plain
from jiggen.record import JigRecord
from jiggen.record.model import BootSetting
from jiggen.report.sheet.document import Units
from jiggen.report.sheet.flowables import headline, para, section
from jiggen.report.sheet.measures import short
from jiggen.report.summary import WRONG_LINE, half_instructions
from jiggen.units import number

CELL = 8.0  # points
COLUMNS = 2  # of the table, beside one another
GUTTER = 8.0  # mm between them


def boot_sections(job: JigRecord, units: Units, width: float) -> list[Flowable]:
    """How to set the halves, and the table of boot lengths; nothing of a jig without ladders."""
    if not job.ladders:
        return []
    rows = [[para(plain(line))] for line in half_instructions(job)]
    rows.append([para(WRONG_LINE, bold=True)])
    heading = headline("Set each half by the boot", width)
    return [section(heading, rows, (width,), below=1.0), _table(job, units, width)]


def _table(job: JigRecord, units: Units, width: float) -> Flowable:
    """A row for each boot length, in COLUMNS beside one another."""
    own = (width - (COLUMNS - 1) * GUTTER) / COLUMNS
    halves = [plain(ladder.half) for ladder in job.ladders]
    first = [plain(job.first_holes[ladder.part]) for ladder in job.ladders]
    widths = [0.12 * own, *([0.44 * own / len(halves)] * 2 * len(halves))]
    names = ["boot", *(f"{half} half" for half in halves), *(f"{hole} at" for hole in first)]
    settings = job.boot_settings
    deep = math.ceil(len(settings) / COLUMNS)
    rows = []
    for row in range(deep):
        cells = [_values(settings[at], units) for at in range(row, len(settings), deep)]
        cells += [[""] * len(names)] * (COLUMNS - len(cells))
        rows.append([para(words, CELL) for part in cells for words in part])
    return section(
        headline("Boot lengths", width),
        rows,
        ([*widths[:-1], widths[-1] + GUTTER] * COLUMNS)[:-1] + widths[-1:],
        names=names * COLUMNS,
        ruled=True,
        above=0.6,
        below=0.5,
        right=2.0,
    )


def _values(setting: BootSetting, units: Units) -> list[str]:
    return [
        number(setting.boot),
        *(plain(str(reading)) for reading in setting.readings.values()),
        *(short(abs(x), units, 1) for x in setting.first_holes.values()),
    ]

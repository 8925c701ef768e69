"""How a jig for many boots is set: in words, and a reading for each boot length."""

from __future__ import annotations

import math
from collections.abc import Iterator

from reportlab.platypus.flowables import Flowable

from jiggen.draw.fonts import plain
from jiggen.record import JigRecord
from jiggen.record.model import BootSetting
from jiggen.report.sheet.document import Units
from jiggen.report.sheet.flowables import headline, para, section
from jiggen.report.sheet.measures import short
from jiggen.units import number

CELL = 8.0  # points
COLUMNS = 2  # of the table, beside one another
GUTTER = 8.0  # mm between them


def boot_sections(job: JigRecord, units: Units, width: float) -> list[Flowable]:
    """How to set the halves, and the table of boot lengths; nothing of a jig without ladders."""
    if not job.ladders:
        return []
    rows = [[para(line)] for line in _instructions(job)]
    rows.append(
        [
            para(
                "A half on the wrong line drills all its holes in the wrong place, by half of what "
                "the lengths differ, or by a whole band. Read the line twice, and measure.",
                bold=True,
            )
        ]
    )
    heading = headline("Set each half by the boot", width)
    return [section(heading, rows, (width,), below=1.0), _table(job, units, width)]


def _instructions(job: JigRecord) -> Iterator[str]:
    halves = ", ".join(plain(part.name) for part in job.parts if part.is_body)
    yield f"The halves ({halves}) are used by themselves, one after the other."
    if any(not ladder.bands for ladder in job.ladders):
        yield (
            "Lay the line of your boot length on the ski's mark: then the half sits right. Odd "
            "lengths are at the left edge of its tongue, even ones at the right; from one line to "
            "the next on an edge it is 2 mm of boot."
        )
    for ladder in job.ladders:
        if ladder.bands:
            bands = ", ".join(map(plain, ladder.bands))
            yield (
                f"{plain(ladder.half)} half: boots of one band share one place of the holes "
                f"({bands}). Lay the line of the band that your boot is in on the ski's mark."
            )
    moved = {group for ladder in job.ladders for group in ladder.groups}
    groups = dict.fromkeys(hole.group for hole in job.holes)
    still = ", ".join(group for group in groups if group not in moved)
    if still:
        yield f"The piece for {plain(still)} has one line: it serves every boot."
    yield (
        "In the table, + and − count lines on from the number, + towards longer boots. Beside it, "
        "how far the half's first hole is from the mark: check it with a rule."
    )


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

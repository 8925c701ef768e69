"""How the parts are printed in the plastic asked for, and what they weigh."""

from __future__ import annotations

from jiggen.draw.fonts import plain
from jiggen.record.results import Plastic
from jiggen.report.sheet.block import Block, Section, paragraph, space, stack
from jiggen.report.sheet.forms import BODY, SMALL, head_line, table_row
from jiggen.report.sheet.measures import number
from jiggen.report.sheet.words import say

SHARES = (0.22, 0.10, 0.16, 0.12, 0.14, 0.26)  # of the width, a column each
COLUMNS = ("part", "pieces", "volume", "solid", "printed", "how")


def plastic_section(plastic: Plastic, width: float) -> list[Section]:
    """A table of the parts, then what to know."""
    columns = [share * width for share in SHARES]
    names = [say(f"plastic.{column}") for column in COLUMNS]
    head = stack(
        [
            head_line(say("plastic.heading", name=plain(plastic.name)), width),
            table_row(names, columns, SMALL, width, grey=0.3),
        ]
    )
    rows = [table_row(values, columns, BODY, width) for values in _values(plastic)]
    note = say(
        "plastic.note",
        density=number(plastic.density),
        walls=plastic.walls,
        thick=number(plastic.walls * plastic.line),
        skin=number(plastic.skin),
    )
    return [Section(head, (*rows, _line(note, SMALL, width), *_advice(plastic, width)))]


def _advice(plastic: Plastic, width: float) -> list[Block]:
    return [
        _line(say("plastic.advice", words=plain(words)), BODY, width) for words in plastic.advice
    ]


def _line(words: str, size: float, width: float) -> Block:
    return stack([space(0.8), paragraph(words, size, width)])


def _values(plastic: Plastic) -> list[tuple[str, ...]]:
    """Each part's row, then that of all pieces."""
    rows = [
        (
            plain(part.name),
            str(part.count),
            _volume(part.volume),
            _grams(part.solid),
            _grams(part.printed),
            say("plastic.how.solid")
            if part.infill == 100
            else say("plastic.how.hollow", walls=plastic.walls, infill=part.infill),
        )
        for part in plastic.parts
    ]
    volume = sum(part.count * part.volume for part in plastic.parts)
    count = sum(part.count for part in plastic.parts)
    totals = (_volume(volume), _grams(plastic.solid), _grams(plastic.printed))
    return [*rows, (say("plastic.all"), str(count), *totals, "")]


def _volume(cubic: float) -> str:
    return say("plastic.cm3", volume=f"{cubic / 1000:.1f}")


def _grams(mass: float) -> str:
    return say("plastic.gram", mass=f"{mass:.0f}")

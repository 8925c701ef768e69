"""The strip pictures of a sheet: for every boot and half, the right line lies on the drawn mark.

A picture is known by the mark, two strokes wider than any other; the tongue's area lies between.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from jiggen.files import SHEET
from jiggen.units import number
from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.reading.entries import LadderLine, is_half, is_long
from jiggen.verify.reading.pdf import Box, Sheet, Word
from jiggen.verify.reading.stated import Stated, StatedLadder
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.stated_words import EDGES

MARK, LAID = 0.8, 0.5  # mm, widths of strokes: the mark, and the line that lies on it
LONG, HALF, SHORT = 1.9, 1.4, 0.8  # mm, lengths of lines
SCALE = 2.4  # mm drawn for a mm of the tongue
WIDTH = 0.02  # mm, by which a stroke's width may be off
NEAR, FAR = 4.0, 0.6  # mm from the mark to the boot's number; what a number may stand off its line
CODE = "verify.sheet-strip"


@dataclass(frozen=True)
class Strip:
    """One picture: x of its mark and the tongue's box on the page; what the mark is labelled."""

    x: float
    tongue: Box
    edge: str
    boot: str
    numbers: tuple[Word, ...]


def judge_strips(pages: Sequence[Sheet], stated: Stated, ledger: Ledger) -> None:
    """There is a picture for each boot on each half, and each is right."""
    found: dict[str, list[tuple[Strip, Array]]] = defaultdict(list)
    for page in (page for page in pages if page.size[0] < page.size[1]):
        strokes = np.array([(*s.start, *s.end, s.width) for s in page.strokes if s.upright])
        for strip in _strips(page, strokes.reshape(-1, 5)):
            found[strip.boot].append((strip, strokes))
    boots = {number(entry.boot): entry.boot for entry in stated.boots if stated.ladders}
    extra = ", ".join(sorted(found.keys() - boots.keys()))
    message = f"pictures of no boot length of the jig: {extra}"
    ledger.about(SHEET, "pictures of lines").expect(not extra, CODE, message)
    for words, boot in boots.items():
        mine, about = found[words], ledger.about(SHEET, f"boot {words}")
        wanted = len(stated.ladders)
        message = f"{len(mine)} pictures of its line instead of {wanted}"
        if about.expect(len(mine) == wanted, CODE, message):
            mine.sort(key=lambda one: one[0].x)
            for ladder, (strip, strokes) in zip(stated.ladders, mine, strict=True):
                _judge(ladder, boot, strip, strokes, about)


def _strips(page: Sheet, strokes: Array) -> Iterator[Strip]:
    marks = strokes[abs(strokes[:, 4] - MARK) < WIDTH]
    for area in page.areas:
        x0, y0, x1, y1 = area
        ends = marks[(marks[:, 0] > x0) & (marks[:, 0] < x1)]
        low, high = ends[:, [1, 3]].min(axis=1), ends[:, [1, 3]].max(axis=1)
        over = ends[abs(low - y1) < limits.PRINTED]
        under = ends[abs(high - y0) < limits.PRINTED]
        if len(over) != 1 or len(under) != 1 or abs(over[0, 0] - under[0, 0]) > limits.PRINTED:
            continue
        x = float(over[0, 0])
        spans = {"left": (y1, y1 + NEAR), "right": (y0 - NEAR, y0)}
        labels = [
            (edge, word.text)
            for word in page.words
            for edge, (foot, top) in spans.items()
            if x < word.box[0] < x + NEAR and foot < (word.box[1] + word.box[3]) / 2 < top
        ]
        inside = tuple(
            word
            for word in page.words
            if x0 < _middle(word) < x1 and y0 < (word.box[1] + word.box[3]) / 2 < y1
        )
        for edge, boot in labels[:1] if len(labels) == 1 else [("", "?")]:
            yield Strip(x, area, edge, boot, inside)


def _judge(ladder: StatedLadder, boot: float, strip: Strip, strokes: Array, about: Subject) -> None:
    """Its lines stand where the half's do about the line of this boot, at the edge named."""
    rows = {row.name: row.lines for row in ladder.rows if row.name != "shift"}
    serving = [
        (name, one)
        for name, lines in rows.items()
        for one in lines
        if name in EDGES and one.first <= boot <= one.last
    ]
    if not serving:
        return  # said of the ladder
    name, line = serving[0]
    about.expect(strip.edge == EDGES[name], CODE, f"{ladder.half}: it stands at the other edge")
    x0, y0, x1, y1 = strip.tongue
    edges = {"left": y1, "right": y0}
    for own, lines in rows.items():
        edge = edges[EDGES.get(own, "left")]
        drawn = [(strip.x + SCALE * (one.x - line.x), _length(own, one)) for one in lines]
        wanted = np.array(sorted(one for one in drawn if x0 <= one[0] <= x1)).reshape(-1, 2)
        there = (abs(strokes[:, [1, 3]] - edge) < limits.PRINTED).any(axis=1)
        there &= (strokes[:, 0] >= x0) & (strokes[:, 0] <= x1) & (strokes[:, 4] < MARK - WIDTH)
        long = abs(strokes[there, 1] - strokes[there, 3])
        at = np.array(sorted(zip(strokes[there, 0], long, strict=True))).reshape(-1, 2)
        same = len(at) == len(wanted) and bool((abs(at - wanted) < limits.PRINTED).all())
        message = f"{ladder.half}: the picture's lines are not those of its {own} ladder"
        about.expect(same, CODE, message)
        bold = strokes[there & (abs(strokes[:, 4] - LAID) < WIDTH), 0]
        right = len(bold) == (own == name) and bool((abs(bold - strip.x) < limits.PRINTED).all())
        message = f"{ladder.half}: another line than the one on the mark stands out"
        about.expect(right, CODE, message)
    places = {one.number: one.x for lines in rows.values() for one in lines if one.number}
    for word in strip.numbers:
        place = strip.x + SCALE * (places.get(word.text, np.inf) - line.x)
        message = f"{ladder.half}: the number {word.text} stands at another line"
        about.expect(abs(_middle(word) - place) < FAR, CODE, message)
    message = f"{ladder.half}: no number stands at its lines"
    about.expect(bool(strip.numbers), CODE, message)


def _length(row: str, line: LadderLine) -> float:
    """How long a line is drawn, mm: as it is on the top of the tongue, in kind."""
    if is_long(line):
        return LONG
    return HALF if is_half(row, line) else SHORT


def _middle(word: Word) -> float:
    return (word.box[0] + word.box[2]) / 2

"""The run sheet: an evening's pairs in the order they are drilled, to work from at the bench."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import get_args

from reportlab.platypus.flowables import Flowable

from jiggen import __version__
from jiggen.draw.figures import box
from jiggen.draw.fonts import fit, plain, width_of
from jiggen.draw.shapes import Line, Pen, Shape
from jiggen.evening import Clamping, Outcome, Plan, PlannedJig, Task
from jiggen.pattern.model import Side
from jiggen.record.results import DepthStop
from jiggen.report.evening.print_job import PrintJob, pieces
from jiggen.report.evening.words import (
    barred,
    by_lines,
    engraved_words,
    facts,
    holes_of,
    pair_words,
    steps,
    stop_words,
)
from jiggen.report.sheet import kit
from jiggen.report.sheet.document import Paper, frame_size, write_document
from jiggen.units import counted

TITLE, JIG, TICKET, STOP = 20.0, 15.0, 11.0, 15.0  # points: read at arm's length
TICK = 5.0  # mm, a box to tick with a pen in a gloved hand
PITCH = 10.2  # mm from a box with its number to the next
COLUMNS = {  # of a pair's row: shares of the width
    "ticket": 0.26,
    "set to": 0.12,
    "rails, toe / heel": 0.14,
    "left ski": 0.18,
    "right ski": 0.18,
    "screws, mm": 0.12,
}
LISTED = (0.05, 0.10, 0.44, 0.26, 0.09, 0.06)  # the list of jigs
PRINTED = (0.05, 0.14, 0.48, 0.08, 0.09, 0.09, 0.07)  # the list of beds
STRONG = Pen(0.5)
HALF = 9.6  # mm, the name of a half before its boxes
RIGHT = 2.0  # mm left free at the right of a cell


def run_sheet_pdf(
    plan: Plan, outcomes: Sequence[Outcome], job: PrintJob | None = None, *, paper: Paper = "A4"
) -> bytes:
    """The run sheet as PDF: the same bytes for the same plan, outcomes and print job.

    A pair of which any jig failed is marked not to be drilled.
    """
    width, _ = frame_size(paper)
    title = f"Run sheet: {counted(len(plan.pairs), 'pair')}"
    story = _Sheet(plan, outcomes, width, job).story()
    return write_document(story, paper, title, title, __version__)


class _Sheet:
    """The parts of one run sheet, `width` mm wide."""

    def __init__(
        self, plan: Plan, outcomes: Sequence[Outcome], width: float, job: PrintJob | None
    ) -> None:
        self.plan, self.width, self.job = plan, width, job
        self.barred = barred(plan, outcomes)
        self.jigs = {  # those that can be used, by number, each with its mark and folder's name
            count: (jig, outcome.jig_mark, plain(_place(outcome)))
            for count, (jig, outcome) in enumerate(zip(plan.jigs, outcomes, strict=True), start=1)
            if outcome.state != "failed"
        }
        self.used = {
            (task.pair.number, ski): count
            for count, jig in enumerate(plan.jigs, start=1)
            for task in jig.tasks
            for ski, _ in task.skis
        }

    def story(self) -> Iterator[Flowable]:
        yield from self._head()
        if self.barred:
            rows = [
                [kit.para(pair.row.ticket, TICKET, bold=True), kit.para(reason)]
                for pair, reason in self.barred.values()
            ]
            wide = (0.3 * self.width, 0.7 * self.width)
            heading = "DO NOT DRILL: no verified jig"
            yield kit.section(heading, rows, wide, below=1.0, right=RIGHT)
        rows = [[kit.para(step)] for step in kit.steps(steps(self.plan))]
        yield kit.section("For each ski", rows, (self.width,), below=0.8)
        yield kit.section(
            "Jigs in the order they are used",
            [
                [
                    kit.para(f"{count}"),
                    kit.para(mark, bold=True),
                    kit.para(f"{plain(jig.job.pattern.name)}, {facts(jig)}"),
                    kit.para(folder),
                    kit.para(counted(len(jig.tasks), "pair")),
                    kit.tick(TICK),
                ]
                for count, (jig, mark, folder) in self.jigs.items()
            ],
            [share * self.width for share in LISTED],
            names=("jig", "jig mark", "what it is", "folder with its files", "for", "ready"),
            ruled=True,
            above=1.6,
            below=1.6,
            right=RIGHT,
        )
        if self.job:
            yield from _printed(self.job, self.width)
        for count in self.jigs:
            yield self._jig(count)

    def _head(self) -> list[Flowable]:
        drills = sorted({round(stop.drill, 2) for jig in self.plan.jigs for stop in jig.stops})
        pairs, jigs = counted(len(self.plan.pairs), "pair"), counted(len(self.plan.jigs), "jig")
        room = kit.column(self.width, 4)
        fields = (
            kit.field("Skis to clamp", _clamped(self.plan), room),
            kit.field("Drills, each with a stop", ", ".join(f"{size:g}" for size in drills), room),
            kit.blank("Date", room),
            kit.blank("Drilled by", room),
        )
        return [
            kit.para("Run sheet", dim=kit.DIM),
            kit.para(f"{pairs} on {jigs}", TITLE, bold=True),
            kit.gap(2.0),
            kit.columns(self.width, *fields),
            kit.gap(1.0),
        ]

    def _jig(self, count: int) -> Flowable:
        """One jig: what it is, how it is set, and its pairs."""
        (jig, mark, folder), width = self.jigs[count], self.width
        name = f"Jig {count}{mark and f', {mark}'}: {plain(jig.job.pattern.name)}"
        first, *others = (pair_words(task, jig).notes for task in jig.tasks)
        common = [words for words in first if others and all(words in mine for mine in others)]
        heading = [
            kit.Picture(width, 3.0, [Line((0.0, -2.0), (width, -2.0), STRONG)]),
            kit.para(name, fit(name, JIG, 9.0, width, bold=True), bold=True),
            kit.para(f"{facts(jig)} · engraved: {engraved_words(jig, mark)}"),
            kit.para(folder, kit.SMALL, dim=kit.DIM),
        ]
        if self.job and (moved := self.job.moved.get(count)):
            words = f"Put on, from a jig before: {pieces(moved)}, with their screws and nuts."
            heading += [kit.gap(1.0), kit.para(words, bold=True)]
        if words := by_lines(jig):
            heading += [kit.gap(1.0), kit.para(words)]
        heading.append(kit.gap(1.5))
        for place, stop in enumerate(jig.stops, start=1):
            heading += _stop(place, stop, holes_of(stop, jig), width)
        for words in common:
            heading += _note(f"Note, every pair: {words}")
        names = (
            (share * width, kit.para(name, kit.SMALL, dim=kit.DIM))
            for name, share in COLUMNS.items()
        )
        heading += [kit.gap(1.5), kit.beside(*names)]
        rows = [[self._row(task, jig, common)] for task in jig.tasks]
        return kit.section(heading, rows, (width,), few=1, ruled=True, above=1.6, below=1.6)

    def _row(self, task: Task, jig: PlannedJig, common: Sequence[str]) -> list[Flowable]:
        """One pair: what to set, what to read, boxes to tick, screws, and notes."""
        row = task.pair.row
        words = pair_words(task, jig)
        own = [share * self.width for share in COLUMNS.values()]
        ticket = fit(row.ticket, TICKET, 7.0, own[0] - RIGHT, 2, bold=True)
        columns: list[tuple[float, kit.Cell]] = [
            (own[0], kit.para(row.ticket, ticket, bold=True)),
            (own[1], [kit.para(line) for line in words.setting]),
            (own[2], kit.para(words.rails)),
        ]
        if task.pair.number in self.barred:
            never = kit.para("DO NOT DRILL: the other ski has no verified jig", bold=True)
            return [kit.beside(*columns, (sum(own[3:]), never), right=RIGHT)]
        skis = dict(task.skis)
        for room, ski in zip(own[3:5], get_args(Side), strict=True):
            if ski in skis:
                columns.append((room, _boxes(skis[ski], room - RIGHT)))
            else:
                other = f"on jig {self.used[task.pair.number, ski]}"
                columns.append((room, kit.para(other, kit.SMALL, dim=kit.DIM)))
        columns.append((own[5], [kit.para(line) for line in words.screws]))
        found = [kit.beside(*columns, right=RIGHT)]
        for line in filter(None, (words.slot, words.mark)):
            found += _note(line, kit.BODY, bold=True)
        found += _note(words.opposite) if words.opposite else []
        notes = [line for line in words.notes if line not in common]
        return [*found, *(_note(f"Note: {' '.join(notes)}") if notes else [])]


def _printed(job: PrintJob, width: float) -> Iterator[Flowable]:
    """What is printed and bought for the evening, with a box to tick for each bed."""
    shares = [share * width for share in (0.14, 0.86)]
    facts = [[kit.para(heading, bold=True), kit.para(plain(text))] for heading, text in job.words()]
    yield kit.section("To print and to buy", facts, shares, below=0.8, right=RIGHT)
    rows = []
    for bed in job.beds:
        what = pieces(bed.pieces)
        if bed.left_out:
            what += f" (leave out {pieces(bed.left_out)}: there from a jig before)"
        cells = (f"{bed.jig}", bed.file, what, f"{bed.infill} %", f"{bed.grams:.0f} g")
        rows.append([*map(kit.para, (*cells, f"{bed.hours:.1f} h")), kit.tick(TICK)])
    yield kit.section(
        "Beds in the order they are printed",
        rows,
        [share * width for share in PRINTED],
        names=("jig", "file in its folder", "pieces", "infill", "plastic", "about", "done"),
        ruled=True,
        above=1.0,
        below=1.0,
        right=RIGHT,
    )


def _boxes(clampings: Sequence[Clamping], room: float) -> Flowable:
    """A box to tick for each setting of a ski, in order, those of each half by themselves."""
    shapes: list[Shape] = []
    line = 0
    for clamping in clampings:
        left = HALF if clamping.half else 0.0
        if clamping.half:
            at = (0.0, -line * (TICK + 1.4) - TICK + 1.0)
            size = fit(clamping.half, kit.BODY, 5.0, HALF, bold=True)
            shapes.append(kit.typeset(at, clamping.half, size, bold=True))
        in_line = max(1, int((room - left) // PITCH))
        for place, stop in enumerate(clamping.stops):
            x, y = left + place % in_line * PITCH, -(line + place // in_line) * (TICK + 1.4)
            at = (x + 4.6, y - TICK + 1.0)
            shapes.append(kit.typeset(at, f"{stop}", TICKET, bold=True, anchor="end"))
            shapes += box((x + 5.0, y - TICK - 0.2), (x + 5.0 + TICK, y - 0.2), kit.BOX)
        line += math.ceil(len(clamping.stops) / in_line)
    return kit.Picture(room, line * (TICK + 1.4) - 1.0, shapes)


def _place(outcome: Outcome) -> str:
    """Where a jig is."""
    owned = outcome.state == "owned"
    return f"on the shelf: {outcome.folder}" if owned else outcome.folder.name


def _clamped(plan: Plan) -> str:
    """How many skis there are and, where halves are clamped by themselves, how many clampings."""
    more = plan.clampings - plan.skis
    return f"{plan.skis}" + (f", in {plan.clampings} clampings" if more else "")


def _stop(place: int, stop: DepthStop, holes: str, width: float) -> list[Flowable]:
    """One depth stop, its place in the jig's list and its lengths large."""
    shapes: list[Shape] = [
        *box((0.0, -6.6), (6.6, 0.0), STRONG),
        kit.typeset((3.3, -5.2), f"{place}", STOP, bold=True, anchor="middle"),
    ]
    x = 10.0
    *large, rest = stop_words(stop)
    for words in large:
        shapes.append(kit.typeset((x, -5.2), words, STOP, bold=True))
        x += width_of(words, STOP, bold=True) + 6.0
    shapes.append(kit.typeset((x, -5.2), rest, kit.BODY))
    return [
        kit.Picture(width, 7.4, shapes),
        kit.beside((10.0, []), (width - 10.0, kit.para(holes, kit.SMALL))),
    ]


def _note(words: str, size: float = kit.SMALL, *, bold: bool = False) -> list[Flowable]:
    return [kit.gap(0.6), kit.para(words, size, bold=bold), kit.gap(0.4)]

"""The run sheet: an evening's pairs in the order they are drilled, to work from at the bench."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import get_args

from reportlab.platypus.flowables import Flowable

from jiggen import __version__
from jiggen.accuracy.lift import force_on
from jiggen.design.engraving import words as engraved
from jiggen.draw.figures import box
from jiggen.draw.fonts import fit, plain, width_of
from jiggen.draw.shapes import Line, Pen, Shape
from jiggen.drilling import SkiMark
from jiggen.evening import Clamping, Outcome, Plan, PlannedJig, Task
from jiggen.evening.check import Pair
from jiggen.pattern.model import Side
from jiggen.record.ladders import tell_lines
from jiggen.record.results import DepthStop
from jiggen.report.evening.print_job import PrintJob, pieces
from jiggen.report.mark import slot_words, where_marked
from jiggen.report.sheet import kit
from jiggen.report.sheet.document import Paper, frame_size, write_document
from jiggen.report.sides import PRESS, measured_where
from jiggen.units import counted, number

TITLE, JIG, TICKET, STOP = 20.0, 15.0, 11.0, 15.0  # points: read at arm's length
TICK = 5.0  # mm, a box to tick with a pen in a gloved hand
PITCH = 10.2  # mm from a box with its number to the next
STEPS = (
    "Keep to the order of this sheet: it changes jig, drill and depth stop the fewest times. The "
    "second ski starts with the setting that the first one ended with.",
    "Compare jig mark, ticket, boot, shift and core with the ski and with what is engraved on the "
    "jig.",
    "Fix the ski. Lay the jig on, arrow to the tip, turn the knobs until the rails nearly touch, "
    "and slide its line onto the mounting mark.",
    "{press}, and turn the knobs until all four rails press on the ski. Look at the line again, "
    "and lock.",
    "Read all four rails: left and right must agree at each station, and be near the numbers given "
    "(half the ski's width, measured {where}). Clamp the jig down firmly.",
    "Set drill and depth stop by the number, drill all holes of that setting, and tick its box. "
    "Then the next box. Only when all are ticked take the jig off, or that half of it.",
    "Drill a scrap board first with every new setting, and measure its depth.",
)
BY_LINES = (
    "The halves are used one after the other. Clamp the one whose boxes come first and drill all "
    "its settings; take it off only then, and clamp the other: no half twice on a ski. "
    "Set each half by itself: slide it until its line, given with each pair, lies on the ski's "
    "mark, seen straight down at that edge of its tongue. Where no number stands at it, count "
    "lines, not millimetres, from the number that is named. Read the line twice: on a wrong one "
    "every hole is in the wrong place."
)
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
UNSEEN = 0.05  # mm that a hole may be off and no caliper could tell: common practice, no source


def barred(plan: Plan, outcomes: Sequence[Outcome]) -> dict[int, tuple[Pair, str]]:
    """Pairs that must not be drilled since a jig of theirs failed, by row, and why."""
    found: dict[int, tuple[Pair, str]] = {}
    for count, (jig, outcome) in enumerate(zip(plan.jigs, outcomes, strict=True), start=1):
        if outcome.state == "failed":
            pattern, boot = plain(jig.job.pattern.name), number(jig.job.boots[0])
            why = f"jig {count}, {pattern}, boot {boot}: {plain(outcome.faults[0].message)}"
            for task in jig.tasks:
                found.setdefault(task.pair.number, (task.pair, why))
    return found


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
        rows = [[kit.para(step)] for step in kit.steps(_steps(self.plan))]
        yield kit.section("For each ski", rows, (self.width,), below=0.8)
        yield kit.section(
            "Jigs in the order they are used",
            [
                [
                    kit.para(f"{count}"),
                    kit.para(mark, bold=True),
                    kit.para(f"{plain(jig.job.pattern.name)}, {_facts(jig)}"),
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
        boots = None if jig.job.one_boot else jig.job.whole_boots
        marks = plain(
            " · ".join([*engraved(jig.job.lay_out(), boots)[1:], *([mark] if mark else [])])
        )
        first, *others = (_notes(task) for task in jig.tasks)
        common = [words for words in first if others and all(words in mine for mine in others)]
        heading = [
            kit.Picture(width, 3.0, [Line((0.0, -2.0), (width, -2.0), STRONG)]),
            kit.para(name, fit(name, JIG, 9.0, width, bold=True), bold=True),
            kit.para(f"{_facts(jig)} · engraved: {marks}"),
            kit.para(folder, kit.SMALL, dim=kit.DIM),
        ]
        if self.job and (moved := self.job.moved.get(count)):
            words = f"Put on, from a jig before: {pieces(moved)}, with their screws and nuts."
            heading += [kit.gap(1.0), kit.para(words, bold=True)]
        if jig.halves:
            words = BY_LINES
            for band in [band for half in jig.halves for band in half.bands][:1]:
                words += f" Two numbers, {band}, are one line for all boots between them."
            heading += [kit.gap(1.0), kit.para(words)]
        heading.append(kit.gap(1.5))
        for place, stop in enumerate(jig.stops, start=1):
            heading += _stop(place, stop, _holes(stop, jig), width)
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
        setting = [f"boot {number(row.boot)}"]
        setting += ["any boot"] if not jig.halves and not jig.job.one_boot else []
        setting += [f"shift {row.shift:+g}"] if row.shift else []
        setting += ["by the slot"] if task.by_slot else []
        rails = f"{number(row.ski_toe / 2, 1)} / {number(row.ski_heel / 2, 1)}"
        own = [share * self.width for share in COLUMNS.values()]
        ticket = fit(row.ticket, TICKET, 7.0, own[0] - RIGHT, 2, bold=True)
        columns: list[tuple[float, kit.Cell]] = [
            (own[0], kit.para(row.ticket, ticket, bold=True)),
            (own[1], [kit.para(line) for line in setting]),
            (own[2], kit.para(rails)),
        ]
        if task.pair.number in self.barred:
            words = kit.para("DO NOT DRILL: the other ski has no verified jig", bold=True)
            return [kit.beside(*columns, (sum(own[3:]), words), right=RIGHT)]
        skis = dict(task.skis)
        drilling = task.drilled.drilling
        screws = [
            f"{count * len(skis)} of {number(length)}"
            for length, count in sorted(drilling.screws.items(), reverse=True)
        ]
        screws += ["no screw at hand fits: see the note"] if drilling.unfit else []
        for room, ski in zip(own[3:5], get_args(Side), strict=True):
            if ski in skis:
                columns.append((room, _boxes(skis[ski], room - RIGHT)))
            else:
                words = f"on jig {self.used[task.pair.number, ski]}"
                columns.append((room, kit.para(words, kit.SMALL, dim=kit.DIM)))
        columns.append((own[5], [kit.para(line) for line in screws or ["not given"]]))
        found = [kit.beside(*columns, right=RIGHT)]
        notes = [words for words in _notes(task) if words not in common]
        if task.by_slot:
            words = slot_words(task.by_slot, jig.slot_error)
            found += _note(words, kit.BODY, bold=True)
        if jig.halves:
            readings, offs = zip(*(half.on_the_mark(row.boot) for half in jig.halves), strict=True)
            names = (plain(half.name) for half in jig.halves)
            mark, opposite = tell_lines(dict(zip(names, readings, strict=True)))
            found += _note(f"On the mark: {plain(mark)}", kit.BODY, bold=True)
            found += _note(f"At the mark opposite: {plain(opposite)}") if opposite else []
            if max(offs) >= UNSEEN:
                between = f"boot {number(row.boot)} lies between two lines: holes come up to"
                notes.insert(0, f"{between} {number(max(offs))} mm from the pattern's place.")
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


def _facts(jig: PlannedJig) -> str:
    """What a jig is for."""
    job = jig.job
    least, most = map(number, job.boots)
    boots = f"boots from {least} to {most} mm, by the line on the mark"
    if not jig.halves:
        boots = f"any boot from {least} to {most} mm"
    if least == most:
        boots = f"boot {least} mm"
    facts = [boots, job.core, f"skis {'–'.join(map(number, job.skis))} mm wide"]
    if job.shift:
        way = "tip" if job.shift > 0 else "tail"
        facts.append(f"shift {number(abs(job.shift))} mm to the {way}")
    if job.pattern.pair == "mirrored":
        facts.append(f"{job.side} skis only")
    return " · ".join(facts)


def _place(outcome: Outcome) -> str:
    """Where a jig is."""
    owned = outcome.state == "owned"
    return f"on the shelf: {outcome.folder}" if owned else outcome.folder.name


def _clamped(plan: Plan) -> str:
    """How many skis there are and, where halves are clamped by themselves, how many clampings."""
    more = plan.clampings - plan.skis
    return f"{plan.skis}" + (f", in {plan.clampings} clampings" if more else "")


def _steps(plan: Plan) -> Iterator[str]:
    """What to do for each ski; all jigs of an evening are for skis with the same sides."""
    for settings in [jig.job.settings for jig in plan.jigs][:1]:
        # Not less the jig's weight: some are lighter than others.
        lift = force_on(settings)
        press = f"{PRESS} ({math.ceil(lift)} newton)" if lift else PRESS
        where = measured_where(settings.rail_depth)
        yield from (step.format(press=press, where=where) for step in STEPS)


def _holes(stop: DepthStop, jig: PlannedJig) -> str:
    """Which holes are drilled with a stop, those of each half by themselves."""
    if len(jig.stops) == 1:
        return "every hole"
    layout = jig.tasks[0].drilled.layout
    shares = [(f"{plain(half.name)} half: ", half.drills(layout)) for half in jig.halves]
    found = (
        (name, [plain(hole) for hole in stop.holes if hole in share])
        for name, share in shares or [("", frozenset(stop.holes))]
    )
    return " · ".join(name + ", ".join(holes) for name, holes in found if holes)


def _stop(place: int, stop: DepthStop, holes: str, width: float) -> list[Flowable]:
    """One depth stop, its place in the jig's list and its lengths large."""
    shapes: list[Shape] = [
        *box((0.0, -6.6), (6.6, 0.0), STRONG),
        kit.typeset((3.3, -5.2), f"{place}", STOP, bold=True, anchor="middle"),
    ]
    x = 10.0
    for words in (f"drill {number(stop.drill)}", f"stop {number(stop.from_tip, 1)} to the tip"):
        shapes.append(kit.typeset((x, -5.2), words, STOP, bold=True))
        x += width_of(words, STOP, bold=True) + 6.0
    rest = f"({number(stop.from_corners, 1)} to the corners), {number(stop.depth)} deep"
    shapes.append(kit.typeset((x, -5.2), rest, kit.BODY))
    return [
        kit.Picture(width, 7.4, shapes),
        kit.beside((10.0, []), (width - 10.0, kit.para(holes, kit.SMALL))),
    ]


def _notes(task: Task) -> list[str]:
    """What to know of a pair: warnings of its drilling, and its old holes."""
    words = [
        f"{plain(one.key)}: {plain(one.message)}. {plain(one.hint)}"
        for one in task.drilled.drilling.warnings
    ]
    if task.pair.row.mark:
        words.insert(0, where_marked(SkiMark(*task.pair.row.mark)))
    if task.drilled.old is not None:
        again = [
            f"{plain(one.new)} takes the place of {plain(one.old)} ({number(one.distance)} mm "
            "off): see that the drill does not wander."
            for one in task.drilled.old.reused
        ]
        words += again or ["old holes are clear of these."]
    return words


def _note(words: str, size: float = kit.SMALL, *, bold: bool = False) -> list[Flowable]:
    return [kit.gap(0.6), kit.para(words, size, bold=bold), kit.gap(0.4)]

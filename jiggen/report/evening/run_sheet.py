"""The run sheet: an evening's pairs in the order they are drilled, to work from at the bench."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice

from jiggen import __version__
from jiggen.design.engraving import words as engraved
from jiggen.draw.fonts import fit, plain, width_of
from jiggen.errors import InputError
from jiggen.evening import Pair, Plan, PlannedJig, Task
from jiggen.pattern import Side
from jiggen.record import DepthStop
from jiggen.report.evening.build import Outcome
from jiggen.report.evening.lines import HalfLines, OnTheMark, bands, halves_of, on_the_mark
from jiggen.report.evening.words import counted, say
from jiggen.report.sheet.block import Block, Section, beside, flow, paragraph, space, stack
from jiggen.report.sheet.feet import add_feet, frame_of
from jiggen.report.sheet.forms import BODY, BOX, RULE, SMALL, blank, cell, head_line
from jiggen.report.sheet.page import Line, Page, Paper, Pen, Shapes, Text, page_size
from jiggen.report.sheet.pdf import written
from jiggen.units import number

TITLE, JIG, TICKET, STOP = 20.0, 15.0, 11.0, 15.0  # points: read at arm's length
TICK = 5.0  # mm, a box to tick with a pen in a gloved hand
PITCH = 12.0  # mm from a box with its number to the next
STEPS = ("order", "ticket", "mark", "readings", "drill", "test")
COLUMNS = (0.32, 0.13, 0.15, 0.14, 0.14, 0.12)  # shares of the width, a pair's row
LISTED = (0.06, 0.49, 0.30, 0.09, 0.06)  # the list of jigs
STRONG = Pen(0.5)
UNSEEN = 0.05  # mm that a hole may be off and no caliper could tell: common practice, no source


def check_tickets(plan: Plan) -> None:
    """Raise InputError for tickets that cannot be printed as they are written."""
    faults = [
        pair.place.fault(
            "ticket",
            "ticket",
            f"{plain(pair.row.ticket)!r} has characters that the run sheet cannot print",
            "Write it with letters of the Latin, Greek or Cyrillic alphabet, or with a number.",
        )
        for pair in plan.pairs
        if plain(pair.row.ticket) != pair.row.ticket
    ]
    if faults:
        raise InputError(faults)


def run_sheet_pdf(plan: Plan, outcomes: Sequence[Outcome], *, paper: Paper = "A4") -> bytes:
    """The run sheet as PDF: the same bytes for the same plan and outcomes.

    `outcomes` are what became of the plan's jigs.  A pair of which any jig failed is marked not
    to be drilled.
    """
    return written(run_sheet_pages(plan, outcomes, paper), say("title", pairs=len(plan.pairs)))


def run_sheet_pages(plan: Plan, outcomes: Sequence[Outcome], paper: Paper) -> list[Page]:
    """The pages of the run sheet, before they are written."""
    size = page_size(paper)
    frame = frame_of(size)
    sheet = _Sheet(plan, outcomes, frame.width)
    pages = flow(list(sheet.sections()), frame, size)
    add_feet(pages, say("title", pairs=len(plan.pairs)), __version__)
    return pages


class _Sheet:
    """The sections of one run sheet, `width` mm wide."""

    def __init__(self, plan: Plan, outcomes: Sequence[Outcome], width: float) -> None:
        self.plan, self.outcomes, self.width = plan, outcomes, width
        self.barred = barred(plan, outcomes)
        self.halves = {
            jig.job: halves_of(jig.job)
            for jig, outcome in self._each()
            if outcome.state != "failed"
        }
        self.used = {
            (task.pair.row.number, ski): count
            for count, jig in enumerate(plan.jigs, start=1)
            for task in jig.tasks
            for ski, _ in task.skis
        }

    def sections(self) -> Iterator[Section]:
        yield Section(space(0.0), (self._head(),))
        if self.barred:
            yield self._do_not_drill()
        steps = (f"{n}. {say(f'steps.{step}')}" for n, step in enumerate(STEPS, start=1))
        lines = [stack([paragraph(step, BODY, self.width), space(0.8)]) for step in steps]
        yield Section(head_line(say("steps.heading"), self.width), tuple(lines))
        yield self._list()
        for count, (jig, outcome) in enumerate(self._each(), start=1):
            if outcome.state != "failed":
                yield self._jig(count, jig, outcome)

    def _each(self) -> Iterator[tuple[PlannedJig, Outcome]]:
        return zip(self.plan.jigs, self.outcomes, strict=True)

    # -- before the jigs -------------------------------------------------------------------------

    def _head(self) -> Block:
        drills = sorted({round(s.drill, 2) for jig in self.plan.jigs for s in jig.stops})
        column = self.width / 4
        title = say(
            "heading",
            pairs=counted("pairs", len(self.plan.pairs)),
            jigs=counted("jigs", len(self.plan.jigs)),
        )
        cells = (
            cell(say("head.skis"), f"{self.plan.skis}", column - 4.0),
            cell(say("head.drills"), ", ".join(f"{d:g}" for d in drills), column - 4.0),
            blank(say("head.date"), column - 4.0),
            blank(say("head.by"), column),
        )
        return stack(
            [
                paragraph(say("kind"), BODY, self.width, grey=0.3),
                paragraph(title, TITLE, self.width, bold=True),
                space(2.0),
                beside((n * column, one) for n, one in enumerate(cells)),
                space(1.0),
            ]
        )

    def _do_not_drill(self) -> Section:
        rows = []
        for pair, reason in self.barred.values():
            left = 0.3 * self.width
            rows.append(
                stack(
                    [
                        beside(
                            [
                                (0.0, paragraph(pair.row.ticket, TICKET, left - 3.0, bold=True)),
                                (left, paragraph(reason, BODY, self.width - left)),
                            ]
                        ),
                        space(1.0),
                    ]
                )
            )
        return Section(head_line(say("stop.heading"), self.width), tuple(rows))

    def _list(self) -> Section:
        names = ("number", "what", "folder", "work", "ready")
        head = _cells([say(f"list.{name}") for name in names], LISTED, self.width, SMALL, grey=0.3)
        rows = []
        for count, (jig, outcome) in enumerate(self._each(), start=1):
            if outcome.state == "failed":
                continue
            words = [
                f"{count}",
                f"{plain(jig.job.pattern.name)}, {self._facts(jig)}",
                plain(outcome.folder.name),
                counted("pairs", len(jig.tasks)),
                "",
            ]
            row = _cells(words, LISTED, self.width, BODY)
            box = Shapes()
            x = sum(LISTED[:4]) * self.width
            box.box((x, -TICK - 0.6), (x + TICK, -0.6), BOX)
            rows.append(_ruled(beside([(0.0, row), (0.0, Block(TICK + 1.0, box))]), self.width))
        title = head_line(say("list.heading"), self.width)
        return Section(stack([title, head]), tuple(rows))

    # -- one jig ---------------------------------------------------------------------------------

    def _jig(self, count: int, jig: PlannedJig, outcome: Outcome) -> Section:
        width = self.width
        name = say("jig.heading", number=count, pattern=plain(jig.job.pattern.name))
        boots = None if jig.job.one_boot else jig.job.whole_boots
        marks = engraved(jig.job.lay_out(), boots)[1:]
        work = say("jig.engraved", words=plain(" · ".join(marks)))
        alike = _common(jig.tasks)
        head = [
            Block(3.0, Shapes(lines=[Line((0.0, -2.0), (width, -2.0), STRONG)])),
            paragraph(name, fit(name, JIG, 9.0, width, bold=True), width, bold=True),
            paragraph(f"{self._facts(jig)} · {work}", BODY, width),
            paragraph(say("jig.folder", folder=plain(outcome.folder.name)), SMALL, width, grey=0.3),
            *_how_to_set(self.halves[jig.job], width),
            space(1.5),
            *(
                _stop(n, stop, len(jig.stops) == 1, width)
                for n, stop in enumerate(jig.stops, start=1)
            ),
            *(_note(say("mind.all", words=words), width) for words in alike),
            _names(width),
        ]
        rows = tuple(self._row(task, jig, alike) for task in jig.tasks)
        return Section(stack(head), rows)

    def _facts(self, jig: PlannedJig) -> str:
        job = jig.job
        least, most = map(number, job.boots)
        several = "jig.ladder" if self.halves[job] else "jig.boots"
        boots = (
            say("jig.boot", boot=least) if least == most else say(several, least=least, most=most)
        )
        facts = [say("jig.facts", boots=boots, ski="–".join(map(number, job.skis)))]
        if job.shift:
            way = "shift.tip" if job.shift > 0 else "shift.tail"
            facts.append(say(way, shift=number(abs(job.shift))))
        if job.pattern.pair == "mirrored":
            facts.append(say("jig.side", side=job.side))
        return " · ".join(facts)

    def _row(self, task: Task, jig: PlannedJig, alike: Sequence[str]) -> Block:
        """One pair: what to set, what to read, boxes to tick, screws, and what to mind."""
        row, width = task.pair.row, self.width
        halves = self.halves[jig.job]
        setting = [say("row.boot", boot=number(row.boot))]
        setting += [say("row.any")] if not halves and not jig.job.one_boot else []
        setting += [say("row.shift", shift=f"{row.shift:+g}")] if row.shift else []
        rails = say("row.rail", toe=number(row.ski_toe / 2, 1), heel=number(row.ski_heel / 2, 1))
        xs = [sum(COLUMNS[:n]) * width for n in range(len(COLUMNS))]
        room = [share * width - 2.0 for share in COLUMNS]
        ticket = fit(row.ticket, TICKET, 7.0, room[0], 2, bold=True)
        columns = [
            (xs[0], paragraph(row.ticket, ticket, room[0], bold=True)),
            (xs[1], stack(paragraph(line, BODY, room[1]) for line in setting)),
            (xs[2], paragraph(rails, BODY, room[2])),
        ]
        if row.number in self.barred:
            words = paragraph(say("stop.row"), BODY, width - xs[3], bold=True)
            return _ruled(beside([*columns, (xs[3], words)]), width)
        skis = dict(task.skis)
        columns += [
            (xs[3], self._boxes(row.number, "left", skis, room[3])),
            (xs[4], self._boxes(row.number, "right", skis, room[4])),
            (xs[5], _screws(task, room[5])),
        ]
        lines = tuple(on_the_mark(halves, jig.job, row.boot))
        mind = _between(lines, row.boot)
        mind += [words for words in _mind(task) if words not in alike]
        below = [_lines(lines, width)] if lines else []
        below += [_note(say("mind", words=" ".join(mind)), width)] if mind else []
        return _ruled(stack([beside(columns), *below]), width)

    def _boxes(
        self, row: int, ski: Side, skis: Mapping[Side, tuple[int, ...]], room: float
    ) -> Block:
        """A box to tick for each setting of a ski, in order; or which jig the ski is drilled on."""
        if ski not in skis:
            return paragraph(say("row.elsewhere", jig=self.used[row, ski]), SMALL, room, grey=0.3)
        in_line = max(1, int(room // PITCH))
        shapes = Shapes()
        for place, stop in enumerate(skis[ski]):
            x, y = place % in_line * PITCH, -(place // in_line) * (TICK + 1.4)
            name = f"{stop}"
            at = (x + 4.6, y - TICK + 1.0)
            shapes.texts.append(Text(at, name, TICKET, bold=True, anchor="end"))
            shapes.box((x + 5.2, y - TICK - 0.2), (x + 5.2 + TICK, y - 0.2), BOX)
        lines = -(-len(skis[ski]) // in_line)
        return Block(lines * (TICK + 1.4) - 1.0, shapes)


def barred(plan: Plan, outcomes: Sequence[Outcome]) -> dict[int, tuple[Pair, str]]:
    """Pairs that must not be drilled since a jig of theirs failed, by row, and why."""
    found: dict[int, tuple[Pair, str]] = {}
    for count, (jig, outcome) in enumerate(zip(plan.jigs, outcomes, strict=True), start=1):
        if outcome.state != "failed":
            continue
        why = say(
            "stop.reason",
            jig=count,
            pattern=plain(jig.job.pattern.name),
            boot=number(jig.job.boots[0]),
            reason=plain(outcome.faults[0].message),
        )
        for task in jig.tasks:
            found.setdefault(task.pair.row.number, (task.pair, why))
    return found


# -- words and pieces ----------------------------------------------------------------------------


def _how_to_set(halves: tuple[HalfLines, ...], width: float) -> list[Block]:
    """How the halves of a jig with ladders are set; nothing of any other jig."""
    if not halves:
        return []
    said = [say("jig.lines"), *(say("jig.bands", band=band) for band in islice(bands(halves), 1))]
    return [space(1.0), paragraph(" ".join(said), BODY, width)]


def _lines(lines: Sequence[OnTheMark], width: float) -> Block:
    """The line of each half that goes on the mark, in the words engraved on its ladder."""
    named = [
        say("row.line", line=plain(one.line.line), edge=one.line.edge)
        if one.line
        else say("row.one")
        for one in lines
    ]
    said = [
        say("row.half", half=plain(one.half), line=line)
        for one, line in zip(lines, named, strict=True)
    ]
    if len(set(named)) == 1 < len(named):
        said = [say("row.every", line=named[0])]
    return _note(say("row.lines", lines=" · ".join(said)), width, BODY, bold=True)


def _between(lines: Iterable[OnTheMark], boot: float) -> list[str]:
    """What to mind of a boot that has no line of its own."""
    off = max((one.off for one in lines), default=0.0)
    return [say("mind.between", boot=number(boot), off=number(off))] if off >= UNSEEN else []


def _stop(place: int, stop: DepthStop, only: bool, width: float) -> Block:
    """One depth stop, its place in the jig's list and its lengths large."""
    holes = say("set.every") if only else ", ".join(map(plain, stop.holes))
    shapes = Shapes()
    shapes.box((0.0, -6.6), (6.6, 0.0), STRONG)
    shapes.texts.append(Text((3.3, -5.2), f"{place}", STOP, bold=True, anchor="middle"))
    large = (
        say("set.drill", drill=number(stop.drill)),
        say("set.tip", length=number(stop.from_tip, 1)),
    )
    x = 10.0
    for words in large:
        shapes.texts.append(Text((x, -5.2), words, STOP, bold=True))
        x += width_of(words, STOP, bold=True) + 6.0
    rest = f"{say('set.corners', length=number(stop.from_corners, 1))}, " + say(
        "set.depth", depth=number(stop.depth)
    )
    shapes.texts.append(Text((x, -5.2), rest, BODY))
    return stack([Block(7.4, shapes), beside([(10.0, paragraph(holes, SMALL, width - 10.0))])])


def _names(width: float) -> Block:
    """The heads of the columns of a jig's rows."""
    keys = ("ticket", "set", "rails", "left", "right", "screws")
    words = [say(f"row.{key}") for key in keys]
    words[2] = f"{words[2]} {say('row.ends')}"
    return stack([space(1.5), _cells(words, COLUMNS, width, SMALL, grey=0.3)])


def _screws(task: Task, room: float) -> Block:
    """How many screws of each length the pair takes on this jig."""
    lengths = Counter(hole.screw for hole in task.drilled.drilling.holes if hole.screw)
    lines = [
        say("row.screw", count=count * len(task.skis), length=number(length))
        for length, count in sorted(lengths.items(), reverse=True)
    ]
    return stack(paragraph(line, BODY, room) for line in lines or [say("row.unknown")])


def _mind(task: Task) -> list[str]:
    """What to mind at a pair: warnings of its drilling, and its old holes."""
    said = [
        say("mind.warning", holes=plain(one.key), message=plain(one.message), hint=plain(one.hint))
        for one in task.drilled.drilling.warnings
    ]
    old = task.drilled.old
    if old is None:
        return said
    again = [
        say("mind.reuse", new=plain(one.new), distance=number(one.distance)) for one in old.reused
    ]
    return [*said, *(again or [say("mind.clear")])]


def _common(tasks: Sequence[Task]) -> list[str]:
    """What is to be minded at every one of several pairs."""
    first, *others = (_mind(task) for task in tasks)
    return [words for words in first if others and all(words in mine for mine in others)]


def _note(words: str, width: float, size: float = SMALL, *, bold: bool = False) -> Block:
    return stack([space(0.6), paragraph(words, size, width, bold=bold), space(0.4)])


def _cells(
    words: Iterable[str], shares: Sequence[float], width: float, size: float, grey: float = 0.0
) -> Block:
    """One row of a table, each text on as many lines as its column needs."""
    xs = [sum(shares[:n]) * width for n in range(len(shares))]
    return beside(
        (x, paragraph(text, size, share * width - 2.0, grey=grey))
        for x, share, text in zip(xs, shares, words, strict=True)
    )


def _ruled(row: Block, width: float) -> Block:
    """A row under a thin rule, with room about it."""
    rule = Shapes(lines=[Line((0.0, 0.0), (width, 0.0), RULE)])
    return stack([Block(1.6, rule), row, space(1.6)])

"""The run sheet: an evening's pairs in the order they are drilled, to work from at the bench."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import islice

from reportlab.platypus.flowables import Flowable

from jiggen import __version__
from jiggen.design.engraving import words as engraved
from jiggen.draw.figures import box
from jiggen.draw.fonts import fit, plain, width_of
from jiggen.draw.shapes import Line, Pen, Shape
from jiggen.errors import Finding, InputError
from jiggen.evening import Outcome, Plan, PlannedJig, Task
from jiggen.evening.check import Pair
from jiggen.pattern import Side
from jiggen.record import DepthStop
from jiggen.report.evening.lines import HalfLines, OnTheMark, bands, halves_of, on_the_mark
from jiggen.report.sheet import kit
from jiggen.report.sheet.document import Paper, frame_size, write_document
from jiggen.units import counted, number

TITLE, JIG, TICKET, STOP = 20.0, 15.0, 11.0, 15.0  # points: read at arm's length
TICK = 5.0  # mm, a box to tick with a pen in a gloved hand
PITCH = 12.0  # mm from a box with its number to the next
STEPS = (
    "Keep to the order of this sheet: it changes jig, drill and depth stop the fewest times. The "
    "second ski starts with the setting that the first one ended with.",
    "Compare ticket, boot, shift and core with the ski and with what is engraved on the jig.",
    "Fix the ski. Lay the jig on, arrow to the tip, turn the knobs until all four rails touch, and "
    "slide its line onto the mounting mark. Lock, and look again.",
    "Read all four rails: left and right must agree at each station, and be near the numbers given "
    "(half the ski's width where it was measured).",
    "Set drill and depth stop by the number, drill all holes of that setting, and tick its box. "
    "Then the next number. Only then take the jig off.",
    "Drill a scrap board first with every new setting, and measure its depth.",
)
BY_LINES = (
    "Set each half by itself: slide it until its line, given with each pair, lies on the ski's "
    "mark, seen straight down at that edge of its tongue. + and − count lines on from the number, "
    "+ towards longer boots. Read the line twice: on a wrong one every hole is in the wrong place."
)
COLUMNS = (0.32, 0.13, 0.15, 0.14, 0.14, 0.12)  # shares of the width, a pair's row
NAMES = ("ticket", "set to", "rails read about toe / heel", "left ski", "right ski", "screws")
LISTED = (0.06, 0.49, 0.30, 0.09, 0.06)  # the list of jigs
STRONG = Pen(0.5)
RIGHT = 2.0  # mm left free at the right of a cell
UNSEEN = 0.05  # mm that a hole may be off and no caliper could tell: common practice, no source


def check_tickets(plan: Plan) -> None:
    """Raise InputError for tickets that cannot be printed as they are written."""
    faults = [
        pair.place.at(
            "ticket",
            Finding(
                "evening.ticket",
                f"{plain(pair.row.ticket)!r} has characters that the run sheet cannot print",
                hint="Write it with letters of the Latin, Greek or Cyrillic alphabet, or a number.",
            ),
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
    width, _ = frame_size(paper)
    title = f"Run sheet: {counted(len(plan.pairs), 'pair')}"
    story = _Sheet(plan, outcomes, width).story()
    return write_document(story, paper, title, title, __version__)


class _Sheet:
    """The parts of one run sheet, `width` mm wide."""

    def __init__(self, plan: Plan, outcomes: Sequence[Outcome], width: float) -> None:
        self.plan, self.outcomes, self.width = plan, outcomes, width
        self.barred = barred(plan, outcomes)
        self.halves = {
            jig.job: halves_of(jig.job)
            for jig, outcome in self._each()
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
            yield self._do_not_drill()
        rows = [[kit.para(f"{n}. {step}")] for n, step in enumerate(STEPS, start=1)]
        yield kit.section(kit.headline("For each ski", self.width), rows, (self.width,), below=0.8)
        yield self._list()
        for count, (jig, outcome) in enumerate(self._each(), start=1):
            if outcome.state != "failed":
                yield self._jig(count, jig, outcome)

    def _each(self) -> Iterator[tuple[PlannedJig, Outcome]]:
        return zip(self.plan.jigs, self.outcomes, strict=True)

    # -- before the jigs -------------------------------------------------------------------------

    def _head(self) -> list[Flowable]:
        drills = sorted({round(s.drill, 2) for jig in self.plan.jigs for s in jig.stops})
        own = self.width / 4
        room = own - 4.0
        pairs, jigs = counted(len(self.plan.pairs), "pair"), counted(len(self.plan.jigs), "jig")
        return [
            kit.para("Run sheet", dim=kit.DIM),
            kit.para(f"{pairs} on {jigs}", TITLE, bold=True),
            kit.gap(2.0),
            kit.beside(
                (own, kit.field("Skis to clamp", f"{self.plan.skis}", room)),
                (own, kit.field("Drills, each with a stop", _joined(drills), room)),
                (own, kit.blank("Date", room)),
                (own, kit.blank("Drilled by", own)),
            ),
            kit.gap(1.0),
        ]

    def _do_not_drill(self) -> Flowable:
        rows = [
            [kit.para(pair.row.ticket, TICKET, bold=True), kit.para(reason)]
            for pair, reason in self.barred.values()
        ]
        heading = kit.headline("DO NOT DRILL: no verified jig", self.width)
        left = 0.3 * self.width
        return kit.section(heading, rows, (left, self.width - left), below=1.0, right=RIGHT)

    def _list(self) -> Flowable:
        rows = []
        for count, (jig, outcome) in enumerate(self._each(), start=1):
            if outcome.state == "failed":
                continue
            words = (
                f"{count}",
                f"{plain(jig.job.pattern.name)}, {self._facts(jig)}",
                plain(outcome.folder.name),
                counted(len(jig.tasks), "pair"),
            )
            tick = kit.Picture(TICK, TICK + 0.6, box((0.0, -TICK - 0.6), (TICK, -0.6), kit.BOX))
            rows.append([*map(kit.para, words), tick])
        return kit.section(
            kit.headline("Jigs in the order they are used", self.width),
            rows,
            [share * self.width for share in LISTED],
            names=("jig", "what it is", "folder with its files", "for", "ready"),
            ruled=True,
            above=1.6,
            below=1.6,
            right=RIGHT,
        )

    # -- one jig ---------------------------------------------------------------------------------

    def _jig(self, count: int, jig: PlannedJig, outcome: Outcome) -> Flowable:
        width = self.width
        name = f"Jig {count}: {plain(jig.job.pattern.name)}"
        boots = None if jig.job.one_boot else jig.job.whole_boots
        marks = plain(" · ".join(engraved(jig.job.lay_out(), boots)[1:]))
        common = _common(jig.tasks)
        heading = [
            kit.Picture(width, 3.0, [Line((0.0, -2.0), (width, -2.0), STRONG)]),
            kit.para(name, fit(name, JIG, 9.0, width, bold=True), bold=True),
            kit.para(f"{self._facts(jig)} · engraved: {marks}"),
            kit.para(plain(outcome.folder.name), kit.SMALL, dim=kit.DIM),
            *_how_to_set(self.halves[jig.job]),
            kit.gap(1.5),
            *(
                part
                for place, stop in enumerate(jig.stops, start=1)
                for part in _stop(place, stop, len(jig.stops) == 1, width)
            ),
            *(part for words in common for part in _note(f"Note, every pair: {words}")),
            kit.gap(1.5),
        ]
        rows = [[self._row(task, jig, common)] for task in jig.tasks]
        names = kit.beside(
            *(
                (share * width, kit.para(name, kit.SMALL, dim=kit.DIM))
                for share, name in zip(COLUMNS, NAMES, strict=True)
            )
        )
        heading.append(names)
        return kit.section(heading, rows, (width,), few=1, ruled=True, above=1.6, below=1.6)

    def _facts(self, jig: PlannedJig) -> str:
        job = jig.job
        least, most = map(number, job.boots)
        if least == most:
            boots = f"boot {least} mm"
        elif self.halves[job]:
            boots = f"boots from {least} to {most} mm, by the line on the mark"
        else:
            boots = f"any boot from {least} to {most} mm"
        facts = [boots, f"skis {'–'.join(map(number, job.skis))} mm wide"]
        if job.shift:
            way = "tip" if job.shift > 0 else "tail"
            facts.append(f"shift {number(abs(job.shift))} mm to the {way}")
        if job.pattern.pair == "mirrored":
            facts.append(f"{job.side} skis only")
        return " · ".join(facts)

    def _row(self, task: Task, jig: PlannedJig, common: Sequence[str]) -> list[Flowable]:
        """One pair: what to set, what to read, boxes to tick, screws, and notes."""
        row, width = task.pair.row, self.width
        halves = self.halves[jig.job]
        setting = [f"boot {number(row.boot)}"]
        setting += ["any boot"] if not halves and not jig.job.one_boot else []
        setting += [f"shift {row.shift:+g}"] if row.shift else []
        rails = f"{number(row.ski_toe / 2, 1)} / {number(row.ski_heel / 2, 1)}"
        own = [share * width for share in COLUMNS]
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
        columns += [
            (own[3], self._boxes(task.pair.number, "left", skis, own[3] - RIGHT)),
            (own[4], self._boxes(task.pair.number, "right", skis, own[4] - RIGHT)),
            (own[5], _screws(task)),
        ]
        lines = tuple(on_the_mark(halves, jig.job, row.boot))
        notes = _between(lines, row.boot)
        notes += [words for words in _notes(task) if words not in common]
        return [
            kit.beside(*columns, right=RIGHT),
            *(_lines(lines) if lines else []),
            *(_note(f"Note: {' '.join(notes)}") if notes else []),
        ]

    def _boxes(
        self, row: int, ski: Side, skis: Mapping[Side, tuple[int, ...]], room: float
    ) -> Flowable:
        """A box to tick for each setting of a ski, in order; or which jig the ski is drilled on."""
        if ski not in skis:
            return kit.para(f"on jig {self.used[row, ski]}", kit.SMALL, dim=kit.DIM)
        in_line = max(1, int(room // PITCH))
        shapes: list[Shape] = []
        for place, stop in enumerate(skis[ski]):
            x, y = place % in_line * PITCH, -(place // in_line) * (TICK + 1.4)
            at = (x + 4.6, y - TICK + 1.0)
            shapes.append(kit.typeset(at, f"{stop}", TICKET, bold=True, anchor="end"))
            shapes += box((x + 5.2, y - TICK - 0.2), (x + 5.2 + TICK, y - 0.2), kit.BOX)
        lines = -(-len(skis[ski]) // in_line)
        return kit.Picture(room, lines * (TICK + 1.4) - 1.0, shapes)


def barred(plan: Plan, outcomes: Sequence[Outcome]) -> dict[int, tuple[Pair, str]]:
    """Pairs that must not be drilled since a jig of theirs failed, by row, and why."""
    found: dict[int, tuple[Pair, str]] = {}
    for count, (jig, outcome) in enumerate(zip(plan.jigs, outcomes, strict=True), start=1):
        if outcome.state != "failed":
            continue
        pattern, boot = plain(jig.job.pattern.name), number(jig.job.boots[0])
        why = f"jig {count}, {pattern}, boot {boot}: {plain(outcome.faults[0].message)}"
        for task in jig.tasks:
            found.setdefault(task.pair.number, (task.pair, why))
    return found


# -- words and pieces ----------------------------------------------------------------------------


def _joined(sizes: Iterable[float]) -> str:
    return ", ".join(f"{size:g}" for size in sizes)


def _how_to_set(halves: tuple[HalfLines, ...]) -> list[Flowable]:
    """How the halves of a jig with ladders are set; nothing of any other jig."""
    if not halves:
        return []
    words = [BY_LINES]
    words += [
        f"Two numbers, {band}, are one line for all boots between them."
        for band in islice(bands(halves), 1)
    ]
    return [kit.gap(1.0), kit.para(" ".join(words))]


def _lines(lines: Sequence[OnTheMark]) -> list[Flowable]:
    """The line of each half that goes on the mark, in the words engraved on its ladder."""
    named = [
        f"line {plain(one.line.line)}, {one.line.edge} edge" if one.line else "its one line"
        for one in lines
    ]
    words = [f"{plain(one.half)} half {line}" for one, line in zip(lines, named, strict=True)]
    if len(set(named)) == 1 < len(named):
        words = [f"each half {named[0]}"]
    return _note(f"On the mark: {' · '.join(words)}", kit.BODY, bold=True)


def _between(lines: Iterable[OnTheMark], boot: float) -> list[str]:
    """A note for a boot that has no line of its own."""
    off = max((one.off for one in lines), default=0.0)
    if off < UNSEEN:
        return []
    return [
        f"boot {number(boot)} lies between two lines: holes come up to {number(off)} mm from the "
        "pattern's place."
    ]


def _stop(place: int, stop: DepthStop, only: bool, width: float) -> list[Flowable]:
    """One depth stop, its place in the jig's list and its lengths large."""
    holes = "every hole" if only else ", ".join(map(plain, stop.holes))
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


def _screws(task: Task) -> list[Flowable]:
    """How many screws of each length the pair takes on this jig."""
    lengths = Counter(hole.screw for hole in task.drilled.drilling.holes if hole.screw)
    lines = [
        f"{count * len(task.skis)} × {number(length)}"
        for length, count in sorted(lengths.items(), reverse=True)
    ]
    return [kit.para(line) for line in lines or ["not given"]]


def _notes(task: Task) -> list[str]:
    """What to know of a pair: warnings of its drilling, and its old holes."""
    words = [
        f"{plain(one.key)}: {plain(one.message)}. {plain(one.hint)}"
        for one in task.drilled.drilling.warnings
    ]
    old = task.drilled.old
    if old is None:
        return words
    again = [
        f"{plain(one.new)} takes the place of an old hole ({number(one.distance)} mm off): see "
        "that the drill does not wander."
        for one in old.reused
    ]
    return [*words, *(again or ["old holes are clear of these."])]


def _common(tasks: Sequence[Task]) -> list[str]:
    """The notes that every one of several pairs has."""
    first, *others = (_notes(task) for task in tasks)
    return [words for words in first if others and all(words in mine for mine in others)]


def _note(words: str, size: float = kit.SMALL, *, bold: bool = False) -> list[Flowable]:
    return [kit.gap(0.6), kit.para(words, size, bold=bold), kit.gap(0.4)]

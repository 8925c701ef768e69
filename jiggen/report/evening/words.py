"""What is done with each pair of an evening, in words: for the run sheet and for the page."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from jiggen.accuracy.lift import force_on
from jiggen.design.engraving import words as engraved
from jiggen.draw.fonts import plain
from jiggen.drilling import SkiMark
from jiggen.evening import Outcome, Plan, PlannedJig, Task
from jiggen.evening.check import Pair
from jiggen.record.ladders import tell_lines
from jiggen.record.results import DepthStop
from jiggen.report.mark import slot_words, where_marked
from jiggen.report.sides import PRESS, measured_where
from jiggen.units import number

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
UNSEEN = 0.05  # mm that a hole may be off and no caliper could tell: common practice, no source


@dataclass(frozen=True)
class PairWords:
    """A pair on one jig: what to set, to read on the rails, screws; what is said below them.

    `slot`, `mark` and `opposite` are empty where nothing of the kind is to be said.
    """

    setting: tuple[str, ...]
    rails: str
    screws: tuple[str, ...]
    slot: str
    mark: str
    opposite: str
    notes: tuple[str, ...]


def pair_words(task: Task, jig: PlannedJig) -> PairWords:
    """What is said of a pair on its jig."""
    row, drilling = task.pair.row, task.drilled.drilling
    setting = [f"boot {number(row.boot)}"]
    setting += ["any boot"] if not jig.halves and not jig.job.one_boot else []
    setting += [f"shift {row.shift:+g}"] if row.shift else []
    setting += ["by the slot"] if task.by_slot else []
    screws = [
        f"{count * len(task.skis)} of {number(length)}"
        for length, count in sorted(drilling.screws.items(), reverse=True)
    ]
    screws += ["no screw at hand fits: see the note"] if drilling.unfit else []
    mark, opposite, between = _line_words(jig, row.boot)
    return PairWords(
        tuple(setting),
        f"{number(row.ski_toe / 2, 1)} / {number(row.ski_heel / 2, 1)}",
        tuple(screws or ["not given"]),
        slot_words(task.by_slot, jig.slot_error) if task.by_slot else "",
        mark,
        opposite,
        (*between, *_notes(task)),
    )


def _line_words(jig: PlannedJig, boot: float) -> tuple[str, str, list[str]]:
    """Which line of each half comes onto the mark, what is opposite, and how far off it is."""
    if not jig.halves:
        return "", "", []
    readings, offs = zip(*(half.on_the_mark(boot) for half in jig.halves), strict=True)
    names = (plain(half.name) for half in jig.halves)
    mark, opposite = tell_lines(dict(zip(names, readings, strict=True)))
    between = f"boot {number(boot)} lies between two lines: holes come up to"
    far = f"{between} {number(max(offs))} mm from the pattern's place."
    opposite = f"At the mark opposite: {plain(opposite)}" if opposite else ""
    return f"On the mark: {plain(mark)}", opposite, [far] if max(offs) >= UNSEEN else []


def by_lines(jig: PlannedJig) -> str:
    """How halves with lines are used; empty for a jig that is used whole."""
    if not jig.halves:
        return ""
    bands = [band for half in jig.halves for band in half.bands][:1]
    more = (f" Two numbers, {band}, are one line for all boots between them." for band in bands)
    return BY_LINES + "".join(more)


def engraved_words(jig: PlannedJig, mark: str) -> str:
    """What is engraved on a jig, its own mark last."""
    boots = None if jig.job.one_boot else jig.job.whole_boots
    return plain(" · ".join([*engraved(jig.job.lay_out(), boots)[1:], *([mark] if mark else [])]))


def stop_words(stop: DepthStop) -> tuple[str, str, str]:
    """A depth stop: the drill, where the stop is set, and what that makes."""
    drill, tip = f"drill {number(stop.drill)}", f"stop {number(stop.from_tip, 1)} to the tip"
    return drill, tip, f"({number(stop.from_corners, 1)} to the corners), {number(stop.depth)} deep"


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


def facts(jig: PlannedJig) -> str:
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


def steps(plan: Plan) -> Iterator[str]:
    """What to do for each ski; all jigs of an evening are for skis with the same sides."""
    for settings in [jig.job.settings for jig in plan.jigs][:1]:
        # Not less the jig's weight: some are lighter than others.
        lift = force_on(settings)
        press = f"{PRESS} ({math.ceil(lift)} newton)" if lift else PRESS
        where = measured_where(settings.rail_depth)
        yield from (step.format(press=press, where=where) for step in STEPS)


def holes_of(stop: DepthStop, jig: PlannedJig) -> str:
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

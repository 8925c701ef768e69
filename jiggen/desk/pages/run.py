"""The run of an evening: every pair in the order it is drilled, ticked off as it is done."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.evenings import Evening, JigState, Planned, evening_of, states_of
from jiggen.desk.lists import run_of
from jiggen.desk.pages.evening import LONG_WAIT, wanted
from jiggen.desk.people import who
from jiggen.desk.site import go, page, posted, works_of
from jiggen.errors import InputError
from jiggen.evening import Clamping, Task
from jiggen.report.evening.words import (
    PairWords,
    barred,
    by_lines,
    engraved_words,
    facts,
    holes_of,
    pair_words,
    steps,
    stop_words,
)
from jiggen.shelf.store import open_shelf
from jiggen.units import counted, number

BOX, DONE = "box", "done"


@dataclass(frozen=True)
class Box:
    """What is ticked off: a ski, or a half's share of it; its settings in order."""

    name: str
    label: str
    stops: tuple[int, ...]
    done: bool


@dataclass(frozen=True)
class PairShown:
    """A pair on one jig, with its boxes; `barred` says why it must not be drilled."""

    id: str
    ticket: str
    words: PairWords
    boxes: tuple[Box, ...]
    barred: str

    @property
    def done(self) -> bool:
        """Whether all of it is ticked off."""
        return all(box.done for box in self.boxes)


@dataclass(frozen=True)
class StopShown:
    """A setting of drill and stop, by its number, and the holes that are drilled with it."""

    drill: str
    stop: str
    rest: str
    holes: str


@dataclass(frozen=True)
class JigShown:
    """A jig in the order of use, with all that is done with it."""

    state: JigState
    name: str
    facts: str
    engraved: str
    by_lines: str
    stops: tuple[StopShown, ...]
    pairs: tuple[PairShown, ...]


def run(request: Request) -> Response:
    """Every pair with what to set, and what is done of it."""
    evening = evening_of(request, steady=True)
    planned = wanted(evening)
    shown = list(_shown(evening, planned, request)) if planned else []
    every = [pair for jig in shown for pair in jig.pairs]
    return page(
        request,
        "evening_run.html",
        evening=evening,
        jigs=shown,
        steps=list(steps(planned.plan)) if planned else [],
        left=counted(sum(not pair.done for pair in every), "pair"),
        over=bool(every) and all(pair.done for pair in every),
    )


def tick(request: Request, form: FormData) -> Response:
    """Tick a box off, or take that back; a pair that is done is one more use of its jig."""
    evening = _evening(request)
    planned = wanted(evening)
    box, by = form.get(BOX), who(request)
    for jig in _shown(evening, planned, request) if planned else ():
        for pair in jig.pairs:
            boxes = [one.name for one in pair.boxes]
            if box in boxes and isinstance(box, str):
                _keep(evening, jig.state, pair, box, by, done=form.get(DONE) == "on")
                works_of(request).tell()
                return go(f"/evening/run?{evening.pairs.short}#{pair.id}")
    hint = "Load the page again."
    raise InputError.of("desk.no-box", "that pair is not in this plan any more", hint=hint)


def _evening(request: Request) -> Evening:
    """What was shown when a box was ticked: if need be once it is worked out."""
    shown = evening_of(request, steady=True)
    return shown if shown.planned else evening_of(request, LONG_WAIT)


def _keep(
    evening: Evening, state: JigState, pair: PairShown, box: str, by: str, *, done: bool
) -> None:
    """Note on the shelf what was done; a jig that was drilled with is on it from then on.

    Raises InputError for a pair that must not be drilled, or has no jig yet.
    """
    boxes, outcome = [one.name for one in pair.boxes], state.outcome
    with open_shelf() as shelf:
        if not done:
            shelf.untick(_run(evening), box, by, pair=boxes)
            return
        if pair.barred or not state.there:
            why = pair.barred or "its jig is not built yet"
            raise InputError.of("desk.not-drilled", why, where=pair.ticket)
        if shelf.find(outcome.jig_mark) is None:
            shelf.add(outcome.folder, by)
        shelf.tick(_run(evening), box, outcome.jig_mark, by, pair=boxes)


def _run(evening: Evening) -> str:
    """What the ticks of this list are kept under.  Raises InputError before it is saved."""
    if not evening.pairs.saved:
        hint = "Save it on its page: what is ticked off is kept for a list that is kept."
        raise InputError.of("desk.not-saved", "this list is not saved", hint=hint)
    return run_of(evening.pairs.place)


def _shown(evening: Evening, planned: Planned, request: Request) -> Iterator[JigShown]:
    states = states_of(planned, works_of(request))
    never = barred(planned.plan, [one.outcome for one in states])
    run = _run(evening)
    with open_shelf() as shelf:
        ticks = shelf.ticks(run)
    for state in states:
        jig, mark = state.jig, state.outcome.jig_mark
        stops = (StopShown(*stop_words(stop), holes_of(stop, jig)) for stop in jig.stops)
        pairs = (
            PairShown(
                f"pair-{state.number}-{task.pair.number}",
                task.pair.row.ticket,
                pair_words(task, jig),
                tuple(_boxes(task, ticks)),
                never[task.pair.number][1] if task.pair.number in never else "",
            )
            for task in jig.tasks
        )
        name = f"Jig {state.number}{mark and f', {mark}'}: {jig.job.pattern.name}"
        yield JigShown(
            state,
            name,
            facts(jig),
            engraved_words(jig, mark),
            by_lines(jig),
            tuple(stops),
            tuple(pairs),
        )


def _boxes(task: Task, ticks: frozenset[str]) -> Iterator[Box]:
    """A box for each ski, or for each half that is clamped on it."""
    row = task.pair.row
    # Another boot, shift or core is another drilling: what was ticked before does not stand for it.
    what = f"{row.ticket}, {row.pattern}, {number(row.boot)}, {row.core}, {row.shift:+g}"
    for ski, clampings in task.skis:
        for clamping in clampings:
            name = f"{what}, {ski}{_half(clamping)}"
            label = f"{ski.capitalize()} ski{_half(clamping)}"
            yield Box(name, label, clamping.stops, name in ticks)


def _half(clamping: Clamping) -> str:
    return f", {clamping.half} half" if clamping.half else ""


ROUTES = [
    Route("/evening/run", run, methods=["GET"]),
    Route("/evening/run", posted(tick), methods=["POST"]),
]

"""The jigs of a shelf that an evening may use before any is made."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from pathlib import Path

from pydantic import TypeAdapter

from jiggen.design import Settings
from jiggen.errors import Finding, JiggenError
from jiggen.evening import Outcome, Plan
from jiggen.evening.check import Drilled, Pair
from jiggen.evening.halves import halves_of
from jiggen.evening.owned import JigAtHand
from jiggen.evening.read import Jobs
from jiggen.job import Job
from jiggen.progress import announce, note
from jiggen.request.evening import EveningRequest
from jiggen.request.shelf import bush_limit
from jiggen.shelf.folders import read_shelved
from jiggen.shelf.jigs import OwnedJig, warnings_of
from jiggen.shelf.store import SHELF_FILE, open_shelf
from jiggen.shelf.which import FORBIDDING, Fit, PairInHand, Shelved, fit, holds_margin
from jiggen.verify import certify


def plan_beside(
    asked: EveningRequest,
    file: Path = SHELF_FILE,
    jobs: Jobs | None = None,
    *,
    new: bool = False,
) -> Plan:
    """The evening's plan, of `jobs` or its own file's, beside the jigs of the shelf in `file`.

    Where the usual one is not there, or a `new` one is to be made, there are none.  Jigs that are
    used are verified, unless their files passed before; what cannot be used is noted.  Raises
    InputError as `EveningRequest.plan` and `open_shelf`.
    """
    if not file.exists() and (new or file == SHELF_FILE):
        return asked.plan(jobs=jobs)
    with open_shelf(file, new=False) as shelf:
        owned = [*jigs_at_hand(shelf.jigs(), bush_limit())]
    while True:
        plan = asked.plan(owned, jobs)
        used = [jig.owned for jig in plan.jigs if jig.owned]
        unsound = [jig for jig in used if not _certified(jig)]
        if not unsound:
            return plan
        owned = [jig for jig in owned if jig not in unsound]


def jigs_at_hand(jigs: Iterable[OwnedJig], limit: float) -> Iterator[JigAtHand]:
    """Those that are printed and may be drilled with; those with the least against them first.

    A drill bush may guide so many holes as `limit`.
    """
    usable = []
    for one in read_shelved(jigs):
        if not isinstance(one, Shelved):
            jig, reason = one
            note(replace(reason, message=f"jig {jig.mark} is not used: {reason.message}"))
        elif one.jig.state == "built":
            message = f"jig {one.jig.mark} is not used: the shelf does not know that it was printed"
            note(Finding("which.built", message, hint="Note that it was, if it was."))
        elif not any(warning.code in FORBIDDING for warning in warnings_of(one.jig, limit)):
            usable.append(one)
    usable.sort(key=lambda one: len([*warnings_of(one.jig, limit)]))
    yield from filter(None, (_at_hand(one, limit) for one in usable))


def add_built(file: Path, outcomes: Iterable[Outcome], by: str) -> None:
    """Put the jigs that were built, or found finished, on the shelf in `file`."""
    there = [outcome.folder for outcome in outcomes if outcome.state in ("built", "found")]
    with open_shelf(file) as shelf:
        for folder in there:
            shelf.add(folder, by)


def _certified(jig: JigAtHand) -> bool:
    """Whether the folder passes its verification; noted where it does not."""
    announce(f"verification of {jig.jig_mark}")
    try:
        certify(jig.folder)
    except JiggenError as error:
        note(error.findings[0])
        return False
    return True


def _at_hand(shelved: Shelved, limit: float) -> JigAtHand | None:
    """A jig as an evening uses it; None where its ladders are others than this jiggen knows."""
    record, inputs = shelved.record, shelved.record.inputs
    job = Job(
        shelved.pattern,
        inputs.boots or (inputs.boot, inputs.boot),
        TypeAdapter(Settings).validate_python(inputs.model_dump()),
        inputs.core,
        inputs.side,
        inputs.shift,
    )
    ladders = {ladder.half: ladder.boot_lines for ladder in record.ladders}
    if any(half.ladder and half.name not in ladders for half in halves_of(job)):
        return None

    def drills(pair: Pair, drilled: Drilled, asked: Job, slot: bool) -> Drilled | None:
        return _drills(shelved, pair, drilled, asked, slot)

    folder, warnings = shelved.jig.folder, tuple(warnings_of(shelved.jig, limit))
    return JigAtHand(shelved.jig.mark, folder, job, ladders, drills, warnings)


def _drills(
    shelved: Shelved, pair: Pair, drilled: Drilled, asked: Job, slot: bool
) -> Drilled | None:
    """How a jig drills what a pair needs; of a boot between two lines both must serve it."""
    row, boots = pair.row, {pair.row.boot}
    if shelved.record.ladders:
        boots = {float(math.floor(row.boot)), float(math.ceil(row.boot))}
    found = None
    for boot in sorted(boots):
        found = fit(
            shelved,
            PairInHand(
                pair.pattern,
                boot,
                (row.ski_toe, row.ski_heel),
                row.core,
                drilled.layout.side,
                row.shift,
                asked.settings.sidewall,
                asked.settings.rail_depth,
                row.thickness,
                asked.limits,
            ),
        )
        if not isinstance(found, Fit) or (found.by_slot and not slot):
            return None
    if not isinstance(found, Fit) or not holds_margin(shelved.record, (row.ski_toe, row.ski_heel)):
        return None
    return Drilled(drilled.layout, found.record.drilling, drilled.old)

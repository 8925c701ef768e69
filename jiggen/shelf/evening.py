"""The jigs of a shelf that an evening may use before any is made."""

import math
from collections.abc import Iterable, Iterator
from dataclasses import replace
from functools import cached_property
from pathlib import Path

from pydantic import TypeAdapter

from jiggen.design import Settings
from jiggen.errors import InputError, JiggenError
from jiggen.evening import Outcome, Plan
from jiggen.evening.check import Drilled, Pair
from jiggen.evening.halves import halves_of
from jiggen.evening.owned import JigAtHand, Ladders
from jiggen.evening.read import Jobs
from jiggen.job import Job
from jiggen.progress import announce, note
from jiggen.request.evening import EveningRequest
from jiggen.request.shelf import SHELF_FILE, bush_limit
from jiggen.shelf.folders import is_usable, read_one
from jiggen.shelf.jigs import OwnedJig, warnings_of
from jiggen.shelf.store import open_shelf
from jiggen.shelf.which import FORBIDDING, Fit, PairInHand, Shelved, fit, holds_margin, misfits
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
    with open_shelf(file, new=new or file == SHELF_FILE) as shelf:
        owned = [*jigs_at_hand(shelf.jigs(), bush_limit())]
    while True:
        plan = asked.plan(owned, jobs)
        used = [jig.owned for jig in plan.jigs if jig.owned]
        unsound = [jig for jig in used if not _certified(jig)]
        if not unsound:
            return plan
        owned = [jig for jig in owned if jig not in unsound]


def jigs_at_hand(jigs: Iterable[OwnedJig], limit: float) -> Iterator[JigAtHand]:
    """Those that may be drilled with; those with the least against them first.

    A drill bush may guide so many holes as `limit`.  Folders are read when they are wanted.
    """
    against = {jig: tuple(warnings_of(jig, limit)) for jig in jigs if is_usable(jig)}
    for jig, warnings in sorted(against.items(), key=lambda one: len(one[1])):
        if not any(warning.code in FORBIDDING for warning in warnings):
            one = _Candidate(jig)
            yield JigAtHand(jig.mark, jig.folder, one.drills, one.made, warnings)


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


class _Candidate:
    """A jig on the shelf that an evening may use; its folder is read when that is likely."""

    def __init__(self, jig: OwnedJig) -> None:
        self.jig = jig

    def drills(self, pair: Pair, drilled: Drilled, asked: Job, slot: bool) -> Drilled | None:
        """How it drills what a pair needs; of a boot between two lines both must serve it."""
        row = pair.row
        wanted = PairInHand(
            pair.pattern,
            row.boot,
            (row.ski_toe, row.ski_heel),
            row.core,
            drilled.layout.side,
            row.shift,
            asked.settings.sidewall,
            asked.settings.rail_depth,
            row.thickness,
            asked.limits,
        )
        if any(misfits(self.jig, wanted)) or not holds_margin(self.jig, wanted.ski):
            return None
        if not self.shelved or not self._made:
            return None
        boots = {row.boot}
        if self.shelved.record.ladders:
            boots = {float(math.floor(row.boot)), float(math.ceil(row.boot))}
        found = [fit(self.shelved, replace(wanted, boot=boot)) for boot in sorted(boots)]
        if any(not isinstance(one, Fit) or (one.by_slot and not slot) for one in found):
            return None
        first = next(one for one in found if isinstance(one, Fit))
        return Drilled(drilled.layout, first.record.drilling, drilled.old)

    def made(self) -> tuple[Job, Ladders]:
        """Its job and its ladders."""
        if not self._made:
            raise RuntimeError(f"jig {self.jig.mark} is used, but serves nothing")
        return self._made

    @cached_property
    def shelved(self) -> Shelved | None:
        """What its folder says; None, which is noted, where that is nothing, or nothing of use."""
        try:
            if self.jig.state == "built":
                message = "the shelf does not know that it was printed"
                hint = "If it was printed, note that on the shelf."
                raise InputError.of("which.built", message, hint=hint)
            return read_one(self.jig)
        except JiggenError as error:
            [first, *_] = error.findings
            note(replace(first, message=f"jig {self.jig.mark} is not used: {first.message}"))
            return None

    @cached_property
    def _made(self) -> tuple[Job, Ladders] | None:
        """Its job and its ladders; None where these are others than this jiggen knows."""
        if not self.shelved:
            return None
        record, inputs = self.shelved.record, self.shelved.record.inputs
        job = Job(
            self.shelved.pattern,
            inputs.boots or (inputs.boot, inputs.boot),
            TypeAdapter(Settings).validate_python(inputs.model_dump()),
            inputs.core,
            inputs.side,
            inputs.shift,
        )
        ladders = {ladder.half: ladder.boot_lines for ladder in record.ladders}
        lacking = (half for half in halves_of(job) if half.ladder and half.name not in ladders)
        return None if any(lacking) else (job, ladders)

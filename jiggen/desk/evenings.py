"""An evening as its pages show it: the list, its plan, and how far each of its jigs is."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path

from starlette.requests import Request

from jiggen.desk.folders import address_of
from jiggen.desk.forms import Filled, entered, fill
from jiggen.desk.lists import PairList, list_of
from jiggen.desk.planning import PATIENCE, Answer, Thinker
from jiggen.desk.site import works_of
from jiggen.desk.works import Work, Works
from jiggen.errors import Finding, InputError
from jiggen.evening import Outcome, Plan, PlannedJig
from jiggen.evening.read import COLUMNS, typed_jobs
from jiggen.pattern import find_pattern
from jiggen.pipeline.evening import JigTask, build_one, find_planned, records_of, task_of
from jiggen.progress import keeping_notes, noted
from jiggen.report.evening import print_job
from jiggen.report.evening.print_job import PrintJob
from jiggen.request.evening import EVENING, JOBS, OUT, PAPER, EveningRequest
from jiggen.request.options import read_printer
from jiggen.request.shelf import SHELF_FILE
from jiggen.shelf.evening import plan_beside
from jiggen.shelf.store import open_shelf

STEPS = 16  # those that a build announces, and its end
_ROW = re.compile(r"row ([0-9]+)")


@dataclass(frozen=True, eq=False)
class Planned:
    """A plan, how each of its jigs is built, in its order, and what was noted on the way."""

    plan: Plan
    tasks: tuple[JigTask, ...]
    notes: tuple[Finding, ...]


_PLANS = Thinker[Planned]()
_STEADY: dict[str, Answer[Planned]] = {}  # by what was asked for, whatever is on the shelf by now
_FOUND: dict[str, tuple[object, Outcome]] = {}


@dataclass(frozen=True)
class Faults:
    """What is wrong with a list: beside cells by (row, column), beside rows, and with all of it."""

    cells: Mapping[tuple[int, str], tuple[Finding, ...]]
    rows: Mapping[int, tuple[Finding, ...]]
    rest: tuple[Finding, ...]

    def of_row(self, row: int) -> list[tuple[str, Finding]]:
        """What is wrong in a row: each fault once, with the columns that have it."""
        columns: dict[Finding, list[str]] = {one: [] for one in self.rows.get(row, ())}
        for (number, column), faults in self.cells.items():
            for one in faults if number == row else ():
                words = replace(one, code="", key="")
                columns.setdefault(words, []).append(column.replace("_", " "))
        return [(", ".join(names).capitalize(), one) for one, names in columns.items()]

    @property
    def count(self) -> int:
        """How many there are."""
        return sum(map(len, (*self.cells.values(), *self.rows.values(), self.rest)))


@dataclass(frozen=True)
class Evening:
    """What was asked for; `answer` is None while its plan is worked out.

    `early` are the faults that are known before.
    """

    pairs: PairList
    filled: Filled[EveningRequest]
    answer: Answer[Planned] | None
    early: tuple[Finding, ...] = ()

    @property
    def working(self) -> bool:
        """Whether the plan is being worked out."""
        return self.answer is None and bool(self.pairs.rows) and self.filled.value is not None

    @property
    def planned(self) -> Planned | None:
        """Its plan, if there is one."""
        return self.answer.value if self.answer else None

    @property
    def faults(self) -> Faults:
        """Everything that is wrong with its rows, each at its place."""
        own = self.answer.findings if self.answer else self.early
        return sort_out(own, set(self.filled.fields))

    def refused(self) -> InputError:
        """Why there is no plan."""
        found = (*self.filled.findings, *(self.answer.findings if self.answer else self.early))
        hint = "Type a pair, or drop a table."
        nothing = Finding("desk.list-empty", "there are no pairs in this list", hint=hint)
        return InputError(found or (nothing,))


def sort_out(findings: Iterable[Finding], options: Iterable[str] = ()) -> Faults:
    """Findings, each at the row and the column it is about; those of options are left out."""
    cells: dict[tuple[int, str], tuple[Finding, ...]] = {}
    rows: dict[int, tuple[Finding, ...]] = {}
    rest: list[Finding] = []
    for one in findings:
        row, column = _ROW.fullmatch(one.where), one.key.rpartition(".")[2]
        if row is None:
            rest += [] if one.key.lstrip("-") in options else [one]
        elif column in COLUMNS:
            place = int(row[1]), column
            cells[place] = (*cells.get(place, ()), replace(one, where=""))
        else:
            rows[int(row[1])] = (*rows.get(int(row[1]), ()), replace(one, where=""))
    return Faults(cells, rows, tuple(rest))


def evening_of(request: Request, patience: float = PATIENCE, *, steady: bool = False) -> Evening:
    """What the address of a page asks for.  Raises InputError where it names no list there is.

    `steady` keeps to the plan as it was before the shelf changed, until there is another.
    """
    words = entered(request.query_params)
    pairs = list_of(words)
    options = pairs.rest | {JOBS.name: [pairs.place.as_posix()]}
    filled = fill(EVENING, options)
    if not pairs.saved:  # the command line has no file to name yet
        filled = replace(filled, words=pairs.rest)
    if not pairs.rows or filled.value is None:
        return Evening(pairs, filled, None)
    asked = filled.value
    jobs = typed_jobs(pairs.rows, pairs.place)

    def make() -> Planned:
        with keeping_notes():
            plan = plan_beside(asked, SHELF_FILE, jobs)
            return Planned(plan, tuple(task_of(jig.job, OUT) for jig in plan.jigs), noted())

    asked_for = _stamp(pairs, options, asked)
    answer = _PLANS.ask(asked_for + _shelf_stamp(), make, works_of(request).tell, patience)
    if answer:
        _STEADY[asked_for] = answer
    elif steady:
        answer = _STEADY.get(asked_for)
    if answer:
        filled = replace(filled, findings=(*filled.findings, *answer.findings))
    early = tuple(finding for _, finding in jobs.faults)
    return Evening(pairs, filled, answer, early)


def _stamp(pairs: PairList, options: Mapping[str, object], asked: EveningRequest) -> str:
    """What a plan hangs on: the rows, the options, and the files that they name as they are now."""
    folder = pairs.place.parent
    named = {row.get("pattern", "") for row in pairs.rows.values()}
    files: list[object] = []
    for name in sorted(named):
        with suppress(InputError, OSError, ValueError):
            path = folder / name
            files.append(_state_of(path if path.is_file() else find_pattern(name)))
    for name in sorted({row.get("old_holes", "") for row in pairs.rows.values()} - {""}):
        with suppress(OSError, ValueError):
            files.append(_state_of(folder / name))
    with suppress(InputError):
        files.append(repr(read_printer(asked.printer)))
    plans = {name: words for name, words in options.items() if name != PAPER.name}
    text = json.dumps([str(Path.cwd()), pairs.rows, plans, files], sort_keys=True, default=str)
    return hashlib.sha256(text.encode()).hexdigest()


def _shelf_stamp() -> str:
    """What a plan hangs on of the shelf."""
    with suppress(InputError), open_shelf() as shelf:
        states = ("built", "retired")  # in these a jig is not used
        return repr([(jig.mark, jig.passed, jig.state in states) for jig in shelf.jigs()])
    return ""


def _state_of(path: Path) -> tuple[str, int, int]:
    state = path.stat()
    return str(path), state.st_size, state.st_mtime_ns


# ---- its jigs


@dataclass(frozen=True, eq=False)
class JigState:
    """How far a jig is: what became of it up to now, and who builds it at the moment."""

    number: int
    jig: PlannedJig
    task: JigTask
    outcome: Outcome
    work: Work | None = field(default=None)

    @property
    def going_on(self) -> bool:
        """Whether it is being built, or waits for it."""
        return self.work is not None and not self.work.over

    @property
    def share(self) -> float:
        """How far its building is, of 1."""
        return min(len(self.work.steps) / STEPS, 1.0) if self.work else 0.0

    @property
    def there(self) -> bool:
        """Whether it may be drilled with."""
        return self.outcome.state in ("owned", "found", "built")

    @property
    def address(self) -> str:
        """The page of what was built of it."""
        return address_of(self.outcome.folder) if self.there else ""


def states_of(planned: Planned, works: Works) -> list[JigState]:
    """How far each jig of a plan is: what is in its folder counts before what is remembered."""
    latest: dict[str, Work] = {}
    for work in works.latest():
        latest.setdefault(work.key, work)
    found: list[JigState] = []
    each = zip(planned.plan.jigs, planned.tasks, strict=True)
    for number, (jig, task) in enumerate(each, start=1):
        by = latest.get(key_of_work(task))
        found.append(JigState(number, jig, task, _outcome(jig, task, by), by))
    return found


def _outcome(jig: PlannedJig, task: JigTask, work: Work | None) -> Outcome:
    if work and not work.over:
        return Outcome("planned", task.folder)
    outcome = find_planned(jig, OUT) if jig.owned else _found(jig, task)
    made = work.result if work and isinstance(work.result, Outcome) else None
    if outcome.state == "planned" and work and work.state != "cancelled":
        return made or Outcome("failed", task.folder, work.findings)
    return replace(outcome, warnings=made.warnings) if made else outcome


def _found(jig: PlannedJig, task: JigTask) -> Outcome:
    """What is found of a jig, looked for again once a file of its folder has changed."""
    state = _bytes_of(task.folder)
    key = key_of_work(task)
    known = _FOUND.get(key)
    if known is None or known[0] != state:
        known = _FOUND[key] = state, find_planned(jig, OUT)
    return known[1]


def _bytes_of(folder: Path) -> tuple[object, ...]:
    with suppress(OSError):
        return tuple(_state_of(path) for path in sorted(folder.rglob("*")) if path.is_file())
    return ()


def key_of_work(task: JigTask) -> str:
    """What the building of a jig is called among all works."""
    return str(task.folder.absolute())


def build_all(states: Iterable[JigState], works: Works, name: str, address: str) -> None:
    """Begin to build every jig that is not there, the longest ladders first."""
    missing = [one for one in states if not one.there and not one.going_on]
    missing.sort(key=lambda one: one.jig.job.boots[1] - one.jig.job.boots[0], reverse=True)
    for one in missing:
        works.start(
            f"{name}: jig {one.number}",
            build_one,
            one.task,
            key=key_of_work(one.task),
            address=address,
            target=one.task.folder,
            then=lambda outcome: address_of(outcome.folder),
        )


def printing_of(planned: Planned, states: Iterable[JigState]) -> PrintJob | None:
    """What is printed and bought for the jigs that there are.  Raises InputError."""
    return print_job(planned.plan, records_of(one.outcome for one in states))

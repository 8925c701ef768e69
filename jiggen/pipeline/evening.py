"""The jigs of an evening: found finished, or built side by side."""

import hashlib
import json
from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from threading import Lock

from jiggen import __version__
from jiggen.errors import Finding, InputError, JiggenError
from jiggen.evening import Outcome, Plan, PlannedJig
from jiggen.executors import do_all
from jiggen.export.folder import clear_leftovers
from jiggen.export.manifest import versions
from jiggen.job import Job, job_name
from jiggen.progress import wrote
from jiggen.record import JigRecord, read_jig
from jiggen.verify import certify

KEY_SHOWN = 8  # figures of a jig's key in its folder's name: enough to tell an evening's apart
_ALONE = Lock()


@dataclass(frozen=True)
class JigTask:
    """A jig to be built in `folder`; `key` stands for everything that decides what it becomes."""

    job: Job
    folder: Path
    key: str
    force: bool


def task_of(job: Job, out: Path, force: bool = False) -> JigTask:
    """How a jig of an evening is built in `out`."""
    key = key_of(job)
    return JigTask(job, out / f"{job_name(job)}-{key[:KEY_SHOWN]}", key, force)


def build_evening(
    plan: Plan,
    out: Path,
    *,
    executor: Executor,
    force: bool = False,
    done: Callable[[Outcome], None] = lambda _: None,
) -> tuple[Outcome, ...]:
    """Every jig of `plan` to make in a folder of its own in `out`; outcomes in the plan's order.

    A finished folder with the same key, all its files unchanged, is not built again.  A jig that
    fails fails alone.  The processes of `executor` see `out`; `done` is called with each outcome.
    """
    outcomes = [*planned_evening(plan, out)]
    for outcome in (one for one in outcomes if one.state != "planned"):
        done(outcome)
    missing, place = [], {}
    for number, (jig, outcome) in enumerate(zip(plan.jigs, outcomes, strict=True)):
        if outcome.state == "planned":
            task = task_of(jig.job, out, force)
            missing.append(task)
            place[task.key] = number
    # The longest ladders are most of the work: none is left for one process at the end.
    missing.sort(key=lambda task: task.job.boots[1] - task.job.boots[0], reverse=True)
    for finished in do_all(build_one, missing, executor):
        task = finished.job
        outcome = finished.value or Outcome("failed", task.folder, finished.findings)
        if not finished.value:  # it was refused, or its process died: nothing of it stays
            with suppress(InputError):  # another jiggen builds there: what it has is its own
                clear_leftovers(task.folder)
        outcomes[place[task.key]] = outcome
        if outcome.state == "built":  # by another process
            wrote(outcome.folder)
        done(outcome)
    return tuple(outcomes)


def clear_evening(plan: Plan, out: Path) -> None:
    """Undo what processes that are dead left of the jigs of `plan` in `out`."""
    for jig in (jig for jig in plan.jigs if not jig.owned):
        with suppress(InputError):  # another jiggen builds there: what it has is its own
            clear_leftovers(task_of(jig.job, out).folder)


def planned_evening(plan: Plan, out: Path) -> tuple[Outcome, ...]:
    """For each jig of `plan` whether it is owned, found finished in `out`, or still to be built."""
    return tuple(find_planned(jig, out) for jig in plan.jigs)


def find_planned(jig: PlannedJig, out: Path) -> Outcome:
    """Whether a jig is owned, found finished in `out`, or still to be built."""
    if jig.owned:
        return Outcome("owned", jig.owned.folder, (), jig.owned.warnings, jig.owned.jig_mark)
    task = task_of(jig.job, out)
    return _found(task) or Outcome("planned", task.folder)


def _found(task: JigTask) -> Outcome | None:
    """The outcome of a jig that is there, finished."""
    if not is_finished(task.folder, task.key):
        return None
    return Outcome("found", task.folder, jig_mark=read_jig(task.folder).jig_mark)


def records_of(outcomes: Iterable[Outcome]) -> tuple[JigRecord | None, ...]:
    """The records of the jigs that there are, None of those that failed or are to be built."""
    return tuple(
        read_jig(outcome.folder) if outcome.state in ("built", "found") else None
        for outcome in outcomes
    )


def build_one(task: JigTask) -> Outcome:
    """Build a jig; raises as `build_jig`.

    One at a time in a process: the CAD kernel keeps settings that all threads share.
    """
    from jiggen.pipeline.products import build_jig  # the CAD kernel: for the workers alone

    with _ALONE:
        made = build_jig(task.job, task.folder, key=task.key, force=task.force)
    if made.verification.passed:
        return Outcome("built", made.folder, (), made.warnings, made.record.jig_mark)
    message = "it failed its verification: do not print it"
    hint = f"jiggen check {made.folder} says why."
    return Outcome("failed", made.folder, (Finding("evening.verification", message, hint=hint),))


def load_kernel() -> None:
    """Load what a build needs, once a process."""
    import jiggen.pipeline.products
    import jiggen.solid  # noqa: F401


def is_finished(folder: Path, key: str) -> bool:
    """Whether `folder` holds the jig of `key`, and passes its verification."""
    try:
        if read_jig(folder).key != key:
            return False
        certify(folder)
    except JiggenError:
        return False
    return True


def key_of(job: Job) -> str:
    """SHA-256 over all that decides a jig's files: the job, and what builds it."""
    inputs: dict[str, object] = {
        "jiggen": __version__,
        "libraries": versions(),
        "job": asdict(replace(job, pattern=job.pattern.content, printer=None)),
        "printer": job.printer.model_dump(mode="json") if job.printer else None,
    }
    text = json.dumps(inputs, sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()

"""The jigs of an evening: found finished, or built side by side."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from concurrent.futures import Executor
from contextlib import suppress
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from jiggen import __version__
from jiggen.design import Settings, SkiRange
from jiggen.drilling import DrillingLimits, SkiState, screws_of
from jiggen.errors import Finding, InputError
from jiggen.evening import JigWanted, Plan, Terms, whole_range
from jiggen.executors import do_all
from jiggen.export import MANIFEST, clear_leftovers, listing
from jiggen.export.manifest import versions
from jiggen.report.folder import folder_name

if TYPE_CHECKING:
    from jiggen.report.job import Finished

KEY_SHOWN = 8  # figures of a jig's key in its folder's name: enough to tell an evening's apart
State = Literal["built", "found", "failed"]


@dataclass(frozen=True)
class JigTask:
    """A jig to be made in `folder`; `key` stands for everything that decides what it becomes."""

    wanted: JigWanted
    settings: Settings
    limits: DrillingLimits
    folder: Path
    key: str
    force: bool


@dataclass(frozen=True)
class Outcome:
    """What became of a jig: where it is, what is wrong with it if it failed, what to mind."""

    state: State
    folder: Path
    faults: tuple[Finding, ...] = ()
    warnings: tuple[Finding, ...] = ()


def build_evening(
    plan: Plan,
    terms: Terms,
    out: Path,
    *,
    executor: Executor,
    force: bool = False,
    done: Callable[[Outcome], None] = lambda _: None,
) -> tuple[Outcome, ...]:
    """Every jig of `plan` in a folder of its own in `out`; the outcomes in the plan's order.

    A finished folder with the same key, all its files unchanged, is not built again.  A jig that
    fails, whatever the reason, fails alone.  `executor` builds the rest, any one whose processes
    see `out`; `done` is called with each outcome as it comes.
    """
    tasks = [_task(jig.wanted, terms, out, force) for jig in plan.jigs]
    outcomes: dict[str, Outcome] = {}
    for task in tasks:
        if is_finished(task.folder, task.key):
            outcomes[task.key] = Outcome("found", task.folder)
            done(outcomes[task.key])
    missing = [task for task in tasks if task.key not in outcomes]
    missing.sort(key=_span, reverse=True)  # no long one is left for one process at the end
    for told in do_all(build_one, missing, executor):
        outcome = told.value or _failed(told.job, told.findings)
        outcomes[told.job.key] = outcome
        done(outcome)
    return tuple(outcomes[task.key] for task in tasks)


def build_wanted(
    wanted: JigWanted,
    settings: Settings,
    limits: DrillingLimits,
    target: Path,
    *,
    key: str = "",
    force: bool = False,
) -> Finished:
    """Build one jig for all that is `wanted` of it; the ski range of `settings` is not used.

    For several boots, one that says so, its halves with ladders where they move the holes.  Raises
    as `build_jig` and `build_reusable` do.
    """
    from jiggen.report.job import build_jig  # the CAD kernel: for the workers alone
    from jiggen.report.reusable import build_reusable

    used = replace(settings, ski=SkiRange(*wanted.ski))
    state, screws = SkiState(area=wanted.pattern.area), screws_of(wanted.pattern)
    if wanted.boots[0] == wanted.boots[1]:
        return build_jig(
            wanted.layout(),
            used,
            target,
            state=state,
            limits=limits,
            screws=screws,
            force=force,
            key=key,
        )
    return build_reusable(
        wanted.pattern,
        whole_range(wanted.boots),
        used,
        target,
        mount_shift=wanted.shift,
        core=wanted.core,
        side=wanted.side,
        state=state,
        limits=limits,
        screws=screws,
        force=force,
        key=key,
    )


def build_one(task: JigTask) -> Outcome:
    """Build a jig in a process of its own; raises as `build_wanted`."""
    made = build_wanted(
        task.wanted,
        task.settings,
        task.limits,
        task.folder,
        key=task.key,
        force=task.force,
    )
    if made.verification.passed:
        return Outcome("built", made.folder, warnings=made.warnings)
    said = "it failed its verification: do not print it"
    hint = f"jiggen check {made.folder} says why."
    return Outcome("failed", made.folder, (Finding("evening.verification", said, hint=hint),))


def load_kernel() -> None:
    """Load what a build needs, once a process."""
    import jiggen.report.job
    import jiggen.report.reusable  # noqa: F401


def _span(task: JigTask) -> float:
    """How far apart, mm, a jig's boots are: a ladder is most of the work."""
    return task.wanted.boots[1] - task.wanted.boots[0]


def _failed(task: JigTask, findings: tuple[Finding, ...]) -> Outcome:
    """The outcome of a jig that was refused or whose process died, nothing of it left behind."""
    with suppress(InputError):  # another jiggen builds there: what it has is its own
        clear_leftovers(task.folder)
    return Outcome("failed", task.folder, findings)


def is_finished(folder: Path, key: str) -> bool:
    """Whether `folder` holds the verified jig of `key`, every file as it was built."""
    try:
        manifest = json.loads((folder / MANIFEST).read_text(encoding="utf-8"))
        verification, files = manifest["verification"], manifest["files"]
        return bool(
            manifest["key"] == key and verification["passed"] is True and listing(folder) == files
        )
    except (OSError, ValueError, LookupError, TypeError):
        return False


def _task(wanted: JigWanted, terms: Terms, out: Path, force: bool) -> JigTask:
    key = key_of(wanted, terms.settings, terms.limits)
    boots = dict.fromkeys(wanted.boots)
    name = f"{folder_name(wanted.pattern.name, *boots)}-{key[:KEY_SHOWN]}"
    return JigTask(wanted, terms.settings, terms.limits, out / name, key, force)


def key_of(wanted: JigWanted, settings: Settings, limits: DrillingLimits) -> str:
    """SHA-256 over all that decides a jig's files: input, settings, and what makes them."""
    inputs: dict[str, Any] = {
        "jiggen": __version__,
        "libraries": versions(),
        "wanted": asdict(replace(wanted, pattern=replace(wanted.pattern, source="", note=""))),
        "settings": asdict(replace(settings, ski=SkiRange(*wanted.ski))),
        "limits": asdict(limits),
    }
    text = json.dumps(inputs, sort_keys=True, allow_nan=False)
    return hashlib.sha256(text.encode()).hexdigest()

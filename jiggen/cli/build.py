"""``jiggen build``, ``trial``, ``gauge``, ``evening``: folders to print; ``sheet``."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen import options as table
from jiggen.cli import output
from jiggen.cli.program import JIGS, PATTERNS, command
from jiggen.errors import InputError
from jiggen.options import Option
from jiggen.request import options
from jiggen.request.evening import OUT, EveningRequest
from jiggen.request.products import GaugeRequest, JigRequest, Request, TrialRequest
from jiggen.request.shelf import SHELF, login_name

if TYPE_CHECKING:
    from jiggen.evening import Outcome, Plan
    from jiggen.pipeline.build import Built

TRIAL_OUT = replace(
    table.OUT, help="Folder for the files; by default out/<pattern>-<boot>-…-trial."
)
GAUGE_OUT = replace(
    table.OUT, help="Folder for the files; by default out/gauge, with an unusual bush.", short="o"
)
GAUGE_FORCE = replace(
    table.FORCE,
    help="Replace the folder even if it holds another gauge or readings, or is none of jiggen's.",
)
_evening = partial(Option, group="The evening")
PLAN_ONLY = _evening(
    "plan", "flag", "Check the rows; say which jigs are needed and which are there; build nothing."
)
WORKERS = _evening(
    "workers", "count", "How many jigs are built at a time; default: one per CPU.", counts=(1, 64)
)
CLUSTER = _evening(
    "cluster",
    "text",
    "Build on the Dask cluster of this scheduler, tcp://farm:8786, instead of here; its workers "
    "need the same folders.",
    metavar="ADDRESS",
)
KEEP = _evening("add-to-shelf", "flag", "Put the jigs that are built on the shelf.")
EVENING_SHELF = replace(
    SHELF, help="The file of the jigs that the workshop owns, which are used before any is made."
)
EVENING_OUT = replace(
    table.OUT, help="Folder for the jigs and the run sheet.", short="o", default=OUT.as_posix()
)
EVENING_FORCE = replace(table.FORCE, help="Replace a jig's folder even if jiggen did not make it.")


@command(JIGS)
def build(
    asked: JigRequest,
    out: Annotated[Path | None, table.OUT],
    force: options.ForceOption,
    holes_too: options.HolesOption,
    as_json: options.JsonOption,
) -> None:
    """Build a jig: files to print, verified: every hole is where it should be.

    With a range of boots, --boot 265-345, a toe and a heel half, each with a ladder of boot
    lengths to lay on the ski's mark.

    Exit code 0 when the verification passes; 1 when anything fails: the folder's name then ends in
    -failed: do not print it.
    """
    _build(asked, out, force, holes_too, as_json)


def _build(
    asked: Request,
    out: Path | None,
    force: bool,
    holes_too: bool,
    as_json: bool,
    then: Callable[[Path], str] | None = None,
) -> None:
    """Build what is asked for; what comes `then`, by its folder, is said where it passed."""
    target = out or asked.target()
    with output.shown_progress():
        made = asked.build(target, force=force)
    from jiggen.report.summary import summary

    text = summary(made.record, made.verification, made.folder)
    if then and made.verification.passed:
        text = f"{text}\n{then(made.folder)}"
    _finish(made, text, holes_too, as_json)


def _finish(made: Built[Any, Any], text: str, holes_too: bool, as_json: bool) -> None:
    """Write what was made and its warnings; exit code 1 when its verification failed."""
    from jiggen.verify import table as as_table

    text = f"{text}\n\n{as_table(made.verification)}" if holes_too else text
    data = {"folder": str(made.folder), **made.record.values()}
    passed = made.verification.passed
    output.write(as_json, lambda: data, lambda: text, made.warnings, passed=passed)


@command(PATTERNS)
def trial(
    asked: TrialRequest,
    out: Annotated[Path | None, TRIAL_OUT],
    force: options.ForceOption,
    holes_too: options.HolesOption,
    as_json: options.JsonOption,
) -> None:
    """Make a trial plate: 2 mm thin, with every hole, to lay the real plate on first.

    It costs little plastic and shows whether the pattern is right. It guides no drill.
    Exit code 0 when its verification passes; 1 when anything fails: the folder's name then ends in
    -failed: do not print it.
    """
    _build(asked, out, force, holes_too, as_json)


@command(JIGS)
def gauge(
    asked: GaugeRequest,
    out: Annotated[Path | None, GAUGE_OUT],
    force: Annotated[bool, GAUGE_FORCE],
    holes_too: options.HolesOption,
    as_json: options.JsonOption,
) -> None:
    """Make a gauge: a small frame to print and measure, so that jigs come out true.

    It shows how your printer stretches, leans and shrinks parts, and which fits it needs. The
    sheet in its folder says what to measure; jiggen profile fit turns that into a profile.
    Exit code 0 when its verification passes; 1 when anything fails: the folder's name then ends in
    -failed: do not print it.
    """
    from jiggen.files import MEASUREMENTS

    def then(folder: Path) -> str:
        fit = f"jiggen profile fit {folder / MEASUREMENTS} --name my-printer --ask"
        return f"Then: {fit}, which asks for each reading."

    _build(asked, out, force, holes_too, as_json, then)


@command(JIGS)
def evening(
    asked: EveningRequest,
    shelf: Annotated[Path, EVENING_SHELF],
    keep: Annotated[bool, KEEP],
    plan_only: Annotated[bool, PLAN_ONLY],
    workers: Annotated[int | None, WORKERS],
    cluster: Annotated[str | None, CLUSTER],
    out: Annotated[Path, EVENING_OUT],
    force: Annotated[bool, EVENING_FORCE],
    as_json: options.JsonOption,
) -> None:
    """Build the fewest jigs that serve a whole list of pairs, and the sheet to print and drill by.

    Every row is checked first, and all faults are reported at once. Jigs that are on the workshop's
    shelf are used first, so that the fewest are printed, and those that an earlier run finished are
    not built again. The sheet's order changes jig, drill and stop the fewest times.

    Exit code 0 when every jig is verified; 1 when one failed: its pairs are marked on the
    sheet, do not drill them.
    """
    from jiggen.shelf.evening import add_built, plan_beside

    with output.shown_progress():
        plan = plan_beside(asked, shelf, new=keep)

    from jiggen.files import write_whole
    from jiggen.pipeline.evening import planned_evening, records_of
    from jiggen.report.evening import as_dict, as_text, print_job, run_sheet_pdf, warnings_of

    sheet = None
    if plan_only:
        outcomes = planned_evening(plan, out)
    else:
        try:  # before hours of work are put into it
            out.mkdir(parents=True, exist_ok=True)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            message = f"no folder can be made there: {reason}"
            raise InputError.of(
                "cli.out", message, where=str(out), key="--out", hint="Choose another --out."
            ) from error
        outcomes = _built(plan, out, workers or os.cpu_count() or 1, cluster, force)
        if keep:
            add_built(shelf, outcomes, login_name())
    job = print_job(plan, records_of(outcomes))
    if not plan_only:
        sheet = out / "run-sheet.pdf"
        write_whole(sheet, run_sheet_pdf(plan, outcomes, job, paper=asked.paper), "--out")
    output.write(
        as_json,
        lambda: as_dict(plan, outcomes, job, sheet),
        lambda: as_text(plan, outcomes, job, sheet),
        warnings_of(outcomes),
        passed=not any(outcome.state == "failed" for outcome in outcomes),
    )


def _built(
    plan: Plan, out: Path, workers: int, cluster: str | None, force: bool
) -> tuple[Outcome, ...]:
    """What became of the jigs; a bar on a terminal moves on with each that is done."""
    from rich import progress as bars
    from rich.console import Console

    from jiggen.executors import OwnProcesses, cluster_executor
    from jiggen.pipeline.evening import build_evening, clear_evening, load_kernel

    folder = out.absolute() if cluster else out  # its workers start in folders of their own
    executors = cluster_executor(cluster) if cluster else OwnProcesses(workers, load_kernel)
    columns = (bars.TextColumn("jigs"), bars.BarColumn(), bars.MofNCompleteColumn())
    unseen, here = not sys.stderr.isatty(), Console(stderr=True)
    shown = bars.Progress(*columns, bars.TimeElapsedColumn(), console=here, disable=unseen)
    try:
        with executors as executor, shown:
            task = shown.add_task("jigs", total=len(plan.jigs))
            return build_evening(
                plan, folder, executor=executor, force=force, done=lambda _: shown.advance(task)
            )
    except KeyboardInterrupt:
        clear_evening(plan, folder)  # now that the processes are ended
        raise


@command(JIGS)
def schema() -> None:
    """Print the JSON Schema of manifest.json, the record that every built folder has.

    It describes jigs, trial plates and gauges, and is stable for one format number.
    """
    from jiggen.record import json_schema

    typer.echo(json_schema(), nl=False)

"""``jiggen evening``: many pairs at once, on the fewest jigs, and a run sheet to drill by."""

from __future__ import annotations

import math
import os
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.cli import options
from jiggen.cli.output import shown_progress, write
from jiggen.cli.program import JIGS, command
from jiggen.errors import InputError
from jiggen.options import RESULT, Option, argument

if TYPE_CHECKING:
    from jiggen.evening import Outcome, Plan

_evening = partial(Option, group="The evening")
JOBS = argument(
    "jobs",
    "path",
    "The pairs: CSV with the columns ticket, pattern, boot, ski_toe, ski_heel and if wanted "
    "core, shift, thickness, old_holes; or TOML.",
    metavar="JOBS",
)
BOOTS_SPAN = _evening("boots-span", "length", "The widest range of boots one jig may serve.")
SKI_SPAN = _evening(
    "ski-span", "length", "The widest range of skis one jig may serve; default: as wide as it can."
)
PLAN_ONLY = _evening("plan", "flag", "Check the rows and say which jigs are needed; build nothing.")
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
RUN_PAPER = replace(table.PAPER, help="For the run sheet.", group=RESULT)
OUT = replace(
    table.OUT,
    help="Folder for the jigs, a folder each, and the run sheet.",
    short="o",
    default="out/evening",
)
FORCE = replace(table.FORCE, help="Replace a jig's folder even if jiggen did not make it.")


@command(JIGS)
def evening(
    jobs: Annotated[Path, JOBS],
    boots_span: Annotated[float | None, BOOTS_SPAN],
    ski_span: Annotated[float | None, SKI_SPAN],
    plan_only: Annotated[bool, PLAN_ONLY],
    workers: Annotated[int | None, WORKERS],
    cluster: Annotated[str | None, CLUSTER],
    limits: options.Limits,
    bush: options.BushOption,
    bush_fit: options.BushFitOption,
    bed: options.BedOption,
    paper: Annotated[options.Paper, RUN_PAPER],
    out: Annotated[Path, OUT],
    force: Annotated[bool, FORCE],
    as_json: options.JsonOption,
) -> None:
    """Build the fewest jigs that serve a whole list of pairs, and the sheet to drill them by.

    Every row is checked first, and all faults are reported at once. Jigs that an earlier run
    finished are not built again. The sheet's order changes jig, drill and stop the fewest times.

    Exit code 0 when every jig is verified; 1 when one failed: its pairs are marked on the
    sheet, do not drill them.
    """
    from jiggen.evening import Spans, plan_evening
    from jiggen.evening.check import Terms
    from jiggen.evening.read import read_jobs
    from jiggen.remount.shifts import RemountLimits

    # Each jig has a ski range of its own; this one is a placeholder.
    settings = replace(options.read_settings((80.0, 100.0), bed, bush), bush_fit=bush_fit)
    settings.check()
    terms = Terms(settings, limits.checked(), RemountLimits())
    spans = Spans(_span(boots_span, BOOTS_SPAN), _span(ski_span, SKI_SPAN))
    with shown_progress():
        plan = plan_evening(read_jobs(jobs), terms, spans)

    from jiggen.files import write_whole
    from jiggen.report.evening import as_dict, as_text, check_tickets, run_sheet_pdf

    check_tickets(plan)
    outcomes: tuple[Outcome, ...] = ()
    sheet = None
    if not plan_only:
        try:  # before hours of work are put into it
            out.mkdir(parents=True, exist_ok=True)
        except (OSError, ValueError) as error:
            reason = getattr(error, "strerror", None) or error
            message = f"no folder can be made there: {reason}"
            raise InputError.of(
                "cli.out", message, where=str(out), key="--out", hint="Choose another --out."
            ) from error
        outcomes = _built(plan, out, workers or os.cpu_count() or 1, cluster, force)
        sheet = out / "run-sheet.pdf"
        write_whole(sheet, run_sheet_pdf(plan, outcomes, paper=paper), "--out")
    write(
        as_json,
        lambda: as_dict(plan, outcomes, sheet),
        lambda: as_text(plan, outcomes, sheet),
        dict.fromkeys(warning for outcome in outcomes for warning in outcome.warnings),
        passed=not any(outcome.state == "failed" for outcome in outcomes),
    )


def _span(length: float | None, option: Option) -> float:
    if length is None:
        return math.inf
    if length < 0:
        hint = "Write how many mm there are between the least and the greatest."
        raise InputError.of("cli.span", "a span below 0", key=option.flag, hint=hint)
    return length


def _built(
    plan: Plan, out: Path, workers: int, cluster: str | None, force: bool
) -> tuple[Outcome, ...]:
    """What became of the jigs; a bar on a terminal moves on with each that is done."""
    from jiggen.executors import OwnProcesses, cluster_executor
    from jiggen.pipeline.evening import build_evening, load_kernel

    folder = out.absolute() if cluster else out  # its workers start in folders of their own
    executors = cluster_executor(cluster) if cluster else OwnProcesses(workers, load_kernel)
    with executors as executor:
        if not sys.stderr.isatty():
            return build_evening(plan, folder, executor=executor, force=force)
        from rich import progress as bars
        from rich.console import Console

        columns = (bars.TextColumn("jigs"), bars.BarColumn(), bars.MofNCompleteColumn())
        console = Console(stderr=True)
        with bars.Progress(*columns, bars.TimeElapsedColumn(), console=console) as bar:
            task = bar.add_task("jigs", total=len(plan.jigs))
            return build_evening(
                plan, folder, executor=executor, force=force, done=lambda _: bar.advance(task)
            )

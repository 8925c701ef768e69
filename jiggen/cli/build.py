"""``jiggen build``, ``trial``, ``gauge``, ``evening``: folders to print; ``sheet``."""

from __future__ import annotations

import math
import os
import sys
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen import options as table
from jiggen.cli import options, output
from jiggen.cli.program import JIGS, PATTERNS, command
from jiggen.errors import InputError
from jiggen.options import RESULT, Option, argument

if TYPE_CHECKING:
    from jiggen.evening import Outcome, Plan
    from jiggen.pipeline.build import Built

TRIAL_HOLE = replace(
    table.PLATE_HOLE,
    help="Make its holes as large as the plate's own, 5.5, so that one can be seen or a pin pushed "
    "right through both; by default a drill just passes.",
    group=table.JOB,
)
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
JOBS = argument(
    "jobs",
    "path",
    "The pairs: CSV or .xlsx with the columns ticket, pattern, boot, ski_toe, ski_heel and if "
    "wanted core, shift, thickness, old_holes, mark; or TOML. Widths are measured where the rails' "
    "noses touch.",
    metavar="JOBS",
)
BOOTS_SPAN = _evening("boots-span", "length", "The widest range of boots one jig may serve.")
SKI_SPAN = _evening(
    "ski-span", "length", "The widest range of skis one jig may serve; default: as wide as it can."
)
PER_SHIFT = _evening(
    "per-shift", "flag", "A jig for each mount shift, rather than the slot of one for many boots."
)
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
RUN_PAPER = replace(table.PAPER, help="For the run sheet.", group=RESULT)
EVENING_OUT = replace(
    table.OUT, help="Folder for the jigs and the run sheet.", short="o", default="out/evening"
)
EVENING_FORCE = replace(table.FORCE, help="Replace a jig's folder even if jiggen did not make it.")


@command(JIGS)
def build(
    pattern: options.PatternArgument,
    boot: Annotated[float | options.Range, table.BOOTS],
    ski: options.SkiOption,
    sides: options.Sides,
    shift: options.ShiftOption,
    core: options.CoreOption,
    side: options.SideOption,
    measured: options.SkiInHand,
    limits: options.Limits,
    bush: options.BushOption,
    bush_fit: options.BushFitOption,
    printer: options.PrinterOption,
    bed: options.PrintBed,
    material: options.MaterialOption,
    body: Annotated[float, table.BODY],
    slide: Annotated[float, table.SLIDE],
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
    settings = options.read_settings(ski, sides, bed.checked(), bush, material)
    settings = replace(settings, bush_fit=bush_fit, body=body, slide=slide)

    from jiggen.job import Job, job_name
    from jiggen.pattern import find_pattern, read_pattern

    job = Job(
        read_pattern(find_pattern(pattern)),
        options.read_boots(boot),
        settings,
        core,
        side,
        shift,
        measured.state(),
        limits.checked(),
        options.read_printer(printer),
    )

    from jiggen.pipeline.products import build_jig
    from jiggen.report.summary import summary

    target = out or Path("out") / job_name(job)
    with output.shown_progress():
        made = build_jig(job, target, force=force)
    _finish(made, summary(made.record, made.verification, made.folder), holes_too, as_json)


def _finish(made: Built[Any, Any], text: str, holes_too: bool, as_json: bool) -> None:
    """Write what was made and its warnings; exit code 1 when its verification failed."""
    from jiggen.verify import table as as_table

    text = f"{text}\n\n{as_table(made.verification)}" if holes_too else text
    data = {"folder": str(made.folder), **made.record.values()}
    passed = made.verification.passed
    output.write(as_json, lambda: data, lambda: text, made.warnings, passed=passed)


@command(PATTERNS)
def trial(
    mount: options.Mount,
    bed: options.PrintBed,
    printer: options.PrinterOption,
    plate_hole: Annotated[float | None, TRIAL_HOLE],
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
    profile, pattern = options.read_printer(printer), mount.read()
    holes = mount.lay_out(pattern)

    from jiggen.job import folder_name, mount_words, printer_words
    from jiggen.pipeline import build as pipeline
    from jiggen.pipeline.products import TRIAL, plan_trial
    from jiggen.report.summary import trial_summary

    words = mount_words(holes.pair == "mirrored", holes.side, holes.mount_shift, holes.core)
    sizes = [f"hole{plate_hole:g}"] if plate_hole else []
    more = (*words, *printer_words(profile), *sizes, "trial")
    target = out or Path("out") / folder_name(holes.pattern, holes.boot, more=more)
    plan = partial(plan_trial, pattern, holes, bed.checked(), profile, plate_hole)
    with output.shown_progress():
        made = pipeline.build(TRIAL, plan, target, force=force)
    scaled = made.plan.design.scaled
    text = trial_summary(made.record, made.verification, made.folder, scaled=scaled)
    _finish(made, text, holes_too, as_json)


@command(JIGS)
def gauge(
    bed: options.PrintBed,
    bush: options.BushOption,
    caliper: Annotated[float, table.CALIPER],
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
    from jiggen.design import Bush
    from jiggen.files import MEASUREMENTS
    from jiggen.job import bush_words
    from jiggen.pipeline import build as pipeline
    from jiggen.pipeline.products import GAUGE, plan_gauge
    from jiggen.report.summary import gauge_summary

    in_hand = Bush(*bush) if isinstance(bush, tuple) else bush
    plan = partial(plan_gauge, bed.checked(), in_hand, caliper)
    with output.shown_progress():
        target = out or Path("out") / "-".join(["gauge", *bush_words(in_hand)])
        made = pipeline.build(GAUGE, plan, target, force=force)
    text = gauge_summary(made.record, made.verification, made.folder)
    form = made.folder / MEASUREMENTS
    then = f"Then: jiggen profile fit {form} --name my-printer --ask, which asks for each reading."
    _finish(made, f"{text}\n{then}" if made.verification.passed else text, holes_too, as_json)


@command(JIGS)
def evening(
    jobs: Annotated[Path, JOBS],
    boots_span: Annotated[float | None, BOOTS_SPAN],
    ski_span: Annotated[float | None, SKI_SPAN],
    per_shift: Annotated[bool, PER_SHIFT],
    sides: options.Sides,
    plan_only: Annotated[bool, PLAN_ONLY],
    workers: Annotated[int | None, WORKERS],
    cluster: Annotated[str | None, CLUSTER],
    limits: options.Limits,
    bush: options.BushOption,
    bush_fit: options.BushFitOption,
    printer: options.PrinterOption,
    bed: options.PrintBed,
    material: options.MaterialOption,
    body: Annotated[float, table.BODY],
    slide: Annotated[float, table.SLIDE],
    paper: Annotated[options.Paper, RUN_PAPER],
    out: Annotated[Path, EVENING_OUT],
    force: Annotated[bool, EVENING_FORCE],
    as_json: options.JsonOption,
) -> None:
    """Build the fewest jigs that serve a whole list of pairs, and the sheet to print and drill by.

    Every row is checked first, and all faults are reported at once. Jigs that an earlier run
    finished are not built again. The sheet's order changes jig, drill and stop the fewest times.

    Exit code 0 when every jig is verified; 1 when one failed: its pairs are marked on the
    sheet, do not drill them.
    """
    from jiggen.evening import plan_evening
    from jiggen.evening.check import Terms
    from jiggen.evening.families import Spans
    from jiggen.evening.read import read_jobs
    from jiggen.export.compensation import fit_settings
    from jiggen.remount.shifts import RemountLimits

    # Each jig has a ski range of its own; this one is a placeholder.
    settings = options.read_settings((80.0, 100.0), sides, bed.checked(), bush, material)
    settings = replace(settings, bush_fit=bush_fit, body=body, slide=slide)
    settings.check()
    profile = options.read_printer(printer)
    fitted = partial(fit_settings, profile=profile) if profile else None
    terms = Terms(settings, limits.checked(), RemountLimits(), profile, fitted)
    spans = Spans(_span(boots_span, BOOTS_SPAN), _span(ski_span, SKI_SPAN), not per_shift)
    with output.shown_progress():
        plan = plan_evening(read_jobs(jobs), terms, spans)

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
    job = print_job(plan, records_of(outcomes))
    if not plan_only:
        sheet = out / "run-sheet.pdf"
        write_whole(sheet, run_sheet_pdf(plan, outcomes, job, paper=paper), "--out")
    output.write(
        as_json,
        lambda: as_dict(plan, outcomes, job, sheet),
        lambda: as_text(plan, outcomes, job, sheet),
        warnings_of(outcomes),
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

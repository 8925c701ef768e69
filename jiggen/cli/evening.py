"""``jiggen evening``: many pairs at once, on the fewest jigs, and a run sheet to drill by."""

from __future__ import annotations

import json
import math
import os
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from jiggen.cli import options
from jiggen.cli import ski as ski_in_hand
from jiggen.cli.build import shown_progress
from jiggen.cli.output import warn
from jiggen.cli.program import app
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.evening import Plan, Spans, Terms
    from jiggen.report.evening import Outcome

EVENING = "The evening"
SHEET = "run-sheet.pdf"

# The same words as in jiggen.report.sheet.page, which is not imported here: --help is quick.
Paper = Literal["A4", "letter"]


@app.command(rich_help_panel=options.JIGS)
def evening(
    jobs: Annotated[
        Path,
        typer.Argument(
            metavar="JOBS",
            help="The pairs: CSV with the columns ticket, pattern, boot, ski_toe, ski_heel and "
            "if wanted core, shift, thickness, old_holes; or TOML.",
            show_default=False,
        ),
    ],
    boots_span: Annotated[
        str | None,
        typer.Option(
            "--boots-span",
            metavar="MM",
            help="The widest range of boots one jig may serve.",
            rich_help_panel=EVENING,
            show_default=False,
        ),
    ] = None,
    ski_span: Annotated[
        str | None,
        typer.Option(
            "--ski-span",
            metavar="MM",
            help="The widest range of ski widths one jig may serve; default: as wide as fits.",
            rich_help_panel=EVENING,
            show_default=False,
        ),
    ] = None,
    plan_only: Annotated[
        bool,
        typer.Option(
            "--plan",
            metavar="",
            help="Check the rows and say which jigs are needed; build nothing.",
            rich_help_panel=EVENING,
        ),
    ] = False,
    workers: Annotated[
        int | None,
        typer.Option(
            "--workers",
            metavar="N",
            min=1,
            max=64,
            help="How many jigs are built at a time. Default: one per processor.",
            rich_help_panel=EVENING,
            show_default=False,
        ),
    ] = None,
    cluster: Annotated[
        str | None,
        typer.Option(
            "--cluster",
            metavar="ADDRESS",
            help="Build on the Dask cluster of this scheduler, tcp://farm:8786, instead of here; "
            "its workers need the same folders.",
            rich_help_panel=EVENING,
            show_default=False,
        ),
    ] = None,
    base_left: ski_in_hand.BaseOption = "2",
    edge: ski_in_hand.EdgeOption = "8",
    bush: options.BushOption = "auto",
    bush_fit: options.BushFitOption = "0.10",
    bed: options.BedOption = "220x220x250",
    paper: Annotated[
        Paper, typer.Option("--paper", help="For the run sheet.", rich_help_panel=options.RESULT)
    ] = "A4",
    out: Annotated[
        Path,
        typer.Option(
            "--out",
            "-o",
            metavar="DIR",
            help="Folder for the jigs, a folder each, and the run sheet.",
            rich_help_panel=options.RESULT,
        ),
    ] = Path("out/evening"),
    force: Annotated[
        bool,
        typer.Option(
            "--force",
            metavar="",
            help="Replace a jig's folder even if jiggen did not make it.",
            rich_help_panel=options.RESULT,
        ),
    ] = False,
    as_json: options.JsonOption = False,
) -> None:
    """Build the fewest jigs that serve a whole list of pairs, and the sheet to drill them by.

    Every row is checked first, and all faults are said at once. Jigs that an earlier run
    finished are not built again. The sheet's order changes jig, drill and stop the fewest times.

    Exit code 0 when every jig is verified; 1 when one failed: its pairs are marked on the
    sheet, do not drill them.
    """
    from jiggen.evening import plan_evening, read_jobs

    terms = _terms(base_left, edge, bush, bush_fit, bed)
    spans = _spans(boots_span, ski_span)
    with shown_progress() as progress:
        plan = plan_evening(read_jobs(jobs), terms, spans, progress)

    from jiggen.report.evening import as_dict, as_text, check_tickets

    check_tickets(plan)
    outcomes: tuple[Outcome, ...] = ()
    sheet = None
    if not plan_only:
        _check_out(out)
        outcomes = _built(plan, terms, out, workers or os.cpu_count() or 1, cluster, force)
        sheet = _sheet(plan, outcomes, out, paper)
    if as_json:
        typer.echo(json.dumps(as_dict(plan, outcomes, sheet), indent=1, ensure_ascii=False))
    else:
        typer.echo(as_text(plan, outcomes, sheet))
        warn(dict.fromkeys(w for outcome in outcomes for w in outcome.warnings))
    if any(outcome.state == "failed" for outcome in outcomes):
        raise typer.Exit(CheckFailed.exit_code)


def _terms(base_left: str, edge: str, bush: str, bush_fit: str, bed: str) -> Terms:
    from jiggen.evening import Terms
    from jiggen.remount import RemountLimits

    # Each jig has a ski range of its own; this one stands in for it.
    settings = replace(
        options.read_settings("80-100", bed, bush), bush_fit=length(bush_fit, "--bush-fit")
    )
    settings.check()
    return Terms(settings, ski_in_hand.read_limits(base_left, edge), RemountLimits())


def _spans(boots: str | None, ski: str | None) -> Spans:
    from jiggen.evening import Spans

    return Spans(_span(boots, "--boots-span"), _span(ski, "--ski-span"))


def _span(words: str | None, key: str) -> float:
    if words is None:
        return math.inf
    found = length(words, key)
    if found < 0:
        hint = "Write how many mm lie between the least and the greatest."
        raise InputError(Finding("cli.span", "a span below 0", key=key, hint=hint))
    return found


def _check_out(out: Path) -> None:
    """Raise InputError where the folder cannot be, before hours of work are put into it."""
    try:
        out.mkdir(parents=True, exist_ok=True)
    except (OSError, ValueError) as error:
        said = f"no folder can be made there: {getattr(error, 'strerror', None) or error}"
        hint = "Choose another --out."
        raise InputError(Finding("cli.out", said, str(out), "--out", hint)) from error


def _built(
    plan: Plan, terms: Terms, out: Path, workers: int, cluster: str | None, force: bool
) -> tuple[Outcome, ...]:
    from jiggen.executors import OwnProcesses, cluster_executor
    from jiggen.report.evening import build_evening
    from jiggen.report.evening.build import load_kernel

    executors = cluster_executor(cluster) if cluster else OwnProcesses(workers, load_kernel)
    with executors as executor, _shown_jigs(len(plan.jigs)) as done:
        return build_evening(
            plan, terms, out, executor=executor, force=force, done=lambda _: done()
        )


def _sheet(plan: Plan, outcomes: tuple[Outcome, ...], out: Path, paper: Paper) -> Path:
    from jiggen.files import write_whole
    from jiggen.report.evening import run_sheet_pdf

    write_whole(out / SHEET, run_sheet_pdf(plan, outcomes, paper=paper), "--out")
    return out / SHEET


@contextmanager
def _shown_jigs(count: int) -> Iterator[Callable[[], None]]:
    """A bar on standard error that moves on with each jig that is done, on a terminal only."""
    import sys

    if not sys.stderr.isatty():
        yield lambda: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn("jigs"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True)) as progress:
        task = progress.add_task("jigs", total=count)
        yield lambda: progress.advance(task)

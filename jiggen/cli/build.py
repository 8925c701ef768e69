"""``jiggen build``: from a pattern, a boot and a range of skis to a verified jig."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli import ski as ski_in_hand
from jiggen.cli.output import warn
from jiggen.cli.program import app
from jiggen.errors import CheckFailed
from jiggen.units import is_range, length

if TYPE_CHECKING:
    from jiggen.design import Settings
    from jiggen.drilling import DrillingLimits, SkiState
    from jiggen.layout import Layout
    from jiggen.pattern import Pattern
    from jiggen.printer import Profile
    from jiggen.report.job import Finished


@app.command(rich_help_panel=options.JIGS)
def build(
    pattern: options.PatternArgument,
    boot: options.BootsOption,
    ski: options.SkiOption,
    shift: options.ShiftOption = "0",
    core: options.CoreOption = "plain",
    side: options.SideOption = "left",
    thickness: ski_in_hand.ThicknessOption = None,
    width_at: ski_in_hand.WidthOption = None,
    area: ski_in_hand.AreaOption = None,
    base_left: ski_in_hand.BaseOption = "2",
    edge: ski_in_hand.EdgeOption = "8",
    bush: options.BushOption = "auto",
    bush_fit: options.BushFitOption = "0.10",
    printer: options.PrinterOption = None,
    bed: options.BedOption = "220x220x250",
    material: options.MaterialOption = "PETG",
    body: Annotated[
        str,
        typer.Option(
            "--body",
            metavar="MM",
            help="Thickness of the jig's body.",
            rich_help_panel=options.PRINTER,
        ),
    ] = "14",
    slide: Annotated[
        str,
        typer.Option(
            "--slide",
            metavar="MM",
            help="Clearance a side of the sliding parts.",
            rich_help_panel=options.PRINTER,
        ),
    ] = "0.2",
    out: Annotated[
        Path | None,
        typer.Option(
            "--out",
            metavar="DIR",
            help="Folder for the files; by default out/<pattern>-<boot>.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    force: Annotated[
        bool,
        typer.Option(
            "--force",
            metavar="",
            help="Replace the folder even if jiggen did not make it.",
            rich_help_panel=options.RESULT,
        ),
    ] = False,
    as_json: options.JsonOption = False,
) -> None:
    """Build a jig: files to print, verified: every hole is where it should be.

    With a range of boots, --boot 265-345, a toe and a heel half, each with a ladder of boot
    lengths to lay on the ski's mark.

    Exit code 0 when the verification passes; 1 when anything fails: the folder's name then ends in
    -failed: do not print it.
    """
    settings = replace(
        options.read_settings(ski, bed, bush),
        bush_fit=length(bush_fit, "--bush-fit"),
        body=length(body, "--body"),
        slide=length(slide, "--slide"),
        material=options.read_material(material),
    )
    profile = options.read_printer(printer)
    state = ski_in_hand.read_ski_state(thickness, width_at, area)
    limits = ski_in_hand.read_limits(base_left, edge)
    job = _Job(settings, out, state, limits, profile, force)
    if is_range(boot):
        plan, boots = options.read_pattern_and_boots(pattern, boot)
        finished = _build_range(plan, boots, length(shift, "--shift"), core, side, job)
    else:
        finished = _build_one(*options.read_with_pattern(pattern, boot, shift, core, side), job)
    typer.echo(_as_json(finished) if as_json else _as_text(finished))
    if not as_json:
        warn(finished.warnings)
    if not finished.verification.passed:
        raise typer.Exit(CheckFailed.exit_code)


@dataclass(frozen=True)
class _Job:
    """What a build asks for besides pattern and boot."""

    settings: Settings
    out: Path | None
    state: SkiState
    limits: DrillingLimits
    printer: Profile | None
    force: bool

    def on(self, plan: Pattern) -> SkiState:
        """The ski in hand, with the pattern's area where none was said."""
        return replace(self.state, area=self.state.area or plan.area)


def _build_one(plan: Pattern, holes: Layout, job: _Job) -> Finished:
    from jiggen.drilling import screws_of
    from jiggen.report.folder import folder_name
    from jiggen.report.job import build_jig

    with shown_progress() as progress:
        return build_jig(
            holes,
            job.settings,
            job.out or Path("out") / folder_name(holes.pattern, holes.boot),
            state=job.on(plan),
            limits=job.limits,
            screws=screws_of(plan),
            printer=job.printer,
            force=job.force,
            progress=progress,
        )


def _build_range(
    plan: Pattern,
    boots: tuple[float, float],
    shift: float,
    core: options.Core,
    side: options.Side,
    job: _Job,
) -> Finished:
    from jiggen.drilling import screws_of
    from jiggen.report.folder import folder_name
    from jiggen.report.reusable import build_reusable

    with shown_progress() as progress:
        return build_reusable(
            plan,
            boots,
            job.settings,
            job.out or Path("out") / folder_name(plan.name, *boots),
            mount_shift=shift,
            core=core,
            side=side,
            state=job.on(plan),
            limits=job.limits,
            screws=screws_of(plan),
            printer=job.printer,
            force=job.force,
            progress=progress,
        )


def _as_json(finished: Finished) -> str:
    data: dict[str, Any] = {"folder": str(finished.folder), **finished.manifest}
    return json.dumps(data, indent=1, ensure_ascii=False)


def _as_text(finished: Finished) -> str:
    from jiggen.report.summary import summary

    return summary(finished)


@contextmanager
def shown_progress() -> Iterator[Callable[[str], None]]:
    """A line on standard error that says what is being done, on a terminal only."""
    import sys

    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console

    with Console(stderr=True).status("starting") as status:
        yield status.update

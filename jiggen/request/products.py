"""What can be built on its own: a jig, a trial plate, a gauge; by the program and the page."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Protocol

from jiggen import options as table
from jiggen.request import options
from jiggen.request.reading import Form

if TYPE_CHECKING:
    from jiggen.job import Job
    from jiggen.pipeline.build import Built

TRIAL_HOLE = replace(
    table.PLATE_HOLE,
    help="Make its holes as large as the plate's own, 5.5, so that one can be seen or a pin pushed "
    "right through both; by default a drill just passes.",
    group=table.JOB,
)
OUT_FOLDER = Path("out")


class Request(Protocol):
    """What can be built into a folder of its own."""

    def target(self) -> Path:
        """Its folder where none is named.  Raises InputError."""

    def texts(self) -> dict[str, str]:
        """What is asked for, as its folder will say it.  Raises InputError."""

    def build(self, target: Path, *, force: bool = False) -> Built[Any, Any]:
        """Build it into the folder `target`.  Raises InputError and CheckFailed."""


@dataclass(frozen=True)
class JigRequest:
    """The options that say which jig is wanted; lengths in mm."""

    pattern: options.PatternArgument
    boot: Annotated[float | options.Range, table.BOOTS]
    ski: options.SkiOption
    sides: options.Sides
    shift: options.ShiftOption
    core: options.CoreOption
    side: options.SideOption
    measured: options.SkiInHand
    limits: options.Limits
    bush: options.BushOption
    bush_fit: options.BushFitOption
    printer: options.PrinterOption
    bed: options.PrintBed
    material: options.MaterialOption
    body: Annotated[float, table.BODY]
    slide: Annotated[float, table.SLIDE]
    copy: options.CopyOption

    def job(self) -> Job:
        """The job.  Raises InputError for what is wrong with it, before it is designed."""
        from jiggen.job import Job
        from jiggen.pattern import find_pattern, read_pattern

        settings = options.read_settings(
            self.ski, self.sides, self.bed.checked(), self.bush, self.material
        )
        return Job(
            read_pattern(find_pattern(self.pattern)),
            options.read_boots(self.boot),
            replace(settings, bush_fit=self.bush_fit, body=self.body, slide=self.slide),
            self.core,
            self.side,
            self.shift,
            self.measured.state(),
            self.limits.checked(),
            options.read_printer(self.printer),
            self.copy,
        )

    def target(self) -> Path:
        """Its folder where none is named.  Raises InputError."""
        from jiggen.job import job_name

        return OUT_FOLDER / job_name(self.job())

    def texts(self) -> dict[str, str]:
        """What is asked for, as its folder will say it.  Raises InputError."""
        from jiggen.export.asked import asked_of_jig

        return asked_of_jig(self.job())

    def build(self, target: Path, *, force: bool = False) -> Built[Any, Any]:
        """Build it into the folder `target`.  Raises InputError and CheckFailed."""
        from jiggen.pipeline.products import build_jig

        return build_jig(self.job(), target, force=force)


@dataclass(frozen=True)
class TrialRequest:
    """The options that say which trial plate is wanted; lengths in mm."""

    mount: options.Mount
    bed: options.PrintBed
    printer: options.PrinterOption
    plate_hole: Annotated[float | None, TRIAL_HOLE]
    copy: options.CopyOption

    def target(self) -> Path:
        """Its folder where none is named.  Raises InputError."""
        from jiggen.job import copy_words, folder_name, mount_words, printer_words

        holes, profile = self.mount.lay_out(), options.read_printer(self.printer)
        words = mount_words(holes.pair == "mirrored", holes.side, holes.mount_shift, holes.core)
        sizes = [f"hole{self.plate_hole:g}"] if self.plate_hole else []
        more = (*words, *printer_words(profile), *sizes, "trial", *copy_words(self.copy))
        return OUT_FOLDER / folder_name(holes.pattern, holes.boot, more=more)

    def _asked(self) -> tuple[Any, ...]:
        """All that decides it, in the order in which it is planned."""
        pattern = self.mount.read()
        holes, profile = self.mount.lay_out(pattern), options.read_printer(self.printer)
        return pattern, holes, self.bed.checked(), profile, self.plate_hole, self.copy

    def texts(self) -> dict[str, str]:
        """What is asked for, as its folder will say it.  Raises InputError."""
        from jiggen.export.asked import asked_of_trial

        return asked_of_trial(*self._asked())

    def build(self, target: Path, *, force: bool = False) -> Built[Any, Any]:
        """Build it into the folder `target`.  Raises InputError and CheckFailed."""
        from jiggen.pipeline.build import build
        from jiggen.pipeline.products import TRIAL, plan_trial

        plan = partial(plan_trial, *self._asked())
        return build(TRIAL, plan, target, force=force)


@dataclass(frozen=True)
class GaugeRequest:
    """The options that say which gauge is wanted; lengths in mm."""

    bed: options.PrintBed
    bush: options.BushOption
    caliper: Annotated[float, table.CALIPER]
    copy: options.CopyOption

    def target(self) -> Path:
        """Its folder where none is named.  Raises InputError."""
        from jiggen.job import bush_words, copy_words

        bush = bush_words(options.read_bush(self.bush))
        return OUT_FOLDER / "-".join(["gauge", *bush, *copy_words(self.copy)])

    def _asked(self) -> tuple[Any, ...]:
        """All that decides it, in the order in which it is planned."""
        return self.bed.checked(), options.read_bush(self.bush), self.caliper, self.copy

    def texts(self) -> dict[str, str]:
        """What is asked for, as its folder will say it.  Raises InputError."""
        from jiggen.export.asked import asked_of_gauge

        return asked_of_gauge(*self._asked())

    def build(self, target: Path, *, force: bool = False) -> Built[Any, Any]:
        """Build it into the folder `target`.  Raises InputError and CheckFailed."""
        from jiggen.pipeline.build import build
        from jiggen.pipeline.products import GAUGE, plan_gauge

        plan = partial(plan_gauge, *self._asked())
        return build(GAUGE, plan, target, force=force)


JIG, TRIAL, GAUGE = (
    Form("build", JigRequest),
    Form("trial", TrialRequest),
    Form("gauge", GaugeRequest),
)

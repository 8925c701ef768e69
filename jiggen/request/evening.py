"""What an evening is planned and built by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.errors import InputError
from jiggen.options import RESULT, Option, argument
from jiggen.request import options
from jiggen.request.reading import Form

if TYPE_CHECKING:
    from jiggen.evening import Plan
    from jiggen.evening.owned import JigAtHand
    from jiggen.evening.read import Jobs

OUT = Path("out/evening")
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
PAPER = replace(table.PAPER, help="For the run sheet.", group=RESULT)


@dataclass(frozen=True)
class EveningRequest:
    """The options that say which pairs there are, and how jigs are made for them; lengths in mm.

    `paper` is the run sheet's.
    """

    jobs: Annotated[Path, JOBS]
    boots_span: Annotated[float | None, BOOTS_SPAN]
    ski_span: Annotated[float | None, SKI_SPAN]
    per_shift: Annotated[bool, PER_SHIFT]
    sides: options.Sides
    limits: options.Limits
    bush: options.BushOption
    bush_fit: options.BushFitOption
    printer: options.PrinterOption
    bed: options.PrintBed
    material: options.MaterialOption
    body: Annotated[float, table.BODY]
    slide: Annotated[float, table.SLIDE]
    copy: options.CopyOption
    paper: Annotated[options.Paper, PAPER]

    def plan(self, owned: Sequence[JigAtHand] = (), jobs: Jobs | None = None) -> Plan:
        """The plan beside the jigs `owned`, of `jobs`, by default those of its file.

        Raises InputError with the faults of every row at once.
        """
        from jiggen.evening import plan_evening
        from jiggen.evening.check import Terms
        from jiggen.evening.families import Spans
        from jiggen.evening.read import read_jobs
        from jiggen.export.compensation import fit_settings
        from jiggen.remount.shifts import RemountLimits

        # Each jig has a ski range of its own; this one is a placeholder.
        settings = options.read_settings(
            (80.0, 100.0), self.sides, self.bed.checked(), self.bush, self.material
        )
        settings = replace(settings, bush_fit=self.bush_fit, body=self.body, slide=self.slide)
        settings.check()
        profile = options.read_printer(self.printer)
        fitted = partial(fit_settings, profile=profile) if profile else None
        terms = Terms(settings, self.limits.checked(), RemountLimits(), profile, fitted, self.copy)
        boots, skis = _span(self.boots_span, BOOTS_SPAN), _span(self.ski_span, SKI_SPAN)
        spans = Spans(boots, skis, not self.per_shift)
        return plan_evening(jobs or read_jobs(self.jobs), terms, spans, owned)


def _span(length: float | None, option: Option) -> float:
    if length is None:
        return math.inf
    if length < 0:
        hint = "Write how many mm there are between the least and the greatest."
        raise InputError.of("cli.span", "a span below 0", key=option.flag, hint=hint)
    return length


EVENING = Form("evening", EveningRequest)

"""One trial plate from layout to verified folder, and what is said when it is done."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jiggen.design.settings import Bed
from jiggen.design.trial import SCALE_NAME, Trial, design_trial
from jiggen.export.compensation import refuse_compensation
from jiggen.layout.model import Layout
from jiggen.measure.printer import Profile
from jiggen.record import TrialRecord
from jiggen.report.folder import Progress, verified_folder
from jiggen.report.summary import LAY, compensated, to_print
from jiggen.verify import Verification, table, verdict

USE = (
    "Print it as it lies, without supports.",
    "Lay it on the real plate, arrow to the tip: each hole must show the plate's in its middle.",
    "Where one does not, the pattern is wrong: mend it before a jig is built.",
    "It guides no drill: never drill through it.",
)
MEASURE = "Measure its 100.0 scale with the caliper before you trust it."


@dataclass(frozen=True, eq=False)
class FinishedTrial:
    """A trial plate's folder, what is in it, and whether its verification passed."""

    folder: Path
    trial: Trial
    record: TrialRecord
    verification: Verification


def build_trial_plate(
    layout: Layout,
    bed: Bed,
    target: Path,
    *,
    printer: Profile | None = None,
    force: bool = False,
    progress: Progress = lambda _: None,
) -> FinishedTrial:
    """Design, draw, write and verify a trial plate; `target` is replaced whole or not at all.

    Its holes are as wide as the `printer` needs; scales and skew are undone in STL and 3MF.
    One that fails its verification is left beside it as ``…-failed``.  Raises InputError before
    anything is written when the input or the target is bad.
    """
    compensation = printer.compensation if printer else None
    if compensation:
        refuse_compensation(compensation)
    progress("design")
    chosen = design_trial(layout, bed, 0.0 - printer.hole if printer else 0.0)

    def make(folder: Path) -> TrialRecord:
        from jiggen.export.trial import write_trial
        from jiggen.solid.plates import build_trial

        model = build_trial(chosen, lambda part: progress(f"solid: {part}"))
        return write_trial(
            chosen, model, folder, lambda what: progress(f"files: {what}"), compensation
        )

    folder, record, verification = verified_folder(target, make, force=force, progress=progress)
    return FinishedTrial(folder, chosen, record, verification)


def trial_summary(finished: FinishedTrial) -> str:
    """The result as plain lines."""
    verification = finished.verification
    lines = [table(verification), "", verdict(verification), ""]
    if not verification.passed:
        return "\n".join(
            [*lines, f"DO NOT PRINT. The files are kept for a look in {finished.folder}"]
        )
    plates = finished.trial.plates
    left_out = [name for plate in plates for name in plate.left_out]
    scaled = any(item.name == SCALE_NAME for plate in plates for item in plate.engravings)
    entry = finished.record.compensation
    lines += [
        *to_print(finished.record.beds),
        *([f"Printer:  {entry.printer}: {compensated(entry)}"] if entry else []),
        f"Files:    {finished.folder}",
        *([f"No room to engrave: {', '.join(left_out)}"] if left_out else []),
        "",
        *([MEASURE] if scaled else []),
        *([LAY] if entry else []),
        *USE,
    ]
    return "\n".join(lines)

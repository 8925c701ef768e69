"""One jig from layout to verified folder: the whole road, driven once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from jiggen.design import Design, Settings, design_jig
from jiggen.drilling import NO_SCREWS, DrillingLimits, Screw, SkiState
from jiggen.errors import Finding
from jiggen.export import check_target, listing
from jiggen.export.compensation import compensation_entry, fit_settings, refuse_for_design
from jiggen.export.manifest import Known, jig_record, part_entries
from jiggen.export.write import write_files
from jiggen.layout.model import Layout
from jiggen.measure.printer import Compensation, Profile
from jiggen.record import JigRecord
from jiggen.report.expect import drill, expect
from jiggen.report.folder import Progress, verified_folder
from jiggen.report.page import REPORT, report_html
from jiggen.report.plastics import weigh
from jiggen.report.sheet import sheet_pdf
from jiggen.solid import build_jig_model
from jiggen.verify import Verification
from jiggen.verify.mesh import read_stl

UNKNOWN_SKI, USUAL_LIMITS = SkiState(), DrillingLimits()


@dataclass(frozen=True, eq=False)
class Finished:
    """A built folder, what is in it, whether its verification passed, and what to beware of."""

    folder: Path
    design: Design
    record: JigRecord
    verification: Verification
    warnings: tuple[Finding, ...]


def build_jig(
    layout: Layout,
    settings: Settings,
    target: Path,
    *,
    state: SkiState = UNKNOWN_SKI,
    limits: DrillingLimits = USUAL_LIMITS,
    screws: Mapping[str, Screw] = NO_SCREWS,
    printer: Profile | None = None,
    force: bool = False,
    key: str = "",
    progress: Progress = lambda _: None,
) -> Finished:
    """Design, draw, write and verify one jig; `target` is replaced whole or not at all.

    `screws` is what goes into a hole, by its id, for those where it is known; the profile of the
    `printer` sets the fits of the design, and its scales and skew are undone in what the printer
    gets, STL and 3MF; `key` is kept in the record, so that a later
    run can tell the jig it finds from the one it wants.
    A jig that fails its verification is left beside it as ``…-failed``. Before anything is written,
    raises InputError when the input or the target is bad, and CheckFailed when the moving parts
    would touch or lose mesh anywhere in the ski range, or the ski is too thin for the holes.
    """
    check_target(target, force=force)
    progress("design")
    chosen = design_jig(layout, fit_settings(settings, printer))
    compensation = refuse_for_design(chosen, printer)
    progress("moving parts over the ski range")
    # How it runs and drills is what comes off the printer: the fits that were asked for.
    expected, warnings = expect(design_jig(layout, settings) if printer else chosen)
    drilled = drill(chosen, state, limits, screws)
    known = Known(expected, drilled, state, limits, screws, key=key)
    return make_jig(
        chosen,
        target,
        known,
        compensation=compensation,
        warnings=warnings + drilled.warnings,
        force=force,
        progress=progress,
    )


def make_jig(
    chosen: Design,
    target: Path,
    known: Known,
    *,
    compensation: Compensation | None,
    warnings: tuple[Finding, ...],
    force: bool,
    progress: Progress,
) -> Finished:
    """Draw, write and verify the `chosen` design; its record has all that is `known` of it."""

    def make(folder: Path) -> JigRecord:
        model = build_jig_model(chosen, lambda part: progress(f"solid: {part}"))
        beds = write_files(
            chosen, model, folder, lambda what: progress(f"files: {what}"), compensation
        )
        volumes = {part.name: part.volume for part in model.parts}
        parts = part_entries((part.piece for part in model.parts), volumes)
        plastic = weigh(chosen, parts, lambda file: read_stl(folder / file))
        done = compensation_entry(compensation)
        return jig_record(chosen, parts, known, plastic, beds=beds, compensation=done)

    def finish(folder: Path, record: JigRecord) -> None:
        if record.passed:  # a jig that failed has no sheet to work from
            progress("sheet")
            (folder / "sheet.pdf").write_bytes(sheet_pdf(record))
        progress("page")
        listed = record.model_copy(update={"files": listing(folder)})  # the page lists the sheet
        (folder / REPORT).write_bytes(report_html(folder, listed).encode())

    final, record, verification = verified_folder(
        target, make, finish=finish, force=force, progress=progress
    )
    return Finished(final, chosen, record, verification, warnings)

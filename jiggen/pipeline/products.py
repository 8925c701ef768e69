"""The table of products: jig, trial plate, gauge.  What they have in common is in `build`.

A new product needs a design, its solids, and a row here; an output file needs a row of `Output`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from jiggen.accuracy.centring import find_centring
from jiggen.design import Design
from jiggen.design.gauge import BED_MARGIN as GAUGE_MARGIN
from jiggen.design.gauge import Gauge, design_gauge, readings_of
from jiggen.design.settings import Bed, BushChoice, Settings
from jiggen.design.trial import BED_MARGIN as TRIAL_MARGIN
from jiggen.design.trial import CLEARANCE, THICKNESS, Trial, design_trial
from jiggen.drilling import check_all_boots
from jiggen.errors import CheckFailed, InputError
from jiggen.export import compensation as printers
from jiggen.export.hole_plan import layout_dxf, layout_svg
from jiggen.export.manifest import (
    Known,
    gauge_record,
    guide_entry,
    hole_entries,
    jig_record,
    measurements_toml,
    part_entries,
    versions,
)
from jiggen.export.write import draw_parts
from jiggen.files import MEASUREMENTS, PAGE, PICTURE, PLAN_DXF, PLAN_SVG, SHEET, parse_toml
from jiggen.job import Job, JobDesign, design_job, moves_holes, range_advice
from jiggen.layout import Layout
from jiggen.measure.printer.profile import Profile
from jiggen.pipeline.build import Built, Drawn, Output, Planned, Product, build
from jiggen.pipeline.expect import expect_job
from jiggen.progress import announce
from jiggen.record import GaugeRecord, JigRecord, TrialRecord
from jiggen.record.entries import TrialInputs
from jiggen.report.page import report_html
from jiggen.report.plastics import weigh
from jiggen.report.sheet import sheet_pdf
from jiggen.report.sheet.gauge import gauge_sheet
from jiggen.verify.mesh import read_stl

if TYPE_CHECKING:
    from jiggen.solid import Model

# -- jig -----------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, kw_only=True)
class PlannedJig(Planned[Design]):
    """A jig's plan, and what is known of it before it is drawn."""

    known: Known


def build_jig(
    job: Job, target: Path, *, force: bool = False, key: str = ""
) -> Built[PlannedJig, JigRecord]:
    """Build the jig for `job` into the folder `target`, as `jiggen.pipeline.build.build` does.

    For boots that move the holes it has halves that are used by themselves, each with a ladder of
    boot lengths.  `key` is kept in its record, so that a later run can tell the jig it finds from
    the one it wants.  Raises InputError when the boots do not fit one jig (with ranges that do),
    or the input or target is bad; CheckFailed when the moving parts would touch or lose mesh
    anywhere in the ski range, or the ski is too thin for the holes.
    """
    return build(JIG, partial(plan_jig, job, key), target, force=force)


def plan_jig(job: Job, key: str = "") -> PlannedJig:
    """The design of a jig, and everything that is expected of it.  Raises as `build_jig`."""
    job.settings.check()
    layouts = job.lay_out_all()
    longest = max(layouts)
    made = _design(job, printers.fit_settings(job.settings, job.printer), layouts)
    # What is expected is what comes off the printer: the fits that were asked for.
    nominal = _design(job, job.settings, layouts) if job.printer else made
    design = made.whole
    compensation = printers.refuse_for_design(design, job.printer)
    announce("moving parts over the ski range")
    accuracy, warnings = expect_job(nominal)
    tops = {guide.id: guide.bush_top_z for guide in design.guides}
    others = [layouts[boot] for boot in sorted(layouts) if boot != longest]
    ski, limits, screws = job.ski_in_hand, job.limits, job.screws
    drilling = check_all_boots([design.layout, *others], tops, ski, limits, screws)
    if drilling.errors:
        raise CheckFailed(drilling.errors)
    boots = None if job.one_boot else (min(layouts), longest)
    known = Known(accuracy, drilling, ski, limits, screws, boots, made.reusable, key)
    return PlannedJig(
        design=design,
        bed=design.settings.bed,
        margin=design.settings.bed_margin,
        compensation=compensation,
        warnings=warnings + drilling.warnings,
        known=known,
    )


def _design(job: Job, settings: Settings, layouts: Mapping[float, Layout]) -> JobDesign:
    """The design; InputError with ranges that would fit where one jig cannot serve all boots."""
    try:
        made = design_job(job, settings, layouts=layouts)
        halves = made.alone if made.reusable else ()
        faults = [fault for half in halves for fault in find_centring(half).findings]
    except InputError as error:
        if not moves_holes(layouts):
            raise
        faults = [*error.findings]
    if faults:
        announce("ranges of boots that would fit")
        raise InputError((*faults, range_advice(replace(job, settings=settings))))
    return made


def _draw_jig(plan: PlannedJig) -> Model:
    from jiggen.solid import build_jig_model

    return build_jig_model(plan.design)


def _jig_record(drawn: Drawn[PlannedJig]) -> JigRecord:
    design = drawn.plan.design
    parts = part_entries((part.piece for part in drawn.model.parts), drawn.volumes)
    return jig_record(
        design,
        parts,
        drawn.plan.known,
        weigh(design, parts, lambda file: read_stl(drawn.folder / file)),
        beds=drawn.beds,
        compensation=printers.compensation_entry(drawn.plan.compensation),
    )


def _shown_skis(drawn: Drawn[PlannedJig]) -> tuple[float, float]:
    ski = drawn.plan.design.settings.ski
    return ski.least, ski.most


JIG = Product[PlannedJig, JigRecord](
    _draw_jig,
    _jig_record,
    (
        Output(PLAN_SVG, lambda d, _: layout_svg(d.plan.design.layout, _shown_skis(d))),
        Output(PLAN_DXF, lambda d, _: layout_dxf(d.plan.design.layout, _shown_skis(d))),
        Output(
            PICTURE, lambda d, _: draw_parts(d.model, d.meshes, d.folder / PICTURE, d.plan.design)
        ),
        Output(SHEET, lambda _, record: sheet_pdf(record), needs="verified"),
        Output(PAGE, lambda d, record: report_html(d.folder, record), needs="judged"),
    ),
)

# -- trial plate ---------------------------------------------------------------------------------


def plan_trial(layout: Layout, bed: Bed, printer: Profile | None = None) -> Planned[Trial]:
    """The design of a trial plate, its holes as wide as the printer needs.  Raises InputError."""
    compensation = printer.compensation if printer else None
    if compensation:
        printers.refuse_compensation(compensation)
    trial = design_trial(layout, bed, 0.0 - printer.hole if printer else 0.0)
    return Planned(trial, bed, TRIAL_MARGIN, compensation)


def _draw_trial(plan: Planned[Trial]) -> Model:
    from jiggen.solid.plates import build_trial

    return build_trial(plan.design)


def _trial_record(drawn: Drawn[Planned[Trial]]) -> TrialRecord:
    trial, compensation = drawn.plan.design, drawn.plan.compensation
    return TrialRecord(
        versions=versions(),
        inputs=TrialInputs.model_validate(
            {
                **vars(trial.layout),
                "shift": trial.layout.mount_shift,
                "bed": asdict(trial.bed),
                "hole_fit": trial.hole_fit,
                "thickness": THICKNESS,
                "clearance": CLEARANCE,
                "printer": compensation.printer if compensation else None,
            }
        ),
        holes=hole_entries(trial.layout),
        guides=tuple(
            guide_entry(guide, plate.name) for plate in trial.plates for guide in plate.guides
        ),
        parts=part_entries(trial.pieces, drawn.volumes),
        beds=drawn.beds,
        compensation=printers.compensation_entry(compensation),
        left_out=trial.left_out,
    )


TRIAL = Product[Planned[Trial], TrialRecord](
    _draw_trial,
    _trial_record,
    (Output(PICTURE, lambda d, _: draw_parts(d.model, d.meshes, d.folder / PICTURE)),),
)

# -- gauge ---------------------------------------------------------------------------------------


def plan_gauge(bed: Bed, bush: BushChoice = "auto", caliper: float = 150.0) -> Planned[Gauge]:
    """The design of a gauge for a caliper that opens so far, mm.  Raises InputError."""
    return Planned(design_gauge(bed, bush, caliper), bed, GAUGE_MARGIN)


def _draw_gauge(plan: Planned[Gauge]) -> Model:
    from jiggen.solid.plates import build_gauge

    return build_gauge(plan.design)


def _keep_measurements(folder: Path) -> None:
    """Raise InputError when a reading was written into the measurements in `folder`."""
    path = folder / MEASUREMENTS
    if not path.is_file() or _is_blank(path.read_text(encoding="utf-8", errors="replace")):
        return
    raise InputError.of(
        "gauge.measured",
        "readings were written into the gauge that is there; nothing was written",
        where=str(path),
        key="out, force",
        hint="Copy the file away first, choose another folder, or force it and lose them.",
    )


def _is_blank(text: str) -> bool:
    """Whether `text` is a file of measurements with nothing filled in."""
    try:
        data = parse_toml(text)
    except ValueError:
        return False
    rows = (row for name in ("distance", "diameter", "height") for row in data.get(name, []))
    values = [row.get("value", "") for row in rows if isinstance(row, dict)]
    return not any(str(value).strip() for value in (*values, *dict(data.get("fits", {})).values()))


def _gauge_sheet(drawn: Drawn[Planned[Gauge]], record: GaugeRecord) -> bytes | None:
    return gauge_sheet(drawn.plan.design, record.verification) if record.verification else None


GAUGE = Product[Planned[Gauge], GaugeRecord](
    _draw_gauge,
    lambda d: gauge_record(d.plan.design, d.volumes, d.beds),
    (
        Output(PICTURE, lambda d, _: draw_parts(d.model, d.meshes, d.folder / PICTURE, zoom=1.15)),
        Output(MEASUREMENTS, lambda d, _: measurements_toml(readings_of(d.plan.design))),
        Output(SHEET, _gauge_sheet, needs="verified"),
    ),
    check=_keep_measurements,
)

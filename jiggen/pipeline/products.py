"""The table of products: jig, trial plate, gauge.  What they have in common is in `build`.

A new product needs a design, its solids, and a row here; an output file needs a row of `Output`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict, dataclass
from functools import partial
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from jiggen.accuracy.budget import over_limit, summarise
from jiggen.accuracy.centring import find_centring, hole_shift_per_division
from jiggen.accuracy.depth import depth_budget, join_depths
from jiggen.accuracy.lift import find_lift
from jiggen.accuracy.reach import find_reach, too_deep
from jiggen.accuracy.support import weak_holes
from jiggen.accuracy.sweep import sweep_stations
from jiggen.accuracy.terms import default_terms
from jiggen.design import Design
from jiggen.design.envelopes import rooms
from jiggen.design.gauge import Gauge, design_gauge, readings_of
from jiggen.design.jig import tight_rims
from jiggen.design.settings import Bed, BushChoice
from jiggen.design.sidewall import run_out
from jiggen.design.trial import CLEARANCE, THICKNESS, Trial, design_trial
from jiggen.drilling import DrillingLimits, check_all_boots
from jiggen.drilling.clamping import unheld
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.export import compensation as printers
from jiggen.export.asked import asked_of_gauge, asked_of_jig, asked_of_trial
from jiggen.export.bodies import trial_bodies
from jiggen.export.engraved import on_trial
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
from jiggen.job import (
    Job,
    JobDesign,
    advice,
    job_budget,
    known_print,
    paper_budget,
    served_design,
)
from jiggen.layout import Layout
from jiggen.marks import jig_mark
from jiggen.measure.printer.profile import Profile
from jiggen.pattern.model import Pattern
from jiggen.pipeline.build import Built, Drawn, Output, Planned, Product, build
from jiggen.progress import announce
from jiggen.record import GaugeRecord, JigRecord, TrialRecord
from jiggen.record.entries import TrialInputs
from jiggen.record.results import (
    Accuracy,
    CentringSummary,
    LeastGap,
    MovingSummary,
    ServedSkis,
)
from jiggen.report.page import report_html
from jiggen.report.plastics import weigh
from jiggen.report.sheet import sheet_pdf
from jiggen.report.sheet.gauge import gauge_sheet
from jiggen.verify.reading.mesh import read_stl

if TYPE_CHECKING:
    from jiggen.solid import Part

CENTRING = tuple(CentringSummary.model_fields)
Expected = tuple[Accuracy, tuple[Finding, ...]]
"""What is expected, for the record, and warnings of holes expected over the limit."""


@dataclass(frozen=True, eq=False, kw_only=True)
class PlannedJig(Planned[Design]):
    """A jig's plan, and what is known of it before it is drawn."""

    known: Known


def build_jig(
    job: Job, target: Path, *, force: bool = False, key: str = ""
) -> Built[PlannedJig, JigRecord]:
    """Build the jig for `job` into the folder `target`, as `jiggen.pipeline.build.build` does.

    `key` is kept in its record, so that a later run can tell it from another.  Raises InputError
    when the boots do not fit one jig (with ranges that do), or the input or target is bad;
    CheckFailed when moving parts touch or lose mesh, or the ski is too thin for the holes.
    """
    return build(JIG, partial(plan_jig, job, key), target, force=force)


def plan_jig(job: Job, key: str = "") -> PlannedJig:
    """The design of a jig, and everything that is expected of it.  Raises as `build_jig`."""
    job.settings.check()
    layouts = job.lay_out_all()
    longest = max(layouts)
    asked, fitted = asked_of_jig(job), printers.fit_settings(job.settings, job.printer)
    made = served_design(job, fitted, layouts, jig_mark(asked))
    # What is expected is what comes off the printer: the fits that were asked for.
    nominal = served_design(job, job.settings, layouts) if job.printer else made
    design = made.whole
    compensation = printers.refuse_for_design(design, job.printer)
    announce("moving parts over the ski range")
    try:
        accuracy, warnings = expect_job(nominal, job.printer, job.limits)
    except CheckFailed as error:
        raise CheckFailed((*error.findings, advice(job))) from error
    tops = {guide.id: guide.bush_top_z for guide in design.guides}
    others = [layouts[boot] for boot in sorted(layouts) if boot != longest]
    ski, limits, screws = job.ski_in_hand, job.limits, job.screws
    room = {
        hole: room
        for each in made.alone
        for hole, room in rooms(each.guides, each.stations, each.mechanism, each.clamps).items()
    }
    chucks = {hole: one.chuck_z for hole, one in room.items()}
    drilling = check_all_boots(
        [design.layout, *others], tops, ski, limits, screws, chucks, accuracy.depth.too_deep
    )
    settings, widths = job.settings, job.settings.ski
    wider = 2 * run_out(settings.sidewall, settings.rail_depth)
    if errors := drilling.errors + unheld(made.places, ski, wider, (widths.least, widths.most)):
        raise CheckFailed(errors)
    boots = None if job.one_boot else (min(layouts), longest)
    known = Known(accuracy, drilling, room, ski, limits, screws, boots, made.reusable, key)
    return PlannedJig(
        design=design,
        bed=design.settings.bed,
        compensation=compensation,
        warnings=(
            warnings
            + too_deep(job.settings, ski.thickness)
            + drilling.warnings
            + tight_rims(design.bodies, design.settings.bed)
        ),
        material=design.settings.material,
        asked=asked,
        known=known,
    )


def expect(
    design: Design, printer: Profile | None = None, limits: DrillingLimits | None = None
) -> Expected:
    """`expect_job` of one design."""
    return expect_job(JobDesign(design, None), printer, limits)


def expect_job(
    made: JobDesign, printer: Profile | None = None, limits: DrillingLimits | None = None
) -> Expected:
    """What is expected of a jig, corrected for `printer`, with the drill of `limits`.

    Raises CheckFailed, for all halves that are set by themselves at once, where moving parts touch
    or lose mesh, the centring cannot be held, or the jig gives way too far under the hand.
    """
    terms, alone = default_terms(), made.alone
    swept, centred = [*map(sweep_stations, alone)], [*map(find_centring, alone)]
    reached, lift = [*map(find_reach, alone)], find_lift(made.whole.settings)
    findings = [*(one.findings for one in swept), *(one.findings for one in centred)]
    findings += [lift.findings, *(one.findings for one in reached)]
    findings += [weak_holes(design, terms.depth.thrust.most) for design in alone]
    if any(findings):
        raise CheckFailed(chain.from_iterable(findings))
    bounds, point = [one.loaded for one in centred], (limits or DrillingLimits()).point_angle
    jig, unmeasured = (
        job_budget(made, terms, bounds, known_print(printer, checked=checked))
        for checked in (True, False)
    )
    reach = reached[0]  # all have one width and one mechanism
    least = min((pair for one in swept for pair in one.pairs), key=lambda pair: pair.gap)
    expected = Accuracy(
        jig=summarise(jig),
        unmeasured=summarise(unmeasured),
        sheet=summarise(paper_budget(made, terms)),
        depth=join_depths([depth_budget(design, terms.depth, point) for design in alone]),
        centring=CentringSummary(
            **{
                name: round(max(float(getattr(one, name).max()) for one in centred), 4)
                for name in CENTRING
            }
        ),
        division={hole: by for design in made.alone for hole, by in _division(design).items()},
        moving=MovingSummary(
            widths=(float(swept[0].widths[0]), float(swept[0].widths[-1]), len(swept[0].widths)),
            reach=ServedSkis(
                least=round(reach.least, 3),
                most=round(reach.most, 3),
                stop=round(reach.stop, 6),
                by=reach.by,
            ),
            teeth=round(min(one.least_teeth for one in swept), 2),
            least_gap=LeastGap(
                parts=(least.one, least.other), gap=round(least.gap, 3), ski=least.width
            ),
        ),
    )
    return expected, over_limit(jig, unmeasured=unmeasured)


def _division(design: Design) -> dict[str, dict[str, float]]:
    """How far sideways each hole lies when a station's left and right differ by one line."""
    names = [station.name for station in design.stations]
    rows = zip(design.layout.ids, np.abs(hole_shift_per_division(design)).T, strict=True)
    return {
        hole: {name: round(float(shift), 4) for name, shift in zip(names, row, strict=True)}
        for hole, row in rows
    }


def _draw_jig(plan: PlannedJig) -> Iterator[Part]:
    from jiggen.solid import draw_jig

    return draw_jig(plan.design)


def _jig_record(drawn: Drawn[PlannedJig]) -> JigRecord:
    design = drawn.plan.design
    parts = part_entries((part.piece for part in drawn.parts), drawn.volumes)
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
        Output(PLAN_SVG, lambda d, r: layout_svg(d.plan.design.layout, _shown_skis(d), r.mark)),
        Output(PLAN_DXF, lambda d, r: layout_dxf(d.plan.design.layout, _shown_skis(d), r.mark)),
        Output(
            PICTURE,
            lambda d, _: draw_parts(d.parts, d.meshes, d.folder / PICTURE, d.plan.design),
            needs="meanwhile",
        ),
        Output(SHEET, lambda _, record: sheet_pdf(record), needs="verified"),
        Output(PAGE, lambda d, record: report_html(d.folder, record), needs="judged"),
    ),
)


def plan_trial(
    pattern: Pattern,
    layout: Layout,
    bed: Bed,
    printer: Profile | None = None,
    plate_hole: float | None = None,
    copy: int = 1,
) -> Planned[Trial]:
    """The design of a trial plate for a `layout` of `pattern`, its holes as the printer needs them.

    They are as large as the plate's own, `plate_hole` mm, if that is given.  Raises InputError.
    """
    compensation = printer.compensation if printer else None
    if compensation:
        printers.refuse_compensation(compensation)
    asked = asked_of_trial(pattern, layout, bed, printer, plate_hole, copy)
    hole_fit = 0.0 - printer.hole if printer else 0.0
    trial = design_trial(layout, bed, hole_fit, plate_hole, jig_mark(asked))
    tight = tight_rims(trial.plates, bed)
    return Planned(trial, bed, compensation, tight, asked=asked)


def _draw_trial(plan: Planned[Trial]) -> Iterator[Part]:
    from jiggen.solid.plates import draw_trial

    return draw_trial(plan.design)


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
                "plate_hole": trial.plate_hole,
                "printer": compensation.printer if compensation else None,
            }
        ),
        holes=hole_entries(trial.layout),
        guides=tuple(
            guide_entry(guide, plate.name) for plate in trial.plates for guide in plate.guides
        ),
        engraved=tuple(on_trial(trial)),
        parts=part_entries(trial.pieces, drawn.volumes),
        beds=drawn.beds,
        compensation=printers.compensation_entry(compensation),
        bodies=tuple(trial_bodies(trial)),
        left_out=trial.left_out,
    )


TRIAL = Product[Planned[Trial], TrialRecord](
    _draw_trial,
    _trial_record,
    (
        Output(
            PICTURE,
            lambda d, _: draw_parts(d.parts, d.meshes, d.folder / PICTURE),
            needs="meanwhile",
        ),
    ),
)


def plan_gauge(
    bed: Bed, bush: BushChoice = "auto", caliper: float = 150.0, copy: int = 1
) -> Planned[Gauge]:
    """The design of a gauge for a caliper that opens so far, mm.  Raises InputError."""
    asked = asked_of_gauge(bed, bush, caliper, copy)
    return Planned(design_gauge(bed, bush, caliper, jig_mark(asked)), bed, asked=asked)


def _draw_gauge(plan: Planned[Gauge]) -> Iterator[Part]:
    from jiggen.solid.plates import draw_gauge

    return draw_gauge(plan.design)


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


GAUGE = Product[Planned[Gauge], GaugeRecord](
    _draw_gauge,
    lambda d: gauge_record(d.plan.design, d.volumes, d.beds),
    (
        Output(
            PICTURE,
            lambda d, _: draw_parts(d.parts, d.meshes, d.folder / PICTURE, zoom=1.15),
            needs="meanwhile",
        ),
        Output(MEASUREMENTS, lambda d, _: measurements_toml(readings_of(d.plan.design))),
        Output(
            SHEET,
            lambda d, r: (
                gauge_sheet(d.plan.design, r.verification, r.mark, r.jig_mark)
                if r.verification
                else None
            ),
            needs="verified",
        ),
    ),
    check=_keep_measurements,
)

"""One jig from layout to verified folder: the whole road, driven once."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from jiggen.design import Design, Settings, design_jig
from jiggen.drilling import NO_SCREWS, DrillingLimits, Screw, SkiState
from jiggen.errors import Finding
from jiggen.export import check_target, listing
from jiggen.export.compensation import fit_settings, refuse_for_design
from jiggen.export.write import write_files
from jiggen.layout.model import Layout
from jiggen.printer import Compensation, Profile
from jiggen.report.expect import drill, expect
from jiggen.report.folder import Progress, verified_folder
from jiggen.report.mass import plastic
from jiggen.report.page import REPORT, report_html
from jiggen.report.sheet import sheet_pdf
from jiggen.solid import build
from jiggen.verify import Verification
from jiggen.verify.mesh import read_stl

UNKNOWN_SKI, USUAL_LIMITS = SkiState(), DrillingLimits()


@dataclass(frozen=True, eq=False)
class Finished:
    """A built folder, what is in it, whether its verification passed, and what to beware of."""

    folder: Path
    design: Design
    manifest: dict[str, Any]
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
    gets, STL and 3MF; `key` is kept in the manifest, so that a later
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
    return make_jig(
        chosen,
        target,
        {"key": key, "accuracy": expected, "drilling": drilled.as_dict()},
        inputs=of_the_ski(state, limits, screws),
        compensation=compensation,
        warnings=warnings + drilled.warnings,
        force=force,
        progress=progress,
    )


def of_the_ski(
    state: SkiState, limits: DrillingLimits, screws: Mapping[str, Screw]
) -> dict[str, Any]:
    """What the manifest's inputs say of the ski in hand and of what goes into it."""
    return {
        "ski_in_hand": asdict(state),
        "drilling_limits": asdict(limits),
        "screws": {hole: asdict(screw) for hole, screw in screws.items()},
    }


def make_jig(
    chosen: Design,
    target: Path,
    entries: Mapping[str, Any],
    *,
    inputs: Mapping[str, Any],
    compensation: Compensation | None,
    warnings: tuple[Finding, ...],
    force: bool,
    progress: Progress,
) -> Finished:
    """Draw, write and verify the `chosen` design; the manifest gets `entries` and `inputs` too."""

    def make(folder: Path) -> dict[str, Any]:
        model = build(chosen, lambda part: progress(f"solid: {part}"))
        manifest = write_files(
            chosen, model, folder, lambda what: progress(f"files: {what}"), compensation
        )
        manifest["inputs"] |= {
            "printer": compensation.printer if compensation else None,
            **inputs,
        }
        weighed = plastic(chosen, manifest["parts"], lambda file: read_stl(folder / file))
        return manifest | {**entries, "plastic": weighed}

    def finish(folder: Path, manifest: dict[str, Any]) -> None:
        if manifest["verification"]["passed"]:  # a jig that failed has no sheet to work from
            progress("sheet")
            (folder / "sheet.pdf").write_bytes(sheet_pdf(manifest))
        progress("page")
        manifest["files"] = listing(folder)  # what the page lists: all but itself
        (folder / REPORT).write_bytes(report_html(folder, manifest).encode())

    final, manifest, verification = verified_folder(
        target, make, finish=finish, force=force, progress=progress
    )
    return Finished(final, chosen, manifest, verification, warnings)

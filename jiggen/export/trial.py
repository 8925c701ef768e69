"""Write every file of a trial plate into a folder, by the same contract as a jig's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path

from jiggen.design.trial import BED_MARGIN, CLEARANCE, DEPTH, THICKNESS, Trial
from jiggen.export.compensation import compensated, compensation_entry
from jiggen.export.manifest import guide_entry, hole_entries, layout_inputs, part_entries, versions
from jiggen.export.preview import Shown, draw_preview, inked
from jiggen.export.write import Meshes, posed, write_parts
from jiggen.measure.printer import Compensation
from jiggen.record import TrialRecord
from jiggen.record.model import BedSize, PrintBed, TrialInputs
from jiggen.solid import Model


def write_trial(
    trial: Trial,
    model: Model,
    folder: Path,
    progress: Callable[[str], None] = lambda _: None,
    compensation: Compensation | None = None,
) -> TrialRecord:
    """Write STEP, STL, 3MF and picture; return the record but for verification and files.

    STL and 3MF are compensated for the printer, as a jig's are.
    """

    def for_printer(meshes: Meshes) -> Meshes:
        return compensated(meshes, compensation) if compensation else meshes

    meshes, beds = write_parts(model, trial.bed, BED_MARGIN, folder, progress, for_printer)
    progress("picture")
    shown: list[Shown] = []
    for plate in trial.plates:
        mesh = meshes[plate.name]
        pose = plate.piece.to_ski(plate.piece.placed[0])
        piece = Shown(plate.piece.kind, posed(mesh.vertices, pose), mesh.triangles)
        shown += inked(piece, THICKNESS - DEPTH)
    draw_preview(shown, folder / "preview.png")
    volumes = {part.name: part.volume for part in model.parts}
    return _record(trial, volumes, beds, compensation)


def _record(
    trial: Trial,
    volumes: dict[str, float],
    beds: tuple[PrintBed, ...],
    compensation: Compensation | None,
) -> TrialRecord:
    """The record but for verification and file list; `volumes` in mm³ by part name."""
    return TrialRecord(
        versions=versions(),
        inputs=TrialInputs(
            **dict(layout_inputs(trial.layout)),
            bed=BedSize(**asdict(trial.bed)),
            hole_fit=trial.hole_fit,
            thickness=THICKNESS,
            clearance=CLEARANCE,
            printer=compensation.printer if compensation else None,
        ),
        holes=hole_entries(trial.layout),
        guides=tuple(
            guide_entry(guide, plate.name) for plate in trial.plates for guide in plate.guides
        ),
        parts=part_entries((plate.piece for plate in trial.plates), volumes),
        beds=beds,
        compensation=compensation_entry(compensation),
        left_out={plate.name: plate.left_out for plate in trial.plates if plate.left_out},
    )

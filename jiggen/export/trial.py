"""Write every file of a trial plate into a folder, by the same contract as a jig's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from jiggen import __version__
from jiggen.design.trial import BED_MARGIN, CLEARANCE, DEPTH, THICKNESS, Trial
from jiggen.export.compensation import compensated, compensation_entry
from jiggen.export.manifest import asked, guide_row, hole_rows, part_row, versions
from jiggen.export.preview import Shown, draw_preview, inked
from jiggen.export.write import Meshes, posed, write_parts
from jiggen.printer import Compensation
from jiggen.solid import Model


def write_trial(
    trial: Trial,
    model: Model,
    folder: Path,
    progress: Callable[[str], None] = lambda _: None,
    compensation: Compensation | None = None,
) -> dict[str, Any]:
    """Write STEP, STL, 3MF and picture; return the manifest so far.

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
    manifest = _manifest(trial, {part.name: part.volume for part in model.parts})
    return manifest | {"beds": beds, "compensation": compensation_entry(compensation)}


def _manifest(trial: Trial, volumes: dict[str, float]) -> dict[str, Any]:
    """The manifest but for verification and file list; `volumes` in mm³ by part name."""
    layout = trial.layout
    return {
        "manifest": 1,
        "kind": "trial",
        "versions": {"jiggen": __version__, **versions()},
        "inputs": {
            **asked(layout),
            "bed": asdict(trial.bed),
            "hole_fit": trial.hole_fit,
            "thickness": THICKNESS,
            "clearance": CLEARANCE,
        },
        "holes": hole_rows(layout),
        "guides": [
            guide_row(guide, plate.name) for plate in trial.plates for guide in plate.guides
        ],
        "openings": [],
        "joint": None,
        "left_out": {plate.name: list(plate.left_out) for plate in trial.plates if plate.left_out},
        "parts": [part_row(plate.piece, volumes[plate.name]) for plate in trial.plates],
        "hardware": [],
        "verification": None,
        "files": {},
    }

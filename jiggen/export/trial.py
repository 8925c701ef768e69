"""Write every file of a trial plate into a folder, by the same contract as a jig's."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from pathlib import Path
from typing import Any

from jiggen import __version__
from jiggen.design.trial import CLEARANCE, DEPTH, THICKNESS, Trial, TrialPlate
from jiggen.export.compensation import compensated, compensation_entry, hollows
from jiggen.export.manifest import asked, hole_rows, matrix_rows, rounded, versions
from jiggen.export.meshes import PartMesh, stl_bytes, threemf_bytes
from jiggen.export.preview import Shown, draw_preview, inked
from jiggen.export.write import posed, write_named_step
from jiggen.printer import Compensation
from jiggen.solid import Model, mesh_of


def write_trial(
    trial: Trial,
    model: Model,
    folder: Path,
    progress: Callable[[str], None] = lambda _: None,
    compensation: Compensation | None = None,
) -> dict[str, Any]:
    """Write STEP, STL, 3MF and picture; return the manifest so far.

    STL and 3MF are compensated for the printer, as a jig's are.  Raises InputError
    ``export.compensation`` where there is no room for that.
    """
    progress("meshes")
    meshes = {part.name: PartMesh(part.name, *mesh_of(part), count=1) for part in model.parts}
    printed = [_printed(plate, meshes[plate.name], compensation) for plate in trial.plates]
    (folder / "parts").mkdir()
    for mesh in printed:
        (folder / "parts" / f"{mesh.name}.stl").write_bytes(stl_bytes(mesh))
    (folder / "jig.3mf").write_bytes(threemf_bytes(printed, trial.bed.x))
    progress("STEP")
    write_named_step(model, folder / "jig.step")
    progress("picture")
    shown: list[Shown] = []
    for plate in trial.plates:
        mesh = meshes[plate.name]
        pose = plate.piece.to_ski(plate.piece.placed[0])
        piece = Shown(plate.name, posed(mesh.vertices, pose), mesh.triangles)
        shown += inked(piece, THICKNESS - DEPTH)
    draw_preview(shown, folder / "preview.png")
    manifest = _manifest(trial, {part.name: part.volume for part in model.parts})
    return manifest | {"compensation": compensation_entry(compensation)}


def _printed(plate: TrialPlate, mesh: PartMesh, compensation: Compensation | None) -> PartMesh:
    """A piece as the printer gets it."""
    if compensation is None:
        return mesh
    holes = [h for guide in plate.guides for h in hollows(guide, plate.piece, compensation)]
    return compensated(mesh, compensation, holes)


def _manifest(trial: Trial, volumes: dict[str, float]) -> dict[str, Any]:
    """The manifest but for proof and file list; `volumes` in mm³ by part name."""
    layout = trial.layout
    return {
        "manifest": 1,
        "kind": "trial",
        "versions": {"jiggen": __version__, **versions()},
        "inputs": {
            **asked(layout),
            "bed": asdict(trial.bed),
            "thickness": THICKNESS,
            "clearance": CLEARANCE,
        },
        "holes": hole_rows(layout),
        "guides": [
            {
                "id": guide.id,
                "part": plate.name,
                "bore": rounded(guide.bore),
                "bore_z": [rounded(z) for z in guide.bore_z],
                "throat": rounded(guide.throat),
                "throat_z": [rounded(z) for z in guide.throat_z],
            }
            for plate in trial.plates
            for guide in plate.guides
        ],
        "openings": [],
        "joint": None,
        "left_out": {plate.name: list(plate.left_out) for plate in trial.plates if plate.left_out},
        "parts": [_part(plate, volumes[plate.name]) for plate in trial.plates],
        "hardware": [],
        "proof": None,
        "files": {},
    }


def _part(plate: TrialPlate, volume: float) -> dict[str, Any]:
    (placed,) = plate.piece.placed
    to_ski = matrix_rows(plate.piece.to_ski(placed))
    return {
        "name": plate.name,
        "file": f"parts/{plate.name}.stl",
        "count": 1,
        "printed": True,
        "volume": round(volume, 3),
        "to_ski": to_ski,
        "placed": [{"name": placed.name, "to_ski": to_ski}],
    }

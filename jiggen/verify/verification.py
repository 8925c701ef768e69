"""The witness: a jig's written files against the layout in their manifest.

What it does not see: a peg that nobody asked for; a recess or a boss that the STEP lacks, as
long as it leaves the STEP's corners, the volume within its limit, the guides and the drills'
paths as they are; and a round hole less than `limits.EXTRA_DEPTH` deep.
"""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from jiggen.verify import limits
from jiggen.verify.bed import judge_beds
from jiggen.verify.clearance import free_radius
from jiggen.verify.compensation import done_again, judge_compensation, judge_fits
from jiggen.verify.holes import Wanted, measure
from jiggen.verify.ladders import judge_ladders
from jiggen.verify.manifest import Guide, Hole, Manifest, Part, read_manifest
from jiggen.verify.mesh import Mesh
from jiggen.verify.parts import (
    judge_matrices,
    judge_shapes,
    load_mesh,
    load_step,
    pieces_of,
)
from jiggen.verify.pegs import measure_pegs
from jiggen.verify.printing import judge_printing
from jiggen.verify.results import Fault, Found, HoleCheck, Ledger, PegCheck, PegFound, Verification
from jiggen.verify.rings import MeshBody, StepBody
from jiggen.verify.step_assembly import StepPiece


def verify_folder(folder: Path) -> Verification:
    """Verify a jig from the files in `folder` and nothing else.

    Every check is made, whatever failed before it; a file that is missing or cannot be read is
    a failed check. Raises InputError when the manifest itself is missing or wrong.
    """
    return verify_as(read_manifest(folder), folder)


def verify_as(manifest: Manifest, folder: Path) -> Verification:
    """Like :func:`verify_folder`, with the manifest read already."""
    # Numbers beyond all measure in a damaged file become faults, not warnings.
    with np.errstate(all="ignore"):
        return _verification(manifest, folder)


def _verification(manifest: Manifest, folder: Path) -> Verification:
    ledger = Ledger()
    judge_matrices(manifest.parts, ledger)
    if manifest.compensation:
        judge_compensation(manifest.compensation, ledger)
    judge_fits(manifest.inputs, ledger)
    _judge_drills(manifest, ledger)
    assembly = load_step(folder, ledger, flats=bool(manifest.ladders))
    pieces = pieces_of(assembly, manifest.parts, ledger) if assembly else {}
    loaded = {part.name: load_mesh(folder, part, manifest, ledger) for part in manifest.parts}
    meshes = {name: mesh for name, mesh in loaded.items() if mesh is not None}
    judge_shapes(manifest, meshes, pieces, ledger)
    # What is not closed cannot be sliced at all, and has been said to be open.
    closed = {name: mesh for name, mesh in meshes.items() if not mesh.open_edges}
    sent = {name: done_again(mesh, manifest.done) for name, mesh in closed.items()}
    printing = judge_printing(manifest.parts, sent, manifest.inputs.bed, ledger)
    judge_beds(folder, manifest, meshes, ledger)
    step, stl = _find_holes(manifest, meshes, pieces, ledger)
    pegs = _find_pegs(manifest, meshes, pieces, ledger)
    boots = judge_ladders(manifest, meshes, pieces, {"STEP": step, "STL": stl}, ledger)
    hole_of = manifest.hole_of
    guide_of = {guide.id: guide for guide in manifest.guides}
    holes = tuple(
        _record(hole_of[hole.id], guide_of[hole.id], step, stl) for hole in manifest.holes
    )
    return Verification(ledger.checks, holes, tuple(ledger.faults), pegs, boots, printing)


def _judge_drills(manifest: Manifest, ledger: Ledger) -> None:
    holes = manifest.hole_of
    for guide in manifest.guides:
        drill = holes[guide.id].diameter
        narrow = min(guide.bore, guide.throat) - manifest.inputs.hole_fit  # as it is printed
        ledger.expect(
            narrow >= drill,
            Fault(
                "verify.narrow",
                "manifest.json",
                guide.id,
                f"its guide is {narrow:g} mm wide, the drill {drill:g} mm",
                narrow,
                drill,
                0.0,
                "mm",
            ),
        )


def _find_holes(
    manifest: Manifest,
    meshes: Mapping[str, Mesh],
    pieces: Mapping[str, StepPiece],
    ledger: Ledger,
) -> tuple[dict[str, Found], dict[str, Found]]:
    """Every hole found in STEP and in STL, by id."""
    step: dict[str, Found] = {}
    stl: dict[str, Found] = {}
    holes = manifest.hole_of
    for part in (part for part in manifest.parts if part.is_body):
        wanted = [Wanted(holes[guide.id], guide) for guide in manifest.guides_of(part.name)]
        openings = [opening for opening in manifest.openings if opening.part == part.name]
        piece, mesh = pieces.get(part.placed[0].name), meshes.get(part.name)
        if piece:
            step |= measure(part.name, wanted, openings, StepBody(piece), ledger)
        if mesh:
            in_use = mesh.moved(part.matrix)
            stl |= measure(part.name, wanted, openings, MeshBody(in_use), ledger)
            _judge_passage(part, in_use, wanted, stl, manifest.inputs.hole_fit, ledger)
    return step, stl


def _find_pegs(
    manifest: Manifest,
    meshes: Mapping[str, Mesh],
    pieces: Mapping[str, StepPiece],
    ledger: Ledger,
) -> tuple[PegCheck, ...]:
    """Every peg, as found in STEP and in STL."""
    step: dict[str, PegFound] = {}
    stl: dict[str, PegFound] = {}
    for part in (part for part in manifest.parts if part.is_body):
        wanted = [peg for peg in manifest.pegs if peg.part == part.name]
        piece, mesh = pieces.get(part.placed[0].name), meshes.get(part.name)
        if piece and wanted:
            step |= measure_pegs(wanted, StepBody(piece), ledger)
        if mesh and wanted:
            stl |= measure_pegs(wanted, MeshBody(mesh.moved(part.matrix)), ledger)
    return tuple(
        PegCheck(
            id=peg.id,
            part=peg.part,
            x=peg.x,
            y=peg.y,
            diameter=peg.diameter,
            top=peg.z[1],
            step=step.get(peg.id),
            stl=stl.get(peg.id),
        )
        for peg in manifest.pegs
    )


def _judge_passage(
    part: Part,
    mesh: Mesh,
    wanted: list[Wanted],
    found: Mapping[str, Found],
    more: float,
    ledger: Ledger,
) -> None:
    """The drill must pass the whole body along each hole's axis.

    `more` mm were added to the narrowest diameter, which the printer takes away again.
    """
    for item in wanted:
        hole, seen = item.hole, found.get(item.hole.id)
        x, y = (seen.x, seen.y) if seen else (hole.x, hole.y)
        needed = (hole.diameter + more) / 2
        free = free_radius(mesh, x, y, needed)
        ledger.expect(
            free >= needed - limits.CHORD,
            Fault(
                "verify.blocked",
                part.file,
                hole.id,
                f"something stands {free:.2f} mm from its axis, in the way of a "
                f"{hole.diameter:g} mm drill",
                2 * free,
                2 * needed,
                2 * limits.CHORD,
                "mm",
            ),
        )


def _record(
    hole: Hole, guide: Guide, step: Mapping[str, Found], stl: Mapping[str, Found]
) -> HoleCheck:
    return HoleCheck(
        id=hole.id,
        part=guide.part,
        x=hole.x,
        y=hole.y,
        bore=guide.bore,
        throat=guide.throat,
        step=step.get(hole.id),
        stl=stl.get(hole.id),
    )

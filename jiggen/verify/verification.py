"""The verifier: a jig's written files against the layout in their manifest.

What it does not see: a peg that nobody asked for; a recess or a boss that the STEP lacks, as
long as it leaves the STEP's corners, the volume within its limit, the guides and the drills'
paths as they are; and a round hole less than `limits.EXTRA_DEPTH` deep.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np

from jiggen.files import MANIFEST, MEASUREMENTS, within
from jiggen.verify import limits
from jiggen.verify.bed import judge_beds
from jiggen.verify.compensation import done_again, judge_compensation, judge_fits
from jiggen.verify.holes import Wanted, measure_holes, measure_pegs
from jiggen.verify.ladders import judge_ladders
from jiggen.verify.manifest import FileEntry, Manifest, Part, read_manifest
from jiggen.verify.mesh import Mesh
from jiggen.verify.parts import (
    fail_unreadable,
    judge_matrices,
    judge_shapes,
    load_mesh,
    load_step,
    pieces_of,
)
from jiggen.verify.printing import judge_printing
from jiggen.verify.results import (
    Found,
    HoleCheck,
    Ledger,
    PegCheck,
    PegFound,
    Subject,
    Verification,
)
from jiggen.verify.rings import Body, MeshBody, StepBody
from jiggen.verify.step_assembly import StepPiece

LITTER = {"Thumbs.db", "desktop.ini"}  # left by file managers; dotted names are too


def verify_folder(folder: Path) -> Verification:
    """Verify a jig from the files in `folder` and nothing else.

    Every check is made, whatever failed before it; a file that is missing or cannot be read is
    a failed check. Raises InputError when the manifest itself is missing or wrong.
    """
    return _verify(read_manifest(folder), folder)


def check(folder: Path) -> Verification:
    """Verify `folder` again, and compare every file with the manifest's SHA-256.

    Raises InputError when the manifest is missing or wrong.
    """
    manifest = read_manifest(folder)
    ledger = Ledger()
    for name, entry in sorted(manifest.files.items()):
        _judge_file(folder, name, entry, ledger.about(name, Path(name).name))
    _judge_listing(folder, manifest, ledger)
    _judge_stored_verification(manifest, ledger.about(MANIFEST, "verification"))
    verification = _verify(manifest, folder)
    seen = {(fault.code, fault.source) for fault in ledger.faults}
    later = tuple(fault for fault in verification.faults if (fault.code, fault.source) not in seen)
    return replace(
        verification, checks=verification.checks + ledger.checks, faults=(*ledger.faults, *later)
    )


def _judge_file(folder: Path, name: str, entry: FileEntry, about: Subject) -> None:
    try:
        data = within(folder, name, limits.FILE).read_bytes()
    except OSError as error:
        fail_unreadable(about, error)
        return
    same = len(data) == entry.bytes and hashlib.sha256(data).hexdigest() == entry.sha256
    message = f"changed since it was built: {len(data)} bytes, {entry.bytes} then"
    about.expect(same, "verify.hash", message)


def _judge_listing(folder: Path, manifest: Manifest, ledger: Ledger) -> None:
    there = {
        path.relative_to(folder).as_posix()
        for path in folder.rglob("*")
        if not (path.is_dir() or path.name.startswith(".") or path.name in LITTER)
    }
    for name in sorted(there - {MANIFEST, MEASUREMENTS} - manifest.files.keys()):
        ledger.about(name, name).fail("verify.unlisted", "a file that jiggen did not write")


def _judge_stored_verification(manifest: Manifest, about: Subject) -> None:
    stored = manifest.verification
    message = "the jig was never verified when it was built"
    about.expect(stored is not None, "verify.unverified", message)
    passed = stored is None or stored.get("passed") is True
    message = "the jig failed its verification when built"
    about.expect(passed, "verify.failed-when-built", message)


def _verify(manifest: Manifest, folder: Path) -> Verification:
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
    # What is not closed cannot be sliced at all, and has been reported as open.
    closed = {name: mesh for name, mesh in meshes.items() if not mesh.open_edges}
    sent = {name: done_again(mesh, manifest.done) for name, mesh in closed.items()}
    printing = judge_printing(manifest.parts, sent, manifest.inputs.bed, ledger)
    judge_beds(folder, manifest, meshes, ledger)
    holes: dict[str, dict[str, Found]] = {"STEP": {}, "STL": {}}
    pegs: dict[str, dict[str, PegFound]] = {"STEP": {}, "STL": {}}
    for part, body in _bodies(manifest, meshes, pieces):
        wanted = _wanted(manifest, part)
        openings = [opening for opening in manifest.openings if opening.part == part.name]
        holes[body.source] |= measure_holes(part.name, wanted, openings, body, ledger)
        standing = [peg for peg in manifest.pegs if peg.part == part.name]
        if standing:
            pegs[body.source] |= measure_pegs(standing, body, ledger)
        if isinstance(body, MeshBody):
            more = manifest.inputs.hole_fit
            _judge_passage(part, body.mesh, wanted, holes["STL"], more, ledger)
    boots = judge_ladders(manifest, meshes, pieces, holes, ledger)
    return Verification(
        ledger.checks,
        tuple(_hole_checks(manifest, holes)),
        tuple(ledger.faults),
        tuple(_peg_checks(manifest, pegs)),
        boots,
        printing,
    )


def _bodies(
    manifest: Manifest, meshes: Mapping[str, Mesh], pieces: Mapping[str, StepPiece]
) -> Iterator[tuple[Part, Body]]:
    """Each part that carries holes, in both formats where they are there, in the ski frame."""
    for part in (part for part in manifest.parts if part.is_body):
        piece, mesh = pieces.get(part.placed[0].name), meshes.get(part.name)
        if piece:
            yield part, StepBody(piece)
        if mesh:
            yield part, MeshBody(mesh.moved(part.matrix))


def _wanted(manifest: Manifest, part: Part) -> list[Wanted]:
    holes = manifest.hole_of
    return [Wanted(holes[guide.id], guide) for guide in manifest.guides_of(part.name)]


def _judge_drills(manifest: Manifest, ledger: Ledger) -> None:
    holes = manifest.hole_of
    for guide in manifest.guides:
        drill = holes[guide.id].diameter
        narrow = min(guide.bore, guide.throat) - manifest.inputs.hole_fit  # as it is printed
        message = f"its guide is {narrow:g} mm wide, the drill {drill:g} mm"
        about = ledger.about(MANIFEST, guide.id)
        about.expect(narrow >= drill, "verify.narrow", message, narrow, drill, 0.0, "mm")


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
    for hole in (item.hole for item in wanted):
        seen = found.get(hole.id)
        x, y = (seen.x, seen.y) if seen else (hole.x, hole.y)
        needed = (hole.diameter + more) / 2
        free = mesh.free_radius(x, y, needed)
        message = (
            f"something stands {free:.2f} mm from its axis, in the way of a "
            f"{hole.diameter:g} mm drill"
        )
        ledger.about(part.file, hole.id).expect(
            free >= needed - limits.CHORD,
            "verify.blocked",
            message,
            2 * free,
            2 * needed,
            2 * limits.CHORD,
            "mm",
        )


def _hole_checks(
    manifest: Manifest, found: Mapping[str, Mapping[str, Found]]
) -> Iterator[HoleCheck]:
    """Every hole, as wanted and as found in STEP and in STL."""
    guide_of = {guide.id: guide for guide in manifest.guides}
    for hole in manifest.holes:
        guide = guide_of[hole.id]
        step, stl = found["STEP"].get(hole.id), found["STL"].get(hole.id)
        yield HoleCheck(hole.id, guide.part, hole.x, hole.y, step, stl, guide.bore, guide.throat)


def _peg_checks(
    manifest: Manifest, found: Mapping[str, Mapping[str, PegFound]]
) -> Iterator[PegCheck]:
    """Every peg, as wanted and as found in STEP and in STL."""
    for peg in manifest.pegs:
        step, stl = found["STEP"].get(peg.id), found["STL"].get(peg.id)
        yield PegCheck(peg.id, peg.part, peg.x, peg.y, step, stl, peg.diameter, peg.z[1])

"""The verifier: a jig's written files against the layout in their manifest.

What it does not see: anything wrong in both STEP and STL alike that no named check looks for; a
triangle off its STEP face by no more than `limits.SHAPE`; and how a print came out.
"""

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TypeVar

import numpy as np

from jiggen import outcome
from jiggen.files import MANIFEST
from jiggen.verify import limits
from jiggen.verify.asked import judge_asked
from jiggen.verify.beds import judge_beds
from jiggen.verify.bodies import judge_bodies
from jiggen.verify.drawn import judge_drawings
from jiggen.verify.engraving import judge_engraving
from jiggen.verify.evidence import Evidence, Unread
from jiggen.verify.folder import judge_files
from jiggen.verify.gauges import judge_gauges
from jiggen.verify.holes import measure_holes, measure_pegs
from jiggen.verify.index_lines import judge_index_lines
from jiggen.verify.ladders import judge_ladders
from jiggen.verify.lengths import judge_lengths
from jiggen.verify.mechanism import judge_mechanism
from jiggen.verify.papers import judge_papers
from jiggen.verify.parts import (
    done_again,
    judge_poses,
    judge_shapes,
    load_mesh,
    load_pieces,
)
from jiggen.verify.printing import judge_printing
from jiggen.verify.reach import judge_reach
from jiggen.verify.reading import memory
from jiggen.verify.reading.entries import Guide, Hole, Peg
from jiggen.verify.reading.manifest import Manifest, read_manifest
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.stated import StatedInputs
from jiggen.verify.results import Ledger
from jiggen.verify.rings import Body, MeshBody, StepBody
from jiggen.verify.room import judge_room
from jiggen.verify.shells import judge_shells
from jiggen.verify.standing import judge_standing
from jiggen.verify.surface import judge_surface
from jiggen.wording import whose_holes

Judge = Callable[[Evidence, Ledger], None]
AnyFound = TypeVar("AnyFound", outcome.FoundBore, outcome.FoundPeg)
JUDGES = (
    ("pattern and job", judge_asked),
    ("print beds", judge_beds),
    ("engravings", judge_engraving),
    ("engravings", judge_index_lines),
    ("lengths for the caliper", judge_lengths),
    ("fasteners and room for tools", judge_room),
    ("bodies on the ski", judge_standing),
    ("bodies on the ski", judge_bodies),
    ("fasteners and room for tools", judge_gauges),
    ("rails and pinions", judge_reach),
    ("surfaces", judge_shells),
    ("drawings", judge_drawings),
    ("sheet and page", judge_papers),
    ("rails and pinions", judge_mechanism),
    ("surfaces", judge_surface),  # the last: it is silent where a cause has been named
)
"""Checks that stand by themselves, and what each is of: what it finds, it notes in the ledger."""
EARLY = (judge_room, judge_standing, judge_bodies, judge_gauges, judge_reach, judge_mechanism)
"""Those that look at the manifest and the parts' meshes alone."""


def verify_folder(folder: Path) -> outcome.Verification:
    """Verify a jig from the files in `folder` and nothing else.

    Every check is made, whatever failed before it; a file that is missing or cannot be read is
    a failed check. Raises InputError when the manifest itself is missing or wrong.
    """
    return _verify(read_manifest(folder), folder, Ledger())


def check(folder: Path) -> outcome.Verification:
    """Verify `folder` again, and compare every file with the manifest's SHA-256.

    Raises InputError when the manifest is missing or wrong.
    """
    manifest = read_manifest(folder)
    ledger = Ledger()
    judge_files(folder, manifest, ledger)
    about, stored = ledger.about(MANIFEST, "verification"), manifest.verification
    message = "the jig was never verified when it was built"
    about.expect(stored is not None, "verify.unverified", message)
    passed = stored is None or stored.get("passed") is True
    about.expect(passed, "verify.failed-when-built", "the jig failed its verification when built")
    return _verify(manifest, folder, ledger)


@np.errstate(all="ignore")
def judge_ahead(folder: Path) -> None:
    """Make those checks of `folder` that its manifest and its STL files are enough for.

    What they find is used where manifest and meshes are the very same when all is verified.
    Raises InputError when the manifest is missing or wrong.
    """
    manifest = read_manifest(folder)
    evidence = Evidence(folder, manifest, _load_meshes(folder, manifest, Ledger()), Unread())
    for what, judge in JUDGES:
        if judge in EARLY:
            _judge(judge, evidence, Ledger(what))


def _judge(judge: Judge, evidence: Evidence, ledger: Ledger) -> None:
    """Have `judge` note what it finds, or what it found of the same meshes before."""

    def judged() -> Ledger:
        own = Ledger(ledger.what)
        judge(evidence, own)
        return own

    if judge in EARLY and memory.keeps():
        ledger.add(memory.made_of(evidence.of_meshes, judge.__name__, judged))
    else:
        judge(evidence, ledger)


def _load_meshes(folder: Path, manifest: Manifest, ledger: Ledger) -> dict[str, Mesh]:
    """The meshes of the parts that could be read, by name."""
    loaded = {part.name: load_mesh(folder, part, manifest, ledger) for part in manifest.parts}
    return {name: mesh for name, mesh in loaded.items() if mesh is not None}


@np.errstate(all="ignore")  # numbers beyond all measure in a damaged file become faults
def _verify(manifest: Manifest, folder: Path, ledger: Ledger) -> outcome.Verification:
    """All checks of the files, after those that `ledger` holds already."""
    before = len(ledger.faults)
    ledger.what = "pattern and job"
    judge_poses(manifest.parts, ledger)
    _judge_changes(manifest, ledger)
    _judge_drills(manifest, ledger)
    ledger.what = "surfaces"
    pieces = load_pieces(folder, manifest, ledger)
    meshes = _load_meshes(folder, manifest, ledger)
    evidence = Evidence(folder, manifest, meshes, pieces)
    judge_shapes(evidence, ledger)
    # What is not closed or of another size is not to be printed, and has been reported.
    scaled = {fault.subject for fault in ledger.faults if fault.code == "verify.scale"}
    sound = (name for name, mesh in meshes.items() if not mesh.open_edges and name not in scaled)
    sent = {name: done_again(meshes[name], manifest.done) for name in sound}
    ledger.what = "walls and overhangs"
    printing = judge_printing(manifest.parts, sent, manifest.inputs.bed, ledger)
    ledger.what = "holes"
    bores: dict[str, dict[str, outcome.FoundBore]] = {"STEP": {}, "STL": {}}
    tops: dict[str, dict[str, outcome.FoundPeg]] = {"STEP": {}, "STL": {}}
    for part in (part for part in manifest.parts if part.is_body):
        wanted = [(hole, guide) for hole, guide in manifest.guided if guide.part == part.name]
        openings = [opening for opening in manifest.openings if opening.part == part.name]
        standing = [peg for peg in manifest.pegs if peg.part == part.name]
        bodies: list[Body] = []
        if piece := pieces.get(part.placed[0].name):
            bodies.append(StepBody(piece))
        if mesh := evidence.bodies.get(part.name):
            bodies.append(MeshBody(mesh))
        for body in bodies:
            bores[body.source] |= measure_holes(part.name, wanted, openings, body, ledger)
            tops[body.source] |= measure_pegs(standing, body, ledger)
            if isinstance(body, MeshBody):
                more = manifest.inputs.hole_fit
                _judge_passage(part.file, body.mesh, wanted, bores["STL"], more, ledger)
    ledger.what = "engravings"
    ladders = judge_ladders(evidence, bores, ledger)
    for ledger.what, judge in JUDGES:
        _judge(judge, evidence, ledger)
    holes = tuple(
        outcome.HoleCheck(hole.id, guide.part, bore, *_both(bores, hole))
        for hole, guide in manifest.guided
        for bore in [outcome.WantedBore(hole.x, hole.y, guide.bore, guide.throat)]
    )
    pegs = tuple(
        outcome.PegCheck(peg.id, peg.part, top, *_both(tops, peg))
        for peg in manifest.pegs
        for top in [outcome.WantedPeg(peg.x, peg.y, peg.diameter, peg.z[1])]
    )
    seen = {(fault.code, fault.source) for fault in ledger.faults[:before]}
    later = [fault for fault in ledger.faults[before:] if (fault.code, fault.source) not in seen]
    faults = (*ledger.faults[:before], *later)
    deviations = [hole.deviation for hole in holes] + [peg.deviation for peg in pegs]
    deviations += [boot.deviation for boot in ladders]
    passed = not faults and None not in deviations
    made_for = manifest.compensation.made_for if manifest.compensation else None
    return outcome.Verification(
        passed,
        ledger.checks,
        limits.HELD_TO,
        holes,
        pegs,
        ladders,
        faults,
        made_for,
        dict(sorted(ledger.checked.items())),
        printing,
        tuple(ledger.strange),
        _whose(manifest),
    )


def _whose(manifest: Manifest) -> str:
    """For what boot and ski the holes are, in words; empty where that is not stated."""
    try:
        inputs = StatedInputs.model_validate(manifest.stated)
    except ValueError:
        return ""
    if "boot" not in inputs.model_fields_set:  # of a gauge
        return ""
    side = inputs.side if inputs.pair == "mirrored" else ""
    drawn = bool(manifest.ladders)
    return whose_holes(inputs.boot, inputs.boots, inputs.shift, side, drawn=drawn)


def _both(
    found: Mapping[str, Mapping[str, AnyFound]], wanted: Hole | Peg
) -> tuple[AnyFound | None, AnyFound | None, float | None]:
    """What was found in STEP and in STL, and the larger deviation if both have it."""
    step, stl = found["STEP"].get(wanted.id), found["STL"].get(wanted.id)
    return step, stl, max(step.deviation, stl.deviation) if step and stl else None


def _judge_changes(manifest: Manifest, ledger: Ledger) -> None:
    """What was changed for a printer must be within all that a sound one needs."""
    if manifest.compensation:
        change = manifest.compensation.linear - np.eye(3)
        allowed = np.full((3, 3), limits.STRETCH)
        allowed[(change < 0) & np.eye(3, dtype=bool)] = limits.SHRINK
        worst = np.unravel_index(int((np.abs(change) / allowed).argmax()), change.shape)
        found, limit = float(change[worst]), float(allowed[worst])
        message = f"changed by {100 * found:+.2f} % for the printer, {100 * limit:g} % allowed"
        about = ledger.about(MANIFEST, "size of the parts")
        about.within(abs(found), 0.0, limit, "verify.compensation", message, "")
    inputs, limit = manifest.inputs, limits.OFFSET
    for subject, found in (
        ("bush pockets", inputs.bush_fit),
        ("drill holes", inputs.hole_fit),
        ("sliding faces", inputs.slide),
    ):
        message = f"changed by {found:+.3f} mm for the printer, {limit:g} mm allowed"
        about = ledger.about(MANIFEST, subject)
        about.within(found, 0.0, limit, "verify.compensation", message)


def _judge_drills(manifest: Manifest, ledger: Ledger) -> None:
    for hole, guide in manifest.guided:
        drill = hole.diameter
        narrow = min(guide.bore, guide.throat) - manifest.inputs.hole_fit  # as it is printed
        message = f"its guide is {narrow:g} mm wide, the drill {drill:g} mm"
        about = ledger.about(MANIFEST, guide.id)
        about.expect(narrow >= drill, "verify.narrow", message, narrow, drill, 0.0, "mm")


def _judge_passage(
    file: str,
    mesh: Mesh,
    wanted: Iterable[tuple[Hole, Guide]],
    found: Mapping[str, outcome.FoundBore],
    more: float,
    ledger: Ledger,
) -> None:
    """The drill must pass the body; `more` mm were added, which the printer takes away again."""
    for hole, _ in wanted:
        at = found.get(hole.id, hole)
        needed = (hole.diameter + more) / 2
        free = mesh.free_radius(at.x, at.y, needed)
        message = (
            f"something stands {free:.2f} mm from its axis, in the way of a "
            f"{hole.diameter:g} mm drill"
        )
        passes, numbers = free >= needed - limits.CHORD, (2 * free, 2 * needed, 2 * limits.CHORD)
        about = ledger.about(file, hole.id)
        about.expect(passes, "verify.blocked", message, *numbers, "mm")

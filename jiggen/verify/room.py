"""Room for depth stop, chuck and clamps beside knobs and holes, by the written files."""

from collections.abc import Iterator, Mapping
from typing import TypeAlias

import numpy as np

from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger

Knob: TypeAlias = tuple[str, str, Mesh]
"""A knob in use: its name, the part that it is on, and its mesh in the ski frame."""


def judge_room(evidence: Evidence, ledger: Ledger) -> None:
    """Every hole's and clamp's room beside what is on the ski together with it."""
    manifest, meshes = evidence.manifest, evidence.meshes
    knobs = tuple(_knobs(manifest, meshes))
    _judge_clamps(manifest, meshes, knobs, ledger)
    for hole, guide in manifest.guided:
        if guide.stop_width is None:
            continue
        for name, part, knob in knobs:
            # Halves with ladders are used one after the other.
            if manifest.ladders and part != guide.part:
                continue
            about, reach = ledger.about("STL", hole.id), max(guide.stop_width, limits.CHUCK) / 2
            free = knob.free_radius(hole.x, hole.y, reach)
            message = (
                f"{name} stands {free:.2f} mm from its axis, in the way of a depth stop "
                f"{guide.stop_width:g} mm wide"
            )
            passes, numbers = free >= guide.stop_width / 2, (2 * free, guide.stop_width, 0.0)
            about.expect(passes, "verify.stop-width", message, *numbers, "mm")
            top = float(knob.vertices[:, 2].max())
            over = free >= limits.CHUCK / 2 or top <= guide.chuck_z
            message = f"{name} reaches up to {top:.2f} mm, a chuck down to {guide.chuck_z:.2f} mm"
            about.expect(over, "verify.chuck", message, top, guide.chuck_z, 0.0, "mm")


def _judge_clamps(
    manifest: Manifest, meshes: Mapping[str, Mesh], knobs: tuple[Knob, ...], ledger: Ledger
) -> None:
    """Each clamp's mark: engraved, solid below, on what stands on the ski, clear of all else."""
    from shapely import Point, get_parts

    for part in manifest.parts:
        marks = [mark for mark in manifest.clamps if mark.part == part.name]
        if not marks or part.name not in meshes:
            continue
        body = meshes[part.name].moved(part.matrix)
        low, high = float(body.vertices[:, 2].min()), float(body.vertices[:, 2].max())
        levels = (low + limits.STANDING, (low + high) / 2, high - limits.JUST_INSIDE)
        foot, middle, top = map(body.material, levels)
        beside = [
            hole
            for hole, guide in manifest.guided
            if not manifest.ladders or guide.part == part.name
        ]
        for mark in marks:
            about = ledger.about("STL", f"clamp at ({mark.x:g}, {mark.y:g}) on {part.name}")
            at = Point(mark.x, mark.y)
            islands = [piece.area for piece in get_parts(top) if piece.covers(at)]
            engraved = bool(islands) and min(islands) <= limits.MARKED
            about.expect(engraved, "verify.clamp", "no mark is engraved around it")
            about.expect(foot.covers(at), "verify.clamp", "nothing under it stands on the ski")
            solid = middle.covers(at.buffer(limits.ROOFED))
            about.expect(solid, "verify.clamp", "the body is hollow under it")
            apart = min(float(np.hypot(hole.x - mark.x, hole.y - mark.y)) for hole in beside)
            least = (limits.STOP_WIDTH + limits.CLAMP_PAD) / 2
            message = f"a hole is {apart:.2f} mm off, {least:g} mm needed by pad and depth stop"
            about.expect(apart >= least, "verify.clamp", message, apart, least, 0.0, "mm")
            for name, other, knob in knobs:
                if manifest.ladders and other != part.name:
                    continue
                reach = limits.CLAMP_PAD / 2
                free = knob.free_radius(mark.x, mark.y, reach)
                message = f"{name} is {free:.2f} mm off, {reach:g} mm needed by a pad"
                about.expect(free >= reach, "verify.clamp", message, free, reach, 0.0, "mm")


def _knobs(manifest: Manifest, meshes: Mapping[str, Mesh]) -> Iterator[Knob]:
    """Every knob in use."""
    for part in manifest.parts:
        for placed in part.placed if part.kind == "knob" and part.name in meshes else ():
            mesh = meshes[part.name].moved(placed.matrix)
            middle = (mesh.vertices[:, 0].min() + mesh.vertices[:, 0].max()) / 2
            near = min(manifest.openings, key=lambda one: abs(one.x - middle), default=None)
            yield placed.name, near.part if near else "", mesh

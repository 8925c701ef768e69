"""Whole bodies against their plans: what they stand on, windows, pockets, channels, nothing else.

What of a written body lies outside its plan, drawn a little larger, should not be there; what of
the plan, drawn a little smaller, is not in it should be.  So every opening is found, whatever its
form and wherever it runs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from jiggen.files import MANIFEST
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array
from jiggen.verify.plans import Guided, largest, smallest
from jiggen.verify.reading.bodies import MOST_CUTS, BodyShape, disc, region
from jiggen.verify.results import Ledger
from jiggen.verify.solids import Solid, extent, section

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

NEAR = 0.1  # mm between a fault and what it is a fault of
Place = tuple[str, str]
"""A code, and what is wrong where."""


@dataclass(frozen=True)
class _Fault:
    """A piece of plastic that is too much or lacks: its box (2, 3), mm, and volume in mm³.

    `plan` is it where it crosses its middle height.
    """

    box: Array
    volume: float
    plan: BaseGeometry
    too_much: bool

    def __str__(self) -> str:
        (x, y, z), size = self.box.mean(axis=0), np.ptp(self.box, axis=0)
        return (
            f"{size[0]:.2f} x {size[1]:.2f} x {size[2]:.2f} mm of plastic "
            f"{'too much' if self.too_much else 'lacking'} about ({x:.2f}, {y:.2f}, {z:.2f})"
        )


def judge_bodies(evidence: Evidence, ledger: Ledger) -> None:
    """Every body whose shape the manifest states; of each place the worst fault alone."""
    manifest = evidence.manifest
    stated = {shape.part for shape in manifest.bodies}
    for part in manifest.parts:
        if part.is_body and (manifest.stations or manifest.bodies):
            about = ledger.about(MANIFEST, part.name)
            about.expect(part.name in stated, "verify.unstated", "its shape is not stated")
        mesh = evidence.meshes.get(part.name)
        if mesh and not mesh.open_edges:  # else that has been reported
            about, solid = ledger.about("STL", part.name), part.placed[0].name in evidence.solids
            about.expect(solid, "verify.open-mesh", "its mesh is not the skin of a solid")
    for shape in manifest.bodies:
        body = evidence.solids.get(shape.part)
        if body is None:
            continue
        about = ledger.about("STL", shape.part)
        guides = tuple(both for both in manifest.guided if both[1].part == shape.part)
        if len(guides) > MOST_CUTS:
            about.fail("verify.outline", f"more than {MOST_CUTS} holes: too many to be compared")
            continue
        pegs = tuple(peg for peg in manifest.pegs if peg.part == shape.part)
        most, least = (
            largest(shape, guides, pegs, limits.PLAN),
            smallest(shape, guides, limits.PLAN),
        )
        if most.is_empty() or least.is_empty():
            about.fail("verify.outline", "the manifest states no plan that a body could have")
            continue
        worst: dict[Place, _Fault] = {}
        for fault in (*_pieces(body - most, True), *_pieces(least - body, False)):
            place = _place(shape, guides, fault)
            if place not in worst or worst[place].volume < fault.volume:
                worst[place] = fault
        for (code, what), fault in worst.items():
            about.fail(code, f"{what}: {fault}")
        if not worst:
            about.expect(True, "verify.outline", "")


def _pieces(solid: Solid, too_much: bool) -> Iterator[_Fault]:
    for piece in solid.decompose() if not solid.is_empty() else ():
        if (volume := piece.volume()) > limits.CRUMB:
            box = extent(piece)
            yield _Fault(box, volume, section(piece, float(box[:, 2].mean())), too_much)


def _place(shape: BodyShape, guides: Guided, fault: _Fault) -> Place:
    """The code and the words for a fault, by what lies nearest to it."""
    (low, high), plan, too_much = fault.box[:, 2], fault.plan, fault.too_much
    if high <= 2 * limits.PLAN or (too_much and high <= shape.relief + limits.PLAN):
        return "verify.pad", "stands on the ski where it should not"
    if not too_much and shape.relief and high <= shape.relief + 3 * limits.PLAN:
        return "verify.pad", "does not stand on the ski where it should"
    for window in shape.windows:
        if plan.distance(region((window.ring,))) <= NEAR:
            return "verify.window", f"{window.name} is {'filled' if too_much else 'too wide'}"
    for hole, guide in guides:
        if plan.distance(disc(hole.x, hole.y, guide.bore / 2)) <= NEAR:
            return "verify.pocket", f"the guide of {hole.id} is not as stated"
    middle = (low + high) / 2
    for cut in shape.cuts:
        inside = cut.z[0] - NEAR <= high and low <= cut.z[1] + NEAR
        at = min(max(middle, cut.z[0]), cut.z[1])
        if inside and plan.distance(cut.plan(at)) <= NEAR:
            return "verify.cut", f"{cut.name} is {'too narrow' if too_much else 'too wide'}"
    if too_much:
        return "verify.outline", "stands out of its plan"
    if plan.distance(shape.plan.boundary) <= NEAR:
        return "verify.outline", "is cut off"
    return "verify.extra", "an opening that is not in the layout"

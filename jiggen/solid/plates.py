"""Flat plates as solids, the trial plate among them: one layer with holes and engravings."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cadquery as cq

from jiggen.design.guides import Guide
from jiggen.design.lettering import Region
from jiggen.design.trial import DEPTH, FOOT, THICKNESS, Trial
from jiggen.progress import announce
from jiggen.solid.level import Inset, engrave_top
from jiggen.solid.model import Model, Part
from jiggen.solid.shapes import one_solid, wire

UP = cq.Vector(0, 0, 1)
LOWEST = cq.selectors.DirectionMinMaxSelector(UP, False)


def make_plate(
    outline: Region,
    guides: Iterable[Guide],
    letters: Sequence[Region],
    *,
    thickness: float,
    depth: float,
    foot: float,
) -> cq.Shape:
    """`outline` from z = 0 to `thickness`, a round hole per guide, `letters` `depth` deep; mm.

    Every edge at z = 0, of outline and holes, is taken off by `foot` at 45°.
    """
    circles = [
        cq.Wire.makeCircle(guide.radius, cq.Vector(guide.x, guide.y, 0.0), UP) for guide in guides
    ]
    openings = [wire(ring, 0.0) for ring in outline.inner]
    blank = cq.Solid.extrudeLinear(wire(outline.outer, 0.0), [*circles, *openings], UP * thickness)
    footed = one_solid(blank.chamfer(foot, None, blank.edges(LOWEST)), "plate")
    return engrave_top(footed, thickness, [Inset(region, depth) for region in letters])


def build_trial(trial: Trial) -> Model:
    """Every piece of `trial` as a solid."""
    parts = []
    for plate in trial.plates:
        announce(f"solid: {plate.name}")
        shape = make_plate(
            plate.outline,
            plate.guides,
            [region for item in plate.engravings for region in item.regions],
            thickness=THICKNESS,
            depth=DEPTH,
            foot=FOOT,
        )
        solid = one_solid(shape, plate.name)
        parts.append(Part(plate.piece, solid, float(solid.Volume())))
    return Model(tuple(parts))

"""A flat plate as a solid: one layer with its holes, what is engraved set into its top."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cadquery as cq

from jiggen.design.guides import Guide
from jiggen.design.lettering import Region
from jiggen.solid.level import Inset, engraved
from jiggen.solid.shapes import one_solid, wire

UP = cq.Vector(0, 0, 1)
LOWEST = cq.selectors.DirectionMinMaxSelector(UP, False)


def engraved_plate(
    outline: Region,
    guides: Iterable[Guide],
    letters: Sequence[Region],
    *,
    thickness: float,
    depth: float,
    foot: float,
) -> cq.Shape:
    """`outline` from z = 0 to `thickness` with a round hole a guide and `letters` `depth` deep, mm.

    Every edge at z = 0, of outline and holes, is taken off by `foot` at 45°.
    """
    circles = [
        cq.Wire.makeCircle(guide.radius, cq.Vector(guide.x, guide.y, 0.0), UP) for guide in guides
    ]
    openings = [wire(ring, 0.0) for ring in outline.inner]
    blank = cq.Solid.extrudeLinear(wire(outline.outer, 0.0), [*circles, *openings], UP * thickness)
    footed = one_solid(blank.chamfer(foot, None, blank.edges(LOWEST)), "plate")
    return engraved(footed, thickness, [Inset(region, depth) for region in letters])

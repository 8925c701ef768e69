"""A flat plate as a solid: two layers, the upper one with all that is engraved left out.

Drawn so, its letters cost a fraction of cutting them one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import cadquery as cq

from jiggen.design.guides import Guide
from jiggen.design.lettering import Region, Ring
from jiggen.solid.shapes import prism

UP = cq.Vector(0, 0, 1)
LOWEST = cq.selectors.DirectionMinMaxSelector(UP, False)


def engraved_plate(
    outline: Region,
    guides: Iterable[Guide],
    engraved: Sequence[Region],
    *,
    thickness: float,
    depth: float,
    foot: float,
) -> cq.Shape:
    """`outline` from z = 0 to `thickness` with a round hole a guide, engraved `depth` deep (mm).

    Every edge at z = 0, of outline and holes, is taken off by `foot` at 45°.
    """
    floor = thickness - depth
    holes = [(guide.radius, guide.x, guide.y) for guide in guides]
    lower = _layer(outline, holes, (), 0.0, floor)
    lower = lower.chamfer(foot, None, lower.edges(LOWEST))
    upper = _layer(outline, holes, [item.outer for item in engraved], floor, thickness)
    islands = [prism(Region(ring), floor, thickness) for item in engraved for ring in item.inner]
    return lower.fuse(upper, *islands)


def _layer(
    outline: Region,
    holes: Iterable[tuple[float, float, float]],
    left_out: Iterable[Ring],
    bottom: float,
    top: float,
) -> cq.Solid:
    """The outline from `bottom` to `top` without holes (radius, x, y) and rings `left_out`."""
    circles = [cq.Wire.makeCircle(r, cq.Vector(x, y, bottom), UP) for r, x, y in holes]
    rings = [_wire(ring, bottom) for ring in (*outline.inner, *left_out)]
    return cq.Solid.extrudeLinear(
        _wire(outline.outer, bottom), [*circles, *rings], UP * (top - bottom)
    )


def _wire(ring: Ring, z: float) -> cq.Wire:
    corners = [cq.Vector(float(x), float(y), z) for x, y in ring]
    return cq.Wire.makePolygon(corners, close=True)

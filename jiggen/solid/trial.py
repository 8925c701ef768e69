"""The trial plate as a solid: two layers, the upper one with all that is engraved left out.

Drawn so, its letters cost a fraction of cutting them one by one.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable

import cadquery as cq

from jiggen.design.guides import Guide
from jiggen.design.lettering import Region
from jiggen.design.trial import DEPTH, FOOT, THICKNESS, Trial, TrialPlate
from jiggen.solid.model import Model, Part, one_solid
from jiggen.solid.shapes import prism

FLOOR = THICKNESS - DEPTH  # mm: the height that engravings reach down to
UP = cq.Vector(0, 0, 1)
LOWEST = cq.selectors.DirectionMinMaxSelector(UP, False)


def build_trial(trial: Trial, progress: Callable[[str], None] = lambda _: None) -> Model:
    """Every piece of `trial` as a solid; `progress` is told each one's name first."""
    parts = []
    for plate in trial.plates:
        progress(plate.name)
        solid = one_solid(_plate(plate), plate.name)
        parts.append(Part(plate.piece, solid, float(solid.Volume())))
    return Model(tuple(parts))


def _plate(plate: TrialPlate) -> cq.Shape:
    engraved = [region for item in plate.engravings for region in item.regions]
    lower = _layer(plate.outline, plate.guides, (), 0.0, FLOOR)
    lower = lower.chamfer(FOOT, None, lower.edges(LOWEST))  # outline and holes
    upper = _layer(plate.outline, plate.guides, engraved, FLOOR, THICKNESS)
    islands = [prism(Region(ring), FLOOR, THICKNESS) for item in engraved for ring in item.inner]
    return lower.fuse(upper, *islands)


def _layer(
    outline: Region, guides: Iterable[Guide], holes: Iterable[Region], bottom: float, top: float
) -> cq.Solid:
    """The outline from `bottom` to `top`, with guides and the outer rings of `holes` left out."""
    round_holes = [
        cq.Wire.makeCircle(guide.radius, cq.Vector(guide.x, guide.y, bottom), UP)
        for guide in guides
    ]
    rings = [_ring(region, bottom) for region in holes]
    return cq.Solid.extrudeLinear(
        _ring(outline, bottom), [*round_holes, *rings], UP * (top - bottom)
    )


def _ring(region: Region, z: float) -> cq.Wire:
    corners = [cq.Vector(float(x), float(y), z) for x, y in region.outer]
    return cq.Wire.makePolygon(corners, close=True)

"""The trial plate as a solid: a thin plate, its holes, and what is engraved on it."""

from __future__ import annotations

from collections.abc import Callable, Iterator

import cadquery as cq

from jiggen.design.guides import Guide
from jiggen.design.trial import DEPTH, FOOT, THICKNESS, Trial, TrialPlate
from jiggen.solid.model import Model, Part, _one_solid
from jiggen.solid.shapes import prism, turned

OVER = 1.0  # mm that cutters reach past what they cut
DOWN = cq.selectors.DirectionMinMaxSelector(cq.Vector(0, 0, 1), False)


def build_trial(trial: Trial, progress: Callable[[str], None] = lambda _: None) -> Model:
    """Every piece of `trial` as a valid solid; `progress` is told each one's name first."""
    parts = []
    for plate in trial.plates:
        progress(plate.name)
        solid = _one_solid(_plate(plate), plate.name)
        parts.append(Part(plate.piece, solid, float(solid.Volume())))
    return Model(tuple(parts))


def _plate(plate: TrialPlate) -> cq.Shape:
    blank = prism(plate.outline, 0.0, THICKNESS)
    blank = blank.chamfer(FOOT, None, blank.edges(DOWN))
    return blank.cut(*_cutters(plate))


def _cutters(plate: TrialPlate) -> Iterator[cq.Shape]:
    for guide in plate.guides:
        yield _hole(guide).moved(cq.Location(cq.Vector(guide.x, guide.y, 0)))
    for engraving in plate.engravings:
        for region in engraving.regions:
            yield prism(region, THICKNESS - DEPTH, THICKNESS + OVER)


def _hole(guide: Guide) -> cq.Solid:
    """A plain hole at the origin, drawn wider on the bed."""
    r = guide.radius
    return turned(
        [
            (0, -OVER),
            (r + FOOT + OVER, -OVER),
            (r, FOOT),
            (r, THICKNESS + OVER),
            (0, THICKNESS + OVER),
        ]
    )

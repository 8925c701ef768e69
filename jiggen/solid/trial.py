"""The trial plate as a solid: flat, engraved, with its holes."""

from __future__ import annotations

from collections.abc import Callable

from jiggen.design.trial import DEPTH, FOOT, THICKNESS, Trial
from jiggen.solid.model import Model, Part
from jiggen.solid.plates import engraved_plate
from jiggen.solid.shapes import one_solid


def build_trial(trial: Trial, progress: Callable[[str], None] = lambda _: None) -> Model:
    """Every piece of `trial` as a solid; `progress` is told each one's name first."""
    parts = []
    for plate in trial.plates:
        progress(plate.name)
        shape = engraved_plate(
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

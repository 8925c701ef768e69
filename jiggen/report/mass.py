"""What a jig weighs: solid, and printed with walls and infill as advised."""

from __future__ import annotations

from collections.abc import Callable, Iterable

import numpy as np
from numpy.typing import NDArray

from jiggen.accuracy import material as material_effects
from jiggen.accuracy.material import COLDER, effects
from jiggen.design import Design
from jiggen.record.model import Part
from jiggen.record.results import Movement, PartMass, Plastic, PlasticEffects
from jiggen.report.advice import advice, in_car
from jiggen.tables.materials import material
from jiggen.verify.mesh import Mesh

WALLS = 4  # lines; for parts that take real load: kapycad.com/en/learn/3dprint/walls-and-infill
LINE = 0.45  # mm wide from a 0.4 mm nozzle, same page
SKIN = 1.0  # mm of solid top and bottom layers: five of 0.2 mm (common practice, no source)
INFILL = 30  # % within (common practice, no source)
SOLID = ("rail", "pinion")  # kinds of parts counted as solid: thin, walls fill most of them
LEVEL = np.cos(np.radians(45.0))  # a face whose normal is steeper counts as top or bottom


def weigh(design: Design, parts: Iterable[Part], read: Callable[[str], Mesh]) -> Plastic:
    """Mass of each part in g, what the plastic does, and advice.

    Volumes are those of the record's `parts`; faces those of the mesh that `read` finds in a
    part's file.
    """
    chosen = material(design.settings.material)
    density = (chosen.density.low + chosen.density.high) / 2
    found = effects(design)
    weighed = tuple(_part(part, read(part.file), density) for part in parts if part.printed)
    return Plastic(
        name=chosen.name,
        density=round(density, 3),
        walls=WALLS,
        line=LINE,
        skin=SKIN,
        parts=weighed,
        solid=round(sum(part.count * part.solid for part in weighed), 1),
        printed=round(sum(part.count * part.printed for part in weighed), 1),
        parked_car=in_car(chosen),
        effects=PlasticEffects(
            hole=found.hole,
            movement=_movement(found.movement),
            bend=round(found.bend, 5),
            force=round(found.force, 5),
            colder=COLDER,
        ),
        advice=advice(chosen, found),
    )


def _movement(found: material_effects.Movement) -> Movement:
    swelling = found.swelling
    return Movement(
        reach=round(found.reach, 5),
        shrinkage=(round(found.shrinkage[0], 5), round(found.shrinkage[1], 5)),
        cold=round(found.cold, 5),
        swelling=swelling and (round(swelling[0], 5), round(swelling[1], 5)),
    )


def _part(part: Part, mesh: Mesh, density: float) -> PartMass:
    """One part: mass of a piece in g, `density` in g/cm³."""
    infill = 100 if part.kind in SOLID else INFILL
    grams = density / 1000  # per mm³
    return PartMass(
        name=part.name,
        count=part.count,
        infill=infill,
        volume=part.volume,
        solid=round(part.volume * grams, 1),
        printed=round(filled(part.volume, mesh, infill) * grams, 1),
    )


def filled(volume: float, mesh: Mesh, infill: float) -> float:
    """How many of a part's `volume` mm³ become plastic at `infill` % within.

    Estimated from the surface: under each face of the mesh, as it lies on the bed, is a shell,
    WALLS lines or SKIN thick, never more than the part; the rest is filled by `infill`.  Corners
    count twice, so a slicer gives less: by 4 % on a body, 8 % on a knob.
    """
    corners = mesh.vertices[mesh.triangles]
    normals: NDArray[np.float64] = np.cross(
        corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]
    )
    doubled = np.linalg.norm(normals, axis=1)
    level = np.abs(normals[:, 2]) > LEVEL * doubled
    shell = float((np.where(level, SKIN, WALLS * LINE) * doubled).sum() / 2)
    kept = min(volume, shell)
    return kept + infill / 100 * (volume - kept)

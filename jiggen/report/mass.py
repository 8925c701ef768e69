"""What a jig weighs: solid, and printed with walls and infill as advised."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.accuracy.material import COLDER, effects
from jiggen.design import Design
from jiggen.report.advice import advice, in_car
from jiggen.tables.materials import material
from jiggen.verify.mesh import Mesh

WALLS = 4  # lines; for parts that take real load: kapycad.com/en/learn/3dprint/walls-and-infill
LINE = 0.45  # mm wide from a 0.4 mm nozzle, same page
SKIN = 1.0  # mm of full layers under and over: five of 0.2 mm (common practice, no source)
INFILL = 30  # % within (common practice, no source)
SOLID = ("rail", "pinion")  # kinds of parts counted as solid: thin, walls fill most of them
LEVEL = np.cos(np.radians(45.0))  # a face whose normal is steeper counts as top or bottom


def plastic(
    design: Design, parts: Sequence[Mapping[str, Any]], read: Callable[[str], Mesh]
) -> dict[str, Any]:
    """The plastic part of the manifest: mass of each part in g, what the plastic does, advice.

    Volumes are those of the manifest's `parts`; faces those of the mesh that `read` finds in a
    part's file.
    """
    chosen = material(design.settings.material)
    density = (chosen.density.low + chosen.density.high) / 2
    found = effects(design)
    weighed = [_part(entry, read(entry["file"]), density) for entry in parts if entry["printed"]]
    return {
        "name": chosen.name,
        "density": round(density, 3),
        "walls": WALLS,
        "line": LINE,
        "skin": SKIN,
        "parts": weighed,
        "solid": round(sum(part["count"] * part["solid"] for part in weighed), 1),
        "printed": round(sum(part["count"] * part["printed"] for part in weighed), 1),
        "parked_car": in_car(chosen),
        "effects": _rounded(asdict(found) | {"colder": COLDER}),
        "advice": list(advice(chosen, found)),
    }


def _part(entry: Mapping[str, Any], mesh: Mesh, density: float) -> dict[str, Any]:
    """One part: mass of a piece in g, `density` in g/cm³."""
    infill = 100 if entry["kind"] in SOLID else INFILL
    grams = density / 1000  # a mm³
    return {
        "name": entry["name"],
        "count": entry["count"],
        "infill": infill,
        "volume": entry["volume"],
        "solid": round(entry["volume"] * grams, 1),
        "printed": round(filled(entry["volume"], mesh, infill) * grams, 1),
    }


def filled(volume: float, mesh: Mesh, infill: float) -> float:
    """How many of a part's `volume` mm³ become plastic at `infill` % within.

    Plainly reckoned: under each face of the mesh, as it lies on the bed, lies a shell, WALLS
    lines or SKIN thick, which is never more than the part; the rest is filled by `infill`.
    Corners count twice, so that a slicer says rather less: 4 % on a body, 8 % on a knob.
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


def _rounded(values: Mapping[str, Any]) -> dict[str, Any]:
    """To a hundredth of a µm, as deep as values go."""
    return {name: _round(value) for name, value in values.items()}


def _round(value: Any) -> Any:
    if isinstance(value, Mapping):
        return _rounded(value)
    if isinstance(value, tuple):
        return [_round(item) for item in value]
    return round(value, 5) if isinstance(value, float) else value

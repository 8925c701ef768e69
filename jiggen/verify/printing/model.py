"""What is known of printing a part: every check, its numbers, and where it fails or is closest.

Also the material of a mesh at one height as a flat shape, which several checks look at.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import MultiLineString, Polygon
from shapely.geometry.base import BaseGeometry

from jiggen.verify import limits
from jiggen.verify.geometry import Array, applied
from jiggen.verify.mesh import Mesh

DIGITS = 3  # of a mm: these are for pictures
MOST_PLACES = 8  # of a check that failed, the worst ones; of one that passed, the closest alone


@dataclass(frozen=True, eq=False)
class Place:
    """Somewhere on a part: corners (n, 3) of a line or an outlined area, mm, in its file's frame.

    `found` is the check's number at this place.
    """

    kind: Literal["line", "area"]
    points: Array
    found: float


@dataclass(frozen=True, eq=False)
class Check:
    """One check of a part.

    `found` must be at `bound` (at most, at least) `limit`, both in `unit`; `message` tells what
    is wrong when it is not; `places` come worst first.
    """

    name: str
    code: str
    found: float
    bound: Literal["most", "least"]
    limit: float
    unit: str
    message: str
    places: tuple[Place, ...] = ()

    @property
    def passed(self) -> bool:
        """Whether the number found is within its limit; never when it is not a number."""
        if self.bound == "most":
            return bool(self.found <= self.limit)
        return bool(self.found >= self.limit)


@dataclass(frozen=True, eq=False)
class PartPrinting:
    """All checks of one part; `to_ski` is the 4×4 from its file to its first piece in use."""

    part: str
    to_ski: Array
    checks: tuple[Check, ...]

    @property
    def passed(self) -> bool:
        """Whether the part can be printed."""
        return all(check.passed for check in self.checks)

    def check(self, name: str) -> Check:
        """The check of that name."""
        return next(check for check in self.checks if check.name == name)


def as_dict(parts: Iterable[PartPrinting]) -> dict[str, object]:
    """The manifest's entry: plain values, rounded to DIGITS, equal for equal files.

    `bed` corners are in the frame of the part's file, `ski` corners are those of its first
    piece in use.
    """
    return {
        "nozzle": limits.NOZZLE,
        "layer": limits.LAYER,
        "parts": {
            part.part: {
                "passed": part.passed,
                "checks": {check.name: _check(check, part.to_ski) for check in part.checks},
            }
            for part in parts
        },
    }


def _check(check: Check, to_ski: Array) -> dict[str, object]:
    return {
        "passed": check.passed,
        "code": check.code,
        "found": _rounded(check.found),
        "bound": check.bound,
        "limit": _rounded(check.limit),
        "unit": check.unit,
        **({} if check.passed else {"message": check.message}),
        "places": [
            {
                "kind": place.kind,
                "found": _rounded(place.found),
                "bed": _corners(place.points),
                "ski": _corners(applied(to_ski, place.points)),
            }
            for place in check.places[: 1 if check.passed else MOST_PLACES]
        ],
    }


def _corners(points: Array) -> list[list[float | None]]:
    return [[_rounded(value) for value in point] for point in points]


def _rounded(value: float) -> float | None:
    return round(float(value), DIGITS) + 0.0 if np.isfinite(value) else None


def material(mesh: Mesh, z: float) -> BaseGeometry:
    """The plane region (x, y in mm) that the mesh fills at height `z`; empty where there is none.

    Where an open mesh leaves a loop unclosed, that loop is not there.
    """
    loops = [np.vstack([loop, loop[:1]]) for loop in mesh.section(z)]
    return shapely.build_area(MultiLineString(loops))


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of a shape, whatever it is made of; lines and points are dropped."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    return [part for part in parts if part.geom_type == "Polygon" and not part.is_empty]


def outline(shape: BaseGeometry, z: float, tolerance: float = 0.05) -> Array:
    """Corners (n, 3) of a polygon's outer edge, simplified to `tolerance` mm, at height `z`."""
    ring = np.array(shape.simplify(tolerance).exterior.coords)[:-1]
    return np.column_stack([ring, np.full(len(ring), z)])

"""Faces that lean out too far to print: bridged from support to support, or in the air."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby

import numpy as np
import shapely
from shapely.geometry import Polygon

from jiggen.verify.mesh import Mesh
from jiggen.verify.printing import limits
from jiggen.verify.printing.bridges import Drawn, drawn
from jiggen.verify.printing.model import Check, Place
from jiggen.verify.printing.regions import material, outline, polygons

UNDER = 0.02  # mm under a ceiling, where what carries it is looked for
SAME_HEIGHT = 3  # digits of a mm


@dataclass(frozen=True, eq=False)
class Ceiling:
    """A connected patch of faces that lean out: seen from above, and its lowest height, mm."""

    shape: Polygon
    z: float


def judge_overhangs(mesh: Mesh, base: float) -> tuple[Check, Check]:
    """What is printed in the air, and the longest bridge; `base` is the bed's height, mm."""
    ways: list[tuple[Ceiling, Drawn]] = []
    longest = 0.0  # what spans no more than this makes no difference, so far within the limit
    for z, level in groupby(sorted(ceilings(mesh, base), key=_height), _height):
        below = material(mesh, max(z, base + 2 * UNDER) - UNDER)
        shapely.prepare(below)
        for ceiling in level:
            way = drawn(ceiling.shape, below, longest)
            if way:
                ways.append((ceiling, way))
                longest = min(max(longest, way.span), limits.BRIDGE)
    return _overhang(ways), _bridge(ways)


def _height(ceiling: Ceiling) -> float:
    return ceiling.z


def ceilings(mesh: Mesh, base: float) -> Iterator[Ceiling]:
    """Patches that lean out by more than STEEP and do not lie on the bed."""
    from scipy.sparse import coo_matrix
    from scipy.sparse.csgraph import connected_components

    corners = mesh.vertices[mesh.triangles]
    out = mesh.normals[:, 2] < -np.sin(np.radians(limits.STEEP + limits.MARGIN))
    out &= corners[:, :, 2].max(axis=1) > base + UNDER
    pairs = mesh.neighbours[out[mesh.neighbours].all(axis=1)]
    size = len(mesh.triangles)
    links = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(size, size))
    _, patch = connected_components(links, directed=False)
    for number in np.unique(patch[out]):
        faces = corners[out & (patch == number)]
        low = round(float(faces[:, :, 2].min()), SAME_HEIGHT)
        for shape in polygons(shapely.union_all(shapely.polygons(faces[:, :, :2]))):
            yield Ceiling(shape, low)


def _overhang(ways: list[tuple[Ceiling, Drawn]]) -> Check:
    hanging = [(ceiling, way) for ceiling, way in ways if way.loose_area > limits.SPECK]
    total = sum(way.loose_area for _, way in hanging)
    places = [
        Place("area", outline(part, ceiling.z), part.area)
        for ceiling, way in hanging
        for part in way.in_the_air()
    ]
    places.sort(key=lambda place: -place.found)
    message = ""
    if places:
        message = (
            f"{total:.1f} mm² would be printed in the air, the largest {places[0].found:.1f} mm² "
            f"{_at(places[0])}: it leans out by more than {limits.STEEP:g}° and no bridge holds it"
        )
    return Check(
        "overhang", "verify.print-overhang", total, "most", 0.0, "mm²", message, tuple(places)
    )


def _bridge(ways: list[tuple[Ceiling, Drawn]]) -> Check:
    places = [
        Place("line", np.column_stack([way.line, (ceiling.z, ceiling.z)]), way.span)
        for ceiling, way in ways
        if way.span
    ]
    places.sort(key=lambda place: -place.found)
    longest = places[0].found if places else 0.0
    message = ""
    if places:
        message = (
            f"a bridge of {longest:.1f} mm {_at(places[0])}; at most {limits.BRIDGE:g} mm hold"
        )
    kept = [place for place in places if place.found > limits.BRIDGE] or places[:1]
    return Check(
        "bridge", "verify.print-bridge", longest, "most", limits.BRIDGE, "mm", message, tuple(kept)
    )


def _at(place: Place) -> str:
    x, y, z = place.points.mean(axis=0)
    return f"at ({x:.1f}, {y:.1f}), {z:.1f} mm above the bed"

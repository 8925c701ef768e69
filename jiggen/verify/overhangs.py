"""Faces that lean out too far to print: bridged from support to support, or in the air.

A patch of ceiling is drawn in parallel lines from one support to another, as a slicer does it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from operator import itemgetter

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from jiggen.outcome import PrintCheck, PrintPlace
from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.reading.mesh import Mesh

UNDER = 0.02  # mm under a ceiling, where what carries it is looked for
SAME_HEIGHT = 3  # digits of a mm
PITCH = 0.2  # mm between the lines tried, half a printed one's width
FEWEST, MOST = 8, 500  # lines across a patch
TURNS = np.arange(0.0, 180.0, 15.0)  # degrees
HELD = 0.1  # mm from the material below: where a line's end rests, the wall may lean by 45°
LONG_EDGES = 6
COARSE = 0.005  # mm that a patch's outline may give way, to have fewer corners


def judge_overhangs(mesh: Mesh, base: float) -> tuple[PrintCheck, PrintCheck]:
    """What is printed in the air, and the longest bridge; `base` is the bed's height, mm."""
    ways: list[tuple[float, Drawn]] = []
    longest = 0.0  # what spans no more than this makes no difference, so far within the limit
    for z, level in groupby(sorted(_ceilings(mesh, base), key=itemgetter(0)), itemgetter(0)):
        below = mesh.material(max(z, base + 2 * UNDER) - UNDER)
        shapely.prepare(below)
        for _, patch in level:
            way = drawn(patch, below, longest)
            if way:
                ways.append((z, way))
                longest = min(max(longest, way.span), limits.BRIDGE)
    return _overhang(ways), _bridge(ways)


def _ceilings(mesh: Mesh, base: float) -> Iterator[tuple[float, Polygon]]:
    """Patches that lean out by more than STEEP, not on the bed: lowest height, seen from above."""
    corners = mesh.vertices[mesh.triangles]
    out = mesh.normals[:, 2] < -np.sin(np.radians(limits.STEEP + limits.MARGIN))
    out &= corners[:, :, 2].max(axis=1) > base + UNDER
    patch = mesh.connected(mesh.neighbours[out[mesh.neighbours].all(axis=1)])
    for number in np.unique(patch[out]):
        faces = corners[out & (patch == number)]
        low = round(float(faces[:, :, 2].min()), SAME_HEIGHT)
        for shape in polygons(shapely.union_all(shapely.polygons(faces[:, :, :2]))):
            yield low, shape


def _overhang(ways: list[tuple[float, Drawn]]) -> PrintCheck:
    hanging = [(z, way) for z, way in ways if way.loose_area > limits.SPECK]
    total = sum(way.loose_area for _, way in hanging)
    places = [
        area_place(part, z, part.area)
        for z, way in hanging
        # A hair wider, or strips that just touch would not become one.
        for part in polygons(way.loose.buffer(0.51 * way.pitch, cap_style="flat"))
    ]
    places.sort(key=lambda place: -place.found)
    largest, where = (places[0].found, at(places[0])) if places else (0.0, "")
    message = (
        f"{total:.1f} mm² would be printed in the air, the largest {largest:.1f} mm² "
        f"{where}: it leans out by more than {limits.STEEP:g}° and no bridge holds it"
    )
    return PrintCheck.of("verify.print-overhang", total, "most", 0.0, "mm²", message, places)


def _bridge(ways: list[tuple[float, Drawn]]) -> PrintCheck:
    places = [
        PrintPlace("line", way.span, np.column_stack([way.line, (z, z)]).tolist())
        for z, way in ways
        if way.span
    ]
    places.sort(key=lambda place: -place.found)
    longest, most = places[0].found if places else 0.0, limits.BRIDGE
    where = at(places[0]) if places else ""
    message = f"a bridge of {longest:.1f} mm {where}; at most {most:g} mm hold"
    return PrintCheck.of("verify.print-bridge", longest, "most", most, "mm", message, places)


def at(place: PrintPlace) -> str:
    """Where the middle of a place is, in words."""
    x, y, z = np.mean(place.bed, axis=0)
    return f"at ({x:.1f}, {y:.1f}), {z:.1f} mm above the bed"


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of a shape, whatever it is made of; lines and points are dropped."""
    parts = shapely.get_parts(shapely.get_parts(shape))
    return [part for part in parts if part.geom_type == "Polygon" and not part.is_empty]


def area_place(shape: Polygon, z: float, found: float, tolerance: float = 0.05) -> PrintPlace:
    """The outer edge of a polygon at height `z`, simplified to `tolerance` mm."""
    ring = np.array(shape.simplify(tolerance).exterior.coords)[:-1]
    return PrintPlace("area", found, np.column_stack([ring, np.full(len(ring), z)]).tolist())


@dataclass(frozen=True, eq=False)
class Drawn:
    """A patch drawn in lines `pitch` mm apart: the longest held, its ends, and the `loose` ones."""

    span: float
    line: Array
    loose: BaseGeometry
    pitch: float

    @property
    def loose_area(self) -> float:
        """What no line carries, mm²."""
        return float(self.loose.length * self.pitch)


def drawn(patch: Polygon, below: BaseGeometry, enough: float = 0.0) -> Drawn | None:
    """The best way to draw `patch` over the material `below`; None when it is carried anyway.

    One direction a patch, as a slicer does: that which leaves the least in the air, then that
    of the shortest span.  Where nothing is left in the air and no line spans more than `enough`
    mm, that is None too, or any way that does it.  A rim of LEDGE beside the material is carried
    by it, and no more than a SPECK beyond it does not count.
    """
    x0, y0, x1, y1 = patch.bounds
    near = shapely.clip_by_rect(below, x0 - 1, y0 - 1, x1 + 1, y1 + 1)
    patch = patch.simplify(COARSE)
    around = np.array(patch.minimum_rotated_rectangle.exterior.coords)[:3]
    # Held all round, nothing can hang, and the shortest way is across the box around it.
    supported = patch.boundary.difference(near.buffer(HELD)).length < PITCH
    if supported and np.linalg.norm(np.diff(around, axis=0), axis=1).min() <= enough:
        return None
    alone = patch.difference(near.buffer(limits.LEDGE))
    if alone.area <= limits.SPECK:
        return None
    for shape in (near, patch, alone):
        shapely.prepare(shape)
    ways: list[Drawn] = []
    for turn in _directions(around) if supported else _turns(patch, _directions(around)):
        ways.append(_along(turn, patch, alone, near))
        if _cost(ways[-1]) <= (0.0, enough):
            return ways[-1]
    return min(ways, key=_cost)


def _cost(way: Drawn) -> tuple[float, float]:
    """Area in the air in tenths of a mm², then the span: the less, the better."""
    return round(way.loose_area, 1), way.span


def _turns(patch: Polygon, box: Array) -> Array:
    """Directions worth trying, degrees: of the box around it, of its long edges, and all round."""
    rings = [np.array(ring.coords) for ring in (patch.exterior, *patch.interiors)]
    edges = np.vstack([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    longest = np.argsort(-np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1), kind="stable")
    straight = [_directions(edge) for edge in edges[longest[:LONG_EDGES]]]
    # Those of the box first: mostly one of them is good enough, and the rest need no look.
    turns = np.round(np.concatenate([box, *straight, TURNS]) % 180.0, 1)
    return turns[np.sort(np.unique(turns, return_index=True)[1])]


def _directions(points: Array) -> Array:
    """Directions in degrees from each point (n, 2) to the next."""
    along = np.diff(points, axis=0)
    return np.asarray(np.degrees(np.arctan2(along[:, 1], along[:, 0])))


def _along(turn: float, patch: Polygon, alone: BaseGeometry, near: BaseGeometry) -> Drawn:
    """The patch drawn in lines at `turn` degrees from x."""
    lines, pitch = _lines(turn, patch)
    pieces = shapely.get_parts(shapely.intersection(lines, patch))
    pieces = pieces[shapely.length(pieces) > 0]
    pieces = pieces[shapely.intersects(alone, pieces)]
    ends = [shapely.get_point(pieces, index) for index in (0, -1)]
    supported = np.logical_and(*(shapely.dwithin(near, end, HELD) for end in ends))
    loose = shapely.intersection(shapely.multilinestrings(pieces[~supported]), alone)
    spans = shapely.length(pieces[supported])
    if not len(spans):
        return Drawn(0.0, np.zeros((2, 2)), loose, pitch)
    longest = int(np.argmax(spans))
    line = shapely.get_coordinates(pieces[supported][longest])[[0, -1]]
    return Drawn(float(spans[longest]), line, loose, pitch)


def _lines(turn: float, patch: Polygon) -> tuple[Array, float]:
    """Parallel lines across the whole patch, and their pitch in mm."""
    way = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn))])
    side = np.array([-way[1], way[0]])
    corners = shapely.get_coordinates(patch)
    along, across = corners @ way, corners @ side
    width = float(np.ptp(across))
    count = int(np.clip(np.ceil(width / PITCH), FEWEST, MOST))
    offsets = across.min() + width * (np.arange(count) + 0.5) / count
    starts = offsets[:, None] * side + (along.min() - 1.0) * way
    stops = offsets[:, None] * side + (along.max() + 1.0) * way
    return shapely.linestrings(np.stack([starts, stops], axis=1)), width / count

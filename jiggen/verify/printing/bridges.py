"""How a patch of ceiling can be drawn: in lines from one support to another, or in the air."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from shapely.geometry import Polygon
from shapely.geometry.base import BaseGeometry

from jiggen.verify.frames import Array
from jiggen.verify.printing import limits
from jiggen.verify.printing.regions import polygons

PITCH = 0.2  # mm between the lines tried, half a printed one's width
FEWEST, MOST = 8, 500  # lines across a patch
TURNS = np.arange(0.0, 180.0, 15.0)  # degrees
HELD = 0.1  # mm from the material below: where a line's end rests, the wall may lean by 45°
LONG_EDGES = 6
COARSE = 0.005  # mm that a patch's outline may give way, to have fewer corners


@dataclass(frozen=True, eq=False)
class Drawn:
    """A patch drawn in parallel lines.

    `span` is the longest line held at both ends, mm, and `line` its ends (2, 2); `loose` are
    the lines in the air, `pitch` mm apart.
    """

    span: float
    line: Array
    loose: BaseGeometry
    pitch: float

    @property
    def cost(self) -> tuple[float, float]:
        """Area in the air in tenths of a mm², then the span: the less, the better."""
        return round(self.loose_area, 1), self.span

    @property
    def loose_area(self) -> float:
        """What no line carries, mm²."""
        return float(self.loose.length * self.pitch)

    def in_the_air(self) -> list[Polygon]:
        """What no line carries as polygons."""
        # A hair wider, or strips that just touch would not become one.
        return polygons(self.loose.buffer(0.51 * self.pitch, cap_style="flat"))


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
    held = patch.boundary.difference(near.buffer(HELD)).length < PITCH
    if held and np.linalg.norm(np.diff(around, axis=0), axis=1).min() <= enough:
        return None
    alone = patch.difference(near.buffer(limits.LEDGE))
    if alone.area <= limits.SPECK:
        return None
    for shape in (near, patch, alone):
        shapely.prepare(shape)
    ways: list[Drawn] = []
    for turn in _directions(around) if held else _turns(patch, _directions(around)):
        ways.append(_along(turn, patch, alone, near))
        if ways[-1].cost <= (0.0, enough):
            return ways[-1]
    return min(ways, key=_cost)


def _cost(way: Drawn) -> tuple[float, float]:
    return way.cost


def _turns(patch: Polygon, box: Array) -> Array:
    """Directions worth trying, degrees: of the box around it, of its long edges, and all round."""
    rings = [np.array(ring.coords) for ring in (patch.exterior, *patch.interiors)]
    edges = np.vstack([np.stack([ring[:-1], ring[1:]], axis=1) for ring in rings])
    longest = np.argsort(-np.linalg.norm(edges[:, 1] - edges[:, 0], axis=1), kind="stable")
    straight = [_directions(edge) for edge in edges[longest[:LONG_EDGES]]]
    return np.unique(np.round(np.concatenate([box, *straight, TURNS]) % 180.0, 1))


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
    held = np.logical_and(*(shapely.dwithin(near, end, HELD) for end in ends))
    loose = shapely.intersection(shapely.multilinestrings(pieces[~held]), alone)
    spans = shapely.length(pieces[held])
    if not len(spans):
        return Drawn(0.0, np.zeros((2, 2)), loose, pitch)
    longest = int(np.argmax(spans))
    line = shapely.get_coordinates(pieces[held][longest])[[0, -1]]
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

"""Pieces laid out on as few beds as a simple rule finds, none turned.

Each piece takes the place nearest to the bed's front, then to its left, that keeps it clear of
those laid before; what finds none starts the next bed.  That is tried from several ends, largest
first in one sense or another, and the layout with the fewest beds is taken.  Pieces are not
turned: a printer's errors, and what makes up for them, belong to the bed's axes.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from operator import itemgetter
from typing import NamedTuple

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import Polygon, box

Array = NDArray[np.float64]
Place = tuple[float, float]
HAIR = 5e-4  # mm: what just fits must not be lost to rounding
ROUND = 32  # chords in a quarter of an arc: with a gap of 5 mm they cut in by 0.0015 mm
PUT_TO = 3  # digits of a mm that places are given in


class Room(NamedTuple):
    """The part of a bed that may be printed on: from (left, front) to (right, back), mm."""

    left: float
    front: float
    right: float
    back: float


@dataclass(frozen=True)
class Spot:
    """Piece number `index` of those packed, its file's origin at (x, y) on its bed, mm."""

    index: int
    x: float
    y: float


Bed = tuple[Spot, ...]


def pack(outlines: Sequence[Array], room: Room, gap: float) -> tuple[Bed, ...]:
    """Beds with every outline (n, 2; mm) laid inside `room`, `gap` mm apart, none turned.

    An outline counts as convex.  One that is longer than the room lies in its middle, that way.
    Pieces are in order of their number on each bed.
    """
    hulls = [shapely.multipoints(outline).convex_hull for outline in outlines]
    fewest = math.ceil(sum(hull.area for hull in hulls) / box(*room).area)
    shapes = np.array(hulls, dtype=object)
    left, front, right, back = shapely.bounds(shapes).T
    wide, deep = right - left, back - front
    best: tuple[Bed, ...] = ()
    for measure in (shapely.area(shapes), deep, wide, np.maximum(wide, deep)):
        order = np.argsort(-measure.round(6), kind="stable").tolist()  # the largest first
        for first in (itemgetter(1, 0), itemgetter(0, 1)):  # to the front, to the left
            beds = _Packing(hulls, room, gap, first).laid(order)
            if not best or len(beds) < len(best):
                best = beds
            if len(best) <= fewest:
                return best
    return best


@lru_cache
def _forbidden(laid: Polygon, piece: Polygon, gap: float) -> Polygon:
    """Where the origin of `piece` must not be beside what is `laid` with its own at (0, 0).

    The Minkowski sum of one outline and the other turned about, wider by the gap.
    """
    corners = shapely.get_coordinates(laid)[:, None] - shapely.get_coordinates(piece)
    return shapely.multipoints(corners.reshape(-1, 2)).convex_hull.buffer(gap, quad_segs=ROUND)


@dataclass(frozen=True, eq=False)
class _Packing:
    """One way of packing: places are taken in the order of the key `first`."""

    hulls: Sequence[Polygon]
    room: Room
    gap: float
    first: Callable[[Place], Place]

    def laid(self, order: Sequence[int]) -> tuple[Bed, ...]:
        """Every piece in turn on the first bed that has room for it."""
        beds: list[list[Spot]] = []
        for index in order:
            for bed in beds:
                place = self._place(index, bed)
                if place:
                    bed.append(Spot(index, *place))
                    break
            else:
                place = self._place(index, [])
                assert place, "an empty bed has a place for every piece"
                beds.append([Spot(index, *place)])
        return tuple(tuple(sorted(bed, key=lambda spot: spot.index)) for bed in beds)

    def _place(self, index: int, bed: Sequence[Spot]) -> Place | None:
        """The first free place for a piece's origin, None where there is none."""
        x0, y0, x1, y1 = self.hulls[index].bounds
        room = self.room
        low, high = [room.left - x0, room.front - y0], [room.right - x1, room.back - y1]
        for axis in (0, 1):
            if high[axis] < low[axis]:  # too long for the room: in its middle
                low[axis] = high[axis] = (low[axis] + high[axis]) / 2
        free = box(low[0] - HAIR, low[1] - HAIR, high[0] + HAIR, high[1] + HAIR)
        for spot in bed:
            occupied = _forbidden(self.hulls[spot.index], self.hulls[index], self.gap)
            free = free.difference(shapely.affinity.translate(occupied, spot.x, spot.y))
        corners = shapely.get_coordinates(free)
        places = [(round(x, PUT_TO) + 0.0, round(y, PUT_TO) + 0.0) for x, y in corners.tolist()]
        return min(places, key=self.first, default=None)

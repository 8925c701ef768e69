"""Pinion and racks, turned and moved in sections of the meshes until their teeth touch.

All in the frame of a side (`stations`): the station's axis is the origin, the rack moves along y.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.affinity import rotate, translate
from shapely.geometry import LineString, Point, Polygon

from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.stations import WITHIN, Side

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SHARES = (0.5, 0.0, 0.3, 0.7, 1.0)  # of a rack's height: where it is cut; contact at the first
TURNS = 4  # places of the pinion to a tooth, at which its rack is tried
STEPS = (0.02, 0.001, 0.00005)  # mm, by which a rack is moved until it touches
ROUNDED = 0.5  # of a tooth's height: where its flanks are looked for


@dataclass(frozen=True, eq=False)
class Drive:
    """How a rack goes with its pinion.

    Its `pitch`; the pinion's `teeth`; how far in mm the worst tooth of either lies off its place,
    `uneven` = (rack, pinion), and its sections at other heights from that in the middle, `bent`;
    at ski `widths` the rack has room between `play` = (n, 2), outwards; not a number where it jams.
    """

    pitch: float
    teeth: int
    uneven: tuple[float, float]
    bent: tuple[float, float]
    widths: Array
    play: Array

    @property
    def around(self) -> float:
        """How far a whole turn of the pinion moves the rack."""
        return self.teeth * self.pitch


def edges(rack: BaseGeometry) -> Array:
    """Where a rack's tooth spaces begin and end along y, (n, 2), a little behind their tips."""
    if rack.is_empty:
        return np.zeros((0, 2))
    x = float(rack.bounds[0]) + limits.TOOTH_DEPTH
    met = shapely.get_parts(rack & LineString([(x, -limits.FAR), (x, limits.FAR)]))
    ends = sorted((piece.bounds[1], piece.bounds[3]) for piece in met if piece.length > 0)
    return np.array([(one[1], two[0]) for one, two in pairwise(ends)]).reshape(-1, 2)


def drive(side: Side, axis: Array, seat: Array, skis: tuple[float, float]) -> Drive | None:
    """The `side`'s rack with its pinion, whose `axis` sits in `seat`, on skis from, to; or None.

    As they were placed both stand on a ski in the middle.
    """
    levels = [side.rack_level(share) for share in SHARES]
    pinions = [_gear(side.pinion.level(z), axis) if side.pinion else None for z in levels]
    racks = [side.rack_at(z) for z in levels]
    gear, rack, spaces = pinions[0], racks[0], edges(racks[0])
    if side.pinion is None or gear is None or len(spaces) < 3:
        return None
    tip = math.sqrt(float((shapely.get_coordinates(gear) ** 2).sum(axis=1).max()))
    root = float(gear.exterior.distance(Point(0.0, 0.0)))
    flanks = _flanks(gear, root + ROUNDED * (tip - root))
    teeth = len(flanks)
    if teeth < 3:
        return None
    pitch = float(np.median(np.diff(spaces, axis=0)))
    middle = (skis[0] + skis[1]) / 2
    corners, teeth_of = (
        mesh.vertices[(mesh.vertices[:, 2] > min(levels)) & (mesh.vertices[:, 2] < max(levels))]
        for mesh in (side.rail.mesh, side.pinion.mesh)
    )
    widths = np.union1d(np.arange(skis[0], skis[1], 2 * pitch / TURNS), (*skis, middle))
    near = shapely.clip_by_rect(rack, -limits.FAR, -limits.FAR, tip + 1.0, limits.FAR)
    found = [_play(gear, near, seat, (w - middle) / 2, teeth * pitch) for w in widths]
    return Drive(
        pitch,
        teeth,
        (_uneven(spaces, pitch), _uneven(flanks, 2 * math.pi / teeth) * (tip + root) / 2),
        (
            max(_bent(racks, tip), _proud(rack, corners[corners[:, 1] < side.half - WITHIN], tip)),
            max(_bent(pinions, tip), _proud(translate(gear, *axis), teeth_of, math.inf)),
        ),
        widths,
        np.array(found),
    )


def _gear(section: BaseGeometry, axis: Array) -> Polygon | None:
    """The outline of the pinion about its `axis`, moved there; None where it has none."""
    parts = [p for p in shapely.get_parts(section) if Polygon(p.exterior).covers(Point(axis))]
    return translate(Polygon(parts[0].exterior), *-axis) if parts else None


def _flanks(gear: Polygon, radius: float) -> Array:
    """Angles at which each tooth begins and ends on a circle, (n, 2), rad."""
    circle = Point(0.0, 0.0).buffer(radius, quad_segs=256).exterior
    met = shapely.get_parts(shapely.line_merge(gear & circle))
    found = []
    for arc in met:
        x, y = shapely.get_coordinates(arc)[[0, -1]].T
        start, stop = np.arctan2(y, x)
        found.append(sorted((start, start + (stop - start + math.pi) % (2 * math.pi) - math.pi)))
    return np.array(sorted(found)).reshape(-1, 2)


def _uneven(ends: Array, step: float) -> float:
    """How far the worst of `ends` (n, 2) lies off its place in a row with this `step`."""
    off = ends - step * np.arange(len(ends))[:, None]
    return float(np.abs(off - np.median(off, axis=0)).max())


def _bent(sections: list[BaseGeometry] | list[Polygon | None], reach: float) -> float:
    """How far a corner of other `sections` within `reach` lies off the first one's outline."""
    first = sections[0]
    if first is None or any(one is None or one.is_empty for one in sections):
        return math.inf
    worst = 0.0
    shapely.prepare(line := first.boundary)
    for one in sections[1:]:
        points = shapely.get_coordinates(one)
        points = points[(points[:, 0] <= reach)]
        if len(points):
            worst = max(worst, float(shapely.distance(line, shapely.points(points)).max()))
    return worst


def _proud(section: BaseGeometry, corners: Array, reach: float) -> float:
    """How far one of a mesh's `corners` (n, 3) within `reach` stands out of its section."""
    points = corners[corners[:, 0] <= reach, :2]
    shapely.prepare(section)
    return float(shapely.distance(section, shapely.points(points)).max(initial=0.0))


def _play(
    gear: Polygon, rack: BaseGeometry, seat: Array, out: float, around: float
) -> tuple[float, float]:
    """How far in and out a rack has room when the pinion in its `seat` has moved it `out`.

    The pinion's pitch circle is `around` mm about.  Not a number where the teeth jam.
    """
    turned = rotate(gear, math.degrees(2 * math.pi * out / around), origin=(0.0, 0.0))
    turned = translate(turned, *seat)
    shapely.prepare(turned)
    reach = float(np.abs(turned.bounds).max()) + limits.PLAY
    here = shapely.clip_by_rect(rack, -limits.FAR, -reach - out, limits.FAR, reach - out)
    shapes = [
        shapely.get_coordinates(part) + np.array([0.0, out]) for part in shapely.get_parts(here)
    ]

    def free(shifts: Array) -> NDArray[np.bool_]:
        meets = np.zeros(len(shifts), dtype=bool)
        moved = np.column_stack([np.zeros_like(shifts), shifts])[:, None, :]
        for shape in shapes:
            meets |= shapely.intersects(turned, shapely.polygons(shape[None] + moved))
        return np.logical_not(meets)

    coarse = np.arange(-limits.PLAY, limits.PLAY + STEPS[0], STEPS[0])
    runs = free(coarse)
    if not runs.any():
        return math.nan, math.nan
    # The room that holds, or is nearest to, where the rack should be.
    at = int(np.flatnonzero(runs)[np.argmin(np.abs(coarse[runs]))])
    blocked = np.flatnonzero(~runs)
    low = int(blocked[blocked < at].max(initial=-1)) + 1
    high = int(blocked[blocked > at].min(initial=len(coarse))) - 1
    ends = [float(coarse[low]), float(coarse[high])]
    for wide, step in pairwise(STEPS):
        for n, way in enumerate((-1.0, 1.0)):
            tries = ends[n] + way * np.arange(0.0, wide + step / 2, step)
            ends[n] = float(tries[int(np.argmin(np.append(free(tries), False))) - 1])
    return ends[0], ends[1]

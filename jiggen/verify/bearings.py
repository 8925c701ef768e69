"""What guides the moving parts of a station: its rails' channels, and the seat of its pinion."""

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.geometry import LinearRing, Point, Polygon

from jiggen.verify import limits
from jiggen.verify.drive import SHARES
from jiggen.verify.geometry import Array, applied
from jiggen.verify.results import Ledger
from jiggen.verify.stations import Side

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

ACROSS = 15  # places across the ski at which a channel's walls are looked for
SEAT_SHARES = (0.3, 0.5, 0.7)  # of the height between a rack and the top of the body
UPRIGHTS = (0.25, 0.75)  # of a rack's width: where the roof over it is looked for
LOOK = 12.0  # mm: no wall is looked for farther off
EDGE = 1.5  # mm from the body's edge, which may be bevelled, or from the round recess


@dataclass(frozen=True, eq=False)
class Seat:
    """Axes of a pinion and of the hole that it sits in, (2,), and radii of both by height, mm.

    `uneven` is how far any corner of either lies off its circle.
    """

    pinion: Array
    hole: Array
    radii: Array
    uneven: float


def find_seat(side: Side) -> Seat | None:
    """The pinion's seat in the body, in the frame of its `side`; None where there is no such hole.

    The other side's is the same, turned.
    """
    top = float(side.body.mesh.vertices[:, 2].max())
    low = side.rack_z[1]
    found = []
    for z in (low + share * (top - low) for share in SEAT_SHARES):
        hole = _around(ring for p in shapely.get_parts(side.body_level(z)) for ring in p.interiors)
        parts = shapely.get_parts(side.pinion.level(z)) if side.pinion else ()
        cone = _around(part.exterior for part in parts)
        if hole is None or cone is None:
            return None
        found.append((_circle(cone), _circle(hole)))
    centres = np.array([[one[0] for one in pair] for pair in found]).mean(axis=0)
    radii = np.array([[one[1] for one in pair] for pair in found])
    return Seat(centres[0], centres[1], radii, max(one[2] for pair in found for one in pair))


def _around(rings: Iterable[LinearRing]) -> Polygon | None:
    """The smallest of `rings` that the axis passes through."""
    axis = Point(0.0, 0.0)
    filled = (Polygon(ring) for ring in rings)
    return min((one for one in filled if one.covers(axis)), key=lambda p: p.area, default=None)


def _circle(polygon: Polygon) -> tuple[Array, float, float]:
    """Centre and radius of a round polygon, and how far a corner lies off that circle."""
    centre = np.array(polygon.centroid.coords[0])
    away = np.linalg.norm(shapely.get_coordinates(polygon) - centre, axis=1)
    radius = float((away.max() + away.min()) / 2)
    return centre, radius, float(np.abs(away - radius).max())


def judge_seat(side: Side, seat: Seat | None, ledger: Ledger) -> None:
    """The seat lies on the station's axis, and fits the pinion all round."""
    about = ledger.about("STL", f"{side.station} station")
    if not about.expect(seat is not None, "verify.seat", "no hole that its pinion could sit in"):
        return
    assert seat is not None
    x, y = seat.hole * side.sign
    message = (
        f"the pinion's seat lies {abs(y):.2f} mm {'left' if y > 0 else 'right'} of the centre "
        f"line, {x:+.2f} mm along from where it should be"
    )
    about.within(math.hypot(x, y), 0.0, limits.SEATED, "verify.seat", message)
    message = f"pinion and seat are {seat.uneven:.2f} mm out of round"
    about.within(seat.uneven, 0.0, limits.ROUND, "verify.seat", message)
    gaps = seat.radii[:, 1] - seat.radii[:, 0]
    least, most = limits.SEAT
    worst = float(max(gaps, key=lambda gap: abs(gap - (least + most) / 2)))
    message = f"{worst:.2f} mm between the pinion and its seat, {least:g} to {most:g} mm wanted"
    fits = least <= gaps.min() and gaps.max() <= most
    about.expect(fits, "verify.seat", message, worst, (least + most) / 2, (most - least) / 2, "mm")


def judge_bearings(side: Side, slide: float, ledger: Ledger) -> None:
    """A rail's channel leaves it the clearance that was asked for, on all sides, all along."""
    about = ledger.about("STL", side.name)
    levels = [side.rack_level(share) for share in SHARES]
    racks = [side.rack_at(z) for z in levels]
    if any(rack.is_empty for rack in racks):
        about.fail("verify.channel", "no rack is found that runs in a channel")
        return
    spans = np.array([rack.bounds for rack in racks])[:, [0, 2]]
    body = [_near(side.body_level(z)) for z in levels]
    edge = min((float(one.bounds[3]) for one in body if not one.is_empty), default=0.0) - EDGE
    across = np.linspace(-edge, edge, ACROSS)
    round_ = _reach(side) + EDGE
    beside = np.abs(across) > round_
    walls = [_walls(one, float(span.mean()), across) for one, span in zip(body, spans, strict=True)]
    outer = np.array([wall[1] - span[1] for wall, span in zip(walls, spans, strict=True)])
    inner = np.array([span[0] - wall[0] for wall, span in zip(walls, spans, strict=True)])
    inner = inner[:, beside]
    for gaps, where in ((outer, "outside"), (inner, "on the pinion's side")):
        if not gaps.size:
            continue
        worst = float(gaps.ravel()[np.abs(gaps - slide).argmax()])
        skew = float(np.ptp(gaps.mean(axis=0)))
        message = f"its channel leaves it {worst:.2f} mm of room {where}, {slide:g} mm wanted"
        if skew > limits.SLIDE:
            message += f": it runs {skew:.2f} mm out of line with it"
        about.within(worst, slide, limits.SLIDE, "verify.channel", message)
    _judge_roof(side, spans, across, slide, ledger)
    _judge_clear(side, levels, spans, edge, slide, ledger)


def _near(body: "BaseGeometry") -> "BaseGeometry":
    return shapely.clip_by_rect(body, -3 * LOOK, -limits.FAR, 3 * LOOK, limits.FAR)


def _reach(side: Side) -> float:
    """How far the pinion reaches from its axis."""
    if side.pinion is None:
        return 0.0
    return float(np.linalg.norm(side.pinion.mesh.vertices[:, :2], axis=1).max())


def _walls(body: "BaseGeometry", x: float, across: Array) -> tuple[Array, Array]:
    """Where the body begins on either side of `x`, by places `across`; far where it does not."""
    shapely.prepare(body)
    ends = []
    for way in (-1.0, 1.0):
        starts = np.column_stack([np.full_like(across, x), across])
        lines = shapely.linestrings(
            np.stack([starts, starts + np.array([way * LOOK, 0.0])], axis=1)
        )
        bounds = shapely.bounds(shapely.intersection(lines, body))
        found = bounds[:, 2] if way < 0 else bounds[:, 0]
        ends.append(np.where(np.isnan(found), x + way * limits.FAR, found))
    return ends[0], ends[1]


def _judge_roof(side: Side, spans: Array, across: Array, slide: float, ledger: Ledger) -> None:
    """The roof over a rail."""
    low, high = float(spans[:, 0].min()), float(spans[:, 1].max())
    rooms = []
    for x in (low + share * (high - low) for share in UPRIGHTS):
        body = side.body_upright(x)
        starts = np.column_stack([across, np.full_like(across, side.rack_level(0.5))])
        lines = shapely.linestrings(np.stack([starts, starts + np.array([0.0, LOOK])], axis=1))
        found = shapely.bounds(shapely.intersection(lines, body))[:, 1]
        rooms.append(np.where(np.isnan(found), limits.FAR, found) - side.rack_z[1])
    room = np.array(rooms)
    worst = float(room.ravel()[np.abs(room - slide).argmax()])
    message = f"the roof of its channel leaves {worst:.2f} mm over it, {slide:g} mm wanted"
    ledger.about("STL", side.name).within(worst, slide, limits.SLIDE, "verify.roof", message)


def _judge_clear(
    side: Side, levels: list[float], spans: Array, edge: float, slide: float, ledger: Ledger
) -> None:
    """Nothing stands out of a rail's sliding faces, or into its channel, at any height."""
    about, order = ledger.about("STL", side.name), np.argsort(levels)
    low, high = spans[:, 0].min(), spans[:, 1].max()
    rail = side.rail.mesh.vertices
    rail = rail[(rail[:, 1] < side.half - 1.0) & (rail[:, 2] > 0.0)]
    over = float(np.maximum(low - rail[:, 0], rail[:, 0] - high).max(initial=-math.inf))
    message = f"{over:.2f} mm stand out of the faces that slide in its channel"
    about.expect(over <= limits.SLIDE, "verify.channel", message, over, 0.0, limits.SLIDE, "mm")
    frame = np.diag((side.sign, side.sign, 1.0, 1.0))
    frame[0, 3] = -side.sign * side.x
    x, y, z = applied(frame, side.body.mesh.vertices).T
    heights = np.array(levels)[order]
    backs = np.interp(z, heights, spans[order, 1])
    inside = np.minimum(x - low, backs - x) + slide
    top = side.rack_z[1] + slide - z
    within = (np.abs(y) < edge) & (z > heights[0])
    depth = float(np.where(within, np.minimum(inside, top), -math.inf).max(initial=-math.inf))
    message = f"something stands {depth:.2f} mm into its channel"
    about.expect(depth <= limits.SLIDE, "verify.channel", message, depth, 0.0, limits.SLIDE, "mm")


def judge_recess(side: Side, slide: float, ledger: Ledger) -> None:
    """The pinion turns free of the body, its flange below the racks."""
    if side.pinion is None:
        return
    about = ledger.about("STL", side.name.replace("rail", "pinion").rsplit(" ", 1)[0])
    points = side.pinion.mesh.vertices
    radii = np.linalg.norm(points[:, :2], axis=1)
    flange = points[radii > radii.max() - limits.SHAPE, 2]
    top, axis = float(flange.max()), Point(0.0, 0.0)
    under = side.rack_z[0] - top
    message = f"its flange leaves {under:.2f} mm below {side.name}, {slide:g} mm wanted at least"
    least = slide - limits.SLIDE
    about.expect(under >= least, "verify.run-free", message, under, slide, limits.SLIDE, "mm")
    tip = _circle_reach(side.pinion.level(side.rack_level(SHARES[0])))
    for z, reach in ((float(flange.mean()), float(radii.max())), (side.rack_level(SHARES[0]), tip)):
        free = float(side.body_level(z).distance(axis)) - reach
        message = f"the body leaves {free:.2f} mm around it at a height of {z:.1f} mm"
        about.expect(free >= limits.RUN, "verify.run-free", message, free, limits.RUN, 0.0, "mm")


def _circle_reach(section: "BaseGeometry") -> float:
    return float(np.linalg.norm(shapely.get_coordinates(section), axis=1).max(initial=0.0))

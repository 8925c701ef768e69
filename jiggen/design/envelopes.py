"""Room for what a person brings to a jig: the drill's depth stop and chuck, and clamps.

Each is a round thing about an upright axis, and must not meet what stands on the body: knobs with
their lock screws, one another, and drills.  Heights are above the top sheet; all numbers are mm::

      ┌──────┐   chuck: its face stays `chuck_z` above the ski with the drill all the way down
      │ drill│
     ┌┴──────┴┐  depth stop, on the guide
     guide         knob          clamp pad, over what stands on the ski
"""

import math
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

from jiggen.design.guides import Guide
from jiggen.design.notches import Notch
from jiggen.design.plan import CLAMP_MARK, Plate
from jiggen.design.station import KnobShape, Mechanism
from jiggen.record.entries import Station

STOP_WIDTHS = (16.0, 13.0)  # diameters of depth stops (common practice, no source)
CHUCK = 40.0  # diameter of a chuck for drills to 10 mm (common practice, no source)
CLAMP_PAD = 20.0  # diameter of a clamp's pad (common practice, no source)
CLAMP_IN = 8.0  # from the body's edge to a pad's middle: over the strip that stands on the ski
CLAMPS_APART = 40.0  # least between two on one side: nearer ones hold as one (no source)
OVERHANG = 2.5  # that a pad may stand out past the body (common practice, no source)
FAR = 500.0  # beyond any body
ROUNDING = 1e-9
BESIDE = 1.0  # mm left beside each of them, and under a chuck (common practice, no source)

Marks = tuple[tuple[float, float], ...]
"""Where clamps press, x and y."""


@dataclass(frozen=True)
class Room:
    """What there is room for at a hole.

    `stop_width` is the diameter of the widest depth stop; a chuck's face must stay at or above
    `chuck_z`, 0 where nothing stands in its way.
    """

    stop_width: float
    chuck_z: float


def rooms(
    guides: Iterable[Guide],
    stations: Iterable[Station],
    mechanism: Mechanism,
    clamps: Iterable[tuple[float, float]] = (),
) -> dict[str, Room]:
    """The room at each hole, by its id, beside `stations` and `clamps` on the ski with it."""
    knobs, pads = [(station.x, 0.0) for station in stations], tuple(clamps)
    return {guide.id: _room(guide, knobs, pads, mechanism) for guide in guides}


def _room(
    guide: Guide,
    knobs: Iterable[tuple[float, float]],
    pads: Iterable[tuple[float, float]],
    mechanism: Mechanism,
) -> Room:
    near, pad = (
        min((math.dist((guide.x, guide.y), place) for place in places), default=math.inf)
        for places in (knobs, pads)
    )
    widths = (
        stop_width
        for stop_width in STOP_WIDTHS
        if near >= beside_knob(stop_width, mechanism.knob) - ROUNDING
        and pad >= beside_pad(stop_width) - ROUNDING
    )
    tops = (top for radius, top in _above(mechanism) if near < CHUCK / 2 + radius + BESIDE)
    return Room(next(widths, 0.0), max((top + BESIDE for top in tops), default=0.0))


def _above(mechanism: Mechanism) -> Iterator[tuple[float, float]]:
    """Radius and top of what stands on a body about a station's axis.

    As drawn; once it is locked, all of it is lower by the knob's clearance.
    """
    knob, screw = mechanism.knob, mechanism.lock.screw
    yield knob.radius, knob.top_z
    yield screw.head_diameter / 2, knob.top_z + screw.head_height


def beside_knob(stop_width: float, knob: KnobShape) -> float:
    """Least distance of a hole from a station's axis with a depth stop `stop_width` wide."""
    return knob.radius + stop_width / 2 + BESIDE


def beside_pad(stop_width: float) -> float:
    """Least distance of a hole from a clamp's middle with a depth stop `stop_width` wide."""
    return (stop_width + CLAMP_PAD) / 2 + BESIDE


def along(y: float, apart: float) -> float:
    """How far along the ski a hole at `y` must be from a station to be `apart` from its axis."""
    return math.sqrt(max(0.0, apart**2 - y**2))


# Tried in turn for a clamp: what its pad's middle keeps from a hole, and from a rail's channel.
_CLAMP_APART = (
    (beside_pad(CHUCK), CLAMP_PAD / 2),  # even the chuck passes
    *((beside_pad(stop_width), CLAMP_PAD / 2) for stop_width in STOP_WIDTHS),
    (beside_pad(STOP_WIDTHS[-1]), CLAMP_MARK),  # the roof of a channel gives 0.01 mm
)


def clamp_places(
    plate: Plate,
    guides: Collection[Guide],
    stations: Collection[Station],
    mechanism: Mechanism,
    ends: Collection[float],
    shape: Polygon,
    strips: Iterable[Polygon],
    notch: Notch | None,
) -> Marks:
    """Where a `plate` is clamped down, as near as may be to each of its `ends` (x).

    A left and a right place for each end, over the `strips` of a body that is `shape` seen from
    above but for a `notch`, which may be under a part of a pad.  They are clear of knobs, of depth
    stops and, where it can be, of chucks at the `guides`: one pair where two would be one, none
    where there is no room on a side.
    """
    room = shape.buffer(OVERHANG - CLAMP_PAD / 2) & shapely.union_all(list(strips))
    room = room - notch.plan.buffer(CLAMP_MARK + BESIDE) if notch else room
    run, knob = mechanism.station, mechanism.knob.radius + CLAMP_PAD / 2 + BESIDE
    channels = [
        box(station.x + low, -FAR, station.x + high, FAR)
        for station in stations
        for low, high in ((run.channel_x, run.half_length), (-run.half_length, -run.channel_x))
    ]
    knobs = [Point(station.x, 0.0).buffer(knob) for station in stations]
    side, xs = plate.half_width - CLAMP_IN, np.arange(math.ceil(plate.start), plate.stop)
    for from_hole, from_channel in _CLAMP_APART:
        blocked = [Point(guide.x, guide.y).buffer(from_hole) for guide in guides]
        blocked += [channel.buffer(from_channel) for channel in channels]
        free = room - shapely.union_all([*blocked, *knobs])
        sides = [(y, xs[shapely.contains_xy(free, xs, y)]) for y in (side, -side)]
        if all(there.size for _, there in sides):
            # One pair beside which a chuck has room is worth more than two that must be moved.
            return tuple(place for y, there in sides for place in _nearest(there, y, ends))
    return ()


def _nearest(
    xs: NDArray[np.float64], y: float, ends: Iterable[float]
) -> Iterator[tuple[float, float]]:
    """The place at `y` nearest to each of `ends`, but for one that is too near another."""
    found: list[float] = []
    for end in ends:
        x = float(xs[np.argmin(np.abs(xs - end))])
        if all(abs(x - other) >= CLAMPS_APART for other in found):
            found.append(x)
            yield x, y

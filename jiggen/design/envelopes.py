"""Room for what a person brings to a jig: the drill's depth stop and chuck, and clamps.

Each is a round thing about an upright axis, and must not meet what stands on the body: knobs with
their lock screws, one another, and drills.  Heights are above the top sheet; all numbers are mm::

      ┌──────┐   chuck: its face stays `chuck_z` above the ski with the drill all the way down
      │ drill│
     ┌┴──────┴┐  collar of the depth stop, on the guide
     guide         knob          clamp pad, over what stands on the ski
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from jiggen.design.guides import Guide
from jiggen.design.station import KnobShape, Mechanism
from jiggen.record.entries import Station

COLLARS = (16.0, 13.0)  # diameters of a depth stop's collar (common practice, no source)
CHUCK = 40.0  # diameter of a chuck for drills to 10 mm (common practice, no source)
BESIDE = 1.0  # mm left beside each of them, and under a chuck (common practice, no source)


@dataclass(frozen=True)
class Room:
    """What there is room for at a hole.

    `collar` is the diameter of the widest depth stop; a chuck's face must stay at or above
    `chuck_z`, 0 where nothing stands in its way.
    """

    collar: float
    chuck_z: float


def rooms(
    guides: Iterable[Guide], stations: Iterable[Station], mechanism: Mechanism
) -> dict[str, Room]:
    """The room at each hole, by its id, beside the `stations` that are on the ski with it."""
    stations = tuple(stations)
    return {guide.id: _room(guide, stations, mechanism) for guide in guides}


def _room(guide: Guide, stations: Iterable[Station], mechanism: Mechanism) -> Room:
    away = [math.hypot(guide.x - station.x, guide.y) for station in stations]
    near, rounding = min(away, default=math.inf), 1e-9
    collars = (c for c in COLLARS if near >= beside_knob(c, mechanism.knob) - rounding)
    tops = (top for radius, top in _above(mechanism) if near < CHUCK / 2 + radius + BESIDE)
    return Room(next(collars, 0.0), max((top + BESIDE for top in tops), default=0.0))


def _above(mechanism: Mechanism) -> Iterator[tuple[float, float]]:
    """Radius and top of what stands on a body about a station's axis.

    As drawn; once it is locked, all of it is lower by the knob's clearance.
    """
    knob, screw = mechanism.knob, mechanism.lock.screw
    yield knob.radius, knob.top_z
    yield screw.head_diameter / 2, knob.top_z + screw.head_height


def beside_knob(collar: float, knob: KnobShape) -> float:
    """Least distance of a hole from a station's axis, for a depth stop of `collar` diameter."""
    return knob.radius + collar / 2 + BESIDE


def along(y: float, apart: float) -> float:
    """How far along the ski a hole at `y` must be from a station to be `apart` from its axis."""
    return math.sqrt(max(0.0, apart**2 - y**2))

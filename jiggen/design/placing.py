"""Where a jig's stations go along the ski: clear of holes, and of what is brought to them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from jiggen.design import plan
from jiggen.design.envelopes import STOP_WIDTHS, along, beside_knob
from jiggen.design.guides import Guide
from jiggen.design.plan import Interval

if TYPE_CHECKING:
    from jiggen.design.jig import Base

STEP = 0.5  # mm of the ski frame between the places tried
EQUAL = 0.01  # of the least error: places whose error is larger by less count as equals


def place_stations(
    guides: tuple[Guide, ...],
    base: Base,
    mark: Interval,
    ends: Interval,
    spans: tuple[Interval, Interval],
    longest: float,
    play: plan.JointPlay = plan.RIGID,
    before: Interval = (0.0, 0.0),
) -> Interval | None:
    """The heel and toe station's x (mm) with the least worst error at any hole, or None.

    Their cut-outs, within `spans`, keep a wall from holes and `mark`, and their knobs keep clear
    of depth stops: of a narrower one where there is no place beside the widest.  The
    holes alone need the body to reach to `ends`, and before the rear and the front station it has
    `before`; the whole may be `longest`.  Among equals (within 1 %) the shortest jig wins: it
    prints faster and fits more beds.  Where the base asks for the `closest`, the least error alone
    counts, beside the narrowest depth stop.
    """
    half, reach = base.mechanism.station.half_length, base.mechanism.station.half_length + base.edge
    near = 1.0 + (0.0 if base.closest else EQUAL)
    for stop_width in STOP_WIDTHS[-1:] if base.closest else STOP_WIDTHS:
        free = (_free_places(span, mark, guides, base, stop_width) for span in spans)
        h, t = (axis.ravel() for axis in np.meshgrid(*free, indexing="ij"))
        start = np.minimum(h - reach - before[0], ends[0])
        length = np.maximum(t + reach + before[1], ends[1]) - start
        good = (t - h >= 2 * half + base.settings.wall) & (length <= longest)
        h, t, length = h[good], t[good], length[good]
        if h.size:
            break
    else:
        return None
    holes = np.array([[guide.x] for guide in guides])
    worst = plan.worst_error(holes, h, t, plan.STATION_ERROR, play).max(axis=0)
    good = worst <= worst.min() * near
    best = np.flatnonzero(good)[np.argmin(length[good])]
    return float(h[best]), float(t[best])


def _free_places(
    span: Interval, mark: Interval, guides: tuple[Guide, ...], base: Base, stop_width: float
) -> NDArray[np.float64]:
    """The x's within `span` at which a station's cut-out and its knob keep clear, mm."""
    reach = base.mechanism.station.half_length + base.settings.wall
    apart = beside_knob(stop_width, base.mechanism.knob)
    # What a knob needs beyond its cut-out and its wall, if anything.
    blocked = [
        (guide.x - more, guide.x + more)
        for guide in guides
        for more in [max(guide.radius, along(guide.y, apart) - reach)]
    ]
    starts, stops = np.array([*blocked, mark]).T
    # On whole steps of the ski frame: readable numbers, and the same from run to run.
    half = base.mechanism.station.half_length
    low, high = math.ceil((span[0] + half) / STEP), math.floor((span[1] - half) / STEP)
    places = STEP * np.arange(low, high + 1)[:, None]
    clear = (places + reach <= starts) | (places - reach >= stops)
    return np.asarray(places[clear.all(axis=1), 0])

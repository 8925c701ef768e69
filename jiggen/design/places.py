"""Where the stations go along the ski, and what fits the printer's bed.

A station centres the jig to within some sideways error e at its own x.  For a rigid jig with
stations at a and b that reaches a hole at x, at worst, as e·(|x-b| + |x-a|)/|a-b|: it is e for
every hole between the stations and more outside them.  For a straight line fitted through more
stations in the same length the worst case is never less (the extremes of the interval are the
optimal places: G. Elfving, "Optimum allocation in linear regression theory", Annals of
Mathematical Statistics 23 (1952), from memory), so two stations per jig are right.

Two halves add their joint: a sideways play j and an angle a (radians) between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from jiggen.design.settings import Bed

Array = NDArray[np.float64]

STATION_ERROR = 0.1  # mm, sideways, each: what places are compared with
STEP = 0.5  # mm of the ski frame between the places tried


HalfRole = Literal["toe", "heel", "centre"]
"""Which half of a jig a part belongs to: by where its holes lie from the mounting mark."""


@dataclass(frozen=True)
class Station:
    """A self-centring station at `x` mm in the ski frame.

    `role` tells the two stations of a rigid jig apart, the rear one towards the tail; `half` is
    the half that it is on, None where the jig is one piece.
    """

    name: str
    x: float
    role: Literal["rear", "front"]
    half: HalfRole | None = None


@dataclass(frozen=True)
class JointPlay:
    """What the joint leaves free: sideways in mm, and angle about z in radians, each ±."""

    sideways: float = 0.0
    angle: float = 0.0


RIGID = JointPlay()


def error_gain(x: ArrayLike, a: ArrayLike, b: ArrayLike) -> Array:
    """Worst sideways error at `x` for a unit error at each of two stations `a`, `b` (mm)."""
    x, a, b = (np.asarray(value, dtype=np.float64) for value in (x, a, b))
    return np.asarray((np.abs(x - b) + np.abs(x - a)) / np.abs(a - b))


def worst_error(
    x: ArrayLike, heel: ArrayLike, toe: ArrayLike, error: float, play: JointPlay = RIGID
) -> Array:
    """Worst sideways error in mm at `x`, stations at `heel` < `toe`, each off by ± `error`.

    With a joint at x = 0 the halves are two lines, y_t(x) = t0 + t1·x on the tip side and
    y_h(x) = h0 + h1·x on the tail side, with y_t(toe) = e_t, y_h(heel) = e_h,
    t0 - h0 = j and t1 - h1 = a. Solved for the slopes and summed by absolute value, since
    the four causes are independent.
    """
    x, heel, toe = (np.asarray(value, dtype=np.float64) for value in (x, heel, toe))
    span = toe - heel
    lever = np.where(x >= 0, x - toe, x - heel)  # from the half's own station
    far = np.where(x >= 0, np.abs(heel), np.abs(toe))  # other station, from the joint
    gain = error * error_gain(x, heel, toe)
    joint = np.abs(lever) / span * (play.sideways + play.angle * far)
    return np.asarray(gain + joint)


def bed_turn(outline: Array, bed: Bed, margin: float) -> float | None:
    """Angle in degrees about z at which `outline` ((n, 2), mm) fits the bed, or None.

    Square to the bed is tried first, then along its diagonal.
    """
    for degrees in (0.0, 90.0, *map(float, range(1, 90))):
        size = np.ptp(_turned(outline, degrees), axis=0)
        if size[0] <= bed.x - 2 * margin and size[1] <= bed.y - 2 * margin:
            return degrees
    return None


def longest_fit(width: float, bed: Bed, margin: float) -> float:
    """Length in mm of the longest rectangle of `width` (mm) that fits the bed at any turn."""
    x, y = bed.x - 2 * margin, bed.y - 2 * margin
    turn = np.radians(np.arange(0, 90.25, 0.25))
    cos, sin = np.cos(turn), np.sin(turn)
    with np.errstate(divide="ignore"):
        length = np.minimum((x - width * sin) / cos, (y - width * cos) / sin)
    return float(max(0.0, length.max()))


def _turned(outline: Array, degrees: float) -> Array:
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    return np.asarray(outline @ np.array([[c, s], [-s, c]]))


@dataclass(frozen=True)
class Blocked:
    """A stretch along the ski, in mm, that a station's cut-outs must keep clear of."""

    name: str
    start: float
    stop: float


@dataclass(frozen=True)
class Room:
    """Room for a jig along the ski, in mm.

    `ends` are the ends the holes alone need; a station's cut-outs need `edge` more beyond
    them.  `heel` and `toe` (from, to) bound the two stations' cut-outs; the whole may be
    `longest` (infinite for two halves, which `heel` and `toe` already bound).
    """

    ends: tuple[float, float]
    edge: float
    heel: tuple[float, float]
    toe: tuple[float, float]
    longest: float = math.inf


def place_stations(
    holes_x: Array,
    blocked: tuple[Blocked, ...],
    half_length: float,
    wall: float,
    room: Room,
    play: JointPlay = RIGID,
) -> tuple[float, float] | None:
    """The heel and toe station's x (mm) with the least worst error at any hole, or None.

    Among equals (within 1 %) the shortest jig wins: it prints faster and fits more beds.
    """
    heel = _free_places(room.heel, blocked, half_length, wall)
    toe = _free_places(room.toe, blocked, half_length, wall)
    h, t = (grid.ravel() for grid in np.meshgrid(heel, toe, indexing="ij"))
    reach = half_length + room.edge
    length = np.maximum(t + reach, room.ends[1]) - np.minimum(h - reach, room.ends[0])
    apart = t - h >= 2 * half_length + wall
    h, t, length = (a[apart & (length <= room.longest)] for a in (h, t, length))
    if not h.size:
        return None
    worst = worst_error(holes_x[:, None], h, t, STATION_ERROR, play).max(axis=0)
    good = worst <= worst.min() * 1.01
    best = np.flatnonzero(good)[np.argmin(length[good])]
    return float(h[best]), float(t[best])


def _free_places(
    span: tuple[float, float],
    blocked: tuple[Blocked, ...],
    half_length: float,
    wall: float,
) -> Array:
    low, high = span[0] + half_length, span[1] - half_length
    if high < low:
        return np.empty(0)
    count = math.floor((high - low) / STEP) + 1
    # Places on whole steps of the ski frame: readable numbers, and the same from run to run.
    places = np.ceil(low / STEP) * STEP + STEP * np.arange(count)
    places = places[places <= high]
    reach = half_length + wall
    free = np.ones(len(places), dtype=bool)
    for stretch in blocked:
        free &= (places + reach <= stretch.start) | (places - reach >= stretch.stop)
    return np.asarray(places[free])

"""Gaps between a station's own moving parts: the same in every station and jig of a mechanism.

They are reckoned once in a process and kept for the next station and jig.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

from jiggen.accuracy.sections import (
    Part,
    blunt_plan,
    gap,
    knob_part,
    pinion_part,
    rack_plan,
    rail_part,
)
from jiggen.design.station import Mechanism

SIDES = {"left": 0.0, "right": 180.0}  # degrees: the right rail is the left one turned round


class Within(NamedTuple):
    """Gaps of either rail with pinion and knob, by side, and of both rails; mm."""

    pinion: dict[str, float]
    knob: dict[str, float]
    rails: float


@lru_cache(maxsize=512)
def within_station(mechanism: Mechanism, middle: float, width: float) -> Within:
    """Gaps within a station at one ski width: every station and jig of a mechanism has these.

    `middle` is the ski range's, mm.
    """
    toothed, blunt, pinion, knob = moving_parts(mechanism)
    # At the middle of the range the pinion has a tooth on the x axis, and the rack a space.
    rolled = (width - middle) / 2
    turned = pinion.moved(degrees=math.degrees(rolled / mechanism.pinion.gear.pitch_radius))

    def stand(part: Part, side: str) -> Part:
        return part.moved(y=width / 2).moved(degrees=SIDES[side])

    left, right = (stand(blunt, side) for side in SIDES)
    return Within(
        pinion={side: gap(stand(toothed, side), turned) for side in SIDES},
        knob={side: gap(stand(blunt, side), knob) for side in SIDES},
        rails=gap(left, right),
    )


@lru_cache(maxsize=8)
def moving_parts(mechanism: Mechanism) -> tuple[Part, Part, Part, Part]:
    """A left rail with and without tooth spaces, the pinion and the knob."""
    rail = mechanism.rail
    return (
        rail_part("rail", rail, rack_plan(rail)),
        rail_part("rail", rail, blunt_plan(rail)),
        pinion_part("pinion", mechanism.pinion),
        knob_part("knob", mechanism.knob),
    )

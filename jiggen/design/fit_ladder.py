"""The ladder of fits as plain numbers: a stub of a rail's rack, and slots to try it in.

Stub and slots have the sections of the jig's own rack and channel, and are printed as those are:
top down, the slots open upwards.  The slots stand in a row along x, each 0.05 mm wider per
side than the last; a strip before them carries their clearances.  Numbers of the block are in its
print frame, its corner at the origin, those of the stub in the station's; mm.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from shapely.geometry import box

from jiggen.design.engraving import Engraving, engraving_of
from jiggen.design.lettering import NOTHING, Region, regions_of, write
from jiggen.design.pieces import UPSIDE_DOWN, Piece, Placed, shift_by
from jiggen.design.settings import Settings, SkiRange
from jiggen.design.station import Point, RailShape, design_mechanism

SLOTS, RACK = "slots", "rack"
CLEARANCES = (0.05, 0.10, 0.15, 0.20, 0.25, 0.30, 0.35)  # mm per side
USUAL_SKI = SkiRange(84.0, 112.0)  # only the rack's length depends on it, and the stub has its own
SPACES = 4  # between the stub's teeth
STUB_END = 3.0  # mm solid beyond the teeth at either end
WALL = 3.0  # mm between slots, at least
LENGTH = 15.0  # mm of each slot
FLOOR = 2.4  # mm under the deepest slot
LIP = 1.2  # mm of each slot above the lean that holds the rack
STRIP, STRIP_HEIGHT = 6.5, 2.0  # mm: lower than any slot, so that the rack runs right through
CAP = 3.2  # mm, capitals
DEPTH = 0.6  # mm of engraving
AWAY = 45.0  # mm before the frame, in the picture and the STEP
PUSHED_IN = 8.0  # mm that the stub is shown in its slot


@dataclass(frozen=True, eq=False)
class FitLadder:
    """Block with slots in its print frame, stub in the station's frame; mm.

    Each of `slots` is a profile of corners (x, z), open upwards, for the clearance per side of the
    same place in CLEARANCES; they run from y = STRIP to `size`[1].  `bar` is the stub's section
    in the slot that jigs have by default, and `pieces` show it there.
    """

    slots: tuple[tuple[Point, ...], ...]
    size: tuple[float, float, float]
    outline: Region
    engravings: tuple[Engraving, ...]
    stub: RailShape
    bar: tuple[Point, ...]
    pieces: tuple[Piece, Piece]


def design_fit_ladder() -> FitLadder:
    """Stub and slots for the rack and the channel of a jig's station."""
    settings = Settings(USUAL_SKI)
    mechanism = design_mechanism(settings)
    rail, widest = mechanism.rail, max(CLEARANCES)
    # Few teeth and no leg: the stub's end is where that would be.
    end = rail.nose_sag + 1.0
    rack = replace(rail.rack, spaces=SPACES)
    rack = replace(rack, space_y=end - STUB_END - rack.gear.pitch * (SPACES - 0.5))
    stub = replace(
        rail, rack=rack, reach=STUB_END - rack.toothed[0], graduations=NOTHING, underside=NOTHING
    )

    pitch = math.ceil(stub.back_x - rack.tip_x + 2 * widest + WALL)
    underside = stub.top_z + widest + FLOOR
    opening = stub.lean_z - stub.lean - LIP
    size = (len(CLEARANCES) * pitch + WALL, STRIP + LENGTH, underside - opening)
    shifts = [WALL + widest - rack.tip_x + index * pitch for index in range(len(CLEARANCES))]
    shown = shifts[CLEARANCES.index(settings.slide)]
    slots, labels = [], []
    for clearance, shift in zip(CLEARANCES, shifts, strict=True):
        channel = replace(
            mechanism.station,
            channel_x=rack.tip_x - clearance,
            half_length=stub.back_x + clearance,
            roof_z=stub.top_z + clearance,
        )
        # Half a turn about x, as a body is printed; 1 mm beyond the opening is in the air.
        slot = tuple((x + shift, underside - z) for x, z in channel.channel(opening - 1.0))
        slots.append(slot)
        text, sides = f"{clearance:.2f}", [x for x, _ in slot]
        word = write(text, CAP).centred((min(sides) + max(sides)) / 2, STRIP / 2)
        labels.append(engraving_of(text, word, DEPTH))

    before = shift_by(y=-AWAY)
    in_slot = shift_by(shown, size[1] + end - PUSHED_IN, underside) @ UPSIDE_DOWN
    to_bed = shift_by(-rack.tip_x, end, stub.top_z) @ UPSIDE_DOWN
    return FitLadder(
        slots=tuple(slots),
        size=size,
        outline=regions_of(box(0.0, 0.0, size[0], size[1]))[0],
        engravings=tuple(labels),
        stub=stub,
        bar=tuple((x + shown, underside - z) for x, z in stub.rack_profile),
        pieces=(
            Piece(SLOTS, "slots", (Placed(SLOTS, before),), np.eye(4), STRIP_HEIGHT - DEPTH),
            Piece(RACK, "rack", (Placed(RACK, before @ in_slot),), to_bed),
        ),
    )

"""The ladder of fits as plain numbers: a stub of a rail's rack, and slots to try it in.

Stub and slots have the sections of the jig's own rack and channel, and are printed as those are:
top down, the slots open upwards.  The slots stand in a row along x, each 0.05 mm wider per
side than the last; a strip before them carries their clearances.  Numbers of the block are in its
print frame, its corner at the origin, those of the stub in the station's; mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely.affinity
from shapely.geometry import box

from jiggen.design.engraving import Engraving
from jiggen.design.lettering import Region, letter, regions_of
from jiggen.design.pieces import UPSIDE_DOWN, Piece, Placed, shift_by
from jiggen.design.settings import Settings, SkiRange
from jiggen.design.station import Mechanism, RailShape, design_mechanism

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
    same place in `clearances`; `shown` is the one that the stub is shown in.  The slots run from
    y = STRIP to `size`[1].
    """

    clearances: tuple[float, ...]
    slots: tuple[tuple[tuple[float, float], ...], ...]
    size: tuple[float, float, float]
    outline: Region
    engravings: tuple[Engraving, ...]
    stub: RailShape
    shown: int
    underside: float
    pitch: float

    @property
    def pieces(self) -> tuple[Piece, Piece]:
        """The block, and the stub beside it in the slot that jigs have by default."""
        before = shift_by(y=-AWAY)
        stub = self.stub
        in_slot = shift_by(
            self._shift(self.shown), self.size[1] + stub.nose_sag + 1.0 - PUSHED_IN, self.underside
        )
        return (
            Piece(SLOTS, "slots", (Placed(SLOTS, before),), np.eye(4)),
            Piece(
                RACK,
                "rack",
                (Placed(RACK, before @ in_slot @ UPSIDE_DOWN),),
                shift_by(-stub.rack.tip_x, stub.nose_sag + 1.0, stub.top_z) @ UPSIDE_DOWN,
            ),
        )

    @property
    def bar(self) -> tuple[tuple[float, float], ...]:
        """The stub's section (x, z) in the slot that it is shown in, as the block is printed."""
        stub, shift = self.stub, self._shift(self.shown)
        return tuple((x + shift, self.underside - z) for x, z in stub.rack_profile)

    def _shift(self, slot: int) -> float:
        """X in the block of the station's axis, as the station's channel lies for that slot."""
        return _shift(self.stub, self.pitch, slot)


def design_fit_ladder() -> FitLadder:
    """Stub and slots for the rack and the channel of a jig's station."""
    settings = Settings(USUAL_SKI)
    mechanism = design_mechanism(settings)
    stub = _stub(mechanism)
    widest = max(CLEARANCES)
    pitch = math.ceil(stub.back_x - stub.rack.tip_x + 2 * widest + WALL)
    underside = stub.top_z + widest + FLOOR
    opening = stub.lean_z - stub.lean - LIP
    width, height = len(CLEARANCES) * pitch + WALL, underside - opening
    depth = STRIP + LENGTH
    slots = []
    for index, clearance in enumerate(CLEARANCES):
        channel = replace(
            mechanism.station,
            channel_x=stub.rack.tip_x - clearance,
            channel_back=stub.back_x + clearance,
            roof_z=stub.top_z + clearance,
        )
        shift = _shift(stub, pitch, index)
        # Half a turn about x, as a body is printed; 1 mm beyond the opening is in the air.
        profile = channel.channel(opening - 1.0)
        slots.append(tuple((x + shift, underside - z) for x, z in profile))
    (outline,) = regions_of(box(0.0, 0.0, width, depth))
    return FitLadder(
        clearances=CLEARANCES,
        slots=tuple(slots),
        size=(width, depth, height),
        outline=outline,
        engravings=tuple(_labels(slots)),
        stub=stub,
        shown=CLEARANCES.index(settings.slide),
        underside=underside,
        pitch=pitch,
    )


def _shift(stub: RailShape, pitch: float, slot: int) -> float:
    return WALL + max(CLEARANCES) - stub.rack.tip_x + slot * pitch


def _stub(mechanism: Mechanism) -> RailShape:
    """A piece of a rail's rack with few teeth, without a leg: its end is where that would be."""
    rail = mechanism.rail
    end = rail.nose_sag + 1.0
    rack = replace(rail.rack, spaces=SPACES)
    rack = replace(rack, space_y=end - STUB_END - rack.pitch * (SPACES - 0.5))
    return replace(rail, rack=rack, reach=STUB_END - rack.toothed[0], graduations=())


def _labels(slots: list[tuple[tuple[float, float], ...]]) -> list[Engraving]:
    labels = []
    for clearance, profile in zip(CLEARANCES, slots, strict=True):
        text = f"{clearance:.2f}"
        word = letter(text, CAP)
        _, _, width, height = word.bounds
        sides = [x for x, _ in profile]
        x, y = (min(sides) + max(sides) - width) / 2, (STRIP - height) / 2
        regions = regions_of(shapely.affinity.translate(word, x, y))
        labels.append(Engraving(text, SLOTS, regions, DEPTH))
    return labels

"""The self-centring station: one pinion between two opposed racks that carry the rails.

All numbers are in the station's own frame: the ski frame moved to the station's x, so the
pinion's axis is the z axis.  The station is the same after half a turn about that axis: the
left rail lies on the tip side of the pinion, the right rail is the same part turned round.
Looking towards the tip, with the ski below::

          knob
      ┌───┴──┴───┐  z = body
      │  cone    │  roof: the lock screw pulls the pinion's cone up into it
      │ rack gear rack   channels open to the underside
      └─ flange ─┘  z = relief
      nut          the nut sits in the pinion, above the ski

Printed with its top on the bed, the body has no overhang: channels and recess open upwards.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from jiggen.design.gear import Gear, Rack, mesh_half_length
from jiggen.design.lettering import Region
from jiggen.design.settings import Settings
from jiggen.errors import Finding, InputError
from jiggen.tables import clearance_hole, nut, socket_screw

MODULE = 1.5  # mm, ISO 54 series 1; the smallest whose teeth a 0.4 mm nozzle prints cleanly
TEETH = 12  # even, so that both racks are one part; shifted, so that nothing is undercut
SHIFT = 0.3
LOCK_SCREW = "M5"
NUT_FIT = 0.2  # mm over the nut's flats: slides in by hand, does not turn
STOP = 3.0  # mm solid beyond the last tooth space: a rack cannot be wound out of its channel
BRIDGE_STEP = 0.3  # mm, one printed layer: ceilings close in steps, each resting on the last


@dataclass(frozen=True)
class PinionShape:
    """Pinion, flange, cone and hexagon: turned about the z axis, heights in the ski frame, mm.

    From the bottom: flange, gear, cone (widest at `cone_z`, `cone_radius`; narrowest at
    `cone_top_z`, `cone_top_radius`), hexagon of `hex_flats` up to `top_z`, bored through for
    the lock screw, with a trap for its nut from below.
    """

    gear: Gear
    bottom_z: float
    flange_radius: float
    flange_z: float
    gear_top_z: float
    cone_z: float
    cone_radius: float
    cone_top_z: float
    cone_top_radius: float
    hex_flats: float
    top_z: float
    bore: float
    nut_flats: float
    nut_top_z: float


@dataclass(frozen=True)
class KnobShape:
    """Knob on the pinion's hexagon: radius, heights in the ski frame, socket; mm."""

    radius: float
    bottom_z: float
    top_z: float
    socket_flats: float
    socket_top_z: float
    bore: float
    grips: int
    grip_radius: float


@dataclass(frozen=True)
class RailShape:
    """One rail with its rack, as the left rail: y = 0 where its nose touches the ski, mm.

    The rack's teeth are `rack`; its bar lies at x from their tips to `back_x` and reaches in to
    y = -`reach`, solid where it has no teeth. Its outer side leans in below
    `lean_z`, by `lean`, and keeps it from dropping. The leg stands between x = `leg_x`
    (from, to) and y = `nose_sag` to `nose_sag` + `leg_thickness`, down to `bottom_z`; its nose
    is an arc of `nose_radius`. `graduations` are engraved on top of the bar.
    """

    rack: Rack
    back_x: float
    reach: float
    bottom_rack_z: float
    top_z: float
    lean_z: float
    lean: float
    leg_x: tuple[float, float]
    leg_thickness: float
    bottom_z: float
    nose_radius: float
    nose_half: float
    graduations: tuple[Region, ...] = ()

    @property
    def nose_sag(self) -> float:
        """How far the nose stands out before the leg's inner face, in mm."""
        return self.nose_radius - math.sqrt(self.nose_radius**2 - self.nose_half**2)

    @property
    def outer_y(self) -> float:
        """Flat for a bar clamp, in mm outside the contact."""
        return self.nose_sag + self.leg_thickness


@dataclass(frozen=True)
class StationShape:
    """What a station takes out of the body, in its own frame, mm.

    Two channels at x from ±`channel_x` to ±`channel_back`, open below, roof at `roof_z`;
    a round recess in two steps (flange, gear); the cone seat up through the roof.
    """

    channel_x: float
    channel_back: float
    lean_z: float
    lean: float
    roof_z: float
    flange_radius: float
    flange_z: float
    gear_radius: float
    cone_radius: float
    cone_top_z: float
    cone_top_radius: float
    knob_radius: float

    @property
    def half_length(self) -> float:
        """Half the length along the ski that the station's cut-outs take, in mm."""
        return self.channel_back

    def channel(self, below: float) -> list[tuple[float, float]]:
        """Corners (x, z) of the left rail's channel, in mm, open downwards to z = `below`."""
        inner, low = self.channel_back - self.lean, self.lean_z - self.lean
        return [
            (self.channel_x, below),
            (inner, below),
            (inner, low),
            (self.channel_back, self.lean_z),
            (self.channel_back, self.roof_z),
            (self.channel_x, self.roof_z),
        ]


@dataclass(frozen=True)
class Mechanism:
    """The parts of a station and the cut-outs they run in."""

    pinion: PinionShape
    knob: KnobShape
    rail: RailShape
    station: StationShape
    lock_screw: str
    lock_screw_length: float


def design_mechanism(settings: Settings) -> Mechanism:
    """Size one station for the ski range and clearances in `settings`.

    Raises InputError when the body is too thin to house it.
    """
    c = settings.slide
    gear = Gear(MODULE, TEETH, SHIFT, thinning=settings.backlash / 2)
    rack = _rack(gear, settings)
    back_x = rack.root_x + 4.7

    bottom_z = 2 * settings.relief
    flange_z = bottom_z + 1.8
    rack_z = flange_z + c
    roof_z = settings.body - 3.6
    rack_top_z = roof_z - c
    if rack_top_z - rack_z < 4.5:
        raise InputError(
            Finding(
                "design.body-thin",
                f"a {settings.body:g} mm body leaves {rack_top_z - rack_z:.1f} mm for the racks; "
                "4.5 mm is the least",
                key="body",
                hint="Choose a thicker body (14 mm is the default) or a smaller slide clearance.",
            )
        )
    lean = 2.0
    lean_z = rack_z + lean

    screw, nut_size = socket_screw(LOCK_SCREW), nut(LOCK_SCREW)
    bore = clearance_hole(LOCK_SCREW, "medium")
    cone_radius, cone_top_radius, seat_gap = 7.3, 5.3, 0.05
    cone_top_z = settings.body - 0.4
    knob_bottom = settings.body + 0.4
    hex_top = settings.body + 7.0
    # The screw must end above the ski and fill the nut: its seat on the knob is set from below.
    tip_z = bottom_z + 0.3
    wanted_seat = hex_top + 4.0
    length = min(n for n in screw.lengths if tip_z + n >= wanted_seat)
    seat_z = tip_z + length

    return Mechanism(
        pinion=PinionShape(
            gear=gear,
            bottom_z=bottom_z,
            flange_radius=gear.tip_radius + 1.5,
            flange_z=flange_z,
            gear_top_z=roof_z - 0.4,
            cone_z=roof_z,
            cone_radius=cone_radius,
            cone_top_z=cone_top_z,
            cone_top_radius=cone_top_radius,
            hex_flats=9.0,
            top_z=hex_top,
            bore=bore,
            nut_flats=nut_size.across_flats + NUT_FIT,
            nut_top_z=bottom_z + nut_size.height + 0.3,
        ),
        knob=KnobShape(
            radius=16.0,
            bottom_z=knob_bottom,
            top_z=seat_z,
            socket_flats=9.0 + 0.2,
            socket_top_z=hex_top + 1.2,
            bore=bore,
            grips=8,
            grip_radius=4.0,
        ),
        rail=RailShape(
            rack=rack,
            back_x=back_x,
            reach=STOP - rack.toothed[0],
            bottom_rack_z=rack_z,
            top_z=rack_top_z,
            lean_z=lean_z,
            lean=lean,
            leg_x=(-6.5, back_x),
            leg_thickness=8.0,
            bottom_z=-settings.rail_depth,
            nose_radius=10.0,
            nose_half=6.0,
        ),
        station=StationShape(
            channel_x=rack.tip_x - c,
            channel_back=back_x + c,
            lean_z=lean_z,
            lean=lean,
            roof_z=roof_z,
            flange_radius=gear.tip_radius + 1.5 + 0.4,
            flange_z=flange_z + c,
            gear_radius=gear.tip_radius + 0.4,
            cone_radius=cone_radius + seat_gap,
            cone_top_z=cone_top_z,
            cone_top_radius=cone_top_radius + seat_gap,
            knob_radius=16.0,
        ),
        lock_screw=LOCK_SCREW,
        lock_screw_length=length,
    )


def _rack(gear: Gear, settings: Settings) -> Rack:
    """The rack of a left rail whose nose is at y = 0: in full mesh over the whole ski range.

    At the middle of the range a tooth space lies on the x axis, where the pinion has a tooth.
    Half a pitch of free run is kept past either end of the range.
    """
    spare = mesh_half_length(gear) + gear.pitch / 2
    toothed = (-settings.ski.most / 2 - spare, -settings.ski.least / 2 + spare)
    return Rack.meshing(
        gear, toothed, space_y=-settings.ski.middle / 2, thinning=settings.backlash / 2
    )

"""The self-centring station: one pinion between two opposed racks that carry the rails.

All numbers are in the station's own frame: the ski frame moved to the station's x.  The left rail
lies on the tip side of the pinion, the right rail is the same part after half a turn about its
axis.  Looking towards the tip, with the ski below::

          knob
      ┌───┴──┴───┐  z = body
      │  cone    │  roof: the lock screw pulls the pinion's cone up into it
      │ rack gear rack   channels open to the underside
      └─ flange ─┘  z = relief
      nut          the nut sits in the pinion, above the ski

Printed with its top on the bed, the body has no overhang: channels and recess open upwards.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from jiggen.advice import LAYER, more_layers, whole_layers
from jiggen.design.gear import Gear, Rack, mesh_half_length
from jiggen.design.lettering import NOTHING, Drawn
from jiggen.design.settings import Settings, SkiRange
from jiggen.errors import InputError
from jiggen.tables import Nut, SocketScrew, clearance_hole, nut, socket_screw

Point = tuple[float, float]

RUN_FREE = 0.4  # mm between parts that pass without guiding one another: more than a print is off

# Gear and rack
MODULE = 1.5  # mm, ISO 54 series 1; the smallest whose teeth a 0.4 mm nozzle prints cleanly
TEETH = 12  # even, so that both racks are one part; shifted, so that nothing is undercut
SHIFT = 0.3
STOP = 3.0  # mm solid beyond the last tooth space: a rack cannot be wound out of its channel
BAR = 4.7  # mm of a rack behind its roots: as wide as the scale's longest lines and their margins
LEAN = 2.0  # mm at 45° off a rack's outer foot: the channel's ledge keeps it from dropping
CLAMP_ROOM = 0.05  # mm that a rail ends before the flat of its twin, where a clamp's jaw presses
LEAST_RACK = 4.5  # mm, height of a rack's teeth: three modules (common practice, no source)

# Heights
FLANGE = 1.8  # mm: nine layers carry the gear (common practice, no source)
ROOF = 3.6  # mm of body over the channels: the cone seat is in it (common practice, no source)
HEX_HEIGHT = 7.0  # mm of it above the body: what turns the knob (common practice, no source)
TIP_SPARE = LAYER  # that the screw ends above the pinion's underside, at least
NUT_SPARE = LAYER  # over the nut's height, at least: it sits on its bridge, not on a sag
NUT_LEAD_IN = 0.4  # mm at 45° at the mouth of the nut's trap, which lies on the bed
BRIDGE_STEP = LAYER  # ceilings close in steps, each resting on the last
SOCKET_SPARE = 1.2  # mm of socket above the hexagon: the screw pulls on the cone, not on it
KNOB_ROOF = 4.0  # mm of knob under the screw's head, at least (common practice, no source)

# Fits, and what joins
LOCK_SCREW = "M5"
FLANGE_RIM = 1.5  # mm beyond the teeth: one module, so that the racks cannot drop past them
SEAT_GAP = 0.05  # mm between cone and seat as drawn: the screw closes it
NUT_FIT = 0.2  # mm over the nut's flats: slides in by hand, does not turn
SOCKET_FIT = 0.2  # mm over the hexagon's flats: goes on by hand (common practice, no source)
LEG_SIDE = 6.5  # mm from the nose to the leg's edge: half a mm of flat beside the nose
JOINED = 1.0  # mm that outlines of one part overlap where they are joined
ROOT_JOINED = 0.5  # mm, the same behind the roots, inside the rim of the rack's outline
NOSE_TOP = -0.5  # mm: below the body, which may so be wider by what the nose stands out


@dataclass(frozen=True)
class Bolt:
    """A socket head screw and its nut; `length` in mm."""

    name: str
    thread: str
    length: float

    @property
    def screw(self) -> SocketScrew:
        """The screw's row in the tables."""
        return socket_screw(self.thread)

    @property
    def nut(self) -> Nut:
        """The nut's row in the tables."""
        return nut(self.thread)


@dataclass(frozen=True)
class PinionShape:
    """Pinion and flange, cone from `cone_z` to `cone_top_z`, hexagon, nut trap; mm."""

    gear: Gear
    bottom_z: float
    flange_radius: float
    flange_z: float
    gear_top_z: float
    cone_z: float
    cone_top_z: float
    top_z: float
    bore: float
    nut_flats: float
    nut_top_z: float
    cone_radius: float = 7.3  # inside the roots of the teeth, at 7.58 mm
    cone_top_radius: float = 5.3  # outside the corners of the hexagon, at 5.20 mm
    hex_flats: float = 9.0  # 1.75 mm of wall around the lock screw's hole at the flats


@dataclass(frozen=True)
class KnobShape:
    """Knob on the pinion's hexagon, with `grips` out of its edge: cylinders; mm."""

    bottom_z: float
    top_z: float
    socket_flats: float
    socket_top_z: float
    bore: float
    radius: float = 16.0  # finger tight on it is what accuracy takes for granted
    grips: int = 8
    grip_radius: float = 4.0


@dataclass(frozen=True)
class RailShape:
    """One rail with its rack, as the left rail: y = 0 where its nose touches the ski, mm.

    The rack's bar reaches from its teeth's tips to `back_x` and in to y = -`reach`; its outer side
    leans in below `lean_z`, by `lean`.  The leg stands between x = `leg_x` (from, to), down to
    `bottom_z`; its nose is an arc, `nose_half` to either side, which grows out of the leg below
    `nose_top` at 45°: printed top down it needs no support.  `graduations` are engraved on top,
    and the line across at y = `index_y` in the `underside` too.
    """

    rack: Rack
    back_x: float
    reach: float
    bottom_rack_z: float
    top_z: float
    lean_z: float
    leg_x: tuple[float, float]
    bottom_z: float
    graduations: Drawn = NOTHING
    nose_top: float = NOSE_TOP
    underside: Drawn = NOTHING
    index_y: float = 0.0
    lean: float = LEAN
    leg_thickness: float = 8.0  # as stiff below the rack as the rack (common practice, no source)
    nose_radius: float = 10.0  # on any sidecut it touches within 0.25 mm of the station's x
    nose_half: float = 6.0  # it stands 2 mm out before the leg

    def rack_plan(self, chord: float) -> Polygon:
        """The rack seen from above, solid beyond its teeth, chords within `chord` mm of them."""
        rack, (low, high), end = self.rack, self.rack.toothed, self.nose_sag + JOINED
        bar = box(rack.root_x + ROOT_JOINED, -self.reach, self.back_x, end)
        inner = box(rack.tip_x, -self.reach, self.back_x, low)
        outer = box(rack.tip_x, high, self.back_x, end)
        return shapely.union_all([Polygon(rack.outline(chord)), bar, inner, outer])

    @property
    def blunt_plan(self) -> Polygon:
        """The rack seen from above, its tooth spaces filled."""
        return box(self.rack.tip_x, -self.reach, self.back_x, self.nose_sag + JOINED)

    @property
    def rack_profile(self) -> list[Point]:
        """Corners (x, z) of the rack cut across at the crest of a tooth."""
        tip, back, bottom = self.rack.tip_x, self.back_x, self.bottom_rack_z
        foot = [(tip, bottom), (back - self.lean, bottom)]
        return [*foot, (back, self.lean_z), (back, self.top_z), (tip, self.top_z)]

    @property
    def bar_plan(self) -> Polygon:
        """The leg seen from above, without its nose."""
        return box(self.leg_x[0], self.nose_sag, self.leg_x[1], self.outer_y)

    def nose_plan(self, chords: int) -> Polygon:
        """The nose seen from above, an arc of `chords` chords, down into the leg."""
        half = np.arcsin(self.nose_half / self.nose_radius)
        angles = np.linspace(-half, half, chords + 1)
        x, y = self.nose_radius * np.sin(angles), self.nose_radius * (1 - np.cos(angles))
        return Polygon([*zip(x, y, strict=True), (0.0, self.outer_y - JOINED)])

    @property
    def nose_sag(self) -> float:
        """How far the nose stands out before the leg's inner face, in mm."""
        return self.nose_radius - math.sqrt(self.nose_radius**2 - self.nose_half**2)

    @property
    def nose_bevel(self) -> list[Point]:
        """Corners (y, z) of what is taken off the nose's upper end."""
        out, top = self.nose_sag, self.nose_top
        low = [(-JOINED, top - out - JOINED), (out, top), (out, top + JOINED)]
        return [*low, (-JOINED, top + JOINED)]

    @property
    def outer_y(self) -> float:
        """Flat for a bar clamp, in mm outside the contact."""
        return self.nose_sag + self.leg_thickness


@dataclass(frozen=True)
class StationShape:
    """What a station takes out of the body, mm: channels, recess in two steps, cone seat.

    The channels reach from `channel_x` to `half_length`, and so far goes all of it along the ski.
    """

    channel_x: float
    half_length: float
    lean_z: float
    roof_z: float
    flange_radius: float
    flange_z: float
    gear_radius: float
    cone_radius: float
    cone_top_z: float
    cone_top_radius: float
    knob_radius: float
    lean: float = LEAN

    def channel(self, below: float) -> list[Point]:
        """Corners (x, z) of the left rail's channel, in mm, open downwards to z = `below`."""
        front, back, inner = self.channel_x, self.half_length, self.half_length - self.lean
        ledge = [(front, below), (inner, below), (inner, self.lean_z - self.lean)]
        return [*ledge, (back, self.lean_z), (back, self.roof_z), (front, self.roof_z)]

    def recess(self, top: float, over: float) -> list[Point]:
        """Corners (radius, z) of recess and cone seat, `over` mm past a body from 0 to `top`."""
        flare = self.cone_top_radius + (top - self.cone_top_z)
        flange = [(self.flange_radius, -over), (self.flange_radius, self.flange_z)]
        gear = [(self.gear_radius, self.flange_z), (self.gear_radius, self.roof_z)]
        cone = [(self.cone_radius, self.roof_z), (self.cone_top_radius, self.cone_top_z)]
        over_top = [(flare, top), (flare, top + over), (0, top + over)]
        return [(0, -over), *flange, *gear, *cone, *over_top]


@dataclass(frozen=True)
class Mechanism:
    """The parts of a station and the cut-outs they run in."""

    pinion: PinionShape
    knob: KnobShape
    rail: RailShape
    station: StationShape
    lock: Bolt


def clamp_room(rail: RailShape, narrowest: float) -> float:
    """Room in mm for a clamp's jaw on one rail before the other's tail, on the narrowest ski."""
    return narrowest + rail.outer_y - rail.reach


def refuse_range(settings: Settings) -> None:
    """Raise InputError for skis so different that the rack for the widest is too long.

    A rail long enough for the widest ski stands out past the other rail on the narrowest, where a
    clamp presses on that.
    """

    def serves(least: float, most: float) -> bool:
        made = design_mechanism(replace(settings, ski=SkiRange(least, most)))
        return clamp_room(made.rail, least) >= CLAMP_ROOM

    least, most = settings.ski.least, settings.ski.most
    if serves(least, most):
        return
    widest = next(w for w in (most - 1.0 - n for n in range(200)) if serves(least, max(w, least)))
    narrowest = next(w for w in (least + 1.0 + n for n in range(200)) if serves(min(w, most), most))
    raise InputError.of(
        "design.ski-range",
        f"no rail serves skis from {least:g} to {most:g} mm: one long enough for the widest is in "
        "the way of the clamp on the narrowest",
        key="ski",
        hint=f"The widest ranges are {least:g}-{widest:g} and {narrowest:g}-{most:g}: two jigs "
        "serve all.",
    )


def design_mechanism(settings: Settings) -> Mechanism:
    """Size one station; InputError when the body is too thin to house it."""
    body, c, thinning = settings.body, settings.slide, settings.backlash / 2
    gear = Gear(MODULE, TEETH, SHIFT, thinning)
    # In full mesh over the whole ski range, with half a pitch of free run past either end; at its
    # middle a tooth space lies on the x axis, where the pinion has a tooth.
    spare = mesh_half_length(gear) + gear.pitch / 2
    toothed = (-settings.ski.most / 2 - spare, -settings.ski.least / 2 + spare)
    rack = Rack.meshing(gear, toothed, -settings.ski.middle / 2, thinning)
    back_x = rack.root_x + BAR

    bottom_z = 2 * settings.relief
    flange_z = bottom_z + FLANGE
    roof_z = body - ROOF
    rack_top_z = roof_z - c
    rack_z = rack_top_z - whole_layers(rack_top_z - flange_z - c)
    if rack_top_z - rack_z < LEAST_RACK:
        raise InputError.of(
            "design.body-thin",
            f"a {body:g} mm body leaves {rack_top_z - rack_z:.1f} mm for the racks; "
            f"{LEAST_RACK:g} mm is the least",
            key="body",
            hint="Choose a thicker body (14 mm is the default) or a smaller slide clearance.",
        )
    hex_top = body + HEX_HEIGHT
    # The screw must end above the ski and fill the nut: its seat on the knob is set from below,
    # a layer higher where the knob would not be whole layers high.
    tip_z, knob_z = bottom_z + TIP_SPARE, body + RUN_FREE
    lengths = socket_screw(LOCK_SCREW).lengths
    length = min(n for n in lengths if tip_z + n >= hex_top + KNOB_ROOF)
    knob_top = knob_z + more_layers(tip_z + length - knob_z)
    lock = Bolt("lock screw", LOCK_SCREW, length)
    pinion = PinionShape(
        gear=gear,
        bottom_z=bottom_z,
        flange_radius=gear.tip_radius + FLANGE_RIM,
        flange_z=flange_z,
        gear_top_z=roof_z - RUN_FREE,
        cone_z=roof_z,
        cone_top_z=body - RUN_FREE,
        top_z=hex_top,
        bore=clearance_hole(LOCK_SCREW).medium,
        nut_flats=lock.nut.across_flats + NUT_FIT,
        nut_top_z=bottom_z + more_layers(lock.nut.height + NUT_SPARE),
    )
    knob = KnobShape(
        bottom_z=knob_z,
        top_z=knob_top,
        socket_flats=pinion.hex_flats + SOCKET_FIT,
        socket_top_z=knob_top - whole_layers(knob_top - hex_top - SOCKET_SPARE),
        bore=pinion.bore,
    )
    rail = RailShape(
        rack=rack,
        back_x=back_x,
        reach=STOP - rack.toothed[0],
        bottom_rack_z=rack_z,
        top_z=rack_top_z,
        lean_z=rack_z + LEAN,
        leg_x=(-LEG_SIDE, back_x),
        bottom_z=-settings.rail_depth,
    )
    station = StationShape(
        channel_x=rack.tip_x - c,
        half_length=back_x + c,
        lean_z=rail.lean_z,
        roof_z=roof_z,
        flange_radius=pinion.flange_radius + RUN_FREE,
        flange_z=body - whole_layers(body - flange_z - c),
        gear_radius=gear.tip_radius + RUN_FREE,
        cone_radius=pinion.cone_radius + SEAT_GAP,
        cone_top_z=pinion.cone_top_z,
        cone_top_radius=pinion.cone_top_radius + SEAT_GAP,
        knob_radius=knob.radius,
    )
    return Mechanism(pinion, knob, rail, station, lock)

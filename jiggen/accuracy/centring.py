"""How far a jig can sit off the ski's centre line, at each station and so at each hole.

One station, seen from above in its own frame.  The pinion may be off by (p, q) in x and y and
turned by θ; the rack of the left rail, at x > 0, is off by (u, v) and turned by ψ, all small.
With r the pitch radius, τ = tan α, and j the play of a rack against a held pinion, its two
sets of flanks allow

    |v - q + r·(ψ - θ)| ≤ j/2 + τ·(u - p)                                                  (1)

since every line of action runs through the pitch point and has the lever r·cos α about the
axis, and a rack that stands further off has more play.  The nose touches the ski at x = 0, so
the left rail holds the edge at y = +w/2 + v, and the right one, the same after half a turn, at
y = -w/2 - v' with (p, q) reversed.  The ski fills the space between the noses: v + v' = 0 fixes
θ.  What is left is the ski's centre line off the body's:

    e = (v - v')/2                                                                         (2)

**Loaded and locked**, as drilled: the ski presses both noses outwards.  That presses both racks
on the same flanks (the pinion is preloaded), outwards on the channel's outer walls (a flank's
20° slope is more than plastic's angle of friction, 17° at 0.3, from memory), and tilts both
rails equally.  Where a rail comes to rest, its twin does: v = v', so play adds nothing to e.  The
lock screw has pulled the pinion's cone into its seat: q = 0.  What is left is `flex`: the noses'
forces need not be equal, and rails bend.

**Loose**: the same, lock screw not yet tight.  By (1) and (2) a pinion off by q moves both racks
by q the same way, so e = q: `bearing`, one to one.  It is the gap of the cone with the parts as
drawn; a cone that hangs lower has more.

**Free**: nothing presses anywhere, and each part lies in the worst corner of its play.  By (1)
e ≤ q + j/2 + (A + B)/2, where A and B are the furthest that slide and tilt let a nose out and
in: `backlash` is j/2, `slide` the part in plan, `tilt` what leaning about the x axis adds.

All bounds are largest at the widest ski: the rack is then least deep in its channel and stands
out furthest.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from shapely.geometry import Polygon, box

from jiggen.accuracy.sections import FAR, Array, rack_profile
from jiggen.design import Design
from jiggen.design.gear import backlash
from jiggen.design.plan import RIGID, worst_error
from jiggen.design.station import Mechanism, RailShape
from jiggen.errors import Finding
from jiggen.record.results import Movement, PlasticEffects
from jiggen.tables import USUAL, Material, Span, material

LIMIT = 0.25  # mm sideways at a hole, worst case: the aim of the project
BETTER = "A stiffer material, shallower rails, a narrower ski range or a larger bed centres better."
COLDER = 30.0  # °C, from a workshop at 20 to a car at -10 (common practice, no source)
DIVISION = 1.0  # mm between two graduations of a rail


@dataclass(frozen=True)
class Loading:
    """How the rails are pressed to the ski, and what they bend like.

    `force` is a nose's in N: finger tight on a 32 mm knob, 0.36 N·m on two racks of 9 mm pitch
    radius (from memory). `uneven` is the part of it by which one nose presses more and the
    other less; the jig's friction on the top sheet alone can hold the difference, 4 N at 0.1,
    while jig and friction of 3 N and 0.3 give 1 N (from memory). `friction` is a nose's on the
    ski's side, of a printed plastic on another (common practice, no source). `modulus` in N/mm²:
    the least that is published of a plastic, by default of the usual one (`jiggen.tables`).
    """

    force: float = 20.0
    uneven: float = 0.1
    friction: float = 0.25
    modulus: float = field(default_factory=lambda: material(USUAL).modulus.low)


@dataclass(frozen=True)
class StationPlay:
    """The ski's centre line off the body's at one station, ± mm, by cause (see the module)."""

    bearing: float
    backlash: float
    slide: float
    tilt: float
    flex: float

    @property
    def loaded(self) -> float:
        """Pressed and locked, as drilled."""
        return self.flex

    @property
    def loose(self) -> float:
        """Pressed, lock screw not yet tight."""
        return self.flex + self.bearing

    @property
    def free(self) -> float:
        """Not pressed at all, every play at its worst."""
        return self.bearing + self.backlash + self.slide + self.tilt


@dataclass(frozen=True, eq=False)
class Centring:
    """The worst sideways error (n,) of a jig's holes in each state, in the layout's order; ± mm."""

    station: StationPlay
    loaded: Array
    loose: Array
    free: Array
    findings: tuple[Finding, ...]


def find_centring(design: Design, loading: Loading | None = None) -> Centring:
    """The worst centring error of `design` at every hole; by default in its own material.

    Finds ``accuracy.centring`` for holes whose error, loaded and locked, is over LIMIT.
    """
    pressed = loading or Loading(modulus=material(design.settings.material).modulus.low)
    station = station_play(design.mechanism, design.half_width, design.settings.ski.most, pressed)
    heel, toe = (station.x for station in design.stations)
    play = design.joint.play if design.joint else RIGID

    def worst(error: float) -> Array:
        return worst_error(design.layout.positions[:, 0], heel, toe, error, play)

    loaded = worst(station.loaded)
    findings = tuple(
        Finding(
            "accuracy.centring",
            f"hole {hole} may lie {error:.2f} mm off sideways; {LIMIT:g} mm is the most",
            key="material, rail-depth, ski, bed",
            hint=BETTER,
        )
        for hole, error in zip(design.layout.ids, loaded, strict=True)
        if error > LIMIT
    )
    return Centring(station, loaded, worst(station.loose), worst(station.free), findings)


def station_play(
    mechanism: Mechanism, half_width: float, width: float, loading: Loading | None = None
) -> StationPlay:
    """Play of one station of a body ± `half_width` mm on a ski of `width` mm."""
    pinion, rail, station = mechanism.pinion, mechanism.rail, mechanism.station
    pressed = loading or Loading()
    # Where the channel holds the rack: from its tail, or the far edge, to the near edge.
    channel = max(-half_width, width / 2 - rail.reach), half_width
    play = max(
        station.half_length - rail.back_x,
        rail.rack.tip_x - station.channel_x,
        station.roof_z - rail.top_z,
    )
    lever = max(pinion.flange_z, rail.bottom_rack_z) - rail.bottom_z
    slide = _slack(mechanism, play, channel, 0.0)
    return StationPlay(
        bearing=station.cone_radius - pinion.cone_radius,
        backlash=backlash(pinion.gear, rail.rack.thinning) / 2,
        slide=slide,
        tilt=_slack(mechanism, play, channel, lever) - slide,
        # Forces F·(1 ± uneven) bend the rails by C·F·(1 ± uneven); by (2) e = C·F·uneven.
        flex=bend(rail, half_width, width, pressed) * pressed.uneven,
    )


def _slack(mechanism: Mechanism, c: float, channel: tuple[float, float], lever: float) -> float:
    """(A + B)/2: half of all that a rail's pose in its channel lets the nose move, mm.

    With play `c` to each side a rack held between y = a < 0 and b, L = b - a, may be off by
    u(a) and u(b) in x, each within ± c, so u = (u(a)·b - u(b)·a)/L at the pinion and
    ψ = (u(a) - u(b))/L.  Upwards it may be off by c, downwards, where a leaning face carries
    it, by c less what it is off outwards: u - c ≤ z ≤ c.  It tilts by φ = (z(b) - z(a))/L,
    which moves the nose by φ·h at `lever` h below the lowest point of the teeth's faces, the
    nose touching, at worst, at its foot.  By (1) the nose stands at

        ± j/2 ± τ·u - r·ψ + φ·h      (+ furthest out, - furthest in)

    which is linear in the four ends, so its extremes lie in corners:

        A = c·((r - τ·a) + |τ·b - r - h| + 2h) / L        z(b) = c, z(a) = u(a) - c, u(b) = c
        B = c·((r + τ·b) + |τ·a + r + h| + 2h) / L        z(a) = c, z(b) = u(b) - c, u(a) = c
    """
    gear, (a, b) = mechanism.pinion.gear, channel
    r, tau, h = gear.pitch_radius, math.tan(math.radians(gear.profile.pressure_angle)), lever
    out = (r - tau * a) + abs(tau * b - r - h) + 2 * h
    back = (r + tau * b) + abs(tau * a + r + h) + 2 * h
    return c * (out + back) / 2 / (b - a)


def bend(rail: RailShape, half_width: float, width: float, loading: Loading) -> float:
    """How far a nose gives way under its force by bending the rail: C·F in mm.

    For C, a force at the nose's foot bends the rack about both axes with one moment all along
    where it stands out, and one that falls to nothing at the pinion where it is held, which
    counts a third; teeth add nothing.  The leg bends as a cantilever below the rack.  Unit load
    method: C = ∫ lever²/(E·I) dy, from memory.
    """
    whole = rack_profile(rail)
    toothed = whole.intersection(box(rail.rack.root_x, -FAR, FAR, FAR))
    out, solid = width / 2 + rail.nose_sag, width / 2 + rail.rack.toothed[1]
    end = min(max(solid, half_width), out)
    stretches = ((toothed, half_width / 3 + end - half_width), (whole, out - end))
    bends = sum(length * _bend(bar, rail.bottom_z) for bar, length in stretches)
    drop = rail.bottom_rack_z - rail.bottom_z
    leg = (rail.leg_x[1] - rail.leg_x[0]) * rail.leg_thickness**3 / 12
    compliance = (bends + drop**3 / (3 * leg)) / loading.modulus
    return compliance * loading.force


def _bend(bar: Polygon, foot_z: float) -> float:
    """Sum of lever²/I over both axes for a bar's section in x over z, 1/mm²: nose at x = 0.

    I is ∫x² or ∫z² about the centroid, mm⁴, by Green's theorem over the section's edges.
    """
    centre = np.array([bar.centroid.x, bar.centroid.y])
    points = np.asarray(bar.exterior.coords) - centre
    one, two = points[:-1], points[1:]
    cross = one[:, 0] * two[:, 1] - two[:, 0] * one[:, 1]
    moments = np.abs((cross[:, None] * (one**2 + one * two + two**2)).sum(axis=0)) / 12
    return float(((centre - (0.0, foot_z)) ** 2 / moments).sum())


def hole_shift_per_division(design: Design) -> Array:
    """How far each hole moves if the readings of one station differ by one division, mm.

    (stations, n), signed.  Left reading over right by one DIVISION says that the ski lies half
    of it further left than the jig there, so the holes come out that much too far right:
    DIVISION/2 · (x - other)/(station - other), by the lever of the line through both stations.
    """
    x = design.layout.positions[:, 0]
    heel, toe = (station.x for station in design.stations)
    lever = [(x - other) / (own - other) for own, other in ((heel, toe), (toe, heel))]
    return np.asarray(DIVISION / 2 * np.vstack(lever))


def find_movement(plastic: Material, reach: float) -> Movement:
    """How far a hole `reach` mm from the mounting mark moves with `plastic`, in mm.

    By its shrinkage, least and most, if the print is not corrected for it; when it is COLDER than
    when it was measured; by moisture, None where that is slight.  The ski's own growth is left out.
    """

    def part(per_cent: Span) -> tuple[float, float]:
        return per_cent.low * reach / 100, per_cent.high * reach / 100

    return Movement(
        reach=reach,
        shrinkage=part(plastic.shrinkage),
        cold=plastic.expansion.high * 1e-6 * COLDER * reach,
        swelling=part(plastic.swelling) if plastic.swelling else None,
    )


def softness(plastic: Material) -> float:
    """How much more than one of the usual plastic a rail bends: the moduli's least, compared."""
    return material(USUAL).modulus.low / plastic.modulus.low


def find_effects(design: Design) -> PlasticEffects:
    """What the plastic of `design` does to its farthest hole, and to a rail on the widest ski.

    Raises InputError for a plastic that is not listed.
    """
    reaches = np.hypot(*design.layout.positions.T)
    farthest = int(reaches.argmax())
    plastic = material(design.settings.material)
    loading = Loading(modulus=plastic.modulus.low)
    rail, widest = design.mechanism.rail, design.settings.ski.most
    return PlasticEffects(
        hole=design.layout.ids[farthest],
        movement=find_movement(plastic, float(reaches[farthest])),
        bend=bend(rail, design.half_width, widest, loading),
        force=loading.force,
        colder=COLDER,
    )

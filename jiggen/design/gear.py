"""Involute pinion and rack, drawn by the basic rack of ISO 53; plain geometry, no CAD.

Frame of a station: the pinion's axis is the origin, a rack lies along y at positive x with its
teeth towards −x; its opposite is the same rack after half a turn.  A rack that travels s along y
turns the pinion by s / pitch radius, whatever the profile shift.  Flanks and root fillets are
those that a rack-shaped tool would cut, every vertex on the true curve.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import partial

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import InputError
from jiggen.tables import BasicRack, basic_rack

Points = NDArray[np.float64]

CHORD = 0.01  # mm, farthest a chord may lie from its curve
RIM = 1.0  # modules of solid that a rack's outline keeps behind its roots
LEAST_TIP = 0.2  # modules: a tooth thinner than this at its tip is pointed; common practice


@dataclass(frozen=True)
class Gear:
    """A spur pinion: `module` in mm, number of `teeth`, profile `shift` in modules.

    Each tooth is `thinning` mm thinner along the reference circle than without backlash, half of
    it off either flank.  Raises InputError for teeth that the rack would undercut, or pointed ones.
    """

    module: float
    teeth: int
    shift: float = 0.0
    thinning: float = 0.0
    profile: BasicRack = field(default_factory=basic_rack)

    def __post_init__(self) -> None:
        teeth = f"{self.teeth} teeth with profile shift {self.shift:g}"
        if self.shift < self.least_shift:
            # Rounded up, so that the shift named here is one that passes.
            least = math.ceil(1000 * self.least_shift) / 1000
            hint = f"Shift the profile by {least:g} or more, or take more teeth."
            raise InputError.of("design.gear", f"{teeth} are undercut", hint=hint)
        if self.thickness(self.tip_radius) < LEAST_TIP * self.module:
            message = f"{teeth} and {self.thinning:g} mm thinning come to a point"
            hint = "Take a smaller profile shift, less thinning, or more teeth."
            raise InputError.of("design.gear", message, hint=hint)

    @property
    def pitch(self) -> float:
        """Distance of teeth along the reference circle, mm."""
        return math.pi * self.module

    @property
    def pitch_radius(self) -> float:
        """Radius of the reference circle, on which racks roll, mm."""
        return self.module * self.teeth / 2

    @property
    def base_radius(self) -> float:
        """Radius of the circle that the flanks unwind from, mm."""
        return self.pitch_radius * math.cos(self.alpha)

    @property
    def tip_radius(self) -> float:
        """Outermost radius, mm."""
        return self.pitch_radius + self.module * (self.profile.addendum + self.shift)

    @property
    def root_radius(self) -> float:
        """Radius of the ground between the teeth, mm."""
        return self.pitch_radius - self.module * (self.profile.dedendum - self.shift)

    @property
    def form_radius(self) -> float:
        """Radius at which the involute begins above the root fillet, mm."""
        return self.base_radius * math.hypot(1.0, self._roll_at_form)

    @property
    def least_shift(self) -> float:
        """Least profile shift, in modules, at which the mating rack does not undercut."""
        return self.profile.addendum - self.teeth / 2 * math.sin(self.alpha) ** 2

    @property
    def rack_line(self) -> float:
        """Distance of the mating rack's reference line from the axis, mm."""
        return self.pitch_radius + self.shift * self.module

    def thickness(self, radius: float) -> float:
        """Tooth thickness along the arc of `radius` mm; ValueError below the involute."""
        if radius < self.form_radius - 1e-9:
            raise ValueError(f"no involute at {radius:g} mm; it begins at {self.form_radius:g} mm")
        return 2 * radius * self._half_angle(self._roll(radius))

    def outline(self, chord: float = CHORD) -> Points:
        """The pinion seen from above: (n, 2) float, mm, anticlockwise, the first point once.

        One tooth is centred on the x axis; no chord is farther than `chord` mm from its curve.
        """
        land, depth = _fillet_centre(self, self.thinning)
        depth -= self.shift * self.module
        middle = math.pi / self.teeth
        tip_angle = middle - self._half_angle(self._roll(self.tip_radius))

        def fillet(y: float) -> Points:
            # The tool's tip rounding, its centre at height y, touches where its normal runs
            # through the pitch point; the pinion has turned with the tool since mid-space.
            towards = np.array([-depth, y]) / math.hypot(depth, y)
            touch = (self.pitch_radius - depth, y) + self.profile.fillet * self.module * towards
            return _turned(touch, -(y - land) / self.pitch_radius)

        def flank(roll: float) -> Points:
            radius = self.base_radius * math.hypot(1.0, roll)
            return _polar(radius, middle - self._half_angle(roll))

        # From the middle of a space on the x axis up to the middle of the next tooth.
        pieces = [
            _sampled(partial(_polar, self.root_radius), 0.0, land / self.pitch_radius, chord)[:-1],
            _sampled(fillet, 0.0, depth / math.tan(self.alpha), chord)[:-1],
            _sampled(flank, self._roll_at_form, self._roll(self.tip_radius), chord)[:-1],
            _sampled(partial(_polar, self.tip_radius), tip_angle, middle, chord),
        ]
        lower = _turned(np.vstack(pieces), -middle)
        # Both ends lie on a mirror line: keep the tooth's middle once, the space's middle once.
        tooth = np.vstack([lower, (lower * (1.0, -1.0))[-2:0:-1]])
        steps = 2 * math.pi * np.arange(self.teeth) / self.teeth
        return np.vstack([_turned(tooth, step) for step in steps])

    @property
    def alpha(self) -> float:
        """Pressure angle, rad."""
        return math.radians(self.profile.pressure_angle)

    @property
    def _roll_at_form(self) -> float:
        """Roll angle, rad, where the straight flank of the tool ends."""
        round_off = self.profile.fillet * (1 - math.sin(self.alpha))
        depth = self.module * (self.profile.dedendum - round_off - self.shift)
        along = self.pitch_radius * math.sin(self.alpha) - depth / math.sin(self.alpha)
        return along / self.base_radius

    def _roll(self, radius: float) -> float:
        """Roll angle of the involute at `radius`, rad."""
        return math.sqrt(max(0.0, (radius / self.base_radius) ** 2 - 1))

    def _half_angle(self, roll: float) -> float:
        """Half the angle of a tooth at a roll angle, both rad."""
        slope = math.tan(self.alpha)
        thickness = self.pitch / 2 + 2 * self.shift * self.module * slope
        at_pitch = (thickness - self.thinning) / (2 * self.pitch_radius)
        # inv of the pressure angle whose tangent is t: t - atan t
        return at_pitch + (slope - math.atan(slope)) - (roll - math.atan(roll))


@dataclass(frozen=True)
class Rack:
    """The rack for `gear` along y, teeth towards −x: whole tooth spaces between solid lands; mm.

    The lowest of `spaces` tooth spaces is centred at y = `space_y`.  Each tooth is `thinning` mm
    thinner, half of it off either flank.
    """

    gear: Gear
    space_y: float
    spaces: int
    thinning: float = 0.0

    @classmethod
    def meshing(
        cls, gear: Gear, toothed: tuple[float, float], space_y: float = 0.0, thinning: float = 0.0
    ) -> Rack:
        """The rack for `gear` with teeth at least from `toothed[0]` to `toothed[1]`, y in mm.

        A space is centred at `space_y`, or would be if the teeth reached so far.  Every space is
        whole.  Raises ValueError for an empty interval.
        """
        low, high = toothed
        if not low < high:
            raise ValueError(f"no teeth between {low:g} and {high:g} mm")
        first = math.floor((low - space_y) / gear.pitch + 0.5)
        last = math.ceil((high - space_y) / gear.pitch - 0.5)
        return cls(gear, space_y + first * gear.pitch, last - first + 1, thinning)

    @property
    def tip_x(self) -> float:
        """Where the tips end, x in mm."""
        return self.gear.rack_line - self.gear.profile.addendum * self.gear.module

    @property
    def root_x(self) -> float:
        """Ground between the teeth, x in mm."""
        return self.gear.rack_line + self.gear.profile.dedendum * self.gear.module

    @property
    def toothed(self) -> tuple[float, float]:
        """Where the outline begins and ends along y, mm."""
        low = self.space_y - self.gear.pitch / 2
        return low, low + self.spaces * self.gear.pitch

    def outline(self, chord: float = CHORD) -> Points:
        """The rack seen from above: (n, 2) float, mm, anticlockwise, the first point once.

        Behind the roots it keeps a rim one module deep, to be joined to whatever carries it.
        """
        gear, line = self.gear, self.gear.rack_line
        alpha, radius = gear.alpha, gear.profile.fillet * gear.module
        land, depth = _fillet_centre(gear, self.thinning)
        half = self.gear.pitch / 4 + self.thinning / 2 + (line - self.tip_x) * math.tan(alpha)

        def fillet(angle: float) -> Points:
            return np.array([line + depth, land]) + _polar(radius, angle)

        rounding = _sampled(fillet, math.pi / 2 - alpha, 0.0, chord)
        upper = np.vstack([(self.tip_x, half), rounding])
        space = np.vstack([upper, (upper * (1.0, -1.0))[::-1]])  # about y = 0, downwards
        centres = self.space_y + self.gear.pitch * np.arange(self.spaces)[::-1]
        (low, high), back = self.toothed, self.root_x + RIM * gear.module
        start, stop = [(back, high), (self.tip_x, high)], [(self.tip_x, low), (back, low)]
        return np.vstack([start, *(np.add(space, (0.0, centre)) for centre in centres), stop])


def mesh_half_length(gear: Gear) -> float:
    """How far along the rack, to either side, its teeth reach into the pinion's tip circle, mm."""
    tip_line = gear.rack_line - gear.profile.addendum * gear.module
    return math.sqrt(gear.tip_radius**2 - tip_line**2)


def teeth_in_mesh(gear: Gear, toothed: tuple[float, float]) -> float:
    """How many pitches of a rack with teeth at y from, to (mm) lie between the pinion's teeth."""
    half = mesh_half_length(gear)
    return max(0.0, min(toothed[1], half) - max(toothed[0], -half)) / gear.pitch


def contact_ratio(gear: Gear) -> float:
    """Mean number of tooth pairs that touch: from memory (ISO 21771)."""
    base = gear.pitch_radius * math.sin(gear.alpha)
    recess = math.sqrt(gear.tip_radius**2 - gear.base_radius**2) - base
    approach = gear.module * (gear.profile.addendum - gear.shift) / math.sin(gear.alpha)
    return (recess + approach) / (gear.pitch * math.cos(gear.alpha))


def backlash(gear: Gear, rack_thinning: float = 0.0, apart: float = 0.0) -> float:
    """Play of the rack, mm, as thinned and `apart` mm too far away: 2·apart·tan α, from memory."""
    return gear.thinning + rack_thinning + 2 * apart * math.tan(gear.alpha)


def _fillet_centre(gear: Gear, thinning: float) -> tuple[float, float]:
    """Centre of a space's root fillet: from the space's middle, and below the line; mm."""
    profile, module = gear.profile, gear.module
    depth = module * (profile.dedendum - profile.fillet)
    half_space = gear.pitch / 4 + thinning / 2 - depth * math.tan(gear.alpha)
    return half_space - profile.fillet * module / math.cos(gear.alpha), depth


def _polar(radius: float, angle: float) -> Points:
    return radius * np.array([math.cos(angle), math.sin(angle)])


def _turned(points: Points, angle: float) -> Points:
    c, s = math.cos(angle), math.sin(angle)
    turned: Points = points @ np.array([[c, s], [-s, c]])
    return turned


def _sampled(curve: Callable[[float], Points], start: float, stop: float, chord: float) -> Points:
    """Points of `curve`, even in its parameter, as few as keep chords within `chord` of it."""
    pieces = 1
    while True:
        fine = np.array([curve(t) for t in np.linspace(start, stop, 2 * pieces + 1)])
        ends, middles = fine[::2], fine[1::2]
        off = float(np.linalg.norm(middles - (ends[:-1] + ends[1:]) / 2, axis=1).max())
        if off <= chord:
            return ends
        # A chord's distance from its curve falls with the square of their number.
        pieces = max(pieces + 1, int(pieces * math.sqrt(off / chord)))

"""Maps of the plane taken apart and fitted, and a jig as it was printed: where its holes come out.

target = matrix · source + shift, as in EPSG Guidance Note 7-2, methods 9624 (affine) and 9621
(similarity); of a print the shift says nothing.
"""

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import combinations
from typing import Literal, NamedTuple

import numpy as np

from jiggen.errors import InputError
from jiggen.measure.adjustment import Array

USUAL_CALIPER = 150.0  # mm that most calipers open; common practice, no source
CALIPER_SPARE = 2.0  # mm not counted on: a print may come out 1 % too large


class Stretch(NamedTuple):
    """An affine map taken apart: a distortion turned by `turn`; both angles in degrees."""

    scale_x: float  # how long a unit along x becomes
    scale_y: float  # negative where the map mirrors
    skew: float  # by which the y axis leans towards +x: 90 less the angle of the axes
    turn: float  # of the x axis, anticlockwise


def take_apart(matrix: Array) -> Stretch:
    """The map with that `matrix` (2, 2)."""
    x, y = matrix.T
    scale_x, scale_y = float(np.hypot(*x)), math.copysign(np.hypot(*y), np.linalg.det(matrix))
    skew = math.asin(x @ y / (scale_x * scale_y))
    return Stretch(scale_x, scale_y, math.degrees(skew), math.degrees(math.atan2(x[1], x[0])))


def distortion(scale_x: float, scale_y: float, skew: float) -> Array:
    """(2, 2) of a map that keeps the x axis's direction; `skew` in degrees."""
    lean = math.radians(skew)
    return np.array([[scale_x, scale_y * math.sin(lean)], [0.0, scale_y * math.cos(lean)]])


def nearest_map(source: Array, target: Array) -> Stretch:
    """The map that leads `source` (n, 2) nearest to `target` (n, 2), in mm, by least squares.

    Of points on one line that is a turn and one scale.  Raises InputError ``printer.points``
    unless two of them lie apart.
    """
    # about their middle: grid coordinates keep their last digits
    here, there = source - source.mean(axis=0), target - target.mean(axis=0)
    if np.linalg.svd(here, compute_uv=False)[-1] > 1.0:
        return take_apart(np.linalg.lstsq(here, there, rcond=None)[0].T)
    one, other = (at[:, 0] + 1j * at[:, 1] for at in (here, there))
    if not one.any():
        message = "the map needs two points apart from one another"
        raise InputError.of("printer.points", message, hint="Measure more holes.")
    ratio = np.vdot(one, other) / np.vdot(one, one)
    return take_apart(np.array([[ratio.real, -ratio.imag], [ratio.imag, ratio.real]]))


@dataclass(frozen=True, eq=False)
class Body:
    """One printed body: its `holes`, their places `at` (n, 2) in the ski frame, mm.

    `turn` (2, 2) leads directions on the bed to the ski; it mirrors: bodies are printed top down.
    """

    name: str
    holes: tuple[str, ...]
    at: Array
    turn: Array


class Notched(NamedTuple):
    """A length of a body between two outside faces that stand across the way it is measured.

    `limits` are by how many mm it may be off to be used, and to be scaled and printed again.
    """

    body: str
    direction: Literal["along", "across"]
    nominal: float
    limits: tuple[float, float]
    words: str

    def of(self, print_: Array) -> float:
        """How long it is, mm, in a print that the layout is led to by `print_` (2, 2)."""
        other = print_[:, 1 if self.direction == "along" else 0]
        return float(self.nominal * abs(np.linalg.det(print_)) / np.hypot(*other))

    def verdict(self, value: float) -> Literal["use", "scale", "reprint"]:
        """What a reading of `value` mm says by itself, as the sheet has it."""
        off, (accept, reprint) = abs(value - self.nominal), self.limits
        return "use" if off <= accept else "scale" if off <= reprint else "reprint"


@dataclass(frozen=True, eq=False)
class Rigid:
    """What two stations centre as one: a whole jig, or one half of a jig for many boots.

    `bodies` are one, or that at the toe before that at the heel; `stations` the x of its stations.
    `sights` (x, y) may be set on the mounting mark: the middle of the line in the windows, or the
    ladder's line for the longest boot and then the outermost of each of its rows.  All in mm in the
    ski frame, a half as it lies for the longest boot.
    """

    bodies: tuple[Body, ...]
    stations: tuple[float, float]
    sights: tuple[tuple[float, float], ...] = ((0.0, 0.0),)

    @property
    def holes(self) -> tuple[str, ...]:
        """Its holes, body by body."""
        return tuple(hole for body in self.bodies for hole in body.holes)

    def places(self, prints: Array, joint: Array, way: int, own: Array | float = 0.0) -> Array:
        """(n, 2) where its holes are with sight `way` on the mark, as `PrintedJig.places`.

        `prints` (b, 2, 2) lead from the ski to each print, not yet turned; `joint` is (3,) or (0,);
        `own` (n, 2) is how far each hole lies off its place in the layout, mm.
        """
        # what should run across the ski, the joint and the line, does so
        shapes = [_turned(np.arctan2(*one[:, 1])) @ one for one in prints]
        sight = np.array(self.sights[min(way, len(self.sights) - 1)])
        gap, offset, bend = joint if len(joint) else np.zeros(3)

        def carried(points: Array, number: int) -> Array:
            """Points of a body in the joint's frame, half of the joint to either body."""
            side = 0.5 - number
            turned = _turned(side * np.radians(bend)) @ shapes[number]
            return np.asarray((points - sight) @ turned.T + side * np.array([gap, offset]))

        last = len(self.bodies) - 1
        stations = [carried(np.array([x, 0.0]), 0 if x > 0 else last) for x in self.stations]
        rear, front = sorted(stations, key=lambda at: float(at[0]))
        back = _turned(-np.arctan2(*(front - rear)[::-1]))
        at = np.vstack([body.at for body in self.bodies]) + own
        ends = np.cumsum([len(body.holes) for body in self.bodies])[:-1]
        parts = enumerate(np.split(at, ends))
        placed = np.vstack([carried(part, number) for number, part in parts])
        return np.asarray(placed @ back.T + (sight[0], -(back @ rear)[1]))


@dataclass(frozen=True, eq=False)
class PrintedJig:
    """A jig as it was sent to the printer: one rigid whole, or halves loose from each other.

    `drills` are the holes' in mm, `matrix` (2, 2) what bed coordinates were multiplied by,
    `lengths` what the caliper takes on its bodies; `bores` are the diameters of the holes' pockets,
    which open at the top of a body, `throats` those below.
    """

    name: str
    rigid: tuple[Rigid, ...]
    drills: tuple[float, ...]
    matrix: Array
    lengths: tuple[Notched, ...] = ()
    bores: tuple[float, ...] = ()
    throats: tuple[float, ...] = ()

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """All bodies."""
        return tuple(body for one in self.rigid for body in one.bodies)

    @property
    def holes(self) -> tuple[str, ...]:
        """All holes, body by body."""
        return tuple(hole for body in self.bodies for hole in body.holes)

    @property
    def ways(self) -> int:
        """How many ways there are to set it on the mark that bound all others."""
        return max(len(one.sights) for one in self.rigid)

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """All pairs of holes whose distance the print has in it."""
        return tuple(pair for one in self.rigid for pair in combinations(one.holes, 2))

    def apart(self, pair: tuple[str, str]) -> Array:
        """(2,) how far the first hole of a pair is from the second in the layout, in mm."""
        one, other = (self.asked[self.holes.index(hole)] for hole in pair)
        return np.asarray(one - other)

    def over_pins(self, pair: tuple[str, str]) -> float:
        """What a caliper shows over pins in two holes of a true print, mm."""
        drills = dict(zip(self.holes, self.drills, strict=True))
        return float(np.hypot(*self.apart(pair))) + sum(drills[hole] for hole in pair) / 2

    def within(self, reach: float) -> tuple[tuple[str, str], ...]:
        """The `pairs` that a caliper of `reach` mm spans, over pins in them."""
        return tuple(pair for pair in self.pairs if self.over_pins(pair) <= reach - CALIPER_SPARE)

    @property
    def asked(self) -> Array:
        """(n, 2) where the layout has the holes; mm, ski frame; that of the longest boot."""
        return np.vstack([body.at for body in self.bodies])

    @property
    def size(self) -> int:
        """How many parameters `places` takes: three a body, three more for a joint."""
        return 3 * (len(self.bodies) + any(len(one.bodies) > 1 for one in self.rigid))

    def prints(self, parameters: Array) -> Array:
        """(b, 2, 2) what leads from the layout to the print of each body, both in the ski frame."""
        own = parameters[: 3 * len(self.bodies)].reshape(-1, 3)
        pairs = zip(self.bodies, own, strict=True)
        return np.array([b.turn @ distortion(*one) @ self.matrix @ b.turn.T for b, one in pairs])

    def places(self, parameters: Array, way: int = 0) -> Array:
        """(n, 2) where the holes are in use, in mm in the ski frame.

        `parameters` are scales and skew (degrees) of each body's printer, then of the joint the gap
        along the ski and the toe body's offset to the left in mm and its bend to the left in
        degrees; after those `size` perhaps how far each hole lies by itself off its place in its
        body, (n, 2) in mm.  How far the holes of a half with a ladder are off is computed for the
        boot of its sight `way`, and added to where the longest boot has them.
        """
        joint, prints = parameters[3 * len(self.bodies) : self.size], self.prints(parameters)
        own = parameters[self.size :].reshape(-1, 2)
        own = own if len(own) else np.zeros((len(self.holes), 2))
        ends = np.cumsum([len(one.bodies) for one in self.rigid])[:-1]
        last = np.cumsum([len(one.holes) for one in self.rigid])[:-1]
        parts = zip(self.rigid, np.split(prints, ends), np.split(own, last), strict=True)
        return np.vstack([one.places(part, joint, way, each) for one, part, each in parts])


def _turned(angle: float) -> Array:
    """(2, 2) a turn anticlockwise by `angle` in radians."""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([[c, -s], [s, c]])

"""How far a jig gives way under the hand when the depth stop comes down on a bush.

The jig is a beam along the ski: its sections (`stiffness`) bend, shear and twist, and stand on
springs, the columns of plastic over each strip, that only press.  Where the relieved underside
comes down on the ski it is held as well.  The ski is stiff, and flat or bent along.  Across it,
between the strips, the body near a hole bends as a long plate on two edges.  Clamps are left out on
a flat ski: they only help, and by less than a beam says.

**Sag** is how much nearer the ski the bush has come, and so how much deeper the hole is; **tilt**
is the bush's lean.  A beam element's stiffness with shear is that of J. S. Przemieniecki, "Theory
of Matrix Structural Analysis" (1968), from memory.  Frame: w up, θ = dw/dx, and φ = dw/dy.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

from jiggen.accuracy.sections import Array
from jiggen.accuracy.stiffness import Feet, Mask, Pieces, cut_across
from jiggen.design import Design
from jiggen.errors import Finding
from jiggen.tables import material, materials

SAG, TILT = 0.15, 0.1  # mm and degrees under the most thrust: the aim of the project
# N, of each clamp on a bent ski: far less than a bar clamp gives (common practice, no source).
CLAMP = 100.0
BENT_OVER = 180.0  # mm either way, that a ski's bend is stated over
# A long plate on two edges under one load in its middle sinks by 0.01695·P·s²/D (Timoshenko and
# Woinowsky-Krieger, "Theory of Plates and Shells", from memory): as a beam this many spans wide.
PLATE_SPANS = 1 / (48 * 0.01695)
WEAK = 0.3  # of the bending stiffness at a hole: where a section has less the plate ends
ROUNDS = 60  # of contact, at most
STIFFER = "A stiffer material, a thicker body or another bed gives way less."

Active = tuple[Mask, ...]


@dataclass(frozen=True, eq=False)
class Give:
    """How a jig gives way at each hole, (n,): `sag` in mm, `lean` (n, 2) in rad.

    The lean is that of the ski's surface against the jig along the ski and across.
    """

    sag: Array
    lean: Array

    @property
    def tilt(self) -> Array:
        """The bush's lean in degrees, (n,)."""
        return np.asarray(np.degrees(np.hypot(*self.lean.T)))


@lru_cache(maxsize=8)
def beam_of(design: Design) -> "Beam":
    """The beam of a design."""
    return Beam(cut_across(design))


@lru_cache(maxsize=8)
def _by_themselves(design: Design) -> tuple[Design, ...]:
    """Each body of a jig whose bodies are used one after the other."""
    return tuple(replace(design, bodies=(b,), stations=b.stations) for b in design.bodies)


@lru_cache(maxsize=64)
def find_give(design: Design, thrust: float, convex: float | None = None) -> Give:
    """How `design` gives way under `thrust` N on each bush: loose on a flat ski, or clamped.

    It is clamped on a ski that is `convex` mm lower at BENT_OVER from the mounting mark than
    there; below zero the ski is hollow.
    """
    if len(design.bodies) > 1 and not design.joint:  # each is used by itself
        gives = [(one, find_give(one, thrust, convex)) for one in _by_themselves(design)]
        rows = {
            guide.id: row
            for one, give in gives
            for guide, *row in zip(one.guides, give.sag, give.lean, strict=True)
        }
        sags, leans = zip(*(rows[hole] for hole in design.layout.ids), strict=True)
        return Give(np.array(sags), np.array(leans))
    beam = beam_of(design)
    x = beam.pieces.nodes
    surface = -(convex or 0.0) * (x / BENT_OVER) ** 2
    clamps = beam.loads((*place, CLAMP * (convex is not None)) for place in design.clamps)
    found = []
    for guide in design.guides:
        node = beam.node_at(guide.x)
        moved = beam.settle(clamps + beam.loads([(guide.x, guide.y, thrust)]), surface)
        down, slope = beam.across(node, guide.y, thrust)
        w, along, across = moved[node]
        ski = -2 * (convex or 0.0) * x[node] / BENT_OVER**2
        found.append((surface[node] - w - guide.y * across + down, along - ski, across + slope))
    sag, *lean = np.array(found).T
    return Give(sag, np.column_stack(lean))


def weak_holes(design: Design, thrust: float) -> tuple[Finding, ...]:
    """``accuracy.sag`` and ``accuracy.tilt`` for holes at which `design` gives way too far."""
    give, found = find_give(design, thrust), []
    # It gives way by so much less as the plastic is stiffer.
    needed = material(design.settings.material).modulus.low * max(
        float(give.sag.max()) / SAG, float(give.tilt.max()) / TILT
    )
    stiff = ", ".join(row.name for row in materials() if row.modulus.low >= needed)
    hint = (
        f"{stiff}: stiff enough. So may a thicker body be, or a larger bed." if stiff else STIFFER
    )
    keys = "material, body, bed"
    for hole, sag, tilt in zip(design.layout.ids, give.sag, give.tilt, strict=True):
        pressed = f"hole {hole}: pressed with {thrust:g} N on its bush the jig"
        if sag > SAG:
            message = f"{pressed} sinks by {sag:.2f} mm; {SAG:g} mm is the most"
            found.append(Finding("accuracy.sag", message, key=keys, hint=hint))
        if tilt > TILT:
            message = f"{pressed} tilts by {tilt:.2f}°; {TILT:g}° is the most"
            found.append(Finding("accuracy.tilt", message, key=keys, hint=hint))
    return tuple(found)


class Beam:
    """A beam of `pieces` on its feet.  Movements are (nodes, 3): w in mm, θ and φ in rad."""

    def __init__(self, pieces: Pieces) -> None:
        self.pieces = pieces
        length, ei = np.diff(pieces.nodes), pieces.bending
        soft = 12 * ei / (pieces.shear * length**2)
        factor = ei / ((1 + soft) * length**3)
        two = 6 * length
        # By element the rows w, θ of one end and of the other.
        own = np.zeros((len(length), 6, 6))
        own[:, 0, 0] = own[:, 3, 3] = 12.0
        own[:, 0, 3] = -12.0
        own[:, 0, 1] = own[:, 0, 4] = two
        own[:, 1, 3] = own[:, 3, 4] = -two
        own[:, 1, 1] = own[:, 4, 4] = (4 + soft) * length**2
        own[:, 1, 4] = (2 - soft) * length**2
        own *= factor[:, None, None]
        own[:, 2, 2] = own[:, 5, 5] = pieces.torsion / length
        own[:, 2, 5] = -pieces.torsion / length
        self._bands = np.zeros((6, 3 * len(pieces.nodes)))
        first = 3 * np.arange(len(length))
        for row, column in zip(*np.triu_indices(6), strict=True):
            # Each node is an end of two pieces: never twice in one line.
            self._bands[5 + row - column, first + column] += own[:, row, column]

    def node_at(self, x: float) -> int:
        """The node nearest to `x` mm."""
        return int(np.abs(self.pieces.nodes - x).argmin())

    def loads(self, forces: Iterable[tuple[float, float, float]]) -> Array:
        """Forces at x and y, each so many N down, as loads on the nodes (nodes, 3)."""
        total = np.zeros((len(self.pieces.nodes), 3))
        for x, y, force in forces:
            total[self.node_at(x)] -= (force, 0.0, force * y)
        return total

    def settle(self, loads: Array, surface: Array) -> Array:
        """How it comes to rest on a ski's `surface` (nodes,), mm.

        Feet that pull are taken away, and those added that would go into the ski, until there
        are none.  Raises RuntimeError where that does not end: a defect of ours.
        """
        there = active = tuple(feet.stiffness > 0 for feet in self.pieces.feet)
        active = (there[0], np.zeros_like(there[1]))  # it stands on its strips at first
        for _ in range(ROUNDS):
            moved = self._solve(loads, surface, active)
            pressed = tuple(
                on & (self._depth(feet, moved, surface) > 0)
                for on, feet in zip(there, self.pieces.feet, strict=True)
            )
            if all((a == b).all() for a, b in zip(pressed, active, strict=True)):
                return moved
            active = pressed
        raise RuntimeError("no rest was found for the jig on the ski")

    def _depth(self, feet: Feet, moved: Array, surface: Array) -> Array:
        """How deep each foot stands in the ski, (nodes, 2) mm."""
        foot = moved[:, :1] + feet.y * moved[:, 2:] + feet.gap
        return np.asarray(surface[:, None] - foot)

    def _solve(self, loads: Array, surface: Array, active: Active) -> Array:
        from scipy.linalg import solveh_banded

        bands, right = self._bands.copy(), loads.copy()
        for feet, on in zip(self.pieces.feet, active, strict=True):
            k = np.where(on, feet.stiffness, 0.0)
            bands[5, 0::3] += k.sum(axis=1)
            bands[5, 2::3] += (k * feet.y**2).sum(axis=1)
            bands[3, 2::3] += (k * feet.y).sum(axis=1)
            push = k * (surface[:, None] - feet.gap)
            right[:, 0] += push.sum(axis=1)
            right[:, 2] += (push * feet.y).sum(axis=1)
        return np.asarray(solveh_banded(bands, right.ravel())).reshape(-1, 3)

    def across(self, node: int, y: float, force: float) -> tuple[float, float]:
        """How far the body gives way across the ski at a hole, mm, and its slope there, rad.

        Between the strips' edges, a to the right of the hole and b to its left: as a beam on two
        ends, F·a²b²/3EIs by bending, F·ab/Gs by shear, F·ab(a - b)/3EIs, as wide as the plate.
        """
        pieces, bending = self.pieces, self.pieces.bending
        at = max(node - 1, 0)
        low, high = at, min(node, len(bending) - 1)
        least = WEAK * max(bending[low], bending[high])
        while low > 0 and bending[low - 1] > least:
            low -= 1
        while high + 1 < len(bending) and bending[high + 1] > least:
            high += 1
        middle = pieces.nodes[node]

        def within(reach: float) -> Array:
            ends = np.clip(pieces.nodes[low : high + 2], middle - reach, middle + reach)
            return np.diff(ends)

        edges = pieces.inner[low : high + 1][within(2 * pieces.width / 5) > 0]
        if not np.isfinite(edges).any(axis=0).all():
            return 0.0, 0.0
        right, left = np.nanmin(edges[:, 0]), np.nanmax(edges[:, 1])
        span, a, b = left - right, y - right, left - y
        if min(a, b) <= 0:
            return 0.0, 0.0
        width = within(PLATE_SPANS * span / 2)
        own, shear = (
            float(width @ stiff[low : high + 1]) / pieces.width for stiff in (bending, pieces.shear)
        )
        share = force / (3 * own * span)
        return share * a**2 * b**2 + force * a * b / (span * shear), share * a * b * (a - b)

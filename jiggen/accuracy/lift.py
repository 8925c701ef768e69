"""The force by which pressed noses lift a jig off a ski whose sides are not upright.

A wedge: the mechanism presses each nose inwards with F, and the side, sloped by β off upright,
presses back square to itself with N; about to slip upwards and inwards, the nose is held back by
friction μN along the side.  Level and upright forces balance when

    F = N·(cos β + μ·sin β)        lift = N·(sin β - μ·cos β) = F·tan(β - φ),  tan φ = μ

(wedges and the angle of friction: J. L. Meriam and L. G. Kraige, Engineering Mechanics: Statics,
chapter on friction, from memory).  Below φ, about 14°, friction alone holds the jig.  The sum of
all noses, less the jig's weight, must be pressed down until the clamps hold it.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass

from jiggen.accuracy.centring import Loading
from jiggen.design import Design, Settings
from jiggen.design.pieces import list_pieces
from jiggen.design.sidewall import slope_at
from jiggen.errors import Finding
from jiggen.record.results import HoldDown, Plastic

GRAVITY = 9.80665  # m/s², standard
NOSES = 4  # on a ski at a time: two at each of two stations
# N that a light spring clamp, or a hand beside the turning one, holds down all the while: common
# practice, no source.
HELD = 40.0


@dataclass(frozen=True)
class Lift:
    """How a jig is lifted: the side's `slope` in degrees where noses touch, `force` in N."""

    slope: float
    force: float
    findings: tuple[Finding, ...]


def lift_force(slope: float, noses: int, loading: Loading) -> float:
    """By how many N `noses` lift the jig from sides that slope by so many degrees; 0 or more."""
    angle = math.radians(slope) - math.atan(loading.friction)
    return noses * loading.force * math.tan(max(0.0, angle))


def force_on(settings: Settings) -> float:
    """By how many N a jig made by `settings` is lifted."""
    slope = slope_at(settings.sidewall, settings.rail_depth)
    return lift_force(slope, NOSES, Loading())


def find_lift(settings: Settings) -> Lift:
    """The lift of a jig made by `settings`, and ``accuracy.lift`` if it is beyond HELD."""
    pressed, force = Loading(), force_on(settings)
    slope = slope_at(settings.sidewall, settings.rail_depth)
    if force <= HELD:
        return Lift(slope, force, ())
    most = math.degrees(math.atan(HELD / NOSES / pressed.force) + math.atan(pressed.friction))
    finding = Finding(
        "accuracy.lift",
        f"the noses lift the jig by {force:.0f} N on a side sloped {slope:.0f}° where they touch; "
        f"a light clamp holds {HELD:g} N",
        key="sidewall",
        hint=f"Sides sloped up to {math.floor(most)}° are served.",
    )
    return Lift(slope, force, (finding,))


def hold_down(designs: Iterable[Design], plastic: Plastic) -> HoldDown:
    """What holds down the lightest of a jig's `designs`, each used by itself, printed as advised.

    What is bought for it is left out of its weight.
    """
    pressed, mass = Loading(), {part.name: part.printed for part in plastic.parts}

    def grams(design: Design) -> float:
        return sum(len(piece.placed) * mass[piece.name] for piece in list_pieces(design))

    lightest = min(designs, key=grams)
    lift, weight = find_lift(lightest.settings), grams(lightest) / 1000 * GRAVITY
    return HoldDown(
        slope=round(lift.slope, 3),
        force=pressed.force,
        friction=pressed.friction,
        lift=round(lift.force, 2),
        weight=round(weight, 2),
        press=round(max(0.0, lift.force - weight), 2),
    )

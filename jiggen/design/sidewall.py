"""A ski's side seen across it: how steep it is, and how wide the ski is, at any height.

**Where a ski's width is measured**: the rails' depth below its top sheet, at the foot of their
noses.  There an upright nose touches a side that is wider at the base, and nowhere else.

A `Sidewall` is upright, or sloped by so many degrees off upright, wider at the base, or rounded:
a quarter of a circle from the level top sheet down, upright below it.
"""

import math
from typing import Literal

from jiggen.errors import InputError

Sidewall = Literal["upright", "rounded"] | float
"""The side, or degrees off upright."""

STEEPEST = 45.0  # degrees off upright: beyond it a side is a top sheet (our choice)
RADIUS = 10.0  # mm, of a rounded side: common practice, no source
SETTLED = 0.1  # mm that a strip's edge may lie below the level top sheet and still carry
BEARING = 4.0  # mm of a strip on the top sheet that carry the jig: common practice, no source


def check_sidewall(side: Sidewall) -> None:
    """Raise InputError for a slope that no side has."""
    if isinstance(side, float | int) and not 0 <= side <= STEEPEST:
        raise InputError.of(
            "design.setting",
            f"the side is sloped {side:g}° off upright",
            key="sidewall",
            hint=f"Allowed: upright, rounded, or 0 to {STEEPEST:g}.",
        )


def slope_at(side: Sidewall, depth: float) -> float:
    """Degrees off upright of the side `depth` mm below the top sheet."""
    if side == "rounded":
        return math.degrees(math.asin(max(0.0, 1 - depth / RADIUS)))
    return 0.0 if side == "upright" else float(side)


def run_out(side: Sidewall, depth: float) -> float:
    """How much further out a side is `depth` mm below the top sheet than at its edge there, mm."""
    if side == "rounded":
        return math.sqrt(RADIUS**2 - max(0.0, RADIUS - depth) ** 2)
    return depth * math.tan(math.radians(slope_at(side, depth)))


def bearing_half_width(side: Sidewall, depth: float, width: float) -> float:
    """Half the width in mm of what carries on a ski of `width`, measured at `depth`; mm."""
    settled = run_out(side, SETTLED) if side == "rounded" else 0.0
    return width / 2 - run_out(side, depth) + settled


def compare_widths(side: Sidewall, depth: float, thickness: float) -> tuple[float, float]:
    """How much wider a ski is at `depth` than at its top sheet, and than at its base; mm."""
    here = run_out(side, depth)
    return 2 * here, 2 * (here - run_out(side, thickness))

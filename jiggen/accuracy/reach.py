"""The narrowest and the widest ski that the parts of a jig really serve, not those asked for.

Drawn in, the rails' legs stop on the body; pressed, a rail gives way, so its leg stands nearer
to the body than half the ski's width says, and its teeth further in, by `centring.bend`.
"""

import math
from dataclasses import dataclass
from typing import Literal

from jiggen.accuracy.centring import Loading, bend
from jiggen.accuracy.sweep import LEAST_GAP
from jiggen.design import Design, Settings
from jiggen.errors import Finding
from jiggen.tables import material

ROUNDS = 8  # a rail gives a little less on a narrower ski: settled to a hundredth of a micron
WHY = {
    "body": "pressed rails stop on the body",
    "teeth": "the racks' teeth end too soon",
    "rack": "a rack stands in the way of a clamp",
}
STEEL_EDGE = 3.0  # mm of a ski's side that are its steel edge and base: common practice, no source
By = Literal["body", "teeth", "rack"]


@dataclass(frozen=True)
class Reach:
    """Ski widths `least` to `most`, noses pressed; as drawn the legs touch the body at `stop`; mm.

    What ends it below is `by` the body in the legs' way, teeth out of mesh, or a rack that stands
    out past the other rail's flat, in the way of a clamp.
    """

    least: float
    most: float
    stop: float
    by: By
    findings: tuple[Finding, ...]


def find_reach(design: Design) -> Reach:
    """The reach of `design`, and ``accuracy.reach`` where it is less than what was asked for."""
    rail, ski = design.mechanism.rail, design.settings.ski
    pressed = Loading(modulus=material(design.settings.material).modulus.low)
    low, high = design.full_mesh

    def with_give(width: float) -> float:
        served = width
        for _ in range(ROUNDS):
            served = width + 2 * bend(rail, design.half_width, served, pressed)
        return served

    # The legs' flats stand `outer_y` outside half the ski's width, racks end `reach` inside it.
    ends: dict[By, float] = {
        "body": with_give(design.stop),
        "teeth": with_give(low),
        "rack": rail.reach - rail.outer_y + LEAST_GAP,
    }
    by = max(ends, key=lambda name: ends[name])
    least = ends[by]
    finding = Finding(
        "accuracy.reach",
        f"the parts serve skis from {least:.1f} mm, below that {WHY[by]}; {ski.least:g} mm were "
        "asked for",
        key="ski" if by == "rack" else "ski, rail-depth, material",
        hint="A narrower range of skis helps."
        if by == "rack"
        else "A wider narrowest ski, shallower rails or a stiffer material helps.",
    )
    return Reach(least, high, design.stop, by, (finding,) if least > ski.least else ())


def too_deep(settings: Settings, thickness: tuple[float, ...]) -> tuple[Finding, ...]:
    """``accuracy.rail-depth`` where rails meet the steel edge of a ski of this `thickness`, mm."""
    most = min(thickness, default=math.inf) - STEEL_EDGE
    finding = Finding(
        "accuracy.rail-depth",
        f"the rails' noses reach {settings.rail_depth:g} mm below the top sheet, to the steel edge "
        f"of a ski {min(thickness, default=0.0):g} mm thick",
        key="rail-depth",
        hint=f"Rails up to {max(most, 0.0):g} mm deep touch its side alone.",
    )
    return (finding,) if settings.rail_depth > most else ()

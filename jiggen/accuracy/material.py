"""What the plastic that a jig is printed in does to its holes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jiggen.accuracy.centring import Loading, bend
from jiggen.design import Design
from jiggen.tables.materials import USUAL, Material, Span, material

COLDER = 30.0  # °C, from a workshop at 20 to a car at -10 (common practice, no source)


@dataclass(frozen=True)
class Movement:
    """How far a hole `reach` mm from the mounting mark moves with a plastic, in mm.

    `shrinkage`, least and most, if the print is not corrected for it; `cold` when it is COLDER
    than it was when it was measured; `swelling`, least and most, as it takes up moisture, None
    where that is slight.  All towards or away from the mark; the ski's own growth is left out.
    """

    reach: float
    shrinkage: tuple[float, float]
    cold: float
    swelling: tuple[float, float] | None


@dataclass(frozen=True)
class Effects:
    """What its plastic does to one jig.

    `hole` is the farthest from the mounting mark, and moves by `movement`; `bend` is how far a
    rail's nose gives way in mm under the `force` in N that is assumed, on the widest ski.
    """

    hole: str
    movement: Movement
    bend: float
    force: float


def movement(plastic: Material, reach: float) -> Movement:
    """How far a hole `reach` mm from the mounting mark moves with `plastic`."""
    return Movement(
        reach=reach,
        shrinkage=_part(plastic.shrinkage, reach),
        cold=plastic.expansion.high * 1e-6 * COLDER * reach,
        swelling=_part(plastic.swelling, reach) if plastic.swelling else None,
    )


def _part(per_cent: Span, reach: float) -> tuple[float, float]:
    return per_cent.low * reach / 100, per_cent.high * reach / 100


def softness(plastic: Material) -> float:
    """How much more than one of the usual plastic a rail bends: the moduli's least, compared."""
    return material(USUAL).modulus.low / plastic.modulus.low


def effects(design: Design) -> Effects:
    """What the plastic of `design` does to it.  Raises InputError for one that is not listed."""
    reaches = np.hypot(*design.layout.positions.T)
    farthest = int(reaches.argmax())
    loading = Loading.on(design.settings.material)
    most = design.settings.ski.most
    return Effects(
        hole=design.layout.ids[farthest],
        movement=movement(material(design.settings.material), float(reaches[farthest])),
        bend=bend(design.mechanism.rail, design.half_width, most, loading),
        force=loading.force,
    )

"""What the plastic that a jig is printed in does to its holes."""

from __future__ import annotations

import numpy as np

from jiggen.accuracy.centring import Loading, bend
from jiggen.design import Design
from jiggen.record.results import Movement, PlasticEffects
from jiggen.tables.materials import USUAL, Material, Span, material

COLDER = 30.0  # °C, from a workshop at 20 to a car at -10 (common practice, no source)


def find_movement(plastic: Material, reach: float) -> Movement:
    """How far a hole `reach` mm from the mounting mark moves with `plastic`, in mm.

    By its shrinkage, least and most, if the print is not corrected for it; when it is COLDER than
    it was when it was measured; by swelling with moisture, None where that is slight.  All towards
    or away from the mark; the ski's own growth is left out.
    """
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


def find_effects(design: Design) -> PlasticEffects:
    """What the plastic of `design` does to its farthest hole, and to a rail on the widest ski.

    Raises InputError for a plastic that is not listed.
    """
    reaches = np.hypot(*design.layout.positions.T)
    farthest = int(reaches.argmax())
    loading = Loading.on(design.settings.material)
    most = design.settings.ski.most
    return PlasticEffects(
        hole=design.layout.ids[farthest],
        movement=find_movement(material(design.settings.material), float(reaches[farthest])),
        bend=bend(design.mechanism.rail, design.half_width, most, loading),
        force=loading.force,
        colder=COLDER,
    )

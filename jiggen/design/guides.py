"""What guides the drill at each hole: a press-fit bush in its pocket, or the print itself.

A pocket, from below (ski frame)::

    relief ── throat ── square ── bridge ── seat ═══ bore ═══ lead-in ── top of body

The throat clears drill and chips; the bridge is one slot-shaped layer whose two chords carry
the seat when the body is printed top down, so the bush rests on a flat, square ledge and can
neither fall through nor ride on the ski.  One square layer rests on the chords and carries the
round throat: nothing is printed in the air.
"""

import math
from dataclasses import dataclass, replace
from itertools import compress

import numpy as np

from jiggen.advice import LAYER, whole_layers
from jiggen.design.settings import Bush, Settings
from jiggen.errors import InputError
from jiggen.layout import Layout, off_ski
from jiggen.tables import bush_for

THROAT_HEIGHT = 1.0  # mm, of the round throat at least; no feature is thinner
BRIDGE_HEIGHT = LAYER  # of the bridge and of the square: one printed layer each
SEAT_LEDGE = 0.9  # mm the bush rests on, least
LEAD_IN = 0.5  # mm at 45°, at the top


@dataclass(frozen=True)
class Guide:
    """One hole's guide; x, y and heights in the ski frame, diameters, all mm.

    `bush` is None where the print guides the drill; then bore and throat are one diameter.
    `throat_z` is where the throat is round; the square reaches from there to the bridge.
    `bush_top_z` is the height of the surface a depth stop comes down on.
    """

    id: str
    x: float
    y: float
    drill: float
    bush: Bush | None
    bore: float
    throat: float
    throat_z: tuple[float, float]
    seat_z: float
    top_z: float
    bush_top_z: float
    lead_in: float = LEAD_IN

    @property
    def radius(self) -> float:
        """Radius of the widest part but the lead-in, in mm."""
        return self.bore / 2

    @property
    def bore_z(self) -> tuple[float, float]:
        """Heights in mm between which the bore is a plain cylinder."""
        return (self.seat_z, self.top_z - self.lead_in)


def design_guides(layout: Layout, settings: Settings) -> tuple[Guide, ...]:
    """One guide per hole of `layout`. Raises InputError when a bush does not fit the body."""
    columns = (layout.positions.tolist(), layout.diameters.tolist())
    return tuple(
        _guide(hole, x, y, drill, settings)
        for hole, (x, y), drill in zip(layout.ids, *columns, strict=True)
    )


def refuse_off_ski(layout: Layout, settings: Settings) -> None:
    """Raise InputError ``layout.off-ski`` for holes that are not on the narrowest ski."""
    if found := off_ski(layout, settings.ski.least):
        raise InputError(found)


def _guide(hole: str, x: float, y: float, drill: float, settings: Settings) -> Guide:
    top, floor = settings.body, settings.relief
    # Printed top down: steps lie whole layers from the top.
    ledge = top - _layers(settings) - BRIDGE_HEIGHT
    if settings.bush == "none":
        bore = drill + settings.guide_clearance + settings.hole_fit
        return Guide(hole, x, y, drill, None, bore, bore, (floor, ledge), ledge, top, top)
    bush = settings.bush if isinstance(settings.bush, Bush) else _choose(hole, drill, settings)
    throat_z, seat_z = (floor, ledge - BRIDGE_HEIGHT), ledge + BRIDGE_HEIGHT
    bore = bush.outside + settings.bush_fit
    throat = min(bore - 2 * SEAT_LEDGE, max(drill + 1.0, 1.2 * drill) + settings.hole_fit)
    if throat - settings.hole_fit < drill + 0.4:
        raise InputError.of(
            "design.bush-thin",
            f"hole {hole}: a bush of {bush.outside:g} mm outside leaves no seat around "
            f"a {drill:g} mm drill",
            key="bush",
            hint=f"Choose a bush of at least {drill + 2 * SEAT_LEDGE + 0.4:.1f} mm outside.",
        )
    bush_top = max(top, seat_z + bush.length)
    return Guide(hole, x, y, drill, bush, bore, throat, throat_z, seat_z, top, bush_top)


def _layers(settings: Settings) -> float:
    """From the body's top down to a bush's seat: the whole layers that the throat leaves, mm."""
    return whole_layers(settings.body - settings.relief - THROAT_HEIGHT - 2 * BRIDGE_HEIGHT)


def _choose(hole: str, drill: float, settings: Settings) -> Bush:
    """The DIN 179 bush for the drill nearest to flush with the body."""
    row = bush_for(drill)
    depth = _layers(settings)
    # Flush or a little proud guides the stop; a bush standing far out would be knocked loose.
    fitting = [n for n in row.lengths if n <= depth + 1.0]
    if not fitting:
        shortest = min(row.lengths)
        raise InputError.of(
            "design.bush-long",
            f"hole {hole}: the shortest bush for a {drill:g} mm drill is {shortest:g} mm long; "
            f"the body holds {depth:.1f} mm",
            key="body",
            hint=f"Choose a body of {math.ceil(settings.body + shortest - depth)} mm, "
            "or state the bush in hand.",
        )
    return Bush(row.outside, max(fitting))


def layout_part(layout: Layout, guides: tuple[Guide, ...]) -> Layout:
    """The part of `layout` that `guides` drill: the text on a body names its holes only."""
    keep = np.isin(layout.ids, [guide.id for guide in guides])
    if keep.all() or not keep.any():
        return layout
    return replace(
        layout,
        ids=tuple(compress(layout.ids, keep)),
        groups=tuple(compress(layout.groups, keep)),
        positions=layout.positions[keep],
        diameters=layout.diameters[keep],
        depths=layout.depths[keep],
    )

"""The ski at any x, from the few places where it was measured; mm."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from jiggen.layout import Layout

Array = NDArray[np.float64]


def thickness_at_holes(layout: Layout, measured: Sequence[float]) -> Array | None:
    """Thickness in mm at each hole, (n,) float, from one or two `measured`; None from none.

    Two values stand at the centres (mean x) of the foremost and the rearmost group, with a
    straight line between.  Past them the ski counts as no thicker than either the line or the
    nearer value, since it may thin out again.  With one group, the lesser value holds.
    """
    if not measured:
        return None
    x, groups = layout.positions[:, 0], np.array(layout.groups)
    centres = [float(x[groups == group].mean()) for group in dict.fromkeys(layout.groups)]
    toe, heel = max(centres), min(centres)
    if len(measured) == 1 or toe == heel:
        return np.full(len(layout), min(measured))
    along = (x - heel) / (toe - heel)
    slope = measured[0] - measured[1]
    return np.minimum(measured[1] + slope * along, measured[1] + slope * np.clip(along, 0.0, 1.0))


def width_at(x: Array, measured: Sequence[tuple[float, float]]) -> Array | None:
    """Width in mm at each `x`, (n,) float, from up to three `measured` (x, width); None from none.

    Between two places the edges run straight, between three along a parabola, which an arc of
    sidecut follows; beyond the outermost place its width holds.
    """
    if not measured:
        return None
    places, widths = np.array(sorted(measured), dtype=np.float64).T
    within = np.clip(x, places[0], places[-1])
    if len(measured) < 3:
        return np.asarray(np.interp(within, places, widths), dtype=np.float64)
    return _parabola(within, places, widths)


def _parabola(x: Array, places: Array, widths: Array) -> Array:
    """The parabola through three points, at `x` (Newton's divided differences)."""
    (a, b, _), (u, v, w) = places, widths
    first, second = (v - u) / (b - a), (w - v) / (places[2] - b)
    bend = (second - first) / (places[2] - a)
    return np.asarray(u + (x - a) * (first + bend * (x - b)))

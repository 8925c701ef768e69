"""Which reading of the gauge to add: the one that tells most of what is not known."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from jiggen.printer.gauge_fit import PARAMETERS, Parameter, known_of, slopes_of
from jiggen.printer.measured import Diameter, Distance, Height, Measurements, Reading

_MOST = 4  # named at once; more is a list that nobody works through
_HEIGHT = 10.0  # mm; any height of the gauge would do


def to_add(measurements: Measurements, loose: tuple[Parameter, ...]) -> tuple[Reading, ...]:
    """Readings that, added one after another, determine what is `loose`; at most four.

    Their values mean nothing.  Each is the one after which the summed variance of what is loose
    is least.
    """
    pairs = combinations(measurements.features.values(), 2)
    candidates: list[Reading] = [
        Distance(one.name, other.name, "outside", 1.0)
        for one, other in pairs
        if one.kind == other.kind
    ]
    candidates += [Diameter(name, 1.0) for name in measurements.features]
    candidates += [Height(_HEIGHT, _HEIGHT)]
    slopes = slopes_of(measurements, candidates)
    known = known_of(measurements)
    wanted = [PARAMETERS.index(name) for name in loose]
    chosen: list[Reading] = []
    while len(chosen) < _MOST and known.diagonal()[wanted].max(initial=0.0) > 1.0:
        told = slopes @ known
        spread = 1.0 + np.einsum("ck,ck->c", told, slopes)
        best = int(((told[:, wanted] ** 2).sum(axis=1) / spread).argmax())
        known = known - np.outer(told[best], told[best]) / spread[best]
        chosen.append(candidates[best])
    return tuple(chosen)

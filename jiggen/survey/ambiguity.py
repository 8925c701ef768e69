"""Whether the readings allow the holes to lie in quite another way.

A set can be rigid and still fit two places: nothing can move a little, yet a hole can be folded
over the line through the two that it was measured to.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np

from jiggen.survey.fit import Fit, refined, righted
from jiggen.survey.flips import reflections
from jiggen.survey.network import Array
from jiggen.survey.start import starts

_TELLING = 13.8  # squares more: a thousand times less likely
_FOLDS = 24
_STARTS = 13
_ELSEWHERE = 0.5  # mm; less is noise, or the same place
_SHOWN = 5


@dataclass(frozen=True, eq=False)
class Alternative:
    """Places (n, 2) in mm that fit as well, and the holes that lie elsewhere in them."""

    places: Array
    moved: tuple[int, ...]


def alternatives(fit: Fit, within: Array) -> tuple[Alternative, ...]:
    """Other arrangements as likely as the plain `fit`, those with the fewest moved holes first.

    `within` (n,) in mm is how near each place is known; a hole nearer than that has not moved.
    """
    found: dict[tuple[int, ...], Alternative] = {}
    for other in _others(fit):
        if other.squares > fit.squares + _TELLING:
            continue
        if other.network.wrong_side(other.unknowns) > fit.network.wrong_side(fit.unknowns):
            continue
        gaps = np.hypot(*(other.places - fit.places).T)
        moved = tuple(np.flatnonzero(gaps > np.maximum(2 * within, _ELSEWHERE)).tolist())
        if moved:
            found.setdefault(moved, Alternative(other.places, moved))
    fewest: list[Alternative] = []
    for moved in sorted(found, key=len):
        if not any(set(less.moved) <= set(moved) for less in fewest):
            fewest.append(found[moved])
    return tuple(fewest[:_SHOWN])


def _others(fit: Fit) -> Iterator[Fit]:
    for z in reflections(fit.network, fit.unknowns, _FOLDS):
        yield refined(fit.network, z)
    for z in islice(starts(fit.network, _STARTS), 1, None):
        yield righted(refined(fit.network, z))

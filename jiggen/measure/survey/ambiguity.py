"""Whether the readings allow the holes to lie in quite another way.

A set can be rigid and still fit two places: nothing can move a little, yet a hole can be folded
over the line through the two that it was measured to.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import islice

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.adjustment import Array
from jiggen.measure.survey.fit import Fit, refined, reflections, righted, starts

_TELLING = 13.8  # squares more: a thousand times less likely
_FOLDS = 24
_STARTS = 13
_ELSEWHERE = 0.5  # mm; less is noise, or the same place
_SHOWN = 5


@dataclass(frozen=True, eq=False)
class Alternative:
    """Places (n, 2) in mm that fit as well, laid on the others by the holes that they share.

    `moved` are the holes that lie elsewhere against the rest; none where only the whole plate is
    turned or mirrored, and then `places` are as found.
    """

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
        if other.wrong_side > fit.wrong_side:
            continue
        gaps = np.hypot(*(other.places - fit.places).T)
        if (gaps > np.maximum(2 * within, _ELSEWHERE)).any():
            held = _together(fit.places, other.places, within)
            moved = tuple(np.setdiff1d(np.arange(len(within)), held).tolist())
            found.setdefault(moved, Alternative(_aligned(other.places, fit.places, held), moved))
    fewest: list[Alternative] = []
    for moved in sorted(found, key=len):
        if not any(set(less.moved) <= set(moved) for less in fewest):
            fewest.append(found[moved])
    return tuple(fewest[:_SHOWN])


def _together(here: Array, there: Array, within: Array) -> NDArray[np.int_]:
    """The largest part that has the same shape in both, grown hole by hole."""
    shapes = (np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) for at in (here, there))
    allowed = np.maximum(2 * (within[:, None] + within), _ELSEWHERE)
    same = np.abs(next(shapes) - next(shapes)) <= allowed
    held = same.copy()  # row i: the part grown from hole i
    for part in held:
        while True:
            misfits = (~same[part][:, part]).sum(axis=0)
            if not misfits.any():
                break
            part[np.flatnonzero(part)[misfits.argmax()]] = False
    return np.flatnonzero(held[held.sum(axis=1).argmax()])


def _aligned(places: Array, onto: Array, by: NDArray[np.int_]) -> Array:
    """`places` turned and shifted so that the holes `by` lie best on `onto`."""
    if len(by) == len(places) or len(by) < 2:
        return places
    here, there = (at[:, 0] + 1j * at[:, 1] for at in (onto, places))
    centres = here[by].mean(), there[by].mean()
    turn = np.vdot(there[by] - centres[1], here[by] - centres[0])
    moved = (there - centres[1]) * turn / abs(turn) + centres[0]
    return np.column_stack([moved.real, moved.imag])


def _others(fit: Fit) -> Iterator[Fit]:
    for z in reflections(fit.network, fit.parameters, _FOLDS):
        yield refined(fit.network, z)
    for z in islice(starts(fit.network, _STARTS), 1, None):
        yield righted(refined(fit.network, z))

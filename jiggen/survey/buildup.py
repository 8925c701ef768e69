"""Places hole by hole: each where its distances to those already placed put it.

Two distances leave two places, on either side of the line; both are followed, and what further
distances say decides.  A beam of the likeliest arrangements is kept, so the work stays small
however many folds there are.
"""

from __future__ import annotations

from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from jiggen.survey.network import Array

_BEAM = 64
_LOOSE = 1.0  # mm; readings are better, but their errors grow from hole to hole
_WORST = 400.0  # one misreading may cost an arrangement no more than this
_RAYS = 16  # directions tried for a hole with one distance
_TINY = 1e-9


def build_up(distances: Array) -> Array:
    """(b, n, 2) arrangements in mm for `distances` (n, n), NaN where unknown, likeliest first.

    All holes must hang together by known distances; n is 2 or more.
    """
    known = np.isfinite(distances) & ~np.eye(len(distances), dtype=bool)
    first, second = _first_two(distances, known)
    arrangements = np.zeros((1, len(distances), 2))
    arrangements[0, second, 0] = distances[first, second]
    costs = np.zeros(1)
    placed = [first, second]
    while len(placed) < len(distances):
        links = known[:, placed].sum(axis=1)
        links[placed] = -1
        hole = int(links.argmax())
        near = [other for other in placed if known[hole, other]]
        places = _candidates(arrangements[:, near], distances[hole, near])
        misses = _apart(places, arrangements[:, near])[1] - distances[hole, near]
        total = costs[:, None] + np.minimum((misses / _LOOSE) ** 2, _WORST).sum(axis=-1)
        kept = np.argsort(total, axis=None, kind="stable")[:_BEAM]
        source, choice = np.divmod(kept, places.shape[1])
        arrangements = arrangements[source]
        arrangements[:, hole] = places[source, choice]
        costs = total.ravel()[kept]
        placed.append(hole)
    return arrangements


def _first_two(distances: Array, known: NDArray[np.bool_]) -> tuple[int, int]:
    """The two holes measured to one another that most others are measured to, far apart."""
    links = known.astype(float)
    shared = (links @ links) * links
    far = np.where(known, distances, 0.0) / np.nanmax(distances)
    first, second = np.unravel_index(np.argmax(shared + 0.5 * far), known.shape)
    return int(first), int(second)


def _candidates(near: Array, radii: Array) -> Array:
    """(b, c, 2) places at `radii` (k,) from the holes `near` (b, k, 2), in mm."""
    if len(radii) == 1:
        angles = 2 * np.pi * np.arange(_RAYS) / _RAYS
        rays = np.stack([np.cos(angles), np.sin(angles)], axis=-1)
        return np.asarray(near[:, :1] + radii[0] * rays)
    crossings = [
        _crossing(near[:, [i, j]], radii[[i, j]]) for i, j in combinations(range(len(radii)), 2)
    ]
    squareness = np.stack([square for square, _ in crossings])
    pairs = np.stack([places for _, places in crossings])
    places: Array = pairs[squareness.argmax(axis=0), np.arange(len(near))]
    for _ in range(3 if len(radii) > 2 else 0):
        places = _closer(places, near, radii)
    return places


def _crossing(centres: Array, radii: Array) -> tuple[Array, Array]:
    """Where two circles about `centres` (b, 2, 2) cross: how squarely (b,), and (b, 2, 2).

    Circles that do not meet are taken to touch where they are nearest.
    """
    across = centres[:, 1] - centres[:, 0]
    length = np.hypot(*across.T) + _TINY
    along = (radii[0] ** 2 - radii[1] ** 2 + length**2) / (2 * length)
    height = np.sqrt(np.clip(radii[0] ** 2 - along**2, 0.0, None))
    unit = across / length[:, None]
    foot = centres[:, 0] + along[:, None] * unit
    aside = height[:, None] * np.stack([-unit[:, 1], unit[:, 0]], axis=-1)
    return height * length / (radii[0] * radii[1]), np.stack([foot + aside, foot - aside], axis=1)


def _closer(places: Array, near: Array, radii: Array) -> Array:
    """One step of least squares for each of `places` (b, c, 2) alone."""
    units, lengths = _apart(places, near)
    normal = np.einsum("bcki,bckj->bcij", units, units) + 1e-3 * np.eye(2)
    pull = np.einsum("bcki,bck->bci", units, lengths - radii)
    return np.asarray(places - np.linalg.solve(normal, pull[..., None])[..., 0])


def _apart(places: Array, near: Array) -> tuple[Array, Array]:
    """Directions (b, c, k, 2) and distances (b, c, k) from each near hole to each place."""
    away = places[:, :, None] - near[:, None]
    lengths = np.hypot(away[..., 0], away[..., 1]) + _TINY
    return away / lengths[..., None], lengths

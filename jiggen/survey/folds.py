"""Other places that fit as well: a hole or a part of the plate folded over like a page.

Two distances put a hole on either side of the line through what it was measured from; a third
tells which.  The same holds for any part that hangs on two holes only.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from jiggen.survey.network import Array, Network

_NEIGHBOURS = 6  # a hole held by more cannot be folded over two of them


def reflections(network: Network, unknowns: Array, count: int) -> list[Array]:
    """Vectors z with one part folded over: the `count` that fit best as they stand."""
    folded = [_settled(network, p) for p in _folded(network, unknowns)]
    folded.sort(key=lambda z: _cost(network, z))
    return folded[:count]


def _cost(network: Network, z: Array) -> float:
    # Huber's, so that a fold that is right for all readings but one is among the first.
    misfits = np.abs(network.misfits(z))
    cost = np.where(misfits < 3.0, misfits**2, 6.0 * misfits - 9.0).sum()
    return float(cost + 100.0 * network.wrong_side(network.basis @ z))


def _settled(network: Network, unknowns: Array) -> Array:
    return np.asarray(unknowns @ network.basis)


def _folded(network: Network, unknowns: Array) -> Iterator[Array]:
    """Every fold of a part over the line of what it hangs on, twins folded with it."""
    places = network.places(unknowns)
    for part, point, along in _folds(network, places):
        if np.hypot(*along) < 1e-6:
            continue
        moved = places.copy()
        moved[part] = _mirrored(places[part], point, along)
        yield _with_places(network, unknowns, moved, part)


def _folds(network: Network, places: Array) -> Iterator[tuple[NDArray[np.int_], Array, Array]]:
    """Parts (hole numbers), with a point and the direction of the line to fold them over."""
    known = np.isfinite(network.hole_distances)
    np.fill_diagonal(known, False)
    everything = np.arange(network.holes)
    axes = (np.array([1.0, 0.0]), np.array([0.0, 1.0])) if network.edges else ()
    for hole in everything:
        near = np.flatnonzero(known[hole])
        near = near[np.argsort(np.hypot(*(places[near] - places[hole]).T))][:_NEIGHBOURS]
        for i, j in combinations(near, 2):
            yield np.array([hole]), places[i], places[j] - places[i]
        for i in near:
            for axis in axes:
                yield np.array([hole]), places[i], axis
    for i, j in combinations(everything, 2):
        for part in _parts(known, np.array([i, j])):
            yield part, places[i], places[j] - places[i]
    for i in everything:
        for part in _parts(known, np.array([i])):
            for axis in (np.array([1.0, 0.0]), np.array([0.0, 1.0])):
                yield part, places[i], axis


def _parts(known: NDArray[np.bool_], without: NDArray[np.int_]) -> Iterator[NDArray[np.int_]]:
    """What falls apart of the measured holes when some are taken out, less the largest part."""
    left = np.setdiff1d(np.arange(len(known)), without)
    count, labels = connected_components(known[np.ix_(left, left)], directed=False)
    if count < 2:
        return
    largest = np.bincount(labels).argmax()
    for label in range(count):
        part = left[labels == label]
        if label != largest and len(part) > 1:
            yield part


def _mirrored(points: Array, point: Array, along: Array) -> Array:
    unit = along / np.hypot(*along)
    away = points - point
    return np.asarray(point + 2 * np.outer(away @ unit, unit) - away)


def _with_places(network: Network, unknowns: Array, places: Array, part: NDArray[np.int_]) -> Array:
    """The unknowns with `places` (n, 2), those of the twins of `part` made to match."""
    twins = network.survey.twins
    for hole in part:
        name = network.survey.holes[hole]
        twin = network.index[twins[name]] if name in twins else None
        if twin is not None and twin not in part:
            places[twin] = places[hole] * (1.0, -1.0)
    moved = unknowns.copy()
    moved[: 2 * network.holes] = places.ravel()
    return moved

"""Least squares over a survey: where to begin, and the places that fit best.

Robust in Huber's sense: up to `HUBER` standard uncertainties a misfit counts by its square,
beyond that only by its size, so one gross error does not bend the whole plate.  Where no misfit
is that large, plain least squares is that very solution, and the quicker way to it.

It begins with classical multidimensional scaling of the distances.  The plate is then turned,
mirrored and shifted to where edges, pairs and named sides want it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import floyd_warshall

from jiggen.measure.adjustment import Adjustment, Array, minimum
from jiggen.measure.survey.network import Network

Numbers = NDArray[np.int_]

HUBER = 3.0

_STARTS = 30
_AGREE = 4  # starts that end in the best minimum known before it is taken for the best there is
_SIDE = 100.0  # what 1 mm on the wrong side weighs, in squares of standard uncertainties
_SHAKEN = 0.3  # of the plate's size, by which starts after the first are off
_SEED = 20250  # any: starts must be the same from run to run
_NEIGHBOURS = 6  # a hole fixed by more cannot be folded over two of them
_ANGLES = np.linspace(0.0, 2 * np.pi, 181)[:-1]
_DIRECTIONS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)])


@dataclass(frozen=True, eq=False)
class Fit(Adjustment[Network]):
    """Least squares of one network; its parameters are places, edges and diameters in mm."""

    @property
    def network(self) -> Network:
        """The equations."""
        return self.equations

    @property
    def places(self) -> Array:
        """(n, 2) hole centres in mm."""
        return self.network.places(self.parameters)

    @property
    def place_covariances(self) -> Array:
        """(n, 2, 2) mm²."""
        n = self.network.holes
        square = self.covariance[: 2 * n, : 2 * n].reshape(n, 2, n, 2)
        return np.asarray(square[range(n), :, range(n), :])

    @property
    def wrong_side(self) -> float:
        """How far holes lie beyond where the survey says they are, summed, in mm."""
        return self.network.wrong_side(self.parameters)

    @property
    def badness(self) -> float:
        """What the best fit has least of: squared misfits, and holes on the wrong side."""
        return self.squares + _SIDE * self.wrong_side


def solve(network: Network) -> Fit:
    """Least squares of `network` from the best of several starts; plain, nothing left out."""
    best, again = None, 0
    for start in starts(network, _STARTS):
        found = righted(refined(network, start))
        if best is None or found.badness < best.badness * (1 - 1e-3) - 1e-3:
            best, again = found, 0
        elif found.badness < best.badness * (1 + 1e-3) + 1e-3:
            again += 1
        if _good(best) or again == _AGREE:
            return best
    assert best is not None  # there is always one start
    return _unfolded(best)


def without(fit: Fit, row: int) -> Fit:
    """The least squares of the network of `fit` without one row."""
    rest = fit.network.without(row)
    near = refined(rest, fit.z)
    return near if _good(near) else min(near, solve(rest), key=_badness)


def righted(fit: Fit) -> Fit:
    """`fit` turned and mirrored anew where it has holes on the wrong side."""
    if fit.wrong_side == 0:
        return fit
    everything = np.arange(fit.network.holes)
    return min(fit, refined(fit.network, laid(fit.network, fit.places, everything)), key=_badness)


def robust(fit: Fit) -> Fit:
    """The robust solution next to `fit`: itself where every misfit is small."""
    if not (np.abs(fit.misfits) > HUBER).any():
        return fit
    found = replace(fit, z=minimum(fit.network, fit.z, huber=HUBER))
    return replace(found, shares=HUBER / np.maximum(np.abs(found.misfits), HUBER))


def refined(network: Network, start: Array) -> Fit:
    """The minimum of least squares next to the vector z `start`."""
    return Fit(network, minimum(network, start), np.ones(len(network.values)))


def loosened(fit: Fit, step: float = 10.0, seed: int = _SEED) -> Fit:
    """`fit` with what can move moved by about `step` mm, every way at random.

    Then nothing lies in a line by mere chance.  Holes in one line hide motions: a distance along
    it does not change at first.
    """
    if not len(fit.motions):
        return fit
    steps = (
        step
        * np.sqrt(fit.network.holes)
        * np.random.default_rng(seed).normal(size=len(fit.motions))
    )
    moved = fit.parameters + steps @ fit.motions
    return refined(fit.network, np.asarray(moved @ fit.network.basis))


def _badness(fit: Fit) -> float:
    return fit.badness


def _good(fit: Fit) -> bool:
    return not fit.contradicts and fit.badness - fit.squares < _SIDE * 0.1


def _unfolded(fit: Fit) -> Fit:
    """`fit` with holes put on the other side of their neighbours where that fits better."""
    for _ in range(10):
        best = min(reflections(fit, 12), key=_badness, default=fit)
        if best.badness > fit.badness * (1 - 1e-3):
            return fit
        fit = best
        if _good(fit):
            return fit
    return fit


def classical_scaling(distances: Array) -> Array:
    """(n, 2) places whose distances fit `distances` (n, n) best in the classical sense.

    The mean is at the origin and the axes are the principal ones, the longer first.  Distances
    in a plane are met exactly.  Torgerson 1952, Gower 1966; as R's ``cmdscale``.
    """
    squares = distances**2
    inner = squares - squares.mean(axis=0) - squares.mean(axis=1)[:, None] + squares.mean()
    values, vectors = np.linalg.eigh(-inner / 2)
    scaled = vectors[:, ::-1] * np.sqrt(np.clip(values[::-1], 0.0, None))
    places: Array = scaled[:, :2]
    return places if len(distances) > 1 else np.zeros((1, 2))


def starts(network: Network, count: int) -> Iterator[Array]:
    """`count` starting vectors z for `network`, the likeliest first.

    Classical scaling of the distances, missing ones filled up with the shortest way over measured
    ones; then the same, shaken at random.
    """
    measured = network.hole_distances
    ways = floyd_warshall(np.where(np.isfinite(measured), measured, 0.0), directed=False)
    reached = np.isfinite(ways)
    holes = np.flatnonzero(reached[reached.sum(axis=1).argmax()])
    part = np.ix_(holes, holes)
    places = classical_scaling(ways[part])
    yield laid(network, places, holes)
    size = float(np.ptp(places, axis=0).max())
    random = np.random.default_rng(_SEED)
    for _ in range(count - 1):
        yield laid(network, places + random.normal(0.0, _SHAKEN * size, places.shape), holes)


def laid(network: Network, places: Array, holes: Numbers) -> Array:
    """The vector z of `places` (k, 2) of those `holes`, turned and mirrored to fit best.

    The other holes go where edges and rules put them, and somewhere near where nothing does.
    """
    rows, wanted = _straight_rows(network)
    x, y = 2 * holes, 2 * holes + 1
    others = np.delete(np.arange(rows.shape[1]), np.concatenate([x, y]))
    shift = np.zeros((rows.shape[1], 2))
    shift[x, 0] = shift[y, 1] = 1.0
    free = np.hstack([np.eye(rows.shape[1])[:, others], shift])
    lying = np.zeros((rows.shape[1], 2 * len(_ANGLES)))  # a column for each angle, either way up
    lying[others] = np.random.default_rng(_SEED).normal(
        0.0, _SHAKEN * max(float(np.ptp(places)), 10.0), (len(others), 1)
    )
    (c, s), (px, py) = _DIRECTIONS, places.T[:, :, None]
    lying[x] = np.hstack([c * px - s * py, c * px + s * py])
    lying[y] = np.hstack([s * px + c * py, s * px - c * py])
    lying += free @ (np.linalg.pinv(rows @ free) @ (wanted[:, None] - rows @ lying))
    sizes = np.repeat(network.survey.diameters, lying.shape[1]).reshape(-1, lying.shape[1])
    unknowns = np.vstack([lying, sizes])
    lack = np.hypot.reduce(wanted[:, None] - rows @ lying, axis=0, initial=0.0)
    best = int((lack + network.beyond(unknowns).sum(axis=0)).argmin())
    return np.asarray(unknowns[:, best] @ network.basis)


def _straight_rows(network: Network) -> tuple[Array, Array]:
    """What is linear in places and edges: readings from an edge, and the rules; in mm."""
    columns = network.size - network.holes
    from_edges = network.linear[:, :columns].any(axis=1)
    sizes = network.linear[from_edges, columns:] @ network.survey.diameters
    rows = np.vstack([network.linear[from_edges, :columns], network.rules[:, :columns]])
    wanted = np.concatenate([network.values[from_edges] - sizes, np.zeros(len(network.rules))])
    return rows, wanted


def reflections(fit: Fit, count: int) -> list[Fit]:
    """`fit` with one hole folded over a line, refined: the `count` that fit best as they stand.

    Two distances put a hole on either side of the line through what it was measured from; a
    third decides.  Twins are folded with their hole.
    """
    folded = [
        Fit(fit.network, z, fit.shares) for z in (p @ fit.network.basis for p in _folded(fit))
    ]
    folded.sort(key=lambda one: float(np.abs(one.misfits).sum()) + one.wrong_side)
    return [refined(fit.network, one.z) for one in folded[:count]]


def _folded(fit: Fit) -> Iterator[Array]:
    """The parameters (p,) for every fold."""
    network, places = fit.network, fit.places
    known = np.isfinite(network.hole_distances)
    twins = network.survey.twins
    for hole, name in enumerate(network.survey.holes):
        near = np.flatnonzero(known[hole] & (np.arange(network.holes) != hole))
        near = near[np.argsort(np.hypot(*(places[near] - places[hole]).T))][:_NEIGHBOURS]
        lines = [(i, places[j] - places[i]) for i, j in combinations(near, 2)]
        if network.edges:
            lines += [(i, axis) for i in near for axis in np.eye(2)]
        for i, along in lines:
            unit = along / max(float(np.hypot(*along)), 1e-9)
            away = places[hole] - places[i]
            moved = fit.parameters.copy()
            there = places[i] + 2 * (away @ unit) * unit - away
            moved[2 * hole : 2 * hole + 2] = there
            if twins.get(name, name) != name:
                twin = network.index[twins[name]]
                moved[2 * twin : 2 * twin + 2] = there * (1.0, -1.0)
            yield moved

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
from functools import cached_property
from itertools import combinations
from operator import attrgetter

import numpy as np
from scipy.sparse.csgraph import floyd_warshall

from jiggen.measure.adjustment import (
    Adjustment,
    Array,
    GrossError,
    blocks,
    find_gross_error,
    minimum,
)
from jiggen.measure.survey.network import Network, Numbers

HUBER = 3.0

_STARTS = 30
_AGREE = 4  # starts that end in the best minimum known before it is taken for the best there is
_SIDE = 100.0  # what 1 mm on the wrong side weighs, in squares of standard uncertainties
_SHAKEN = 0.3  # of the plate's size, by which starts after the first are off
_SEED = 20250  # any: starts must be the same from run to run
_TRIED = 12  # readings left out in turn, the most suspect first
_NEIGHBOURS = 6  # a hole fixed by more cannot be folded over two of them
_ANGLES = np.linspace(0.0, 2 * np.pi, 181)[:-1]
_DIRECTIONS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)])
_badness = attrgetter("badness")


@dataclass(frozen=True, eq=False)
class Fit(Adjustment):
    """Least squares of one network; its parameters are places, edges and diameters in mm."""

    network: Network

    @property
    def places(self) -> Array:
        """(n, 2) hole centres in mm."""
        return self.network.places(self.parameters)

    @property
    def place_covariances(self) -> Array:
        """(n, 2, 2) mm²."""
        return blocks(self.covariance[: 2 * self.network.holes, : 2 * self.network.holes])

    @property
    def wrong_side(self) -> float:
        """How far holes lie beyond where the survey says they are, summed, in mm."""
        return float(self.network.beyond(self.parameters).sum())

    @property
    def badness(self) -> float:
        """What the best fit has least of: squared misfits, and holes on the wrong side."""
        return self.squares + _SIDE * self.wrong_side

    @property
    def good(self) -> bool:
        """Nothing speaks against it."""
        return not self.contradicts and self.wrong_side < 0.1

    @cached_property
    def gross_error(self) -> GrossError[Fit] | None:
        """The most suspect reading of the plain fit; None where no reading is checked.

        What scans tell is one reading with itself: no part of it is likely wrong alone.
        """
        found = find_gross_error(self, _TRIED)
        if not found or not found.likely:
            return found
        if found.row >= self.network.read:
            return replace(found, likely=False)
        # A large one may have folded the plate: judged again where the others have it.
        again = find_gross_error(refined(self.network, found.without.z), _TRIED)
        return again if again and again.row == found.row else found

    def without(self, row: int) -> Fit:
        """The least squares of its network without one row."""
        rest = self.network.without(row)
        near = refined(rest, self.z)
        return near if near.good else min(near, solve(rest), key=_badness)


def solve(network: Network) -> Fit:
    """Least squares of `network` from the best of several starts; plain, nothing left out."""
    best, again = None, 0
    for start in starts(network, _STARTS):
        found = righted(refined(network, start))
        if best is None or found.badness < best.badness * (1 - 1e-3) - 1e-3:
            best, again = found, 0
        elif found.badness < best.badness * (1 + 1e-3) + 1e-3:
            again += 1
        if best.good or again == _AGREE:
            return best
    assert best is not None  # there is always one start
    for _ in range(10):  # holes on the other side of their neighbours, where that fits better
        folded = min(reflections(best, 12), key=_badness, default=best)
        if folded.badness > best.badness * (1 - 1e-3):
            break
        best = folded
        if best.good:
            break
    return best


def righted(fit: Fit) -> Fit:
    """`fit` turned and mirrored anew where it has holes on the wrong side."""
    if fit.wrong_side == 0:
        return fit
    everything = np.arange(fit.network.holes)
    return min(fit, refined(fit.network, laid(fit.network, fit.places, everything)), key=_badness)


def robust(fit: Fit) -> Fit:
    """The robust solution next to `fit`, what misfits weighs less; itself where none is large."""
    if not (np.abs(fit.misfits) > HUBER).any():
        return fit
    found = replace(fit, z=minimum(fit.equations, fit.z, huber=HUBER))
    shares = HUBER / np.maximum(np.abs(found.misfits), HUBER)
    weights = fit.equations.weights * np.sqrt(shares)
    return replace(found, equations=replace(fit.equations, weights=weights))


def refined(network: Network, start: Array) -> Fit:
    """The minimum of least squares next to the vector z `start`."""
    return Fit(network.equations, minimum(network.equations, start), network)


def loosened(fit: Fit) -> Fit:
    """`fit` with what can move moved by about 10 mm, every way at random.

    Holes in one line hide motions: a distance along it does not change at first.
    """
    if not len(fit.motions):
        return fit
    random = np.random.default_rng(_SEED).normal(size=len(fit.motions))
    steps = 10.0 * np.sqrt(fit.network.holes) * random
    return refined(fit.network, (fit.parameters + steps @ fit.motions) @ fit.equations.basis)


def classical_scaling(distances: Array) -> Array:
    """(n, 2) places whose distances fit `distances` (n, n) best in the classical sense.

    The mean is at the origin and the axes are the principal ones, the longer first.  Distances
    in a plane are met exactly.  Torgerson 1952, Gower 1966; as R's ``cmdscale``.
    """
    squares = distances**2
    inner = squares - squares.mean(axis=0) - squares.mean(axis=1)[:, None] + squares.mean()
    values, vectors = np.linalg.eigh(-inner / 2)
    scaled = vectors[:, ::-1] * np.sqrt(np.clip(values[::-1], 0.0, None))
    return scaled[:, :2] if len(distances) > 1 else np.zeros((1, 2))


def starts(network: Network, count: int) -> Iterator[Array]:
    """`count` starting vectors z for `network`, the likeliest first.

    Classical scaling of the distances, missing ones filled up with the shortest way over measured
    ones; then the same, shaken at random.
    """
    ways = floyd_warshall(np.nan_to_num(network.hole_distances()), directed=False)
    reached = np.isfinite(ways)
    holes = np.flatnonzero(reached[reached.sum(axis=1).argmax()])
    places = classical_scaling(ways[np.ix_(holes, holes)])
    yield laid(network, places, holes)
    size = float(np.ptp(places, axis=0).max())
    random = np.random.default_rng(_SEED)
    for _ in range(count - 1):
        yield laid(network, places + random.normal(0.0, _SHAKEN * size, places.shape), holes)


def laid(network: Network, places: Array, holes: Numbers) -> Array:
    """The vector z of `places` (k, 2) of those `holes`, turned and mirrored to fit best.

    The other holes go where edges and rules put them, and somewhere near where nothing does.
    """
    columns = network.size - network.holes  # what is linear in places and edges alone, in mm
    from_edges = network.linear[:, :columns].any(axis=1)
    sizes = network.linear[from_edges, columns:] @ network.survey.diameters
    rows = np.vstack([network.linear[from_edges, :columns], network.rules[:, :columns]])
    values = network.equations.values[from_edges] - sizes
    wanted = np.concatenate([values, np.zeros(len(network.rules))])[:, None]
    x, y = 2 * holes, 2 * holes + 1
    others = np.delete(np.arange(columns), np.concatenate([x, y]))
    shift = np.zeros((columns, 2))
    shift[x, 0] = shift[y, 1] = 1.0
    free = np.hstack([np.eye(columns)[:, others], shift])
    lying = np.zeros((columns, 2 * len(_ANGLES)))  # a column for each angle, either way up
    lying[others] = np.random.default_rng(_SEED).normal(
        0.0, _SHAKEN * max(float(np.ptp(places)), 10.0), (len(others), 1)
    )
    (c, s), (px, py) = _DIRECTIONS, places.T[:, :, None]
    lying[x] = np.hstack([c * px - s * py, c * px + s * py])
    lying[y] = np.hstack([s * px + c * py, s * px - c * py])
    lying += free @ (np.linalg.pinv(rows @ free) @ (wanted - rows @ lying))
    diameters = np.repeat(network.survey.diameters, lying.shape[1]).reshape(-1, lying.shape[1])
    unknowns = np.vstack([lying, diameters])
    lack = np.hypot.reduce(wanted - rows @ lying, axis=0, initial=0.0)
    lack += network.beyond(unknowns).sum(axis=0)
    if seen := network.scanned:
        lack += seen.unlike(unknowns)
    best = int(lack.argmin())
    return np.asarray(unknowns[:, best] @ network.equations.basis)


def reflections(fit: Fit, count: int) -> list[Fit]:
    """`fit` with one hole folded over a line, refined: the `count` that fit best as they stand.

    Two distances put a hole on either side of the line through what it was measured from; a
    third decides.  Twins are folded with their hole.
    """
    folded = [replace(fit, z=parameters @ fit.equations.basis) for parameters in _folded(fit)]
    folded.sort(key=lambda one: float(np.abs(one.misfits).sum()) + one.wrong_side)
    return [refined(fit.network, one.z) for one in folded[:count]]


def _folded(fit: Fit) -> Iterator[Array]:
    """The parameters (p,) for every fold."""
    network, places, twins = fit.network, fit.places, fit.network.survey.file.plate.twins
    known = np.isfinite(network.hole_distances()) & ~np.eye(network.holes, dtype=bool)
    for name, hole in network.index.items():
        near = np.flatnonzero(known[hole])
        near = near[np.argsort(np.hypot(*(places[near] - places[hole]).T))][:_NEIGHBOURS]
        lines = [(i, places[j] - places[i]) for i, j in combinations(near, 2)]
        if network.edges:
            lines += [(i, axis) for i in near for axis in np.eye(2)]
        for i, along in lines:
            unit = along / max(float(np.hypot(*along)), 1e-9)
            away = places[hole] - places[i]
            there = places[i] + 2 * (away @ unit) * unit - away
            moved = fit.parameters.copy()
            network.places(moved)[hole] = there
            twin = twins.get(name, name)
            if twin != name:
                network.places(moved)[network.index[twin]] = there * (1.0, -1.0)
            yield moved

"""Least squares over a survey: where to begin, and the places that fit best.

Robust in Huber's sense: up to `HUBER` standard uncertainties a misfit counts by its square,
beyond that only by its size, so one gross error does not bend the whole plate.  Where no misfit
is that large, plain least squares is that very solution, and the quicker way to it.

It begins with classical multidimensional scaling of the distances.  The plate is then turned,
mirrored and shifted to where edges, pairs and named sides want it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.sparse.csgraph import connected_components, floyd_warshall

from jiggen.measure.adjustment import Adjustment, Array, minimum
from jiggen.measure.survey.network import Network

Numbers = NDArray[np.int_]

HUBER = 3.0

_STARTS = 30
_AGREE = 4  # starts that end in the best minimum known before it is taken for the best there is
_SIDE = 100.0  # what 1 mm on the wrong side weighs, in squares of standard uncertainties
_SHAKEN = 0.3  # of the plate's size, by which starts after the first are off
_SEED = 20250  # any: starts must be the same from run to run
_NEIGHBOURS = 6  # a hole held by more cannot be folded over two of them
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
        """How far holes lie beyond where they were said to be, summed, in mm."""
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
    network = fit.network
    found = least_squares(
        network.misfits, fit.z, network.misfit_slopes, loss="huber", f_scale=HUBER
    ).x
    misfits = np.abs(network.misfits(found))
    return Fit(network, found, np.minimum(1.0, HUBER / np.maximum(misfits, HUBER)))


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
        trials = sorted(
            (refined(fit.network, z) for z in reflections(fit.network, fit.parameters, 12)),
            key=_badness,
        )
        if not trials or trials[0].badness > fit.badness * (1 - 1e-3):
            return fit
        fit = trials[0]
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
    size = max(float(np.ptp(places)), 10.0)
    jitter = np.random.default_rng(_SEED).normal(0.0, 0.3 * size, (network.holes, 2))
    straight = _straight_rows(network)
    candidates = [
        turned
        for mirror in (1.0, -1.0)
        for turned in _turned(network, straight, places * (1.0, mirror), holes, jitter)
    ]
    return min(candidates, key=lambda candidate: candidate[0])[1]


def _turned(
    network: Network,
    straight: tuple[Array, Array],
    places: Array,
    holes: Numbers,
    jitter: Array,
) -> Iterator[tuple[float, Array]]:
    """Each angle at which the plate lies best, with how badly in mm, as a vector z."""
    rows, wanted = straight
    unknown = np.delete(np.arange(network.holes), holes)
    hidden = np.concatenate([2 * unknown, 2 * unknown + 1])
    told = ~rows[:, hidden].any(axis=1)
    # A vector of cosine, sine, shift and edges makes the unknowns, all linear.
    make = np.zeros((rows.shape[1], 4 + len(network.edges)))
    x, y = places.T
    make[2 * holes, :4] = np.column_stack([x, -y, np.ones_like(x), np.zeros_like(x)])
    make[2 * holes + 1, :4] = np.column_stack([y, x, np.zeros_like(x), np.ones_like(x)])
    make[2 * network.holes :, 4:] = np.eye(len(network.edges))
    effects = rows[told] @ make
    rest = _span(effects[:, 2:])
    turn = effects[:, :2] - rest @ (rest.T @ effects[:, :2])
    aim = wanted[told] - rest @ (rest.T @ wanted[told])
    badness = ((turn @ _DIRECTIONS - aim[:, None]) ** 2).sum(axis=0)
    for best in _dips(badness):
        shift = np.linalg.lstsq(
            effects[:, 2:], wanted[told] - effects[:, :2] @ _DIRECTIONS[:, best], rcond=None
        )[0]
        p = make @ np.concatenate([_DIRECTIONS[:, best], shift])
        p[hidden] = jitter[unknown].T.ravel()
        if len(hidden):
            lack = wanted - rows @ p
            p[hidden] += np.linalg.lstsq(rows[:, hidden], lack, rcond=None)[0]
        unknowns = np.concatenate([p, network.survey.diameters])
        yield float(np.sqrt(badness[best])) + network.wrong_side(unknowns), unknowns @ network.basis


def _straight_rows(network: Network) -> tuple[Array, Array]:
    """What is linear in places and edges: readings from an edge, and the rules; in mm."""
    columns = network.size - network.holes
    from_edges = network.linear[:, :columns].any(axis=1)
    sizes = network.linear[from_edges, columns:] @ network.survey.diameters
    rows = np.vstack([network.linear[from_edges, :columns], network.rules[:, :columns]])
    wanted = np.concatenate([network.values[from_edges] - sizes, np.zeros(len(network.rules))])
    return rows, wanted


def _span(columns: Array) -> Array:
    """Orthonormal columns that span what `columns` span."""
    vectors, sizes, _ = np.linalg.svd(columns, full_matrices=False)
    return np.asarray(vectors[:, sizes > 1e-9 * max(1.0, sizes.max(initial=0.0))])


def _dips(badness: Array) -> list[int]:
    """Indexes of the local least values on the circle; one of them where it is flat."""
    level = 1e-9 * (1.0 + float(badness.max()))
    falls = np.roll(badness, 1) - badness > level
    dips: list[int] = np.flatnonzero(falls & ~np.roll(falls, -1)).tolist()
    return dips or [int(badness.argmin())]


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

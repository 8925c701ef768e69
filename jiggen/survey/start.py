"""Where to begin: places of the holes good enough for least squares to end in the right dip.

Missing distances are filled up with the shortest way over measured ones, and classical
multidimensional scaling makes places of them; `build_up` goes hole by hole instead.  Either way
the plate is then turned, mirrored and shifted to where edges, pairs and named sides want it.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray
from scipy.sparse.csgraph import floyd_warshall

from jiggen.survey.buildup import build_up
from jiggen.survey.network import Array, Network

Numbers = NDArray[np.int_]

SEED = 20250  # any: starts must be the same from run to run
_ANGLES = np.linspace(0.0, 2 * np.pi, 181)[:-1]
_DIRECTIONS = np.stack([np.cos(_ANGLES), np.sin(_ANGLES)])


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
    """Up to `count` starting vectors z for `network`, the likeliest first.

    Classical scaling first, then what building up hole by hole finds.
    """
    measured = network.hole_distances
    ways = floyd_warshall(np.where(np.isfinite(measured), measured, 0.0), directed=False)
    reached = np.isfinite(ways)
    holes = np.flatnonzero(reached[reached.sum(axis=1).argmax()])
    part = np.ix_(holes, holes)
    yield laid(network, classical_scaling(ways[part]), holes)
    if len(holes) > 1:
        for places in build_up(measured[part])[: count - 1]:
            yield laid(network, places, holes)


def laid(network: Network, places: Array, holes: Numbers) -> Array:
    """The vector z of `places` (k, 2) of those `holes`, turned and mirrored to fit best.

    The other holes go where edges and rules put them, and somewhere near where nothing does.
    """
    size = max(float(np.ptp(places)), 10.0)
    jitter = np.random.default_rng(SEED).normal(0.0, 0.3 * size, (network.holes, 2))
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

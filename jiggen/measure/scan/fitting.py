"""The least-squares fit of scans, its distortion put aside: the same numbers in little time.

Most unknowns are shapes of the scanner's distortion, which enter linearly and are known to 1
before.  Without them, what is seen across, and along, are correlated readings of few unknowns; from
their fit the shapes follow, and with them every residual and redundancy number of the whole.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.adjustment import Adjustment, Array
from jiggen.measure.scan.network import Distance, ScanNetwork, Sightings
from jiggen.measure.scan.terms import Scatter

_STEPS = 50  # far more than a fit takes
_UNSEEN = 1e-10  # of what is seen best
_CLOSE = 1e-8  # mm or rad; a last step


class _Aside:
    """Rows of the `network`, made independent of one another, the shapes of distortion put aside.

    What weighs nothing in `weights` is left out.
    """

    def __init__(self, network: ScanNetwork, weights: Array) -> None:
        self.network, self.weights = network, weights
        k, shapes = len(network.seen.scan), network.shapes
        self.own = np.ones(network.size, dtype=bool)
        self.own[shapes] = False
        self.kept = np.ones(len(weights), dtype=bool)
        self.kept[network.known_before(shapes)] = False
        self.basis = network.equations.basis[self.own][:, self.own[3:]]
        self.axes: list[tuple[NDArray[np.int_], Array]] = []
        """Of each axis the rows, and what makes them independent."""
        for axis in (0, 1):
            used = np.flatnonzero(weights[axis * k : (axis + 1) * k])
            rows = axis * k + used
            spread = network.distortion[np.ix_(used, used)] + np.diag(weights[rows] ** -2.0)
            self.axes.append((rows, np.linalg.inv(np.linalg.cholesky(spread))))

    def independent(self, columns: Array) -> Array:
        """Columns (m, q) with all rows in standard uncertainties, independent of one another."""
        out = columns * self.weights[:, None]
        for rows, inverse in self.axes:
            out[rows] = inverse @ columns[rows]
        return np.asarray(out[self.kept])

    def slopes(self, unknowns: Array) -> Array:
        """(q, s) how the independent rows grow with all that may change but the shapes."""
        return self.independent(self.network.slopes(unknowns)[:, self.own] @ self.basis)

    def solved(self) -> Array:
        """(p,) the unknowns that fit best."""
        network = self.network
        values, unknowns = network.equations.values, network.start.copy()
        for _ in range(_STEPS):
            slopes = self.slopes(unknowns)
            left = self.independent((values - network.predicted(unknowns))[:, None])
            down = np.asarray(np.linalg.qr(np.hstack([slopes, left]), mode="r"))
            count = slopes.shape[1]
            step = self.basis @ (_inverse(down[:count, :count]) @ down[:count, count])
            unknowns[self.own] += step
            if np.abs(step).max() < _CLOSE:
                break
        left = values - network.predicted(unknowns)
        for rows, inverse in self.axes:
            shares = inverse.T @ (inverse @ left[rows])
            unknowns[network.shapes] += network.linear[rows, network.shapes].T @ shares
        return unknowns


@dataclass(frozen=True, eq=False)
class ScanFit(Adjustment):
    """The adjustment of one `network`."""

    network: ScanNetwork

    @cached_property
    def _aside(self) -> _Aside:
        return _Aside(self.network, self.equations.weights)

    @cached_property
    def _motions(self) -> tuple[Array, Array]:
        """Orthogonal columns of the rows that were kept, and what makes them of slopes."""
        slopes = self._aside.slopes(self.parameters)
        inverse = _inverse(np.asarray(np.linalg.qr(slopes, mode="r")))
        return slopes @ inverse, inverse

    @cached_property
    def redundancy(self) -> Array:
        """As of any adjustment."""
        aside, weights = self._aside, self.equations.weights
        across = np.zeros((len(weights), self._motions[0].shape[1]))
        across[aside.kept] = self._motions[0]
        free = 1.0 - (across**2).sum(axis=1)
        shapes = self.network.shapes
        before = self.network.known_before(shapes)
        free[before] = 0.0
        for rows, inverse in aside.axes:
            loads = inverse @ self.network.linear[rows, shapes]
            free[before] += _beyond(loads, across[rows])
            free[rows] = _beyond(inverse, across[rows]) / weights[rows] ** 2
        return np.where(weights > 0, np.clip(free, 0.0, 1.0), 0.0)

    def stated(self, unknowns: slice) -> Array:
        """Covariance of `unknowns` other than shapes, larger where the readings are coarser."""
        own = np.flatnonzero(self._aside.own)
        moved = self._aside.basis[np.isin(own, np.arange(unknowns.start, unknowns.stop))]
        moved = moved @ self._motions[1]
        # with next to nothing redundant, as in one scan, readings may agree too well: no surer
        return np.asarray(moved @ moved.T * max(1.0, self.spread) ** 2)

    def without(self, row: int) -> Self:
        """The same done again without one row."""
        equations = self.equations.without(row)
        z = equations.basis.T @ _Aside(self.network, equations.weights).solved()
        return replace(self, equations=equations, z=z)


def fit_with(
    seen: Sightings, rough: Array, distances: Sequence[Distance], scatter: Scatter
) -> ScanFit:
    """The fit were the scanner's faults of the sizes of `scatter`."""
    network = ScanNetwork(seen, rough, distances, scatter)
    equations = network.equations
    unknowns = _Aside(network, equations.weights).solved()
    return ScanFit(equations, equations.basis.T @ unknowns, network)


def _inverse(triangle: Array) -> Array:
    """Its inverse, but for motions that no reading sees, such as of things that lie apart."""
    sizes = np.abs(np.diag(triangle))
    if sizes.min() > _UNSEEN * sizes.max():
        return np.asarray(np.linalg.inv(triangle))
    return np.asarray(np.linalg.pinv(triangle, _UNSEEN))


def _beyond(columns: Array, across: Array) -> Array:
    """(q,) squares of the columns (m, q) less what of them lies along those `across` (m, s)."""
    return np.asarray((columns**2).sum(axis=0) - ((across.T @ columns) ** 2).sum(axis=0))

"""Least squares over a survey: places, how sure they are, and what the readings say together.

Robust in Huber's sense: up to `HUBER` standard uncertainties a misfit counts by its square,
beyond that only by its size, so one misreading does not bend the whole plate.  Where no misfit
is that large, plain least squares is that very solution, and the quicker way to it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import chdtrc, chdtri

from jiggen.survey.flips import reflections
from jiggen.survey.network import Array, Network
from jiggen.survey.start import SEED, laid, starts

HUBER = 3.0
REGION = float(np.sqrt(chdtri(2, 0.05)))
"""Reach of the 95 % region of a place in a plane, in standard uncertainties of its worst way."""
CONTRADICTION = 1e-3
"""Readings that would disagree so much in fewer than this share of surveys contradict."""

_STARTS = 13
_AGREE = 2  # starts that end in the best dip known before it is taken for the best there is
_LOOSE = 1e-5  # mm a reading changes by for 1 mm of a motion that it does not see
_SIDE = 100.0  # what 1 mm on the wrong side weighs, in squares of standard uncertainties


@dataclass(frozen=True, eq=False)
class Fit:
    """Least squares of one network; `shares` (m,) is what robustness left each reading's weight."""

    network: Network
    z: Array
    shares: Array

    @cached_property
    def unknowns(self) -> Array:
        """(p,) places, edges and diameters in mm."""
        return self.network.basis @ self.z

    @property
    def places(self) -> Array:
        """(n, 2) hole centres in mm."""
        return self.network.places(self.unknowns)

    @cached_property
    def misfits(self) -> Array:
        """(m,) predicted less read, in standard uncertainties."""
        return self.network.misfits(self.z)

    @property
    def residuals(self) -> Array:
        """(m,) read less predicted, in mm."""
        return self.network.values - self.network.predicted(self.unknowns)

    @cached_property
    def squares(self) -> float:
        """Sum of the squared misfits."""
        return float(self.misfits @ self.misfits)

    @cached_property
    def _modes(self) -> tuple[Array, Array, Array]:
        """Singular modes of the weighted slopes: (m, k) rows, (k,) sizes, (k, k) motions."""
        slopes = self.network.misfit_slopes(self.z) * np.sqrt(self.shares)[:, None]
        rows, sizes, motions = np.linalg.svd(slopes, full_matrices=True)
        count = slopes.shape[1]
        padded = np.zeros(count)
        padded[: len(sizes)] = sizes[:count]
        return rows, padded, motions

    @cached_property
    def _seen(self) -> NDArray[np.bool_]:
        """(k,) whether the readings see each mode."""
        typical = float(np.max(self.network.weights))
        return np.asarray(self._modes[1] > _LOOSE * typical)

    @cached_property
    def motions(self) -> Array:
        """(f, p) orthonormal ways the unknowns can move with every reading as it is."""
        return self._modes[2][~self._seen] @ self.network.basis.T

    @cached_property
    def freedom(self) -> int:
        """Readings beyond those needed: what is left to check with."""
        return int(np.count_nonzero(self.network.weights)) - int(np.count_nonzero(self._seen))

    @cached_property
    def covariance(self) -> Array:
        """(p, p) mm², from the stated uncertainties; motions that nothing sees are left out."""
        _, sizes, motions = self._modes
        scaled = self.network.basis @ (motions[self._seen] / sizes[self._seen, None]).T
        return np.asarray(scaled @ scaled.T)

    @property
    def place_covariances(self) -> Array:
        """(n, 2, 2) mm²."""
        n = self.network.holes
        square = self.covariance[: 2 * n, : 2 * n].reshape(n, 2, n, 2)
        return np.asarray(square[range(n), :, range(n), :])

    @cached_property
    def checks(self) -> Array:
        """(m,) redundancy numbers: 0 for a reading that nothing checks, 1 for one not needed."""
        rows = self._modes[0][:, : len(self._seen)][:, self._seen[: self._modes[0].shape[1]]]
        seen = np.asarray(1.0 - (rows**2).sum(axis=1))
        return np.where(self.network.weights > 0, np.clip(seen, 0.0, 1.0), 0.0)

    @property
    def normalised(self) -> Array:
        """(m,) misfits over their own standard deviation (Baarda 1968); 0 where unchecked."""
        checked = self.checks > 1e-6
        return np.where(checked, self.misfits / np.sqrt(np.where(checked, self.checks, 1.0)), 0.0)

    @property
    def likelihood(self) -> float:
        """Share of surveys, done as carefully as stated, whose readings disagree more."""
        return float(chdtrc(self.freedom, self.squares)) if self.freedom else 1.0

    @property
    def spread(self) -> float:
        """How far the readings disagree over what was stated: 1 as stated; 1 without a check."""
        return float(np.sqrt(self.squares / self.freedom)) if self.freedom else 1.0


def solve(network: Network) -> Fit:
    """Least squares of `network` from the best of several starts; plain, nothing left out."""
    best, again = None, 0
    for start in starts(network, _STARTS):
        found = righted(refined(network, start))
        if best is None or badness(found) < badness(best) * (1 - 1e-3) - 1e-3:
            best, again = found, 0
        elif badness(found) < badness(best) * (1 + 1e-3) + 1e-3:
            again += 1
        if _good(best) or again == _AGREE:
            return best
    assert best is not None  # there is always one start
    return _unfolded(best)


def righted(fit: Fit) -> Fit:
    """`fit` turned and mirrored anew where it has holes on the wrong side."""
    if fit.network.wrong_side(fit.unknowns) == 0:
        return fit
    everything = np.arange(fit.network.holes)
    return min(fit, refined(fit.network, laid(fit.network, fit.places, everything)), key=badness)


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
    """The dip of least squares next to the vector z `start`."""
    method = "lm" if len(network.values) >= len(start) else "trf"
    found = least_squares(
        network.misfits, start, network.misfit_slopes, method=method, max_nfev=200
    )
    return Fit(network, found.x, np.ones(len(network.values)))


def loosened(fit: Fit, step: float = 10.0, seed: int = SEED) -> Fit:
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
    moved = fit.unknowns + steps @ fit.motions
    return refined(fit.network, np.asarray(moved @ fit.network.basis))


def badness(fit: Fit) -> float:
    """What the best fit has least of: squared misfits, and holes on the wrong side."""
    return fit.squares + _SIDE * fit.network.wrong_side(fit.unknowns)


def _good(fit: Fit) -> bool:
    return fit.likelihood > CONTRADICTION and badness(fit) - fit.squares < _SIDE * 0.1


def _unfolded(fit: Fit) -> Fit:
    """`fit` with holes put on the other side of their neighbours where that fits better."""
    for _ in range(10):
        trials = sorted(
            (refined(fit.network, z) for z in reflections(fit.network, fit.unknowns, 12)),
            key=badness,
        )
        if not trials or badness(trials[0]) > badness(fit) * (1 - 1e-3):
            return fit
        fit = trials[0]
        if _good(fit):
            return fit
    return fit

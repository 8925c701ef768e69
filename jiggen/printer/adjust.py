"""Least squares over readings: what they say, how surely, and whether they agree.

Words and measures as in the survey room: redundancy numbers and normalised misfits after Baarda
1968; a misfit counts as a misreading when one so large among so many readings is one set in a
thousand.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares
from scipy.special import chdtrc, ndtri

Array = NDArray[np.float64]

CHANCE = 1e-3
"""Readings that would disagree so much in fewer than this share of sets contradict."""
COVERED = float(ndtri(0.975))
"""Reach of 95 % of a normal distribution to either side, in standard uncertainties."""

_COARSER = 0.01  # readings that disagree so seldom by chance are taken to be coarser than said
_CHECKED = 4.13  # 0.1 % false alarms, 80 % found: Baarda 1968, his usual choice
_TELLING = 9.2  # squares less: 100 times as likely
_SEEN = 1e-6  # a redundancy number below this checks nothing


@dataclass(frozen=True, eq=False)
class Equations:
    """Readings as equations of a few parameters.

    `predicted` leads parameters (k,) to what each of `values` (m,) would be, and `slopes` to the
    derivative of that, (m, k); `sigmas` (m,) are their standard uncertainties.  The first
    `readings` rows were read, what follows is what was known before.  `start` (k,) are the
    parameters of a print that came out true.
    """

    predicted: Callable[[Array], Array]
    slopes: Callable[[Array], Array]
    values: Array
    sigmas: Array
    start: Array
    readings: int

    def without(self, row: int) -> Equations:
        """The same with one row that counts for nothing."""
        sigmas = self.sigmas.copy()
        sigmas[row] = np.inf
        return replace(self, sigmas=sigmas)

    def misfits(self, parameters: Array) -> Array:
        """(m,) predicted less read, in standard uncertainties."""
        return np.asarray((self.predicted(parameters) - self.values) / self.sigmas)

    def misfit_slopes(self, parameters: Array) -> Array:
        """(m, k) derivative of `misfits`."""
        return np.asarray(self.slopes(parameters) / self.sigmas[:, None])


@dataclass(frozen=True, eq=False)
class Adjusted:
    """The parameters (k,) that fit `equations` best."""

    equations: Equations
    parameters: Array

    @cached_property
    def misfits(self) -> Array:
        """(m,) predicted less read, in standard uncertainties."""
        return self.equations.misfits(self.parameters)

    @property
    def residuals(self) -> Array:
        """(m,) read less predicted."""
        equations = self.equations
        return np.asarray(equations.values - equations.predicted(self.parameters))

    @cached_property
    def _weighted(self) -> Array:
        return self.equations.misfit_slopes(self.parameters)

    @cached_property
    def covariance(self) -> Array:
        """(k, k) from the stated uncertainties."""
        weighted = self._weighted
        return np.asarray(np.linalg.inv(weighted.T @ weighted))

    @cached_property
    def checks(self) -> Array:
        """(m,) redundancy numbers: 0 for a row that nothing checks, 1 for one not needed."""
        weighted = self._weighted
        seen = 1.0 - np.einsum("mk,kl,ml->m", weighted, self.covariance, weighted)
        return np.where(np.isfinite(self.equations.sigmas), np.clip(seen, 0.0, 1.0), 0.0)

    @property
    def normalised(self) -> Array:
        """(m,) read less predicted over its own standard deviation; 0 where nothing checks."""
        checked = self.checks > _SEEN
        return np.where(checked, -self.misfits / np.sqrt(np.where(checked, self.checks, 1.0)), 0.0)

    @property
    def freedom(self) -> float:
        """How many readings more than needed there are; what was known before counts in part."""
        return float(self.checks[: self.equations.readings].sum())

    @property
    def squares(self) -> float:
        """Sum of the readings' squared misfits."""
        return float((self.misfits[: self.equations.readings] ** 2).sum())

    @property
    def likelihood(self) -> float:
        """Share of sets, read as carefully as stated, whose readings disagree more."""
        return float(chdtrc(self.freedom, self.squares)) if self.freedom > _SEEN else 1.0

    @property
    def spread(self) -> float:
        """How much coarser than stated the readings are; 1 where that could be chance."""
        if self.likelihood >= _COARSER:
            return 1.0
        return float(np.sqrt(self.squares / self.freedom))

    @property
    def contradicts(self) -> bool:
        """The readings disagree more than chance would have it, as a whole or one of them."""
        return self.likelihood < CHANCE or bool(
            np.abs(self.normalised[: self.equations.readings]).max(initial=0.0) > self._critical
        )

    @property
    def _critical(self) -> float:
        """The normalised misfit that the largest of so many exceeds in one set in a thousand."""
        count = max(1, int((self.checks[: self.equations.readings] > _SEEN).sum()))
        return float(-ndtri(-np.expm1(np.log1p(-CHANCE) / count) / 2))

    def unchecked(self, size: float) -> tuple[int, ...]:
        """Rows that were read in which an error of `size` might not be noticed."""
        shows = self.equations.sigmas * _CHECKED / np.sqrt(np.maximum(self.checks, 1e-12))
        return tuple(np.flatnonzero(shows[: self.equations.readings] > size).tolist())


@dataclass(frozen=True, eq=False)
class Doubt:
    """The reading most likely wrong, and the fit `without` it.

    `off` is read less what the others say, known to `known` (a standard uncertainty).
    `likely`: the readings contradict one another, and without it the rest agree.  `rivals` are
    rows that could as well be the wrong one.
    """

    row: int
    without: Adjusted
    off: float
    known: float
    likely: bool
    rivals: tuple[int, ...]


def adjusted(equations: Equations) -> Adjusted:
    """The least squares of `equations`, whose rows must determine every parameter."""
    method = "lm" if len(equations.values) >= len(equations.start) else "trf"
    found = least_squares(
        equations.misfits, equations.start, equations.misfit_slopes, method=method
    )
    return Adjusted(equations, np.asarray(found.x))


def doubt(fit: Adjusted) -> Doubt | None:
    """The most doubtful reading of `fit`; None where nothing checks anything.

    The largest normalised misfit is that of the reading without which the rest agree best.
    """
    sizes = np.abs(fit.normalised[: fit.equations.readings])
    checked = fit.checks[: fit.equations.readings] > _SEEN
    if not checked.any():
        return None
    row = int(np.where(checked, sizes, -1.0).argmax())
    without = adjusted(fit.equations.without(row))
    slope = without.equations.slopes(without.parameters)[row]
    own = float(fit.equations.sigmas[row])
    return Doubt(
        row,
        without,
        off=float(without.residuals[row]),
        known=float(np.sqrt(slope @ without.covariance @ slope + own**2)),
        likely=fit.contradicts and not without.contradicts,
        rivals=tuple(
            int(other)
            for other in np.flatnonzero(sizes**2 > sizes[row] ** 2 - _TELLING)
            if other != row
        ),
    )


def derivative(function: Callable[[Array], Array], at: Array, step: float = 1e-5) -> Array:
    """(…, k) slopes of `function` at (k,), from differences to either side."""
    steps = step * np.eye(len(at))
    rises = [(function(at + along) - function(at - along)) / (2 * step) for along in steps]
    return np.stack(rises, axis=-1)

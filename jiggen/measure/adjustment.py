"""Least-squares adjustment of readings: what they say, how surely, whether they agree, in words.

One set of terms for the survey of a plate, a printer's calibration print and a finished jig.
Each reading is judged by itself as well as all together, by data snooping (W. Baarda, A testing
procedure for use in geodetic networks, 1968, from memory): a residual over its own standard
deviation is normal where nothing is wrong, and the largest is that of the reading without which the
others agree best.  The limit is set so that the largest of all of them exceeds it by chance in a
stated share of sets (Z. Sidak 1967, from memory); how often it does is what `tests/bench/survey.py`
counts.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from statistics import NormalDist
from typing import Generic, Self, TypeVar

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding
from jiggen.units import counted, listed

Array = NDArray[np.float64]

# Reaches of 95 %, in standard uncertainties: of a number, and of a place in a plane its worst way.
COVERED = NormalDist().inv_cdf(0.975)
REGION = math.sqrt(-2 * math.log(0.05))

CONTRADICTION = 1e-3  # readings that disagree so much in fewer than this share of sets contradict
ALARMS = 3e-3  # share of faultless sets in which one reading by itself is called wrong (our choice)
NOTICED = 1.0  # mm; a gross error of so much in one reading should show in the others
_COARSER = 0.01  # readings that disagree so seldom by chance are coarser than stated
_DETECTED = NormalDist().inv_cdf(0.99)  # a reading is checked where 99 of 100 such errors show
_TELLING = 9.2  # squares less: 100 times as likely
_SURER = 0.02  # share of false alarms left where one reading was named already (our choice)
_CHECKED = 1e-6  # redundancy number below which no other reading checks one
_LOOSE = 1e-5  # of the largest weight: what a motion must change to count as seen


@dataclass(frozen=True, eq=False)
class Equations:
    """Readings as equations of parameters (p,), of which ``basis @ z`` are allowed.

    `predicted` (m,) is what each reading would be, `slopes` (m, p) how it grows with each
    parameter; `values` (m,) were read, `weights` (m,) are one over their standard uncertainties, 0
    for what is left out.  The first `readings` rows were read; what follows was known before.
    """

    predicted: Callable[[Array], Array]
    slopes: Callable[[Array], Array]
    values: Array
    weights: Array
    basis: Array
    readings: int

    def without(self, row: int) -> Equations:
        """The same with one row that counts for nothing."""
        rows = np.arange(len(self.weights))
        return replace(self, weights=np.where(rows == row, 0.0, self.weights))


@dataclass(frozen=True, eq=False)
class Adjustment:
    """The free parameters `z` (k,) that fit `equations` best."""

    equations: Equations
    z: Array

    @cached_property
    def parameters(self) -> Array:
        """(p,) the parameters."""
        return np.asarray(self.equations.basis @ self.z)

    @cached_property
    def residuals(self) -> Array:
        """(m,) read less predicted."""
        return np.asarray(self.equations.values - self.equations.predicted(self.parameters))

    @cached_property
    def misfits(self) -> Array:
        """(m,) residuals in standard uncertainties."""
        return self.residuals * self.equations.weights

    @property
    def squares(self) -> float:
        """Sum of the readings' squared misfits."""
        return float((self.misfits[: self.equations.readings] ** 2).sum())

    @cached_property
    def _modes(self) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
        """Singular modes that the readings see: rows (m, s), sizes, motions; motions unseen."""
        weights = self.equations.weights
        slopes = self.equations.slopes(self.parameters) @ self.equations.basis
        rows, sizes, motions = np.linalg.svd(slopes * weights[:, None], full_matrices=True)
        count = int((sizes > _LOOSE * weights.max()).sum())
        return rows[:, :count], sizes[:count], motions[:count], motions[count:]

    @property
    def motions(self) -> Array:
        """(f, p) orthonormal ways the parameters can move with every reading as it is."""
        return np.asarray(self._modes[3] @ self.equations.basis.T)

    @cached_property
    def covariance(self) -> Array:
        """(p, p) from the stated uncertainties; motions that no reading sees are left out."""
        _, sizes, motions, _ = self._modes
        scaled = self.equations.basis @ (motions / sizes[:, None]).T
        return np.asarray(scaled @ scaled.T)

    @cached_property
    def redundancy(self) -> Array:
        """(m,) redundancy numbers: 0 for a reading that no other checks, 1 for one not needed."""
        numbers = np.clip(1.0 - (self._modes[0] ** 2).sum(axis=1), 0.0, 1.0)
        return np.where(self.equations.weights > 0, numbers, 0.0)

    @property
    def freedom(self) -> float:
        """How many readings there are beyond those needed; what was known before counts in part."""
        return round(float(self.redundancy[: self.equations.readings].sum()), 6)

    @cached_property
    def normalised(self) -> Array:
        """(m,) residuals over their own standard deviation; 0 where no other reading checks."""
        checked = self.redundancy > _CHECKED
        return np.where(checked, self.misfits, 0.0) / np.sqrt(
            np.where(checked, self.redundancy, 1.0)
        )

    @property
    def likelihood(self) -> float:
        """Share of sets, read as carefully as stated, whose readings disagree more."""
        from scipy.special import chdtrc

        return float(chdtrc(self.freedom, self.squares)) if self.freedom > _CHECKED else 1.0

    @property
    def disagreement(self) -> float:
        """How far they disagree, over what was stated (root of the variance factor); or 1."""
        return float(np.sqrt(self.squares / self.freedom)) if self.freedom > _CHECKED else 1.0

    @property
    def spread(self) -> float:
        """How much coarser than stated the readings are; 1 where that could be chance."""
        return self.disagreement if self.likelihood < _COARSER else 1.0

    @property
    def critical(self) -> float:
        """What a normalised residual may be: one of all is larger in `ALARMS` of faultless sets."""
        return self._critical(ALARMS)

    def _critical(self, share: float) -> float:
        count = max(1, int((self.redundancy[: self.equations.readings] > _CHECKED).sum()))
        return -NormalDist().inv_cdf(each_of(count, share) / 2)

    @property
    def largest(self) -> float:
        """The largest normalised residual of a reading."""
        return float(np.abs(self.normalised[: self.equations.readings]).max(initial=0.0))

    @property
    def contradicts(self) -> bool:
        """The readings disagree more than chance would have it, as a whole or one of them."""
        return self.likelihood < CONTRADICTION or self.largest > self.critical

    @property
    def broken(self) -> bool:
        """They contradict beyond any doubt: a second gross error, not a faultless set in 1000."""
        level, single = CONTRADICTION * _SURER, self._critical(ALARMS * _SURER)
        return self.likelihood < level or self.largest > single

    def unchecked(self, count: int) -> tuple[int, ...]:
        """Of the first `count` rows those in which an error of `NOTICED` might not be noticed."""
        return tuple(np.flatnonzero(self.noticed[:count] > NOTICED).tolist())

    @cached_property
    def noticed(self) -> Array:
        """(m,) the gross error of each reading, mm, that 99 of 100 times is noticed."""
        weights = np.maximum(self.equations.weights, 1e-12)
        seen = self.critical + _DETECTED
        return np.asarray(seen / np.sqrt(np.maximum(self.redundancy, 1e-12)) / weights)

    @cached_property
    def gross_error(self) -> GrossError[Self] | None:
        """The most suspect reading; None where no reading is checked."""
        return find_gross_error(self)

    @property
    def wrong_row(self) -> int | None:
        """The row that is likely wrong; None where no reading stands out."""
        return self.gross_error.row if self.gross_error and self.gross_error.likely else None

    def without(self, row: int) -> Self:
        """The same done again without one row."""
        equations = self.equations.without(row)
        return replace(self, equations=equations, z=minimum(equations, self.z))


A = TypeVar("A", bound=Adjustment)


@dataclass(frozen=True, eq=False)
class GrossError(Generic[A]):
    """The reading most likely wrong, and the fit `without` it.

    `off` is read less what the others say, known to `known` (a standard uncertainty), and
    `normalised` its normalised residual.  `likely`: the readings contradict one another, and
    without it the rest are not `broken`.  `rivals` are rows that could as well be the wrong one.
    """

    row: int
    without: A
    off: float
    known: float
    normalised: float
    likely: bool
    rivals: tuple[int, ...]


def minimum(equations: Equations, start: Array, huber: float = np.inf) -> Array:
    """(k,) z of the minimum of least squares next to `start` (k,).

    Misfits beyond `huber` standard uncertainties count by their size, not by its square.
    """
    from scipy.optimize import least_squares  # half a second: a build needs none of it

    basis = equations.basis

    def misfits(z: Array) -> Array:
        return np.asarray((equations.predicted(basis @ z) - equations.values) * equations.weights)

    def slopes(z: Array) -> Array:
        return np.asarray((equations.slopes(basis @ z) @ basis) * equations.weights[:, None])

    if huber < np.inf:
        found = least_squares(misfits, start, slopes, loss="huber", f_scale=huber)
    else:
        method = "lm" if len(equations.values) >= len(start) else "trf"
        found = least_squares(misfits, start, slopes, method=method, max_nfev=200)
    return np.asarray(found.x)


def find_gross_error(fit: A, tried: int = 1) -> GrossError[A] | None:
    """The most suspect reading of the plain `fit`; None where no reading is checked.

    Where readings contradict, up to `tried` are left out in turn, the largest normalised residual
    first, until the rest agree.
    """
    count = fit.equations.readings
    sizes = np.where(fit.redundancy[:count] > _CHECKED, np.abs(fit.normalised[:count]), -1.0)
    if sizes.max(initial=-1.0) < 0:
        return None
    found: list[tuple[float, int, A]] = []
    for row in np.argsort(-sizes, kind="stable")[: tried if fit.contradicts else 1].tolist():
        trial = fit.without(row)
        found.append((trial.squares, row, trial))
        if not trial.broken:
            break
    _, row, rest = min(found, key=lambda one: one[0])
    slope = rest.equations.slopes(rest.parameters)[row]
    sigma = 1.0 / float(fit.equations.weights[row])
    rivals = sizes**2 * np.sign(sizes) > sizes[row] ** 2 - _TELLING
    rivals[row] = False
    return GrossError(
        row,
        rest,
        off=float(rest.residuals[row]),
        known=float(np.sqrt(slope @ rest.covariance @ slope + sigma**2)),
        normalised=float(fit.normalised[row]),
        likely=fit.contradicts and not rest.broken,
        rivals=tuple(np.flatnonzero(rivals).tolist()),
    )


def each_of(count: int, share: float) -> float:
    """The share of false alarms of each of `count` tests so that one of them has `share`."""
    return -math.expm1(math.log1p(-share) / count)


def gains(covariance: Array, slopes: Array, sigma: float, wanted: Array) -> Array:
    """(c,) by how much each candidate reading lowers the summed variance of what is `wanted`.

    `slopes` (c, p) are how the candidates grow with the parameters, each read to `sigma`;
    `wanted` (q, p) takes from the parameters what shall be known better.
    """
    moved = slopes @ covariance
    variances = sigma**2 + np.einsum("cp,cp->c", moved, slopes)
    return np.asarray(((moved @ wanted.T) ** 2).sum(axis=1) / variances)


def informed(covariance: Array, slope: Array, sigma: float) -> Array:
    """`covariance` (p, p) after one more reading of `slope` (p,), read to `sigma`."""
    moved = covariance @ slope
    return np.asarray(covariance - np.outer(moved, moved) / (sigma**2 + slope @ moved))


def blocks(covariance: Array) -> Array:
    """(n, 2, 2) of each place, of the covariance (2n, 2n) of all."""
    n = len(covariance) // 2
    return np.asarray(covariance.reshape(n, 2, n, 2)[range(n), :, range(n), :])


def derivative(function: Callable[[Array], Array], at: Array, step: float = 1e-5) -> Array:
    """(…, k) slopes of `function` at (k,), from differences to either side."""
    steps = step * np.eye(len(at))
    rises = [(function(at + along) - function(at - along)) / (2 * step) for along in steps]
    return np.stack(rises, axis=-1)


SHOWN = 6  # readings or holes named in one line


def in_file(findings: Iterable[Finding], room: str, source: str) -> tuple[Finding, ...]:
    """The findings with `room` before their codes, about the file `source`."""
    return tuple(replace(one, code=f"{room}.{one.code}", where=source) for one in findings)


def the_first(names: Sequence[str], separator: str = "; ") -> str:
    """``a; b; and 3 more``."""
    more = f"{separator}and {len(names) - SHOWN} more" if len(names) > SHOWN else ""
    return separator.join(names[:SHOWN]) + more


def measure_as_well(names: Sequence[str], otherwise: str) -> str:
    """``Measure a as well. Then b and c.``; `otherwise` where there is nothing to measure."""
    then = f" Then {listed(names[1:])}." if names[1:] else ""
    return f"Measure {names[0]} as well.{then}" if names else otherwise


def describe_contradiction(
    what: str,
    fit: A,
    wrong: GrossError[A] | None,
    labels: Sequence[str],
    shown: Callable[[int, float], str],
    *,
    explained: Sequence[str],
    coarse: str,
) -> Finding:
    """Which of the readings that contradict is a gross error, or that no single one is.

    `what` the readings are called; `shown` puts a row into words, less so many mm; `explained` is
    said of the one that is wrong, `coarse` where all could be coarser than stated.
    """
    if wrong is None or not wrong.likely:
        sizes = np.abs(fit.normalised[: fit.equations.readings])
        worst = "; ".join(labels[row] for row in np.argsort(-sizes, kind="stable")[:3])
        message = f"the {what} contradict one another, and no single gross error explains it"
        return Finding("disagree", message, hint=f"Measure these again first: {worst}. {coarse}")
    values = f"{shown(wrong.row, 0.0)}, the other {what} say {shown(wrong.row, wrong.off)}"
    hint = " ".join(explained)
    if rivals := "; ".join(labels[row] for row in wrong.rivals[:SHOWN]):
        hint += f" As likely wrong instead: {rivals}."
    return Finding("gross-error", f"{labels[wrong.row]}: you wrote {values}", hint=hint)


def describe_unchecked(labels: Sequence[str], hint: str = "Measure them twice.") -> Finding:
    """Readings that no other checks well enough."""
    message = f"a gross error of {NOTICED:g} mm would not show in: {the_first(labels)}"
    return Finding("unchecked", message, hint=hint)


def agreement(
    freedom: float, within: float, assumed: float, unit: str = "mm", places: int = 2
) -> str:
    """A sentence on how well readings agree, of which `freedom` are more than needed."""
    spare = round(freedom)
    more = counted(spare, "more reading") if spare else "Not one reading more"
    agree = f"they agree within {within:.{places}f} {unit}" if spare else "nothing checks them"
    return f"{more} than needed; {agree} ({assumed:.2g} {unit} was assumed)."


def describe_coarse(spread: float, stated: float) -> Finding:
    """Readings that agree `spread` times less well than the `stated` uncertainty in mm."""
    message = f"your readings agree within {spread * stated:.2f} mm, not {stated:g} mm as stated"
    return Finding("coarse", message, hint="The result is given as that much less certain.")

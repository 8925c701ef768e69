"""How the causes of a hole's error add up: by root sum of squares, and at worst.

A cause is a number drawn from a distribution about zero, times its effect at each hole.  Causes
are independent of one another; a cause shared by all holes moves them together.  Standard
deviations add as in the law of propagation of uncertainty (JCGM 100:2008, 5.1.2 for
independent causes, from memory), worst cases by their absolute values.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Distribution = Literal["uniform", "triangular", "normal", "arcsine"]
Draw = Literal["shared", "each", "round"]

NORMAL_BOUND = 3.0  # sigmas: a normal term has no end, and is counted so far in the worst case
COVERAGE = 1.959964  # sigmas either side hold 95 % of a normal distribution, from memory

# Half-width over standard deviation: uniform and triangular from JCGM 100:2008, 4.3.7 and 4.3.9,
# arcsine from JCGM 101:2008, 6.4.6.  From memory, all three; the tests integrate them.
DIVISORS: dict[Distribution, float] = {
    "uniform": math.sqrt(3),
    "triangular": math.sqrt(6),
    "arcsine": math.sqrt(2),
    "normal": NORMAL_BOUND,
}


@dataclass(frozen=True)
class Term:
    """One line of a budget as a person reads it: what, how much, how spread, says who."""

    name: str
    size: str
    distribution: Distribution
    source: str


@dataclass(frozen=True, eq=False)
class Cause:
    """One independent cause of `term` and its `effect`, (n, 2) float: mm in x and y at each hole.

    The effect is that of the distribution's half-width (3 sigma where it is normal).  ``shared``:
    one draw moves all holes of a mounting; ``each``: every hole has a draw of its own;
    ``round``: every hole is off by effect[:, 0] in a direction of its own, any as likely as
    another, which makes an arcsine of x and of y.
    """

    term: Term
    draw: Draw
    effect: Array

    @property
    def deviation(self) -> Array:
        """Standard deviation in mm, with the effect's sign, (n, 2)."""
        return np.asarray(self.effect / DIVISORS[self.term.distribution])


def covariance(causes: Sequence[Cause]) -> Array:
    """Covariances in mm² of all holes' x and y with one another, (n, 2, n, 2)."""
    n = len(causes[0].effect)
    total = np.zeros((n, 2, n, 2))
    hole = np.arange(n)
    for cause in causes:
        deviation = cause.deviation
        if cause.draw == "shared":
            total += np.multiply.outer(deviation, deviation)
            continue
        own = deviation[:, :, None] * deviation[:, None, :]
        # Off in any direction, x tells nothing of y's sign: they are uncorrelated.
        total[hole, :, hole, :] += own * np.eye(2) if cause.draw == "round" else own
    return total


def own_blocks(total: Array) -> Array:
    """Each hole's own covariance of x and y out of `total` (n, 2, n, 2), as (n, 2, 2)."""
    hole = np.arange(len(total))
    return np.asarray(total[hole, :, hole, :])


def spacing_deviation(positions: Array, total: Array) -> Array:
    """Standard deviation in mm of the distance between any two holes, (n, n), 0 on the diagonal.

    `positions` is (n, 2) in mm, `total` the covariance of `covariance`.
    """
    apart = positions[None, :, :] - positions[:, None, :]
    length = np.hypot(apart[..., 0], apart[..., 1])
    along = apart / np.where(length > 0, length, 1.0)[..., None]
    own = own_blocks(total)
    both = own[:, None] + own[None, :]
    cross = total.transpose(0, 2, 1, 3)
    variance = np.einsum("ija,ijab,ijb->ij", along, both - cross - cross.swapaxes(2, 3), along)
    return np.asarray(np.sqrt(np.maximum(variance, 0.0)))


def reach(causes: Sequence[Cause], directions: Array) -> Array:
    """Worst error in mm of each hole towards each of m unit `directions` (m, 2), as (n, m)."""
    total = np.zeros((len(causes[0].effect), len(directions)))
    for cause in causes:
        round_ = cause.draw == "round"
        total += cause.effect[:, :1] if round_ else np.abs(cause.effect @ directions.T)
    return total


def worst_radius(causes: Sequence[Cause]) -> Array:
    """Worst distance in mm of each hole from its place, in any direction, (n,).

    Half a degree between the directions tried, so short of the truth by 0.001 % at most.
    """
    angle = np.radians(np.arange(0, 180, 0.5))
    directions = np.column_stack([np.cos(angle), np.sin(angle)])
    return np.asarray(reach(causes, directions).max(axis=1))


def radius_holding(blocks: Array, part: float = 0.95) -> Array:
    """Radius in mm about each hole's place that holds `part` of normally scattered drillings.

    `blocks` is (n, 2, 2), mm².  In coordinates scaled by the two principal deviations s and t
    a normal scatter is round, so the part within R is 1 - mean over φ of
    exp(-R² / 2(s² cos²φ + t² sin²φ)); R is found by halving.
    """
    angle = np.arange(0, 2 * np.pi, 2 * np.pi / 720)
    turned = np.column_stack([np.cos(angle) ** 2, np.sin(angle) ** 2])
    principal = np.maximum(np.linalg.eigvalsh(blocks), 0.0) @ turned.T
    variance = np.maximum(principal, 1e-18)  # mm²: as good as none
    low = np.zeros(len(blocks))
    high = 6.0 * np.sqrt(variance.max(axis=1))
    for _ in range(60):
        middle = (low + high) / 2
        held = 1.0 - np.exp(-(middle[:, None] ** 2) / (2 * variance)).mean(axis=1)
        low = np.where(held < part, middle, low)
        high = np.where(held < part, high, middle)
    return np.asarray(high)

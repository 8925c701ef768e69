"""Drilling a layout many thousand times over with random errors: a check of the budget.

Shares the causes with the budget and nothing else: no divisor and no rule of addition is used.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.accuracy.budget import Budget
from jiggen.accuracy.stack import (
    NORMAL_BOUND,
    Array,
    Cause,
    Distribution,
    own_blocks,
    spacing_deviation,
)

DRILLINGS = 100_000
SEED = 1
_BLOCK = 5_000  # drillings at a time: 200 holes then take some tens of MB


@dataclass(frozen=True, eq=False)
class Simulation:
    """What `drillings` drillings of one budget came to, in the layout's order; mm.

    `covariance` is (n, 2, n, 2); `expected` (n, 2) and `radial_expected` (n,) held 95 % of the
    drillings; `worst` (n, 2) and `radial_worst` (n,) are the greatest errors seen.
    """

    drillings: int
    covariance: Array
    expected: Array
    radial_expected: Array
    worst: Array
    radial_worst: Array

    @property
    def deviation(self) -> Array:
        """Standard deviation in x and y, (n, 2)."""
        return np.sqrt(np.diagonal(own_blocks(self.covariance), axis1=1, axis2=2))

    @property
    def radial_deviation(self) -> Array:
        """Root mean square distance from the hole's place, (n,)."""
        return np.hypot(*self.deviation.T)

    def spacing_deviation(self, positions: Array) -> Array:
        """Standard deviation of the distance between any two holes at `positions`, (n, n)."""
        return spacing_deviation(positions, self.covariance)


def simulate(budget: Budget, drillings: int = DRILLINGS, seed: int = SEED) -> Simulation:
    """Drill every hole `drillings` times, each time with a jig and a ski of its own.

    The same `seed` gives the same numbers.
    """
    rng = np.random.default_rng(seed)
    n = len(budget.layout)
    off = np.empty((drillings, n, 2), dtype=np.float32)  # 30 nm of a mm: finer than any error
    squares = np.zeros((2 * n, 2 * n))
    sums = np.zeros(2 * n)
    for start in range(0, drillings, _BLOCK):
        block = drill(budget, min(_BLOCK, drillings - start), rng)
        off[start : start + len(block)] = block
        flat = block.reshape(len(block), -1)
        squares += flat.T @ flat
        sums += flat.sum(axis=0)
    mean = sums / drillings
    scatter = (squares - drillings * np.outer(mean, mean)) / max(drillings - 1, 1)
    apart = np.hypot(off[..., 0], off[..., 1])
    np.abs(off, out=off)
    return Simulation(
        drillings=drillings,
        covariance=scatter.reshape(n, 2, n, 2),
        expected=np.array([[_held(off[:, i, axis]) for axis in (0, 1)] for i in range(n)]),
        radial_expected=np.array([_held(apart[:, i]) for i in range(n)]),
        worst=off.max(axis=0).astype(np.float64),
        radial_worst=apart.max(axis=0).astype(np.float64),
    )


def _held(errors: NDArray[np.float32]) -> float:
    """What 95 % of the errors stay within; hole by hole, or the copies would fill the memory."""
    return float(np.quantile(errors, 0.95))


def drill(budget: Budget, drillings: int, rng: np.random.Generator) -> Array:
    """Errors in mm of `drillings` mountings of all n holes, (drillings, n, 2)."""
    off = np.zeros((drillings, len(budget.layout), 2))
    for cause in budget.causes:
        off += _errors(cause, drillings, rng)
    return off


def difference(budget: Budget, simulation: Simulation) -> float:
    """Greatest difference of a standard deviation in x, in y or radially, as a part of it."""
    formula = np.column_stack([budget.deviation, budget.radial_deviation])
    drilled = np.column_stack([simulation.deviation, simulation.radial_deviation])
    # Where a budget of nothing but zeros leaves no error, there is none to differ by.
    return float(np.max(np.abs(drilled - formula) / np.maximum(formula, 1e-9)))


def _errors(cause: Cause, drillings: int, rng: np.random.Generator) -> Array:
    """Errors in mm from one cause, to be added to (drillings, n, 2)."""
    n = len(cause.effect)
    if cause.draw == "round":
        angle = rng.uniform(0, 2 * np.pi, (drillings, n))
        return np.asarray(np.stack([np.cos(angle), np.sin(angle)], axis=-1) * cause.effect)
    shape = (drillings, 1, 1) if cause.draw == "shared" else (drillings, n, 1)
    return np.asarray(_DRAWS[cause.term.distribution](rng, shape) * cause.effect)


Shape = tuple[int, int, int]
_DRAWS: dict[Distribution, Callable[[np.random.Generator, Shape], Array]] = {
    "uniform": lambda rng, shape: rng.uniform(-1, 1, shape),
    "triangular": lambda rng, shape: rng.triangular(-1, 0, 1, shape),
    "normal": lambda rng, shape: rng.standard_normal(shape) / NORMAL_BOUND,
    "arcsine": lambda rng, shape: np.cos(rng.uniform(0, 2 * np.pi, shape)),
}
"""Numbers from -1 to 1 in each distribution (a normal one with 3 sigma at 1)."""

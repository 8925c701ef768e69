"""Drilling a layout many thousand times over with random errors: a check of the budget.

Shares the causes with the budget and nothing else: no divisor and no rule of addition is used.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.accuracy.budget import Budget
from jiggen.accuracy.causes import Cause
from jiggen.accuracy.sections import Array
from jiggen.accuracy.terms import NORMAL_BOUND, Distribution

DRILLINGS = 100_000
SEED = 1
_BLOCK = 5_000  # drillings at a time: 200 holes then take some tens of MB


@dataclass(frozen=True, eq=False)
class Simulation:
    """What `drillings` drillings of one budget came to, in the layout's order; mm.

    `blocks` is each hole's own covariance of x and y, (n, 2, 2); the others are (n, 3), in x, in y
    and from the hole's place: `expected` held 95 % of the drillings, `worst` is the greatest seen.
    """

    drillings: int
    blocks: Array
    expected: Array
    worst: Array

    @property
    def deviation(self) -> Array:
        """Standard deviation in x and y, and root mean square distance, (n, 3)."""
        sigma = np.sqrt(np.diagonal(self.blocks, axis1=1, axis2=2))
        return np.column_stack([sigma, np.hypot(*sigma.T)])


def simulate(budget: Budget, drillings: int = DRILLINGS, seed: int = SEED) -> Simulation:
    """Drill every hole `drillings` times, each time with a jig and a ski of its own.

    The same `seed` gives the same numbers.
    """
    rng = np.random.default_rng(seed)
    n = len(budget.layout)
    off = np.empty((drillings, n, 2), dtype=np.float32)  # seven digits: enough, at half the memory
    squares, sums = np.zeros((n, 2, 2)), np.zeros((n, 2))
    for start in range(0, drillings, _BLOCK):
        block = drill(budget, min(_BLOCK, drillings - start), rng)
        off[start : start + len(block)] = block
        squares += np.einsum("kna,knb->nab", block, block)
        sums += block.sum(axis=0)
    mean = sums / drillings
    scatter = squares / drillings - mean[:, :, None] * mean[:, None, :]
    apart = np.hypot(off[..., 0], off[..., 1])
    np.abs(off, out=off)
    columns = (off[..., 0], off[..., 1], apart)
    return Simulation(
        drillings=drillings,
        blocks=scatter,
        expected=np.array([[_held(column[:, i]) for column in columns] for i in range(n)]),
        worst=np.column_stack([column.max(axis=0) for column in columns]).astype(np.float64),
    )


def _held(errors: NDArray[np.float32]) -> float:
    """What 95 % of the errors stay within; hole by hole, or the copies would fill the memory."""
    return float(np.quantile(errors, 0.95))


def drill(budget: Budget, drillings: int, rng: np.random.Generator) -> Array:
    """Errors in mm of `drillings` mountings of all n holes, (drillings, n, 2)."""
    off = np.zeros((drillings, len(budget.layout), 2))
    for cause in budget.causes:
        _ADD[cause.draw](off, cause, rng)
    return off


def difference(budget: Budget, simulation: Simulation) -> float:
    """Greatest difference of a standard deviation in x, in y or radially, as a part of it."""
    formula, drilled = budget.deviation, simulation.deviation
    # Where a budget of nothing but zeros leaves no error, there is none to differ by.
    return float(np.max(np.abs(drilled - formula) / np.maximum(formula, 1e-9)))


def _add_shared(off: Array, cause: Cause, rng: np.random.Generator) -> None:
    """One number a drilling, for all holes."""
    drawn = _DRAWS[cause.term.distribution](rng, (len(off), 1))
    for axis in _axes(cause):
        off[..., axis] += drawn * cause.effect[:, axis]


def _add_each(off: Array, cause: Cause, rng: np.random.Generator) -> None:
    """One number for every hole of every drilling."""
    drawn = _DRAWS[cause.term.distribution](rng, off.shape[:2])
    for axis in _axes(cause):
        off[..., axis] += drawn * cause.effect[:, axis]


def _add_round(off: Array, cause: Cause, rng: np.random.Generator) -> None:
    """One direction for every hole of every drilling."""
    angle = rng.uniform(0, 2 * np.pi, off.shape[:2])
    off[..., 0] += np.cos(angle) * cause.effect[:, 0]
    off[..., 1] += np.sin(angle) * cause.effect[:, 1]


_ADD: dict[str, Callable[[Array, Cause, np.random.Generator], None]] = {
    "shared": _add_shared,
    "each": _add_each,
    "round": _add_round,
}


def _axes(cause: Cause) -> NDArray[np.int_]:
    """The axes, x 0 and y 1, along which the cause moves any hole."""
    return np.flatnonzero(cause.effect.any(axis=0))


Shape = tuple[int, int]
_DRAWS: dict[Distribution, Callable[[np.random.Generator, Shape], Array]] = {
    "uniform": lambda rng, shape: rng.uniform(-1, 1, shape),
    "triangular": lambda rng, shape: rng.triangular(-1, 0, 1, shape),
    "normal": lambda rng, shape: rng.standard_normal(shape) / NORMAL_BOUND,
    "arcsine": lambda rng, shape: np.cos(rng.uniform(0, 2 * np.pi, shape)),
}
"""Numbers from -1 to 1 in each distribution (a normal one with 3 sigma at 1)."""

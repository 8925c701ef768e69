"""Holes of one rigid thing as scans have them: as many readings of distances as their shape holds.

Where a thing lies says nothing, and its scans see all holes through one scanner: their places are
sure or unsure together.  So the distances between them are taken together, in the ways in which
they are known independently of one another.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

import numpy as np

from jiggen.measure.adjustment import Array

_NOTHING = 1e-9  # of the largest variance: a way of all distances that is only rounding


@dataclass(frozen=True, eq=False)
class Sighted:
    """The `holes` of one thing `at` (n, 2) mm in any frame, with their `covariance` (2n, 2n)."""

    holes: tuple[str, ...]
    at: Array
    covariance: Array

    @property
    def pairs(self) -> tuple[tuple[str, str], ...]:
        """All pairs of its holes."""
        return tuple(combinations(self.holes, 2))

    @cached_property
    def _apart(self) -> tuple[Array, Array]:
        """(m,) the distances of the pairs, and (m, 2n) how they grow with the places."""
        ends = [*combinations(range(len(self.holes)), 2)]
        lengths, slopes = np.zeros(len(ends)), np.zeros((len(ends), 2 * len(self.holes)))
        for row, (one, other) in enumerate(ends):
            way = self.at[one] - self.at[other]
            lengths[row] = np.hypot(*way)
            slopes[row, 2 * one : 2 * one + 2] = way / lengths[row]
            slopes[row, 2 * other : 2 * other + 2] = -way / lengths[row]
        return lengths, slopes

    @cached_property
    def ways(self) -> Array:
        """(r, m) that take from all distances what is known of them, each to 1 and by itself."""
        _, slopes = self._apart
        sizes, turned = np.linalg.eigh(slopes @ self.covariance @ slopes.T)
        seen = np.flatnonzero(sizes > _NOTHING * sizes[-1])[-(2 * len(self.holes) - 3) :]
        return np.asarray((turned[:, seen] / np.sqrt(sizes[seen])).T)

    @property
    def values(self) -> Array:
        """(r,) what the scans say of them."""
        return np.asarray(self.ways @ self._apart[0])

"""Which distance to measure next: the one that tells most."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from jiggen.survey.fit import Fit, badness, loosened
from jiggen.survey.network import Array

Pair = tuple[int, int]

_STATES = 16

LOOSE = 50.0
"""What is known of a motion that no reading sees: it is no larger than a plate, in mm."""


def fixing(fit: Fit, count: int) -> list[Pair]:
    """Up to `count` distances that, measured one after another, hold most of what is loose.

    Each is the pair of holes after which the summed variance of all places is least; a motion
    that no reading sees counts with `LOOSE` mm.  Nobody knows where loose holes are, so the
    pair must do well wherever they may be: variances are compared by their mean logarithm.
    """
    states = _states(fit)
    covariances = [
        state.covariance + LOOSE**2 * state.motions.T @ state.motions for state in states
    ]
    places = 2 * fit.network.holes
    pairs = _unmeasured(fit)
    chosen: list[Pair] = []
    while pairs and len(chosen) < count:
        left = np.zeros(len(pairs))
        told, variances = [], []
        for state, covariance in zip(states, covariances, strict=True):
            slopes = _slopes(state, pairs)
            told.append(slopes @ covariance)
            variances.append(_variances(state, slopes, told[-1]))
            gains = (told[-1][:, :places] ** 2).sum(axis=1) / variances[-1]
            left += np.log(np.trace(covariance[:places, :places]) - gains)
        best = int(left.argmin())
        covariances = [
            covariance - np.outer(t[best], t[best]) / v[best]
            for covariance, t, v in zip(covariances, told, variances, strict=True)
        ]
        chosen.append(pairs.pop(best))
    return chosen


def sharpening(fit: Fit) -> Pair | None:
    """The distance after which the least certain hole is most certain; None if all are measured."""
    pairs = _unmeasured(fit)
    if not pairs:
        return None
    slopes = _slopes(fit, pairs)
    told = slopes @ fit.covariance
    variances = _variances(fit, slopes, told)
    moves = told[:, : 2 * fit.network.holes].reshape(len(pairs), -1, 2)
    after = (
        fit.place_covariances
        - np.einsum("pni,pnj->pnij", moves, moves) / variances[:, None, None, None]
    )
    worst = np.linalg.eigvalsh(after)[..., -1].max(axis=1)
    return pairs[int(worst.argmin())]


def checking(fit: Fit, rows: Array) -> Pair | None:
    """The distance that checks the readings in `rows` best; None where none does."""
    pairs = _unmeasured(fit)
    if not pairs:
        return None
    slopes = _slopes(fit, pairs)
    told = slopes @ fit.covariance
    network = fit.network
    read = (network.slopes(fit.unknowns) * network.weights[:, None])[rows]
    gains = ((told @ read.T) ** 2).sum(axis=1) / _variances(fit, slopes, told)
    best = int(gains.argmax())
    return pairs[best] if gains[best] > 0.01 else None


def telling(fit: Fit, other: Array) -> Pair | None:
    """The unmeasured distance that differs most between the places of `fit` and `other` (n, 2)."""
    pairs = _unmeasured(fit)
    if not pairs:
        return None
    first, second = np.array(pairs).T
    here, there = (np.hypot(*(places[first] - places[second]).T) for places in (fit.places, other))
    return pairs[int(np.abs(here - there).argmax())]


def _states(fit: Fit) -> list[Fit]:
    """Places that all readings allow, here and there along what can move."""
    size = float(np.ptp(fit.places, axis=0).max())
    tried = [loosened(fit, 0.5 * size, seed) for seed in range(_STATES)]
    return [state for state in tried if badness(state) < badness(fit) + 1.0] or [fit]


def _unmeasured(fit: Fit) -> list[Pair]:
    """Pairs of holes without a reading of their own."""
    index = fit.network.index
    read = {
        frozenset((index.get(reading.first), index.get(reading.second)))
        for reading in fit.network.survey.readings
    }
    return [
        pair for pair in combinations(range(fit.network.holes), 2) if frozenset(pair) not in read
    ]


def _slopes(fit: Fit, pairs: list[Pair]) -> Array:
    return np.array([fit.network.chord_slope(fit.unknowns, *pair) for pair in pairs])


def _variances(fit: Fit, slopes: Array, told: Array) -> Array:
    """Of the readings to come, as far as they are known already, with their own uncertainty."""
    usual = float(np.median(fit.network.sigmas))
    return np.asarray(usual**2 + np.einsum("pi,pi->p", slopes, told))

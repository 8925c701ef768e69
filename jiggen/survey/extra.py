"""Which distance to measure next: the one that tells most."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from jiggen.survey.fit import Fit
from jiggen.survey.network import Array

Pair = tuple[int, int]

LOOSE = 50.0
"""What is known of a motion that no reading sees: it is no larger than a plate, in mm."""


def fixing(fit: Fit, count: int) -> list[Pair]:
    """Up to `count` distances that, measured one after another, hold most of what is loose.

    Each is the pair of holes by which the summed variance of all places falls most; a motion
    that no reading sees counts with `LOOSE` mm.
    """
    covariance = fit.covariance + LOOSE**2 * fit.motions.T @ fit.motions
    places = 2 * fit.network.holes
    pairs = _unmeasured(fit)
    chosen: list[Pair] = []
    while pairs and len(chosen) < count:
        slopes = _slopes(fit, pairs)
        told = slopes @ covariance
        variances = _variances(fit, slopes, told)
        best = int(np.argmax((told[:, :places] ** 2).sum(axis=1) / variances))
        covariance = covariance - np.outer(told[best], told[best]) / variances[best]
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

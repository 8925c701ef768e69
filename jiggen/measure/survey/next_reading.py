"""Which distance to measure next, as ``a to b``: the one that adds most."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from jiggen.measure.adjustment import Array, gains, informed
from jiggen.measure.survey.fit import Fit

Pair = tuple[int, int]

LOOSE = 50.0
"""What is known of a motion that no reading sees: it is no larger than a plate, in mm."""


def fixing(fit: Fit, count: int) -> list[str]:
    """Up to `count` distances that, measured one after another, hold most of what is loose.

    Each is the pair of holes after which the summed variance of all places is least; a motion
    that no reading sees counts with `LOOSE` mm.  `fit` should be a general state of what is
    loose, as `loosened` makes it: where exactly loose holes are is not known.
    """
    covariance = fit.covariance + LOOSE**2 * fit.motions.T @ fit.motions
    pairs = _unmeasured(fit)
    chosen: list[Pair] = []
    while pairs and len(chosen) < count:
        slopes = _slopes(fit, pairs)
        best = int(gains(covariance, slopes, _sigma(fit), _places(fit)).argmax())
        covariance = informed(covariance, slopes[best], _sigma(fit))
        chosen.append(pairs.pop(best))
    return [_named(fit, pair) for pair in chosen]


def sharpening(fit: Fit) -> str | None:
    """The distance after which the least certain hole is most certain; None if all are measured."""
    pairs = _unmeasured(fit)
    if not pairs:
        return None

    def worst(slope: Array) -> float:
        after = _places(fit) @ informed(fit.covariance, slope, _sigma(fit)) @ _places(fit).T
        count = fit.network.holes
        blocks = after.reshape(count, 2, count, 2)[range(count), :, range(count), :]
        return float(np.linalg.eigvalsh(blocks).max())

    best = int(np.argmin([worst(slope) for slope in _slopes(fit, pairs)]))
    return _named(fit, pairs[best])


def checking(fit: Fit, rows: Array) -> str | None:
    """The distance that checks the readings in `rows` best; None where none does."""
    pairs = _unmeasured(fit)
    if not pairs:
        return None
    network = fit.network
    read = (network.slopes(fit.parameters) * network.weights[:, None])[rows]
    checked = gains(fit.covariance, _slopes(fit, pairs), _sigma(fit), read)
    best = int(checked.argmax())
    return _named(fit, pairs[best]) if checked[best] > 0.01 else None


def distinguishing(fit: Fit, other: Array) -> str | None:
    """The unmeasured distance that differs most between the places of `fit` and `other` (n, 2)."""
    pairs = _unmeasured(fit)
    if not pairs:
        return None
    first, second = np.array(pairs).T
    here, there = (np.hypot(*(places[first] - places[second]).T) for places in (fit.places, other))
    return _named(fit, pairs[int(np.abs(here - there).argmax())])


def _named(fit: Fit, pair: Pair) -> str:
    return " to ".join(fit.network.survey.holes[hole] for hole in pair)


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
    return np.array([fit.network.chord_slope(fit.parameters, *pair) for pair in pairs])


def _places(fit: Fit) -> Array:
    """(2n, p) rows that take the places from the parameters."""
    return np.eye(2 * fit.network.holes, fit.network.size)


def _sigma(fit: Fit) -> float:
    """The standard uncertainty of a reading to come, in mm."""
    return float(np.median(fit.network.sigmas))

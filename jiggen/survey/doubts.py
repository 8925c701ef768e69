"""Which reading is most likely wrong, which could be wrong unnoticed, and whether all agree."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jiggen.survey.fit import CONTRADICTION, Fit, refined, robust, solve
from jiggen.survey.model import KINDS, REACH, Kind
from jiggen.survey.network import Network

NOTICED = 1.0
"""A misreading of so many mm should be seen by other readings."""

_CHECKED = 4.13  # 0.1 % false alarms, 80 % found: Baarda 1968, his usual choice
_TRIED = 12  # readings left out in turn, the likeliest first
_TELLING = 9.2  # squares less: 100 times as likely


@dataclass(frozen=True, eq=False)
class Doubt:
    """The reading most likely wrong, and how the others fit without it.

    `off` is read less what the others say, in mm, and `normalised` that over its standard
    deviation.  `likely`: the readings contradict one another, and without it the rest agree.
    `rivals` are rows that could as well be the wrong one.  `meant` says how it was perhaps
    measured, where that would explain it.
    """

    row: int
    without: Fit
    off: float
    normalised: float
    likely: bool
    rivals: tuple[int, ...]
    meant: Kind | None = None


def doubt(fit: Fit) -> Doubt | None:
    """The most doubtful reading of the plain `fit`; None where nothing checks anything."""
    if not fit.freedom or not (fit.checks > 1e-6).any():
        return None
    contradicts = fit.likelihood < CONTRADICTION
    without, row = _left_out(fit) if contradicts else _likeliest(fit)
    network = fit.network
    plain = refined(network, without.z) if contradicts else fit
    normalised = plain.normalised
    off = float(network.values[row] - network.predicted(without.unknowns)[row])
    return Doubt(
        row,
        without,
        off,
        float(normalised[row]),
        likely=contradicts and without.likelihood > CONTRADICTION,
        rivals=tuple(
            int(other)
            for other in np.flatnonzero(normalised**2 > normalised[row] ** 2 - _TELLING)
            if other != row
        ),
        meant=_meant(network, row, off),
    )


def unchecked(fit: Fit) -> list[int]:
    """Rows of distances in which a misreading of `NOTICED` mm might not be noticed."""
    sizes = fit.network.sigmas * _CHECKED / np.sqrt(np.maximum(fit.checks, 1e-12))
    readings = len(fit.network.survey.readings)
    return [int(row) for row in np.flatnonzero(sizes[:readings] > NOTICED)]


def settled(fit: Fit, found: Doubt | None) -> Fit:
    """The robust fit, begun without the reading in doubt where readings contradict."""
    if found is None or not found.likely:
        return robust(fit)
    return robust(refined(fit.network, found.without.z))


def _likeliest(fit: Fit) -> tuple[Fit, int]:
    row = int(np.abs(fit.normalised).argmax())
    return refined(fit.network.without(row), fit.z), row


def _left_out(fit: Fit) -> tuple[Fit, int]:
    """The fit with one reading left out that is best, or the first that is good; and which."""
    ranked = np.argsort(-np.abs(fit.normalised), kind="stable")
    best: tuple[Fit, int] | None = None
    for row in ranked[:_TRIED]:
        trial = solve(fit.network.without(int(row)))
        if best is None or trial.squares < best[0].squares:
            best = trial, int(row)
        if trial.likelihood > CONTRADICTION:
            break
    assert best is not None  # there is always a row
    return best


def _meant(network: Network, row: int, off: float) -> Kind | None:
    """The way of measuring that would explain a reading off by `off` mm, if one does."""
    readings = network.survey.readings
    if row >= len(readings):
        return None
    reading = readings[row]
    ends = [network.index[end] for end in (reading.first, reading.second) if end in network.index]
    rims = sum(network.survey.diameters[end] for end in ends) / 2
    nearness = max(4 * float(network.sigmas[row]), 0.2)
    for kind in KINDS:
        # Read as `kind`, it would hold that many radii more than the kind written down.
        if (
            kind != reading.kind
            and abs(off - (REACH[kind] - REACH[reading.kind]) * rims) < nearness
        ):
            return kind
    return None

"""Many surveys of invented plates: how often a sound one is refused, and a misread one accepted.

Tests assert on these shares, `tests/bench/survey.py` prints them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from string import ascii_lowercase

import numpy as np
from survey_plates import Plate, changed, misread, noisy

from jiggen.measure.survey.blank import worth_measuring
from jiggen.measure.survey.examination import compare_sides
from jiggen.measure.survey.fit import Fit, refined, solve
from jiggen.measure.survey.network import Network
from jiggen.measure.survey.read import Survey

SIGMA = 0.05
SEED = 15
LEAST = 18.0  # mm between two rows of holes


@dataclass(frozen=True)
class Shares:
    """Of surveys measured as the blank asks.

    `refused`: faultless ones that are called contradictory or not alike.  Of those with one reading
    or diameter 1 mm wrong: `named` it is, `among` it or one said to be as likely, `accepted`.
    """

    refused: float
    named: float
    among: float
    accepted: float


def any_plate(random: np.random.Generator, holes: int, twins: bool) -> Plate:
    """Two columns of holes, at random places, named from the tip to the tail, left before right."""
    rows = holes // 2
    while True:
        x = np.sort(random.uniform(-110.0, 110.0, rows))[::-1]
        if rows == 1 or (-np.diff(x)).min() > LEAST:
            break
    y = random.uniform(12.0, 28.0, (rows, 2))
    both = np.column_stack([x, x])
    if twins:
        y[:, 1] = y[:, 0]
    else:
        both += random.uniform(-6.0, 6.0, (rows, 2))
        y[-1, 0] = y[0, 0]  # in a line along the ski, which says how the plate lies
    at = np.stack([both, y * (1.0, -1.0)], axis=-1).reshape(-1, 2)
    at -= at.mean(axis=0) * ((1.0, 0.0) if twins else (1.0, 1.0))
    return Plate(dict(zip(ascii_lowercase, map(tuple, at.tolist()), strict=False)))


def asked(plate: Plate, twins: bool) -> Survey:
    """A faultless survey of what the blank asks."""
    names = plate.names
    front = max(names, key=lambda name: plate.places[name][0])
    how = (
        {"pairs": tuple(zip(names[::2], names[1::2], strict=True))}
        if twins
        else {"along": (names[-2], names[0]), "left": (names[0],)}
    )
    readings = tuple(
        plate.read(one, other, kind)
        for one, other, kinds in worth_measuring(len(names))
        for kind in kinds
    )
    return replace(plate.survey([], front=(front,), **how), readings=readings)


def spoilt(survey: Survey, row: int, off: float) -> Survey:
    """The survey with one reading, or one of the diameters after them, `off` mm wrong."""
    count = len(survey.readings)
    if row < count:
        return misread(survey, row, off)
    name = survey.holes[row - count]
    sizes = survey.file.holes
    return changed(survey, holes={**sizes, name: sizes[name] + off})


def from_truth(plate: Plate) -> Callable[[Survey], Fit]:
    """What fits surveys of `plate` from its true places on: quicker than to search for a start."""

    def fitted(survey: Survey) -> Fit:
        network = Network(survey)
        true = np.concatenate([plate.truth.ravel(), survey.diameters])
        return refined(network, true @ network.equations.basis)

    return fitted


def shares(
    holes: int, runs: int, *, twins: bool, off: float = 1.0, quick: bool = False, seed: int = SEED
) -> Shares:
    """Shares over `runs` plates, each measured once without and once with a gross error."""
    random = np.random.default_rng(seed)
    refused = named = among = accepted = 0
    for _ in range(runs):
        plate = any_plate(random, holes, twins)
        fit = from_truth(plate) if quick else lambda survey: solve(Network(survey))
        survey = noisy(asked(plate, twins), random, SIGMA)
        sound = fit(survey)
        refused += sound.contradicts or compare_sides(sound).verdict == "different"
        row = int(random.integers(len(survey.readings) + holes))
        wrong = fit(spoilt(survey, row, float(random.choice([-off, off]))))
        found = wrong.gross_error
        assert found is not None
        accepted += not wrong.contradicts
        named += found.likely and found.row == row
        among += found.likely and row in (found.row, *found.rivals)
    return Shares(*(share / runs for share in (refused, named, among, accepted)))

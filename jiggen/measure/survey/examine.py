"""Everything there is to say about a survey, in one value."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from jiggen.measure.adjustment import REGION, Array, GrossError, find_gross_error
from jiggen.measure.survey.ambiguity import Alternative, alternatives
from jiggen.measure.survey.fit import Fit, loosened, refined, robust, solve, without
from jiggen.measure.survey.model import Survey
from jiggen.measure.survey.network import Network
from jiggen.measure.survey.rigidity import Rigidity, rigidity
from jiggen.measure.survey.symmetry import Symmetry, look_alikes, symmetry

LIMIT = 0.3
"""The greatest 95 % uncertainty of a place that a pattern is written with, in mm."""

_TRIED = 12  # readings left out in turn, the most suspect first


@dataclass(frozen=True, eq=False)
class Examination:
    """A survey solved and judged; arrays in the order of the survey's holes, in mm.

    `fit` is robust, `plain` counts every reading alike.  `scale` is how much coarser than stated
    the readings proved to be (1 where that could be chance): `deviations` (n, 2) and `within`
    (n,), what 95 of 100 such surveys stay within, have it in them.  Both are infinite for a hole
    that can still move.  `symmetry` leaves out a reading that is likely wrong; `unlike` is how
    left and right would differ if that, and no misreading, were why readings contradict.
    """

    survey: Survey
    fit: Fit
    plain: Fit
    rigidity: Rigidity
    others: tuple[Alternative, ...]
    gross_error: GrossError[Fit] | None
    unchecked: tuple[int, ...]
    symmetry: Symmetry
    unlike: Symmetry | None
    alike: tuple[tuple[str, str], ...]
    scale: float
    deviations: Array
    within: Array

    @property
    def contradicts(self) -> bool:
        """The readings disagree more than chance would have it."""
        return self.plain.contradicts

    @property
    def places(self) -> Array:
        """(n, 2) x and y in mm from the plate's origin."""
        return self.fit.places


def examine(survey: Survey, sigma: float | None = None) -> Examination:
    """Solve `survey` and judge it; `sigma` in mm takes the place of the survey's own.

    Nothing is raised for a bad survey: what is wrong with it is in the result, and in the
    findings that `jiggen.measure.survey.findings` makes of it.
    """
    plain = loosened(solve(Network(survey, sigma)))
    found = suspect(plain)
    sound = found.without if found and found.likely else plain
    # Begun without the suspect reading, but with every reading in it.
    fit = robust(plain if sound is plain else refined(plain.network, sound.z))
    held = rigidity(fit)
    deviations, within = _uncertainties(fit, plain.spread)
    rigid = held.rigid
    sure = rigid and not plain.contradicts and within.max() <= LIMIT
    whole = symmetry(plain)
    return Examination(
        survey=survey,
        fit=fit,
        plain=plain,
        rigidity=held,
        others=alternatives(sound, within) if rigid else (),
        gross_error=found,
        unchecked=plain.unchecked(len(survey.readings)),
        symmetry=whole if sound is plain else symmetry(sound),
        unlike=whole if whole.explains else None,
        alike=look_alikes(fit, within) if sure and not survey.pairs else (),
        scale=plain.spread,
        deviations=deviations,
        within=within,
    )


def suspect(fit: Fit) -> GrossError[Fit] | None:
    """The reading of the plain `fit` that is most likely wrong; None where none is checked."""
    found = find_gross_error(fit, without, _TRIED)
    if not found or not found.likely:
        return found
    # A large one may have folded the plate: judged again where the others have it.
    again = find_gross_error(refined(fit.network, found.without.z), without, _TRIED)
    return again if again and again.row == found.row else found


def _uncertainties(fit: Fit, scale: float) -> tuple[Array, Array]:
    """Standard deviations (n, 2), and the reach (n,) of each place's 95 % region, in mm."""
    squares = fit.place_covariances
    moves = np.hypot.reduce(fit.motions[:, : 2 * fit.network.holes], axis=0, initial=0.0)
    loose = moves.reshape(-1, 2) > 1e-6
    deviations = np.where(loose, np.inf, scale * np.sqrt(np.einsum("nii->ni", squares)))
    reach = scale * REGION * np.sqrt(np.clip(np.linalg.eigvalsh(squares)[:, -1], 0.0, None))
    return deviations, np.where(loose.any(axis=1), np.inf, reach)

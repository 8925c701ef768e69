"""A survey solved and judged, left and right compared, in one value."""

from collections import Counter
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Literal

import numpy as np
from scipy.special import chdtri

from jiggen.measure.adjustment import CONTRADICTION, REGION, Array, each_of
from jiggen.measure.survey.fit import Fit, loosened, refined, robust, solve
from jiggen.measure.survey.network import Network
from jiggen.measure.survey.read import Survey
from jiggen.measure.survey.rigidity import Alternative, Rigidity, alternatives, find_rigidity


@dataclass(frozen=True)
class Symmetry:
    """What the readings say of the pairs and the centre line that the survey names.

    ``symmetric``: they may be so; ``assumed``: no reading shows it; ``none`` are named.  `worst`
    holes lie `off` mm from being mirror images.  ``different``: that is more than `within` mm,
    which a pair of a symmetric plate exceeds by chance in `CONTRADICTION` of surveys.  `explains`:
    readings that contradict one another all agree once no pair is imposed.
    """

    verdict: Literal["symmetric", "different", "assumed", "none"]
    worst: tuple[str, ...] = ()
    off: float = 0.0
    within: float = 0.0
    explains: bool = False


_KNOWN = 1e-12  # mm²; a smaller variance is that of what rules fix
_SAME = 1e-9  # mm


def compare_sides(fit: Fit) -> Symmetry:
    """Compare the plain `fit` with one in which no pair is imposed.

    The worst is the pair farthest from being one, about the axis that fits all pairs best.
    """
    groups = list(fit.network.mirrored())
    if not groups:
        return Symmetry("none")
    network = fit.network.freed()
    free = refined(network, fit.parameters @ network.equations.basis)
    more = round(fit.freedom - free.freedom)
    if more <= 0 or find_rigidity(free).lacking:
        return Symmetry("assumed")
    rows = np.vstack([own for _, own in groups])
    x, y = free.places.T
    axis = np.zeros((network.size, 2))  # what a turn and a shift of the axis do
    axis[: 2 * network.holes, 0] = np.column_stack([-y, x]).ravel()
    axis[: 2 * network.holes, 1] = np.tile([0.0, 1.0], network.holes)
    effects = rows @ axis
    rest = rows - effects @ np.linalg.pinv(effects) @ rows
    off = rest @ free.parameters
    spread = free.spread**2 * rest @ free.covariance @ rest.T
    chance, first, found = each_of(len(groups), CONTRADICTION), 0, []
    for names, own in groups:
        part = slice(first, first + len(own))
        first += len(own)
        sizes, ways = np.linalg.eigh(spread[part, part])
        known = sizes > _KNOWN
        if known.any():  # of one pair alone the axis has taken up what could be seen
            parts = ways[:, known].T @ off[part]
            limit = float(np.sqrt(chdtri(known.sum(), chance)))
            size, far = (
                float(np.hypot.reduce(each)) for each in (parts, parts / sizes[known] ** 0.5)
            )
            reach = limit * (size / far if size > _SAME else float(sizes[-1]) ** 0.5)
            found.append((size / reach, size, reach, names))
    if not found:
        return Symmetry("assumed")
    share, size, reach, names = max(found)
    different = share > 1.0
    return Symmetry(
        "different" if different else "symmetric",
        names,
        size,
        reach,
        explains=different and fit.contradicts and not free.contradicts,
    )


@dataclass(frozen=True)
class Scale:
    """What readings with another tool say of the first tool's scale, as shares of a length.

    It reads `long` more than the other, known to `known` (a standard uncertainty).
    """

    long: float
    known: float

    @property
    def most(self) -> float:
        """What equal tools exceed by chance in `CONTRADICTION` of surveys."""
        return self.known * -NormalDist().inv_cdf(CONTRADICTION / 2)

    @property
    def differs(self) -> bool:
        """More than chance would have it."""
        return abs(self.long) > self.most


def compare_scales(fit: Fit) -> Scale | None:
    """The scale of the readings of `fit` by what was measured again; None where nothing was.

    No reading of one tool can show that all of them are too long or too short.
    """
    survey, count = fit.network.survey, len(fit.network.survey.readings)
    if not survey.again:
        return None
    both = Network(replace(survey, readings=(*survey.readings, *survey.again)))
    rows = slice(count, count + len(survey.again))
    lengths = both.predicted(fit.parameters)[rows]
    slopes = both.slopes(fit.parameters)[rows]
    covariance = slopes @ (fit.spread**2 * fit.covariance) @ slopes.T + np.diag(
        both.sigmas[rows] ** 2
    )
    weighted = np.linalg.solve(covariance, lengths)
    information = float(weighted @ lengths)
    long = float(weighted @ (lengths - both.equations.values[rows])) / information
    return Scale(long, information**-0.5)


def find_possible_pairs(fit: Fit, within: Array) -> tuple[tuple[str, str], ...]:
    """Pairs (left, right) if every hole off the centre line has a mirror image, else none.

    `within` (n,) is how near in mm each place is known.
    """
    places, every = fit.places, np.arange(fit.network.holes)
    gaps = np.hypot(*(places[:, None] - places * (1.0, -1.0)).transpose(2, 0, 1))
    twins = gaps.argmin(axis=1)
    near = gaps[every, twins] <= np.hypot(within, within[twins])
    if not near.all() or (twins[twins] != every).any():
        return ()
    names = np.array(fit.network.survey.holes)
    left = (twins != every) & (places[:, 1] > 0)
    return tuple(zip(names[left].tolist(), names[twins[left]].tolist(), strict=True))


_LIMIT = 0.3  # mm; pairs are looked for where every place is known so well (95 %)


@dataclass(frozen=True, eq=False)
class Examination:
    """A survey solved and judged; arrays in the order of the survey's holes, in mm.

    `fit` is robust, `plain` gives every reading its stated weight.  `places` (n, 2) are NaN, and
    `deviations` (n, 2) and `within` (n,), what 95 of 100 such surveys stay within, infinite where
    they are not known: of a hole that can still move, or fits elsewhere as well.  The last two have
    in them how much coarser than stated the readings proved to be.  `symmetry`
    leaves out a reading that is likely wrong; `asymmetry` is how left and right would differ if
    that, and no gross error, were why readings contradict.
    """

    survey: Survey
    fit: Fit
    plain: Fit
    rigidity: Rigidity
    others: tuple[Alternative, ...]
    unchecked: tuple[int, ...]
    symmetry: Symmetry
    asymmetry: Symmetry | None
    scale: Scale | None
    possible_pairs: tuple[tuple[str, str], ...]
    places: Array
    deviations: Array
    within: Array

    @property
    def unknown(self) -> tuple[str, ...]:
        """The holes whose places are not known."""
        return tuple(np.array(self.survey.holes)[np.isinf(self.within)].tolist())


def examine(survey: Survey, sigma: float | None = None) -> Examination:
    """Solve `survey`, a bad one too, and judge it; `sigma` in mm takes the place of its own."""
    plain = loosened(solve(Network(survey, sigma)))
    found = plain.gross_error
    sound = found.without if found and found.likely else plain
    # Begun without the suspect reading, but with every reading in it.
    fit = robust(plain if sound is plain else refined(plain.network, sound.z))
    rigidity = find_rigidity(fit)
    squares = fit.place_covariances
    moves = np.hypot.reduce(fit.motions[:, : squares[:, 0].size], axis=0, initial=0.0)
    loose = moves.reshape(-1, 2) > 1e-6
    deviations = plain.spread * np.sqrt(np.einsum("nii->ni", squares))
    reach = plain.spread * REGION * np.sqrt(np.clip(np.linalg.eigvalsh(squares)[:, -1], 0.0, None))
    within = np.where(loose.any(axis=1), np.inf, reach)
    sure = rigidity.rigid and not plain.contradicts and within.max() <= _LIMIT
    unpaired = not survey.file.plate.pairs
    whole = compare_sides(plain)
    others = alternatives(sound, within) if rigidity.rigid else ()
    elsewhere = {hole for other in others for hole in other.moved or range(len(within))}
    loose[sorted(elsewhere)] = True
    return Examination(
        survey=survey,
        fit=fit,
        plain=plain,
        rigidity=rigidity,
        others=others,
        unchecked=plain.unchecked(len(survey.readings)),
        symmetry=whole if sound is plain else compare_sides(sound),
        asymmetry=whole if whole.explains else None,
        scale=compare_scales(fit) if rigidity.rigid else None,
        possible_pairs=find_possible_pairs(fit, within) if sure and unpaired else (),
        places=np.where(loose, np.nan, fit.places),
        deviations=np.where(loose, np.inf, deviations),
        within=np.where(loose.any(axis=1), np.inf, reach),
    )


def seen_from_a_hole(found: Examination) -> tuple[Examination, str]:
    """For a sketch: the examination itself, while it knows the place of any hole.

    Else one in which x begins at the hole that was measured most, and that hole's name.
    """
    survey, file = found.survey, found.survey.file
    ends = Counter(end for one in survey.readings for end in (one.first, one.second))
    if len(found.unknown) < len(survey.holes) or not ends:
        return found, ""
    hole = max(survey.holes, key=lambda name: ends[name])
    plate = file.plate.model_copy(update={"origin": (hole,)})
    moved = replace(survey, file=file.model_copy(update={"plate": plate}))
    return examine(moved), hole

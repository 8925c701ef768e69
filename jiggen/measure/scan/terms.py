"""What is known of a scanner before it is asked, and what its own turns say of it.

A flatbed scanner has one line of sensors and one way of the carriage.  So where a point is seen is
off by a function of its place along the sensor and one of its place along the carriage, each across
and along: four functions, smooth ones with rough ones on them, as normal processes.
How large they are the turns themselves tell, by restricted maximum likelihood (Patterson and
Thompson 1971, from memory) weighed by what scanners usually are.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.adjustment import Array

# Five A4 scanners were off by 0.9 to 4 pixels r.m.s. at 300 or 600 dpi (Suitability of A4 desktop
# scanners, ACRS 1997), scale among it; a consumer one 0.65 mm in the
# middle (pixls.us, thread 29481).
SCALE = 0.004  # standard uncertainty of a scale by the file's resolution, along and across
SQUARE = 0.004  # rad, of the angle between sensor and carriage
FARTHEST_SCALE = 0.012  # three of them: the file's resolution or the distance is wrong
BIAS = 0.05  # mm, of all diameters together: where brightness is halfway, and the rim's shadow
DIAMETER = 0.02  # mm, of one diameter beside the others
_IMPOSSIBLE = 0.005  # of all; a size so unlikely is left out
ROUGH_REACH = 60.0  # mm over which rough distortion is alike (our choice)

# Usual size in mm, and the factor that one in three scanners is beyond either way (our choice,
# within what the sources above have).
_USUAL = {
    "smooth": (0.07, 2.2),
    "rough": (0.012, 2.5),
    "noise": (0.005, 1.8),
    "shade": (0.012, 2.5),
    "reach": (70.0, 1.6),
}
_TRIED = {
    "smooth": (0.02, 0.04, 0.08, 0.16, 0.32),
    "rough": (0.003, 0.01, 0.03, 0.08),
    "noise": (0.0025, 0.005, 0.01, 0.025),
    "shade": (0.004, 0.025),
    "reach": (45.0, 70.0, 110.0),
}


@dataclass(frozen=True)
class Scatter:
    """Standard deviations in mm: `smooth` and `rough` distortion, `noise` of a centre in one scan,
    and `shade`: how much the rim's shadow moves one hole more than another along the carriage.
    `reach` is over how many mm smooth distortion is alike.
    """

    smooth: float
    rough: float
    noise: float
    shade: float
    reach: float

    @property
    def oddity(self) -> float:
        """Minus twice the logarithm of how usual it is."""
        return sum(
            (math.log(getattr(self, name) / usual) / math.log(factor)) ** 2
            for name, (usual, factor) in _USUAL.items()
        )


def usual() -> Scatter:
    """What scanners usually are."""
    return Scatter(**{name: size for name, (size, _) in _USUAL.items()})


def likeness(at: Array, scatter: Scatter) -> Array:
    """(n, n) covariance in mm² of one function at the places (n,) along its axis."""
    smooth, rough = _smooth(at, scatter.reach), _rough(at)
    return np.asarray(scatter.smooth**2 * smooth + scatter.rough**2 * rough)


def _smooth(at: Array, reach: float) -> Array:
    """How alike smooth distortion is at places, 0 to 1."""
    far = math.sqrt(5) * np.abs(at[:, None] - at[None]) / reach
    return np.asarray((1 + far + far**2 / 3) * np.exp(-far))  # Matérn, 5/2


def _rough(at: Array) -> Array:
    return np.asarray(np.exp(-np.abs(at[:, None] - at[None]) / ROUGH_REACH))


def modes(at: Array, scatter: Scatter, least: float = 1e-3) -> Array:
    """(n, k) independent shapes of one function, mm for each standard deviation; `least` in mm."""
    sizes, shapes = np.linalg.eigh(likeness(at, scatter))
    seen = sizes > least**2
    return np.asarray(shapes[:, seen] * np.sqrt(sizes[seen]))


def likely(
    seen: Array, hole: NDArray[np.int_], sigma: Array, beyond: Array, known: Array, left: Array
) -> list[tuple[Scatter, float]]:
    """Scatters with their weights, which sum to 1, the likeliest first.

    `seen` (n, 2) are places in pictures in mm, `hole` (n,) the hole of each, `sigma` (n,) what its
    edge says of its centre.  `left` (2n,) are the residuals of a first fit, x before y, `known`
    (2n, j) how they grow with what is known before, to 1, and `beyond` (2n, k) orthonormal
    directions that they do not grow along with what is not known at all.
    """

    def part(spread: NDArray[np.floating]) -> Array:
        return np.asarray(beyond.T @ spread @ beyond)

    def both(spread: Array) -> Array:
        return part(np.kron(np.eye(2), spread))

    fixed = part(known @ known.T + np.diag(np.tile(sigma**2, 2)))
    same = part(np.kron(np.diag([0.0, 1.0]), hole[:, None] == hole[None]))
    rough = both(_rough(seen[:, 0]) + _rough(seen[:, 1]))
    smooth = {
        reach: both(_smooth(seen[:, 0], reach) + _smooth(seen[:, 1], reach))
        for reach in _TRIED["reach"]
    }
    even, rest = np.eye(beyond.shape[1]), beyond.T @ left
    evens = [*itertools.product(_TRIED["noise"], _TRIED["shade"])]
    small = np.array([noise**2 * even + shade**2 * same for noise, shade in evens])
    found: list[tuple[Scatter, float]] = []
    for wide, fine, reach in itertools.product(_TRIED["smooth"], _TRIED["rough"], _TRIED["reach"]):
        spread = fixed + wide**2 * smooth[reach] + fine**2 * rough
        for (noise, shade), off in zip(evens, _disfavours(spread + small, rest), strict=True):
            scatter = Scatter(wide, fine, noise, shade, reach)
            found.append((scatter, -off - scatter.oddity))
    best = max(score for _, score in found)
    weights = np.array([math.exp(max(-700.0, (score - best) / 2)) for _, score in found])
    weights /= weights.sum()
    order = np.argsort(-weights, kind="stable").tolist()
    return [(found[n][0], float(weights[n])) for n in order]


def representative(found: list[tuple[Scatter, float]], count: int) -> list[tuple[Scatter, float]]:
    """About `count` of the scatters that stand for all, with weights.

    Each size of distortion that is not next to impossible is among them with its own weight: the
    large ones, though unlikely, make much of a region.
    """
    sizes: dict[tuple[float, float], list[tuple[Scatter, float]]] = {}
    for one in sorted(found, key=lambda one: (one[0].reach, one[0].noise, one[0].shade)):
        sizes.setdefault((one[0].smooth, one[0].rough), []).append(one)
    chosen: list[tuple[Scatter, float]] = []
    for group in sizes.values():
        share = sum(weight for _, weight in group)
        if share < _IMPOSSIBLE:
            continue
        times = max(1, round(count * share))
        sums = np.cumsum([weight for _, weight in group])
        places: list[int] = np.searchsorted(sums, (np.arange(times) + 0.5) / times * share).tolist()
        chosen += [(group[n][0], share / times) for n in places]
    whole = sum(weight for _, weight in chosen)
    return [(scatter, weight / whole) for scatter, weight in chosen]


def _disfavours(spreads: Array, rest: Array) -> list[float]:
    """Minus twice the logarithmic likelihood of `rest` (k,) by each of `spreads` (n, k, k), but for
    a constant.

    Where nothing is redundant, as in one scan, it is the same for every spread.
    """
    # a last row under each makes its factor hold `rest` in independent standard uncertainties
    both = np.pad(spreads, ((0, 0), (0, 1), (0, 1)))
    both[:, -1, :-1] = rest
    both[:, -1, -1] = 1.0 + rest @ rest / min(_TRIED["noise"]) ** 2
    lower = np.linalg.cholesky(both)
    sizes = np.diagonal(lower, axis1=1, axis2=2)[:, :-1]
    squares = (lower[:, -1, :-1] ** 2).sum(axis=1)
    found: list[float] = (squares + 2 * np.log(sizes).sum(axis=1)).tolist()
    return found

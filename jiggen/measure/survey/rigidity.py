"""Whether the readings hold every hole, and what can still move where they do not.

The rigidity matrix (one row per reading, how it grows with each unknown) sees every motion of a
rigid plate.  Motions it does not see are split into those of the plate as a whole, which more
distances between holes cannot stop, and those of holes against one another.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations, islice

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.adjustment import Array
from jiggen.measure.survey.fit import Fit, refined, reflections, righted, starts

_STILL = 1e-6  # mm a distance changes by for 1 mm of a motion


@dataclass(frozen=True)
class Hinge:
    """Holes that hang together but move against the largest body.

    One pin: they swing about it.  None: nothing holds them to that body.  Two and more: they lie
    in one line with those, and give way across it.
    """

    holes: tuple[str, ...]
    pins: tuple[str, ...]


@dataclass(frozen=True)
class Rigidity:
    """What moves: `lacking` distances at least are missing between holes.

    `unknowns` are free unknowns, `rank` is the rank of the rigidity matrix.  `hinges` say which
    holes move against the largest body; `whole` in which of ``turn``, ``along`` and ``across``
    the plate as a whole can still be moved on the ski.
    """

    unknowns: int
    rank: int
    lacking: int
    hinges: tuple[Hinge, ...]
    whole: tuple[str, ...]

    @property
    def rigid(self) -> bool:
        """Nothing moves."""
        return not self.lacking and not self.whole

    @property
    def loose(self) -> tuple[str, ...]:
        """Holes that move against the largest body, each once."""
        return tuple(dict.fromkeys(name for hinge in self.hinges for name in hinge.holes))


def find_rigidity(fit: Fit) -> Rigidity:
    """The rigidity of the readings at the places of `fit`."""
    network = fit.network
    unknowns = network.basis.shape[1]
    free = len(fit.motions)
    moves = fit.motions[:, : 2 * network.holes]
    pairs = list(combinations(range(network.holes), 2))
    stretches = np.array([network.chord_slope(fit.parameters, *pair) for pair in pairs])
    stretched = stretches[:, : 2 * network.holes] @ moves.T
    sizes = np.linalg.svd(stretched, compute_uv=False)
    lacking = int((sizes > _STILL).sum())
    still = np.eye(network.holes, dtype=bool)
    for (i, j), stretch in zip(pairs, stretched, strict=True):
        still[i, j] = still[j, i] = np.hypot.reduce(stretch, initial=0.0) < _STILL
    names = network.survey.holes
    hinges = tuple(
        Hinge(tuple(names[i] for i in holes), tuple(names[i] for i in pins))
        for holes, pins in _hinges(still, fit.places)
    )
    return Rigidity(unknowns, unknowns - free, lacking, hinges, _whole(fit, stretched))


def _hinges(still: NDArray[np.bool_], places: Array) -> Iterator[tuple[list[int], list[int]]]:
    """What hangs on the largest body, and by which of its holes; those that hang on it first."""
    bodies = {
        _body(still, still[i] & still[j])
        for i, j in zip(*np.nonzero(still), strict=True)
        if i < j or still[i].sum() == 1  # a hole that hangs with no other is a body of its own
    }
    ordered = sorted(bodies, key=lambda body: (-len(body), -_width(places, body), sorted(body)))
    main = ordered[0]
    named: set[int] = set(main)
    for attached in (True, False):
        for body in ordered[1:]:
            pins = body & main
            holes = sorted(body - named)
            if holes and bool(pins) is attached:
                yield holes, sorted(pins)
                named |= body


def _width(places: Array, body: frozenset[int]) -> float:
    """How far a body is from lying in one line, in whole mm."""
    part = places[sorted(body)]
    return round(float(np.linalg.svd(part - part.mean(axis=0), compute_uv=False)[-1]))


def _body(still: NDArray[np.bool_], part: NDArray[np.bool_]) -> frozenset[int]:
    """The most of `part` (n,) in which every two holes keep their distance."""
    part = part.copy()
    while (moving := (~still[part][:, part]).sum(axis=0)).any():
        part[np.flatnonzero(part)[moving.argmax()]] = False
    return frozenset(np.flatnonzero(part).tolist())


def _whole(fit: Fit, stretched: Array) -> tuple[str, ...]:
    """How the plate as a whole can move: motions that stretch no distance between holes."""
    network = fit.network
    count = len(fit.motions)
    if not count:
        return ()
    _, sizes, modes = np.linalg.svd(stretched, full_matrices=True)
    padded = np.concatenate([sizes, np.zeros(count)])[:count]
    moves = modes[padded <= _STILL] @ fit.motions[:, : 2 * network.holes]
    places = fit.places - fit.places.mean(axis=0)
    reach = max(float(np.hypot(*places.T).max()), 1.0)
    along, across = (np.tile(axis, network.holes) for axis in ([1.0, 0.0], [0.0, 1.0]))
    turn = np.column_stack([-places[:, 1], places[:, 0]]).ravel() / reach
    parts = {"turn": turn, "along": along, "across": across}
    return tuple(
        word
        for word, part in parts.items()
        if (np.abs(moves @ part) > _STILL * np.hypot.reduce(part)).any()
    )


_TELLING = 13.8  # squares more: a thousand times less likely
_FOLDS = 24
_STARTS = 13
_ELSEWHERE = 0.5  # mm; less is noise, or the same place
_SHOWN = 5


@dataclass(frozen=True, eq=False)
class Alternative:
    """Places (n, 2) in mm that fit as well, laid on the others by the holes that they share.

    `moved` are the holes that lie elsewhere against the rest; none where only the whole plate is
    turned or mirrored, and then `places` are as found.
    """

    places: Array
    moved: tuple[int, ...]


def alternatives(fit: Fit, within: Array) -> tuple[Alternative, ...]:
    """Other arrangements as likely as the plain `fit`, those with the fewest moved holes first.

    `within` (n,) in mm is how near each place is known; a hole nearer than that has not moved.
    """
    found: dict[tuple[int, ...], Alternative] = {}
    for other in _others(fit):
        if other.squares > fit.squares + _TELLING:
            continue
        if other.wrong_side > fit.wrong_side:
            continue
        gaps = np.hypot(*(other.places - fit.places).T)
        if (gaps > np.maximum(2 * within, _ELSEWHERE)).any():
            same = _together(fit.places, other.places, within)
            moved = tuple(np.setdiff1d(np.arange(len(within)), same).tolist())
            found.setdefault(moved, Alternative(_aligned(other.places, fit.places, same), moved))
    fewest: list[Alternative] = []
    for moved in sorted(found, key=len):
        if not any(set(less.moved) <= set(moved) for less in fewest):
            fewest.append(found[moved])
    return tuple(fewest[:_SHOWN])


def _together(here: Array, there: Array, within: Array) -> NDArray[np.int_]:
    """The largest part that has the same shape in both, grown hole by hole."""
    shapes = (np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1)) for at in (here, there))
    allowed = np.maximum(2 * (within[:, None] + within), _ELSEWHERE)
    same = np.abs(next(shapes) - next(shapes)) <= allowed
    parts = same.copy()  # row i: the part grown from hole i
    for part in parts:
        while True:
            misfits = (~same[part][:, part]).sum(axis=0)
            if not misfits.any():
                break
            part[np.flatnonzero(part)[misfits.argmax()]] = False
    return np.flatnonzero(parts[parts.sum(axis=1).argmax()])


def _aligned(places: Array, onto: Array, by: NDArray[np.int_]) -> Array:
    """`places` turned and shifted so that the holes `by` lie best on `onto`."""
    if len(by) == len(places) or len(by) < 2:
        return places
    here, there = (at[:, 0] + 1j * at[:, 1] for at in (onto, places))
    centres = here[by].mean(), there[by].mean()
    turn = np.vdot(there[by] - centres[1], here[by] - centres[0])
    moved = (there - centres[1]) * turn / abs(turn) + centres[0]
    return np.column_stack([moved.real, moved.imag])


def _others(fit: Fit) -> Iterator[Fit]:
    yield from reflections(fit, _FOLDS)
    for z in islice(starts(fit.network, _STARTS), 1, None):
        yield righted(refined(fit.network, z))

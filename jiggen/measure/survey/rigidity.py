"""Whether the readings hold every hole, and what can still move where they do not.

The rigidity matrix (one row per reading, how it grows with each unknown) sees every motion of a
rigid plate.  Motions it does not see are split into those of the plate as a whole, which more
distances between holes cannot stop, and those of holes against one another.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import chain, combinations, islice

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.adjustment import Array
from jiggen.measure.survey.fit import Fit, refined, reflections, righted, starts
from jiggen.measure.survey.network import Numbers

Flags = NDArray[np.bool_]

_STILL = 1e-6  # mm a distance changes by for 1 mm of a motion


@dataclass(frozen=True)
class Hinge:
    """Holes that hang together but move against the largest body.

    One pin: they swing about it.  None: nothing holds them.  More: they lie in one line with those.
    """

    holes: tuple[str, ...]
    pins: tuple[str, ...]


@dataclass(frozen=True)
class Rigidity:
    """What moves: `lacking` distances at least are missing between holes.

    `unknowns` are free, `rank` is that of the rigidity matrix.  `hinges` say which holes move
    against the largest body; `whole` how the plate can: ``turn``, ``along``, ``across``.
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
    holes, names = fit.network.holes, fit.network.survey.holes
    moves = fit.motions[:, : 2 * holes]
    pairs = np.array(list(combinations(range(holes), 2)))
    stretched = fit.network.chord_slopes(fit.parameters, pairs)[:, : 2 * holes] @ moves.T
    _, sizes, modes = np.linalg.svd(stretched, full_matrices=True)
    lacking = int((sizes > _STILL).sum())
    still = np.eye(holes, dtype=bool)
    still[tuple(pairs.T)] = np.hypot.reduce(stretched, axis=1, initial=0.0) < _STILL
    hinges = tuple(
        Hinge(tuple(names[i] for i in moving), tuple(names[i] for i in pins))
        for moving, pins in _hinges(still | still.T, fit.places)
    )
    whole = _whole(fit.places, modes[lacking:] @ moves)
    return Rigidity(len(fit.z), len(fit.z) - len(moves), lacking, hinges, whole)


def _hinges(still: Flags, places: Array) -> Iterator[tuple[list[int], list[int]]]:
    """What hangs on the largest body, and by which of its holes; those that hang on it first."""

    def width(body: frozenset[int]) -> float:
        """How far a body is from lying in one line, in whole mm."""
        part = places[sorted(body)]
        return round(float(np.linalg.svd(part - part.mean(axis=0), compute_uv=False)[-1]))

    bodies = {
        frozenset(_alike(still, still[i] & still[j]).tolist())
        for i, j in zip(*np.nonzero(still), strict=True)
        if i < j or still[i].sum() == 1  # a hole that hangs with no other is a body of its own
    }
    main, *rest = sorted(bodies, key=lambda body: (-len(body), -width(body), sorted(body)))
    named: set[int] = set(main)
    for attached in (True, False):
        for body in rest:
            pins = body & main
            holes = sorted(body - named)
            if holes and bool(pins) is attached:
                yield holes, sorted(pins)
                named |= body


def _alike(same: Flags, part: Flags) -> Numbers:
    """The most of `part` (n,) of which every two are the same, as `same` (n, n) has it."""
    part = part.copy()
    while (odd := (~same[part][:, part]).sum(axis=0)).any():
        part[np.flatnonzero(part)[odd.argmax()]] = False
    return np.flatnonzero(part)


def _whole(places: Array, moves: Array) -> tuple[str, ...]:
    """How the plate as a whole can move, by `moves` that stretch no distance between holes."""
    places = places - places.mean(axis=0)
    reach = max(float(np.hypot(*places.T).max()), 1.0)
    parts = {
        "turn": np.column_stack([-places[:, 1], places[:, 0]]).ravel() / reach,
        "along": np.tile([1.0, 0.0], len(places)),
        "across": np.tile([0.0, 1.0], len(places)),
    }
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

    `moved` are the holes that lie elsewhere; none where the whole plate is turned or mirrored.
    """

    places: Array
    moved: tuple[int, ...]


def alternatives(fit: Fit, within: Array) -> tuple[Alternative, ...]:
    """Other arrangements as likely as the plain `fit`, those with the fewest moved holes first.

    `within` (n,) in mm is how near each place is known; a hole nearer than that has not moved.
    """
    found: dict[tuple[int, ...], Alternative] = {}
    begun = islice(starts(fit.network, _STARTS), 1, None)
    anew = (righted(refined(fit.network, z)) for z in begun)
    for other in chain(reflections(fit, _FOLDS), anew):
        gaps = np.hypot(*(other.places - fit.places).T)
        if (
            other.squares <= fit.squares + _TELLING
            and other.wrong_side <= fit.wrong_side
            and (gaps > np.maximum(2 * within, _ELSEWHERE)).any()
        ):
            same = _together(fit.places, other.places, within)
            moved = tuple(np.setdiff1d(np.arange(len(within)), same).tolist())
            found.setdefault(moved, Alternative(_aligned(other.places, fit.places, same), moved))
    fewest: list[Alternative] = []
    for moved in sorted(found, key=len):
        if not any(set(less.moved) <= set(moved) for less in fewest):
            fewest.append(found[moved])
    return tuple(fewest[:_SHOWN])


def _together(here: Array, there: Array, within: Array) -> Numbers:
    """The largest part that has the same shape in both, grown hole by hole."""
    shapes = [np.hypot(*(at[:, None] - at).transpose(2, 0, 1)) for at in (here, there)]
    allowed = np.maximum(2 * (within[:, None] + within), _ELSEWHERE)
    same = np.abs(shapes[0] - shapes[1]) <= allowed
    return max((_alike(same, part) for part in same), key=len)


def _aligned(places: Array, onto: Array, by: Numbers) -> Array:
    """`places` turned and shifted so that the holes `by` lie best on `onto`."""
    if len(by) == len(places) or len(by) < 2:
        return places
    here, there = (at[:, 0] + 1j * at[:, 1] for at in (onto, places))
    centres = here[by].mean(), there[by].mean()
    turn = np.vdot(there[by] - centres[1], here[by] - centres[0])
    moved = (there - centres[1]) * turn / abs(turn) + centres[0]
    return np.column_stack([moved.real, moved.imag])

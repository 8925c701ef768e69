"""Which hole of one scan is which of another: the turn and shift that most holes agree on.

No names and no order of turns are needed.  A pattern that fits itself after a half turn is refused
unless it is said how far each scan was turned; a scan that only fits mirrored is named.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import Finding, InputError
from jiggen.measure.adjustment import Array
from jiggen.measure.scan.terms import FARTHEST_SCALE

Complex = NDArray[np.complex128]  # places in a plane, x + y i
Pair = tuple[int, int]
APART = 1.2  # mm; two scanners' worth of distortion, and less than the room between two holes
_STRETCH = 0.012  # of a distance: scales that differ along and across
_PAIRS = 60  # longest pairs of holes that are tried
_FEWEST = 3  # holes that agree
_AT_ONCE = 1_000_000  # distances between holes in memory
_SHARE = 0.6  # of the holes of the poorer scan that another must have too
_ALIKE, _TWICE = 0.05, 2.0  # mm and times: another turn that fits so well could be the true one
_CLOSE = 0.25  # mm, r.m.s.; a scan that fits so well is of the same scale
_SAME_TURN = 5.0  # degrees
TURNED = 40.0  # degrees that a turn may be off what was stated


@dataclass(frozen=True, eq=False)
class Match:
    """`pairs` (k, 2): number in the one, number in the other; the other turned by `turn` rad."""

    pairs: NDArray[np.int_]
    turn: float
    shift: Array
    off: float  # mm, r.m.s.

    def moved(self, places: Array) -> Array:
        """Places (n, 2) of the one, in the frame of the other."""
        return places @ ways(self.turn).T + self.shift


def ways(turn: float) -> Array:
    """(2, 2) that turns by `turn` rad."""
    return np.array([[math.cos(turn), -math.sin(turn)], [math.sin(turn), math.cos(turn)]])


def rigid(one: Array, other: Array) -> tuple[float, Array, float]:
    """Turn, shift and r.m.s. in mm that bring (n, 2) `one` upon `other` best."""
    first, second = one - one.mean(axis=0), other - other.mean(axis=0)
    cross = first[:, 0] @ second[:, 1] - first[:, 1] @ second[:, 0]
    turn = math.atan2(cross, float((first * second).sum()))
    shift = other.mean(axis=0) - ways(turn) @ one.mean(axis=0)
    left = other - one @ ways(turn).T - shift
    return turn, shift, float(np.sqrt((left**2).sum(axis=1).mean()))


def match(
    one: Array, other: Array, stated: float | None = None, fewest: int = _FEWEST
) -> list[Match]:
    """Ways to lay `fewest` or more of the holes `one` (n, 2) upon `other` (m, 2), the best first,
    each turn once.
    """
    tried: list[Match] = []
    paired: list[set[tuple[int, int]]] = []
    for ends, pairs in _all_grown(one, other, fewest):
        if any(ends <= known or known == pairs for known in paired):
            continue
        mine = np.array(sorted(pairs))
        found = Match(mine, *rigid(one[mine[:, 0]], other[mine[:, 1]]))
        if stated is None or abs(_between(found.turn, stated)) < TURNED:
            tried.append(found)
            paired.append(pairs)
    tried.sort(key=_rank)
    different: list[Match] = []
    for found in tried:
        if all(abs(_between(found.turn, math.degrees(o.turn))) > _SAME_TURN for o in different):
            different.append(found)
    return different


def _between(turn: float, stated: float) -> float:
    return (math.degrees(turn) - stated + 180.0) % 360.0 - 180.0


def _longest(places: Array) -> list[tuple[int, int]]:
    pairs = list(combinations(range(len(places)), 2))
    pairs.sort(key=lambda pair: -math.dist(places[pair[0]], places[pair[1]]))
    return pairs[:_PAIRS]


def _all_grown(one: Array, other: Array, fewest: int) -> Iterator[tuple[set[Pair], set[Pair]]]:
    """Two pairs, and those of all holes that agree with them, `fewest` or more."""
    here, there = (np.asarray(places @ (1, 1j), dtype=np.complex128) for places in (one, other))
    pairs = np.array(_longest(one), dtype=int).reshape(-1, 2)
    long = np.abs(here[pairs[:, 0]] - here[pairs[:, 1]])[:, None, None]
    lengths = np.abs(there[:, None] - there)
    which, c, d = np.nonzero((np.abs(lengths - long) < APART + _STRETCH * long) & (lengths > 1.0))
    ends = np.column_stack([pairs[which], c, d])
    step = max(1, _AT_ONCE // max(1, len(here) * len(there)))
    for start in range(0, len(ends), step):
        yield from _grown(here, there, ends[start : start + step], fewest)


def _grown(
    here: Complex, there: Complex, ends: NDArray[np.int_], fewest: int
) -> Iterator[tuple[set[Pair], set[Pair]]]:
    """What begins with `ends` (k, 4): a and b of the one, c and d of the other.

    All at once: most have no third hole that agrees, and there are thousands.
    """
    rows = np.arange(len(ends))[:, None]
    near = np.zeros((len(ends), len(here)), dtype=np.int_)
    used = np.zeros((len(ends), len(here)), dtype=bool)
    near[rows, ends[:, :2]], used[rows, ends[:, :2]] = ends[:, 2:], True
    for last in (False, False, True):
        way, shift = _laid_upon(here, there[near], used)
        apart = (way * here + shift)[:, :, None] - there
        gaps = apart.real**2 + apart.imag**2
        near, back = gaps.argmin(axis=2), gaps.argmin(axis=1)
        rows = np.arange(len(ends))[:, None]
        used = gaps.min(axis=2) < APART**2
        used &= back[rows, near] == np.arange(len(here))
        enough = used.sum(axis=1) >= (fewest if last else _FEWEST)
        ends, near, used = ends[enough], near[enough], used[enough]
    for (a, b, c, d), mine, which in zip(ends.tolist(), used.tolist(), near.tolist(), strict=True):
        yield {(a, c), (b, d)}, {(n, which[n]) for n, use in enumerate(mine) if use}


def _laid_upon(here: Complex, there: Complex, used: NDArray[np.bool_]) -> tuple[Complex, Complex]:
    """(k, 1) factors and shifts that bring the `used` of `here` (n,) upon `there` (k, n) best."""
    count = used.sum(axis=1, keepdims=True)
    one = np.where(used, here, 0).sum(axis=1, keepdims=True) / count
    other = np.where(used, there, 0).sum(axis=1, keepdims=True) / count
    way = np.where(used, (there - other) * np.conj(here - one), 0).sum(axis=1, keepdims=True)
    way = np.exp(1j * np.angle(way))
    return way, other - way * one


def chosen(one: Array, other: Array, source: str, stated: float | None = None) -> Match:
    """The one way that `one` lies upon `other`.

    Raises InputError ``scan.mirrored``, ``scan.another-plate``, ``scan.turned`` or
    ``scan.which-turn``.
    """
    found = match(one, other, stated)
    needed = max(3, math.ceil(_SHARE * min(len(one), len(other))))
    best = len(found[0].pairs) if found else 0
    if stretched := _stretched(one, other, found[:1]):
        message = f"this picture is {abs(stretched - 1):.1%} too "
        message += f"{'large' if stretched > 1 else 'small'} beside the other scans"
        hint = "Its resolution is wrong: send the picture as the scanner wrote it."
        raise InputError.of("scan.resolution", message, where=source, hint=hint)
    whole = max(needed, min(len(one), len(other)) - 1)
    turned = [] if whole <= best else match(one * (-1, 1), other)  # it fits no better mirrored
    if stated is not None and best < needed:
        _refuse_turn(match(one, other, fewest=whole)[:1], turned[:1], stated, source)
    mirrored = len(turned[0].pairs) if turned else 0
    if mirrored >= needed and (mirrored > best + 1 or (mirrored > best and best < needed)):
        message = "the picture is mirrored, or the plate lay on its other face"
        hint = "Lay the same face on the glass in every scan, and mirror no picture."
        raise InputError.of("scan.mirrored", message, where=source, hint=hint)
    if best < needed:
        message = f"only {best} of {len(one)} holes lie as in the other scans: another plate?"
        hint = "Scan one and the same plate, whole; screws out, the glass clean."
        raise InputError.of("scan.another-plate", message, where=source, hint=hint)
    near = max(_ALIKE, _TWICE * found[0].off)
    rivals = [other for other in found[1:] if len(other.pairs) >= best and other.off < near]
    if rivals:
        turns = " or ".join(f"{math.degrees(m.turn) % 360:.0f}°" for m in (found[0], rivals[0]))
        hint = "Say by how much each scan was turned, for example 0, 90, 180 and 270."
        message = f"the holes fit after a turn by {turns}: they look alike"
        raise InputError(Finding("scan.which-turn", message, source, hint=hint))
    return found[0]


def _refuse_turn(found: list[Match], mirrored: list[Match], stated: float, source: str) -> None:
    """Raise InputError ``scan.turned`` where it fits in another turn than was `stated`, and better
    than it does `mirrored`.
    """
    if found and all(_rank(found[0]) < _rank(one) for one in mirrored):
        turns = " and not by ".join(
            f"{-turn % 360:.0f}°" for turn in (math.degrees(found[0].turn), stated)
        )
        message = f"it lies turned by {turns}, beside the first scan"
        hint = "Say by how much each scan was turned, in the order of the scans."
        raise InputError.of("scan.turned", message, where=source, hint=hint)


def _rank(found: Match) -> tuple[int, float]:
    """The smaller, the better it fits."""
    return -len(found.pairs), found.off


def _stretched(one: Array, other: Array, found: list[Match]) -> float | None:
    """By which factor `one` is too large beside `other`; None where it fits, or not at all.

    `found` is how it lies upon `other` best as it is.
    """
    count = min(len(one), len(other))
    fewest = max(4, count - 1)
    if not found or len(found[0].pairs) < count or found[0].off > _CLOSE:
        for percent in (1, 2, 3, 4, 5, 7, 10):
            for factor in (1 + percent / 100, 1 / (1 + percent / 100)):
                found = [*found, *match(one / factor, other, fewest=fewest)[:1]]
        found = [m for m in found if len(m.pairs) >= fewest]
        found.sort(key=_rank)
    if not found or len(found[0].pairs) < fewest:
        return None
    gaps = [places[found[0].pairs[:, n]] for n, places in enumerate((one, other))]
    sizes = [float(np.linalg.norm(gap - gap.mean(axis=0))) for gap in gaps]
    ratio = sizes[0] / sizes[1]
    return ratio if abs(ratio - 1) > FARTHEST_SCALE and found[0].off < APART / 2 else None


def same_holes(
    scans: Sequence[Array], sources: Sequence[str], turns: Sequence[float] | None = None
) -> tuple[list[dict[int, int]], Array]:
    """For each scan, which hole of the thing each of its holes is; and rough places (n, 2).

    Holes are numbered as in the first scan; those that only later scans have come after.
    """
    known, found = scans[0], {0: {n: n for n in range(len(scans[0]))}}
    waiting = list(range(1, len(scans)))
    while waiting:
        scan, one = _next(scans, waiting, known, sources, turns)
        waiting.remove(scan)
        found[scan] = {int(a): int(b) for a, b in one.pairs}
        moved = one.moved(scans[scan])
        for n in range(len(moved)):
            if n not in found[scan] and np.hypot(*(known - moved[n]).T).min() > 2 * APART:
                found[scan][n] = len(known)
                known = np.vstack([known, moved[n]])
    return [found[n] for n in range(len(scans))], known


def _next(
    scans: Sequence[Array],
    waiting: Sequence[int],
    known: Array,
    sources: Sequence[str],
    turns: Sequence[float] | None,
) -> tuple[int, Match]:
    """The first of the scans `waiting` that shares enough holes with those `known`."""
    errors = []
    for scan in waiting:
        stated = None if turns is None else turns[0] - turns[scan]
        try:
            return scan, chosen(scans[scan], known, sources[scan], stated)
        except InputError as error:
            errors.append(error)
    raise errors[0]

"""Things whose holes are known, found in scans: which lies where, each hole by its own name.

Several things may lie on the glass at once, or in one scan each; all scans are of one scanner, so
one fit takes them all, and one distance gives the scale of all.  Things that are joined are found
one by one, and then as one where they lie as if joined.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.errors import InputError
from jiggen.measure.adjustment import Array
from jiggen.measure.scan.adjust import FEWEST, Face, Odd
from jiggen.measure.scan.files import Picture
from jiggen.measure.scan.holes import LARGEST, Hole
from jiggen.measure.scan.matching import APART, Match, match, ways
from jiggen.measure.scan.network import Sightings

ALIKE = 0.6  # mm r.m.s. that a thing may be off its layout but for its scale (our choice)
_SCALES = (1.0, 1 / 1.015, 1.015)  # of a print by its scan; each finds what is within 1.5 % of it
_FAULT = 2.0  # mm; a hole with a fault so near to where one is missing is that one
_JOINED = 0.004  # of the distance from one thing to the next, by which joined ones may be off
_CLEARLY = 2.0  # times; a turn that fits so much better than another is the right one


@dataclass(frozen=True, eq=False)
class Known:
    """A thing called `name`: its `holes` and where they are `at` (n, 2), mm, from above.

    `rising` are two of its holes between which others lie in a row, each wider than the last,
    where that alone tells how it is turned.
    """

    name: str
    holes: tuple[str, ...]
    at: Array
    rising: tuple[str, str] | None = None

    def seen(self, face: Face) -> Array:
        """(n, 2) its holes as a scan of that `face` shows them."""
        return self.at * (1.0, 1.0 if face == "top" else -1.0)


@dataclass(frozen=True, eq=False)
class Laid:
    """A thing in a picture: hole `pairs` (k, 2) as numbers of its own and of the picture's good
    ones; its layout is led to the picture by `scale`, `turn` in rad and `shift`.
    """

    thing: Known
    pairs: NDArray[np.int_]
    scale: float
    turn: float
    shift: Array

    def placed(self, at: Array) -> Array:
        """Places (n, 2) of its layout, as the face shows them, in the picture."""
        return np.asarray(self.scale * at @ ways(self.turn).T + self.shift)


def lay(
    thing: Known, picture: Picture, face: Face = "top", stated: float | None = None
) -> Laid | None:
    """How the `thing` lies in the picture, turned by about `stated` degrees; None where it is not.

    Raises InputError ``scan.which-turn`` where it looks alike after a turn.
    """
    good = _good(picture)
    at, there = thing.seen(face), _places(good)
    if len(there) < FEWEST or len(at) < FEWEST:
        return None
    for scale in _SCALES:
        found = [_laid(thing, one, at, there) for one in match(at * scale, there, stated)]
        whole = [(one, off) for one, off in found if off < ALIKE and _whole(one, picture, at)]
        if whole:
            return _only(whole, thing, picture, good, at)
    return None


def _good(picture: Picture) -> list[Hole]:
    return [hole for hole in picture.holes if not hole.fault]


def _places(holes: Sequence[Hole]) -> Array:
    return np.array([(hole.x, hole.y) for hole in holes]).reshape(-1, 2)


def _laid(thing: Known, found: Match, at: Array, there: Array) -> tuple[Laid, float]:
    """The match with a scale of its own, and by how many mm r.m.s. it is off then."""
    one, other = (
        places[found.pairs[:, n]] @ np.array([1, 1j]) for n, places in enumerate((at, there))
    )
    here = one - one.mean()
    ratio = np.vdot(here, other - other.mean()) / np.vdot(here, here)
    shift = other.mean() - ratio * one.mean()
    off = float(np.sqrt((np.abs(other - ratio * one - shift) ** 2).mean()))
    turn = math.atan2(ratio.imag, ratio.real)
    return Laid(thing, found.pairs, abs(ratio), turn, np.array([shift.real, shift.imag])), off


def _whole(laid: Laid, picture: Picture, at: Array) -> bool:
    """All holes were found but what the picture cuts off, what has a fault, and one of many."""
    missing = sorted({*range(len(at))} - {*laid.pairs[:, 0].tolist()})
    faulty = _places([hole for hole in picture.holes if hole.fault])
    lacking = 0
    for place in laid.placed(at)[missing]:
        near = len(faulty) and np.hypot(*(faulty - place).T).min() < _FAULT
        lacking += not near and _inside(place, picture)
    return len(laid.pairs) >= FEWEST and lacking <= (len(laid.pairs) > FEWEST)


def _inside(place: Array, picture: Picture) -> bool:
    """The picture shows that place with some room beside it."""
    return bool((np.abs(place) < np.array(picture.size) / 2 - LARGEST / 2).all())


def _only(
    whole: list[tuple[Laid, float]], thing: Known, picture: Picture, good: list[Hole], at: Array
) -> Laid:
    """The one turn that fits.  Raises InputError ``scan.which-turn``."""
    most = max(len(one.pairs) for one, _ in whole)
    whole = sorted((each for each in whole if len(each[0].pairs) == most), key=lambda each: each[1])
    near = [one for one, off in whole if off < max(0.1, _CLEARLY * whole[0][1])]
    if len(near) > 1 and thing.rising:
        near = [one for one in near if _rises(one, thing, good, at)]
    if len(near) == 1:
        return near[0]
    message = f"{thing.name} looks alike after a turn"
    hint = "Say by how much its x axis is turned in each scan, anticlockwise: 0, 90, 180, 270."
    raise InputError.of("scan.which-turn", message, where=picture.source, hint=hint)


def _rises(laid: Laid, thing: Known, good: list[Hole], at: Array) -> bool:
    """Other holes lie between the two that `thing.rising` names, wider from one to the next."""
    assert thing.rising
    start, stop = laid.placed(at)[[thing.holes.index(hole) for hole in thing.rising]]
    long = math.dist(start, stop)
    way = (stop - start) / long
    others = [hole for n, hole in enumerate(good) if n not in laid.pairs[:, 1]]
    off = _places(others) - start
    along, aside = off @ way, np.abs(off @ (-way[1], way[0]))
    row = np.flatnonzero((along > 0) & (along < long) & (aside < APART))
    widths = np.array([others[n].diameter for n in row.tolist()])
    return len(row) >= FEWEST and float(np.corrcoef(along[row], widths)[0, 1]) > 0


def recognise(
    pictures: Sequence[Picture],
    wholes: Sequence[Sequence[Known]],
    face: Face = "top",
    turns: Sequence[float] | None = None,
) -> tuple[Sightings, Array, tuple[Odd, ...], tuple[int, ...]]:
    """What of `wholes`, things that may be joined, is where in the pictures.

    The sightings have one scan for each thing, or joined things, of each picture; then rough
    places (n, 2), what is odd beside them, and the number of each scan's picture.  `turns` are
    those of the things' own x axes, in degrees.  Raises InputError ``scan.no-thing``,
    ``scan.mirrored`` or ``scan.which-turn``.
    """
    rows: list[tuple[int, str, Hole]] = []
    of: list[int] = []
    for number, picture in enumerate(pictures):
        stated = None if turns is None else turns[number]
        groups = [*_groups(picture, wholes, face, stated)]
        if not groups:
            raise _nothing(picture, wholes, face)
        good = _good(picture)
        for group in groups:
            rows += [(len(of), hole, good[which]) for hole, which in group.items()]
            of.append(number)
    named = {hole: at for whole in wholes for one in whole for hole, at in _of(one, face)}
    names = [hole for hole in named if any(hole == seen for _, seen, _ in rows)]
    seen = Sightings(
        np.array([scan for scan, _, _ in rows]),
        np.array([names.index(hole) for _, hole, _ in rows]),
        _places([hole for _, _, hole in rows]),
        np.array([hole.sigma for _, _, hole in rows]),
        np.array([hole.diameter for _, _, hole in rows]),
        tuple(names),
        tuple(pictures[number].source for number in of),
    )
    odd = [Odd(p.source, h.x, h.y, h.fault) for p in pictures for h in p.holes if h.fault]
    return seen, np.array([named[hole] for hole in names]), tuple(odd), tuple(of)


def _of(thing: Known, face: Face) -> Iterator[tuple[str, Array]]:
    return zip(thing.holes, thing.seen(face), strict=True)


def _groups(
    picture: Picture, wholes: Sequence[Sequence[Known]], face: Face, stated: float | None
) -> Iterator[dict[str, int]]:
    """Of each thing, or joined things, the numbers of the picture's good holes by their names."""
    for whole in wholes:
        open_ = [laid for thing in whole if (laid := lay(thing, picture, face, stated))]
        while open_:
            first = open_.pop(0)
            group = _named(first)
            for thing in whole:
                if thing is not first.thing and (more := _joined(first, thing, picture, face)):
                    group |= more
                    open_ = [laid for laid in open_ if laid.thing is not thing]
            yield group


def _named(laid: Laid) -> dict[str, int]:
    return {laid.thing.holes[a]: b for a, b in laid.pairs.tolist()}


def _joined(first: Laid, thing: Known, picture: Picture, face: Face) -> dict[str, int]:
    """The holes of `thing` that lie where they do when it is joined to the `first`, if any."""
    there, found, lacking = _places(_good(picture)), dict[str, int](), 0
    middle = first.placed(first.thing.seen(face)).mean(axis=0)
    for hole, at in _of(thing, face):
        place = first.placed(at)
        gaps = np.hypot(*(there - place).T)
        if gaps.min() < APART + _JOINED * math.dist(place, middle):
            found[hole] = int(gaps.argmin())
        else:
            lacking += _inside(place, picture)
    alone = len({*found.values()}) == len(found)
    return found if alone and lacking <= (len(found) > FEWEST) else {}


def _nothing(picture: Picture, wholes: Sequence[Sequence[Known]], face: Face) -> InputError:
    things = [thing for whole in wholes for thing in whole]
    other: Face = "under" if face == "top" else "top"
    if any(lay(thing, picture, other) for thing in things):
        message = "the picture is mirrored, or the other face lay on the glass"
        hint = "Lay the face that you named on the glass, and mirror no picture."
        return InputError.of("scan.mirrored", message, where=picture.source, hint=hint)
    wanted = ", ".join(f"{thing.name} with {len(thing.holes)}" for thing in things)
    message = f"{len(_good(picture))} round holes, but they lie as in none of: {wanted}"
    hint = "Scan a body of this very jig, whole, on clean glass; compare the mark engraved on it."
    return InputError.of("scan.no-thing", message, where=picture.source, hint=hint)

"""The fewest boxes that contain all needs: an exact minimum, with a bound that shows it.

A need is a box: an interval of boots by an interval of ski widths; a jig serves a box of needs
when `serves` says so of the smallest box around them.  `serves` must be monotone: of a box that
it accepts it accepts every box inside.

Where all needs share one interval of boots, the widths alone decide, and a sweep is exact: some
jig must serve the need that begins narrowest; no jig that serves it can begin wider, and among
those that begin there the one that reaches widest serves every need that any of them serves.  So
it is chosen, and the sweep goes on with the needs that are left.  No two of the needs that begin
a jig can be served by the same jig, so their number is a lower bound.  The same holds for boots
where all share one interval of widths.

Where both differ, the least number is a set cover by the largest boxes that `serves` accepts,
with ends at the ends of needs, solved as an integer program (HiGHS, by branch and bound).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from jiggen.job import Interval

TIME_LIMIT = 60.0  # seconds for one integer program; far more than any evening takes
ROUNDING = 1e-6


@dataclass(frozen=True)
class Box:
    """Boot sole lengths and ski widths, each from least to most, in mm."""

    boots: Interval
    ski: Interval

    def holds(self, other: Box) -> bool:
        """Whether `other` lies within."""
        return all(
            mine[0] <= its[0] and its[1] <= mine[1]
            for mine, its in ((self.boots, other.boots), (self.ski, other.ski))
        )


Serves = Callable[[Box], bool]


@dataclass(frozen=True)
class Group:
    """Needs, by index, that one jig serves, and the box it must serve for them."""

    needs: tuple[int, ...]
    box: Box


@dataclass(frozen=True)
class Cover:
    """Groups that hold each need once; no fewer than `bound` jigs can serve them."""

    groups: tuple[Group, ...]
    bound: int


def around(boxes: Iterable[Box]) -> Box:
    """The smallest box around `boxes`."""
    each = tuple(boxes)
    return Box(_hull([box.boots for box in each]), _hull([box.ski for box in each]))


def fewest(needs: Sequence[Box], serves: Serves) -> Cover:
    """The fewest groups of `needs`, each of which must be served by itself."""
    groups: list[Group] = []
    bound = 0
    for part in _apart(needs, serves):
        asked = Remembered(serves)
        boots, skis = ({getattr(needs[n], side) for n in part} for side in ("boots", "ski"))
        if len(boots) == 1:
            found = _swept(needs, part, asked, lambda box: box.ski)
        elif len(skis) == 1:
            found = _swept(needs, part, asked, lambda box: box.boots)
        else:
            found = _searched(needs, part, asked)
        groups += found.groups
        bound += found.bound
    return Cover(tuple(groups), bound)


class Remembered:
    """`serves`, called only when its earlier answers do not decide, since it is monotone."""

    def __init__(self, serves: Serves) -> None:
        self._serves = serves
        self._good: list[Box] = []
        self._bad: list[Box] = []

    def __call__(self, box: Box) -> bool:
        """The answer of `serves`, or the one that follows from its earlier answers."""
        if any(good.holds(box) for good in self._good):
            return True
        if any(box.holds(bad) for bad in self._bad):
            return False
        if self._serves(box):
            self._good = [*(good for good in self._good if not box.holds(good)), box]
            return True
        self._bad = [*(bad for bad in self._bad if not bad.holds(box)), box]
        return False


def _apart(needs: Sequence[Box], serves: Serves) -> Iterator[list[int]]:
    """Needs in parts of which no jig can serve two: split between boots too far apart.

    Two boots are when not even the need's own widths are served over both of them.
    """
    order = sorted(range(len(needs)), key=lambda n: (needs[n].boots, needs[n].ski, n))
    skis = _least({need.ski for need in needs})
    part = order[:1]
    for before, after in pairwise(order):
        both = _hull([needs[before].boots, needs[after].boots])
        one = needs[before].boots == needs[after].boots
        if not one and not any(serves(Box(both, ski)) for ski in skis):
            yield part
            part = []
        part.append(after)
    if part:
        yield part


def _swept(
    needs: Sequence[Box], part: Sequence[int], serves: Serves, side: Callable[[Box], Interval]
) -> Cover:
    """The sweep along one side: each group from the least that is left as far as it reaches."""
    left = sorted(part, key=lambda n: (side(needs[n]), n))
    groups = []
    while left:
        first = left[0]
        ends = sorted({side(needs[n])[1] for n in left if n != first})
        reach = around([needs[first]])
        low, high = 0, len(ends)
        while low < high:  # the longest run of ends that is served, by halving
            middle = (low + high) // 2
            within = [n for n in left if n == first or side(needs[n])[1] <= ends[middle]]
            box = around(needs[n] for n in within)
            if serves(box):
                reach, low = box, middle + 1
            else:
                high = middle
        served = [n for n in left if reach.holds(needs[n])]
        groups.append(Group(tuple(sorted(served)), around(needs[n] for n in served)))
        left = [n for n in left if n not in set(served)]
    return Cover(tuple(groups), len(groups))


def _searched(needs: Sequence[Box], part: Sequence[int], serves: Serves) -> Cover:
    """The least set cover by largest boxes."""
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    boxes = _largest(_candidates([needs[n] for n in part], serves))
    inside = np.array([[box.holds(needs[n]) for box in boxes] for n in part], dtype=np.float64)
    found = milp(
        np.ones(len(boxes)),
        constraints=LinearConstraint(csr_array(inside), lb=1.0),
        bounds=Bounds(0.0, 1.0),
        integrality=np.ones(len(boxes)),
        options={"time_limit": TIME_LIMIT, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        raise RuntimeError(f"no cover was found: {found.message}")
    chosen = [box for box, value in zip(boxes, found.x, strict=True) if value > 0.5]
    groups = tuple(_shared(needs, part, chosen))
    return Cover(groups, math.ceil(found.mip_dual_bound - ROUNDING))


def _shared(needs: Sequence[Box], part: Sequence[int], chosen: Sequence[Box]) -> Iterator[Group]:
    """Each need to the first of the `chosen` boxes that holds it."""
    left = list(part)
    for box in chosen:
        served = [n for n in left if box.holds(needs[n])]
        left = [n for n in left if n not in served]
        if served:
            yield Group(tuple(sorted(served)), around(needs[n] for n in served))


def _candidates(needs: Sequence[Box], serves: Serves) -> Iterator[Box]:
    """For every span of boots and every narrowest ski, the widest that is served.

    All ends are ends of needs.  With more boots or from a narrower ski, a jig reaches no wider.
    """
    shortest = sorted({need.boots[0] for need in needs})
    longest = sorted({need.boots[1] for need in needs})
    narrowest = sorted({need.ski[0] for need in needs})
    widest = sorted({need.ski[1] for need in needs})
    for least in shortest:
        for narrow in narrowest:
            reach = len(widest)
            for most in (boot for boot in longest if boot >= least):
                fits = (
                    count
                    for count in range(reach, 0, -1)
                    if widest[count - 1] >= narrow
                    and serves(Box((least, most), (narrow, widest[count - 1])))
                )
                reach = next(fits, 0)
                if not reach:
                    break
                yield Box((least, most), (narrow, widest[reach - 1]))


def _largest(boxes: Iterable[Box]) -> list[Box]:
    """Those of `boxes` that no other one holds."""
    found: list[Box] = []
    by_size = sorted(set(boxes), key=_size, reverse=True)
    for box in by_size:
        if not any(other.holds(box) for other in found):
            found.append(box)
    return found


def _size(box: Box) -> tuple[float, float, Interval, Interval]:
    boots, ski = box.boots[1] - box.boots[0], box.ski[1] - box.ski[0]
    return boots + ski, boots, box.boots, box.ski


def _least(intervals: Iterable[Interval]) -> list[Interval]:
    """Those of `intervals` that hold no other one."""
    found: list[Interval] = []
    for least, most in sorted(set(intervals), key=lambda ends: (ends[1], -ends[0])):
        if not found or least > found[-1][0]:
            found.append((least, most))
    return found


def _hull(intervals: Sequence[Interval]) -> Interval:
    return min(least for least, _ in intervals), max(most for _, most in intervals)

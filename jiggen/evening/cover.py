"""The fewest boxes that contain all needs: an exact minimum, with a bound that shows it.

A need is a box: intervals of boots, of ski widths and of mount shifts; a jig serves a box of needs
when `serves` says so of the smallest box around them.  If `serves` is monotone (of a box that it
accepts it accepts every box inside) the minimum and the bound hold; if it is not, each group is
served all the same, but there may be fewer.

Where all needs differ in boots alone, or in widths, a sweep is exact: some jig must serve
the need that begins narrowest, and of those that begin there the one that reaches widest serves
every need that any of them serves.  No two of the needs that begin a jig can be served by the
same jig, so their number is a lower bound.

Where more differs, the least number is a set cover by the largest boxes that `serves` accepts,
with ends at the ends of needs, solved as an integer program (HiGHS, by branch and bound).
"""

import math
from bisect import bisect_left
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, combinations_with_replacement, pairwise, product
from typing import Self

from jiggen.job import Interval

TIME_LIMIT = 60.0  # seconds for one integer program; far more than any evening takes
ROUNDING = 1e-6
MOST_TRIES = 30  # times that groups are put together for a trial, each some tenths of a second


@dataclass(frozen=True)
class Box:
    """Boot sole lengths, ski widths and mount shifts, each from least to most, in mm."""

    boots: Interval
    ski: Interval
    shift: Interval = (0.0, 0.0)

    def size(self) -> tuple[float, ...]:
        """How large it is, for an order in which none holds one after it."""
        sides = (self.boots, self.ski, self.shift)
        spans = [most - least for least, most in sides]
        return (sum(spans), *spans, *(end for side in sides for end in side))

    def holds(self, other: Self) -> bool:
        """Whether `other` lies within."""
        return all(
            mine[0] <= its[0] and its[1] <= mine[1]
            for mine, its in (
                (self.boots, other.boots),
                (self.ski, other.ski),
                (self.shift, other.shift),
            )
        )


Serves = Callable[[Box], bool]
Group = tuple[tuple[int, ...], Box]
"""Needs, by index, that one jig serves, and the box it must serve for them."""


def around(boxes: Iterable[Box]) -> Box:
    """The smallest box around `boxes`."""
    sides = zip(*((box.boots, box.ski, box.shift) for box in boxes), strict=True)
    return Box(*map(_hull, sides))


def _hull(intervals: Sequence[Interval]) -> Interval:
    return min(least for least, _ in intervals), max(most for _, most in intervals)


def fewest(needs: Sequence[Box], serves: Serves) -> tuple[list[Group], int]:
    """The fewest groups of `needs`, each of which must be served by itself; a lower bound.

    Both are so if `serves` is monotone.
    """
    asked = remembered(serves)
    groups: list[Group] = []
    bound = 0
    for part in _apart(needs, asked):
        boxes = [needs[n] for n in part]
        if len({(box.boots, box.shift) for box in boxes}) == 1:
            chosen, least = _swept(boxes, asked, lambda box: box.ski)
        elif len({(box.ski, box.shift) for box in boxes}) == 1:
            chosen, least = _swept(boxes, asked, lambda box: box.boots)
        else:
            chosen, least = _searched(boxes, asked)
        bound += least
        left = part
        for box in chosen:  # each need to the first one that holds it
            served = tuple(n for n in left if box.holds(needs[n]))
            left = [n for n in left if n not in set(served)]
            if served:
                groups.append((tuple(sorted(served)), around(needs[n] for n in served)))
    return groups, bound


def fewest_to_make(
    needs: Sequence[Box], serves: Serves, owned: Sequence[frozenset[int]]
) -> tuple[list[Group], dict[int, tuple[int, ...]]]:
    """The fewest groups to make a jig for beside those `owned`, and what each of these is used for.

    Each owned jig is given by the needs, by index, that it serves.  Of the ways with as few to
    make, that which uses the fewest owned ones; the first ones of those that serve as much.
    """
    useful = [
        n
        for n, mine in enumerate(owned)
        if mine and not any(mine < other for other in owned) and mine not in owned[:n]
    ]
    if not useful:
        return fewest(needs, serves)[0], {}
    served = frozenset().union(*owned)
    asked, boxes = remembered(serves), list[Box]()
    for part in _apart(needs, asked) if len(served) < len(needs) else ():
        rest = [needs[n] for n in part if n not in served]
        if rest:  # a jig is made for one of these, if for any
            found = _largest(_candidates([needs[n] for n in part], asked))
            boxes += [box for box in found if any(box.holds(need) for need in rest)]
    inside = [
        [*(box.holds(need) for box in boxes), *(number in owned[n] for n in useful)]
        for number, need in enumerate(needs)
    ]
    costs = [float(len(useful) + 1)] * len(boxes) + [1.0] * len(useful)
    chosen, _ = _least_cover(inside, costs)
    made = [boxes[column] for column in chosen if column < len(boxes)]
    used = [useful[column - len(boxes)] for column in chosen if column >= len(boxes)]
    return _shared_out(needs, made, {n: owned[n] for n in used})


def _shared_out(
    needs: Sequence[Box], made: Iterable[Box], owned: Mapping[int, frozenset[int]]
) -> tuple[list[Group], dict[int, tuple[int, ...]]]:
    """Each need to the first owned jig that serves it, else to the first box that holds it."""
    left = list(range(len(needs)))
    used: dict[int, tuple[int, ...]] = {}
    groups: list[Group] = []
    for number, mine in owned.items():
        used[number] = tuple(n for n in left if n in mine)
        left = [n for n in left if n not in mine]
    for box in made:
        served = tuple(n for n in left if box.holds(needs[n]))
        left = [n for n in left if n not in served]
        if served:
            groups.append((served, around(needs[n] for n in served)))
    return groups, {number: mine for number, mine in used.items() if mine}


def joined(groups: Sequence[Group], least: int, serves: Serves) -> list[Group]:
    """Groups put together while `serves` allows it, though a search took its refusals for more.

    All are tried at once, then two by two, until there are `least`; so often at most as
    MOST_TRIES says.
    """
    left = list(groups)
    tries = iter(range(MOST_TRIES))
    refused: set[frozenset[Group]] = set()
    while len(left) > least:
        for some in (left, *combinations(left, 2)):
            if frozenset(some) in refused or next(tries, None) is None:
                continue
            box = around(box for _, box in some)
            if serves(box):
                numbers = tuple(sorted(n for mine, _ in some for n in mine))
                left = [group for group in left if group not in some] + [(numbers, box)]
                break
            refused.add(frozenset(some))
        else:
            return left
    return left


def remembered(serves: Serves) -> Serves:
    """`serves`, called only when its earlier answers do not decide, as if it were monotone."""
    served: list[Box] = []
    refused: list[Box] = []

    def ask(box: Box) -> bool:
        if any(other.holds(box) for other in served):
            return True
        if any(box.holds(other) for other in refused):
            return False
        good = serves(box)
        (served if good else refused).append(box)
        return good

    return ask


def _apart(needs: Sequence[Box], serves: Serves) -> Iterator[list[int]]:
    """Needs in parts of which no jig can serve two: split between boots too far apart.

    Two boots are when not even the need's own widths are served over both of them.
    """
    order = sorted(range(len(needs)), key=lambda n: (needs[n].boots, needs[n].ski, n))
    skis: list[Interval] = []  # those that hold no other one
    for least, most in sorted({need.ski for need in needs}, key=lambda ends: (ends[1], -ends[0])):
        if not skis or least > skis[-1][0]:
            skis.append((least, most))
    shifts = sorted({need.shift[0] for need in needs})
    part = order[:1]
    for before, after in pairwise(order):
        one, other = needs[before].boots, needs[after].boots
        both = _hull([one, other])
        if one != other and not any(serves(Box(both, ski, (s, s))) for s in shifts for ski in skis):
            yield part
            part = []
        part.append(after)
    if part:
        yield part


def _swept(
    needs: Sequence[Box], serves: Serves, side: Callable[[Box], Interval]
) -> tuple[list[Box], int]:
    """The sweep along one side: each box from the least that is left as far as it reaches."""
    left = sorted(needs, key=side)
    boxes = []
    while left:
        ends = sorted({side(need)[1] for need in left[1:]})

        def upto(end: float) -> Box:
            return around([left[0], *(need for need in left if side(need)[1] <= end)])  # noqa: B023

        served = _run(ends, lambda end: serves(upto(end)))
        boxes.append(upto(ends[served - 1]) if served else left[0])
        left = [need for need in left if not boxes[-1].holds(need)]
    return boxes, len(boxes)


def _searched(needs: Sequence[Box], serves: Serves) -> tuple[list[Box], int]:
    """The least set cover by largest boxes, and a lower bound of how many it takes."""
    boxes = _largest(_candidates(needs, serves))
    chosen, bound = _least_cover([[box.holds(need) for box in boxes] for need in needs])
    return [boxes[n] for n in chosen], math.ceil(bound - ROUNDING)


def _largest(candidates: Iterable[Box]) -> list[Box]:
    """Those that no other one holds."""
    boxes: list[Box] = []
    for box in sorted(set(candidates), key=Box.size, reverse=True):
        if not any(other.holds(box) for other in boxes):
            boxes.append(box)
    return boxes


def _least_cover(
    inside: Sequence[Sequence[bool]], costs: Sequence[float] = ()
) -> tuple[list[int], float]:
    """The columns that cost the least of those with a true value in every row; a lower bound.

    Each costs 1 unless `costs` are given.
    """
    import numpy as np
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    rows = np.array(inside, dtype=np.float64)
    found = milp(
        np.array(costs) if costs else np.ones(rows.shape[1]),
        constraints=LinearConstraint(csr_array(rows), lb=1.0),
        bounds=Bounds(0.0, 1.0),
        integrality=np.ones(rows.shape[1]),
        options={"time_limit": TIME_LIMIT, "mip_rel_gap": 0.0},
    )
    if found.x is None:
        raise RuntimeError(f"no cover was found: {found.message}")
    return [n for n, value in enumerate(found.x) if value > 0.5], found.mip_dual_bound


def _candidates(needs: Sequence[Box], serves: Serves) -> Iterator[Box]:
    """For every span of shifts and boots and narrowest ski the widest served.

    All ends are ends of needs.
    """
    shifts = sorted({need.shift for need in needs})
    for first, last in combinations_with_replacement(shifts, 2):
        shift = first[0], last[1]
        inside = [need for need in needs if shift[0] <= need.shift[0] <= shift[1]]
        yield from _widest(inside, shift, serves)


def _widest(needs: Sequence[Box], shift: Interval, serves: Serves) -> Iterator[Box]:
    """The same of all `needs`, with one span of shifts."""
    shortest, longest = ({need.boots[end] for need in needs} for end in (0, 1))
    widest = sorted({need.ski[1] for need in needs})
    for least, narrow in product(sorted(shortest), sorted({need.ski[0] for need in needs})):
        ends = [end for end in widest if end >= narrow]
        for most in sorted(boot for boot in longest if boot >= least):
            # With more boots a jig reaches no wider; most often it reaches as far.
            while ends and not serves(Box((least, most), (narrow, ends[-1]), shift)):
                ends.pop()
            if ends:
                yield Box((least, most), (narrow, ends[-1]), shift)


def _run(ends: Sequence[float], serves: Callable[[float], bool]) -> int:
    """How many of the sorted `ends` are served, by halving."""
    return bisect_left(ends, True, key=lambda end: not serves(end))

"""In which order to drill: the fewest changes of jig, then of drill, then of its stop.

Every ski is clamped once, and gets all its holes then.  Skis of one jig follow one another, so
each jig comes up once: no order has fewer changes of jig.  What is left to choose is the order
of the jigs, and for each ski the order of its settings (drill and stop).

Within a jig every ski needs the same settings.  For any two of them the least cost of a run of
skis that begins with one and ends with the other is found exactly, ski by ski (a shortest path
over all orders of the settings).  Jigs whose ways through cost alike, over the least, are
interchangeable (and, where `_stays` says so, follow one another), so the order of the jigs is a
shortest path over how many of each kind are done (Bellman; Held and Karp: from memory): exact
while the kinds' counts leave no more than MOST_STATES states.  Beyond that the nearest jig is
taken next, and the result says so.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain, pairwise, permutations, product
from math import prod
from operator import itemgetter
from typing import NamedTuple

MOST_STATES = 50_000
MOST_ORDERS = (
    6  # settings of one jig, of which every order is tried; with more, one and its reverse
)


class Setting(NamedTuple):
    """A drill by its diameter, and where its stop stands, in any whole units."""

    drill: int
    stop: int


class Changes(NamedTuple):
    """How often jig, drill and stop are changed; a drill put in anew has its stop set as well."""

    jigs: int = 0
    drills: int = 0
    stops: int = 0


@dataclass(frozen=True)
class Block:
    """One jig's work: its settings, and how many skis are drilled with it."""

    settings: tuple[Setting, ...]
    skis: int


@dataclass(frozen=True)
class Order:
    """Blocks by index in the order they are drilled; for each, the settings ski by ski."""

    blocks: tuple[int, ...]
    skis: tuple[tuple[tuple[Setting, ...], ...], ...]
    changes: Changes
    exact: bool


Cost = tuple[int, int]
"""Changes of drill, and of its stop; compared in this order."""
Ends = tuple[Setting, Setting]
"""The setting that a run of skis begins with, and the one it ends with."""
_Path = tuple[Cost, tuple[tuple[Setting, ...], ...]]
_Kind = tuple[tuple[Ends, Cost], ...]
_Left = tuple[int, ...]
_Best = dict[tuple[_Left, Setting | None], tuple[Cost, int, Ends]]


def run_order(blocks: Sequence[Block]) -> Order:
    """The order of `blocks` with the fewest changes; ties go to the order given."""
    paths = {block: _paths(block.settings, block.skis) for block in dict.fromkeys(blocks)}
    waiting: dict[_Kind, list[int]] = {}
    for number, block in enumerate(blocks):
        waiting.setdefault(_kind(paths[block]), []).append(number)
    counts = [1 if _stays(kind) else len(numbers) for kind, numbers in waiting.items()]
    exact = prod(count + 1 for count in counts) <= MOST_STATES
    order, skis = [], []
    for kind, ends in (_least if exact else _nearest)(list(waiting), counts):
        numbers = waiting[kind] if _stays(kind) else waiting[kind][:1]
        waiting[kind] = waiting[kind][len(numbers) :]
        order += numbers
        ways = [(ends[0], ends[0])] * (len(numbers) - 1) + [ends]
        skis += [paths[blocks[n]][way][1] for n, way in zip(numbers, ways, strict=True)]
    return Order(tuple(order), tuple(skis), count_changes(skis), exact)


def _stays(kind: _Kind) -> bool:
    """Whether jigs of a kind may as well all follow one another.

    They may when each can end as it began at no cost, and to end otherwise costs what the
    change itself would: any but the first of them can then be taken out of an order, which
    saves no less than nothing (changes keep the triangle inequality), and put behind the first.
    """
    return all(
        cost == (0, 0) if ends[0] == ends[1] else cost >= _change(*ends) for ends, cost in kind
    )


def _kind(paths: Mapping[Ends, _Path]) -> _Kind:
    """What decides where a block is best drilled: what each way through it costs over the least."""
    drills, stops = min(cost for cost, _ in paths.values())
    return tuple(
        (ends, (cost[0] - drills, cost[1] - stops)) for ends, (cost, _) in sorted(paths.items())
    )


def count_changes(skis: Iterable[Iterable[Sequence[Setting]]]) -> Changes:
    """The changes of a whole evening, block by block and ski by ski."""
    each = [list(block) for block in skis]
    drilled = list(chain.from_iterable(chain.from_iterable(each)))
    costs = [_change(a, b) for a, b in pairwise(drilled)]
    return Changes(max(0, len(each) - 1), sum(c[0] for c in costs), sum(c[1] for c in costs))


def _change(before: Setting, after: Setting) -> Cost:
    if before == after:
        return 0, 0
    return int(before.drill != after.drill), 1


def _add(*costs: Cost) -> Cost:
    return sum(cost[0] for cost in costs), sum(cost[1] for cost in costs)


# -- within one jig ------------------------------------------------------------------------------


def _paths(settings: tuple[Setting, ...], skis: int) -> dict[Ends, _Path]:
    """By first and last setting, the cheapest way through all `skis`."""
    one: dict[Ends, _Path] = {}
    for order in _orders(settings):
        path: _Path = (_add((0, 0), *(_change(a, b) for a, b in pairwise(order))), (order,))
        ends = order[0], order[-1]
        if ends not in one or path[0] < one[ends][0]:
            one[ends] = path
    # Backwards over the skis only costs and the choice of the next are kept.
    best: dict[Ends, Cost] = {ends: path[0] for ends, path in one.items()}
    layers = [best]
    for _ in range(skis - 1):
        longer: dict[Ends, Cost] = {}
        for (first, middle), (cost, _) in one.items():
            for (again, last), rest in layers[-1].items():
                whole = _add(cost, _change(middle, again), rest)
                if (first, last) not in longer or whole < longer[first, last]:
                    longer[first, last] = whole
        layers.append(longer)
    return {ends: (cost, _traced(one, layers, *ends)) for ends, cost in layers[-1].items()}


def _traced(
    one: dict[Ends, _Path],
    layers: Sequence[dict[Ends, Cost]],
    first: Setting,
    last: Setting,
) -> tuple[tuple[Setting, ...], ...]:
    """The orders, ski by ski, behind the cost of beginning with `first` and ending with `last`."""
    orders: list[tuple[Setting, ...]] = []
    for number in range(len(layers) - 1, 0, -1):
        wanted, rest = layers[number][first, last], layers[number - 1]
        middle, again = next(
            (mine[1], theirs[0])
            for mine, (cost, _) in one.items()
            if mine[0] == first
            for theirs, after in rest.items()
            if theirs[1] == last and _add(cost, _change(mine[1], theirs[0]), after) == wanted
        )
        orders += one[first, middle][1]
        first = again
    return (*orders, *one[first, last][1])


def _orders(settings: tuple[Setting, ...]) -> Iterable[tuple[Setting, ...]]:
    if len(settings) <= MOST_ORDERS:
        return permutations(settings)
    return settings, settings[::-1]


# -- the order of the jigs -----------------------------------------------------------------------


def _least(kinds: Sequence[_Kind], counts: Sequence[int]) -> list[tuple[_Kind, Ends]]:
    """The exact minimum: by what is left and the setting in force, the best that can follow."""
    settings = dict.fromkeys(setting for kind in kinds for ends, _ in kind for setting in ends)
    best: _Best = {}
    for left in product(*(range(count + 1) for count in counts)):  # less left comes first
        for now in (*settings, None) if any(left) else ():
            best[left, now] = min(_next(kinds, left, now, best), key=itemgetter(0))
    return _followed(kinds, counts, lambda left, now: best[left, now])


def _nearest(kinds: Sequence[_Kind], counts: Sequence[int]) -> list[tuple[_Kind, Ends]]:
    """Always on with the jig that costs least from here."""
    return _followed(
        kinds, counts, lambda left, now: min(_next(kinds, left, now, {}), key=itemgetter(0))
    )


def _next(
    kinds: Sequence[_Kind], left: _Left, now: Setting | None, best: _Best
) -> Iterator[tuple[Cost, int, Ends]]:
    """Each way on from `now`, with what it costs, what follows by `best` counted in."""
    for kind, count in enumerate(left):
        if not count:
            continue
        after = _less(left, kind)
        for ends, cost in kinds[kind]:
            into = (0, 0) if now is None else _change(now, ends[0])
            rest = best[after, ends[1]][0] if (after, ends[1]) in best else (0, 0)
            yield _add(into, cost, rest), kind, ends


def _followed(
    kinds: Sequence[_Kind],
    counts: Sequence[int],
    step: Callable[[_Left, Setting | None], tuple[Cost, int, Ends]],
) -> list[tuple[_Kind, Ends]]:
    order: list[tuple[_Kind, Ends]] = []
    left: _Left = tuple(counts)
    now: Setting | None = None
    while any(left):
        _, kind, ends = step(left, now)
        order.append((kinds[kind], ends))
        left, now = _less(left, kind), ends[1]
    return order


def _less(left: _Left, kind: int) -> _Left:
    return (*left[:kind], left[kind] - 1, *left[kind + 1 :])

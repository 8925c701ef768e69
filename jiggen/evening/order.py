"""In which order to drill: the fewest changes of jig, then of drill, then of its depth stop.

Every ski is on the bench once and gets all its holes then, and each jig comes up once.  A jig is
one clamping or, of halves used by themselves, one for each half: all settings (drill and stop) of
a half come one after the other, so that no half is clamped twice.  What is left to choose is the
order of the jigs, and for each ski that of its halves and of the settings of each.

The least cost of a jig's run of skis is found exactly for every first and last setting.  Jigs
whose runs cost alike, above the cheapest, are interchangeable, so the order of the jigs is a
shortest path over how many of each kind are done (Bellman; Held and Karp: from memory): exact
while there are at most MOST_STATES such counts.  Beyond that the nearest jig is many next, and
the result says so.
"""

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial, reduce
from itertools import chain, pairwise, permutations, product, starmap
from math import prod
from operator import itemgetter
from typing import NamedTuple

MOST_STATES = 50_000


class Setting(NamedTuple):
    """A drill by its diameter, and where its depth stop is set, in any whole units."""

    drill: int
    stop: int


class Changes(NamedTuple):
    """How often jig, drill and stop are changed; a drill that is changed has its stop set too."""

    jigs: int = 0
    drills: int = 0
    stops: int = 0


@dataclass(frozen=True)
class Block:
    """One jig's work: the settings of each of its halves, one of a whole jig; skis drilled."""

    halves: tuple[tuple[Setting, ...], ...]
    skis: int


class Clamping(NamedTuple):
    """A half of a jig on a ski, by its place in the block, and its settings in order."""

    half: int
    settings: tuple[Setting, ...]


Ski = tuple[Clamping, ...]
"""The clampings of one ski, in order."""


@dataclass(frozen=True)
class Order:
    """Blocks by index in the order they are drilled; for each, its skis in order."""

    blocks: tuple[int, ...]
    skis: tuple[tuple[Ski, ...], ...]
    changes: Changes
    exact: bool


Cost = tuple[int, int]
"""Changes of drill, and of its stop; compared in this order."""
Ends = tuple[Setting, Setting]
"""The setting that a run of skis begins with, and the one it ends with."""
Skis = tuple[Ski, ...]
_Runs = dict[Ends, tuple[Cost, Skis]]
_Kind = tuple[tuple[Ends, Cost], ...]
_Left = tuple[int, ...]
_Step = tuple[Cost, int, Ends]
_Best = dict[tuple[_Left, Setting | None], _Step]


def run_order(blocks: Sequence[Block]) -> Order:
    """The order of `blocks` with the fewest changes; ties go to the order given."""
    runs = {block: _runs(block) for block in dict.fromkeys(blocks)}
    waiting: dict[_Kind, list[int]] = {}
    for number, block in enumerate(blocks):
        waiting.setdefault(_kind(runs[block]), []).append(number)
    kinds = list(waiting)
    counts = tuple(1 if _stays(kind) else len(numbers) for kind, numbers in waiting.items())
    exact = prod(count + 1 for count in counts) <= MOST_STATES
    best = _best(kinds, counts) if exact else {}
    order: list[int] = []
    skis: list[Skis] = []
    left = counts
    now: Setting | None = None
    while any(left):
        _, kind, ends = (
            best[left, now] if exact else min(_next(kinds, left, now, {}), key=itemgetter(0))
        )
        numbers = waiting[kinds[kind]]
        many = len(numbers) if _stays(kinds[kind]) else 1
        stay = (ends[0], ends[0])  # all but the last of them end as they began
        for count, number in enumerate(numbers[:many], start=1):
            order.append(number)
            skis.append(runs[blocks[number]][ends if count == many else stay][1])
        del numbers[:many]
        left, now = _without(left, kind), ends[1]
    return Order(tuple(order), tuple(skis), count_changes(skis), exact)


def count_changes(skis: Iterable[Iterable[Ski]]) -> Changes:
    """The changes of a whole evening, block by block and ski by ski."""
    each = [list(block) for block in skis]
    clampings = chain.from_iterable(chain.from_iterable(each))
    drilled = chain.from_iterable(clamping.settings for clamping in clampings)
    return Changes(max(0, len(each) - 1), *_add(*starmap(_change, pairwise(drilled))))


def _change(before: Setting | None, after: Setting) -> Cost:
    if before is None or before == after:
        return 0, 0
    return int(before.drill != after.drill), 1


def _add(*costs: Cost) -> Cost:
    return sum(cost[0] for cost in costs), sum(cost[1] for cost in costs)


def _runs(block: Block) -> _Runs:
    """The cheapest run through the skis of a block, by the settings it begins and ends with."""
    clamped = [_clampings(half, settings) for half, settings in enumerate(block.halves)]
    one: _Runs = {}
    for first, *others in permutations(clamped):
        ways = reduce(partial(_joined, join=_on_one_ski), others, first)
        one |= {ends: way for ends, way in ways.items() if ends not in one or way[0] < one[ends][0]}
    runs, many, left = one, one, block.skis - 1
    while left:  # by halving: a run behind a run is one of as many skis as both
        runs = _joined(runs, many) if left % 2 else runs
        many, left = _joined(many, many), left // 2
    return runs


def _on_one_ski(done: Skis, more: Skis) -> Skis:
    return ((*done[0], *more[0]),)


def _clampings(half: int, settings: tuple[Setting, ...]) -> _Runs:
    """The cheapest way through the settings of one half, by the first and the last of them.

    None comes twice, so that every step changes the stop; and each drill comes up once, but
    again where the last setting has the drill of the first and there are others.
    """
    drills = [setting.drill for setting in settings]
    found: _Runs = {}
    for first, last in permutations(settings, 2) if len(settings) > 1 else [settings * 2]:

        def place(one: Setting, first: Setting = first, last: Setting = last) -> tuple[int, ...]:
            drill = one.drill
            return drill != first.drill, drill == last.drill, drills.index(drill)

        between = sorted((one for one in settings if one not in (first, last)), key=place)
        way = tuple(dict.fromkeys((first, *between, last)))
        cost = _add(*starmap(_change, pairwise(way)))
        found[first, last] = cost, ((Clamping(half, way),),)
    return found


def _joined(runs: _Runs, more: _Runs, join: Callable[[Skis, Skis], Skis] = tuple.__add__) -> _Runs:
    """The cheapest of `runs` with one of `more` behind it, by its ends."""
    found: _Runs = {}
    for (first, middle), (cost, done) in runs.items():
        for (again, last), (added, skis) in more.items():
            total = _add(cost, _change(middle, again), added)
            if (first, last) not in found or total < found[first, last][0]:
                found[first, last] = total, join(done, skis)
    return found


def _kind(runs: _Runs) -> _Kind:
    """What decides where a block is best drilled: what each of its runs costs above the least."""
    drills, stops = min(cost for cost, _ in runs.values())
    return tuple(
        (ends, (cost[0] - drills, cost[1] - stops)) for ends, (cost, _) in sorted(runs.items())
    )


def _stays(kind: _Kind) -> bool:
    """Whether all jigs of a kind may as well follow one another.

    They may when each can end as it began at no cost, and ending otherwise costs what the
    change itself would: any but the first of them can then be many out of an order, which never
    adds changes (they keep the triangle inequality), and put behind the first.
    """
    return all(
        cost == (0, 0) if ends[0] == ends[1] else cost >= _change(*ends) for ends, cost in kind
    )


def _best(kinds: Sequence[_Kind], counts: _Left) -> _Best:
    """By what is left and the setting in force, the step that everything best follows."""
    settings = dict.fromkeys(setting for kind in kinds for ends, _ in kind for setting in ends)
    best: _Best = {}
    for left in product(*(range(count + 1) for count in counts)):  # less left comes first
        for now in (*settings, None) if any(left) else ():
            best[left, now] = min(_next(kinds, left, now, best), key=itemgetter(0))
    return best


def _next(kinds: Sequence[_Kind], left: _Left, now: Setting | None, best: _Best) -> Iterator[_Step]:
    """Each step from `now`, with its cost and that of what follows by `best`."""
    for kind in (kind for kind, count in enumerate(left) if count):
        after = _without(left, kind)
        for ends, cost in kinds[kind]:
            following = best[after, ends[1]][0] if (after, ends[1]) in best else (0, 0)
            yield _add(_change(now, ends[0]), cost, following), kind, ends


def _without(left: _Left, kind: int) -> _Left:
    return (*left[:kind], left[kind] - 1, *left[kind + 1 :])

"""The fewest jigs: against every way to part the needs, and against the bound it claims."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from random import Random

from hypothesis import given, settings
from hypothesis import strategies as st

from jiggen.evening.cover import Box, around, fewest, fewest_to_make, joined, remembered


def serving(boots: float, ski: float, both: float = 1e9):
    """A jig's reach: how many mm of boots, of widths, and of both together."""

    def serves(box: Box) -> bool:
        over = box.boots[1] - box.boots[0], box.ski[1] - box.ski[0]
        return over[0] <= boots and over[1] <= ski and sum(over) <= both

    return serves


def partitions(items):
    if not items:
        yield []
        return
    first, *others = items
    for parts in partitions(others):
        yield [[first], *parts]
        for n in range(len(parts)):
            yield [*parts[:n], [first, *parts[n]], *parts[n + 1 :]]


def least(needs, serves) -> int:
    """The fewest groups, by looking at every way there is."""
    served = (
        len(parts)
        for parts in partitions(list(range(len(needs))))
        if all(serves(around(needs[n] for n in part)) for part in parts)
    )
    return min(served, default=0)


def box(boot: int, low: int, wide: int) -> Box:
    return Box((boot, boot), (low, low + wide))


WIDTHS = st.lists(
    st.builds(box, st.just(305), st.integers(60, 120), st.integers(0, 12)), max_size=7
)
BOTH = st.lists(
    st.builds(box, st.integers(250, 275), st.integers(70, 100), st.integers(0, 8)), max_size=6
)
# as --boots-span and --ski-span, and a reach that trades the one for the other
REACHES = st.builds(
    serving, st.integers(0, 30), st.integers(8, 40), st.integers(8, 60) | st.just(1e9)
)


def judge(needs, serves):
    groups, bound = fewest(needs, serves)
    assert len(groups) == bound == least(needs, serves)
    assert sorted(n for numbers, _ in groups for n in numbers) == list(range(len(needs)))
    for numbers, box in groups:
        assert box == around(needs[n] for n in numbers)
        assert serves(box)


@settings(max_examples=60, deadline=None)
@given(WIDTHS, st.integers(12, 40))
def test_over_widths_alone_no_parting_has_fewer_jigs(needs, reach):
    judge(needs, serving(0, reach))


@settings(max_examples=60, deadline=None)
@given(BOTH, REACHES)
def test_over_boots_and_widths_no_parting_has_fewer_jigs(needs, serves):
    judge(needs, serves)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.integers(250, 350), max_size=7), st.integers(0, 60))
def test_over_boots_alone_no_parting_has_fewer_jigs(boots, reach):
    judge([box(boot, 80, 10) for boot in boots], serving(reach, 10))


@settings(max_examples=60, deadline=None)
@given(BOTH, st.integers(0, 2**32 - 1), st.integers(8, 40))
def test_what_is_served_may_be_no_monotone_function_and_the_bound_holds(needs, seed, ski):
    chance = Random(seed)
    answers = dict.fromkeys(needs, True)

    def serves(wanted: Box) -> bool:
        return answers.setdefault(wanted, chance.random() < 0.5 and may_serve(wanted))

    def may_serve(wanted: Box) -> bool:
        return wanted in needs or wanted.ski[1] - wanted.ski[0] <= ski

    sizes = range(1, len(needs) + 1)
    every = {around(some) for size in sizes for some in combinations(needs, size)}

    def within(wanted: Box) -> bool:  # a jig for more than is needed does as well
        return any(one.holds(wanted) for one, served in answers.items() if served)

    for one in sorted(every, key=Box.size):
        serves(one)
    groups, _ = fewest(needs, serves)
    _, bound = fewest(needs, may_serve)
    better = joined(groups, bound, serves)
    assert bound <= least(needs, within) <= len(better) <= len(groups)
    assert sorted(n for numbers, _ in better for n in numbers) == list(range(len(needs)))
    for numbers, box in better:
        assert box == around(needs[n] for n in numbers)
        assert within(box)
    if len(better) > bound:
        assert not any(serves(around(box for _, box in two)) for two in combinations(better, 2))


def test_groups_are_joined_where_only_a_part_of_them_is_refused():
    needs = [box(305, low, 4) for low in (80, 90, 100, 110)]

    def serves(wanted: Box) -> bool:  # two or three of them it refuses, all four it serves
        return wanted.ski[1] - wanted.ski[0] in (4, 34)

    groups, _ = fewest(needs, serves)
    assert len(groups) == 4
    assert len(joined(groups, 1, serves)) == 1
    assert len(joined(groups, 4, serves)) == 4


def test_shifts_are_a_side_of_a_box_as_boots_and_widths_are():
    needs = [replace(box(305, 80, 4), shift=(s, s)) for s in (-8.0, 0.0, 9.0, 13.0)]

    def serves(wanted: Box) -> bool:
        return wanted.shift[1] - wanted.shift[0] <= 20

    groups, bound = fewest(needs, serves)
    assert len(groups) == bound == 2


def test_a_cover_that_taking_the_longest_first_would_miss():
    # Widths 80-84 with boots 250 to 280 go together, and 84-110 with boot 260 and 270; the
    # largest group first (all at boot 260, 270) would leave 250 and 280 to a jig each.
    needs = [box(250, 80, 4), box(280, 80, 4), box(260, 80, 4), box(265, 100, 4), box(270, 100, 4)]
    groups, bound = fewest(needs, serving(30, 24, 34))
    assert len(groups) == bound == 2


def test_no_two_needs_that_begin_a_group_of_a_sweep_go_together():
    needs = [box(305, low, 3) for low in range(60, 140, 7)]
    serves = serving(0, 25)
    groups, bound = fewest(needs, serves)
    first = [needs[min(numbers)] for numbers, _ in groups]
    assert len(first) == bound == 3  # 12 needs, and 25 mm reach over 4 of them
    assert not any(serves(around(pair)) for pair in combinations(first, 2))


def test_sixty_needs_of_many_boots_and_widths_ask_a_few_hundred_times():
    needs = [box(250 + 5 * (n % 8), 70 + 5 * (n % 7), n % 5) for n in range(60)]
    asked = []

    def serves(wanted: Box) -> bool:
        asked.append(wanted)
        return serving(20, 30)(wanted)

    groups, bound = fewest(needs, serves)
    assert bound == len(groups) == 4
    assert len(asked) < 500


def test_what_was_answered_is_not_asked_again():
    asked = []

    def serves(wanted: Box) -> bool:
        asked.append(wanted)
        return wanted.ski[1] - wanted.ski[0] <= 20

    again = remembered(serves)
    assert again(box(305, 80, 20))
    assert again(box(305, 85, 10))
    assert not again(box(305, 80, 21))
    assert not again(box(305, 75, 40))
    assert len(asked) == 2


# -- beside jigs that are owned -------------------------------------------------------------------


def least_beside(needs, serves, owned) -> tuple[int, int]:
    """Fewest to make, then fewest in all: by every choice of owned jigs, and every parting."""
    numbers = range(len(needs))
    ways = []
    for size in range(len(owned) + 1):
        for used in combinations(owned, size):
            left = [n for n in numbers if not any(n in mine for mine in used)]
            made = least([needs[n] for n in left], serves)
            ways.append((made, made + size))
    return min(ways)


OWNED = st.lists(st.frozensets(st.integers(0, 4)), max_size=3)


@settings(max_examples=80, deadline=None)
@given(BOTH.filter(lambda needs: len(needs) < 6), REACHES, OWNED)
def test_beside_jigs_owned_no_choice_has_fewer_to_make_or_as_few_and_fewer_in_all(
    needs, serves, owned
):
    owned = [frozenset(n for n in mine if n < len(needs)) for mine in owned]
    groups, used = fewest_to_make(needs, serves, owned)
    assert (len(groups), len(groups) + len(used)) == least_beside(needs, serves, owned)
    served = [*(mine for mine, _ in groups), *used.values()]
    assert sorted(n for mine in served for n in mine) == list(range(len(needs)))
    assert all(set(mine) <= owned[number] for number, mine in used.items())
    for mine, box in groups:
        assert box == around(needs[n] for n in mine)
        assert serves(box)


def test_a_jig_that_must_be_made_spares_an_owned_one():
    needs = [box(300, 80, 4), box(305, 80, 4)]
    groups, used = fewest_to_make(needs, serving(5, 4), [frozenset({0})])
    assert (len(groups), used) == (1, {})
    groups, used = fewest_to_make(needs, serving(4, 4), [frozenset({0}), frozenset({0})])
    assert ([mine for mine, _ in groups], used) == ([(1,)], {0: (0,)})

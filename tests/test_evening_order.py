"""The run order: the fewest changes, against every order there is."""

from __future__ import annotations

from collections import Counter
from itertools import permutations, product

from hypothesis import given, settings
from hypothesis import strategies as st

from jiggen.evening.order import Block, Changes, Clamping, Setting, count_changes, run_order

A, B = Setting(36, 244), Setting(36, 226)  # one drill, two stops
C = Setting(41, 245)


def halves(most):
    """The settings of one half, up to so many."""
    kinds = st.builds(Setting, st.sampled_from([36, 41]), st.sampled_from([1, 2, 3]))
    chosen = st.lists(kinds, min_size=1, max_size=most, unique=True)
    return chosen.map(lambda settings: tuple(sorted(settings)))


def jigs(most, skis):
    """Jigs used whole or by two halves, which may share settings."""
    by_half = st.lists(halves(most), min_size=1, max_size=2).map(tuple)
    return st.builds(Block, by_half, st.integers(1, skis))


BLOCKS = st.lists(jigs(2, 2), min_size=1, max_size=2)
LONE = st.lists(jigs(3, 1), min_size=1, max_size=2)  # more settings of a half


def every_way(block):
    """All ways to drill one ski: the halves in each order, all settings of each in each order."""
    clamped = [
        [Clamping(half, way) for way in permutations(settings)]
        for half, settings in enumerate(block.halves)
    ]
    for order in permutations(clamped):
        yield from product(*order)


def every_order(blocks):
    """All ways to drill `blocks`, each ski once and no half of a jig twice on it."""
    for order in permutations(blocks):
        yield from product(*(list(product(list(every_way(b)), repeat=b.skis)) for b in order))


def whole(settings, skis):
    return Block((settings,), skis)


def settings_in_order(skis):
    return tuple(clamping.settings for ski in skis for clamping in ski)


@settings(max_examples=40, deadline=None)
@given(st.one_of(BLOCKS, LONE))
def test_no_order_has_fewer_changes(blocks):
    found = run_order(blocks)
    assert found.exact
    assert found.changes == min(count_changes(order) for order in every_order(blocks))


@settings(max_examples=50, deadline=None)
@given(st.one_of(BLOCKS, LONE))
def test_every_half_is_clamped_once_a_ski_and_gets_all_its_settings_once(blocks):
    found = run_order(blocks)
    assert sorted(found.blocks) == list(range(len(blocks)))
    for index, skis in zip(found.blocks, found.skis, strict=True):
        assert len(skis) == blocks[index].skis
        for ski in skis:
            given = {clamping.half: sorted(clamping.settings) for clamping in ski}
            assert len(given) == len(ski) == len(blocks[index].halves)
            assert given == {n: sorted(half) for n, half in enumerate(blocks[index].halves)}
    assert count_changes(found.skis) == found.changes


def test_a_half_is_finished_before_the_other_is_clamped():
    # The toe half needs both stops, the heel half the first one alone: A with both halves and B
    # after that would clamp the toe half twice.  B, A | A, and the next ski the other way about.
    found = run_order([Block(((A, B), (A,)), 2)])
    [skis] = found.skis
    there, back = (Clamping(0, (B, A)), Clamping(1, (A,))), (Clamping(1, (A,)), Clamping(0, (A, B)))
    assert skis in ((there, back), (back, there))
    assert found.changes == Changes(0, 0, 2)


def test_a_half_with_many_settings_has_the_fewest_changes_too():
    drills = [Setting(drill, stop) for stop in range(4) for drill in (36, 41)]  # one and the other
    found = run_order([whole(tuple(drills), 1)])
    assert found.exact
    assert found.changes == Changes(0, 1, 7)
    assert Counter(settings_in_order(found.skis[0])[0]) == Counter(drills)


def test_two_skis_of_one_jig_are_drilled_there_and_back():
    found = run_order([whole((A, B), 2)])
    assert settings_in_order(found.skis[0]) in (((A, B), (B, A)), ((B, A), (A, B)))
    assert found.changes == Changes(0, 0, 2)


def test_drills_go_before_stops():
    # A and C have other drills: A B A C costs one change of drill, A C B more.
    found = run_order([whole((A,), 2), whole((C,), 2), whole((B,), 2)])
    assert found.changes == Changes(2, 1, 2)
    assert found.blocks in ((0, 2, 1), (2, 0, 1), (1, 0, 2), (1, 2, 0))


def test_many_jigs_of_few_kinds_are_still_exact():
    many = 100
    found = run_order([whole((A, B), 2), whole((C,), 2)] * many)
    assert found.exact
    assert found.changes == Changes(2 * many - 1, 1, 2 * many + 1)


def test_too_many_kinds_are_said_to_be_no_verified_minimum():
    blocks = [whole((Setting(36, n), Setting(36, n + 1)), 2) for n in range(20)]
    found = run_order(blocks)
    assert not found.exact
    assert count_changes(found.skis) == found.changes
    assert found.changes.stops >= 2 * len(blocks)

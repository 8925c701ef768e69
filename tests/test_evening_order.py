"""The run order: the fewest changes, against every order there is."""

from __future__ import annotations

from itertools import permutations, product

from hypothesis import given, settings
from hypothesis import strategies as st

from jiggen.evening.order import Block, Changes, Setting, count_changes, run_order

A, B = Setting(36, 244), Setting(36, 226)  # one drill, two stops
C = Setting(41, 245)

SETTINGS = st.lists(
    st.builds(Setting, st.sampled_from([36, 41]), st.sampled_from([1, 2, 3])),
    min_size=1,
    max_size=2,
    unique=True,
).map(lambda chosen: tuple(sorted(chosen)))
BLOCKS = st.lists(st.builds(Block, SETTINGS, st.integers(1, 2)), min_size=1, max_size=3)


def every_order(blocks):
    """All ways to drill `blocks`, each ski once and with all its settings."""
    for order in permutations(blocks):
        choices = [list(product(permutations(b.settings), repeat=b.skis)) for b in order]
        yield from product(*choices)


@settings(max_examples=80, deadline=None)
@given(BLOCKS)
def test_no_order_has_fewer_changes(blocks):
    found = run_order(blocks)
    assert found.exact
    assert found.changes == min(count_changes(order) for order in every_order(blocks))


@settings(max_examples=50, deadline=None)
@given(BLOCKS)
def test_every_ski_of_every_block_gets_all_its_settings_once(blocks):
    found = run_order(blocks)
    assert sorted(found.blocks) == list(range(len(blocks)))
    for index, skis in zip(found.blocks, found.skis, strict=True):
        assert len(skis) == blocks[index].skis
        assert all(sorted(ski) == sorted(blocks[index].settings) for ski in skis)
    assert count_changes(found.skis) == found.changes


def test_two_skis_of_one_jig_are_drilled_there_and_back():
    found = run_order([Block((A, B), 2)])
    assert found.skis in ((((A, B), (B, A)),), (((B, A), (A, B)),))
    assert found.changes == Changes(0, 0, 2)


def test_drills_go_before_stops():
    # A and C have other drills: A B A C costs one change of drill, A C B more.
    found = run_order([Block((A,), 2), Block((C,), 2), Block((B,), 2)])
    assert found.changes == Changes(2, 1, 2)
    assert found.blocks in ((0, 2, 1), (2, 0, 1), (1, 0, 2), (1, 2, 0))


def test_many_jigs_of_few_kinds_are_still_exact():
    many = 100
    found = run_order([Block((A, B), 2), Block((C,), 2)] * many)
    assert found.exact
    assert found.changes == Changes(2 * many - 1, 1, 2 * many + 1)


def test_too_many_kinds_are_said_to_be_no_verified_minimum():
    blocks = [Block((Setting(36, n), Setting(36, n + 1)), 2) for n in range(20)]
    found = run_order(blocks)
    assert not found.exact
    assert count_changes(found.skis) == found.changes
    assert found.changes.stops >= 2 * len(blocks)

import math
from dataclasses import replace

import numpy as np
import pytest
from simulation import difference, drill, simulate

from jiggen.accuracy.budget import Budget, jig_budget, sheet_budget
from jiggen.accuracy.causes import Cause, Print
from jiggen.accuracy.terms import Term, default_terms
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern, shipped_patterns

TERMS = default_terms()
SKI = SkiRange(84, 112)


@pytest.fixture(scope="module")
def club(club_layout):
    chosen = design_jig(club_layout, Settings(ski=SKI))
    jigs = (jig_budget(chosen, TERMS, known=Print(checked)) for checked in (True, False))
    budgets = *jigs, sheet_budget(club_layout, TERMS)
    return [(budget, simulate(budget)) for budget in budgets]


def test_100000_drillings_and_the_formula_agree_within_2_percent(club):
    for budget, simulation in club:
        assert simulation.drillings == 100_000
        assert difference(budget, simulation) < 0.02


def test_95_percent_by_formula_and_by_drilling_agree(club):
    for budget, simulation in club:
        # Taken as normal, which a sum with a large uniform part is not quite: on the safe side.
        assert budget.expected == pytest.approx(simulation.expected, rel=0.03)


def test_distances_between_drilled_holes_scatter_as_the_formula_says(club):
    for budget, _ in club:
        places = budget.layout.positions + drill(budget, 40_000, np.random.default_rng(5))
        apart = places[:, :, None] - places[:, None]
        found = np.hypot(apart[..., 0], apart[..., 1]).std(axis=0)
        assert found == pytest.approx(budget.spacing_deviation, rel=0.02)


def test_no_drilling_is_beyond_the_worst_case(club):
    # Of a print that nobody measured a single normal term is the most: it may pass 3 sigma.
    for budget, simulation in (club[0], club[2]):
        # Normal terms may pass 3 sigma, but not enough of them at once to pass the whole sum.
        assert (simulation.worst < budget.worst).all()


@pytest.mark.parametrize("path", shipped_patterns(), ids=lambda path: path.stem)
def test_every_shipped_pattern_agrees(path):
    holes = lay_out(read_pattern(path), 305.0)
    for budget in (
        jig_budget(design_jig(holes, Settings(ski=SKI)), TERMS, known=Print(checked=True)),
        sheet_budget(holes, TERMS),
    ):
        assert difference(budget, simulate(budget, 30_000)) < 0.02


def test_a_wrong_divisor_would_be_seen(club):
    budget, simulation = club[0]
    wrong = tuple(
        replace(c, effect=c.effect * math.sqrt(2)) if c.term.name == "the mark on the ski" else c
        for c in budget.causes
    )
    assert difference(Budget("jig", budget.layout, wrong), simulation) > 0.02


def test_the_same_seed_drills_the_same_holes(club):
    budget = club[0][0]
    first, again, other = (simulate(budget, 6_000, seed) for seed in (7, 7, 8))
    assert np.array_equal(first.blocks, again.blocks)
    assert np.array_equal(first.expected, again.expected)
    assert not np.array_equal(first.blocks, other.blocks)


def one(distribution, draw, effect, club_layout):
    """What 20 000 drillings of the nine holes come to for one cause."""
    term = Term("t", "", distribution, "")
    budget = Budget("jig", club_layout, (Cause(term, draw, np.tile(effect, (9, 1))),))
    return drill(budget, 20_000, np.random.default_rng(3))


def test_a_shared_cause_moves_all_holes_and_both_axes_together(club_layout):
    off = one("triangular", "shared", [0.3, -0.6], club_layout)
    assert np.ptp(off, axis=1).max() == 0.0
    assert np.allclose(off[..., 1], -2 * off[..., 0], atol=1e-12)
    assert np.abs(off[..., 0]).max() <= 0.3


def test_own_draws_are_independent_from_hole_to_hole(club_layout):
    off = one("uniform", "each", [0.3, 0.0], club_layout)[..., 0]
    correlation = np.corrcoef(off.T) - np.eye(9)
    assert np.abs(correlation).max() < 0.04
    assert off.std(axis=0) == pytest.approx(0.3 / math.sqrt(3), rel=0.02)


def test_a_leaning_drill_is_always_off_by_as_much(club_layout):
    off = one("arcsine", "round", [0.04, 0.04], club_layout)
    assert np.allclose(np.hypot(off[..., 0], off[..., 1]), 0.04)
    assert off.std(axis=0) == pytest.approx(np.full((9, 2), 0.04 / math.sqrt(2)), rel=0.03)


@pytest.mark.parametrize(
    ("distribution", "kurtosis"),
    # Fourth moment over variance squared: from memory, by each density's integral.
    [("uniform", 1.8), ("triangular", 2.4), ("normal", 3.0), ("arcsine", 1.5)],
)
def test_draws_have_the_shape_their_name_says(distribution, kurtosis, club_layout):
    off = one(distribution, "each", [1.0, 0.0], club_layout)[..., 0].ravel()
    assert off.mean() == pytest.approx(0.0, abs=0.01)
    assert (off**4).mean() / off.var() ** 2 == pytest.approx(kurtosis, rel=0.02)


def test_nothing_off_differs_by_nothing(club_layout):
    term = Term("t", "", "uniform", "")
    budget = Budget("jig", club_layout, (Cause(term, "shared", np.zeros((9, 2))),))
    assert difference(budget, simulate(budget, 100)) == 0.0


def test_200_holes_are_drilled_as_well():
    holes = lay_out(read_pattern(find_pattern("club-piste")), 305.0)
    n = 200
    many = replace(
        holes,
        ids=tuple(f"h-{i}" for i in range(n)),
        groups=("h",) * n,
        positions=np.column_stack([np.linspace(-150, 150, n), np.linspace(-30, 30, n)]),
        diameters=np.full(n, 3.6),
        depths=np.full(n, 9.0),
    )
    budget = sheet_budget(many, TERMS)
    assert difference(budget, simulate(budget, 10_000)) < 0.03

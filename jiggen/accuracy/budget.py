"""The error budget of every hole: how far off it will be, and what that comes from."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike

from jiggen.accuracy.causes import jig_causes, sheet_causes
from jiggen.accuracy.stack import (
    COVERAGE,
    Array,
    Cause,
    Term,
    covariance,
    own_blocks,
    radius_holding,
    reach,
    spacing_deviation,
    worst_radius,
)
from jiggen.accuracy.terms import Terms
from jiggen.design import Design
from jiggen.errors import Finding
from jiggen.layout import Layout

Method = Literal["jig", "sheet"]
LIMIT = 0.5  # mm: warned of beyond, by default


@dataclass(frozen=True, eq=False)
class Budget:
    """All causes of one way of working, and what they add up to at each hole of `layout`; mm."""

    method: Method
    layout: Layout
    causes: tuple[Cause, ...]

    @cached_property
    def covariance(self) -> Array:
        """Of all holes' x and y with one another, (n, 2, n, 2), mm²."""
        return covariance(self.causes)

    @cached_property
    def blocks(self) -> Array:
        """Each hole's own covariance of x and y, (n, 2, 2), mm²."""
        return own_blocks(self.covariance)

    @property
    def deviation(self) -> Array:
        """Standard deviation (root sum of squares) in x and y, (n, 2)."""
        return np.asarray(np.sqrt(np.diagonal(self.blocks, axis1=1, axis2=2)))

    @property
    def radial_deviation(self) -> Array:
        """Root mean square distance from the hole's place, (n,)."""
        return np.asarray(np.hypot(*self.deviation.T))

    @property
    def expected(self) -> Array:
        """What 95 % of drillings stay within in x and in y, (n, 2), taken as normal."""
        return np.asarray(COVERAGE * self.deviation)

    @cached_property
    def radial_expected(self) -> Array:
        """Radius that 95 % of drillings stay within, (n,), taken as normal."""
        return radius_holding(self.blocks)

    @property
    def worst(self) -> Array:
        """Everything at its greatest and adding up, in x and y, (n, 2)."""
        return reach(self.causes, np.eye(2))

    @cached_property
    def radial_worst(self) -> Array:
        """Everything at its greatest in whichever direction is worst, (n,)."""
        return worst_radius(self.causes)

    @cached_property
    def spacing_deviation(self) -> Array:
        """Standard deviation of the distance between any two holes, (n, n).

        What holes share, they share: only the rest changes the distance.
        """
        return spacing_deviation(self.layout.positions, self.covariance)

    @property
    def shares(self) -> dict[Term, Array]:
        """Variance each term adds at each hole in x and y, mm², (n, 2), in the budget's order."""
        shares: dict[Term, Array] = {}
        for cause in self.causes:
            shares[cause.term] = shares.get(cause.term, 0.0) + cause.deviation**2
        return shares


def jig_budget(design: Design, terms: Terms, bound: ArrayLike | None = None) -> Budget:
    """The budget of holes drilled through `design`.

    `bound` is the greatest sideways error a hole in mm, (n,), in the layout's order; None takes
    that of `centring`, pressed and locked.  Raises InputError for a drill that the tables of
    limits do not list.
    """
    return Budget("jig", design.layout, jig_causes(design, terms, bound))


def sheet_budget(layout: Layout, terms: Terms) -> Budget:
    """The budget of the same holes punched through a printed sheet and drilled by hand."""
    return Budget("sheet", layout, sheet_causes(layout, terms))


def group_spacing(budget: Budget) -> dict[str, float]:
    """By group: within how much the distance of any two of its holes stays, at 95 %, mm.

    Groups of one hole have none and are left out.
    """
    groups = np.array(budget.layout.groups)
    worst = {}
    for name in dict.fromkeys(budget.layout.groups):
        mine = np.flatnonzero(groups == name)
        if len(mine) > 1:
            inside = budget.spacing_deviation[np.ix_(mine, mine)]
            worst[name] = float(COVERAGE * inside.max())
    return worst


def summary(budget: Budget) -> dict[str, Any]:
    """The budget as plain numbers for the manifest and ``--json``; mm, to 0.1 µm."""
    layout, shares = budget.layout, budget.shares
    columns = zip(
        budget.deviation,
        budget.expected,
        budget.worst,
        budget.radial_deviation,
        budget.radial_expected,
        budget.radial_worst,
        strict=True,
    )
    return {
        "method": budget.method,
        "terms": [
            {
                "name": term.name,
                "size": term.size,
                "distribution": term.distribution,
                "source": term.source,
                "sigma_x": _mm(np.sqrt(share[:, 0].max())),
                "sigma_y": _mm(np.sqrt(share[:, 1].max())),
            }
            for term, share in shares.items()
        ],
        "holes": {
            hole: {
                "x": _three(sigma[0], expected[0], worst[0]),
                "y": _three(sigma[1], expected[1], worst[1]),
                "radial": _three(r_sigma, r_expected, r_worst),
                "most": largest_term(budget, index).name,
            }
            for index, (hole, (sigma, expected, worst, r_sigma, r_expected, r_worst)) in enumerate(
                zip(layout.ids, columns, strict=True)
            )
        },
        "spacing_95": {name: _mm(value) for name, value in group_spacing(budget).items()},
        "largest_95": _mm(budget.radial_expected.max()),
    }


def over_limit(budget: Budget, limit: float = LIMIT) -> tuple[Finding, ...]:
    """A warning for each hole whose expected (95 %) error is over `limit` mm."""
    return tuple(
        _warning(budget, index, float(error), limit)
        for index, error in enumerate(budget.radial_expected)
        if error > limit
    )


def largest_term(budget: Budget, hole: int) -> Term:
    """The term that adds most to the hole of this index."""
    shares = budget.shares
    return max(shares, key=lambda term: float(shares[term][hole].sum()))


_HELP = {
    "print scale": "Measure the 100.0 mm scale, correct the print by it, and state what is left.",
    "printer repeatability": "Print slower, or on a stiffer printer.",
    "room temperature": "Measure and use the print at one temperature, and state the range.",
    "centring": "A stiffer material, a narrower ski range or a larger bed (--bed) centres better.",
    "reading the mark": "Read both windows from straight above in good light.",
    "joint of the halves": "A larger bed (--bed) makes the jig in one piece.",
    "drill in its guide": "A press-fit bush (--bush auto) guides the drill closer.",
}


def _warning(budget: Budget, index: int, error: float, limit: float) -> Finding:
    most = largest_term(budget, index).name
    tool = {"jig": "the jig", "sheet": "a paper sheet"}[budget.method]
    return Finding(
        "accuracy.over-limit",
        f"with {tool}, expected to be off by up to {error:.2f} mm in 95 of 100 drillings; "
        f"the limit is {limit:g} mm. Most of it is: {most}",
        key=f"hole {budget.layout.ids[index]}",
        hint=_HELP.get(most, "") or "A term you measured can be stated in a file: --terms.",
    )


def _three(sigma: float, expected: float, worst: float) -> dict[str, float]:
    return {"sigma": _mm(sigma), "expected_95": _mm(expected), "worst": _mm(worst)}


def _mm(value: float) -> float:
    return round(float(value), 4) + 0.0

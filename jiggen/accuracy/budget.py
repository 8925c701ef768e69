"""The error budget of every hole: how far off it will be, and what that comes from.

Causes are independent of one another; a cause shared by all holes moves them together.  Standard
deviations add as in the law of propagation of uncertainty (JCGM 100:2008, 5.1.2 for
independent causes, from memory), worst cases by their absolute values.
"""

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from jiggen.accuracy.causes import Cause, Print, Setting, jig_causes, sheet_causes
from jiggen.accuracy.sections import Array
from jiggen.accuracy.support import Give, find_give
from jiggen.accuracy.terms import Term, Terms
from jiggen.design import Design
from jiggen.design.reusable import Reusable
from jiggen.errors import Finding
from jiggen.layout import Layout
from jiggen.record.results import BudgetSummary, ErrorTerm, GroupDistance, HoleAccuracy, Spread

COVERAGE = 1.959964  # sigmas either side hold 95 % of a normal distribution, from memory
LIMIT = 0.5  # mm: warned of beyond, by default


@dataclass(frozen=True, eq=False)
class Budget:
    """All causes of one way of working, and what they add up to at each hole of `layout`; mm.

    `deviation`, `expected` and `worst` are (n, 3): in x, in y, and from the hole's place.
    """

    method: Literal["jig", "sheet"]
    layout: Layout
    causes: tuple[Cause, ...]

    @cached_property
    def covariance(self) -> Array:
        """Of all holes' x and y with one another, (n, 2, n, 2), mm²."""
        n = len(self.layout)
        total = np.zeros((n, 2, n, 2))
        hole = np.arange(n)
        for cause in self.causes:
            deviation = cause.deviation
            if cause.draw == "shared":
                total += np.multiply.outer(deviation, deviation)
                continue
            own = deviation[:, :, None] * deviation[:, None, :]
            # Off in any direction, x tells nothing of y's sign: they are uncorrelated.
            total[hole, :, hole, :] += own * np.eye(2) if cause.draw == "round" else own
        return total

    @property
    def blocks(self) -> Array:
        """Each hole's own covariance of x and y, (n, 2, 2), mm²."""
        hole = np.arange(len(self.layout))
        return np.asarray(self.covariance[hole, :, hole, :])

    @cached_property
    def deviation(self) -> Array:
        """Standard deviations (root sums of squares)."""
        sigma = np.sqrt(np.diagonal(self.blocks, axis1=1, axis2=2))
        return np.column_stack([sigma, np.hypot(*sigma.T)])

    @cached_property
    def expected(self) -> Array:
        """What 95 % of drillings stay within, taken as normal."""
        return np.column_stack([COVERAGE * self.deviation[:, :2], radius_holding(self.blocks)])

    @cached_property
    def worst(self) -> Array:
        """Everything at its greatest and adding up, at last in whichever direction is worst.

        Half a degree between the directions tried, so short of the truth by 0.001 % at most.
        """
        angle = np.radians(np.arange(0, 180, 0.5))
        towards = np.vstack([np.eye(2), np.column_stack([np.cos(angle), np.sin(angle)])])
        reach = np.zeros((len(self.layout), len(towards)))
        for cause in self.causes:
            round_ = cause.draw == "round"
            reach += cause.effect[:, :1] if round_ else np.abs(cause.effect @ towards.T)
        return np.column_stack([reach[:, :2], reach.max(axis=1)])

    @cached_property
    def spacing_deviation(self) -> Array:
        """Standard deviation of the distance between any two holes, (n, n), 0 on the diagonal.

        What holes share moves them together: only the rest changes the distance.
        """
        at = self.layout.positions
        apart = at[None, :, :] - at[:, None, :]
        length = np.hypot(apart[..., 0], apart[..., 1])
        along = apart / np.where(length > 0, length, 1.0)[..., None]
        both = self.blocks[:, None] + self.blocks[None, :]
        cross = self.covariance.transpose(0, 2, 1, 3)
        left = both - cross - cross.swapaxes(2, 3)
        variance = np.einsum("ija,ijab,ijb->ij", along, left, along)
        return np.asarray(np.sqrt(np.maximum(variance, 0.0)))

    @cached_property
    def toe_to_heel(self) -> GroupDistance | None:
        """Within how much the distance along the ski of the outermost groups stays, at 95 %.

        A group is where the middle of its holes is: what is screwed into all of them lies there.
        """
        layout = self.layout
        own = {name: np.array(layout.groups) == name for name in dict.fromkeys(layout.groups)}
        middle = {name: float(layout.positions[mine, 0].mean()) for name, mine in own.items()}
        front, rear = max(own, key=lambda name: middle[name]), min(own, key=lambda n: middle[n])
        if front == rear:
            return None
        weight = own[front] / own[front].sum() - own[rear] / own[rear].sum()
        variance = float(weight @ self.covariance[:, 0, :, 0] @ weight)
        distance = float(_mm(COVERAGE * np.sqrt(max(variance, 0.0))))
        return GroupDistance(groups=(front, rear), expected_95=distance)

    @cached_property
    def shares(self) -> dict[Term, Array]:
        """Variance each term adds at each hole in x and y, mm², (n, 2), in the budget's order."""
        shares: dict[Term, Array] = {}
        for cause in self.causes:
            shares[cause.term] = shares.get(cause.term, 0.0) + cause.deviation**2
        return shares

    def largest_term(self, hole: int) -> Term:
        """The term that adds most to the hole of this index."""
        return max(self.shares, key=lambda term: float(self.shares[term][hole].sum()))


@dataclass(frozen=True, eq=False)
class OverBoots:
    """The budgets of a jig by boot, shortest first: each hole at the boot where it is off most.

    It has what `Budget` has; distances and terms are the largest of any boot.
    """

    budgets: tuple[Budget, ...]

    @property
    def method(self) -> Literal["jig", "sheet"]:
        """The way of working."""
        return self.budgets[0].method

    @property
    def layout(self) -> Layout:
        """The longest boot's."""
        return self.budgets[-1].layout

    @cached_property
    def worst_boot(self) -> tuple[Budget, ...]:
        """By hole, the budget of the boot where it is off most."""
        off = np.array([budget.deviation[:, 2] for budget in self.budgets])
        return tuple(self.budgets[boot] for boot in off.argmax(axis=0))

    @property
    def boots(self) -> tuple[float, ...]:
        """By hole, the boot where it is off most, mm."""
        return tuple(budget.layout.boot for budget in self.worst_boot)

    @property
    def blocks(self) -> Array:
        """As of a budget, (n, 2, 2)."""
        return np.stack([one.blocks[hole] for hole, one in enumerate(self.worst_boot)])

    @property
    def deviation(self) -> Array:
        """As of a budget, (n, 3)."""
        return np.stack([one.deviation[hole] for hole, one in enumerate(self.worst_boot)])

    @property
    def expected(self) -> Array:
        """As of a budget, (n, 3)."""
        return np.stack([one.expected[hole] for hole, one in enumerate(self.worst_boot)])

    @property
    def worst(self) -> Array:
        """As of a budget, (n, 3)."""
        return np.stack([one.worst[hole] for hole, one in enumerate(self.worst_boot)])

    @property
    def spacing_deviation(self) -> Array:
        """As of a budget, (n, n)."""
        return np.asarray(np.max([one.spacing_deviation for one in self.budgets], axis=0))

    @property
    def toe_to_heel(self) -> GroupDistance | None:
        """As of a budget."""
        found = [one.toe_to_heel for one in self.budgets if one.toe_to_heel]
        return max(found, key=lambda distance: distance.expected_95, default=None)

    @cached_property
    def shares(self) -> dict[Term, Array]:
        """As of a budget."""
        most: dict[Term, Array] = {}
        for budget in self.budgets:
            for term, share in budget.shares.items():
                most[term] = np.maximum(most.get(term, 0.0), share)
        return most

    def largest_term(self, hole: int) -> Term:
        """As of a budget."""
        return self.worst_boot[hole].largest_term(hole)


AnyBudget = Budget | OverBoots


def jig_budget(
    design: Design,
    terms: Terms,
    bound: ArrayLike | None = None,
    known: Print | None = None,
    alone: Sequence[Setting] | None = None,
    give: Give | None = None,
) -> Budget:
    """The budget of holes drilled through `design`, by what is `known` of its print.

    `alone` are the parts of it that are set on the ski by themselves, None for the whole; `give`
    is how it gives way under the usual thrust, None to find it.
    `bound` (n,) is the greatest sideways error of each hole in mm, in the layout's order; None
    takes that of `find_centring`, pressed and locked.
    Raises InputError for a drill that the tables of limits do not list.
    """
    return Budget("jig", design.layout, tuple(jig_causes(design, terms, bound, known, alone, give)))


def boot_budgets(
    jig: Reusable, terms: Terms, bounds: Sequence[Array], known: Print | None = None
) -> OverBoots:
    """The budgets of a jig for many boots, its halves set one after the other on one mark.

    `bounds` are the halves', as of `jig_budget`.
    """
    bound = np.zeros(len(jig.whole.layout))
    for half, own in zip(jig.halves, bounds, strict=True):
        bound[half.holes_of(jig.whole.layout)] = own
    give = find_give(jig.whole, terms.depth.thrust.usual)  # the same wherever the halves lie
    return OverBoots(
        tuple(
            jig_budget(
                replace(jig.whole, layout=layout),
                terms,
                bound,
                known,
                [Setting(half.holes_of(layout), half.stations_at(boot)) for half in jig.halves],
                give,
            )
            for boot, layout in sorted(jig.layouts.items())
        )
    )


def sheet_budget(layout: Layout, terms: Terms) -> Budget:
    """The budget of the same holes punched through a printed sheet and drilled by hand."""
    return Budget("sheet", layout, tuple(sheet_causes(layout, terms)))


def group_spacing(budget: AnyBudget) -> dict[str, float]:
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


def summarise(budget: AnyBudget) -> BudgetSummary:
    """The budget as plain numbers for the record and JSON; mm, to 0.1 µm."""
    spreads = _mm(np.stack([budget.deviation, budget.expected, budget.worst], axis=2)).tolist()
    holes = {}
    for index, (hole, rows) in enumerate(zip(budget.layout.ids, spreads, strict=True)):
        x, y, radial = (Spread(sigma=s, expected_95=e, worst=w) for s, e, w in rows)
        most = budget.largest_term(index).name
        boot = budget.boots[index] if isinstance(budget, OverBoots) else None
        holes[hole] = HoleAccuracy(x=x, y=y, radial=radial, most=most, boot=boot)
    terms = []
    for term, share in budget.shares.items():
        sigma_x, sigma_y = _mm(np.sqrt(share.max(axis=0))).tolist()
        terms.append(ErrorTerm(**asdict(term), sigma_x=sigma_x, sigma_y=sigma_y))
    return BudgetSummary(
        method=budget.method,
        terms=tuple(terms),
        holes=holes,
        spacing_95={name: float(_mm(value)) for name, value in group_spacing(budget).items()},
        toe_to_heel=budget.toe_to_heel,
        largest_95=float(_mm(budget.expected[:, 2].max())),
    )


def over_limit(
    budget: AnyBudget, limit: float = LIMIT, unmeasured: AnyBudget | None = None
) -> tuple[Finding, ...]:
    """A warning for each hole whose expected (95 %) error is over `limit` mm.

    It says what the hole is off by in the `unmeasured` budget too.
    """
    found, errors = [], budget.expected[:, 2]
    tool = "the jig" if budget.method == "jig" else "a paper sheet"
    if unmeasured:
        tool += ", its print checked"
    for index in np.flatnonzero(errors > limit).tolist():
        most = budget.largest_term(index)
        also = f" ({unmeasured.expected[index, 2]:.2f} mm unmeasured)" if unmeasured else ""
        message = (
            f"with {tool}, expected to be off by up to {errors[index]:.2f} mm{also} in "
            f"95 of 100 drillings; the limit is {limit:g} mm. Most of it is: {most.name}"
        )
        hint = most.hint or "A term that you measured can be stated in a file of terms."
        key = f"hole {budget.layout.ids[index]}"
        found.append(Finding("accuracy.over-limit", message, key=key, hint=hint))
    return tuple(found)


def _mm(value: ArrayLike) -> Array:
    return np.asarray(np.asarray(value).round(4) + 0.0)


def radius_holding(blocks: Array) -> Array:
    """Radius in mm about each hole's place that holds 95 % of normally scattered drillings.

    `blocks` is (n, 2, 2), mm².  In coordinates scaled by the two principal deviations s and t
    a normal scatter is round, so the part within R is 1 - mean over φ of
    exp(-R² / 2(s² cos²φ + t² sin²φ)); R is found by halving.
    """
    angle = np.arange(0, 2 * np.pi, 2 * np.pi / 720)
    turned = np.column_stack([np.cos(angle) ** 2, np.sin(angle) ** 2])
    principal = np.maximum(np.linalg.eigvalsh(blocks), 0.0) @ turned.T
    variance = np.maximum(principal, 1e-18)  # mm²: as good as none
    low = np.zeros(len(blocks))
    high = 6.0 * np.sqrt(variance.max(axis=1))
    for _ in range(60):
        middle = (low + high) / 2
        inside = 1.0 - np.exp(-(middle[:, None] ** 2) / (2 * variance)).mean(axis=1)
        low = np.where(inside < 0.95, middle, low)
        high = np.where(inside < 0.95, high, middle)
    return np.asarray(high)

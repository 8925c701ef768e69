"""What is expected of a design before it is drawn: that it runs free, and how true it drills."""

from collections.abc import Sequence

import numpy as np

from jiggen.accuracy.budget import jig_budget, over_limit, sheet_budget, summarise
from jiggen.accuracy.causes import default_terms
from jiggen.accuracy.centring import find_centring, hole_shift_per_division
from jiggen.accuracy.sweep import sweep_stations
from jiggen.design import Design
from jiggen.errors import CheckFailed, Finding
from jiggen.job import JobDesign
from jiggen.record.results import (
    Accuracy,
    BudgetSummary,
    CentringSummary,
    ErrorTerm,
    LeastGap,
    MovingSummary,
)

CENTRING = tuple(CentringSummary.model_fields)
SPREADS = ("sigma_x", "sigma_y")
Expected = tuple[Accuracy, tuple[Finding, ...]]
"""What is expected, for the record, and warnings of holes expected over the limit."""


def expect(design: Design) -> Expected:
    """What is expected of one design.

    Raises CheckFailed where moving parts touch or lose mesh, or where the centring cannot be
    held, naming ski width and parts.
    """
    motion = sweep_stations(design)
    centred = find_centring(design)
    if faults := motion.findings + centred.findings:
        raise CheckFailed(faults)
    terms = default_terms()
    jig = jig_budget(design, terms, centred.loaded)
    least = motion.closest
    names = [station.name for station in design.stations]
    shifts = np.abs(hole_shift_per_division(design)).T
    expected = Accuracy(
        jig=summarise(jig),
        sheet=summarise(sheet_budget(design.layout, terms)),
        centring=CentringSummary(
            **{name: round(float(getattr(centred, name).max()), 4) for name in CENTRING}
        ),
        # How far sideways a hole lies when a station's left and right readings differ by one line.
        division={
            hole: {name: round(float(shift), 4) for name, shift in zip(names, row, strict=True)}
            for hole, row in zip(design.layout.ids, shifts, strict=True)
        },
        moving=MovingSummary(
            widths=(float(motion.widths[0]), float(motion.widths[-1]), len(motion.widths)),
            teeth=round(motion.least_teeth, 2),
            least_gap=LeastGap(
                parts=(least.one, least.other), gap=round(least.gap, 3), ski=least.width
            ),
        ),
    )
    return expected, over_limit(jig)


def expect_job(made: JobDesign) -> Expected:
    """`expect` for a whole jig; each half by itself where halves are used by themselves.

    Raises CheckFailed as `expect` does, for all halves at once.
    """
    found: list[Expected] = []
    faults: list[Finding] = []
    for design in made.alone:
        try:
            found.append(expect(design))
        except CheckFailed as error:
            faults += error.findings
    if faults:
        raise CheckFailed(faults)
    if not made.reusable:
        return found[0]
    every = [expected for expected, _ in found]
    moving = [expected.moving for expected in every]
    whole = Accuracy(
        jig=_joined([expected.jig for expected in every]),
        # Paper has no halves: one sheet shows all holes.
        sheet=summarise(sheet_budget(made.whole.layout, default_terms())),
        centring=CentringSummary(
            **{name: max(getattr(one.centring, name) for one in every) for name in CENTRING}
        ),
        division={hole: by for expected in every for hole, by in expected.division.items()},
        moving=MovingSummary(
            widths=moving[0].widths,
            teeth=min(one.teeth for one in moving),
            least_gap=min((one.least_gap for one in moving), key=lambda gap: gap.gap),
        ),
    )
    return whole, tuple(warning for _, warnings in found for warning in warnings)


def _joined(budgets: Sequence[BudgetSummary]) -> BudgetSummary:
    """The summaries of several bodies' budgets as one; of each term the larger spread."""
    terms: dict[str, ErrorTerm] = {}
    for term in (term for budget in budgets for term in budget.terms):
        other = terms.get(term.name, term)
        largest = {name: max(getattr(other, name), getattr(term, name)) for name in SPREADS}
        terms[term.name] = term.model_copy(update=largest)
    return BudgetSummary(
        method=budgets[0].method,
        terms=tuple(terms.values()),
        holes={hole: found for budget in budgets for hole, found in budget.holes.items()},
        spacing_95={k: v for budget in budgets for k, v in budget.spacing_95.items()},
        largest_95=max(budget.largest_95 for budget in budgets),
    )

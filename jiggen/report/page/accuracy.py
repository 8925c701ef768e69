"""How true the jig is expected to drill, beside marking out by hand from a paper sheet."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from xml.etree import ElementTree as ET

from jiggen.record.results import Accuracy, BudgetSummary
from jiggen.report.page.markup import bullets, classed, node, section, table

JIG, SHEET = "this jig", "paper sheet, by hand"


def accuracy(expected: Accuracy) -> ET.Element:
    """How true the jig is expected to drill, in few words."""
    jig, sheet = expected.jig, expected.sheet
    lead = (
        f"Expect 95 of 100 holes within {jig.largest_95:.2f} mm of their place at the worst "
        f"hole; marked out by hand from a paper sheet, {sheet.largest_95:.2f} mm."
    )
    rows = [*_holes(jig, sheet), *_spacings(jig, sheet)]
    note = (
        "mm, 95 of 100 within. Computed from the parts' play and the usual errors of print and "
        "hand; not measured on a drilled ski."
    )
    return section(
        "Accuracy",
        node("p", lead),
        _bars({JIG: jig.largest_95, SHEET: sheet.largest_95}),
        table(("hole", JIG, SHEET, "most of it, with the jig"), rows, words=(3,)),
        classed("p", "note", note),
        bullets(_mechanism(expected)),
        _sources(jig, sheet),
    )


def _bars(sizes: Mapping[str, float]) -> ET.Element:
    longest = max(sizes.values()) or 1.0
    rows = []
    for number, (name, size) in enumerate(sizes.items()):
        width = f"{100 * size / longest:.2f}"
        bar = node("rect", at={"width": width, "height": "10", "rx": "1"})
        view = {"viewBox": "0 0 100 10", "preserveAspectRatio": "none", "aria-hidden": "true"}
        kind = "bar jig" if number == 0 else "bar"
        rows += [
            node("dt", name),
            node("dd", node("svg", bar, at={**view, "class": kind}), f"{size:.2f} mm"),
        ]
    return classed("dl", "bars", *rows)


def _holes(jig: BudgetSummary, sheet: BudgetSummary) -> Iterator[tuple[str, ...]]:
    for name, hole in jig.holes.items():
        other = sheet.holes[name].radial.expected_95
        yield name, f"{hole.radial.expected_95:.2f}", f"{other:.2f}", hole.most


def _spacings(jig: BudgetSummary, sheet: BudgetSummary) -> Iterator[tuple[str, ...]]:
    for group, spacing in jig.spacing_95.items():
        other = sheet.spacing_95.get(group)
        shown = "–" if other is None else f"{other:.2f}"
        yield f"{group}: hole to hole", f"{spacing:.2f}", shown, ""


def _mechanism(expected: Accuracy) -> Iterator[str]:
    centring, moving = expected.centring, expected.moving
    narrow, wide = moving.widths[:2]
    gap = moving.least_gap
    yield f"Centring: within {centring.loaded:.2f} mm at the worst hole, rails pressed on."
    yield (
        f"Parts run free from {narrow:g} to {wide:g} mm skis, at least {moving.teeth:.1f} teeth "
        f"in mesh."
    )
    yield f"Least gap: {gap.gap:.2f} mm between {' and '.join(gap.parts)}."


def _sources(*budgets: BudgetSummary) -> ET.Element:
    heads = ("error", "size", "spread", "source")
    tables = []
    for budget, title in zip(budgets, (JIG, SHEET), strict=True):
        rows = ((t.name, t.size, t.distribution, t.source) for t in budget.terms)
        tables += [
            node("h3", title.capitalize()),
            table(heads, rows, words=(1, 2, 3), stacked=True),
        ]
    return node("details", node("summary", "Inputs and sources"), *tables)

"""``jiggen accuracy``: how far off each hole will be, with the jig and with a paper sheet."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.cli import options, output
from jiggen.cli.program import JIGS, command
from jiggen.errors import Finding
from jiggen.options import result

if TYPE_CHECKING:
    from jiggen.accuracy.budget import Budget
    from jiggen.accuracy.terms import Terms
    from jiggen.design import Design

TITLES = {"jig": "with the jig", "sheet": "with a paper sheet"}
PLOT = result("plot", "path", "Draw the holes with their scatter: .svg or .pdf.")


@command(JIGS)
def accuracy(
    mount: options.Mount,
    ski: options.SkiOption,
    bush: options.BushOption,
    bed: options.BedOption,
    material: options.MaterialOption,
    terms: Annotated[Path | None, table.TERMS],
    limit: Annotated[float, table.LIMIT],
    plot: Annotated[Path | None, PLOT],
    as_json: options.JsonOption,
) -> None:
    """Say how far off each drilled hole will be: with the jig, and with a paper sheet by hand.

    What 95 of 100 drillings stay within, and the worst case, from the printer's, the drill's and
    the hand's own errors. Warnings of holes over the limit leave the exit code 0.
    """
    settings = replace(
        options.read_settings(ski, bed, bush), material=options.read_material(material)
    )
    from jiggen.accuracy.plot import check_kind, write_plot

    if plot:
        check_kind(plot)
    from jiggen.accuracy.terms import read_terms
    from jiggen.design import design_jig

    stated = read_terms(terms)
    chosen = design_jig(mount.lay_out(), settings)
    found = _compare(chosen, stated, limit)
    if plot:
        write_plot(plot, (found.jig, found.sheet), settings.ski.most, limit)
    output.write(as_json, lambda: as_data(found), lambda: as_text(found))
    if not as_json:
        output.warn(found.warnings)


@dataclass(frozen=True, eq=False)
class Comparison:
    """Both budgets of one design, and the warnings."""

    design: Design
    jig: Budget
    sheet: Budget
    limit: float
    warnings: tuple[Finding, ...]


def _compare(chosen: Design, stated: Terms, limit: float) -> Comparison:
    from jiggen.accuracy.budget import jig_budget, over_limit, sheet_budget
    from jiggen.accuracy.centring import find_centring

    centred = find_centring(chosen)
    jig = jig_budget(chosen, stated, centred.loaded)
    sheet = sheet_budget(chosen.layout, stated)
    warnings = (*centred.findings, *over_limit(jig, limit))
    return Comparison(chosen, jig, sheet, limit, warnings)


def as_data(found: Comparison) -> dict[str, object]:
    """Everything for ``--json``; lengths in mm."""
    from jiggen.accuracy.budget import summarise

    layout, ski = found.design.layout, found.design.settings.ski
    return {
        "pattern": layout.pattern,
        "boot": layout.boot,
        "mount_shift": layout.mount_shift,
        "core": layout.core,
        "side": layout.side,
        "ski": [ski.least, ski.most],
        "limit": found.limit,
        "jig": summarise(found.jig).model_dump(mode="json"),
        "sheet": summarise(found.sheet).model_dump(mode="json"),
        "warnings": [warning.as_dict() for warning in found.warnings],
    }


def as_text(found: Comparison) -> str:
    """The tables as lines."""
    layout, ski = found.design.layout, found.design.settings.ski
    shift = f"{layout.mount_shift:+g} mm" if layout.mount_shift else "none"
    return "\n".join(
        [
            layout.pattern,
            f"boot {layout.boot:g} mm, mount shift {shift}, core {layout.core}, "
            f"ski {ski.least:g} to {ski.most:g} mm",
            "",
            *_hole_lines(found),
            "",
            *_spacing_lines(found),
            "",
            "Where it comes from: standard deviation at the hole where it is largest, mm.",
            *_term_lines(found.jig),
            *_term_lines(found.sheet),
        ]
    )


def _hole_lines(found: Comparison) -> list[str]:
    budgets = (found.jig, found.sheet)
    rows = zip(found.jig.layout.ids, *(_cells(each, found.limit) for each in budgets), strict=True)
    table = output.columns(
        ("hole", *("x", "y", "off ", "worst") * 2),
        ((name, *jig, *sheet) for name, jig, sheet in rows),
        width=8,
    )
    words = (
        "x, y: what 95 of 100 drillings stay within along and across the ski; off: the same from "
        "the hole's place in any direction; worst: everything at its greatest at once. All in mm."
    )
    width = len(table[0]) - 2 * 32
    titles = "".join(TITLES[each.method].center(32) for each in budgets)
    return [
        f"{' ' * width}{titles}".rstrip(),
        *table,
        "",
        *output.wrapped(words),
        f"* over the limit of {found.limit:g} mm",
    ]


def _cells(budget: Budget, limit: float) -> list[tuple[str, ...]]:
    rows = zip(budget.expected, budget.radial_expected, budget.radial_worst, strict=True)
    return [
        (
            output.fixed(x),
            output.fixed(y),
            f"{output.fixed(off)}{'*' if off > limit else ' '}",
            output.fixed(worst),
        )
        for (x, y), off, worst in rows
    ]


def _spacing_lines(found: Comparison) -> list[str]:
    from jiggen.accuracy.budget import group_spacing

    jig, sheet = group_spacing(found.jig), group_spacing(found.sheet)
    if not jig:
        return ["No group has two holes whose distance from one another could be off."]
    rows = ((name, output.fixed(jig[name]), output.fixed(sheet[name])) for name in jig)
    return [
        "Distance between two holes of a group: 95 of 100 within, for the worst two, mm.",
        *output.columns(("", "jig", "sheet"), rows, width=8),
    ]


def _term_lines(budget: Budget) -> list[str]:
    lines = ["", f"{TITLES[budget.method]:<62}{'x':>7}{'y':>7}"]
    for term, share in budget.shares.items():
        x, y = (share**0.5).max(axis=0)
        size = f"  {term.name}: {term.size}, {term.distribution}"
        lines += [f"{size:<62}{x:7.2f}{y:7.2f}", f"      {term.source}"]
    return lines

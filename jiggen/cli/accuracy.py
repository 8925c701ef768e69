"""``jiggen accuracy``: how far off each hole will be, with the jig and with a paper sheet."""

from __future__ import annotations

import json
import textwrap
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.output import warn
from jiggen.cli.program import app
from jiggen.errors import Finding, InputError
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.accuracy.budget import Budget
    from jiggen.accuracy.terms import Terms
    from jiggen.design import Design

WIDTH = 78  # characters of a line of words
TITLES = {"jig": "with the jig", "sheet": "with a paper sheet"}


@app.command(rich_help_panel=options.JIGS)
def accuracy(
    pattern: options.PatternArgument,
    boot: options.BootOption,
    ski: options.SkiOption,
    shift: options.ShiftOption = "0",
    core: options.CoreOption = "plain",
    side: options.SideOption = "left",
    bush: options.BushOption = "auto",
    bed: options.BedOption = "220x220x250",
    material: options.MaterialOption = "PETG",
    terms: Annotated[
        Path | None,
        typer.Option(
            "--terms",
            metavar="FILE",
            help="What you know better than our assumptions, as TOML.",
            rich_help_panel=options.JOB,
            show_default=False,
        ),
    ] = None,
    limit: Annotated[
        str,
        typer.Option(
            "--limit",
            metavar="MM",
            help="Warn of holes that are expected to be farther off.",
            rich_help_panel=options.RESULT,
        ),
    ] = "0.5",
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot",
            metavar="FILE",
            help="Draw the holes with their scatter: .svg or .pdf.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Say how far off each drilled hole will be: with the jig, and with a paper sheet by hand.

    What 95 of 100 drillings stay within, and the worst case, from the printer's, the drill's and
    the hand's own errors. Warnings of holes over the limit leave the exit code 0.
    """
    settings = replace(
        options.read_settings(ski, bed, bush), material=options.read_material(material)
    )
    most = _limit(limit)
    from jiggen.accuracy.plot import check_kind, write_plot

    if plot:
        check_kind(plot)
    from jiggen.accuracy.terms import read_terms
    from jiggen.design import design_jig

    stated = read_terms(terms)
    chosen = design_jig(options.read_layout(pattern, boot, shift, core, side), settings)
    found = _compare(chosen, stated, most)
    if plot:
        write_plot(plot, (found.jig, found.sheet), settings.ski.most, most)
    typer.echo(
        json.dumps(as_data(found), indent=1, ensure_ascii=False) if as_json else as_text(found)
    )
    if not as_json:
        warn(found.warnings)


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
    jig = jig_budget(chosen, stated, centred.loaded.sideways)
    sheet = sheet_budget(chosen.layout, stated)
    warnings = (*centred.findings, *over_limit(jig, limit))
    return Comparison(chosen, jig, sheet, limit, warnings)


def as_data(found: Comparison) -> dict[str, Any]:
    """Everything for ``--json``; lengths in mm."""
    from jiggen.accuracy.budget import summary

    layout, ski = found.design.layout, found.design.settings.ski
    return {
        "pattern": layout.pattern,
        "boot": layout.boot,
        "mount_shift": layout.mount_shift,
        "core": layout.core,
        "side": layout.side,
        "ski": [ski.least, ski.most],
        "limit": found.limit,
        "jig": summary(found.jig),
        "sheet": summary(found.sheet),
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
    names = found.jig.layout.ids
    width = max(len("hole"), *(len(name) for name in names))
    head = "".join(f"{word:>7}" for word in ("x", "y", "off", "worst"))
    both = (_columns(found.jig, found.limit), _columns(found.sheet, found.limit))
    titles = "".join(f"   {TITLES[budget.method]:^28}" for budget in (found.jig, found.sheet))
    words = (
        "x, y: what 95 of 100 drillings stay within along and across the ski; off: the same from "
        "the hole's place in any direction; worst: everything at its greatest at once. All in mm."
    )
    return [
        f"{' ' * width}{titles}".rstrip(),
        f"{'hole'.ljust(width)}   {head}   {head}",
        *(
            f"{name.ljust(width)}   {jig}   {sheet}".rstrip()
            for name, jig, sheet in zip(names, *both, strict=True)
        ),
        "",
        *textwrap.wrap(words, WIDTH),
        f"* over the limit of {found.limit:g} mm",
    ]


def _columns(budget: Budget, limit: float) -> list[str]:
    rows = zip(budget.expected, budget.radial_expected, budget.radial_worst, strict=True)
    return [
        f"{x:7.2f}{y:7.2f}{off:7.2f}{'*' if off > limit else ' '}{worst:6.2f}"
        for (x, y), off, worst in rows
    ]


def _spacing_lines(found: Comparison) -> list[str]:
    from jiggen.accuracy.budget import group_spacing

    jig, sheet = group_spacing(found.jig), group_spacing(found.sheet)
    if not jig:
        return ["No group has two holes whose distance from one another could be off."]
    width = max(len(name) for name in jig)
    return [
        "Distance between two holes of a group: 95 of 100 within, for the worst two, mm.",
        f"{''.ljust(width)}{'jig':>8}{'sheet':>8}",
        *(f"{name.ljust(width)}{jig[name]:8.2f}{sheet[name]:8.2f}" for name in jig),
    ]


def _term_lines(budget: Budget) -> list[str]:
    lines = ["", f"{TITLES[budget.method]:<62}{'x':>7}{'y':>7}"]
    for term, share in budget.shares.items():
        x, y = (share**0.5).max(axis=0)
        size = f"  {term.name}: {term.size}, {term.distribution}"
        lines += [f"{size:<62}{x:7.2f}{y:7.2f}", f"      {term.source}"]
    return lines


def _limit(words: str) -> float:
    limit = length(words, "--limit")
    if limit <= 0:
        hint = "Write a length above 0: 0.5."
        raise InputError(Finding("cli.limit", f"a limit of {limit:g} mm", key="--limit", hint=hint))
    return limit

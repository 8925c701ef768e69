"""``jiggen layout``, ``accuracy``, ``patterns``, ``show``, ``materials``: before you build."""

from __future__ import annotations

import shlex
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.cli import output
from jiggen.cli.program import JIGS, PATTERNS, command
from jiggen.options import argument, result
from jiggen.report.lines import columns, records, wrapped
from jiggen.request import options
from jiggen.units import fixed
from jiggen.wording import CENTRE, point_words

if TYPE_CHECKING:
    from jiggen.accuracy.budget import AnyBudget
    from jiggen.layout import Layout
    from jiggen.record.results import DepthBudget

DRAWN_SKI = replace(table.SKIS, help="Widths to draw: 98, 84-112.", required=False)
DRAWN_BOOT = replace(table.BOOT, help="By default the middle of those it serves.", required=False)
ONE_MATERIAL = argument(
    "name", "text", "One plastic in full, with sources.", required=False, metavar="[NAME]"
)
PLOT = result("plot", "path", "Draw the holes with their scatter: .svg or .pdf.")
TITLES = {"jig": "with the jig", "sheet": "with a paper sheet"}
WIDEST = 120  # columns of a plan: wider ones are no easier to read


@command(JIGS)
def layout(
    mount: options.Mount,
    ski: Annotated[options.Range | None, DRAWN_SKI],
    svg: Annotated[Path | None, table.SVG],
    dxf: Annotated[Path | None, table.DXF],
    pdf: Annotated[Path | None, table.PDF],
    paper: Annotated[options.Paper, table.PAPER],
    units: Annotated[options.Units, table.UNITS],
    plate_hole: Annotated[float | None, table.PLATE_HOLE],
    as_json: options.JsonOption,
) -> None:
    """Show where the holes go for one boot: a table, and drawings at 1:1.

    Nothing is built and nothing is printed in plastic: this is quick, to look before you build.
    """
    from jiggen.layout import check_skis, off_ski, reach

    found = mount.lay_out()
    if ski:
        check_skis(ski)
    warnings = off_ski(found, ski[0]) if ski else ()
    if svg or dxf:
        from jiggen.export.hole_plan import layout_dxf, layout_svg
        from jiggen.files import write_whole

        if svg:
            write_whole(svg, layout_svg(found, ski), "--svg")
        if dxf:
            write_whole(dxf, layout_dxf(found, ski), "--dxf")
    if pdf:
        from jiggen.files import write_whole
        from jiggen.report.sheet import layout_pdf

        pages = layout_pdf(found, ski or (), paper=paper, units=units, plate_hole=plate_hole)
        write_whole(pdf, pages, "--pdf")
    x, y = found.positions.T
    sizes = {"diameter": found.diameters, "depth": found.depths}
    data = {
        **_mount_data(found),
        "pair": found.pair,
        "bounds": found.bounds,
        "holes": records(id=found.ids, group=found.groups, x=x, y=y, **sizes),
        "warnings": [warning.as_dict() for warning in warnings],
    }
    rows = zip(found.ids, x, y, *sizes.values(), strict=True)
    lines = [
        found.pattern,
        mount_line(found),
        "",
        *columns(
            ("hole", "x", "y", "drill", "depth"),
            ((name, *map(fixed, row)) for name, *row in rows),
        ),
        "",
        "All in mm: x from the mounting mark towards the tip, y from the centre line to the",
        "left edge, depth below the top sheet.",
        f"A ski narrower than {fixed(2 * reach(found), 1)} mm cannot take these holes.",
    ]
    output.write(as_json, lambda: output.plain(data), lambda: "\n".join(lines), warnings)


def _mount_data(found: Layout) -> dict[str, object]:
    """What a layout is for, for ``--json``; lengths in mm."""
    names = ("pattern", "boot", "mount_shift", "core", "side", "mark")
    return {name: getattr(found, name) for name in names}


def mount_line(found: Layout, skis: str = "", boots: options.Range | None = None) -> str:
    """What a layout is for: boot or `boots`, shift, core and which `skis`."""
    shift = f"{found.mount_shift:+g} mm" if found.mount_shift else "none"
    pair = f"{found.side} ski" if found.pair == "mirrored" else "the same on left and right ski"
    boot = " to ".join(f"{one:g}" for one in dict.fromkeys(boots or (found.boot,)))
    mark = "" if found.mark == CENTRE else f", {point_words(found.mark)} on the ski's mark"
    return f"boot {boot} mm, mount shift {shift}, core {found.core}, {skis or pair}{mark}"


@command(JIGS)
def accuracy(
    pattern: options.PatternArgument,
    boot: Annotated[float | options.Range, table.BOOTS],
    shift: options.ShiftOption,
    core: options.CoreOption,
    side: options.SideOption,
    ski: options.SkiOption,
    sides: options.Sides,
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
    the hand's own errors; of a range of boots, each hole at the boot where it is off most. Warnings
    of holes over the limit leave the exit code 0.
    """
    from jiggen.design import Bed

    settings = options.read_settings(ski, sides, Bed(*bed), bush, material)
    from jiggen.accuracy.plot import check_kind
    from jiggen.accuracy.plot import plot as draw
    from jiggen.files import write_whole

    kind = check_kind(plot) if plot else ""
    from jiggen.accuracy.budget import over_limit, summarise
    from jiggen.accuracy.causes import Print
    from jiggen.accuracy.centring import find_centring
    from jiggen.accuracy.depth import depth_budget, join_depths
    from jiggen.accuracy.lift import find_lift
    from jiggen.accuracy.support import weak_holes
    from jiggen.accuracy.terms import read_terms
    from jiggen.drilling import DrillingLimits
    from jiggen.job import Job, design_job, job_budget, paper_budget
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.report.sides import about_width

    stated = read_terms(terms)
    boots = options.read_boots(boot)
    found = read_pattern(find_pattern(pattern))
    made = design_job(Job(found, boots, settings, core, side, shift))
    centred = [find_centring(design) for design in made.alone]
    bounds = [one.loaded for one in centred]
    jig, unmeasured = (
        job_budget(made, stated, bounds, Print(checked)) for checked in (True, False)
    )
    sheet = paper_budget(made, stated)
    widths = " ".join(about_width(settings.sidewall, settings.rail_depth))
    point, deep = DrillingLimits().point_angle, stated.depth
    depth = join_depths([depth_budget(design, deep, point) for design in made.alone])
    warnings = [fault for one in centred for fault in one.findings]
    warnings += find_lift(settings).findings
    for design in made.alone:
        warnings += weak_holes(design, deep.thrust.most)
    warnings += over_limit(jig, limit, unmeasured)
    if plot:
        write_whole(plot, draw((jig, sheet), unmeasured, settings.ski.most, limit, kind), "plot")
    output.write(
        as_json,
        lambda: {
            **_mount_data(made.whole.layout),
            "boots": None if boots[0] == boots[1] else boots,
            "ski": ski,
            "rail_depth": settings.rail_depth,
            "sidewall": settings.sidewall,
            "limit": limit,
            "jig": summarise(jig).model_dump(mode="json"),
            "unmeasured": summarise(unmeasured).model_dump(mode="json"),
            "sheet": summarise(sheet).model_dump(mode="json"),
            "depth": depth.model_dump(mode="json"),
            "warnings": [warning.as_dict() for warning in warnings],
        },
        lambda: "\n".join(
            (
                *_accuracy_lines((jig, sheet), unmeasured, (boots, ski), widths, limit),
                *_depth_lines(depth),
            )
        ),
        warnings,
    )


def _depth_lines(depth: DepthBudget) -> Iterator[str]:
    """How deep holes come out, and what that comes from."""
    from jiggen.report.depth import depth_words, giving_words, term_rows

    yield ""
    yield from wrapped(f"Depth: {depth_words(depth, '{:.2f} mm'.format)}.")
    yield from wrapped(f"With {giving_words(depth).removeprefix('pressed with ')}.")
    yield ""
    yield f"{'depth, at the worst hole: greatest, mm':<62}{'deep':>7}{'shallow':>9}"
    for name, size, deep, shallow, _ in term_rows(depth):
        yield f"{f'  {name}: {size}':<62}{deep:>7}{shallow:>9}"


def _accuracy_lines(
    budgets: Sequence[AnyBudget],
    unmeasured: AnyBudget,
    served: tuple[options.Range, options.Range],
    widths: str,
    limit: float,
) -> Iterator[str]:
    """The tables as lines: of `budgets`, the jig's once its print was checked, and the sheet's.

    Boots and skis are `served`, from and to; `widths` says where a ski's width is measured.
    """
    from jiggen.accuracy.budget import OverBoots, group_spacing

    found, (boots, ski) = budgets[0].layout, served
    yield found.pattern
    yield mount_line(found, f"ski {ski[0]:g} to {ski[1]:g} mm", boots)
    yield from wrapped(widths)
    yield ""
    yield "95 of 100 holes drilled with the jig, at the worst hole:"
    yield f"  as printed, unmeasured               within {_largest(unmeasured)} mm"
    yield f"  after the check of the print passed  within {_largest(budgets[0])} mm: see the table"
    yield ""
    over, names = budgets[0], list(found.ids)
    if isinstance(over, OverBoots):
        names = [f"{hole}, boot {boot:g}" for hole, boot in zip(names, over.boots, strict=True)]
    cells = zip(names, *(_cells(each, limit) for each in budgets), strict=True)
    rows = ((name, *jig, *sheet) for name, jig, sheet in cells)
    table = columns(("hole", *("x", "y", "off ", "worst") * 2), rows, width=8)
    titles = "".join(TITLES[each.method].center(32) for each in budgets)
    yield f"{' ' * (len(table[0]) - 2 * 32)}{titles}".rstrip()
    yield from table
    yield ""
    yield from wrapped(
        "x, y: what 95 of 100 drillings stay within along and across the ski; off: the same from "
        "the hole's place in any direction; worst: everything at its greatest at once. All in mm."
    )
    yield f"* over the limit of {limit:g} mm"
    yield ""
    jig, sheet = map(group_spacing, budgets)
    if jig:
        yield "Distance between two holes of a group: 95 of 100 within, for the worst two, mm."
        rows = ((name, fixed(jig[name]), fixed(sheet[name])) for name in jig)
        yield from columns(("", "jig", "sheet"), rows, width=8)
    else:
        yield "No group has two holes whose distance from one another could be off."
    if whole := budgets[0].toe_to_heel:
        yield ""
        front, rear = whole.groups
        yield f"Distance from {rear} to {front} along the ski: 95 of 100 within, mm. A group is"
        yield "where the middle of its holes is."
        three = (unmeasured, *budgets)
        apart = [fixed(one.toe_to_heel.expected_95) for one in three if one.toe_to_heel]
        yield from columns(("", "unmeasured", "jig", "sheet"), [("", *apart)], width=12)
    yield ""
    yield "Where it comes from: standard deviation at the hole where it is largest, mm."
    jig_checked, by_hand = budgets
    only_unmeasured = {
        term: share for term, share in unmeasured.shares.items() if term not in jig_checked.shares
    }
    for title, shares in (
        ("with the jig, its print checked", jig_checked.shares),
        ("unmeasured instead of the check", only_unmeasured),
        (TITLES["sheet"], by_hand.shares),
    ):
        yield ""
        yield f"{title:<62}{'x':>7}{'y':>7}"
        for term, share in shares.items():
            x, y = (share**0.5).max(axis=0)
            size = f"  {term.name}: {term.size}, {term.distribution}"
            yield f"{size:<62}{fixed(x):>7}{fixed(y):>7}"
            yield f"      {term.source}"


def _largest(budget: AnyBudget) -> str:
    """What 95 of 100 drillings stay within at the worst hole, mm."""
    return fixed(budget.expected[:, 2].max())


def _cells(budget: AnyBudget, limit: float) -> Iterator[tuple[str, ...]]:
    """By hole, what stands in its four columns."""
    for (x, y, off), (*_, worst) in zip(budget.expected, budget.worst, strict=True):
        mark = "*" if off > limit else " "
        yield *map(fixed, (x, y)), f"{fixed(off)}{mark}", fixed(worst)


@command(PATTERNS)
def patterns(as_json: options.JsonOption) -> None:
    """List the patterns that a name finds: in ./patterns, in your own folder, and jiggen's.

    A pattern marked hidden has the name of one that is found before it: give its path.
    """
    from jiggen.pattern.find import user_folder
    from jiggen.report.patterns import list_patterns
    from jiggen.report.patterns import table as as_table

    listed = list_patterns()
    output.write(
        as_json,
        lambda: {"patterns": [entry.as_dict() for entry in listed]},
        lambda: (
            f"{as_table(listed)}\n\nYour own go into ./patterns, or into {user_folder()}, where "
            "they are always\nfound. jiggen show NAME draws one, jiggen new makes one."
        ),
    )


@command(PATTERNS)
def show(
    pattern: options.PatternArgument,
    boot: Annotated[float | None, DRAWN_BOOT],
    svg: Annotated[Path | None, replace(table.SVG, help="Draw at 1:1 as SVG too.")],
) -> None:
    """Show a pattern: what it says, and a small plan of its holes."""
    from jiggen.layout import lay_out
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.report.patterns import described, sketch, usual_boot

    path = find_pattern(pattern)
    found = read_pattern(path)
    holes = lay_out(found, usual_boot(found) if boot is None else boot)
    if svg:
        from jiggen.export.hole_plan import layout_svg
        from jiggen.files import write_whole

        write_whole(svg, layout_svg(holes), "--svg")
    width = min(shutil.get_terminal_size().columns, WIDEST)
    numbers = f"jiggen layout {shlex.quote(pattern)} --boot {holes.boot:g}"
    lines = [
        f"{found.name} ({path})",
        *described(found),
        "",
        sketch(holes, width),
        "",
        f"For a boot of {holes.boot:g} mm, about to scale; numbers are mm from the mounting mark.",
        f"Every hole in numbers: {numbers}",
    ]
    output.say("\n".join(lines))


@command(JIGS)
def materials(name: Annotated[str | None, ONE_MATERIAL], as_json: options.JsonOption) -> None:
    """Compare the plastics: how they shrink, bend and soften, and the hole error that follows.

    The numbers are published ranges of plain plastics; those of a given spool may differ.
    """
    from jiggen.report.plastics import as_data, described
    from jiggen.report.plastics import table as as_table
    from jiggen.tables import material
    from jiggen.tables import materials as listed

    one = None if name is None else material(name, "NAME")
    output.write(
        as_json,
        lambda: as_data(listed() if one is None else (one,)),
        lambda: as_table() if one is None else described(one),
    )

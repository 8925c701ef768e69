"""``jiggen layout``, ``patterns``, ``show``, ``materials``: what to look at before you build."""

from __future__ import annotations

import shlex
import shutil
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jiggen import options as table
from jiggen.cli import options, output
from jiggen.cli.program import JIGS, PATTERNS, command
from jiggen.options import Option

if TYPE_CHECKING:
    from jiggen.layout import Layout
    from jiggen.pattern import Pattern

DRAWN_SKI = replace(
    table.SKIS, help="Ski width, or narrowest to widest: 98, 84-112. Only drawn.", required=False
)
DRAWN_BOOT = replace(
    table.BOOT,
    help="Boot sole length; by default the middle of those the pattern serves.",
    required=False,
)
ONE_MATERIAL = Option(
    "name",
    "text",
    "One plastic in full, with the source of each number.",
    argument=True,
    metavar="[NAME]",
)
USUAL_BOOT = 305.0  # mm, drawn where a pattern names no boots
WIDEST = 120  # columns of a plan: wider ones are no easier to read


@command(JIGS)
def layout(
    mount: options.Mount,
    ski: Annotated[options.Range | None, DRAWN_SKI],
    svg: Annotated[Path | None, table.SVG],
    dxf: Annotated[Path | None, table.DXF],
    as_json: options.JsonOption,
) -> None:
    """Show where the holes go for one boot: a table, and drawings at 1:1.

    Nothing is built and nothing is printed in plastic: this is quick, to look before you build.
    """
    found = mount.lay_out()
    if svg:
        from jiggen.export.hole_plan import layout_svg
        from jiggen.files import write_whole

        write_whole(svg, layout_svg(found, ski), "--svg")
    if dxf:
        from jiggen.export.hole_plan import layout_dxf
        from jiggen.files import write_whole

        write_whole(dxf, layout_dxf(found, ski), "--dxf")
    output.write(as_json, lambda: as_data(found), lambda: as_text(found))


def as_data(found: Layout) -> dict[str, object]:
    """The layout for ``--json``: lengths in mm, rounded to a nanometre."""
    x, y = found.positions.T
    data = {
        "pattern": found.pattern,
        "boot": found.boot,
        "mount_shift": found.mount_shift,
        "core": found.core,
        "side": found.side,
        "pair": found.pair,
        "bounds": found.bounds,
        "holes": output.records(
            id=found.ids, group=found.groups, x=x, y=y, diameter=found.diameters, depth=found.depths
        ),
    }
    return output.plain(data)


def as_text(found: Layout) -> str:
    """The layout as lines: what it is for, then the holes in mm."""
    rows = zip(found.ids, *found.positions.T, found.diameters, found.depths, strict=True)
    return "\n".join(
        [
            found.pattern,
            mount_line(found),
            "",
            *output.columns(
                ("hole", "x", "y", "drill", "depth"),
                ((name, *map(output.fixed, row)) for name, *row in rows),
            ),
            "",
            "All in mm: x from the mounting mark towards the tip, y from the centre line to the",
            "left edge, depth below the top sheet.",
        ]
    )


def mount_line(found: Layout) -> str:
    """What a layout is for: boot, shift, core and which ski."""
    shift = f"{found.mount_shift:+g} mm" if found.mount_shift else "none"
    skis = f"{found.side} ski" if found.pair == "mirrored" else "the same on left and right ski"
    return f"boot {found.boot:g} mm, mount shift {shift}, core {found.core}, {skis}"


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
    from jiggen.report.patterns import described, sketch

    path = find_pattern(pattern)
    found = read_pattern(path)
    holes = lay_out(found, _usual_boot(found) if boot is None else boot)
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
    typer.echo("\n".join(lines))


def _usual_boot(pattern: Pattern) -> float:
    """A boot to draw, in mm: the middle of those served, whole where that is one of them."""
    if pattern.boot is None:
        first = max((group.steps[0].start for group in pattern.groups if group.steps), default=0.0)
        return max(USUAL_BOOT, first)
    low, high = pattern.boot
    middle = round((low + high) / 2)
    return float(middle) if low <= middle <= high else low


@command(JIGS)
def materials(name: Annotated[str | None, ONE_MATERIAL], as_json: options.JsonOption) -> None:
    """Compare the plastics: how they shrink, bend and soften, and the hole error that follows.

    The numbers are published ranges of plain plastics; those of a given spool may differ.
    """
    from jiggen.report.plastics import as_data, described
    from jiggen.report.plastics import table as as_table
    from jiggen.tables.materials import material
    from jiggen.tables.materials import materials as listed

    one = None if name is None else material(name, "NAME")
    output.write(
        as_json,
        lambda: as_data(listed() if one is None else (one,)),
        lambda: as_table() if one is None else described(one),
    )

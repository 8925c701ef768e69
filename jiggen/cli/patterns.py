"""``jiggen patterns`` and ``jiggen show``: which patterns there are, and what one looks like."""

from __future__ import annotations

import json
import shlex
import shutil
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jiggen.cli import options
from jiggen.cli.program import app
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.pattern import Pattern

USUAL_BOOT = 305.0  # mm, drawn where a pattern names no boots
WIDEST = 120  # columns of a plan: wider ones are no easier to read


@app.command("patterns", rich_help_panel=options.PATTERNS)
def list_all(as_json: options.JsonOption = False) -> None:
    """List the patterns that a name finds: in ./patterns, in your own folder, and jiggen's.

    A pattern marked hidden has the name of one that is found before it: give its path.
    """
    from jiggen.pattern.find import user_folder
    from jiggen.report.patterns import list_patterns, table

    listed = list_patterns()
    if as_json:
        entries = [entry.as_dict() for entry in listed]
        typer.echo(json.dumps({"patterns": entries}, indent=1, ensure_ascii=False))
        return
    typer.echo(table(listed))
    typer.echo(f"\nYour own go into ./patterns, or into {user_folder()}, where they are always")
    typer.echo("found. jiggen show NAME draws one, jiggen new makes one.")


@app.command(rich_help_panel=options.PATTERNS)
def show(
    pattern: options.PatternArgument,
    boot: Annotated[
        str | None,
        typer.Option(
            metavar="MM",
            help="Boot sole length; by default the middle of those the pattern serves.",
            rich_help_panel=options.JOB,
            show_default=False,
        ),
    ] = None,
    svg: Annotated[
        Path | None,
        typer.Option(
            metavar="FILE", help="Draw at 1:1 as SVG too.", rich_help_panel=options.RESULT
        ),
    ] = None,
) -> None:
    """Show a pattern: what it says, and a small plan of its holes."""
    svg = options.read_target(svg, ".svg", "--svg")
    asked = None if boot is None else length(boot, "--boot")

    from jiggen.layout import layout
    from jiggen.pattern import find_pattern, read_pattern
    from jiggen.report.patterns import described
    from jiggen.report.sketch import sketch

    path = find_pattern(pattern)
    found = read_pattern(path)
    holes = layout(found, _usual_boot(found) if asked is None else asked)
    if svg:
        from jiggen.export.hole_plan import layout_svg
        from jiggen.files import write_whole

        write_whole(svg, layout_svg(holes), "--svg")
    columns = min(shutil.get_terminal_size().columns, WIDEST)
    numbers = f"jiggen layout {shlex.quote(pattern)} --boot {holes.boot:g}"
    lines = [
        f"{found.name} ({path})",
        *described(found),
        "",
        sketch(holes, columns),
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

"""``jiggen layout``: where the holes go, as a table, as JSON, as a drawing."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.program import app

if TYPE_CHECKING:
    from jiggen.layout import Layout


@app.command(rich_help_panel=options.JIGS)
def layout(
    pattern: options.PatternArgument,
    boot: options.BootOption,
    shift: options.ShiftOption = "0",
    core: options.CoreOption = "plain",
    side: options.SideOption = "left",
    ski: Annotated[
        str | None,
        typer.Option(
            "--ski",
            metavar="MM",
            help="Ski width, or narrowest to widest: 98, 84-112. Only drawn.",
            rich_help_panel=options.JOB,
        ),
    ] = None,
    svg: Annotated[
        Path | None,
        typer.Option(
            "--svg", metavar="FILE", help="Draw at 1:1 as SVG.", rich_help_panel=options.RESULT
        ),
    ] = None,
    dxf: Annotated[
        Path | None,
        typer.Option(
            "--dxf",
            metavar="FILE",
            help="Draw at 1:1 as DXF, in mm.",
            rich_help_panel=options.RESULT,
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Show where the holes go for one boot: a table, and drawings at 1:1.

    Nothing is built and nothing is printed in plastic: this is quick, to look before you build.
    """
    widths = options.read_ski(ski)
    svg = options.read_target(svg, ".svg", "--svg")
    dxf = options.read_target(dxf, ".dxf", "--dxf")
    found = options.read_layout(pattern, boot, shift, core, side)
    _draw(found, widths, svg, dxf)
    typer.echo(as_text(found) if not as_json else json.dumps(as_data(found), indent=1))


def _draw(
    found: Layout, ski: tuple[float, float] | None, svg: Path | None, dxf: Path | None
) -> None:
    from jiggen.files import write_whole

    if svg:
        from jiggen.export.hole_plan import layout_svg

        write_whole(svg, layout_svg(found, ski), "--svg")
    if dxf:
        from jiggen.export.hole_plan import layout_dxf

        write_whole(dxf, layout_dxf(found, ski), "--dxf")


def as_data(found: Layout) -> dict[str, Any]:
    """The layout for ``--json``: lengths in mm, rounded to a nanometre."""
    return {
        "pattern": found.pattern,
        "boot": _mm(found.boot),
        "mount_shift": _mm(found.mount_shift),
        "core": found.core,
        "side": found.side,
        "pair": found.pair,
        "bounds": [[_mm(value) for value in corner] for corner in found.bounds],
        "holes": [
            {"id": name, "group": group}
            | dict(zip(("x", "y", "diameter", "depth"), row, strict=True))
            for name, group, row in zip(found.ids, found.groups, _rows(found), strict=True)
        ],
    }


def as_text(found: Layout) -> str:
    """The layout as lines: what it is for, then the holes in mm."""
    shift = f"{found.mount_shift:+g} mm" if found.mount_shift else "none"
    skis = f"{found.side} ski" if found.pair == "mirrored" else "left and right ski alike"
    width = max(len("hole"), *(len(name) for name in found.ids))
    head = ("x", "y", "drill", "depth")
    return "\n".join(
        [
            found.pattern,
            f"boot {found.boot:g} mm, mount shift {shift}, core {found.core}, {skis}",
            "",
            "hole".ljust(width) + "".join(f"{word:>10}" for word in head),
            *(
                name.ljust(width) + "".join(f"{value:10.2f}" for value in row)
                for name, row in zip(found.ids, _rows(found), strict=True)
            ),
            "",
            "All in mm: x from the mounting mark towards the tip, y from the centre line to the",
            "left edge, depth below the top sheet.",
        ]
    )


def _rows(found: Layout) -> list[tuple[float, ...]]:
    columns = (*found.positions.T, found.diameters, found.depths)
    return [tuple(map(_mm, row)) for row in zip(*columns, strict=True)]


def _mm(value: float) -> float:
    return round(float(value), 6) + 0.0

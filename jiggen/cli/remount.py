"""``jiggen remount``: new holes beside old ones, and where to move the mount to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.cli import output
from jiggen.cli.layout import mount_line
from jiggen.cli.program import SKIS, command
from jiggen.report.lines import columns
from jiggen.request import options
from jiggen.request.remount import RemountRequest

if TYPE_CHECKING:
    from jiggen.remount.shifts import Answer

BOTH_SVG = replace(table.SVG, help="Draw old and new holes, also at the nearest clear mount.")


@command(SKIS)
def remount(
    asked: RemountRequest,
    svg: Annotated[Path | None, BOTH_SVG],
    as_json: options.JsonOption,
) -> None:
    """Check new holes against old ones, and find the nearest mounts at which every hole is clear.

    A new hole is clear when it keeps its distance from every old one, or takes one's place:
    within 0.3 mm of it, if that is no wider than the drill.

    Exit code 0 when the mount asked for is clear, 1 when it is not.
    """
    found, others = asked.answer()
    if svg:
        from jiggen.export.remount_svg import remount_svg
        from jiggen.files import write_whole

        write_whole(svg, remount_svg(found.layout, found.best, found.old, found.limits), "--svg")
    output.write(
        as_json,
        lambda: output.plain(found.as_dict()),
        lambda: "\n".join(_lines(found, others)),
        passed=not found.conflicts,
    )


def _lines(found: Answer, others: int) -> Iterator[str]:
    """The answer for people: the job, what is too near, what is used again, and the way out.

    So many `others` are on the ski that this mount is not for.
    """
    from jiggen.report import remount as words

    yield found.layout.pattern
    yield mount_line(found.layout)
    yield from words.old_lines(found, others, _option)
    yield ""
    yield words.verdict(found)
    if found.conflicts:
        yield ""
        rows = words.conflict_rows(found)
        yield from columns(words.CONFLICT, rows, left=2)
    if found.reused:
        yield ""
        yield "Used again:"
    yield from (f"  {line}" for line in words.reused_lines(found))
    if not found.conflicts:
        return
    yield ""
    if plugs := words.plug_line(found, _option):
        yield plugs
        yield ""
    yield "Nearest clear mount as the old holes are:" if plugs else "Nearest clear mount:"
    for end, way in found.ways:
        yield f"  {words.way_line(found.layout, end, way, _option)}"
        yield from (f"    {line}" for line in words.far_lines(way))
    yield from (f"  {why}" for why in words.no_ways(found))


def _option(name: str, value: str) -> str:
    """How a value is set on the command line."""
    return f"--{name} {value}"

"""``jiggen remount``: new holes beside old ones, and where to move the mount to."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.cli import output
from jiggen.cli.layout import mount_line
from jiggen.cli.program import SKIS, command
from jiggen.errors import InputError
from jiggen.options import Option
from jiggen.request import options
from jiggen.units import counted, fixed, listed, number

if TYPE_CHECKING:
    from jiggen.layout import Layout
    from jiggen.remount.shifts import Answer, OldHole, Way

OLD = "The old holes"
_old = partial(Option, group=OLD)
_earlier = partial(replace, group=OLD, default=None)
OLD_HOLES = _old(
    "old-holes",
    "path",
    "CSV or .xlsx with the columns x, y and if known diameter, plugged, ski (left, right or both); "
    "or TOML.",
)
OLD_PATTERN = _old(
    "old", "text", "The pattern that an earlier mount was drilled by.", metavar="PATTERN"
)
OLD_BOOT = _old("old-boot", "length", "Boot sole length of the earlier mount.")
OLD_SHIFT = _old("old-shift", "length", "Mount shift of the earlier mount; default: 0.")
OLD_CORE = _earlier(
    table.CORE, name="old-core", help="What the earlier mount was drilled for; default: as --core."
)
OLD_SIDE = _earlier(
    table.SIDE, name="old-side", help="Which ski the earlier mount was on; default: as --side."
)
OLD_PLUGGED = _old("old-plugged", "flag", "The holes of the earlier mount are all plugged.")
OPEN_LIMIT = _old(
    "limit", "length", "Least distance to an open hole, centre to centre.", default="10"
)
PLUGGED_LIMIT = _old(
    "plugged-limit", "length", "Least distance to a plugged hole, centre to centre.", default="6"
)
BOTH_SVG = replace(table.SVG, help="Draw old and new holes, also at the nearest clear mount.")


@dataclass(frozen=True)
class Earlier:
    """The options that say which holes the ski has; lengths in mm."""

    file: Annotated[Path | None, OLD_HOLES]
    pattern: Annotated[str | None, OLD_PATTERN]
    boot: Annotated[float | None, OLD_BOOT]
    shift: Annotated[float | None, OLD_SHIFT]
    core: Annotated[options.Core | None, OLD_CORE]
    side: Annotated[options.Side | None, OLD_SIDE]
    plugged: Annotated[bool, OLD_PLUGGED]

    def check(self) -> None:
        """Raise InputError ``cli.old`` for options that need one another."""
        if self.pattern is None:
            if any(value is not None for value in (self.boot, self.shift, self.core, self.side)):
                hint = "Name the pattern of the earlier mount with --old."
                raise _misuse("an earlier mount is described, but not its pattern", "--old", hint)
            if self.plugged:
                hint = "In a file, state it of each hole: a column plugged."
                raise _misuse("--old-plugged is for the holes of --old", "--old-plugged", hint)
            if self.file is None:
                hint = "Give --old-holes FILE, or --old PATTERN and --old-boot MM, or both."
                raise _misuse("no old holes are given", "--old-holes", hint)
        elif self.boot is None:
            hint = "Give the boot sole length of the earlier mount."
            raise _misuse("--old needs --old-boot", "--old-boot", hint)

    def holes(self, new: options.Mount) -> tuple[OldHole, ...]:
        """The measured holes and those of the pattern; core and side are by default as of `new`."""
        from jiggen.remount.read import read_old_holes
        from jiggen.remount.shifts import old_holes

        measured = read_old_holes(self.file) if self.file else ()
        if self.pattern is None or self.boot is None:
            return measured
        core, side = self.core or new.core, self.side or new.side
        drilled = options.Mount(self.pattern, self.boot, self.shift or 0.0, core, side).lay_out()
        return (*measured, *old_holes(drilled, plugged=self.plugged))


def _misuse(message: str, key: str, hint: str) -> InputError:
    return InputError.of("cli.old", message, key=key, hint=hint)


@command(SKIS)
def remount(
    mount: options.Mount,
    earlier: Earlier,
    limit: Annotated[float, OPEN_LIMIT],
    plugged_limit: Annotated[float, PLUGGED_LIMIT],
    svg: Annotated[Path | None, BOTH_SVG],
    as_json: options.JsonOption,
) -> None:
    """Check new holes against old ones, and find the nearest mounts at which every hole is clear.

    A new hole is clear when it keeps its distance from every old one, or takes one's place:
    within 0.3 mm of it, if that is no wider than the drill.

    Exit code 0 when the mount asked for is clear, 1 when it is not.
    """
    earlier.check()

    from jiggen.remount.shifts import RemountLimits, check_mount

    limits = RemountLimits(open=limit, plugged=plugged_limit)
    limits.check()
    new, old = mount.lay_out(), earlier.holes(mount)
    found = check_mount(new, old, limits)
    if svg:
        from jiggen.export.remount_svg import remount_svg
        from jiggen.files import write_whole

        write_whole(svg, remount_svg(new, found.best, found.old, limits), "--svg")
    output.write(
        as_json,
        lambda: output.plain(found.as_dict()),
        lambda: "\n".join(_lines(found, len(old) - len(found.old))),
        passed=not found.conflicts,
    )


def _lines(found: Answer, others: int) -> Iterator[str]:
    """The answer for people: the job, what is too near, what is used again, and the way out.

    So many `others` are on the ski that this mount is not for.
    """
    layout, limits = found.layout, found.limits
    plugged = sum(hole.plugged for hole in found.old)
    yield layout.pattern
    yield mount_line(layout)
    yield (
        f"old holes: {len(found.old) - plugged} open (keep {limits.open:g} mm), "
        f"{plugged} plugged (keep {limits.plugged:g} mm), centre to centre"
    )
    if others:
        other = "right" if layout.side == "left" else "left"
        yield f"{counted(others, 'old hole')} on the {other} ski alone: see --side {other}"
    elif sides := {hole.ski for hole in found.old if hole.ski}:
        bad = {one.old for one in found.conflicts}
        for side in sorted(sides):
            mine = {hole.id for hole in found.old if hole.ski in (None, side)}
            yield f"{side} ski: {'NOT CLEAR' if bad & mine else 'clear'}"
    yield ""
    if found.conflicts:
        near = len({conflict.new for conflict in found.conflicts})
        verb = "is" if near == 1 else "are"
        yield f"NOT CLEAR: {near} of {len(layout)} holes {verb} too near an old one."
        yield ""
        rows = ((c.new, c.old, fixed(c.distance), fixed(c.limit)) for c in found.conflicts)
        yield from output.columns(("new hole", "old hole", "distance", "needed"), rows, left=2)
    else:
        yield "Every hole is clear at this mount."
    if found.reused:
        yield ""
        yield "Used again:"
    for r in found.reused:
        yield f"  {r.new} takes the place of {r.old}, {r.distance:.2f} mm off"
    if not found.conflicts:
        return
    yield ""
    if plugs := listed(found.plug or found.plug_there):
        at = "this mount"
        if found.plugged_way:
            at = f"--shift {number(found.plugged_way.set_to, 3)}"
        yield f"Plug {plugs}, and every hole is clear at {at}."
        yield ""
    yield "Nearest clear mount as the old holes are:" if plugs else "Nearest clear mount:"
    for end, way in found.ways:
        yield from _way(layout, end, way)
    yield from (f"  {why}" for why in (found.to_tip_why, found.to_tail_why) if why)


def _way(layout: Layout, end: str, way: Way) -> Iterator[str]:
    from jiggen.remount.shifts import SENSIBLE

    by = number(abs(way.set_to - layout.mount_shift), 3)
    first, last = (number(shift, 3) for shift in way.room)
    line = f"  {by} mm towards the {end}: --shift {number(way.set_to, 3)}"
    yield f"{line} (clear from {first} to {last})"
    if way.far:
        yield f"    farther than the {SENSIBLE:g} mm that mounts are moved"

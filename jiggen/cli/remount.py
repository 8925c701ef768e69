"""``jiggen remount``: new holes beside old ones, and where to move the mount to."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from jiggen.cli import options
from jiggen.cli.program import app
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.remount import Answer, OldHole, RemountLimits, Way

OLD = "The old holes"


@app.command(rich_help_panel=options.SKIS)
def remount(
    pattern: options.PatternArgument,
    boot: options.BootOption,
    shift: options.ShiftOption = "0",
    core: options.CoreOption = "plain",
    side: options.SideOption = "left",
    old_file: Annotated[
        Path | None,
        typer.Option(
            "--old-holes",
            metavar="FILE",
            help="Measured holes: CSV with the columns x, y and if known diameter, plugged; "
            "or TOML.",
            rich_help_panel=OLD,
            show_default=False,
        ),
    ] = None,
    old_pattern: Annotated[
        str | None,
        typer.Option(
            "--old",
            metavar="PATTERN",
            help="The pattern that an earlier mount was drilled by.",
            rich_help_panel=OLD,
            show_default=False,
        ),
    ] = None,
    old_boot: Annotated[
        str | None,
        typer.Option(
            "--old-boot",
            metavar="MM",
            help="Boot sole length of the earlier mount.",
            rich_help_panel=OLD,
            show_default=False,
        ),
    ] = None,
    old_shift: Annotated[
        str | None,
        typer.Option(
            "--old-shift",
            metavar="MM",
            help="Mount shift of the earlier mount; 0 unless said.",
            rich_help_panel=OLD,
            show_default=False,
        ),
    ] = None,
    old_core: Annotated[
        options.Core | None,
        typer.Option(
            "--old-core",
            help="What the earlier mount was drilled for; as --core unless said.",
            rich_help_panel=OLD,
            show_default=False,
        ),
    ] = None,
    old_side: Annotated[
        options.Side | None,
        typer.Option(
            "--old-side",
            help="Which ski it was then; as --side unless said.",
            rich_help_panel=OLD,
            show_default=False,
        ),
    ] = None,
    old_plugged: Annotated[
        bool,
        typer.Option(
            "--old-plugged",
            metavar="",
            help="The holes of the earlier mount are all plugged.",
            rich_help_panel=OLD,
        ),
    ] = False,
    limit: Annotated[
        str,
        typer.Option(
            "--limit",
            metavar="MM",
            help="Least distance to an open hole, centre to centre.",
            rich_help_panel=OLD,
        ),
    ] = "10",
    plugged_limit: Annotated[
        str,
        typer.Option(
            "--plugged-limit",
            metavar="MM",
            help="Least distance to a plugged hole, centre to centre.",
            rich_help_panel=OLD,
        ),
    ] = "6",
    svg: Annotated[
        Path | None,
        typer.Option(
            "--svg",
            metavar="FILE",
            help="Draw old and new holes at 1:1, as asked for and at the nearest clear mount.",
            rich_help_panel=options.RESULT,
            show_default=False,
        ),
    ] = None,
    as_json: options.JsonOption = False,
) -> None:
    """Hold new holes against old ones, and find the nearest mounts at which every hole is clear.

    A new hole is clear when it keeps its distance from every old one, or takes one's place.

    It takes one's place within 0.3 mm of it, if that is no wider than the drill.

    Exit code 0 when the mount asked for is clear, 1 when it is not.
    """
    svg = options.read_target(svg, ".svg", "--svg")
    known = _Known(old_pattern, old_boot, old_shift, old_core, old_side, old_plugged)
    known.check(old_file)
    limits = _limits(limit, plugged_limit)
    new = options.read_layout(pattern, boot, shift, core, side)
    old = (*_measured(old_file), *known.holes(core, side))

    from jiggen.remount import answer

    found = answer(new, old, limits)
    if svg:
        from jiggen.export.remount_svg import remount_svg
        from jiggen.files import write_whole

        write_whole(svg, remount_svg(new, found.best, old, limits), "--svg")
    typer.echo(json.dumps(found.as_dict(), indent=1) if as_json else as_text(found))
    if found.conflicts:
        raise typer.Exit(CheckFailed.exit_code)


@dataclass(frozen=True)
class _Known:
    """What was said of an earlier mount by a known pattern."""

    pattern: str | None
    boot: str | None
    shift: str | None
    core: options.Core | None
    side: options.Side | None
    plugged: bool

    def check(self, file: Path | None) -> None:
        """Raise InputError ``cli.old`` for options that lack one another."""
        if self.pattern is None and any((self.boot, self.shift, self.core, self.side)):
            hint = "Name the pattern of the earlier mount with --old."
            raise _misuse("an earlier mount is described, but not its pattern", "--old", hint)
        if self.pattern is None and self.plugged:
            hint = "In a file, say it of each hole: a column plugged."
            raise _misuse("--old-plugged is for the holes of --old", "--old-plugged", hint)
        if self.pattern is None and file is None:
            hint = "Give --old-holes FILE, or --old PATTERN and --old-boot MM, or both."
            raise _misuse("no old holes are given", "--old-holes", hint)
        if self.pattern is not None and self.boot is None:
            hint = "Give the boot sole length of the earlier mount."
            raise _misuse("--old needs --old-boot", "--old-boot", hint)

    def holes(self, core: options.Core, side: options.Side) -> tuple[OldHole, ...]:
        """The holes of that mount; `core` and `side` hold where none was said."""
        if self.pattern is None or self.boot is None:
            return ()
        sole = length(self.boot, "--old-boot")
        moved = length(self.shift or "0", "--old-shift")

        from jiggen.layout import layout
        from jiggen.pattern import find_pattern, read_pattern
        from jiggen.remount import old_holes

        known = read_pattern(find_pattern(self.pattern))
        drilled = layout(
            known, sole, mount_shift=moved, core=self.core or core, side=self.side or side
        )
        return old_holes(drilled, plugged=self.plugged)


def as_text(found: Answer) -> str:
    """The answer for people: the job, what is too near, what is used again, and the way out."""
    return "\n".join([*_job(found), "", *_table(found), *_again(found), *_ways(found)])


def _job(found: Answer) -> list[str]:
    new, limits = found.layout, found.limits
    shift = f"{new.mount_shift:+g} mm" if new.mount_shift else "none"
    skis = f"{new.side} ski" if new.pair == "mirrored" else "left and right ski alike"
    plugged = sum(hole.plugged for hole in found.old)
    return [
        new.pattern,
        f"boot {new.boot:g} mm, mount shift {shift}, core {new.core}, {skis}",
        f"old holes: {len(found.old) - plugged} open (keep {limits.open:g} mm), "
        f"{plugged} plugged (keep {limits.plugged:g} mm), centre to centre",
    ]


def _table(found: Answer) -> list[str]:
    if not found.conflicts:
        return ["Every hole is clear at this mount."]
    count = len({conflict.new for conflict in found.conflicts})
    wide = max(len("new hole"), *(len(c.new) for c in found.conflicts))
    broad = max(len("old hole"), *(len(c.old) for c in found.conflicts))
    return [
        f"NOT CLEAR: {count} of {len(found.layout)} holes lie too near an old one.",
        "",
        f"{'new hole':{wide}}  {'old hole':{broad}}{'distance':>10}{'needed':>10}",
        *(
            f"{c.new:{wide}}  {c.old:{broad}}{c.distance:10.2f}{c.limit:10.2f}"
            for c in found.conflicts
        ),
    ]


def _again(found: Answer) -> list[str]:
    lines = [f"  {r.new} takes the place of {r.old}, {r.distance:.2f} mm off" for r in found.reused]
    return ["", "Used again:", *lines] if lines else []


def _ways(found: Answer) -> list[str]:
    if not found.conflicts:
        return []
    near = found.nearest
    ways = (("tip", found.to_tip, near.to_tip_why), ("tail", found.to_tail, near.to_tail_why))
    lines = [_way(found, end, way) if way else f"  {why}" for end, way, why in ways]
    return ["", "Nearest clear mount:", *lines]


def _way(found: Answer, end: str, way: Way) -> str:
    by = abs(way.set_to - found.layout.mount_shift)
    first, last = map(_short, way.room)
    return (
        f"  {_short(by)} mm towards the {end}: --shift {_short(way.set_to)}"
        f" (clear from {first} to {last})"
    )


def _measured(file: Path | None) -> tuple[OldHole, ...]:
    if file is None:
        return ()
    from jiggen.remount import read_old_holes

    return read_old_holes(file)


def _limits(limit: str, plugged_limit: str) -> RemountLimits:
    to_open, to_plugged = length(limit, "--limit"), length(plugged_limit, "--plugged-limit")
    from jiggen.remount import RemountLimits

    limits = RemountLimits(open=to_open, plugged=to_plugged)
    limits.check()
    return limits


def _misuse(message: str, key: str, hint: str) -> InputError:
    return InputError(Finding("cli.old", message, key=key, hint=hint))


def _short(value: float) -> str:
    """In as few decimals as say it to a micrometre."""
    return f"{round(value, 3) + 0.0:g}"

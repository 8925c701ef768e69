"""``jiggen remount``: new holes beside old ones, and where to move the mount to."""

from __future__ import annotations

import json
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from jiggen.cli import options
from jiggen.cli.program import app
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.units import length

if TYPE_CHECKING:
    from jiggen.layout import Layout
    from jiggen.remount import Conflict, Interval, Nearest, OldHole, RemountLimits, Reuse

OLD = "The old holes"


@app.command()
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

    A new hole is clear when it keeps its distance from every old hole, or takes an old hole's
    place: within 0.3 mm of one that is no wider than the drill. Exit code 0 when the mount asked
    for is clear, 1 when it is not.
    """
    svg = options.read_target(svg, ".svg", "--svg")
    known = _Known(old_pattern, old_boot, old_shift, old_core, old_side, old_plugged)
    known.check(old_file)
    limits = _limits(limit, plugged_limit)
    new = options.read_layout(pattern, boot, shift, core, side)
    old = (*_measured(old_file), *known.holes(core, side))
    answer = _answer(new, old, limits)
    if svg:
        from jiggen.export.remount_svg import remount_svg
        from jiggen.files import write_whole

        write_whole(svg, remount_svg(new, answer.best(), old, limits), "--svg")
    typer.echo(json.dumps(answer.as_data(), indent=1) if as_json else answer.as_text())
    if answer.conflicts:
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


@dataclass(frozen=True)
class _Answer:
    """All that is found about one mount; shifts in mm from it."""

    new: Layout
    old: tuple[OldHole, ...]
    limits: RemountLimits
    conflicts: tuple[Conflict, ...]
    reused: tuple[Reuse, ...]
    clear: tuple[Interval, ...]
    nearest: Nearest

    def best(self) -> Layout | None:
        """The nearest clear mount, as it can be set; None where it is this one, or none is."""
        if not self.conflicts or self.nearest.best is None:
            return None
        from jiggen.remount import moved

        return moved(self.new, self._set(self.nearest.best) - self.new.mount_shift)

    def as_data(self) -> dict[str, Any]:
        """For ``--json``: lengths in mm, rounded to a nanometre; shifts are whole mount shifts."""
        return {
            "pattern": self.new.pattern,
            "boot": _mm(self.new.boot),
            "mount_shift": _mm(self.new.mount_shift),
            "core": self.new.core,
            "side": self.new.side,
            "limits": asdict(self.limits),
            "old_holes": [asdict(hole) for hole in self.old],
            "is_clear": not self.conflicts,
            "conflicts": [asdict(conflict) for conflict in self.conflicts],
            "reused": [asdict(reuse) for reuse in self.reused],
            "nearest": {
                "to_tip": self._way(self.nearest.to_tip),
                "to_tip_why": self.nearest.to_tip_why,
                "to_tail": self._way(self.nearest.to_tail),
                "to_tail_why": self.nearest.to_tail_why,
            },
            "clear_mount_shifts": [self._mounts(interval) for interval in self.clear],
        }

    def as_text(self) -> str:
        """For people: the job, what is too near, what is used again, and the way out."""
        return "\n".join([*self._job(), "", *self._table(), *self._again(), *self._ways()])

    def _job(self) -> list[str]:
        new, limits = self.new, self.limits
        shift = f"{new.mount_shift:+g} mm" if new.mount_shift else "none"
        skis = f"{new.side} ski" if new.pair == "mirrored" else "left and right ski alike"
        plugged = sum(hole.plugged for hole in self.old)
        return [
            new.pattern,
            f"boot {new.boot:g} mm, mount shift {shift}, core {new.core}, {skis}",
            f"old holes: {len(self.old) - plugged} open (keep {limits.open:g} mm), "
            f"{plugged} plugged (keep {limits.plugged:g} mm), centre to centre",
        ]

    def _table(self) -> list[str]:
        if not self.conflicts:
            return ["Every hole is clear at this mount."]
        count = len({conflict.new for conflict in self.conflicts})
        wide = max(len("new hole"), *(len(c.new) for c in self.conflicts))
        broad = max(len("old hole"), *(len(c.old) for c in self.conflicts))
        return [
            f"NOT CLEAR: {count} of {len(self.new)} holes lie too near an old one.",
            "",
            f"{'new hole':{wide}}  {'old hole':{broad}}{'distance':>10}{'needed':>10}",
            *(
                f"{c.new:{wide}}  {c.old:{broad}}{c.distance:10.2f}{c.limit:10.2f}"
                for c in self.conflicts
            ),
        ]

    def _again(self) -> list[str]:
        lines = [
            f"  {r.new} takes the place of {r.old}, {r.distance:.2f} mm off" for r in self.reused
        ]
        return ["", "Used again:", *lines] if lines else []

    def _ways(self) -> list[str]:
        if not self.conflicts:
            return []
        near = self.nearest
        ways = (("tip", near.to_tip, near.to_tip_why), ("tail", near.to_tail, near.to_tail_why))
        return ["", "Nearest clear mount:", *(self._way_words(*way) for way in ways)]

    def _way_words(self, end: str, shift: float | None, why: str) -> str:
        if shift is None:
            return f"  {why}"
        low, high = self._mounts(self._interval(shift))
        first, last = (low, high) if shift > 0 else (high, low)
        mount = self._set(shift)
        way = abs(mount - self.new.mount_shift)
        return (
            f"  towards the {end}: {_short(way)} mm farther, --shift {_short(mount)}"
            f"   (clear from {first:.3f} to {last:.3f})"
        )

    def _way(self, shift: float | None) -> dict[str, Any] | None:
        if shift is None:
            return None
        return {
            "by": _mm(shift),
            "mount_shift": _mm(self.new.mount_shift + shift),
            "set": _mm(self._set(shift)),
            "clear": self._mounts(self._interval(shift)),
        }

    def _interval(self, shift: float) -> Interval:
        return next(i for i in self.clear if i[0] <= shift <= i[1])

    def _mounts(self, interval: Interval) -> list[float]:
        return [_mm(self.new.mount_shift + shift) for shift in interval]

    def _set(self, shift: float) -> float:
        from jiggen.remount import settable

        return settable(shift, self.clear, self.new.mount_shift)


def _answer(new: Layout, old: tuple[OldHole, ...], limits: RemountLimits) -> _Answer:
    from jiggen.remount import clear_shifts, conflicts, nearest_clear, reused

    return _Answer(
        new=new,
        old=old,
        limits=limits,
        conflicts=conflicts(new, old, limits),
        reused=reused(new, old, limits),
        clear=clear_shifts(new, old, limits),
        nearest=nearest_clear(new, old, limits),
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


def _mm(value: float) -> float:
    return round(float(value), 6) + 0.0

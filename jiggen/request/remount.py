"""What a mount beside old holes is judged by."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

from jiggen import options as table
from jiggen.errors import InputError
from jiggen.options import Option
from jiggen.request import options
from jiggen.request.keeping import kept_file
from jiggen.request.reading import Form

if TYPE_CHECKING:
    from jiggen.layout import Layout
    from jiggen.remount.shifts import Answer, OldHole, RemountLimits

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

    def check(self, *, typed: bool = False) -> None:
        """Raise InputError ``cli.old`` for options that need one another.

        Old holes may also be `typed` on a page.
        """
        if self.pattern is None:
            if any(value is not None for value in (self.boot, self.shift, self.core, self.side)):
                hint = "Name the pattern of the earlier mount with --old."
                raise _misuse("an earlier mount is described, but not its pattern", "--old", hint)
            if self.plugged:
                hint = "In a file, state it of each hole: a column plugged."
                raise _misuse("--old-plugged is for the holes of --old", "--old-plugged", hint)
            if self.file is None and not typed:
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


@dataclass(frozen=True)
class RemountRequest:
    """The options that say which mount is wanted, beside which old holes; lengths in mm."""

    mount: options.Mount
    earlier: Earlier
    limit: Annotated[float, OPEN_LIMIT]
    plugged_limit: Annotated[float, PLUGGED_LIMIT]

    def limits(self) -> RemountLimits:
        """How near new holes may come to old ones.  Raises InputError."""
        from jiggen.remount.shifts import RemountLimits

        limits = RemountLimits(open=self.limit, plugged=self.plugged_limit)
        limits.check()
        return limits

    def given(self, typed: Sequence[OldHole] = ()) -> tuple[Layout, tuple[OldHole, ...]]:
        """The new holes and all old ones, the `typed` first.  Raises InputError."""
        self.earlier.check(typed=bool(typed))
        return self.mount.lay_out(), (*typed, *self.earlier.holes(self.mount))

    def answer(self, typed: Sequence[OldHole] = ()) -> tuple[Answer, int]:
        """Whether the mount is clear, and how many old holes are on the other ski alone."""
        from jiggen.remount.shifts import check_mount

        limits = self.limits()
        new, old = self.given(typed)
        found = check_mount(new, old, limits)
        return found, len(old) - len(found.old)


REMOUNT = Form("remount", RemountRequest)


def holes_file(name: str) -> Path:
    """Where a page keeps the old holes of the ski called `name`."""
    return kept_file("old-holes", name, ".csv")

"""Remounting: new holes beside the holes of an earlier mount; after layout, numpy only.

`read_old_holes` reads old holes from a file, `old_holes` takes them from a known pattern's
layout.  `conflicts` says which new holes lie too near an old one, `clear_shifts` at which
shifts of the mount none does, `nearest_clear` which of those is the nearest either way, and
`check_mount` all of it at once.
"""

from jiggen.remount.model import (
    Conflict,
    Interval,
    Nearest,
    OldHole,
    RemountLimits,
    Reuse,
    moved,
    old_holes,
)
from jiggen.remount.read import read_old_holes
from jiggen.remount.shifts import (
    SPAN,
    Answer,
    Way,
    check_mount,
    clear_shifts,
    conflicts,
    nearest_clear,
    reused,
    settable,
)

__all__ = [
    "SPAN",
    "Answer",
    "Conflict",
    "Interval",
    "Nearest",
    "OldHole",
    "RemountLimits",
    "Reuse",
    "Way",
    "check_mount",
    "clear_shifts",
    "conflicts",
    "moved",
    "nearest_clear",
    "old_holes",
    "read_old_holes",
    "reused",
    "settable",
]

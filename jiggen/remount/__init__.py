"""Remounting: new holes beside the holes of an earlier mount; after layout, numpy only."""

from jiggen.remount.read import read_old_holes
from jiggen.remount.shifts import (
    Answer,
    Conflict,
    OldHole,
    RemountLimits,
    Reuse,
    Way,
    check_mount,
    conflicts,
    old_holes,
    reused,
)

__all__ = [
    "Answer",
    "Conflict",
    "OldHole",
    "RemountLimits",
    "Reuse",
    "Way",
    "check_mount",
    "conflicts",
    "old_holes",
    "read_old_holes",
    "reused",
]

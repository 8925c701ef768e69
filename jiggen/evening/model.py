"""The jobs of one evening as plain values; every length in mm."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from jiggen.errors import Finding
from jiggen.pattern import Core

Interval = tuple[float, float]
"""Least and greatest length in mm, both included."""

COLUMNS = (
    *("ticket", "pattern", "boot", "ski_toe", "ski_heel"),
    *("core", "shift", "thickness", "old_holes"),
)
NEEDED = COLUMNS[:5]


@dataclass(frozen=True)
class Job:
    """One row: a pair of skis to be mounted.

    `ski_toe` and `ski_heel` are the ski's widths where the toe and the heel piece sit,
    `thickness` its thickness there (none, one, or two values), `old_holes` the file of its
    earlier holes.  `doubts` are the columns that could not be read: their values here are
    stand-ins, and nothing is to be concluded from them.
    """

    row: int
    ticket: str
    pattern: str
    boot: float
    ski_toe: float
    ski_heel: float
    core: Core
    shift: float
    thickness: tuple[float, ...]
    old_holes: Path | None
    doubts: frozenset[str] = frozenset()


@dataclass(frozen=True)
class Place:
    """Where a row stands, ``file:line``, and how the keys of its columns begin."""

    where: str
    prefix: str = ""

    def fault(self, column: str, code: str, message: str, hint: str = "") -> Finding:
        """A finding of this room about a `column` of this row."""
        return Finding(f"evening.{code}", message, self.where, f"{self.prefix}{column}", hint)


@dataclass(frozen=True)
class Jobs:
    """A jobs file as read: jobs and places row by row, and the faults of each row.

    `faults` holds (row, finding); a fault of no single row has the row it was found at.
    """

    file: Path
    jobs: tuple[Job, ...]
    places: tuple[Place, ...]
    faults: tuple[tuple[int, Finding], ...]

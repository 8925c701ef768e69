"""Jigs that a workshop has: an evening uses them before any is made."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from jiggen.evening.check import Drilled, Pair
from jiggen.job import Job
from jiggen.record.ladders import LadderLine, RowName


@dataclass(frozen=True, eq=False)
class OwnedJig:
    """A jig that is there, by its mark and its folder; `ladders` are those of its halves, by name.

    `drills` says how it drills what a pair needs, None where it does not serve that; its third
    value is whether its slot may set a mount shift.
    """

    jig_mark: str
    folder: Path
    job: Job
    ladders: Mapping[str, dict[RowName, tuple[LadderLine, ...]]]
    drills: Callable[[Pair, Drilled, bool], Drilled | None]

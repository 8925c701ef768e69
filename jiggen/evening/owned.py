"""Jigs that a workshop has: an evening uses them before any is made."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from jiggen.errors import Finding
from jiggen.evening.check import Drilled, Pair
from jiggen.job import Job
from jiggen.record.ladders import LadderLine, RowName

Serving = Callable[[Pair, Drilled, Job, bool], Drilled | None]
"""How a jig drills what a pair needs, None where it does not serve that.

A job says for which skis' sides and by which limits; the last value whether a slot may set a shift.
"""


@dataclass(frozen=True, eq=False)
class JigAtHand:
    """A jig that is there, by its mark and its folder; `ladders` are those of its halves, by name.

    `warnings` say what to beware of.
    """

    jig_mark: str
    folder: Path
    job: Job
    ladders: Mapping[str, dict[RowName, tuple[LadderLine, ...]]]
    drills: Serving
    warnings: tuple[Finding, ...] = ()

"""Jigs that a workshop has: an evening uses them before any is made."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from jiggen.errors import Finding
from jiggen.evening.check import Drilled, Pair
from jiggen.job import Job
from jiggen.record.ladders import LadderLine, RowName

Ladders = Mapping[str, dict[RowName, tuple[LadderLine, ...]]]
Serving = Callable[[Pair, Drilled, Job, bool], Drilled | None]
"""How a jig drills what a pair needs, None where it does not serve that.

A job says for which skis' sides and by which limits; the last value whether a slot may set a shift.
"""


@dataclass(frozen=True, eq=False)
class JigAtHand:
    """A jig that is there, by its mark and its folder; `warnings` say what to beware of.

    `made` is asked only of one that is used: its job, and the ladders of its halves by their names.
    """

    jig_mark: str
    folder: Path
    drills: Serving
    made: Callable[[], tuple[Job, Ladders]]
    warnings: tuple[Finding, ...] = ()

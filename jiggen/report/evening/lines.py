"""Which line of each half of a jig for many boots goes on the ski's mark, for a run sheet.

Computed from the job, as the jig's own ladder is: no file is read.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from jiggen.design.ladder import boot_rows
from jiggen.design.reusable import name_halves
from jiggen.job import Job
from jiggen.layout import motions
from jiggen.record.model import LadderLine, Reading, RowName, read_ladder


@dataclass(frozen=True, eq=False)
class HalfLines:
    """One half of a jig: its name, its ladder (None where no boot moves it), one of its holes."""

    name: str
    ladder: dict[RowName, tuple[LadderLine, ...]] | None
    hole: int


@dataclass(frozen=True)
class OnTheMark:
    """What one half is set by for a boot: its line, None where it has but one.

    `off` is how far, mm, its holes come from their place where the boot lies between two lines.
    """

    half: str
    line: Reading | None
    off: float


def halves_of(job: Job) -> tuple[HalfLines, ...]:
    """The halves of a jig that has ladders, in the pattern's order; nothing of any other jig.

    Raises InputError for what cannot be built.
    """
    if job.one_boot:
        return ()
    every = job.lay_out_all()
    moving = motions(every)
    if all(motion.still for motion in moving):
        return ()
    longest = every[max(every)]
    return tuple(
        HalfLines(
            name,
            None if motion.still else boot_rows(motion),
            longest.groups.index(motion.groups[0]),
        )
        for (name, _), motion in zip(name_halves(moving, longest), moving, strict=True)
    )


def on_the_mark(halves: tuple[HalfLines, ...], job: Job, boot: float) -> Iterator[OnTheMark]:
    """What each half is set by for `boot`, mm."""
    for half in halves:
        if half.ladder is None:
            yield OnTheMark(half.name, None, 0.0)
        else:
            whole = _nearest(half, job, boot)
            line = read_ladder(half.ladder, whole)
            yield OnTheMark(half.name, line, _off(half, job, boot, whole))


def _nearest(half: HalfLines, job: Job, boot: float) -> float:
    """The whole boot length next to `boot` whose place of the holes is the nearest to its own.

    Between two that a step of the pattern parts that is the one on the boot's side of the step.
    """
    return min((math.floor(boot), math.ceil(boot)), key=lambda whole: _off(half, job, boot, whole))


def _off(half: HalfLines, job: Job, boot: float, whole: float) -> float:
    """How far apart, mm, the places of a half's holes are for `boot` and for `whole`."""
    xs = [job.lay_out(one).positions[half.hole, 0] for one in (boot, whole)]
    return float(abs(xs[0] - xs[1]))


def bands(halves: tuple[HalfLines, ...]) -> Iterator[str]:
    """The engraved numbers of lines that are for bands of boots."""
    for half in halves:
        for lines in (half.ladder or {}).values():
            yield from (line.number for line in lines if line.last > line.first)

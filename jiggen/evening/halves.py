"""The halves of a jig for many boots, each clamped by itself, and the line that each boot takes."""

import math
from collections.abc import Mapping
from dataclasses import dataclass

from jiggen.design.ladder import boot_rows
from jiggen.design.reusable import name_halves
from jiggen.job import Job
from jiggen.layout import Layout, motions
from jiggen.record.ladders import LadderLine, Reading, RowName, read_ladder


@dataclass(frozen=True, eq=False)
class Half:
    """One half of a jig: its name, the groups that it drills, and one of its holes.

    The ladder is empty where no boot moves it.
    """

    job: Job
    name: str
    groups: tuple[str, ...]
    ladder: dict[RowName, tuple[LadderLine, ...]]
    hole: int

    def drills(self, layout: Layout) -> frozenset[str]:
        """The holes of `layout`, by their ids, that it drills."""
        named = zip(layout.ids, layout.groups, strict=True)
        return frozenset(hole for hole, group in named if group in self.groups)

    def on_the_mark(self, boot: float) -> tuple[Reading | None, float]:
        """Its line for `boot`, mm, None where it has but one; and how far off it puts the holes.

        It is the one that puts them the nearest, which is on the boot's side of a step.
        """
        if not self.ladder:
            return None, 0.0
        place, *others = (
            self.job.lay_out(one).positions[self.hole, 0]
            for one in (boot, math.floor(boot), math.ceil(boot))
        )
        before, after = (abs(float(other - place)) for other in others)
        whole = math.floor(boot) if before <= after else math.ceil(boot)
        return read_ladder(self.ladder, whole), min(before, after)

    @property
    def bands(self) -> list[str]:
        """The engraved numbers of its lines that are for bands of boots."""
        lines = (line for row in self.ladder.values() for line in row)
        return [line.number for line in lines if line.number and line.last > line.first]


def halves_of(
    job: Job, engraved: Mapping[str, dict[RowName, tuple[LadderLine, ...]]] = {}
) -> tuple[Half, ...]:
    """The halves of a jig that has ladders, in the pattern's order; nothing of any other jig.

    Their ladders are those `engraved` on a jig that is there, by the half's name.  Raises
    InputError for what cannot be built.
    """
    if job.one_boot:
        return ()
    every = job.lay_out_all()
    moving = motions(every)
    if all(motion.still for motion in moving):
        return ()
    longest = every[max(every)]
    found = []
    for (name, _), motion in zip(name_halves(moving, longest), moving, strict=True):
        ladder = {} if motion.still else engraved.get(name) or boot_rows(motion)
        hole = longest.groups.index(motion.groups[0])
        found.append(Half(job, name, motion.groups, ladder, hole))
    return tuple(found)

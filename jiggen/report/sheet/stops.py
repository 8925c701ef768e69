"""What to set the drill to: one setting for all holes that are drilled alike."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jiggen.report.sheet.job import Job

POINT_ANGLE = 118.0  # degrees: the usual twist drill point (type N), common practice, no source


@dataclass(frozen=True)
class Setting:
    """One setting of drill and stop; mm.

    `depth` is that of the full diameter below the top sheet, `guide_top` the height above the
    ski of what the stop comes down on.
    """

    diameter: float
    depth: float
    guide_top: float
    holes: tuple[str, ...]

    @property
    def to_corners(self) -> float:
        """From the stop to the drill's cutting corners, where it has its full diameter."""
        return self.guide_top + self.depth

    @property
    def point(self) -> float:
        """Length of the drill's point beyond its corners: r / tan of half the point angle."""
        return self.diameter / 2 / math.tan(math.radians(POINT_ANGLE / 2))

    @property
    def to_tip(self) -> float:
        """From the stop to the very tip of the drill."""
        return self.to_corners + self.point


def settings_of(job: Job) -> tuple[Setting, ...]:
    """The settings of a job, in the order of their first holes."""
    alike: dict[tuple[float, float, float], list[str]] = {}
    tops = job.guide_top
    for hole in job.holes:
        alike.setdefault((hole.diameter, hole.depth, tops[hole.id]), []).append(hole.id)
    return tuple(Setting(*values, holes=tuple(names)) for values, names in alike.items())


def runs(setting: Setting, job: Job) -> tuple[tuple[str, str], ...]:
    """The setting's holes as runs without a gap within a group: (first, last) of each."""
    found: list[tuple[str, str]] = []
    before = None
    for hole in job.holes:
        mine = hole.id in setting.holes
        if mine and before == hole.group:
            found[-1] = (found[-1][0], hole.id)
        elif mine:
            found.append((hole.id, hole.id))
        before = hole.group if mine else None
    return tuple(found)

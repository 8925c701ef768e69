"""What to set the drill to: one setting for all holes that are drilled alike."""

from __future__ import annotations

import math
from dataclasses import dataclass

from jiggen.drilling import DrillingLimits
from jiggen.report.sheet.job import Job


@dataclass(frozen=True)
class Setting:
    """One setting of drill and stop; mm.

    `depth` is that of the full diameter below the top sheet, `guide_top` the height above the
    ski of what the stop comes down on, `point` the length of the drill's point beyond its
    corners.
    """

    diameter: float
    depth: float
    guide_top: float
    point: float
    holes: tuple[str, ...]

    @property
    def to_corners(self) -> float:
        """From the stop to the drill's cutting corners, where it has its full diameter."""
        return self.guide_top + self.depth

    @property
    def to_tip(self) -> float:
        """From the stop to the very tip of the drill."""
        return self.to_corners + self.point

    @property
    def point_angle(self) -> float:
        """The angle of the drill's point in degrees."""
        return 2 * math.degrees(math.atan(self.diameter / 2 / self.point))


def settings_of(job: Job) -> tuple[Setting, ...]:
    """The settings of a job, in the order of their first holes.

    The points are those of the manifest's drilling check; without one, those of usual drills.
    """
    stops = job.drilling.settings if job.drilling else ()
    points = {name: stop.point for stop in stops for name in stop.holes}
    usual = DrillingLimits()
    tops = job.guide_top
    alike: dict[tuple[float, float, float, float], list[str]] = {}
    for hole in job.holes:
        point = points.get(hole.id, usual.point(hole.diameter))
        values = (hole.diameter, hole.depth, tops[hole.id], round(point, 6))
        alike.setdefault(values, []).append(hole.id)
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

"""The pieces of every station put together, as they stand on a ski: what checks of them look at."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import shapely
from shapely.affinity import affine_transform

from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.reading.mesh import Mesh

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

    from jiggen.verify.evidence import Evidence

SIDES = {"left": 1.0, "right": -1.0}
WITHIN = 1.0  # mm from a nose to what is taken for the rack: no nose is so far off


@dataclass(frozen=True, eq=False)
class Cuts:
    """A mesh and its sections, each made once; mm."""

    mesh: Mesh
    _kept: dict[tuple[str, float], BaseGeometry] = field(default_factory=dict)

    def level(self, z: float) -> BaseGeometry:
        """What the mesh fills at height `z`, as (x, y)."""
        key = ("z", z)
        if key not in self._kept:
            self._kept[key] = self.mesh.material(z)
        return self._kept[key]

    def upright(self, x: float) -> BaseGeometry:
        """What the mesh fills in the plane at `x`, as (y, z)."""
        key = ("x", x)
        if key not in self._kept:
            laid = Mesh(np.roll(self.mesh.vertices, -1, axis=1), self.mesh.triangles)
            self._kept[key] = laid.material(x)
        return self._kept[key]


@dataclass(frozen=True, eq=False)
class Side:
    """One rail of a station and what it meets; mm.

    Its frame has the station's axis as its origin and is turned about it, so that left and right
    are alike: the rail goes out towards +y.  The body stays in the ski frame; see `body_level`.
    """

    name: str
    station: str
    sign: float
    x: float
    rail: Cuts
    body: Cuts
    pinion: Cuts | None

    def body_level(self, z: float) -> BaseGeometry:
        """The body at height `z`, in this frame."""
        turn = (self.sign, 0.0, 0.0, self.sign, -self.sign * self.x, 0.0)
        return affine_transform(self.body.level(z), turn)

    def body_upright(self, x: float) -> BaseGeometry:
        """The body in the plane at `x` of this frame, as (y, z)."""
        turn = (self.sign, 0.0, 0.0, 1.0, 0.0, 0.0)
        return affine_transform(self.body.upright(self.x + self.sign * x), turn)

    @cached_property
    def half(self) -> float:
        """How far out the nose stands at half its height as it was placed; FAR without one."""
        low, high = float(self.rail.mesh.vertices[:, 2].min()), self.rail.mesh.vertices[:, 2].max()
        nose = self.rail.level((low + min(0.0, float(high))) / 2)
        return limits.FAR if nose.is_empty else float(nose.bounds[1])

    @cached_property
    def rack_z(self) -> tuple[float, float]:
        """Lowest and highest point of the rack."""
        heights = self.rail.mesh.vertices[self.rail.mesh.vertices[:, 1] < self.half - WITHIN, 2]
        return (float(heights.min()), float(heights.max())) if len(heights) else (0.0, 0.0)

    def rack_level(self, share: float) -> float:
        """The height at a `share` of the rack's, clear of what is engraved below and on top."""
        low, high = self.rack_z[0] + limits.PAST_ENGRAVING, self.rack_z[1] - limits.PAST_ENGRAVING
        return low + share * (high - low)

    def rack_at(self, z: float) -> BaseGeometry:
        """The rack at height `z`: what reaches in from the leg."""
        return shapely.clip_by_rect(
            self.rail.level(z), -limits.FAR, -limits.FAR, limits.FAR, self.half
        )


def put_together(evidence: Evidence) -> Iterator[Side]:
    """Both sides of every station of which rail and body could be read."""
    cuts: dict[tuple[str, bytes], Cuts] = {}

    def seen(name: str, frame: Array) -> Cuts | None:
        if name not in evidence.placed:
            return None
        part, placed, _ = evidence.placed[name]
        pose = frame @ placed.matrix
        # Parts alike in poses alike are cut once.
        key = part.name, (np.round(pose, 9) + 0.0).tobytes()
        if key not in cuts:
            cuts[key] = Cuts(evidence.meshes[part.name].moved(pose))
        return cuts[key]

    bodies = {name: Cuts(mesh) for name, mesh in evidence.bodies.items()}
    for station in evidence.manifest.stations:
        for side, sign in SIDES.items():
            frame = np.diag((sign, sign, 1.0, 1.0))
            frame[0, 3] = -sign * station.x
            name = f"rail {station.name} {side}"
            rail, pinion = seen(name, frame), seen(f"pinion {station.name}", frame)
            if rail and station.part in bodies:
                body = bodies[station.part]
                yield Side(name, station.name, sign, station.x, rail, body, pinion)

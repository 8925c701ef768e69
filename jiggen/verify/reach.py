"""Whether the rails move freely over all skis that are stated, and stop where they are stated to.

All is found in sections of the written meshes, moved apart and together as the pinions move them.
"""

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from shapely.affinity import translate

from jiggen.verify import limits
from jiggen.verify.drive import edges
from jiggen.verify.evidence import Evidence
from jiggen.verify.results import Ledger
from jiggen.verify.stations import Side

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SHARES = (0.03, 0.4, 0.9)  # of the height that body and rail have in common, where they are cut


@dataclass(frozen=True, eq=False)
class _Rail:
    """A rail's sections by height and the body's, in the frame of its side."""

    name: str
    half: float
    sections: tuple[tuple["BaseGeometry", "BaseGeometry"], ...]
    rack: "BaseGeometry"

    def cut(self, width: float) -> float:
        """Largest area in mm² of a section that rail and body share on a ski of `width`."""
        way = width / 2 - self.half
        return max(float((translate(rail, 0.0, way) & body).area) for rail, body in self.sections)

    def teeth_over(self, width: float) -> float:
        """How many pitches of teeth are to the nearer side of the pinion on a ski of `width`."""
        spaces = edges(self.rack).mean(axis=1)
        if len(spaces) < 2:
            return 0.0
        pitch = float(np.diff(spaces).mean())
        at = spaces + width / 2 - self.half
        return min(float(at[-1]), -float(at[0])) / pitch + 0.5


def judge_reach(evidence: Evidence, ledger: Ledger) -> None:
    """Every rail over the whole of the stated reach, which holds all skis asked for."""
    stated, asked = evidence.manifest.reach, evidence.manifest.inputs.ski
    for rail in map(_cut, evidence.sides):
        about = ledger.about("STL", rail.name)
        if stated is None or asked is None:
            about.fail("verify.reach", "no range of skis is stated that it serves")
            continue
        wide = stated.least <= asked.least and asked.most <= stated.most
        message = (
            f"asked for on skis of {asked.least:g} to {asked.most:g} mm, stated to serve "
            f"{stated.least:.1f} to {stated.most:.1f} mm"
        )
        about.expect(wide, "verify.reach", message)
        for width in (stated.least, stated.most):
            cut, teeth = rail.cut(width), rail.teeth_over(width)
            message = f"cuts into the body by {cut:.2f} mm² on a ski of {width:.1f} mm"
            about.expect(cut <= limits.TOUCH, "verify.reach", message, cut, 0.0, limits.TOUCH)
            message = f"{teeth:.1f} pitches of teeth beside the pinion on a ski of {width:.1f} mm"
            about.expect(teeth >= limits.TEETH, "verify.reach", message, teeth, limits.TEETH)
        near, past = rail.cut(stated.stop + limits.STOP), rail.cut(stated.stop - limits.STOP)
        message = f"does not stop on the body at a ski of {stated.stop:.2f} mm"
        about.expect(near <= limits.TOUCH < past, "verify.stop", message)


def _cut(side: Side) -> _Rail:
    """One rail and its body in sections."""
    heights = side.rail.mesh.vertices[:, 2]
    low, high = float(heights.min()), float(heights.max())
    common = (max(low, 0.0), min(high, float(side.body.mesh.vertices[:, 2].max())))
    levels = [common[0] + share * (common[1] - common[0]) for share in SHARES]
    pairs = tuple((side.rail.level(z), side.body_level(z)) for z in levels)
    return _Rail(side.name, side.half, pairs, side.rack_at(levels[-1]))

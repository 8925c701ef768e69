"""Whether the rails move freely over all skis that are stated, and stop where they are stated to.

All is found in sections of the written meshes, moved apart and together as the pinions move them.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.affinity import affine_transform, translate
from shapely.geometry import LineString, box

from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array
from jiggen.verify.reading.entries import Station
from jiggen.verify.reading.manifest import Manifest
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.results import Ledger

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

SHARES = (0.03, 0.4, 0.9)  # of the height that body and rail have in common, where they are cut
SIDES = {"left": 1.0, "right": -1.0}


@dataclass(frozen=True, eq=False)
class _Rail:
    """A rail's sections by height and the body's, in a frame with the rail's nose towards +y."""

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
        spaces = _spaces(self.rack)
        if len(spaces) < 2:
            return 0.0
        pitch = float(np.diff(spaces).mean())
        at = spaces + width / 2 - self.half
        return min(float(at[-1]), -float(at[0])) / pitch + 0.5


def judge_reach(evidence: Evidence, ledger: Ledger) -> None:
    """Every rail over the whole of the stated reach, which holds all skis asked for."""
    manifest, meshes = evidence.manifest, evidence.meshes
    stated, asked = manifest.reach, manifest.inputs.ski
    for rail in _rails(manifest, meshes):
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


def _rails(manifest: Manifest, meshes: Mapping[str, Mesh]) -> Iterator[_Rail]:
    """The rails of every station, beside the body that they are on."""
    bodies = {
        part.name: meshes[part.name].moved(part.matrix)
        for part in manifest.parts
        if part.is_body and part.name in meshes
    }
    placed = {
        piece.name: meshes[part.name].moved(piece.matrix)
        for part in manifest.parts
        if part.kind == "rail" and part.name in meshes
        for piece in part.placed
    }
    cuts: dict[tuple[str, float], Any] = {}
    for station in manifest.stations:
        for side, sign in SIDES.items():
            name = f"rail {station.name} {side}"
            if name in placed and station.part in bodies:
                yield _cut(name, sign, placed[name], bodies[station.part], station, cuts)


def _cut(
    name: str, sign: float, rail: Mesh, body: Mesh, station: Station, cuts: dict[Any, Any]
) -> _Rail:
    """One rail and its body in sections."""
    heights: Array = rail.vertices[:, 2]
    low, high = float(heights.min()), float(heights.max())
    common = (max(low, 0.0), min(high, float(body.vertices[:, 2].max())))
    # Turned about the station's axis, so that left and right are alike.
    turn = (sign, 0.0, 0.0, sign, -sign * station.x, 0.0)
    pairs = []
    for share in SHARES:
        z = common[0] + share * (common[1] - common[0])
        key = station.part, z
        if key not in cuts:
            cuts[key] = body.material(z)
        pairs.append((affine_transform(rail.material(z), turn), affine_transform(cuts[key], turn)))
    nose = affine_transform(rail.material((low + min(0.0, high)) / 2), turn)
    half = float(nose.bounds[1]) if not nose.is_empty else limits.FAR
    # The rack alone: what reaches in from the leg, whose side is the nose's.
    rack = pairs[-1][0] & box(-limits.FAR, -limits.FAR, limits.FAR, half)
    return _Rail(name, half, tuple(pairs), rack)


def _spaces(rack: "BaseGeometry") -> Array:
    """Middles of a rack's tooth spaces along y, mm."""
    if rack.is_empty:
        return np.zeros(0)
    x = float(rack.bounds[0]) + limits.TOOTH_DEPTH
    met = shapely.get_parts(rack & LineString([(x, -limits.FAR), (x, limits.FAR)]))
    ends = sorted((piece.bounds[1], piece.bounds[3]) for piece in met if piece.length > 0)
    return np.array([(one[1] + two[0]) / 2 for one, two in pairwise(ends)])

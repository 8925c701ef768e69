"""A jig's parts put together as solids, on a ski of any width, and what two of them share.

By Manifold, booleans of closed meshes that never lose material; all mm, in the ski frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import TYPE_CHECKING

import numpy as np

from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.results import Ledger
from jiggen.verify.solids import Solid, extent, posed

if TYPE_CHECKING:
    from jiggen.verify.evidence import Evidence


@dataclass(frozen=True)
class Met:
    """Two pieces, and what both fill, mm³."""

    one: str
    other: str
    shared: float


@dataclass(frozen=True, eq=False)
class Assembly:
    """Every placed piece as it was placed, its kind, and the body that it is on.

    That is on a ski of `middle` mm; pinions and knobs turn about `axes`, x of their station.
    Unless `together`, bodies are used one after the other.
    """

    pieces: Mapping[str, Solid]
    kinds: Mapping[str, str]
    on: Mapping[str, str]
    axes: Mapping[str, float]
    middle: float
    together: bool

    @classmethod
    def of(cls, evidence: Evidence) -> Assembly:
        """All pieces of a jig whose meshes are solids."""
        manifest = evidence.manifest
        ski = manifest.inputs.ski
        middle = (ski.least + ski.most) / 2 if ski else 0.0
        kinds = {name: part.kind for name, (part, _, _) in evidence.placed.items()}
        on = {name: name for name in evidence.bodies}
        axes: dict[str, float] = {}
        for station in manifest.stations:
            moving = (f"pinion {station.name}", f"knob {station.name}")
            axes |= dict.fromkeys(moving, station.x)
            rails = (f"rail {station.name} left", f"rail {station.name} right")
            on |= dict.fromkeys((*rails, *moving), station.part)
        return cls(evidence.solids, kinds, on, axes, middle, not manifest.ladders)

    def at(self, width: float, turn: float) -> dict[str, Solid]:
        """All pieces on a ski of `width`; a whole turn of a pinion moves a rack by `turn`."""
        out = (width - self.middle) / 2
        found = {}
        for name, solid in self.pieces.items():
            if self.kinds[name] == "rail":
                found[name] = solid.translate((0.0, out if name.endswith("left") else -out, 0.0))
            elif name in self.axes:
                # The left rail lies on the tip side, so that what is there goes left with it.
                pose = _turn(2 * math.pi * out / turn, self.axes[name])
                found[name] = posed(solid, pose)
            else:
                found[name] = solid
        return found

    def pairs(self) -> Iterator[tuple[str, str]]:
        """Every two pieces that are on a ski at once."""
        for one, other in combinations(self.pieces, 2):
            if self.together or self.on.get(one) == self.on.get(other):
                yield one, other

    def meetings(self, pieces: Mapping[str, Solid], *, moving: bool = False) -> Iterator[Met]:
        """What every two of `pieces` share whose boxes meet; of rails alone if only `moving`."""
        boxes = {name: extent(solid) for name, solid in pieces.items()}
        for one, other in self.pairs():
            if moving and "rail" not in (self.kinds[one], self.kinds[other]):
                continue
            low, high = zip(boxes[one], boxes[other], strict=True)
            if (np.maximum(*low) <= np.minimum(*high)).all():
                yield Met(one, other, float((pieces[one] ^ pieces[other]).volume()))


def judge_interference(evidence: Evidence, turn: float, ledger: Ledger) -> None:
    """No two pieces share room on the narrowest, the middle and the widest ski.

    A whole turn of a pinion moves a rack by `turn`.
    """
    ski = evidence.manifest.inputs.ski
    if ski is None:
        return
    assembly = Assembly.of(evidence)
    shared: dict[tuple[str, str], tuple[float, float]] = {}
    for width in (ski.least, assembly.middle, ski.most):
        pieces = assembly.at(width, turn)
        # What turns is round, but for the teeth: it meets bodies on any ski alike.
        for met in assembly.meetings(pieces, moving=width != ski.least):
            key = met.one, met.other
            shared[key] = max(shared.get(key, (0.0, width)), (met.shared, width))
    for (one, other), (volume, width) in shared.items():
        message = f"both fill the same {volume:.2f} mm³ on a ski of {width:g} mm"
        about = ledger.about("STL", f"{one} and {other}")
        about.within(volume, 0.0, limits.SHARED, "verify.interference", message, "mm³")


def _turn(radians: float, x: float) -> Array:
    """A turn about the upright line at (x, 0), as a 4×4 matrix."""
    pose = np.eye(4)
    c, s = math.cos(radians), math.sin(radians)
    pose[:2, :2] = ((c, -s), (s, c))
    pose[0, 3] = x - c * x
    pose[1, 3] = -s * x
    return pose

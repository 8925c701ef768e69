"""The parts of a folder put together at any ski width: the written meshes, by another library.

Manifold (manifold3d, booleans of closed meshes that never lose material) knows nothing of jiggen.
The ski is a plain bar.  All mm, in the ski frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path

import manifold3d
import numpy as np
import trimesh
from numpy.typing import NDArray
from verify_samples import read_manifest_data

Matrix = NDArray[np.float64]
PITCH_RADIUS = 1.5 * 12 / 2  # mm, of a gear of module 1.5 and 12 teeth: ISO 21771, d = z·m
PITCH = math.pi * 1.5  # mm, of a rack of module 1.5: ISO 53
NEAR = 3.0  # mm: parts farther apart are not compared
SKI = (1600.0, 15.0)  # mm long and deep, about the mark


@dataclass(frozen=True)
class Met:
    """Two pieces: what both fill, mm³, and the least distance of their surfaces, mm."""

    one: str
    other: str
    shared: float
    gap: float


@dataclass(frozen=True)
class Assembly:
    """Every piece of a built folder."""

    pieces: dict[str, manifold3d.Manifold]
    kinds: dict[str, str]
    poses: dict[str, Matrix]
    middle: float

    @classmethod
    def of(cls, folder: Path) -> Assembly:
        """Read a folder's STL files; poses are those of its manifest."""
        data = read_manifest_data(folder)
        pieces, kinds, poses = {}, {}, {}
        for part in data["parts"]:
            mesh = trimesh.load_mesh(folder / part["file"])
            solid = manifold3d.Manifold(
                manifold3d.Mesh(np.float32(mesh.vertices), np.uint32(mesh.faces))
            )
            assert solid.status() == manifold3d.Error.NoError
            for placed in part["placed"]:
                pieces[placed["name"]] = solid
                kinds[placed["name"]] = part["kind"]
                # Halves that are used by themselves lie over one another: as the picture has them.
                apart = shift(x=data.get("shown", {}).get(placed["name"], 0.0))
                poses[placed["name"]] = apart @ np.array(placed["to_ski"])
        ski = data["inputs"]["ski"]
        return cls(pieces, kinds, poses, (ski["least"] + ski["most"]) / 2)

    def at(self, width: float) -> dict[str, manifold3d.Manifold]:
        """All pieces as they stand on a ski of `width`, and the ski."""
        out = (width - self.middle) / 2
        found = {}
        for name, solid in self.pieces.items():
            pose = self.poses[name]
            if self.kinds[name] == "rail":
                pose = shift(y=out if name.endswith("left") else -out) @ pose
            elif self.kinds[name] in ("pinion", "knob"):
                # The left rail lies on the tip side, so that what is there goes left with it.
                x = self.axis(name)
                pose = shift(x=x) @ turn(out / PITCH_RADIUS) @ shift(x=-x) @ pose
            found[name] = solid.transform(pose[:3])
        size = (SKI[0], width, SKI[1])
        ski = manifold3d.Manifold.cube(size, True).translate((0.0, 0.0, -SKI[1] / 2))
        return found | {"ski": ski}

    def axis(self, name: str) -> float:
        """X of the axis of a pinion or knob: the middle of its box."""
        low, _, _, high, *_ = self.pieces[name].transform(self.poses[name][:3]).bounding_box()
        return (low + high) / 2


def shift(x: float = 0.0, y: float = 0.0, z: float = 0.0) -> Matrix:
    """A shift by (x, y, z)."""
    pose = np.eye(4)
    pose[:3, 3] = (x, y, z)
    return pose


def turn(radians: float) -> Matrix:
    """A turn about z."""
    pose = np.eye(4)
    c, s = math.cos(radians), math.sin(radians)
    pose[:2, :2] = ((c, -s), (s, c))
    return pose


def meetings(pieces: dict[str, manifold3d.Manifold]) -> Iterator[Met]:
    """Every two pieces that come within NEAR of one another."""
    boxes = {name: np.array(solid.bounding_box()) for name, solid in pieces.items()}
    for one, other in combinations(pieces, 2):
        low, high = (
            np.maximum(boxes[one][:3], boxes[other][:3]),
            np.minimum(boxes[one][3:], boxes[other][3:]),
        )
        if (low - high > NEAR).any():
            continue
        # Only what lies around both: a body has thousands of faces elsewhere.
        window = np.minimum(low, high) - NEAR, np.maximum(low, high) + NEAR
        around = manifold3d.Manifold.cube(tuple(window[1] - window[0])).translate(tuple(window[0]))
        first, second = pieces[one] ^ around, pieces[other] ^ around
        shared = (first ^ second).volume()
        yield Met(one, other, shared, first.min_gap(second, NEAR))

"""The parts of a folder put together by the verification, a ski with them, and the gaps left.

The ski is a plain bar.  All mm, in the ski frame.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

import manifold3d
import numpy as np

from jiggen.verify.assembly import Assembly
from jiggen.verify.evidence import Evidence
from jiggen.verify.reading.manifest import read_manifest
from jiggen.verify.reading.mesh import read_stl

TURN = math.pi * 1.5 * 12  # mm of a rack to a turn, of a gear of module 1.5 and 12 teeth: ISO 21771
PITCH = math.pi * 1.5  # mm, of a rack of module 1.5: ISO 53
NEAR = 3.0  # mm: parts farther apart are not compared
SKI = (1600.0, 15.0)  # mm long and deep, about the mark


@dataclass(frozen=True)
class Near:
    """Two pieces: what both fill, mm³, and the least distance of their surfaces, mm."""

    one: str
    other: str
    shared: float
    gap: float


def evidence_of(folder: Path) -> Evidence:
    """A folder's manifest and meshes, as the verification reads them."""
    manifest = read_manifest(folder)
    meshes = {part.name: read_stl(folder / part.file) for part in manifest.parts}
    return Evidence(folder, manifest, meshes, {})


def ski_of(width: float) -> manifold3d.Manifold:
    """A plain bar for a ski."""
    bar = manifold3d.Manifold.cube((SKI[0], width, SKI[1]), True)
    return bar.translate((0.0, 0.0, -SKI[1] / 2))


def near_ones(assembly: Assembly, pieces: Mapping[str, manifold3d.Manifold]) -> Iterator[Near]:
    """Every two pieces that come within NEAR of one another, the ski among them if it is there."""
    pairs = [*assembly.pairs(), *((one, "ski") for one in assembly.pieces if "ski" in pieces)]
    boxes = {name: np.array(solid.bounding_box()) for name, solid in pieces.items()}
    for one, other in pairs:
        low = np.maximum(boxes[one][:3], boxes[other][:3])
        high = np.minimum(boxes[one][3:], boxes[other][3:])
        if (low - high > NEAR).any():
            continue
        # Only what lies around both: a body has thousands of faces elsewhere.
        window = np.minimum(low, high) - NEAR, np.maximum(low, high) + NEAR
        around = manifold3d.Manifold.cube(tuple(window[1] - window[0])).translate(tuple(window[0]))
        first, second = pieces[one] ^ around, pieces[other] ^ around
        yield Near(one, other, (first ^ second).volume(), first.min_gap(second, NEAR))

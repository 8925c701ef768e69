"""What was done to a part's mesh that no longer agrees with its STEP shape.

Each guess is undone and tried: it is named only when the corners of the STEP then lie on
corners of the mesh.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from jiggen.verify import limits
from jiggen.verify.frames import Array
from jiggen.verify.mesh import Mesh

CURED = 0.05  # of the corners that disagreed may still do so after the right guess is undone


@dataclass(frozen=True)
class Misfit:
    """How far the corners of a STEP shape lie from a mesh's: how many do, and the worst, mm."""

    count: int
    worst: float


@dataclass(frozen=True)
class Cause:
    """A guess that fits: its code's last word, how it is said, and a scale's factor."""

    kind: Literal["swapped", "mirrored", "scale"]
    message: str
    factor: float | None = None


def misfit(vertices: Array, corners: Array) -> Misfit:
    """Compare STEP `corners` (n, 3), carried to the mesh's frame, with its `vertices` (m, 3)."""
    from scipy.spatial import cKDTree

    if not np.isfinite(corners).all():
        return Misfit(len(corners), np.inf)
    distance, _ = cKDTree(vertices).query(corners)
    return Misfit(int((distance > limits.SHAPE).sum()), float(distance.max(initial=0.0)))


def cause(mesh: Mesh, part: str, corners: Mapping[str, Array], volume: float) -> Cause | None:
    """What makes the mesh of `part` differ from its STEP shape; None when nothing tried fits.

    `corners` holds the STEP corners of every part, each carried to its own printed file's
    frame; `volume` is the part's solid's in mm³.
    """
    # Shares, not counts: another part may have few corners, and all of them be wrong.
    before = misfit(mesh.vertices, corners[part]).count / len(corners[part])
    for guess, vertices, points in _guesses(mesh, part, corners, volume):
        for laid in _laid_over(vertices, points):
            if misfit(vertices, laid).count <= CURED * before * len(laid):
                return guess
    return None


def _guesses(
    mesh: Mesh, part: str, corners: Mapping[str, Array], volume: float
) -> Iterator[tuple[Cause, Array, Array]]:
    """Guesses, each with vertices and corners that would agree, but for a shift, if it is right."""
    own = corners[part]
    for other, points in corners.items():
        if other != part:
            yield Cause("swapped", f"this file holds the part {other!r}"), mesh.vertices, points
    factor = abs(mesh.volume / volume) ** (1 / 3)
    if abs(factor - 1) > 1e-4 and factor > 1e-4:
        # Shrunk back rather than blown up: the limit is one of the part's true size.
        scaled = Cause("scale", f"the part is scaled by {factor:.4g}", factor)
        yield scaled, mesh.vertices / factor, own
    for axis, name in enumerate("xyz"):
        flip = np.ones(3)
        flip[axis] = -1.0
        mirrored = Cause("mirrored", f"the part is mirrored (in {name} of its file)")
        yield mirrored, mesh.vertices, own * flip


def _laid_over(vertices: Array, points: Array) -> Iterator[Array]:
    """The points as they are, then moved so that their box shares a corner with the mesh's."""
    yield points
    yield points + (vertices.min(axis=0) - points.min(axis=0))
    yield points + (vertices.max(axis=0) - points.max(axis=0))

"""What was done to a part's mesh that no longer agrees with its STEP shape.

Each guess is undone and tried: it is named only when the corners of the STEP then lie on
corners of the mesh.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from jiggen.verify import limits
from jiggen.verify.compensation import misdone
from jiggen.verify.frames import Array
from jiggen.verify.manifest import Compensation
from jiggen.verify.mesh import Mesh

CURED = 0.05  # of the corners that disagreed may still do so after the right guess is undone


@dataclass(frozen=True)
class Misfit:
    """The corners of a STEP shape that lie too far from a mesh's: how many, and the worst, mm."""

    count: int
    worst: float


@dataclass(frozen=True)
class Cause:
    """A guess that fits: its code's last word, how it is said, and a scale's factor."""

    kind: Literal["compensation", "swapped", "mirrored", "scale"]
    message: str
    factor: float | None = None


@dataclass(frozen=True, eq=False)
class Corners:
    """A STEP shape's corners (n, 3) in a mesh's frame, mm."""

    points: Array


def misfit(vertices: Array, corners: Corners) -> Misfit:
    """Compare STEP `corners` with a mesh's `vertices` (m, 3)."""
    from scipy.spatial import cKDTree

    if not np.isfinite(corners.points).all():
        return Misfit(len(corners.points), np.inf)
    distance, _ = cKDTree(vertices).query(corners.points)
    over = distance[distance > limits.SHAPE]
    return Misfit(len(over), float(over.max(initial=0.0)))


def cause(
    mesh: Mesh, part: str, corners: Mapping[str, Corners], volume: float, done: Compensation
) -> Cause | None:
    """What makes the mesh of `part` differ from its STEP shape; None when nothing tried fits.

    `corners` holds the STEP corners of every part, each carried to its own printed file's
    frame; `volume` is the part's solid's in mm³; `done` has been undone of the mesh.
    """
    # Shares, not counts: another part may have few corners, and all of them be wrong.
    before = misfit(mesh.vertices, corners[part]).count / len(corners[part].points)
    if not before:
        return None
    for guess, vertices, other in _guesses(mesh, part, corners, volume, done):
        for laid in _laid_over(vertices, other):
            if misfit(vertices, laid).count <= CURED * before * len(laid.points):
                return guess
    return None


def _guesses(
    mesh: Mesh, part: str, corners: Mapping[str, Corners], volume: float, done: Compensation
) -> Iterator[tuple[Cause, Array, Corners]]:
    """Guesses, each with vertices and corners that would agree, but for a shift, if it is right."""
    own = corners[part]
    for words, back in misdone(done):
        vertices = mesh.vertices @ back.T
        worst = float(np.linalg.norm(vertices - mesh.vertices, axis=1).max())
        message = f"the part {words}: up to {worst:.3f} mm off"
        yield Cause("compensation", message), vertices, own
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
        yield mirrored, mesh.vertices, replace(own, points=own.points * flip)


def _laid_over(vertices: Array, corners: Corners) -> Iterator[Corners]:
    """Corners as they are, then moved so that their box shares a corner with the mesh's."""
    points = corners.points
    yield corners
    yield replace(corners, points=points + (vertices.min(axis=0) - points.min(axis=0)))
    yield replace(corners, points=points + (vertices.max(axis=0) - points.max(axis=0)))

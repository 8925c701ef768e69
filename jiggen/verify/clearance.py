"""Whether a drill of its full diameter passes through a mesh along an upright axis."""

from __future__ import annotations

import numpy as np

from jiggen.verify.frames import Array
from jiggen.verify.mesh import Mesh


def free_radius(mesh: Mesh, x: float, y: float, reach: float) -> float:
    """Distance in mm from the upright line at (x, y) to the nearest triangle, at most `reach`.

    Every height counts: a skin anywhere across the line makes it 0.
    """
    flat = mesh.vertices[:, :2] - (x, y)
    corners = flat[mesh.triangles]
    near = (corners.min(axis=1) <= reach).all(axis=1) & (corners.max(axis=1) >= -reach).all(axis=1)
    if not near.any():
        return reach
    corners = corners[near]
    if _holds_origin(corners).any():
        return 0.0
    return min(reach, float(_segments_to_origin(corners, np.roll(corners, -1, axis=1)).min()))


def _holds_origin(corners: Array) -> Array:
    """Which of flat triangles (k, 3, 2) hold the origin inside."""
    ahead = np.roll(corners, -1, axis=1)
    side = corners[..., 0] * ahead[..., 1] - corners[..., 1] * ahead[..., 0]
    return np.asarray((side > 0).all(axis=1) | (side < 0).all(axis=1))


def _segments_to_origin(start: Array, stop: Array) -> Array:
    """Distances of flat segments (…, 2) to the origin."""
    along = stop - start
    length = np.maximum((along**2).sum(axis=-1), 1e-30)
    share = np.clip(-(start * along).sum(axis=-1) / length, 0.0, 1.0)
    return np.asarray(np.linalg.norm(start + share[..., None] * along, axis=-1))

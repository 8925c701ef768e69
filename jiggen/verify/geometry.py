"""Plain geometry, in mm: rigid 4×4 matrices, and circles fitted to the loops of a section.

Matrices are row-major and act on column vectors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RIGID_LIMIT = 1e-9  # in any entry of RᵀR − 1: a nanometre over a metre
STEPS = 8
STRAIGHT = 0.01  # rad: a point where the loop turns by less is only a facet's diagonal


def applied(matrix: Array, points: Array) -> Array:
    """(n, 3) `points` carried by a 4×4 `matrix`."""
    return np.asarray(points @ matrix[:3, :3].T + matrix[:3, 3])


def unrigid(matrix: Array, limit: float = RIGID_LIMIT) -> str:
    """Why a 4×4 matrix is not a rigid motion; empty when it is one."""
    if matrix.shape != (4, 4) or not np.isfinite(matrix).all():
        return "not a 4×4 matrix of finite numbers"
    if np.abs(matrix[3] - (0, 0, 0, 1)).max() > limit:
        return "its last row is not 0 0 0 1"
    turn = matrix[:3, :3]
    determinant = float(np.linalg.det(turn))
    if np.abs(turn.T @ turn - np.eye(3)).max() > limit:
        return f"it scales or shears, determinant {determinant:.6g}"
    return "" if determinant > 0 else "it mirrors, determinant −1"


def frame(origin: Array, z: Array | None, x: Array | None) -> Array:
    """The 4×4 of an axis placement: z as given, x made square to it (ISO 10303-42).

    Raises ValueError when the directions do not span a frame.
    """
    up = np.array([0.0, 0.0, 1.0]) if z is None else z
    if not float(np.linalg.norm(up)) > 1e-9:
        raise ValueError("an axis placement without a direction")
    up = up / np.linalg.norm(up)
    if x is None:
        x = np.array([0.0, 1.0, 0.0]) if abs(up[0]) > 1 - 1e-9 else np.array([1.0, 0.0, 0.0])
    along = x - (x @ up) * up
    if not float(np.linalg.norm(along)) > 1e-9:
        raise ValueError("an axis placement whose two directions are one")
    along = along / np.linalg.norm(along)
    matrix = np.eye(4)
    matrix[:3, 0], matrix[:3, 1], matrix[:3, 2] = along, np.cross(up, along), up
    matrix[:3, 3] = origin
    return matrix


@dataclass(frozen=True)
class Circle:
    """A fitted circle, mm.

    `residual` is how far the farthest corner of the loop is off it, `sagitta` how far its
    longest chord falls inside it.
    """

    x: float
    y: float
    radius: float
    residual: float
    sagitta: float


def corners_of(loop: Array) -> Array:
    """The points (n, 2) of a closed loop where it turns: facets' diagonals are dropped."""
    back, ahead = loop - np.roll(loop, 1, axis=0), np.roll(loop, -1, axis=0) - loop
    cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    turn = np.abs(np.arctan2(cross, (back * ahead).sum(axis=1)))
    corners = loop[turn > STRAIGHT]
    return corners if len(corners) >= 3 else loop


def fit_circle(loop: Array) -> Circle:
    """The circle nearest to the corners of a closed loop (n, 2), n ≥ 3.

    Algebraic start (Kåsa: x² + y² = 2ax + 2by + c, linear), then Gauss–Newton on the distances.
    """
    points = corners_of(loop)
    middle = points.mean(axis=0)
    local = points - middle
    design = np.column_stack([2 * local, np.ones(len(local))])
    (a, b, c), *_ = np.linalg.lstsq(design, (local**2).sum(axis=1), rcond=None)
    estimate = np.array([a, b, np.sqrt(max(c + a * a + b * b, 0.0))])
    for _ in range(STEPS):
        away = local - estimate[:2]
        distance = np.maximum(np.linalg.norm(away, axis=1), 1e-12)
        jacobian = np.column_stack([-away / distance[:, None], -np.ones(len(local))])
        step, *_ = np.linalg.lstsq(jacobian, estimate[2] - distance, rcond=None)
        estimate = estimate + step
        if np.abs(step).max() < 1e-10:
            break
    centre, radius = estimate[:2] + middle, float(estimate[2])
    distance = np.linalg.norm(points - centre, axis=1)
    chords = (points + np.roll(points, -1, axis=0)) / 2
    inside = radius - np.linalg.norm(chords - centre, axis=1)
    return Circle(
        x=float(centre[0]),
        y=float(centre[1]),
        radius=radius,
        residual=float(np.abs(distance - radius).max()),
        sagitta=float(inside.max()),
    )

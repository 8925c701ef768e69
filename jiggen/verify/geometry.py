"""Rigid 4×4 matrices, row-major, acting on column vectors; mm."""

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

RIGID_LIMIT = 1e-9  # in any entry of RᵀR − 1: a nanometre over a metre


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

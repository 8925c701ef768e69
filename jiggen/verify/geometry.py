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


def frames(origin: Array, z: Array, x: Array) -> Array:
    """The 4×4 of axis placements (n, 4, 4): z as given, x made square to it (ISO 10303-42).

    Directions (n, 3) are not a number where none is given.  Raises ValueError when those of one
    do not span a frame.
    """
    z = np.where(np.isnan(z[:, :1]), (0.0, 0.0, 1.0), z)
    size = np.linalg.norm(z, axis=1, keepdims=True)
    if not (size > 1e-9).all():
        raise ValueError("an axis placement without a direction")
    up = z / size
    usual = np.where(np.abs(up[:, :1]) > 1 - 1e-9, (0.0, 1.0, 0.0), (1.0, 0.0, 0.0))
    x = np.where(np.isnan(x[:, :1]), usual, x)
    along = x - (x * up).sum(axis=1, keepdims=True) * up
    size = np.linalg.norm(along, axis=1, keepdims=True)
    if not (size > 1e-9).all():
        raise ValueError("an axis placement whose two directions are one")
    along /= size
    found = np.tile(np.eye(4), (len(origin), 1, 1))
    found[:, :3, 0], found[:, :3, 1], found[:, :3, 2] = along, np.cross(up, along), up
    found[:, :3, 3] = origin
    return found

"""A mesh as it is drawn: its corners parted along sharp edges, with a normal each."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.reading.mesh import Mesh, unit

Array = NDArray[np.float64]
Numbers = NDArray[np.int64]
NO_ANGLE = 1e-8  # rad: a triangle with a corner as sharp has no say in a normal


@dataclass(frozen=True, eq=False)
class Shading:
    """Points (n, 3), mm, unit normals (n, 3) and triangles (m, 3)."""

    points: Array
    normals: Array
    triangles: Numbers


def shade(mesh: Mesh, crease: float) -> Shading:
    """`mesh` with corners parted where its surface bends by `crease` degrees or more.

    A normal is the mean of those of the triangles around, weighed by their angles there.
    """
    pairs = _neighbours(mesh.triangles)
    facing = mesh.normals[pairs]
    bend = np.abs(np.arccos(np.clip(_dots(facing[:, 0], facing[:, 1]), -1.0, 1.0)))
    smooth = pairs[bend < np.radians(crease)]
    # Patches one after the other; triangles that go smoothly into no other come last.
    joined = np.unique(smooth)
    alone = np.setdiff1d(np.arange(len(mesh.triangles)), joined)
    patch = mesh.connected(smooth)
    order = np.concatenate([joined[patch[joined].argsort()], alone])
    rank = np.cumsum(np.diff(patch[order], prepend=-1) != 0)
    size = len(mesh.vertices)
    corners = rank[:, None] * size + mesh.triangles[order]
    parted, triangles = np.unique(corners, return_inverse=True)
    points, triangles = mesh.vertices[parted % size], triangles.reshape(-1, 3)
    return Shading(points, _normals(points, triangles, mesh.normals[order]), triangles)


def _neighbours(triangles: Numbers) -> Numbers:
    """Pairs (k, 2) of different triangles that share an edge with each other and no third."""
    ends = np.sort(np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 2))
    keys = ends[:, 0] * (ends.max(initial=0) + 1) + ends[:, 1]
    _, edge, uses = np.unique(keys, return_inverse=True, return_counts=True)
    order = edge.argsort(kind="stable")
    pairs: Numbers = (order[uses[edge[order]] == 2] // 3).reshape(-1, 2)
    return np.asarray(pairs[pairs[:, 0] != pairs[:, 1]])


def _normals(points: Array, triangles: Numbers, facing: Array) -> Array:
    """Unit normals at `points`; zero where no triangle around has a direction."""
    a, b, c = points[triangles.T]
    ab, ac, bc = unit(b - a), unit(c - a), unit(c - b)
    angles = np.zeros((len(triangles), 3))
    angles[:, 0] = np.arccos(np.clip(_dots(ab, ac), -1, 1))
    angles[:, 1] = np.arccos(np.clip(_dots(-ab, bc), -1, 1))
    angles[:, 2] = np.pi - angles[:, 0] - angles[:, 1]
    angles[(angles < NO_ANGLE).any(axis=1)] = 0.0
    weighed = (angles[:, :, None] * facing[:, None]).reshape(-1, 3)
    place, count = triangles.reshape(-1), len(points)
    sums = [np.bincount(place, along, minlength=count) for along in weighed.T]
    return unit(np.stack(sums, axis=1))


def _dots(one: Array, other: Array) -> Array:
    """The products of vectors, row by row."""
    return np.asarray(np.dot(one * other, np.ones(3)))

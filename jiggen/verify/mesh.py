"""Meshes read from STL files, and their level sections as closed loops."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.frames import Array, applied

LEAST_LOOP = 8  # points; fewer make no bore


class MeshError(ValueError):
    """A mesh file that is not one."""


@dataclass(frozen=True, eq=False)
class Mesh:
    """Welded vertices (n, 3), mm, and triangles (m, 3) of one part."""

    vertices: Array
    triangles: NDArray[np.int64]

    @cached_property
    def _edge_uses(self) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        """How often each edge is used, and each use's edge with its sense summed: 0 is right."""
        ends = np.stack([self.triangles, np.roll(self.triangles, -1, axis=1)], axis=2)
        ends = ends.reshape(-1, 2)
        keys = ends.min(axis=1) * len(self.vertices) + ends.max(axis=1)
        _, index, uses = np.unique(keys, return_inverse=True, return_counts=True)
        sense = np.bincount(index, weights=np.where(ends[:, 0] < ends[:, 1], 1, -1))
        return uses, sense.astype(np.int64)

    @property
    def open_edges(self) -> int:
        """Edges that are not shared by exactly two triangles."""
        return int((self._edge_uses[0] != 2).sum())

    @property
    def turned_edges(self) -> int:
        """Edges whose triangles are wound against each other."""
        uses, sense = self._edge_uses
        return int(((sense != 0) & (uses == 2)).sum())

    @cached_property
    def bodies(self) -> int:
        """How many unconnected pieces the mesh is of."""
        from scipy.sparse import coo_array
        from scipy.sparse.csgraph import connected_components

        rows, columns = self.triangles[:, [0, 1]].T, self.triangles[:, [1, 2]].T
        links = (np.ones(rows.size), (rows.ravel(), columns.ravel()))
        size = len(self.vertices)
        _, labels = connected_components(coo_array(links, shape=(size, size)), directed=False)
        return len(np.unique(labels[self.triangles[:, 0]]))

    @cached_property
    def volume(self) -> float:
        """Signed volume in mm³ (positive when wound outwards); only of a closed mesh."""
        a, b, c = (self.vertices[self.triangles[:, i]] for i in range(3))
        return float(np.einsum("ij,ij->i", a, np.cross(b, c)).sum() / 6)

    def moved(self, matrix: Array) -> Mesh:
        """The mesh carried by a 4×4 matrix; a mirroring one turns the triangles as well."""
        mirrored = np.linalg.det(matrix[:3, :3]) < 0
        triangles = self.triangles[:, ::-1] if mirrored else self.triangles
        return Mesh(applied(matrix, self.vertices), triangles)

    def section(self, z: float) -> list[Array]:
        """Closed loops (n, 2) where the plane at height `z` cuts the mesh.

        Material lies on the left of a loop: an outline runs anticlockwise, a hole clockwise.
        Every cut edge has one point, so loops close by the mesh's own edges, not by rounding.
        """
        above = self.vertices[:, 2] >= z
        side = above[self.triangles]
        cut = side.any(axis=1) & ~side.all(axis=1)
        corners, side = self.triangles[cut], side[cut]
        # Each cut triangle has one edge going down through the plane and one coming up.
        ahead, side_ahead = np.roll(corners, -1, axis=1), np.roll(side, -1, axis=1)
        down, up = side & ~side_ahead, ~side & side_ahead
        size = len(self.vertices)
        low, high = np.minimum(corners, ahead), np.maximum(corners, ahead)
        keys = low * size + high
        edges, index = np.unique(np.concatenate([keys[down], keys[up]]), return_inverse=True)
        start, stop = np.split(index, 2)
        return self._loops(edges // size, edges % size, z, start, stop)

    def _loops(
        self,
        low: NDArray[np.int64],
        high: NDArray[np.int64],
        z: float,
        start: NDArray[np.int64],
        stop: NDArray[np.int64],
    ) -> list[Array]:
        a, b = self.vertices[low], self.vertices[high]
        points = a + ((z - a[:, 2]) / (b[:, 2] - a[:, 2]))[:, None] * (b - a)
        following = np.full(len(points), -1)
        following[start] = stop
        loops = []
        visited = np.zeros(len(points), dtype=bool)
        for first in range(len(points)):
            walk = []
            at = first
            while at >= 0 and not visited[at]:
                visited[at] = True
                walk.append(at)
                at = int(following[at])
            if at == first and len(walk) >= 3:
                loops.append(points[walk, :2])
        return loops


def signed_area(loop: Array) -> float:
    """Area in mm² of a loop (n, 2), positive when it runs anticlockwise."""
    ahead = np.roll(loop, -1, axis=0)
    return float((loop[:, 0] * ahead[:, 1] - loop[:, 1] * ahead[:, 0]).sum() / 2)


def read_stl(path: Path) -> Mesh:
    """Read an STL file and weld equal corners.

    Raises MeshError when it holds no triangles or numbers that are none; OSError when it
    cannot be read.
    """
    import trimesh

    data = path.read_bytes()
    count = int.from_bytes(data[80:84], "little")
    if len(data) < 84 or len(data) != 84 + 50 * count:
        raise MeshError(f"not a whole binary STL: {count} triangles said, {len(data)} bytes there")
    try:
        with path.open("rb") as file:
            loaded = trimesh.load_mesh(file, file_type="stl", process=False)
    except (ValueError, IndexError, KeyError, TypeError) as error:
        raise MeshError(f"not an STL file: {error}") from None
    if not len(loaded.faces):
        raise MeshError("no triangles in it")
    corners = np.asarray(loaded.triangles, dtype=np.float64).reshape(-1, 3) + 0.0
    if not np.isfinite(corners).all():
        raise MeshError("a corner's coordinate is not a number")
    return welded(corners)


def welded(corners: Array) -> Mesh:
    """A mesh of corners (3m, 3), three a triangle, with equal ones made one."""
    vertices, index = np.unique(corners, axis=0, return_inverse=True)
    return Mesh(vertices, index.reshape(-1, 3).astype(np.int64))

"""Meshes read from STL files, and their level sections as closed loops."""

from __future__ import annotations

import io
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array, applied


class MeshError(ValueError):
    """A file that is not a whole, finite mesh."""


@dataclass(frozen=True, eq=False)
class Mesh:
    """Welded vertices (n, 3), mm, and triangles (m, 3) of one part."""

    vertices: Array
    triangles: NDArray[np.int64]

    @cached_property
    def _solid(self) -> Any:
        import trimesh

        return trimesh.Trimesh(self.vertices, self.triangles, process=False)

    @property
    def open_edges(self) -> int:
        """Edges that are not shared by exactly two triangles."""
        return int((np.bincount(self._solid.edges_unique_inverse) != 2).sum())

    @property
    def is_oriented(self) -> bool:
        """Whether the facets are oriented consistently."""
        return bool(self._solid.is_winding_consistent)

    @property
    def bodies(self) -> int:
        """How many unconnected pieces the mesh is of: what meets in a point is not connected."""
        return int(self.shells.max()) + 1

    @property
    def normals(self) -> Array:
        """Unit normals (m, 3) of the triangles; zero where a triangle has no area."""
        return np.asarray(self._solid.face_normals)

    @property
    def neighbours(self) -> NDArray[np.int64]:
        """Pairs (k, 2) of triangles that share an edge."""
        return np.asarray(self._solid.face_adjacency, dtype=np.int64)

    @cached_property
    def shells(self) -> NDArray[np.int64]:
        """For each triangle (m,) the number, from 0, of the unconnected piece it belongs to."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        size = len(self.triangles)
        links = coo_matrix((np.ones(len(self.neighbours)), self.neighbours.T), shape=(size, size))
        return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)

    @property
    def volume(self) -> float:
        """Signed volume in mm³ (positive when wound outwards); only of a closed mesh."""
        return float(self._solid.volume)

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

    def free_radius(self, x: float, y: float, reach: float) -> float:
        """Distance in mm from the upright line at (x, y) to the nearest triangle, at most `reach`.

        Every height counts: a skin anywhere across the line makes it 0.
        """
        import shapely

        flat = self.vertices[:, :2] - (x, y)
        corners = flat[self.triangles]
        low, high = corners.min(axis=1), corners.max(axis=1)
        near = (low <= reach).all(axis=1) & (high >= -reach).all(axis=1)
        if not near.any():
            return reach
        shadows = shapely.polygons(corners[near])  # an upright triangle's is a line
        return min(reach, float(shapely.distance(shadows, shapely.Point(0.0, 0.0)).min()))

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
    """Read a binary STL file and weld equal corners.

    Raises MeshError when it is not whole, or holds no triangles, or coordinates that are not
    numbers; OSError when it cannot be read.
    """
    import trimesh

    data = path.read_bytes()
    count = int.from_bytes(data[80:84], "little")
    if len(data) < 84 or len(data) != 84 + 50 * count:
        raise MeshError(
            f"not a whole binary STL: {count} triangles announced, {len(data)} bytes present"
        )
    if not count:
        raise MeshError("no triangles in it")
    loaded = trimesh.load_mesh(io.BytesIO(data), file_type="stl", process=False)
    if not np.isfinite(loaded.vertices).all():
        raise MeshError("a corner's coordinate is not a number")
    loaded.merge_vertices()
    return Mesh(np.asarray(loaded.vertices) + 0.0, np.asarray(loaded.faces, dtype=np.int64))

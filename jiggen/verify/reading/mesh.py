"""Meshes read from STL files, and their level sections as closed loops."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array, applied
from jiggen.verify.reading.memory import once

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry


FACET = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
NO_LENGTH = 1e-13  # mm or mm²: rounding of single steps
THIN = 2e-3  # mm, a facet's least height: single precision turns a lower one by degrees
WELD = 1e-8  # mm: corners as near are one
ODD = 0.05  # between two unit normals, 3 degrees: common practice, no source


class MeshError(ValueError):
    """A file that is not a whole, finite mesh."""


@dataclass(frozen=True, eq=False)
class Mesh:
    """Welded vertices (n, 3), mm, and triangles (m, 3) of one part."""

    vertices: Array
    triangles: NDArray[np.int64]
    odd_normals: int = 0
    """Facets whose stored normal, where there is one, is not that of their corners' order."""

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

    @cached_property
    def normals(self) -> Array:
        """Unit normals (m, 3) of the triangles; zero where a triangle has no area."""
        ahead = np.diff(self.vertices[self.triangles], axis=1)
        return unit(np.cross(ahead[:, 0], ahead[:, 1]))

    @property
    def neighbours(self) -> NDArray[np.int64]:
        """Pairs (k, 2) of triangles that share an edge."""
        return np.asarray(self._solid.face_adjacency, dtype=np.int64)

    def connected(self, pairs: NDArray[np.int64]) -> NDArray[np.int64]:
        """For each triangle (m,) the number, from 0, of the piece that `pairs` join it to."""
        from scipy.sparse import coo_matrix
        from scipy.sparse.csgraph import connected_components

        size = len(self.triangles)
        links = coo_matrix((np.ones(len(pairs)), pairs.T), shape=(size, size))
        return np.asarray(connected_components(links, directed=False)[1], dtype=np.int64)

    @property
    def shells(self) -> NDArray[np.int64]:
        """The pieces that the mesh falls into: what meets in a point alone is not connected."""
        return self.connected(self.neighbours)

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
        keys = np.minimum(corners, ahead) * size + np.maximum(corners, ahead)
        edges, index = np.unique(np.concatenate([keys[down], keys[up]]), return_inverse=True)
        low, high = self.vertices[edges // size], self.vertices[edges % size]
        points = low + ((z - low[:, 2]) / (high[:, 2] - low[:, 2]))[:, None] * (high - low)
        following = np.full(len(points), -1)
        start, stop = np.split(index, 2)
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

    def material(self, z: float) -> BaseGeometry:
        """The plane region that the mesh fills at height `z`, without loops that are not closed."""
        import shapely

        loops = [np.vstack([loop, loop[:1]]) for loop in self.section(z)]
        return shapely.build_area(shapely.MultiLineString(loops))

    def free_radius(self, x: float, y: float, reach: float) -> float:
        """Distance in mm from the upright line at (x, y) to any triangle, at most `reach`."""
        import shapely

        flat = self.vertices[:, :2] - (x, y)
        corners = flat[self.triangles]
        low, high = corners.min(axis=1), corners.max(axis=1)
        near = (low <= reach).all(axis=1) & (high >= -reach).all(axis=1)
        if not near.any():
            return reach
        shadows = shapely.polygons(corners[near])  # an upright triangle's is a line
        return min(reach, float(shapely.distance(shadows, shapely.Point(0.0, 0.0)).min()))


def unit(vectors: Array) -> Array:
    """`vectors` (n, 3) made 1 long; those of no length are zero."""
    length = np.sqrt(np.dot(vectors * vectors, np.ones(3)))
    some = length > NO_LENGTH
    return np.asarray(
        vectors * np.divide(1.0, length, out=np.zeros_like(length), where=some)[:, None]
    )


def signed_area(loop: Array) -> float:
    """Area in mm² of a loop (n, 2), positive when it runs anticlockwise."""
    ahead = np.roll(loop, -1, axis=0)
    return float((loop[:, 0] * ahead[:, 1] - loop[:, 1] * ahead[:, 0]).sum() / 2)


def read_stl(path: Path) -> Mesh:
    """Read a binary STL file and weld equal corners.

    Raises MeshError when it is not whole, or holds no triangles, or coordinates that are not
    numbers; OSError when it cannot be read.
    """
    return once(_mesh_of, path.read_bytes())


def _mesh_of(data: bytes) -> Mesh:
    count = int.from_bytes(data[80:84], "little")
    if len(data) < 84 or len(data) != 84 + 50 * count:
        raise MeshError(
            f"not a whole binary STL: {count} triangles announced, {len(data)} bytes present"
        )
    if not count:
        raise MeshError("no triangles in it")
    corners = np.frombuffer(data, FACET, offset=84)["corners"].astype(float).reshape(-1, 3)
    if not np.isfinite(corners).all():
        raise MeshError("a corner's coordinate is not a number")
    points, triangles = _welded(corners)
    return Mesh(points, triangles.reshape(-1, 3), _odd_normals(data))


def _welded(corners: Array) -> tuple[Array, NDArray[np.int64]]:
    """Points (k, 3) in the order in which they come, and of each of `corners` (n, 3) its number."""
    same = np.zeros(len(corners), dtype=np.int64)
    for along in np.rint(corners.T / WELD):
        values, place = np.unique(along, return_inverse=True)
        _, same = np.unique(same * len(values) + place, return_inverse=True)
    _, first, same = np.unique(same, return_index=True, return_inverse=True)
    order = first.argsort()
    number = np.empty_like(order)
    number[order] = np.arange(len(order))
    return corners[first[order]] + 0.0, number[same]


def _odd_normals(data: bytes) -> int:
    """How many facets of a whole binary STL have a normal that differs from their winding's.

    Zero is none, as some writers have it; of a facet too thin to have a direction nothing is said.
    """
    facets = np.frombuffer(data, FACET, offset=84)
    stored, corners = facets["normal"].astype(float), facets["corners"].astype(float)
    sides = corners - np.roll(corners, -1, axis=1)
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    size, longest = np.linalg.norm(normal, axis=1), np.linalg.norm(sides, axis=2).max(axis=1)
    judged = (size > THIN * longest) & (stored != 0).any(axis=1)
    away = np.linalg.norm(stored[judged] - normal[judged] / size[judged, None], axis=1)
    return int((~(away <= ODD)).sum())

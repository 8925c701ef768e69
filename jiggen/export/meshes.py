"""Printed parts as meshes, and as binary STL; equal bytes every run."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray


@dataclass(frozen=True, eq=False)
class PartMesh:
    """One part in print position: vertices (n, 3) mm, triangles (m, 3), how many to print."""

    name: str
    vertices: NDArray[np.float64]
    triangles: NDArray[np.int64]
    count: int


def stl_bytes(mesh: PartMesh) -> bytes:
    """Binary STL (80-byte header, count, 50 bytes a facet; loc.gov fdd000505), in mm."""
    facet = np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    corners = mesh.vertices[mesh.triangles]
    normals = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normals, axis=1, keepdims=True)
    facets = np.zeros(len(corners), dtype=facet)
    facets["normal"] = np.divide(normals, length, out=np.zeros_like(normals), where=length > 0)
    facets["corners"] = corners
    header = f"jiggen part, millimetres: {mesh.name}".encode("ascii", "replace")[:80].ljust(80)
    return header + np.uint32(len(facets)).tobytes() + facets.tobytes()

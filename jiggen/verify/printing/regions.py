"""The material of a mesh at one height, as a flat shape."""

from __future__ import annotations

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, Polygon
from shapely.geometry.base import BaseGeometry

from jiggen.verify.frames import Array
from jiggen.verify.mesh import Mesh, signed_area


def material(mesh: Mesh, z: float) -> BaseGeometry:
    """The plane region (x, y in mm) that the mesh fills at height `z`; empty where there is none.

    Where an open mesh leaves a loop unclosed, that loop is not there.
    """
    loops = mesh.section(z)
    areas = [signed_area(loop) for loop in loops]
    outlines = [loop for loop, area in zip(loops, areas, strict=True) if area > 0]
    holes = [loop for loop, area in zip(loops, areas, strict=True) if area < 0]
    if not outlines:
        return MultiPolygon()
    discs = [Polygon(outline) for outline in outlines]
    inside: list[list[Array]] = [[] for _ in outlines]
    tree = shapely.STRtree(discs)
    for hole in holes:
        around = tree.query(shapely.Point(hole[0]), predicate="intersects")
        if len(around):  # an outline may lie in a hole of another: the nearest around is its own
            inside[min(around, key=lambda index: discs[index].area)].append(hole)
    shapes = [Polygon(outline, own) for outline, own in zip(outlines, inside, strict=True)]
    return shapely.union_all(shapely.make_valid(np.array(shapes)))


def polygons(shape: BaseGeometry) -> list[Polygon]:
    """The polygons of a shape, whatever it is made of; lines and points are dropped."""
    parts = shapely.get_parts(shape, return_index=False)
    flat: list[Polygon] = []
    for part in parts:
        if part.geom_type == "Polygon":
            flat.append(part)
        elif part.geom_type in ("MultiPolygon", "GeometryCollection"):
            flat += polygons(part)
    return [part for part in flat if not part.is_empty]


def outline(shape: BaseGeometry, z: float, tolerance: float = 0.05) -> Array:
    """Corners (n, 3) of a polygon's outer edge, simplified to `tolerance` mm, at height `z`."""
    ring = np.array(shape.simplify(tolerance).exterior.coords)[:-1]
    return np.column_stack([ring, np.full(len(ring), z)])

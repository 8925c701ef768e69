"""Solids that are cut with one another: a file's mesh, and gauges made of a few numbers; mm."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

import numpy as np

from jiggen.verify.geometry import Array
from jiggen.verify.reading.mesh import Mesh

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Solid: TypeAlias = Any
"""A closed solid of manifold3d: `-` cuts, `^` is what two share, `+` joins."""

FINE = 4.5  # mm of radius, from which on a round gauge has more sides


def solid_of(mesh: Mesh) -> Solid | None:
    """The solid within a mesh; None where that is not one."""
    from manifold3d import Manifold
    from manifold3d import Mesh as Facets

    points, corners = mesh.vertices.astype(np.float32), mesh.triangles.astype(np.uint32)
    made = Manifold(Facets(vert_properties=points, tri_verts=corners))
    return None if made.is_empty() else made


def joined(solids: Iterable[Solid]) -> Solid:
    """All `solids` as one, which may be empty."""
    from manifold3d import Manifold, OpType

    parts = list(solids)
    return Manifold.batch_boolean(parts, OpType.Add) if parts else Manifold()


def cut(solid: Solid, tools: Sequence[Solid]) -> Solid:
    """`solid` less all `tools`."""
    from manifold3d import Manifold, OpType

    return Manifold.batch_boolean([solid, *tools], OpType.Subtract)


def prism(region: BaseGeometry, low: float, high: float) -> Solid:
    """A plane region raised from the height `low` to `high`."""
    import shapely
    from manifold3d import CrossSection, FillRule

    rings = [
        np.asarray(ring.coords)[:-1, :2]
        for part in shapely.get_parts(shapely.normalize(region))
        if isinstance(part, shapely.Polygon)
        for ring in (part.exterior, *part.interiors)
    ]
    plan = CrossSection([ring.tolist() for ring in rings], FillRule.EvenOdd)
    return plan.extrude(high - low).translate((0.0, 0.0, low))


def cone(radii: tuple[float, float], z: tuple[float, float], x: float = 0, y: float = 0) -> Solid:
    """An upright cone or cylinder about (x, y); its sides lie outside its radii, hardly."""
    from manifold3d import Manifold

    sides, wider = _sides(max(radii))
    made = Manifold.cylinder(z[1] - z[0], radii[0] * wider, radii[1] * wider, sides)
    return made.translate((x, y, z[0]))


def lathe(profile: Sequence[tuple[float, float]], x: float, y: float) -> Solid:
    """(radius, z) points from below, turned about the axis at (x, y); closed along it."""
    from manifold3d import CrossSection

    sides, wider = _sides(max(radius for radius, _ in profile))
    ring = [(radius * wider, z) for radius, z in profile]
    plan = CrossSection([[(0.0, profile[0][1]), *ring, (0.0, profile[-1][1])]])
    return plan.revolve(sides).translate((x, y, 0.0))


def lying(radius: float, x: tuple[float, float], y: float, z: float) -> Solid:
    """A cylinder along x."""
    made = cone((radius, radius), (0.0, x[1] - x[0]))
    return made.rotate((0.0, 90.0, 0.0)).translate((x[0], y, z))


def hull(points: Array | Sequence[Sequence[float]]) -> Solid:
    """The convex hull of `points` (n, 3)."""
    from manifold3d import Manifold

    return Manifold.hull_points(np.asarray(points, dtype=np.float64))


def box_of(boxes: Array, more: float) -> Solid:
    """A box around boxes (n, 2, 3), `more` mm larger on each side."""
    low, high = boxes[:, 0].min(axis=0) - more, boxes[:, 1].max(axis=0) + more
    return hull(
        [(x, y, z) for x in (low[0], high[0]) for y in (low[1], high[1]) for z in (low[2], high[2])]
    )


def hexagon(flats: float, z: tuple[float, float]) -> Solid:
    """A hexagon prism about z, two of its sides `flats` apart across x."""
    angles = np.radians(np.arange(30, 390, 60))
    ring = flats / np.sqrt(3) * np.column_stack([np.cos(angles), np.sin(angles)])
    return hull([(x, y, height) for height in z for x, y in ring.tolist()])


def swept(solid: Solid, by: Array) -> Solid:
    """What a convex `solid` passes through as it is moved `by` (3,)."""
    from manifold3d import Manifold

    return Manifold.batch_hull([solid, solid.translate(tuple(by.tolist()))])


def _sides(radius: float) -> tuple[int, float]:
    """How many sides what is round has, and how much wider its corners are than its sides.

    So these touch the circle, and no corner stands out by 0.01 mm.
    """
    sides = 48 if radius < FINE else 96
    return sides, float(1 / np.cos(np.pi / sides))


def posed(solid: Solid, pose: Array) -> Solid:
    """`solid` carried by a rigid 4×4."""
    return solid.transform(pose[:3])


def turned(solid: Solid, degrees: float) -> Solid:
    """`solid` turned about z."""
    return solid.rotate((0.0, 0.0, degrees))


def extent(solid: Solid) -> Array:
    """(2, 3): the least and greatest corner of the box around `solid`."""
    return np.array(solid.bounding_box(), dtype=np.float64).reshape(2, 3)


def section(solid: Solid, z: float) -> BaseGeometry:
    """The plane region that `solid` fills at the height `z`."""
    import shapely

    rings = [shapely.LinearRing(ring) for ring in solid.slice(z).to_polygons() if len(ring) > 2]
    return shapely.build_area(shapely.MultiLineString(rings))

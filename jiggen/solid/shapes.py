"""The few solids everything is made of: prisms, turned shapes, boxes; mm, ski frame axes."""

from collections.abc import Iterable, Sequence

import cadquery as cq
import numpy as np
from numpy.typing import NDArray
from OCP.BRepAlgoAPI import BRepAlgoAPI_Cut
from OCP.gp import gp_Trsf
from OCP.TopTools import TopTools_ListOfShape

from jiggen.cores import processes_enough
from jiggen.design.lettering import Region
from jiggen.design.station import Point

UP = cq.Vector(0, 0, 1)


def wire(points: Iterable[Sequence[float]], z: float) -> cq.Wire:
    """A closed ring of (x, y) points at height `z`."""
    corners = [cq.Vector(float(x), float(y), z) for x, y in points]
    return cq.Wire.makePolygon(corners, close=True)


def prism(region: Region, bottom: float, top: float, lean: float = 0.0) -> cq.Solid:
    """`region` raised from height `bottom` to `top`, its sides leaning in by `lean` degrees."""
    outer = wire(region.outer, bottom)
    inner = [wire(ring, bottom) for ring in region.inner]
    return cq.Solid.extrudeLinear(outer, inner, cq.Vector(0, 0, top - bottom), lean)


def prism_x(profile: Sequence[Point], start: float, stop: float) -> cq.Solid:
    """A profile of (y, z) points drawn along x from `start` to `stop`."""
    ring = cq.Wire.makePolygon([cq.Vector(start, y, z) for y, z in profile], close=True)
    return cq.Solid.extrudeLinear(ring, [], cq.Vector(stop - start, 0, 0))


def prism_y(profile: Sequence[Point], start: float, stop: float) -> cq.Solid:
    """A profile of (x, z) points drawn along y from `start` to `stop`."""
    ring = cq.Wire.makePolygon([cq.Vector(x, start, z) for x, z in profile], close=True)
    return cq.Solid.extrudeLinear(ring, [], cq.Vector(0, stop - start, 0))


def revolve(profile: Sequence[Point]) -> cq.Solid:
    """A closed profile of (radius, z) points turned about the z axis."""
    ring = cq.Wire.makePolygon([cq.Vector(radius, 0, z) for radius, z in profile], close=True)
    return cq.Solid.revolve(ring, [], 360.0, cq.Vector(0, 0, 0), UP)


def footed_disc(radius: float, bottom: float, top: float, foot: float) -> cq.Solid:
    """An upright disc about the z axis, its lower edge taken off by `foot` at 45°."""
    edge = [(radius - foot, bottom), (radius, bottom + foot)]
    return revolve([(0.0, bottom), *edge, (radius, top), (0.0, top)])


def block(x: Point, y: Point, z: Point) -> cq.Solid:
    """A box between the given bounds, each (from, to)."""
    size = (x[1] - x[0], y[1] - y[0], z[1] - z[0])
    return cq.Solid.makeBox(*size, pnt=cq.Vector(x[0], y[0], z[0]))


def cylinder(radius: float, bottom: float, top: float, x: float = 0.0, y: float = 0.0) -> cq.Solid:
    """An upright cylinder at (x, y)."""
    return cq.Solid.makeCylinder(radius, top - bottom, cq.Vector(x, y, bottom))


def cut_away(shape: cq.Shape, tools: Iterable[cq.Shape]) -> cq.Shape:
    """`shape` less all `tools`, in one cut; none of them is changed.

    The kernel's plain cut may widen the tolerances of what it is given: a tool or part that is
    cached for the next jig would then give other files there than here.
    """
    remaining, lost = TopTools_ListOfShape(), TopTools_ListOfShape()
    remaining.Append(shape.wrapped)
    for tool in tools:
        lost.Append(tool.wrapped)
    cut = BRepAlgoAPI_Cut()
    cut.SetArguments(remaining)
    cut.SetTools(lost)
    cut.SetNonDestructive(True)
    cut.SetRunParallel(not processes_enough())  # the solid is the same
    cut.Build()
    return cq.Shape.cast(cut.Shape())


def one_solid(shape: cq.Shape, name: str) -> cq.Solid:
    """The one solid that `shape` must be; RuntimeError when it is not."""
    # A defect of ours, never of the input: stop before anything is written. The kernel's own
    # check of validity costs as much as a cut; tests make it, and `verify` looks at the files.
    solids = shape.Solids()
    if len(solids) != 1:
        raise RuntimeError(f"{name} came out of the kernel as {len(solids)} solids")
    return solids[0]


def location_of(matrix: NDArray[np.float64]) -> cq.Location:
    """A rigid 4×4 matrix as the kernel's location."""
    pose = gp_Trsf()
    pose.SetValues(*matrix[:3].ravel().tolist())
    return cq.Location(pose)

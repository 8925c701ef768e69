"""What is sunk in a level face, or stands on it, made without a cut or a fuse.

A cut compares every face with every other.  A letter that lies inside one level face changes
nothing but that face: its walls and floor are one sweep of its outline, and the face gets the
outline as a hole.  So it is with what stands on a face.  The solid is the one that the kernel's
own cut or fuse would make, in a fraction of the time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import compress

import cadquery as cq
import numpy as np
import shapely
from numpy.typing import NDArray
from OCP.BRep import BRep_Builder
from OCP.BRepAdaptor import BRepAdaptor_Curve, BRepAdaptor_Surface
from OCP.BRepBuilderAPI import BRepBuilderAPI_MakeFace, BRepBuilderAPI_MakePolygon
from OCP.BRepPrimAPI import BRepPrimAPI_MakePrism
from OCP.BRepTools import BRepTools, BRepTools_WireExplorer
from OCP.GeomAbs import GeomAbs_Line, GeomAbs_Plane
from OCP.gp import gp_Dir, gp_Pln, gp_Pnt, gp_Vec
from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED, TopAbs_WIRE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shell, TopoDS_Solid, TopoDS_Wire
from shapely.geometry import Polygon

from jiggen.design.lettering import Region
from jiggen.solid.shapes import cut_away, prism

OVER = 1.0  # mm that cutters reach past what they cut
LEVEL = 1e-6  # mm: a face this near the top is the top
CLEAR = 0.05  # mm from an inset to the edge of its face, at least
CHORDS = 64  # an edge that is not straight: within CLEAR of it up to a radius of 40 mm


@dataclass(frozen=True, eq=False)
class Inset:
    """A flat region to take out of a solid's top, `depth` mm deep."""

    region: Region
    depth: float


def engrave_top(solid: cq.Solid, top: float, insets: Sequence[Inset]) -> cq.Shape:
    """`solid` with all `insets` taken out of its top at height `top` mm.

    Nothing hollow may lie close under the top but what opens into it.
    """
    made, others = inset_all(solid, top, insets)
    return cut_away(made, prisms(others, top)) if others else made


def prisms(insets: Iterable[Inset], top: float) -> Iterator[cq.Solid]:
    """Tools that cut `insets`, past a top at height `top` mm."""
    for inset in insets:
        yield prism(inset.region, top - inset.depth, top + OVER)


def inset_all(solid: cq.Solid, top: float, insets: Sequence[Inset]) -> tuple[cq.Solid, list[Inset]]:
    """`solid` with every inset that lies inside one face at height `top` mm, and the others.

    The others meet an edge or one another: they have to be cut.
    """
    seats, faces = _parted(solid, top, up=True)
    owners = _owners(insets, [_plan(seat) for seat in seats])
    for index, seat in enumerate(seats):
        faces += _with_insets(seat, top, list(compress(insets, owners == index)))
    return _solid(faces), list(compress(insets, owners < 0))


def stack_on(lower: cq.Solid, upper: cq.Solid, z: float) -> cq.Solid:
    """`upper`, whose one foot is at height `z` mm, on the face of `lower` that it lies within.

    Raises RuntimeError when it stands on no one face, clear of its edges.
    """
    seats, faces = _parted(lower, z, up=True)
    (foot,), others = _parted(upper, z, up=False)
    edge = BRepTools.OuterWire_s(foot)
    plan = Polygon(_ring(edge, foot))
    under = [seat for seat in seats if _plan(seat).contains(plan)]
    if len(under) != 1:
        raise RuntimeError(f"nothing to stand on at {z:g} mm")
    seats.remove(under[0])
    return _solid([*faces, *seats, _holed(under[0], z, [edge]), *others])


def _solid(faces: Iterable[TopoDS_Face]) -> cq.Solid:
    """The solid whose closed shell is `faces`, which share their edges."""
    shell, made, builder = TopoDS_Shell(), TopoDS_Solid(), BRep_Builder()
    builder.MakeShell(shell)
    for face in faces:
        builder.Add(shell, face)
    shell.Closed(True)
    builder.MakeSolid(made)
    builder.Add(made, shell)
    return cq.Solid(made)


def _faces(shape: object) -> Iterator[TopoDS_Face]:
    explorer = TopExp_Explorer(shape, TopAbs_FACE)
    while explorer.More():
        yield TopoDS.Face_s(explorer.Current())
        explorer.Next()


def _parted(solid: cq.Solid, z: float, *, up: bool) -> tuple[list[TopoDS_Face], list[TopoDS_Face]]:
    """The level faces at height `z` that look up, or down, and all other faces."""
    level: list[TopoDS_Face] = []
    others: list[TopoDS_Face] = []
    for face in _faces(solid.wrapped):
        (level if _is_level(face, z, up=up) else others).append(face)
    return level, others


def _is_level(face: TopoDS_Face, z: float, *, up: bool) -> bool:
    surface = BRepAdaptor_Surface(face, False)
    if surface.GetType() != GeomAbs_Plane:
        return False
    plane = surface.Plane()
    turned = (plane.Direct() == (face.Orientation() == TopAbs_REVERSED)) == up
    looks = plane.Axis().Direction().Z() * (-1 if turned else 1)
    return bool(looks > 1 - LEVEL and abs(plane.Location().Z() - z) < LEVEL)


def _plan(face: TopoDS_Face) -> shapely.Geometry:
    """A level face seen from above, CLEAR of its edges."""
    outer = BRepTools.OuterWire_s(face)
    inner = [_ring(wire, face) for wire in _wires(face) if not wire.IsSame(outer)]
    return Polygon(_ring(outer, face), inner).buffer(-CLEAR)


def _wires(face: TopoDS_Face) -> Iterator[TopoDS_Wire]:
    explorer = TopExp_Explorer(face, TopAbs_WIRE)
    while explorer.More():
        yield TopoDS.Wire_s(explorer.Current())
        explorer.Next()


def _ring(wire: TopoDS_Wire, face: TopoDS_Face) -> list[tuple[float, float]]:
    """Points along a wire, in its order."""
    points = []
    explorer = BRepTools_WireExplorer(wire, face)
    while explorer.More():
        edge = explorer.Current()
        curve = BRepAdaptor_Curve(edge)
        chords = 1 if curve.GetType() == GeomAbs_Line else CHORDS
        start, stop = curve.FirstParameter(), curve.LastParameter()
        if edge.Orientation() == TopAbs_REVERSED:
            start, stop = stop, start
        found = (curve.Value(float(t)) for t in np.linspace(start, stop, chords, endpoint=False))
        points += [(point.X(), point.Y()) for point in found]
        explorer.Next()
    return points


def _owners(insets: Sequence[Inset], seats: Sequence[shapely.Geometry]) -> NDArray[np.int64]:
    """For each inset the seat that holds it clear of every other, or -1."""
    plans = np.array([Polygon(inset.region.outer) for inset in insets], dtype=object)
    owner = np.full(len(plans), -1)
    for index, seat in enumerate(seats):
        shapely.prepare(seat)
        owner[shapely.contains_properly(seat, plans)] = index
    one, other = shapely.STRtree(plans).query(plans, predicate="dwithin", distance=CLEAR)
    owner[one[one != other]] = -1
    return owner


def _with_insets(seat: TopoDS_Face, top: float, insets: Sequence[Inset]) -> Iterator[TopoDS_Face]:
    """The faces that take the place of a level one: itself with holes, walls, floors, islands."""
    level = _level(top)
    holes = []
    for inset in insets:
        outline = _wire(inset.region.outer, top, 1.0)
        islands = [_wire(ring, top, -1.0) for ring in inset.region.inner]
        holes.append(TopoDS.Wire_s(outline.Reversed()))
        mouth = BRepBuilderAPI_MakeFace(level, outline)
        for island in islands:
            mouth.Add(island)
            yield BRepBuilderAPI_MakeFace(level, TopoDS.Wire_s(island.Reversed())).Face()
        drop = BRepPrimAPI_MakePrism(mouth.Face(), gp_Vec(0, 0, -inset.depth))
        for side in _faces(drop.Shape()):
            if not side.IsSame(mouth.Face()):
                yield TopoDS.Face_s(side.Reversed())
    yield _holed(seat, top, holes)


def _holed(face: TopoDS_Face, z: float, holes: Iterable[TopoDS_Wire]) -> TopoDS_Face:
    """A level face that looks up, with more holes: wires that run clockwise."""
    outer = BRepTools.OuterWire_s(face)
    made = BRepBuilderAPI_MakeFace(_level(z), outer)
    inner = (wire for wire in _wires(face) if not wire.IsSame(outer))
    for wire in (*inner, *holes):
        made.Add(wire)
    return made.Face()


def _level(z: float) -> gp_Pln:
    return gp_Pln(gp_Pnt(0, 0, z), gp_Dir(0, 0, 1))


def _wire(ring: NDArray[np.float64], z: float, turn: float) -> TopoDS_Wire:
    """A ring (n, 2) at height `z`, anticlockwise for a `turn` above zero, else clockwise."""
    x, y = ring[:, 0], ring[:, 1]
    area = float(x @ np.roll(y, -1) - y @ np.roll(x, -1))
    polygon = BRepBuilderAPI_MakePolygon()
    for u, v in (ring if area * turn > 0 else ring[::-1]).tolist():
        polygon.Add(gp_Pnt(u, v, z))
    polygon.Close()
    return polygon.Wire()

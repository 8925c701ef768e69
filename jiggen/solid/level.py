"""What is sunk in a level face, or stands on it, made without a cut or a fuse.

A cut compares every face with every other.  A letter that lies inside one level face changes
nothing but that face: its walls and floor are one sweep of its outline, and the face gets the
outline as a hole.  So it is with what stands on a face.  The solid is the one that the kernel's
own cut or fuse would make, in a fraction of the time.
"""

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
from OCP.TopAbs import TopAbs_FACE, TopAbs_REVERSED, TopAbs_ShapeEnum, TopAbs_WIRE
from OCP.TopExp import TopExp_Explorer
from OCP.TopoDS import TopoDS, TopoDS_Face, TopoDS_Shape, TopoDS_Shell, TopoDS_Solid, TopoDS_Wire
from shapely.geometry import Polygon

from jiggen.design.engraving import Engraving
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


def insets_of(engravings: Iterable[Engraving]) -> list[Inset]:
    """All that is to be taken out for `engravings`."""
    return [Inset(region, item.depth) for item in engravings for region in item.regions]


def engrave_top(solid: cq.Solid, top: float, insets: Sequence[Inset]) -> cq.Shape:
    """`solid`, with nothing hollow close under its top at `top` mm, less all `insets`."""
    made, others = inset_all(solid, top, insets)
    return cut_away(made, prisms(others, top)) if others else made


def prisms(insets: Iterable[Inset], top: float) -> Iterator[cq.Solid]:
    """Tools that cut `insets`, past a top at height `top` mm."""
    for inset in insets:
        yield prism(inset.region, top - inset.depth, top + OVER)


def inset_all(solid: cq.Solid, top: float, insets: Sequence[Inset]) -> tuple[cq.Solid, list[Inset]]:
    """`solid` less every inset within one face at `top` mm; and the others, to be cut."""
    seats, faces = _parted(solid, top, up=True)
    rings = np.array([Polygon(inset.region.outer) for inset in insets], dtype=object)
    owner = np.full(len(rings), -1)
    for index, seat in enumerate(seats):
        plan = _plan(seat)
        shapely.prepare(plan)
        owner[shapely.contains_properly(plan, rings)] = index
    one, other = shapely.STRtree(rings).query(rings, predicate="dwithin", distance=CLEAR)
    owner[one[one != other]] = -1
    for index, seat in enumerate(seats):
        faces += _with_insets(seat, top, list(compress(insets, owner == index)))
    return _solid(faces), list(compress(insets, owner < 0))


def stack_on(lower: cq.Solid, upper: cq.Solid, z: float) -> cq.Solid:
    """`upper`, its one foot at `z` mm, on a face of `lower`; RuntimeError where there is none."""
    seats, faces = _parted(lower, z, up=True)
    (foot,), others = _parted(upper, z, up=False)
    edge = BRepTools.OuterWire_s(foot)
    plan = Polygon(_ring(edge, foot))
    under = [seat for seat in seats if _plan(seat).contains(plan)]
    if len(under) != 1:
        raise RuntimeError(f"nothing to stand on at {z:g} mm")
    seats.remove(under[0])
    return _solid([*faces, *seats, _holed(under[0], z, [edge]), *others])


def sweep(region: Region, z: float, steps: Iterable[tuple[float, float, float]]) -> cq.Solid:
    """`region` without holes, level at height `z`, carried along each of `steps` downwards."""
    start = BRepBuilderAPI_MakeFace(_level(z), _wire(region.outer, z, 1.0)).Face()
    ends, sides = [start], list[TopoDS_Face]()
    for step in steps:
        drop = BRepPrimAPI_MakePrism(ends[-1], gp_Vec(*step))
        ends.append(TopoDS.Face_s(drop.LastShape()))
        level = (ends[-2], ends[-1])
        sides += [f for f in _faces(drop.Shape()) if not any(map(f.IsSame, level))]
    return _solid([start, *sides, ends[-1]])


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


def _explored(shape: object, kind: TopAbs_ShapeEnum) -> Iterator[TopoDS_Shape]:
    """Every face, or wire, of a shape of the kernel."""
    explorer = TopExp_Explorer(shape, kind)
    while explorer.More():
        yield explorer.Current()
        explorer.Next()


def _faces(shape: object) -> Iterator[TopoDS_Face]:
    return map(TopoDS.Face_s, _explored(shape, TopAbs_FACE))


def _inner_wires(face: TopoDS_Face) -> list[TopoDS_Wire]:
    outer = BRepTools.OuterWire_s(face)
    wires = map(TopoDS.Wire_s, _explored(face, TopAbs_WIRE))
    return [wire for wire in wires if not wire.IsSame(outer)]


def _parted(solid: cq.Solid, z: float, *, up: bool) -> tuple[list[TopoDS_Face], list[TopoDS_Face]]:
    """The level faces at height `z` that look up, or down, and all other faces."""
    level: list[TopoDS_Face] = []
    others: list[TopoDS_Face] = []
    for face in _faces(solid.wrapped):
        surface = BRepAdaptor_Surface(face, False)
        is_level = surface.GetType() == GeomAbs_Plane
        if is_level:
            plane = surface.Plane()
            turned = (plane.Direct() == (face.Orientation() == TopAbs_REVERSED)) == up
            looks = plane.Axis().Direction().Z() * (-1 if turned else 1)
            is_level = looks > 1 - LEVEL and abs(plane.Location().Z() - z) < LEVEL
        (level if is_level else others).append(face)
    return level, others


def _plan(face: TopoDS_Face) -> shapely.Geometry:
    """A level face seen from above, CLEAR of its edges."""
    inner = [_ring(wire, face) for wire in _inner_wires(face)]
    return Polygon(_ring(BRepTools.OuterWire_s(face), face), inner).buffer(-CLEAR)


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
    made = BRepBuilderAPI_MakeFace(_level(z), BRepTools.OuterWire_s(face))
    for wire in (*_inner_wires(face), *holes):
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

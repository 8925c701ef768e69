"""Parts as a STEP file: one product for each part, placed as often as there are pieces of it.

The kernel's parts of its writer are put together here.  Its whole writer takes twice as long: it
compares every ring of edges of a face with every other, in search of corners that rings share,
and a body has hundreds of rings in its top.
"""

import re
from collections.abc import Iterable, Sequence
from io import BytesIO
from itertools import count
from typing import Any

from OCP.APIHeaderSection import APIHeaderSection_MakeHeader
from OCP.BRep import BRep_Builder
from OCP.GeomToStep import GeomToStep_MakeAxis2Placement3d
from OCP.Interface import Interface_MSG, Interface_Static
from OCP.ShapeAnalysis import ShapeAnalysis_ShapeTolerance
from OCP.ShapeCustom import ShapeCustom
from OCP.STEPConstruct import (
    STEPConstruct_Assembly,
    STEPConstruct_ContextTool,
    STEPConstruct_Part,
    STEPConstruct_UnitContext,
)
from OCP.STEPControl import STEPControl_StepModelType, STEPControl_Writer
from OCP.StepData import StepData_Factors, StepData_StepModel, StepData_StepWriter
from OCP.StepGeom import StepGeom_Line, StepGeom_Plane
from OCP.StepRepr import StepRepr_HArray1OfRepresentationItem, StepRepr_RepresentationItem
from OCP.StepShape import (
    StepShape_AdvancedBrepShapeRepresentation,
    StepShape_ManifoldSolidBrep,
    StepShape_ShapeRepresentation,
)
from OCP.TCollection import TCollection_HAsciiString
from OCP.TopoDS import TopoDS, TopoDS_Compound, TopoDS_Shape
from OCP.TopoDSToStep import TopoDSToStep_MakeManifoldSolidBrep
from OCP.Transfer import Transfer_FinderProcess
from OCP.XSControl import XSControl_WorkSession

from jiggen.solid.model import Part
from jiggen.solid.shapes import location_of

CLOCK = "1970-01-01T00:00:00"  # in the file's header: the same bytes from run to run
MANY = 2000  # faces of a part: of a jig with more, for many boots, what is the same is shared
USAGE = re.compile(rb"NEXT_ASSEMBLY_USAGE_OCCURRENCE\([^;]*;")


def step_bytes(parts: Sequence[Part]) -> bytes:
    """The jig in use position, ski frame, mm, every piece named; the same from run to run."""
    session = XSControl_WorkSession()
    writer = STEPControl_Writer(session, False)
    Interface_Static.SetIVal_s("write.surfacecurve.mode", 0)  # planes and cylinders need none
    for unit in ("write.step.unit", "xstep.cascade.unit"):  # one of the process: CadQuery sets it
        Interface_Static.SetCVal_s(unit, "MM")
    # Of nothing: the empty file takes over what was set.
    writer.Transfer(TopoDS_Shape(), STEPControl_StepModelType.STEPControl_AsIs, False)
    file = writer.Model(False)
    header = APIHeaderSection_MakeHeader(file)
    header.SetTimeStamp(TCollection_HAsciiString(CLOCK))
    header.Apply(file)
    _add_products(parts, file)
    out, lines = BytesIO(), StepData_StepWriter(file)
    lines.SendModel(session.Protocol())
    if not lines.Print(out):
        raise RuntimeError("the kernel could not write a STEP file")
    # Where the writer breaks a line depends on numbers before it.
    return USAGE.sub(lambda usage: re.sub(rb"\n\s*", b"", usage[0]), out.getvalue())


def _add_products(parts: Sequence[Part], file: StepData_StepModel) -> None:
    """Add the product of the whole, of every part, and the parts' places in it."""
    context, factors = STEPConstruct_ContextTool(file), StepData_Factors()
    context.AddAPD(True)
    factors.InitializeFactors(1.0, 1.0, 1.0)  # mm and radians are what is written
    process = Transfer_FinderProcess()
    process.SetModel(file)
    origin, application = context.GetDefaultAxis(), context.GetAPD().Application()
    jig, whole = StepShape_ShapeRepresentation(), STEPConstruct_Part()
    whole.MakeSDR(None, TCollection_HAsciiString("jig"), application, file)
    whole.SDRValue().SetUsedRepresentation(jig)
    axes, roots, numbers = [origin], [], count(1)
    together, builder = TopoDS_Compound(), BRep_Builder()
    builder.MakeCompound(together)
    many, known = any(len(part.shape.Faces()) > MANY for part in parts), dict[Any, Any]()
    for part in parts:
        shape, product = part.shape.wrapped, STEPConstruct_Part()
        product.MakeSDR(None, TCollection_HAsciiString(part.name), application, file)
        solid = TopoDS.Solid_s(ShapeCustom.DirectFaces_s(shape))  # STEP has no others
        brep = TopoDSToStep_MakeManifoldSolidBrep(solid, process, factors)
        if len(part.shape.Shells()) != 1 or not brep.IsDone():
            raise RuntimeError(f"{part.name} is not a solid that STEP can hold")
        if many:
            _share(brep.Value(), known)
        own = StepShape_AdvancedBrepShapeRepresentation()
        _fill(own, [origin, brep.Value()], shape, file, factors)
        product.SDRValue().SetUsedRepresentation(own)
        roots.append(product.SDRValue())
        for number, placed in enumerate(part.piece.placed):
            at = location_of(placed.pose).wrapped
            builder.Add(together, shape.Moved(at))
            axes.append(GeomToStep_MakeAxis2Placement3d(at.Transformation(), factors).Value())
            link = STEPConstruct_Assembly()
            link.Init(product.SDRValue(), whole.SDRValue(), origin, axes[-1])
            link.MakeRelationship()
            link.GetNAUO().SetId(TCollection_HAsciiString(str(next(numbers))))
            link.GetNAUO().SetName(TCollection_HAsciiString(placed.name))
            roots += [link.ItemValue(), *([] if number else [product.PRPC()])]
    _fill(jig, axes, together, file, factors)
    for root in (context.GetAPD(), whole.SDRValue(), whole.PRPC(), *roots):
        file.AddWithRefs(root)


def _share(brep: StepShape_ManifoldSolidBrep, known: dict[Any, Any]) -> None:
    """Let points, directions, lines and planes that are the same be one each; `known` has them.

    Faces and edges are as they were.  The kernel writes all of these anew for every edge.
    """

    def same(found: Any, numbers: Any) -> Any:
        return known.setdefault((type(found), *(numbers.Value(n) for n in (1, 2, 3))), found)

    def point(found: Any) -> Any:
        return same(found, found.Coordinates())

    def direction(found: Any) -> Any:
        return same(found, found.DirectionRatios())

    def place_surface(face: Any) -> None:
        surface = face.FaceGeometry()
        place = surface.Position()
        key = point(place.Location()), direction(place.Axis()), direction(place.RefDirection())
        if key not in known:
            place.Init(place.Name(), key[0], True, key[1], True, key[2])
        surface.SetPosition(known.setdefault(key, place))
        if isinstance(surface, StepGeom_Plane):
            face.SetFaceGeometry(known.setdefault(surface.Position(), surface))

    def place_edge(edge: Any) -> None:
        for end in (edge.EdgeStart(), edge.EdgeEnd()):
            end.SetVertexGeometry(point(end.VertexGeometry()))
        line = edge.EdgeGeometry()
        if isinstance(line, StepGeom_Line):
            start, along = point(line.Pnt()), line.Dir()
            along.SetOrientation(direction(along.Orientation()))
            along = known.setdefault((along.Orientation(), along.Magnitude()), along)
            line.SetPnt(start)
            line.SetDir(along)
            edge.SetEdgeGeometry(known.setdefault((start, along), line))

    done, shell = set[Any](), brep.Outer()
    for face in map(shell.CfsFacesValue, range(1, shell.NbCfsFaces() + 1)):
        place_surface(face)
        for loop in (
            bound.Bound() for bound in map(face.BoundsValue, range(1, face.NbBounds() + 1))
        ):
            for number in range(1, loop.NbEdgeList() + 1):
                edge = loop.EdgeListValue(number).EdgeElement()
                if edge not in done:
                    done.add(edge)
                    place_edge(edge)


def _fill(
    representation: StepShape_ShapeRepresentation,
    items: Iterable[StepRepr_RepresentationItem],
    shape: TopoDS_Shape,
    file: StepData_StepModel,
    factors: StepData_Factors,
) -> None:
    """Give a representation its items, units, and the tolerance of `shape`, 1, 2 or 5 times 10^n.

    1.5 times the mean of what its corners, edges and faces have, as the kernel's writer has it.
    """
    listed = tuple(items)
    array = StepRepr_HArray1OfRepresentationItem(1, len(listed))
    for number, item in enumerate(listed, start=1):
        array.SetValue(number, item)
    mean, units = ShapeAnalysis_ShapeTolerance().Tolerance(shape, 0), STEPConstruct_UnitContext()
    units.Init(Interface_MSG.Intervalled_s(1.5 * mean, 3, False), file, factors)
    representation.SetItems(array)
    representation.SetContextOfItems(units.Value())
    representation.SetName(TCollection_HAsciiString(""))

"""A jig as solids, and the two ways out of the kernel: a mesh and a STEP file."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import cadquery as cq
import numpy as np
from numpy.typing import NDArray

from jiggen.design.jig import Design
from jiggen.design.pieces import Piece, pieces
from jiggen.solid.body import make_body
from jiggen.solid.moving import make_knob, make_pinion, make_rail
from jiggen.solid.shapes import located, one_solid

SAGITTA = 0.004  # mm between a curve and its chords, absolute
ANGLE = 0.35  # rad between neighbouring facets, at most


@dataclass(frozen=True, eq=False)
class Part:
    """One printed part: its piece (name and poses), its solid and that solid's volume in mm³."""

    piece: Piece
    shape: cq.Shape
    volume: float

    @property
    def name(self) -> str:
        """The part's name."""
        return self.piece.name


@dataclass(frozen=True, eq=False)
class Model:
    """All printed parts of one jig."""

    parts: tuple[Part, ...]


def build(design: Design, progress: Callable[[str], None] = lambda _: None) -> Model:
    """Every part of `design` as a valid solid; `progress` is told each part's name first."""
    bodies = {body.name: body for body in design.bodies}
    moving = {
        "rail": lambda: make_rail(design.mechanism.rail),
        "pinion": lambda: make_pinion(design.mechanism.pinion),
        "knob": lambda: make_knob(design.mechanism.knob),
    }
    parts: list[Part] = []
    for piece in pieces(design):
        progress(piece.name)
        body = bodies.get(piece.name)
        shape = make_body(body, design) if body else moving[piece.name]()
        solid = one_solid(shape, piece.name)
        parts.append(Part(piece, solid, float(solid.Volume())))
    return Model(tuple(parts))


def mesh_of(part: Part) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Vertices (n, 3) in mm, in print position, and triangles (m, 3) of one part.

    Chords lie within SAGITTA of the curve, absolute: CadQuery's own default is relative.
    """
    from OCP.BRep import BRep_Tool
    from OCP.BRepMesh import BRepMesh_IncrementalMesh
    from OCP.TopAbs import TopAbs_REVERSED
    from OCP.TopLoc import TopLoc_Location

    shape = part.shape.copy().moved(located(part.piece.to_bed))
    BRepMesh_IncrementalMesh(shape.wrapped, SAGITTA, False, ANGLE, False)
    points: list[NDArray[np.float64]] = []
    faces: list[NDArray[np.int64]] = []
    count = 0
    for face in shape.Faces():
        place = TopLoc_Location()
        mesh = BRep_Tool.Triangulation_s(face.wrapped, place)
        trsf = place.Transformation()
        nodes = [mesh.Node(i + 1).Transformed(trsf) for i in range(mesh.NbNodes())]
        points.append(np.array([(p.X(), p.Y(), p.Z()) for p in nodes]))
        corners = np.array([mesh.Triangle(i + 1).Get() for i in range(mesh.NbTriangles())])
        if face.wrapped.Orientation() == TopAbs_REVERSED:
            corners = corners[:, ::-1]
        faces.append(corners - 1 + count)
        count += len(nodes)
    return _welded(np.vstack(points), np.vstack(faces))


def _welded(
    points: NDArray[np.float64], faces: NDArray[np.int64]
) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Points of neighbouring faces made one, at the single precision an STL holds."""
    single = np.round(points, 6).astype(np.float32).astype(np.float64) + 0.0  # no negative zero
    unique, index = np.unique(single, axis=0, return_inverse=True)
    corners = index.reshape(-1)[faces]
    proper = (
        (corners[:, 0] != corners[:, 1])
        & (corners[:, 1] != corners[:, 2])
        & (corners[:, 2] != corners[:, 0])
    )
    return unique, corners[proper]


def write_step(model: Model, path: Path) -> None:
    """The jig in use position, ski frame, mm, every part and piece named."""
    assembly = cq.Assembly(name="jig")
    for part in model.parts:
        for placed in part.piece.placed:
            assembly.add(part.shape, name=placed.name, loc=located(placed.pose))
    assembly.export(str(path), write_pcurves=False)  # planes and cylinders need none

"""The shapes of a STEP file's products, as far as a verification needs them.

Corners (every vertex of the solid) and the round faces: cylinders and cones, hollow where the
material lies outside them, bosses where it lies inside.  Everything in mm, in the product's own
frame.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import numpy as np

from jiggen.verify.geometry import Array, frame
from jiggen.verify.step_text import Entity, StepError, StepFile

SOLID = "MANIFOLD_SOLID_BREP"
NOT_UNDERSTOOD = {
    "MAPPED_ITEM": "placed by MAPPED_ITEM, which is not understood",
    "BREP_WITH_VOIDS": "a solid with closed hollows inside, which no printed part has",
}
WRAPPED_CURVES = {"SURFACE_CURVE", "SEAM_CURVE", "INTERSECTION_CURVE"}
ROUND_SURFACES = {"CYLINDRICAL_SURFACE", "CONICAL_SURFACE"}
ROUND_CURVES = {"CIRCLE", "ELLIPSE"}  # an ellipse is where a leaning hole meets a level face
SI_PREFIX = {
    None: 1.0,
    "KILO": 1e3,
    "DECI": 1e-1,
    "CENTI": 1e-2,
    "MILLI": 1e-3,
    "MICRO": 1e-6,
    "NANO": 1e-9,
}


@dataclass(frozen=True, eq=False)
class Arc:
    """A circle's arc: `place` carries (r cos t, r sin t, 0) to space, start ≤ t ≤ start+sweep.

    Of an ellipse, likewise by direction; `radius` is then its larger half axis.
    """

    place: Array
    radius: float
    start: float
    sweep: float


@dataclass(frozen=True, eq=False)
class RoundFace:
    """A cylinder (or cone): its axis frame, arcs and edge ends (n, 3).

    `hollow` when the material is outside it. `radius` is a cylinder's; None for a cone, whose
    radius its arcs tell.
    """

    hollow: bool

    place: Array
    radius: float | None
    arcs: tuple[Arc, ...]
    ends: Array


@dataclass(frozen=True, eq=False)
class Shape:
    """The solids of one product: how many, corners (n, 3), round faces, and flat ones.

    Of each flat face the ends of its straight edges, (k, 2, 3), where these were asked for.
    """

    solids: int
    corners: Array
    round_faces: tuple[RoundFace, ...]
    flats: tuple[Array, ...] = ()

    @property
    def hollows(self) -> tuple[RoundFace, ...]:
        """The round faces of holes."""
        return tuple(face for face in self.round_faces if face.hollow)

    @property
    def bosses(self) -> tuple[RoundFace, ...]:
        """The round faces of pegs and outsides."""
        return tuple(face for face in self.round_faces if not face.hollow)


@dataclass
class ShapeReader:
    """Reads shapes of one file; `scale` turns its numbers into mm, `flats` asks for flat faces."""

    file: StepFile
    scale: float
    flats: bool = False
    _ends: dict[int, tuple[int, int]] = field(default_factory=dict)
    _vertices: dict[int, Array] = field(default_factory=dict)
    _points: dict[int, Array] = field(default_factory=dict)
    _arcs: dict[int, Arc | None] = field(default_factory=dict)

    def shape(self, representation: Entity) -> Shape:
        """The solids among a representation's items.

        Raises StepError on items that are not understood here.
        """
        items = [self.file[ref] for ref in representation.refs(1)]
        for item in items:
            if item.keyword in NOT_UNDERSTOOD:
                raise StepError(f"#{item.id}: {NOT_UNDERSTOOD[item.keyword]}")
        solids = [item for item in items if item.keyword == SOLID]
        vertices: set[int] = set()
        found, flats = [], []
        for solid in solids:
            for face in map(self.file.__getitem__, self.file[solid.ref(1)].refs(1)):
                edges = list(self._edges(face))
                vertices.update(*map(self._both_ends, edges))
                surface = self.file[face.ref(2)]
                kind = surface.keyword
                if kind in ROUND_SURFACES:
                    found.append(self._round_face(face, surface, edges))
                elif kind == "PLANE" and self.flats:
                    flats.append(self._straight(edges))
        points = np.array([self._vertex(vertex) for vertex in sorted(vertices)])
        return Shape(len(solids), points.reshape(-1, 3), tuple(found), tuple(flats))

    def placement(self, number: int) -> Array:
        """The 4×4 of an AXIS2_PLACEMENT_3D."""
        entity = self.file[number]
        if entity.keyword != "AXIS2_PLACEMENT_3D":
            raise StepError(f"#{number}: {entity.keyword} instead of AXIS2_PLACEMENT_3D")
        z, x = (
            None if ref is None else np.array(self.file[ref].numbers(1))
            for ref in (entity.optional_ref(2), entity.optional_ref(3))
        )
        try:
            return frame(self._point(entity.ref(1)), z, x)
        except ValueError as error:
            raise StepError(f"#{number}: {error}") from None

    def _edges(self, face: Entity) -> Iterator[int]:
        for bound in face.refs(1):
            loop = self.file[self.file[bound].ref(1)]
            if loop.keyword == "EDGE_LOOP":  # or a cone's tip, a sphere's pole: one vertex, no edge
                for oriented in loop.refs(1):
                    yield self.file[oriented].ref(3)

    def _both_ends(self, edge: int) -> tuple[int, int]:
        ends = self._ends.get(edge)  # an edge has two faces
        if ends is None:
            entity = self.file[edge]
            ends = self._ends[edge] = entity.ref(1), entity.ref(2)
        return ends

    def _round_face(self, face: Entity, surface: Entity, edges: list[int]) -> RoundFace:
        arcs = (self._arc(edge) for edge in edges)
        ends = [self._vertex(end) for edge in edges for end in self._both_ends(edge)]
        cylinder = surface.keyword == "CYLINDRICAL_SURFACE"
        return RoundFace(
            # Both surfaces' own normals point away from the axis: turned, the face is a hole's.
            hollow=not face.true(3),
            place=self.placement(surface.ref(1)),
            radius=surface.number(2) * self.scale if cylinder else None,
            arcs=tuple(arc for arc in arcs if arc),
            ends=np.array(ends).reshape(-1, 3),
        )

    def _straight(self, edges: list[int]) -> Array:
        straight = (edge for edge in edges if self._curve(edge).keyword == "LINE")
        ends = [[self._vertex(end) for end in self._both_ends(edge)] for edge in straight]
        return np.array(ends).reshape(-1, 2, 3)

    def _arc(self, edge: int) -> Arc | None:
        if edge not in self._arcs:
            self._arcs[edge] = self._read_arc(edge)
        return self._arcs[edge]

    def _read_arc(self, edge: int) -> Arc | None:
        curve = self._curve(edge)
        if curve.keyword in WRAPPED_CURVES:
            curve = self.file[curve.ref(1)]
        if curve.keyword not in ROUND_CURVES:
            return None
        place = self.placement(curve.ref(1))
        first, last = self._both_ends(edge)
        if not self.file[edge].true(4):
            first, last = last, first
        start = self._angle(place, first)
        full = first == last
        sweep = 2 * np.pi if full else (self._angle(place, last) - start) % (2 * np.pi)
        return Arc(place, curve.number(2) * self.scale, start, float(sweep))

    def _curve(self, edge: int) -> Entity:
        return self.file[self.file[edge].ref(3)]

    def _angle(self, place: Array, vertex: int) -> float:
        x, y, _ = place[:3, :3].T @ (self._vertex(vertex) - place[:3, 3])
        return float(np.arctan2(y, x))

    def _vertex(self, number: int) -> Array:
        vertex = self._vertices.get(number)
        if vertex is None:
            vertex = self._vertices[number] = self._point(self.file[number].ref(1))
        return vertex

    def _point(self, number: int) -> Array:
        point = self._points.get(number)
        if point is None:
            numbers = self.file[number].numbers(1)
            if len(numbers) != 3:
                raise StepError(f"#{number}: a point of {len(numbers)} numbers")
            point = self._points[number] = np.array(numbers) * self.scale
        return point


def millimetres(file: StepFile, context: Entity) -> float:
    """How many mm one unit of length is in a representation's `context`.

    Raises StepError when it has none, or one that is neither SI nor based on one.
    """
    keyword = "GLOBAL_UNIT_ASSIGNED_CONTEXT"
    if keyword in context.record:
        for ref in context.refs(0, keyword):
            if "LENGTH_UNIT" in file[ref].record:
                return _in_millimetres(file, file[ref])
    raise StepError(f"#{context.id}: no unit of length")


def _in_millimetres(file: StepFile, unit: Entity, depth: int = 0) -> float:
    if "SI_UNIT" in unit.record:
        prefix, name = unit.word(0, "SI_UNIT"), unit.word(1, "SI_UNIT")
        if name == "METRE" and prefix in SI_PREFIX:
            return 1000.0 * SI_PREFIX[prefix]
    elif "CONVERSION_BASED_UNIT" in unit.record and depth < 3:
        measure = file[unit.ref(1, "CONVERSION_BASED_UNIT")]
        return measure.number(0) * _in_millimetres(file, file[measure.ref(1)], depth + 1)
    raise StepError(f"#{unit.id}: a unit of length that is not understood")

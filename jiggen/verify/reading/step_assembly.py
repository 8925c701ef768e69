"""The pieces of a STEP assembly: what is placed, under which names, where, and its shape.

Follows ISO 10303-44 usages (NEXT_ASSEMBLY_USAGE_OCCURRENCE) from the roots down and
multiplies the placements on the way (ITEM_DEFINED_TRANSFORMATION of ISO 10303-43).  Of a shape it
takes what a verification needs: corners (every vertex of the solid) and the round faces, in mm, in
the product's own frame.
"""

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from jiggen.verify.geometry import Array, frame
from jiggen.verify.reading.step_text import Entity, StepError, StepFile, read_step_text

DEEPEST = 32  # assemblies within assemblies
MOST_PIECES = 10_000
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
    """How many solids, corners (n, 3), round faces, and straight edges (k, 2, 3) of flat ones."""

    solids: int
    corners: Array
    round_faces: tuple[RoundFace, ...]
    flats: tuple[Array, ...] = ()


@dataclass(frozen=True, eq=False)
class StepPiece:
    """One placed solid: instance names and products from the root down; `pose` to the root, mm."""

    names: tuple[str, ...]
    products: tuple[str, ...]
    pose: Array
    shape: Shape


@dataclass(frozen=True, eq=False)
class StepAssembly:
    """All placed solids of a file, and the unit of length it is written in (mm in one unit)."""

    pieces: tuple[StepPiece, ...]
    unit: float


def read_assembly(path: Path, *, flats: bool = False) -> StepAssembly:
    """Read a STEP file; its flat faces only when `flats` asks for them, since most are of no use.

    Raises StepError when it is not well formed, its units differ, or nothing solid is placed;
    OSError when it cannot be read.
    """
    file = read_step_text(path.read_bytes())
    tree = _Tree(file, flats)
    products = (product.id for product in file.all_of("PRODUCT_DEFINITION"))
    pieces = tuple(
        piece for root in products if root not in tree.used for piece in tree.below(root)
    )
    if not pieces:
        raise StepError("no solid is placed in it")
    return StepAssembly(pieces, tree.unit)


class _Tree:
    """The products of a file, the usages between them, and what each one's shape is."""

    def __init__(self, file: StepFile, flats: bool) -> None:
        self._file = file
        self._usages: dict[int, list[Entity]] = defaultdict(list)
        self.used: set[int] = set()
        for usage in file.all_of("NEXT_ASSEMBLY_USAGE_OCCURRENCE"):
            self._usages[usage.ref(3)].append(usage)
            self.used.add(usage.ref(4))
        definitions = {entity.id: entity for entity in file.all_of("PRODUCT_DEFINITION_SHAPE")}
        self._representations: dict[int, list[int]] = defaultdict(list)
        for link in file.all_of("SHAPE_DEFINITION_REPRESENTATION"):
            product = definitions.get(link.ref(0))
            if product:
                self._representations[product.ref(2)].append(link.ref(1))
        self._placements: dict[int, Entity] = {}
        for link in file.all_of("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION"):
            self._placements[file[link.ref(1)].ref(2)] = file[link.ref(0)]
        self._same: dict[int, list[int]] = defaultdict(list)
        for link in file.all_of("SHAPE_REPRESENTATION_RELATIONSHIP"):
            first, second = link.ref(2), link.ref(3)
            self._same[first].append(second)
            self._same[second].append(first)
        every = {number for own in self._representations.values() for number in own}
        entities = (file[number] for number in every)
        contexts = {one.ref(2) for one in entities if one.keyword.endswith("SHAPE_REPRESENTATION")}
        units = {_millimetres(file, file[context]) for context in contexts}
        if len(units) != 1:
            raise StepError("shapes in different units of length" if units else "no shape in it")
        (self.unit,) = units
        self._reader = ShapeReader(file, self.unit, flats)
        self._shapes: dict[int, Shape] = {}

    def below(self, root: int) -> Iterator[StepPiece]:
        """Every solid placed under a root product, depth first."""
        count = 0
        name = self._name(root)
        stack: list[tuple[int, tuple[str, ...], tuple[str, ...], Array]]
        stack = [(root, (name,), (name,), np.eye(4))]
        while stack:
            product, names, products, pose = stack.pop()
            count += 1
            if len(names) > DEEPEST or count > MOST_PIECES:
                raise StepError("assemblies hold one another without end")
            if product not in self._shapes:
                numbers = self._all_representations(product)
                refs = (ref for number in numbers for ref in self._file[number].refs(1))
                self._shapes[product] = self._reader.shape([self._file[ref] for ref in refs])
            shape = self._shapes[product]
            if shape.solids:
                yield StepPiece(names, products, pose, shape)
            for usage in reversed(self._usages[product]):
                child = usage.ref(4)
                called, placed = self._name(child), pose @ self._placed(usage)
                deeper = (*names, usage.text(1) or called), (*products, called)
                stack.append((child, *deeper, placed))

    def _name(self, product: int) -> str:
        formation = self._file[self._file[product].ref(2)]
        return self._file[formation.ref(2)].text(0)

    def _all_representations(self, product: int) -> dict[int, None]:
        """The product's own, and those that are one shape with them without a placement."""
        own = self._representations[product]
        return dict.fromkeys((*own, *(other for one in own for other in self._same[one])))

    def _placed(self, usage: Entity) -> Array:
        """The pose of a usage's child in its parent's frame."""
        relation = self._placements.get(usage.id)
        if relation is None:
            raise StepError(f"#{usage.id}: a piece without a place")
        transform = self._file[relation.ref(0, "REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION")]
        first, second = (self._reader.placement(transform.ref(i)) for i in (2, 3))
        ends = [relation.ref(i, "REPRESENTATION_RELATIONSHIP") for i in (2, 3)]
        child = self._all_representations(usage.ref(4))
        # The two frames are one place; writers differ in which representation they name first.
        if ends[0] in child:
            return np.asarray(second @ np.linalg.inv(first))
        if ends[1] in child:
            return np.asarray(first @ np.linalg.inv(second))
        raise StepError(f"#{relation.id}: places another shape than its usage names")


@dataclass
class ShapeReader:
    """Reads shapes of one file; `scale` turns its numbers into mm, `flats` asks for flat faces."""

    file: StepFile
    scale: float
    flats: bool = False
    _ends: dict[int, tuple[int, int]] = field(default_factory=dict)
    _vertices: dict[int, Array] = field(default_factory=dict)

    def shape(self, items: list[Entity]) -> Shape:
        """The solids among `items`.  Raises StepError on those that are not understood here."""
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
                    straight = (edge for edge in edges if self._curve(edge).keyword == "LINE")
                    ends = [[self._vertex(v) for v in self._both_ends(edge)] for edge in straight]
                    flats.append(np.array(ends).reshape(-1, 2, 3))
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

    def _arc(self, edge: int) -> Arc | None:
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
        numbers = self.file[number].numbers(1)
        if len(numbers) != 3:
            raise StepError(f"#{number}: a point of {len(numbers)} numbers")
        return np.array(numbers) * self.scale


def _millimetres(file: StepFile, context: Entity) -> float:
    """How many mm the unit of length of a representation's `context` is."""
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

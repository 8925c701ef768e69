"""A solid's boundary from a STEP file: faces, their loops, edges as points, corners; mm.

Only what stands there: whether it makes sense is for the checks to judge.  Boundary
representations as in ISO 10303-42: an ADVANCED_FACE is a piece of a surface within loops of
edges, which run with the material of the face on their left, seen from outside.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array, frames
from jiggen.verify.reading.step_columns import Columns, Kind, Rows, columns, ranges
from jiggen.verify.reading.step_curves import (
    KNOTTED,
    Arc,
    arc_points,
    hyperbola_points,
    parabola_points,
    spline_points,
)
from jiggen.verify.reading.step_text import Entity, StepError, StepFile

SOLID = "MANIFOLD_SOLID_BREP"
NOT_UNDERSTOOD = {
    "MAPPED_ITEM": "placed by MAPPED_ITEM, which is not understood",
    "BREP_WITH_VOIDS": "a solid with closed hollows inside, which no printed part has",
}
WRAPPED_CURVES = {"SURFACE_CURVE", "SEAM_CURVE", "INTERSECTION_CURVE"}
PLANE, CYLINDER, CONE, STRANGE = range(4)
SURFACES = {"PLANE": PLANE, "CYLINDRICAL_SURFACE": CYLINDER, "CONICAL_SURFACE": CONE}
CONICS = {"CIRCLE": 1, "ELLIPSE": 2, "PARABOLA": 1, "HYPERBOLA": 2}  # lengths of each
BOUNDS = ("FACE_BOUND", "FACE_OUTER_BOUND")
MOST_POINTS = 2_000_000  # of all curves of a file
FORMS: dict[str, tuple[Kind, ...]] = {
    "CARTESIAN_POINT": ("skip", "reals"),
    "DIRECTION": ("skip", "reals"),
    "AXIS2_PLACEMENT_3D": ("skip", "ref", "maybe", "maybe"),
    "VECTOR": ("skip", "ref", "real"),
    "LINE": ("skip", "ref", "ref"),
    "VERTEX_POINT": ("skip", "ref"),
    "EDGE_CURVE": ("skip", "ref", "ref", "ref", "flag"),
    "ORIENTED_EDGE": ("skip", "skip", "skip", "ref", "flag"),
    "EDGE_LOOP": ("skip", "refs"),
    "FACE_BOUND": ("skip", "ref", "flag"),
    "FACE_OUTER_BOUND": ("skip", "ref", "flag"),
    "ADVANCED_FACE": ("skip", "refs", "ref", "flag"),
    "CLOSED_SHELL": ("skip", "refs"),
    "PLANE": ("skip", "ref"),
    "CYLINDRICAL_SURFACE": ("skip", "ref", "real"),
    "CONICAL_SURFACE": ("skip", "ref", "real", "real"),
}


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
    """The boundary of the `solids` solids of one product, in its own frame; mm and radians.

    Corners (v, 3).  Edges: rows of the corners they run between (e, 2), whether they are
    `straight`, and `count` points on their own curve from `first` on.  Uses of edges by faces, one
    loop after another: edge (u,), whether it is run through `ahead`, loop (u,); the face of each
    loop (l,).  Faces: which solid's shell, kind of surface, its frame (f, 4, 4), radius in the
    frame's origin and a cone's half angle, and whether its normal, which on round surfaces leads
    away from the axis, leads `out` of the material.  `strange` are the types of surfaces and
    curves that are not understood.
    """

    solids: int
    corners: Array
    ends: Rows
    straight: NDArray[np.bool_]
    points: Array
    first: Rows
    count: Rows
    arcs: Mapping[int, Arc]
    edge: Rows
    ahead: NDArray[np.bool_]
    loop: Rows
    face_of_loop: Rows
    solid: Rows
    kind: Rows
    place: Array
    radius: Array
    angle: Array
    out: NDArray[np.bool_]
    strange: tuple[str, ...]

    @cached_property
    def face(self) -> Rows:
        """The face of each use of an edge."""
        return self.face_of_loop[self.loop]

    @cached_property
    def round_faces(self) -> tuple[RoundFace, ...]:
        """Its cylinders and cones."""
        return tuple(self._round_faces())

    def _round_faces(self) -> Iterator[RoundFace]:
        starts = np.searchsorted(self.face, np.arange(len(self.kind) + 1))  # in the faces' order
        for face in np.flatnonzero((self.kind == CYLINDER) | (self.kind == CONE)).tolist():
            edges = self.edge[starts[face] : starts[face + 1]]
            yield RoundFace(
                hollow=not self.out[face],
                place=self.place[face],
                radius=float(self.radius[face]) if self.kind[face] == CYLINDER else None,
                arcs=tuple(self.arcs[edge] for edge in edges.tolist() if edge in self.arcs),
                ends=self.corners[self.ends[edges]].reshape(-1, 3),
            )

    @cached_property
    def flats(self) -> tuple[Array, ...]:
        """The straight edges (k, 2, 3) of each flat face."""
        uses = self.straight[self.edge] & (self.kind == PLANE)[self.face]
        ends = self.corners[self.ends[self.edge[uses]]]
        starts = np.searchsorted(self.face[uses], np.arange(len(self.kind) + 1))
        flat = np.flatnonzero(self.kind == PLANE).tolist()
        return tuple(ends[starts[face] : starts[face + 1]] for face in flat)


@dataclass
class ShapeReader:
    """Reads shapes of one file; `scale` turns its numbers into mm."""

    file: StepFile
    scale: float
    _columns: dict[str, Columns] = field(default_factory=dict)
    _drawn: int = 0

    def shape(self, items: list[Entity]) -> Shape:
        """The solids among `items`.  Raises StepError on those that are not understood here."""
        for item in items:
            if item.keyword in NOT_UNDERSTOOD:
                raise StepError(f"#{item.id}: {NOT_UNDERSTOOD[item.keyword]}")
        shells = [item.ref(1) for item in items if item.keyword == SOLID]
        of = self._of("CLOSED_SHELL")
        faces, solid = of[0].of(of.rows(_numbers(shells)))
        strange: set[str] = set()
        of = self._of("ADVANCED_FACE")
        row = of.rows(faces)
        bounds, face_of_loop = of[0].of(row)
        uses, ahead, loop = self._uses(bounds)
        edges, edge = np.unique(uses, return_inverse=True)
        surfaces = self._surfaces(of[1][row], strange)
        return Shape(
            len(shells),
            *self._edges(edges, strange),
            edge,
            ahead,
            loop,
            face_of_loop,
            solid,
            *surfaces,
            out=of[2][row],
            strange=tuple(sorted(strange)),
        )

    def placement(self, number: int) -> Array:
        """The 4×4 of an AXIS2_PLACEMENT_3D."""
        return np.asarray(self._placements(_numbers([number]))[0])

    def _of(self, keyword: str) -> Columns:
        if keyword not in self._columns:
            self._columns[keyword] = columns(self.file, keyword, *FORMS[keyword])
        return self._columns[keyword]

    def _keywords(self, numbers: Rows) -> NDArray[np.str_]:
        plain = self.file.keywords
        words = [plain[n] or self.file[n].keyword for n in numbers.tolist()]
        return np.array(words, dtype=str)

    def _uses(self, bounds: Rows) -> tuple[Rows, NDArray[np.bool_], Rows]:
        """Edge, sense and bound of each use of an edge in `bounds`, as the bounds run."""
        words = self._keywords(bounds)
        loops, as_is = np.full(len(bounds), -1), np.ones(len(bounds), bool)
        for keyword in BOUNDS:
            mine = words == keyword
            of = self._of(keyword)
            row = of.rows(bounds[mine])
            loops[mine], as_is[mine] = of[0][row], of[1][row]
        if (loops < 0).any():
            raise StepError(f"#{bounds[loops < 0][0]}: not a bound of a face")
        # Or a cone's tip, a sphere's pole: one vertex, no edge.
        edged = np.flatnonzero(self._keywords(loops) != "VERTEX_LOOP")
        of = self._of("EDGE_LOOP")
        row = of.rows(loops[edged])
        first, count = of[0].first[row], of[0].count[row]
        index, owner = ranges(first, count)
        back = ~as_is[edged][owner]  # a bound that is turned runs its loop the other way
        index[back] = (2 * first + count - 1)[owner[back]] - index[back]
        oriented = self._of("ORIENTED_EDGE")
        row = oriented.rows(of[0].flat[index])
        return oriented[0][row], oriented[1][row] ^ back, edged[owner]

    def _surfaces(self, numbers: Rows, strange: set[str]) -> tuple[Rows, Array, Array, Array]:
        """Kind, frame, radius and half angle of surfaces."""
        words = self._keywords(numbers)
        kind = np.full(len(numbers), STRANGE)
        place = np.tile(np.eye(4), (len(numbers), 1, 1))
        radius, angle = np.zeros(len(numbers)), np.zeros(len(numbers))
        for keyword, own in SURFACES.items():
            mine = np.flatnonzero(words == keyword)
            of = self._of(keyword)
            row = of.rows(numbers[mine])
            kind[mine], place[mine] = own, self._placements(of[0][row])
            if own != PLANE:
                radius[mine] = of[1][row] * self.scale
            if own == CONE:
                angle[mine] = of[2][row]
        strange.update(words[kind == STRANGE].tolist())
        return kind, place, radius, angle

    def _edges(
        self, numbers: Rows, strange: set[str]
    ) -> tuple[Array, Rows, NDArray[np.bool_], Array, Rows, Rows, Mapping[int, Arc]]:
        """Corners, and of the edges: rows of corners, straight, points, first, count, arcs."""
        of = self._of("EDGE_CURVE")
        row = of.rows(numbers)
        vertices, both = np.unique(np.concatenate([of[0][row], of[1][row]]), return_inverse=True)
        ends = both.reshape(2, -1).T
        points = self._of("VERTEX_POINT")
        corners = self._points(points[0][points.rows(vertices)])
        curves, same = of[2][row], of[3][row]
        words = self._keywords(curves)
        for index in np.flatnonzero(np.isin(words, list(WRAPPED_CURVES))).tolist():
            curves[index] = self.file[int(curves[index])].ref(1)
            words[index] = self.file[int(curves[index])].keyword
        straight = words == "LINE"
        along = corners[ends]
        along[straight] = self._on_lines(curves[straight], along[straight])
        arcs: dict[int, Arc] = {}
        bent: dict[int, Array] = {}
        found = [self.file[number] for number in curves[~straight].tolist()]
        conics = [curve.ref(1) for curve in found if curve.keyword in CONICS]
        places = iter(self._placements(_numbers(conics)))  # all at once: it is much faster
        for index, curve in zip(np.flatnonzero(~straight).tolist(), found, strict=True):
            place = next(places) if curve.keyword in CONICS else np.eye(4)
            way = along[index] if same[index] else along[index][::-1]
            drawn = self._curve(curve, place, way, bool(ends[index, 0] == ends[index, 1]))
            if drawn is None:
                strange.add(curve.keyword)
            else:
                bent[index] = drawn[0] if same[index] else drawn[0][::-1]
                if drawn[1]:
                    arcs[index] = drawn[1]
        count = np.full(len(numbers), 2)
        for index, line in bent.items():
            count[index] = len(line)
        drawn_points = [bent.get(index, along[index]) for index in range(len(numbers))]
        flat = np.concatenate(drawn_points) if drawn_points else np.zeros((0, 3))
        return corners, ends, straight, flat, np.cumsum(count) - count, count, arcs

    def _on_lines(self, numbers: Rows, ends: Array) -> Array:
        """The points of lines that are nearest to ends (n, 2, 3)."""
        of = self._of("LINE")
        row = of.rows(numbers)
        origin = self._points(of[0][row])
        vectors = self._of("VECTOR")
        way = self._directions(vectors[0][vectors.rows(of[1][row])])
        way /= np.linalg.norm(way, axis=1, keepdims=True)
        share = ((ends - origin[:, None]) * way[:, None]).sum(axis=2)
        return np.asarray(origin[:, None] + share[..., None] * way[:, None])

    def _curve(
        self, curve: Entity, place: Array, ends: Array, closed: bool
    ) -> tuple[Array, Arc | None] | None:
        """Points along a curve between ends (2, 3), and its arc; None if it is not understood."""
        word, arc = curve.keyword, None
        if word in CONICS:
            first = curve.number(2) * self.scale
            second = curve.number(3) * self.scale if CONICS[word] > 1 else first
            if word in ("CIRCLE", "ELLIPSE"):
                local = (ends - place[:3, 3]) @ place[:3, :3]
                start, stop = np.arctan2(local[:, 1], local[:, 0]).tolist()
                sweep = 2 * np.pi if closed else (stop - start) % (2 * np.pi)
                arc = Arc(place, first, start, sweep)
                points = arc_points(arc, second)
            elif word == "PARABOLA":
                points = parabola_points(place, first, ends)
            else:
                points = hyperbola_points(place, first, second, ends)
        elif KNOTTED in curve.record:
            of = "B_SPLINE_CURVE" if "B_SPLINE_CURVE" in curve.record else ""
            poles = self._points(_numbers(list(curve.refs(1 if of else 2, of))))
            points = spline_points(curve, poles, None if closed else ends)
        else:
            return None
        self._drawn += len(points)
        if self._drawn > MOST_POINTS:
            raise StepError("more curves than any part has")
        return points, arc

    def _placements(self, numbers: Rows) -> Array:
        """The 4×4 of each AXIS2_PLACEMENT_3D (n, 4, 4)."""
        of = self._of("AXIS2_PLACEMENT_3D")
        row = of.rows(numbers)
        try:
            return frames(self._points(of[0][row]), *(self._directions(of[i][row]) for i in (1, 2)))
        except ValueError as error:
            among = f"#{numbers[0]}: " if len(numbers) == 1 else ""
            raise StepError(f"{among}{error}") from None

    def _points(self, numbers: Rows) -> Array:
        return self._triples("CARTESIAN_POINT", numbers, "a point") * self.scale

    def _directions(self, numbers: Rows) -> Array:
        """Directions (n, 3), not a number where one is left out."""
        given = numbers >= 0
        found = np.full((len(numbers), 3), np.nan)
        found[given] = self._triples("DIRECTION", numbers[given], "a direction")
        return found

    def _triples(self, keyword: str, numbers: Rows, what: str) -> Array:
        of = self._of(keyword)
        row = of.rows(numbers)
        count = of[0].count[row]
        if (count != 3).any():
            wrong = int(np.flatnonzero(count != 3)[0])
            raise StepError(f"#{numbers[wrong]}: {what} of {count[wrong]} numbers")
        return np.asarray(of[0].flat[of[0].first[row][:, None] + np.arange(3)], dtype=np.float64)


def _numbers(numbers: list[int]) -> Rows:
    return np.array(numbers, dtype=np.int64)

"""How a mesh covers the faces of a STEP shape: each triangle's face, how far off it; mm.

A triangle's face is found by edges, not by nearness: an edge of the mesh that runs along a STEP
edge, in one direction, belongs to the one face that runs through that edge in this direction, and
so do all triangles joined to it without crossing such an edge.  If each of them lies on its face's
surface, their borders are the face's loops, all have the face's sense and their areas add up to
the face's, then they cover it once, and nothing else: how often a border's inside is covered is
the same all over it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

from jiggen.verify import limits
from jiggen.verify.geometry import Array
from jiggen.verify.reading.step_columns import Rows, ranges
from jiggen.verify.reading.step_shape import PLANE, Shape
from jiggen.verify.surfaces import Surfaces

PIECE = 1.0  # mm: longer segments of edges are looked for in pieces
AS_NEAR = 0.002  # mm: of edges that are this much farther off than the nearest a vertex is not
MOST_FACES = 64  # of what runs into one another without an edge between that are tried


@dataclass(frozen=True, eq=False)
class Covering:
    """A mesh, in the shape's frame, whose edges are each shared by two triangles, and a shape."""

    vertices: Array
    triangles: Rows
    surfaces: Surfaces

    @property
    def shape(self) -> Shape:
        """The shape that is covered."""
        return self.surfaces.shape

    @cached_property
    def halves(self) -> tuple[Rows, Rows, Rows]:
        """The three edges of every triangle, one after another: from, to, the edge's number."""
        start, stop = self.triangles.ravel(), np.roll(self.triangles, -1, axis=1).ravel()
        key = np.minimum(start, stop) * len(self.vertices) + np.maximum(start, stop)
        return start, stop, np.unique(key, return_inverse=True)[1].astype(np.int64)

    @cached_property
    def on_edges(self) -> tuple[Rows, Rows, Array, Array]:
        """Which vertices lie on which STEP edges, where along them, counted in the edge's points,
        and how far off.

        Ordered along each edge; a vertex nearest to a corner stands where the corner does.
        """
        shape = self.shape
        near, at = cKDTree(self.vertices).query(
            shape.corners, distance_upper_bound=limits.SHAPE, workers=1
        )
        met = np.isfinite(near)
        edge, end = np.nonzero(met[shape.ends])
        ring = shape.ends[:, 0] == shape.ends[:, 1]
        used = ~(ring[edge] & (end == 1))
        edge, end = edge[used], end[used]
        vertex = at[shape.ends[edge, end]]
        along = np.where(end == 1, shape.count[edge] - 1, 0).astype(float)
        others = np.ones(len(self.vertices), bool)
        others[at[met]] = False
        own = vertex, edge, along, near[shape.ends[edge, end]]
        more = self._between_corners(np.flatnonzero(others))
        vertex, edge, along, off = (np.concatenate(pair) for pair in zip(own, more, strict=True))
        order = np.lexsort((along, edge))
        return vertex[order], edge[order], along[order], off[order]

    def _between_corners(self, vertices: Rows) -> tuple[Rows, Rows, Array, Array]:
        """Of vertices between corners those on edges: vertex, edge, place along it, off it."""
        first, stop, edge, index = self._segments
        pieces = np.maximum(np.ceil(np.linalg.norm(stop - first, axis=1) / PIECE), 1).astype(int)
        step, owner = ranges(np.zeros(len(pieces), np.int64), pieces)
        share = ((step + 0.5) / pieces[owner])[:, None]
        middles = first[owner] * (1 - share) + stop[owner] * share
        none = np.zeros(0, np.int64), np.zeros(0, np.int64), np.zeros(0), np.zeros(0)
        if not len(vertices) or not len(middles) or not np.isfinite(middles).all():
            return none
        half = np.linalg.norm(stop - first, axis=1)[owner] / pieces[owner] / 2
        found = []
        # Short segments are many, and looked for close by: those of curves.
        for short in (True, False):
            some = np.flatnonzero((half <= PIECE / 8) == short)
            if not len(some):
                continue
            reach = float(half[some].max()) + limits.SHAPE
            pairs = cKDTree(self.vertices[vertices]).sparse_distance_matrix(
                cKDTree(middles[some]), reach, output_type="coo_matrix"
            )
            found.append((vertices[pairs.row], owner[some[pairs.col]]))
        if not found:
            return none
        vertex = np.concatenate([one for one, _ in found])
        segment = np.concatenate([one for _, one in found])
        way, to = stop[segment] - first[segment], self.vertices[vertex] - first[segment]
        length = np.maximum((way * way).sum(axis=1), 1e-24)
        along = np.clip((way * to).sum(axis=1) / length, 0.0, 1.0)
        off = np.linalg.norm(to - along[:, None] * way, axis=1)
        order = np.lexsort((off, edge[segment], vertex))
        order = order[off[order] <= limits.SHAPE]
        key = vertex[order] * len(self.shape.ends) + edge[segment[order]]
        order = order[np.unique(key, return_index=True)[1]]  # of each edge its nearest point
        least = np.full(len(self.vertices), np.inf)
        np.minimum.at(least, vertex[order], off[order])
        order = order[off[order] <= least[vertex[order]] + AS_NEAR]
        own = edge[segment[order]]
        return vertex[order], own, index[segment[order]] + along[order], off[order]

    @cached_property
    def _segments(self) -> tuple[Array, Array, Rows, Rows]:
        """Every two points that follow one another along an edge: both, the edge, which two."""
        shape = self.shape
        at, edge = ranges(shape.first, np.maximum(shape.count - 1, 0))
        return shape.points[at], shape.points[at + 1], edge, at - shape.first[edge]

    @cached_property
    def along(self) -> tuple[Rows, NDArray[np.bool_], Array]:
        """The STEP edge that each of the triangles' edges runs along (−1 for none), whether ahead,
        and how far the STEP edge is from its middle.

        It does where its ends follow one another along it, with no other vertex between.
        """
        vertex, edge, along, away = self.on_edges
        start, stop, _ = self.halves
        found, ahead = np.full(len(start), -1), np.zeros(len(start), bool)
        chord = np.full(len(start), np.inf)
        if not len(vertex):
            return found, ahead, chord
        shape = self.shape
        follows = np.arange(len(vertex)) + 1
        begins = np.append(True, edge[1:] != edge[:-1])
        last = np.append(begins[1:], True)
        follows[last] = np.flatnonzero(begins)  # round again, where the edge is a ring
        ring = shape.ends[edge, 0] == shape.ends[edge, 1]
        used = (~last | ring) & (vertex[follows % len(vertex)] != vertex)
        rows = np.flatnonzero(used)
        behind = follows[rows]
        end = np.where(last[rows], shape.count[edge[rows]] - 1, along[behind])
        middle = (self.vertices[vertex[rows]] + self.vertices[vertex[behind]]) / 2
        off = np.linalg.norm(middle - self._at(edge[rows], (along[rows] + end) / 2), axis=1)
        off[shape.straight[edge[rows]]] = 0.0
        # A facet's edge may end near a line that its arc only touches: its ends tell them apart.
        off = np.maximum(off, np.maximum(away[rows], away[behind]))
        size = len(self.vertices)
        key = vertex[rows] * size + vertex[behind]
        order = np.lexsort((off, key))
        key, first = np.unique(key[order], return_index=True)
        rows, off = rows[order[first]], off[order[first]]
        for way, own in ((True, start * size + stop), (False, stop * size + start)):
            index = np.minimum(np.searchsorted(key, own), len(key) - 1)
            there = (key[index] == own) & (off[index] < chord)
            found[there], chord[there] = edge[rows[index[there]]], off[index[there]]
            ahead[there] = way
        return found, ahead, chord

    def _at(self, edge: Rows, along: Array) -> Array:
        """The point of each edge at a place counted in its points."""
        shape = self.shape
        index = np.clip(along.astype(np.int64), 0, shape.count[edge] - 2)
        share = (along - index)[:, None]
        at = shape.first[edge] + index
        return np.asarray(shape.points[at] * (1 - share) + shape.points[at + 1] * share)

    @cached_property
    def patch(self) -> Rows:
        """The patch of each triangle: what hangs together without crossing a STEP edge."""
        _, _, number = self.halves
        inner = np.flatnonzero(self.along[0] < 0)
        inner = inner[np.argsort(number[inner], kind="stable")]
        pairs = np.flatnonzero(number[inner[1:]] == number[inner[:-1]])
        links = inner[pairs] // 3, inner[pairs + 1] // 3
        size = len(self.triangles)
        graph = coo_matrix((np.ones(len(pairs)), links), shape=(size, size))
        return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)

    @cached_property
    def claims(self) -> tuple[Rows, Rows]:
        """Each patch and each face whose edge it runs along in the face's sense, once."""
        shape = self.shape
        edge, ahead, _ = self.along
        face_of = np.full((2, max(len(shape.ends), 1)), -1)
        face_of[shape.ahead.astype(int), shape.edge] = shape.face
        on = np.flatnonzero(edge >= 0)
        face = face_of[ahead[on].astype(int), edge[on]]
        faces = max(len(shape.kind), 1)
        key = np.unique((self.patch[on // 3] * faces + face)[face >= 0])
        return key // faces, key % faces

    @cached_property
    def face(self) -> Rows:
        """The face of each triangle, −1 where no face claims its patch.

        Where several claim one patch, because an edge between them is not met, it is the one off
        whose surface the triangle is the least.
        """
        patch, face = self.claims
        count = np.bincount(patch, minlength=int(self.patch.max(initial=-1)) + 1)
        first = np.cumsum(count) - count
        found = np.where(count > 0, np.append(face, -1)[np.minimum(first, len(face))], -1)
        of = found[self.patch]
        for torn in np.flatnonzero(count > 1).tolist():
            mine = np.flatnonzero(self.patch == torn)
            tried = face[first[torn] : first[torn] + min(int(count[torn]), MOST_FACES)]
            far = np.stack([self._reach(mine, np.full(len(mine), one)) for one in tried])
            turned = np.stack([self._shown(mine, np.full(len(mine), one)) <= 0 for one in tried])
            of[mine] = tried[np.argmin(far + turned * limits.SHAPE / 2, axis=0)]
        return np.asarray(of, dtype=np.int64)

    @cached_property
    def groups(self) -> Rows:
        """The number of each face's group: faces that one patch lies on belong together."""
        patch, face = self.claims
        joined = patch[1:] == patch[:-1]
        size = len(self.shape.kind)
        links = face[1:][joined], face[:-1][joined]
        graph = coo_matrix((np.ones(joined.sum()), links), shape=(size, size))
        return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)

    def _reach(self, triangles: Rows, face: Rows) -> Array:
        """How far the farthest corner of each triangle is off a face's surface."""
        corners = self.vertices[self.triangles[triangles]]
        off = [np.abs(self.surfaces.off(face, corners[:, k])) for k in range(3)]
        return np.asarray(np.max(off, axis=0))

    def _shown(self, triangles: Rows, face: Rows) -> Array:
        """The area of each triangle as seen along its face's normal: less than 0 if turned."""
        corners = self.vertices[self.triangles[triangles]]
        area = 0.5 * np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        normal = self.surfaces.normals(face, corners.mean(axis=1))
        return np.asarray((area * normal).sum(axis=1))

    @cached_property
    def placed(self) -> Rows:
        """The triangles that have a face."""
        return np.flatnonzero(self.face >= 0)

    @cached_property
    def reach(self) -> Array:
        """How far the farthest corner of each placed triangle is off its face's surface."""
        return self._reach(self.placed, self.face[self.placed])

    @cached_property
    def sag(self) -> Array:
        """How far the edges' middles and the middle of each placed triangle are off it."""
        corners = self.vertices[self.triangles[self.placed]]
        middles = [(corners[:, k] + corners[:, k - 1]) / 2 for k in range(3)]
        points = (*middles, corners.mean(axis=1))
        face = self.face[self.placed]
        return np.asarray(np.max([np.abs(self.surfaces.off(face, p)) for p in points], axis=0))

    @cached_property
    def shown(self) -> Array:
        """The area of each placed triangle as seen along its face's normal."""
        return self._shown(self.placed, self.face[self.placed])

    def areas(self) -> tuple[Array, ...]:
        """Of each group of faces: the area of its triangles, of its faces, and by how much the
        chords of its borders and surfaces may make them differ.
        """
        shape, surfaces = self.shape, self.surfaces
        size = int(self.groups.max(initial=-1)) + 1
        covered = np.bincount(self.groups[self.face[self.placed]], self.shown, size)
        wanted = np.bincount(self.groups, surfaces.areas, size)
        first, stop, edge, _ = self._segments
        length = np.linalg.norm(stop - first, axis=1)
        border = np.bincount(edge, length, len(shape.ends))[shape.edge]
        bent = np.where(shape.straight[shape.edge], limits.ROUNDING, limits.FACET)
        slack = np.bincount(self.groups[shape.face], border * bent, size)
        # A chord's triangle is narrower than the arc it stands for, by a third of sagitta/radius.
        narrow = np.where(shape.kind == PLANE, 0.0, limits.NARROW) * surfaces.areas
        allowed = slack + np.bincount(self.groups, narrow, size) + limits.ROUNDING
        return tuple(np.asarray(one, dtype=np.float64) for one in (covered, wanted, allowed))

"""Geometry of a STEP shape's faces: distances from surfaces, areas, volume; mm.

By the boundary alone, without a mesh: a plane's, cylinder's or cone's area is an integral along
its loops (Green), a face's vector area too, and the volume follows from these (Gauss), since on
each of the three surfaces (x − c)·n is a constant for the right point c.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from jiggen.verify.geometry import Array
from jiggen.verify.reading.step_columns import Rows, ranges
from jiggen.verify.reading.step_shape import CONE, CYLINDER, PLANE, Shape

AT_TIP = 1e-7  # mm from a cone's axis: there no direction is one


@dataclass(frozen=True, eq=False)
class Line:
    """Points along the uses of edges, as their faces' loops run; `use` of each point."""

    points: Array
    use: Rows

    @cached_property
    def steps(self) -> NDArray[np.bool_]:
        """Which points have a next one in the same use (the last has none)."""
        same = np.zeros(len(self.use), bool)
        same[:-1] = self.use[:-1] == self.use[1:]
        return same


@dataclass(frozen=True, eq=False)
class Surfaces:
    """What can be computed of a `shape`'s faces."""

    shape: Shape

    @cached_property
    def sign(self) -> Array:
        """1 for each face whose surface's own normal leads out of the material, or −1."""
        return np.where(self.shape.out, 1.0, -1.0)

    def local(self, face: Rows, points: Array) -> Array:
        """Points (n, 3), each in the frame of its face."""
        place = self.shape.place[face]
        return np.asarray(np.einsum("ni,nij->nj", points - place[:, :3, 3], place[:, :3, :3]))

    def off(self, face: Rows, points: Array) -> Array:
        """How far each of points (n, 3) lies off the surface of its face, outwards from it."""
        x, y, z = self.local(face, points).T
        kind, radius, angle = (a[face] for a in (self.shape.kind, self.shape.radius, self.angle))
        away = (np.hypot(x, y) - radius - z * np.tan(angle)) * np.cos(angle)
        return np.asarray(np.where(kind == PLANE, z, away) * self.sign[face])

    def normals(self, face: Rows, points: Array) -> Array:
        """The normal out of the material at each of points (n, 3), on the surface of its face."""
        local = self.local(face, points)
        angle, flat = self.angle[face], self.shape.kind[face] == PLANE
        away = np.hypot(local[:, 0], local[:, 1])
        share = np.where(flat, 0.0, np.cos(angle) / np.maximum(away, AT_TIP))
        up = np.where(flat, 1.0, -np.sin(angle))
        normal = np.column_stack([local[:, 0] * share, local[:, 1] * share, up])
        turned = np.einsum("nij,nj->ni", self.shape.place[face][:, :3, :3], normal)
        return np.asarray(turned * self.sign[face][:, None])

    @property
    def angle(self) -> Array:
        """The half angle of each face's cone, 0 of others."""
        return self.shape.angle

    @cached_property
    def line(self) -> Line:
        """All uses of edges, one behind the other."""
        shape = self.shape
        first, count = shape.first[shape.edge], shape.count[shape.edge]
        index, use = ranges(first, count)
        back = ~shape.ahead[use]
        index[back] = (2 * first + count - 1)[use[back]] - index[back]
        return Line(shape.points[index], use)

    @cached_property
    def _chart(self) -> tuple[Array, Array, Array]:
        """In each point of the line, in its face's frame: from the axis, along it, and by how much
        the direction about it turns up to the next point (0 after the last of a use).
        """
        line = self.line
        x, y, z = self.local(self.shape.face[line.use], line.points).T
        away, direction = np.hypot(x, y), np.arctan2(y, x)
        turn = np.zeros(len(z))
        turn[:-1] = (np.diff(direction) + np.pi) % (2 * np.pi) - np.pi
        whole = away > AT_TIP
        turn[~(line.steps & whole & np.roll(whole, -1))] = 0.0
        return away, z, turn

    @cached_property
    def vectors(self) -> Array:
        """The vector area (f, 3) of each face, out of the material if its loops run rightly."""
        line, faces = self.line, len(self.shape.kind)
        points = line.points - self._middle
        crossed = 0.5 * np.cross(points[:-1], points[1:])[line.steps[:-1]]
        owner = self.shape.face[line.use[:-1][line.steps[:-1]]]
        by_axis = [np.bincount(owner, crossed[:, axis], faces) for axis in range(3)]
        return np.column_stack(by_axis)

    @cached_property
    def _middle(self) -> Array:
        corners = self.shape.corners
        return np.asarray(corners.mean(axis=0)) if len(corners) else np.zeros(3)

    @cached_property
    def loop_areas(self) -> Array:
        """What each loop adds to its face's area: less than 0 for a hole; of what runs the wrong
        way round, too.
        """
        line, shape = self.line, self.shape
        away, along, turn = self._chart
        face = shape.face[line.use]
        slope = np.sin(self.angle[face])
        bowl = away * away / np.where(slope == 0, np.inf, 2 * slope)
        height = np.where(shape.kind[face] == CONE, bowl, shape.radius[face] * along)
        middle = np.zeros(len(height))
        middle[:-1] = (height[:-1] + height[1:]) / 2
        loops = len(shape.face_of_loop)
        curved = -np.bincount(shape.loop[line.use], middle * turn, loops)
        points = line.points - self._middle
        crossed = np.zeros((len(points), 3))
        crossed[:-1] = np.cross(points[:-1], points[1:])
        crossed[~line.steps] = 0.0
        shown = 0.5 * (crossed * shape.place[face][:, :3, 2]).sum(axis=1)
        flat = np.bincount(shape.loop[line.use], shown, loops)
        plane = shape.kind[shape.face_of_loop] == PLANE
        return np.where(plane, flat, curved) * self.sign[shape.face_of_loop]

    @cached_property
    def winds(self) -> NDArray[np.bool_]:
        """Which loops go round the axis of their surface, so that they enclose nothing alone."""
        loops = len(self.shape.face_of_loop)
        turn = np.bincount(self.shape.loop[self.line.use], self._chart[2], loops)
        bent = self.shape.kind[self.shape.face_of_loop] != PLANE
        return np.asarray((np.abs(turn) > np.pi) & bent)

    @cached_property
    def areas(self) -> Array:
        """The area of each face, less than 0 when its loops run the wrong way round."""
        faces = len(self.shape.kind)
        return np.bincount(self.shape.face_of_loop, self.loop_areas, faces).astype(np.float64)

    @cached_property
    def volume(self) -> float:
        """The volume enclosed, if the shell is closed."""
        shape = self.shape
        centre = shape.place[:, :3, 3] - self._middle
        slope = np.tan(np.where(shape.kind == CONE, self.angle, 1.0))
        tip = np.where(shape.kind == CONE, -shape.radius / slope, 0.0)
        centre = centre + tip[:, None] * shape.place[:, :3, 2]
        own = np.where(shape.kind == CYLINDER, shape.radius * self.areas * self.sign, 0.0)
        return float((centre * self.vectors).sum() + own.sum()) / 3

    @cached_property
    def charts(self) -> Array:
        """The points of the line in the plane that their face is unrolled into (n, 2)."""
        line, shape = self.line, self.shape
        face = shape.face[line.use]
        local = self.local(face, line.points)
        away, along, turn = self._chart
        loop = shape.loop[line.use]
        total = np.cumsum(turn) - turn
        starts = np.searchsorted(loop, np.arange(len(shape.face_of_loop)))
        begin = total[np.minimum(starts, max(len(total) - 1, 0))] if len(total) else total
        direction = total - begin[loop]
        slope = np.sin(self.angle[face])
        out = away / np.where(slope == 0, 1.0, np.abs(slope))
        fan = np.column_stack([out * np.cos(direction * slope), out * np.sin(direction * slope)])
        strip = np.column_stack([shape.radius[face] * direction, along])
        kind = shape.kind[face][:, None]
        return np.where(kind == PLANE, local[:, :2], np.where(kind == CONE, fan, strip))

"""Round upright openings and pegs of a body, in its STEP shape or its mesh; ski frame, mm."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from jiggen.verify.geometry import Array, applied, fit_circle
from jiggen.verify.limits import EXTRA_DEPTH, Source
from jiggen.verify.mesh import Mesh, signed_area
from jiggen.verify.step_assembly import Arc, RoundFace, StepPiece

UPRIGHT = np.cos(np.radians(5.0))  # an axis this far off is found, and then judged
WIDEST = 60.0  # mm; wider loops are windows and outlines
OFF_ROUND = 0.2  # of the radius: a loop farther off its circle is not a drilled hole
TRULY_ROUND = 0.02  # of the radius, for a hole that is not in the manifest
TRULY_ROUND_SAGITTA = 0.04  # of the radius: twelve sides or more
SAME_AXIS = 5  # digits of a mm
OFF_AXIS = 1e-4  # mm
ON_WALL = 0.01  # mm beyond its radius that a peg's own corners are looked for


@dataclass(frozen=True)
class Ring:
    """A round opening where it crosses height z: centre, diameter, and how round it is, mm."""

    x: float
    y: float
    z: float
    diameter: float
    residual: float = 0.0
    sagitta: float = 0.0

    @property
    def is_round(self) -> bool:
        """Whether it would be taken for a drilled hole, not for a nut's pocket or a letter."""
        radius = self.diameter / 2
        return (
            self.residual <= TRULY_ROUND * radius and self.sagitta <= TRULY_ROUND_SAGITTA * radius
        )

    def away(self, x: float, y: float) -> float:
        """Distance in mm of the centre from (x, y)."""
        return float(np.hypot(self.x - x, self.y - y))


@dataclass(frozen=True)
class Stud(Ring):
    """A round peg where it crosses height z; `top` is how high it stands, mm."""

    top: float = 0.0


class Body(Protocol):
    """A body in which openings and pegs can be looked for, in one of the two formats."""

    source: Source
    inset: float
    """How far inside the ends of a bore it is to be measured, mm."""

    def rings(self, z: float) -> list[Ring]:
        """The round openings that cross height `z`."""
        ...

    def openings(self) -> list[Ring]:
        """The truly round openings, wherever they are."""
        ...

    def studs(self, z: float) -> list[Stud]:
        """The round pegs that cross height `z`."""
        ...


@dataclass
class MeshBody:
    """A body's mesh in the ski frame: rings are circles fitted to the loops of level sections."""

    mesh: Mesh
    source: Source = "STL"
    inset: float = 0.25  # clear of facets that are not quite where the edge is
    _seen: dict[float, list[Ring]] = field(default_factory=dict)

    def rings(self, z: float) -> list[Ring]:
        """Circles fitted to the hole loops at height `z`."""
        if z not in self._seen:
            holes = (loop for loop in self.mesh.section(z) if signed_area(loop) < 0)
            found = (_ring(loop, z) for loop in holes)
            self._seen[z] = [ring for ring in found if ring]
        return self._seen[z]

    def studs(self, z: float) -> list[Stud]:
        """Circles fitted to the outlines at height `z`; tops by the corners within them."""
        outlines = (loop for loop in self.mesh.section(z) if signed_area(loop) > 0)
        found = (_ring(loop, z) for loop in outlines)
        return [Stud(**vars(ring), top=self._top(ring)) for ring in found if ring]

    def _top(self, ring: Ring) -> float:
        away = np.linalg.norm(self.mesh.vertices[:, :2] - (ring.x, ring.y), axis=1)
        within = away <= ring.diameter / 2 + ring.residual + ON_WALL
        return float(self.mesh.vertices[within, 2].max())

    def openings(self) -> list[Ring]:
        """The truly round rings EXTRA_DEPTH above the underside and under the top."""
        low, high = self.mesh.vertices[:, 2].min(), self.mesh.vertices[:, 2].max()
        levels = (float(low) + EXTRA_DEPTH, float(high) - EXTRA_DEPTH)
        return [ring for z in levels for ring in self.rings(z) if ring.is_round]


def _ring(loop: Array, z: float) -> Ring | None:
    size = np.ptp(loop, axis=0)
    if size.max() > WIDEST or size.max() > 1.5 * size.min():
        return None
    circle = fit_circle(loop)
    if max(circle.residual, circle.sagitta) > OFF_ROUND * circle.radius:
        return None
    return Ring(circle.x, circle.y, z, 2 * circle.radius, circle.residual, circle.sagitta)


@dataclass(frozen=True, eq=False)
class _Axis:
    """Hollow faces, or bosses, about one upright axis; `radius` is None for a cone.

    Axis point and direction (3,); heights from `low` to `high`; each arc as its height, radius
    and the angles it spans about z.
    """

    point: Array
    direction: Array
    radius: float | None
    low: float
    high: float
    arcs: tuple[tuple[float, float, tuple[float, float]], ...]

    def at(self, z: float) -> tuple[float, float]:
        """Centre (x, y) at height `z`."""
        x, y, _ = self.point + self.direction * ((z - self.point[2]) / self.direction[2])
        return float(x), float(y)

    def closed(self, low: float, high: float) -> bool:
        """Whether the arcs between two heights go all the way round."""
        return _all_round([span for height, _, span in self.arcs if low <= height <= high])

    def crosses(self, z: float) -> bool:
        """Whether it is a cylinder at height `z`, closed by arcs all round below and above."""
        return (
            self.radius is not None
            and self.low <= z <= self.high
            and self.closed(-np.inf, z)
            and self.closed(z, np.inf)
        )

    def ring(self, z: float) -> Ring:
        """The opening at height `z`; a cone's is as wide as its widest arc."""
        radius = self.radius or max(radius for _, radius, _ in self.arcs)
        return Ring(*self.at(z), z, 2 * radius)


class StepBody:
    """A body's STEP piece in the ski frame: rings are its cylinders, exactly."""

    source: Source = "STEP"
    inset: float = 0.01  # the ends themselves, but for rounding

    def __init__(self, piece: StepPiece) -> None:
        faces = piece.shape.round_faces
        self._axes = tuple(_axes(piece.pose, (face for face in faces if face.hollow)))
        self._bosses = tuple(_axes(piece.pose, (face for face in faces if not face.hollow)))

    def rings(self, z: float) -> list[Ring]:
        """Hollow cylinders all round at height `z`."""
        return [axis.ring(z) for axis in self._axes if axis.crosses(z)]

    def studs(self, z: float) -> list[Stud]:
        """Solid cylinders all round at height `z`."""
        found = (axis for axis in self._bosses if axis.crosses(z))
        return [Stud(**vars(axis.ring(z)), top=axis.high) for axis in found]

    def openings(self) -> list[Ring]:
        """Every hollow cylinder or cone of EXTRA_DEPTH that is round at one of its ends."""
        found = []
        for axis in self._axes:
            if axis.high - axis.low < EXTRA_DEPTH:
                continue
            middle = (axis.low + axis.high) / 2
            if axis.closed(-np.inf, middle) or axis.closed(middle, np.inf):
                found.append(axis.ring(middle))
        return found


def _axes(pose: Array, faces: Iterable[RoundFace]) -> Iterable[_Axis]:
    groups: dict[tuple[float, ...], list[RoundFace]] = defaultdict(list)
    for face in faces:
        point, direction = _axis_line(pose, face)
        if direction[2] < UPRIGHT or not len(face.ends):
            continue
        foot = point - direction * (point[2] / direction[2])
        size = (-1.0,) if face.radius is None else (face.radius,)
        key = tuple(round(float(v), SAME_AXIS) + 0.0 for v in (*foot[:2], *direction, *size))
        groups[key].append(face)
    for group in groups.values():
        point, direction = _axis_line(pose, group[0])
        heights = applied(pose, np.vstack([face.ends for face in group]))[:, 2]
        arcs = tuple(_span(pose, arc) for face in group for arc in face.arcs if _centred(face, arc))
        yield _Axis(
            point, direction, group[0].radius, float(heights.min()), float(heights.max()), arcs
        )


def _axis_line(pose: Array, face: RoundFace) -> tuple[Array, Array]:
    place = pose @ face.place
    return place[:3, 3], place[:3, 2] * (1.0 if place[2, 2] >= 0 else -1.0)


def _centred(face: RoundFace, arc: Arc) -> bool:
    """Whether an arc's centre is on the face's axis: one that is not closes no hole."""
    away = np.cross(arc.place[:3, 3] - face.place[:3, 3], face.place[:3, 2])
    return bool(np.linalg.norm(away) < OFF_AXIS)


def _span(pose: Array, arc: Arc) -> tuple[float, float, tuple[float, float]]:
    """An arc's height, radius, and the angles (from, to) about z it spans, in rad."""
    place = pose @ arc.place
    x, y, _ = place[:3, :3] @ (np.cos(arc.start), np.sin(arc.start), 0.0)
    angle = float(np.arctan2(y, x))
    span = (angle, angle + arc.sweep) if place[2, 2] > 0 else (angle - arc.sweep, angle)
    return float(place[2, 3]), arc.radius, span


def _all_round(spans: Iterable[tuple[float, float]], slack: float = 1e-6) -> bool:
    """Whether angles (from, to) together cover a whole turn."""
    turn = 2 * np.pi
    pieces = []
    for start, stop in spans:
        if stop - start >= turn - slack:
            return True
        start, stop = start % turn, start % turn + (stop - start)
        pieces += [(start, min(stop, turn)), (0.0, stop - turn)]
    reached = 0.0
    for start, stop in sorted(pieces):
        if start > reached + slack:
            return False
        reached = max(reached, stop)
    return reached >= turn - slack

"""Round upright openings and pegs of a body, in its STEP shape or its mesh; ski frame, mm."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TypeAlias

import numpy as np

from jiggen.verify.geometry import Array, applied
from jiggen.verify.limits import EXTRA_DEPTH, Source
from jiggen.verify.reading.mesh import Mesh, signed_area
from jiggen.verify.reading.step_assembly import StepPiece
from jiggen.verify.reading.step_curves import Arc
from jiggen.verify.reading.step_shape import RoundFace

UPRIGHT = np.cos(np.radians(5.0))  # an axis this far off is found, and then judged
WIDEST = 60.0  # mm; wider loops are windows and outlines
OFF_ROUND = 0.2  # of the radius: a loop farther off its circle is not a drilled hole
TRULY_ROUND = 0.02  # of the radius, for a hole that is not in the manifest
TRULY_ROUND_SAGITTA = 0.04  # of the radius: twelve sides or more
SAME_AXIS = 5  # digits of a mm
OFF_AXIS = 1e-4  # mm
ON_WALL = 0.01  # mm beyond its radius that a peg's own corners are looked for
STEPS = 8  # of a circle's fit
STRAIGHT = 0.01  # rad: a point where the loop turns by less is only a facet's diagonal


@dataclass(frozen=True)
class Ring:
    """A round opening or peg where it crosses height z: centre and diameter, mm.

    `residual` is how far the farthest corner of its loop is off the circle, `sagitta` how far its
    longest chord falls inside it; `top` is how high a peg stands.
    """

    x: float
    y: float
    z: float
    diameter: float
    residual: float = 0.0
    sagitta: float = 0.0
    top: float = np.nan

    def away(self, x: float, y: float) -> float:
        """Distance in mm of the centre from (x, y)."""
        return float(np.hypot(self.x - x, self.y - y))


class MeshBody:
    """A body's mesh in the ski frame: rings are circles fitted to the loops of level sections."""

    source: Source = "STL"
    inset = 0.25  # mm inside the ends of a bore: clear of facets not quite where the edge is

    def __init__(self, mesh: Mesh) -> None:
        self.mesh = mesh
        self._seen: dict[float, list[Ring]] = {}

    def rings(self, z: float) -> list[Ring]:
        """Circles fitted to the hole loops at height `z`."""
        if z not in self._seen:
            self._seen[z] = list(self._circles(z, -1))
        return self._seen[z]

    def studs(self, z: float) -> list[Ring]:
        """Circles fitted to the outlines at height `z`; tops by the corners within them."""
        found = []
        for ring in self._circles(z, 1):
            away = np.linalg.norm(self.mesh.vertices[:, :2] - (ring.x, ring.y), axis=1)
            within = away <= ring.diameter / 2 + ring.residual + ON_WALL
            found.append(replace(ring, top=float(self.mesh.vertices[within, 2].max())))
        return found

    def openings(self) -> list[Ring]:
        """The rings EXTRA_DEPTH under both faces that look drilled, not like a nut's pocket."""
        low, high = self.mesh.vertices[:, 2].min(), self.mesh.vertices[:, 2].max()
        return [
            ring
            for z in (float(low) + EXTRA_DEPTH, float(high) - EXTRA_DEPTH)
            for ring in self.rings(z)
            if ring.residual <= TRULY_ROUND * ring.diameter / 2
            and ring.sagitta <= TRULY_ROUND_SAGITTA * ring.diameter / 2
        ]

    def _circles(self, z: float, turn: int) -> Iterator[Ring]:
        """The fairly round loops at height `z` that run that way round, not too wide."""
        for loop in self.mesh.section(z):
            size = np.ptp(loop, axis=0)
            round_enough = size.max() <= WIDEST and size.max() <= 1.5 * size.min()
            if signed_area(loop) * turn > 0 and round_enough:
                ring = fit_circle(loop, z)
                if max(ring.residual, ring.sagitta) <= OFF_ROUND * ring.diameter / 2:
                    yield ring


def fit_circle(loop: Array, z: float = 0.0) -> Ring:
    """The circle nearest to the corners of a closed loop (n, 2), n ≥ 3, at height `z`.

    Algebraic start (Kåsa: x² + y² = 2ax + 2by + c, linear), then Gauss–Newton on the distances.
    """
    back, ahead = loop - np.roll(loop, 1, axis=0), np.roll(loop, -1, axis=0) - loop
    cross = back[:, 0] * ahead[:, 1] - back[:, 1] * ahead[:, 0]
    points = loop[np.abs(np.arctan2(cross, (back * ahead).sum(axis=1))) > STRAIGHT]
    if len(points) < 3:
        points = loop
    middle = points.mean(axis=0)
    local = points - middle
    design = np.column_stack([2 * local, np.ones(len(local))])
    (a, b, c), *_ = np.linalg.lstsq(design, (local**2).sum(axis=1), rcond=None)
    estimate = np.array([a, b, np.sqrt(max(c + a * a + b * b, 0.0))])
    for _ in range(STEPS):
        away = local - estimate[:2]
        distance = np.maximum(np.linalg.norm(away, axis=1), 1e-12)
        jacobian = np.column_stack([-away / distance[:, None], -np.ones(len(local))])
        step, *_ = np.linalg.lstsq(jacobian, estimate[2] - distance, rcond=None)
        estimate = estimate + step
        if np.abs(step).max() < 1e-10:
            break
    centre, radius = estimate[:2] + middle, float(estimate[2])
    residual = np.abs(np.linalg.norm(points - centre, axis=1) - radius).max()
    chords = (points + np.roll(points, -1, axis=0)) / 2
    sagitta = (radius - np.linalg.norm(chords - centre, axis=1)).max()
    x, y = map(float, centre)
    return Ring(x, y, z, 2 * radius, float(residual), float(sagitta))


@dataclass(frozen=True, eq=False)
class _Axis:
    """Hollow faces, or bosses, about one upright axis; `radius` is None for a cone.

    Each arc is its height, radius and the angles it spans about z.
    """

    point: Array
    direction: Array
    radius: float | None
    low: float
    high: float
    arcs: tuple[tuple[float, float, tuple[float, float]], ...]

    def closed(self, low: float, high: float) -> bool:
        """Whether the arcs between two heights go all the way round."""
        return _all_round([span for height, _, span in self.arcs if low <= height <= high])

    def crosses(self, z: float) -> bool:
        """Whether it is a cylinder at height `z`, closed by arcs all round below and above."""
        there = self.radius is not None and self.low <= z <= self.high
        return there and self.closed(-np.inf, z) and self.closed(z, np.inf)

    def ring(self, z: float) -> Ring:
        """The opening at height `z`; a cone's is as wide as its widest arc."""
        radius = self.radius or max(radius for _, radius, _ in self.arcs)
        x, y, _ = self.point + self.direction * ((z - self.point[2]) / self.direction[2])
        return Ring(float(x), float(y), z, 2 * radius, top=self.high)


class StepBody:
    """A body's STEP piece in the ski frame: rings are its cylinders, exactly."""

    source: Source = "STEP"
    inset = 0.01  # mm inside the ends of a bore: the ends themselves, but for rounding

    def __init__(self, piece: StepPiece) -> None:
        faces = piece.shape.round_faces
        self._hollows = tuple(_axes(piece.pose, (face for face in faces if face.hollow)))
        self._bosses = tuple(_axes(piece.pose, (face for face in faces if not face.hollow)))

    def rings(self, z: float) -> list[Ring]:
        """Hollow cylinders all round at height `z`."""
        return [axis.ring(z) for axis in self._hollows if axis.crosses(z)]

    def studs(self, z: float) -> list[Ring]:
        """Solid cylinders all round at height `z`."""
        return [axis.ring(z) for axis in self._bosses if axis.crosses(z)]

    def openings(self) -> list[Ring]:
        """Every hollow cylinder or cone of EXTRA_DEPTH that is round at one of its ends."""
        found = []
        for axis in (axis for axis in self._hollows if axis.high - axis.low >= EXTRA_DEPTH):
            middle = (axis.low + axis.high) / 2
            if axis.closed(-np.inf, middle) or axis.closed(middle, np.inf):
                found.append(axis.ring(middle))
        return found


Body: TypeAlias = MeshBody | StepBody
"""A body in which openings and pegs can be looked for, in one of the two formats."""


def _axes(pose: Array, faces: Iterable[RoundFace]) -> Iterator[_Axis]:
    """The upright axes of faces, each with all faces of one radius that are about it."""
    groups: dict[tuple[float, ...], list[tuple[RoundFace, Array, Array]]] = defaultdict(list)
    for face in faces:
        place = pose @ face.place
        point, direction = place[:3, 3], place[:3, 2] * (1.0 if place[2, 2] >= 0 else -1.0)
        if direction[2] >= UPRIGHT and len(face.ends):
            foot = point - direction * (point[2] / direction[2])
            size = -1.0 if face.radius is None else face.radius
            key = (*foot[:2].tolist(), *direction.tolist(), size)
            groups[tuple(round(v, SAME_AXIS) + 0.0 for v in key)].append((face, point, direction))
    for group in groups.values():
        first, point, direction = group[0]
        heights = applied(pose, np.vstack([face.ends for face, _, _ in group]))[:, 2]
        arcs = tuple(
            _span(pose, arc) for face, _, _ in group for arc in face.arcs if _centred(face, arc)
        )
        yield _Axis(
            point, direction, first.radius, float(heights.min()), float(heights.max()), arcs
        )


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

"""Whether each solid of the STEP file is one: closed, its faces and edges fitting one another.

A file can have every corner where it belongs and yet be no solid: a face left out, a plane moved
under its edges, an edge bent between its ends.  Programs that read it make of that what they like.
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from jiggen.files import STEP_FILE
from jiggen.verify import limits
from jiggen.verify.evidence import Evidence
from jiggen.verify.geometry import Array, applied
from jiggen.verify.reading.entries import Part
from jiggen.verify.reading.step_assembly import StepPiece
from jiggen.verify.reading.step_columns import Rows
from jiggen.verify.reading.step_shape import PLANE, Shape
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.surfaces import Surfaces

Places = list[tuple[float, Array]]
"""How far off, and where in the shape's frame."""


def judge_shells(evidence: Evidence, ledger: Ledger) -> None:
    """Every solid must be closed, of faces whose edges lie on them and on their own curves."""
    seen: set[int] = set()
    for part in evidence.manifest.parts:
        for piece in (evidence.pieces[p.name] for p in part.placed if p.name in evidence.pieces):
            if id(piece.shape) not in seen:  # a product of several pieces is looked at once
                seen.add(id(piece.shape))
                _judge(part, piece, ledger.about(STEP_FILE, part.name))


def where(piece: StepPiece, point: Array) -> str:
    """A point of a piece's shape in the ski frame, in words."""
    x, y, z = applied(piece.pose, point[None])[0] + 0.0
    return f"at ({x:.2f}, {y:.2f}, {z:.2f})"


def _judge(part: Part, piece: StepPiece, about: Subject) -> None:
    shape = piece.shape
    surfaces = Surfaces(shape)
    words = ", ".join(shape.strange)
    message = f"has a surface or curve that is not understood: {words}"
    if not about.expect(not shape.strange, "verify.step-strange", message):
        return
    unclosed = _unclosed(shape)
    message = (
        f"its shell is not closed: {len(unclosed)} edges are not shared by two faces that run "
        f"through them in opposite directions, one {_middle(piece, unclosed)}"
    )
    about.within(len(unclosed), 0, 0, "verify.step-open", message, "")
    torn = _torn(shape)
    message = (
        f"{len(torn)} edges do not begin where the one before ends, one {_middle(piece, torn)}"
    )
    about.within(len(torn), 0, 0, "verify.step-loop", message, "")
    for what, (worst, point) in {
        "its face's surface": _off_surface(surfaces),
        "its own corner": _off_corner(shape),
    }.items():
        message = f"an edge is {worst:.3f} mm off {what} {where(piece, point)}"
        about.within(worst, 0.0, limits.STEP_EDGE, "verify.step-edge", message)
    wrong = _ill_bounded(surfaces)
    message = (
        f"{len(wrong)} faces are bounded by loops that cross or run the wrong way round, one "
        f"{_of_face(piece, wrong)}"
    )
    sound = about.within(len(wrong), 0, 0, "verify.step-face", message, "")
    if sound and not len(unclosed):
        volume, wanted = surfaces.volume, part.volume
        message = f"its faces enclose {volume:.1f} mm³ instead of {wanted:.1f} mm³"
        limit = limits.STEP_VOLUME * wanted
        about.within(volume, wanted, limit, "verify.step-volume", message, "mm³")


def _unclosed(shape: Shape) -> Rows:
    """Edges that the shells do not run through once ahead and once back."""
    solid = shape.solid[shape.face]
    key = solid * len(shape.ends) + shape.edge
    size = len(shape.ends) * max(shape.solids, 1)
    ahead, back = (np.bincount(key[shape.ahead == way], minlength=size) for way in (True, False))
    used = (ahead + back) > 0
    wrong: Rows = np.flatnonzero(used & ((ahead != 1) | (back != 1))).astype(np.int64)
    return wrong % np.int64(max(len(shape.ends), 1))


def _torn(shape: Shape) -> Rows:
    """Edges that do not begin where the edge before them in the loop ends."""
    if not len(shape.loop):
        return np.zeros(0, np.int64)
    ends = shape.ends[shape.edge]
    start = np.where(shape.ahead, ends[:, 0], ends[:, 1])
    stop = np.where(shape.ahead, ends[:, 1], ends[:, 0])
    before = np.arange(len(start)) - 1
    first = np.flatnonzero(np.diff(shape.loop, prepend=-1))
    before[first] = np.append(first[1:], len(start)) - 1  # the loop's last use
    torn: Rows = shape.edge[stop[before] != start]
    return torn


def _middle(piece: StepPiece, edges: Rows) -> str:
    """Where the middle of the first of some edges is, in words."""
    if not len(edges):
        return ""
    shape, edge = piece.shape, int(edges[0])
    points = shape.points[shape.first[edge] : shape.first[edge] + shape.count[edge]]
    return where(piece, points.mean(axis=0))


def _of_face(piece: StepPiece, faces: Rows) -> str:
    shape = piece.shape
    corners = shape.corners[shape.ends[shape.edge[shape.face == faces[0]]]] if len(faces) else []
    return where(piece, np.reshape(corners, (-1, 3)).mean(axis=0)) if len(corners) else ""


def _off_surface(surfaces: Surfaces) -> tuple[float, Array]:
    """How far an edge lies off the surface of a face that it bounds, all along it, and where."""
    shape, line = surfaces.shape, surfaces.line
    # Of a straight edge the two ends are enough on a plane, but not on a round surface.
    uses = np.flatnonzero(shape.straight[shape.edge] & (shape.kind != PLANE)[shape.face])
    ends = shape.points[shape.first[shape.edge[uses]][:, None] + np.arange(2)]
    points = np.vstack([line.points, ends.mean(axis=1)])
    face = shape.face[np.concatenate([line.use, uses])]
    return _worst(np.abs(surfaces.off(face, points)), points)


def _off_corner(shape: Shape) -> tuple[float, Array]:
    """How far an edge's own curve passes its corners, and where."""
    last = shape.first + shape.count - 1
    ends = shape.points[np.column_stack([shape.first, last])]
    corners = shape.corners[shape.ends]
    off = np.linalg.norm(ends - corners, axis=2).ravel()
    return _worst(off, corners.reshape(-1, 3))


def _worst(off: Array, points: Array) -> tuple[float, Array]:
    if not len(off):
        return 0.0, np.zeros(3)
    worst = int(np.argmax(np.where(np.isnan(off), np.inf, off)))
    return float(off[worst]), points[worst]


def _ill_bounded(surfaces: Surfaces) -> Rows:
    """Faces without an area of their own, or whose loops cross, or lie beside one another."""
    shape, line = surfaces.shape, surfaces.line
    faces = len(shape.kind)
    wrong = ~(surfaces.areas > 0)
    outer = (surfaces.loop_areas > 0) & ~surfaces.winds
    plain = np.bincount(shape.face_of_loop, surfaces.winds, faces) == 0
    wrong |= plain & (np.bincount(shape.face_of_loop, outer, faces) != 1)
    loop = shape.loop[line.use]
    points = np.bincount(loop, minlength=len(shape.face_of_loop))
    judged = plain & ~wrong
    judged[shape.face_of_loop[points < 4]] = False  # two edges there and back, or none
    wrong[shape.face_of_loop[points < 4]] = True
    wrong[judged] = ~_sound(surfaces, judged, outer)
    return np.flatnonzero(wrong)


def _sound(
    surfaces: Surfaces, judged: NDArray[np.bool_], outer: NDArray[np.bool_]
) -> NDArray[np.bool_]:
    """Whether the loops of the `judged` faces, unrolled, bound an area without a crossing."""
    shape = surfaces.shape
    loop = shape.loop[surfaces.line.use]
    chosen = judged[shape.face_of_loop[loop]] & surfaces.line.steps
    loops, owner = np.unique(loop[chosen], return_inverse=True)
    rings = shapely.linearrings(surfaces.charts[chosen], indices=owner)
    face = shape.face_of_loop[loops]
    order = np.lexsort((~outer[loops], face))  # of each face the outer one first
    number = np.unique(face[order], return_inverse=True)[1]
    return np.asarray(shapely.is_valid(shapely.polygons(rings[order], indices=number)))

"""What was done to the printed files for one printer, undone by what the manifest says of it.

The meshes of STL and 3MF are brought back to nominal when they are read: stretch, shear and
height exactly.  What was added to the diameters of guides, and by how much walls were set in,
stays in a mesh; it is known here, and what is wanted of the mesh is changed to match.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator

import numpy as np
from numpy.typing import NDArray

from jiggen.verify import limits
from jiggen.verify.frames import Array, applied, inverse
from jiggen.verify.manifest import MANIFEST, NOTHING_DONE, Compensation, Guide, Hole, Part
from jiggen.verify.mesh import Mesh
from jiggen.verify.results import Fault, Ledger

SAME = 1e-6  # mm between bore and throat of a guide without a bush
MOUTH = 1.0  # mm beyond a bore that its edges reach
KEPT = 1.0  # mm above the bed: walls that end below may keep their place
SHARPEST = 4.0  # of the set-in: how far a corner of two walls may have gone
LEVEL = 0.1  # share of a facet's normal: more level than this, it is no wall
SLACK = 0.1  # of what walls set in take away: corners, and walls that keep their place


def judge_compensation(done: Compensation, parts: Iterable[Part], ledger: Ledger) -> None:
    """What was done must be within all that a sound printer needs."""
    stretch = np.abs(np.append(np.array(done.matrix) - np.eye(2), done.height - 1)).max()
    rows = [
        ("size of the parts", float(stretch), limits.STRETCH, ""),
        ("hole", done.hole, limits.OFFSET, "mm"),
        ("pocket", done.pocket, limits.OFFSET, "mm"),
        ("moving", done.moving, limits.OFFSET, "mm"),
    ]
    for name, found, limit, unit in rows:
        size = f"{found:+.3f} mm" if unit else f"{100 * found:.2f} %"
        most = f"{limit:g} mm" if unit else f"{100 * limit:g} %"
        ledger.expect(
            abs(found) <= limit,
            Fault(
                "verify.compensation",
                MANIFEST,
                name,
                f"changed by {size} for the printer, {most} allowed",
                found,
                0.0,
                limit,
                unit,
            ),
        )
    may_be_set_in = {part.name for part in parts if not part.is_body}
    for name in done.set_in:
        ledger.expect(
            name in may_be_set_in,
            Fault(
                "verify.compensation", MANIFEST, name, "no moving part whose walls may be set in"
            ),
        )


def undone(mesh: Mesh, done: Compensation) -> Mesh:
    """A mesh as read, stretch, shear and height taken back."""
    if done is NOTHING_DONE:
        return mesh
    return Mesh(mesh.vertices @ np.linalg.pinv(done.linear).T, mesh.triangles)


def done_again(mesh: Mesh, done: Compensation) -> Mesh:
    """The mesh of :func:`undone` as the printer gets it."""
    if done is NOTHING_DONE:  # the same object: what was reckoned of it is reckoned once
        return mesh
    return Mesh(mesh.vertices @ done.linear.T, mesh.triangles)


def misdone(done: Compensation) -> Iterator[tuple[str, Array]]:
    """What may have been done instead, in words, and the 3×3 that takes its undoing further.

    It carries what `undone` makes of such a file to the nominal mesh.
    """
    right = done.linear
    if np.abs(right - np.eye(3)).max() < SAME:
        return
    transposed, exchanged = right.copy(), right.copy()
    transposed[:2, :2] = right[:2, :2].T
    exchanged[:2, :2] = right[1::-1, 1::-1]
    for words, made in (
        ("is not compensated at all", np.eye(3)),
        ("is compensated twice", right @ right),
        ("is compensated the wrong way round", np.linalg.pinv(right)),
        ("is skewed the wrong way, its compensation transposed", transposed),
        ("is compensated for x along y, and for y along x", exchanged),
    ):
        yield words, np.asarray(np.linalg.pinv(made) @ right)


def as_printed(guide: Guide, done: Compensation) -> Guide:
    """`guide` with the diameters that the printed files have."""
    return guide.model_copy(
        update={"bore": guide.bore + bore_growth(guide, done), "throat": guide.throat + done.hole}
    )


def bore_growth(guide: Guide, done: Compensation) -> float:
    """What was added to the diameter of a guide's bore, mm: a bush pocket's, or a hole's."""
    return done.pocket if guide.bore > guide.throat + SAME else done.hole


def volume_of(
    part: Part, mesh: Mesh, guides: Iterable[Guide], done: Compensation
) -> tuple[float, float]:
    """The volume in mm³ that a part's undone mesh should have, and how far off it may be."""
    allowed = limits.VOLUME * part.volume
    if part.name in done.set_in:
        taken = done.moving * _wall_area(mesh)
        return part.volume - taken, allowed + SLACK * abs(taken)
    taken = sum(
        _ring(guide.bore, printed.bore, guide.bore_z)
        + _ring(guide.throat, printed.throat, (guide.throat_z[0], guide.bore_z[0]))
        for guide, printed in ((guide, as_printed(guide, done)) for guide in guides)
    )
    return part.volume - taken, allowed


def _ring(inner: float, outer: float, heights: tuple[float, float]) -> float:
    return math.pi / 4 * (outer**2 - inner**2) * max(0.0, heights[1] - heights[0])


def _wall_area(mesh: Mesh) -> float:
    """Area of all faces as seen from the side, mm²: what a set-in is multiplied by."""
    return float(np.linalg.norm(_normals(mesh)[:, :2], axis=1).sum() / 2)


def _normals(mesh: Mesh) -> Array:
    """Each triangle's outward normal, twice its area long."""
    corners = mesh.vertices[mesh.triangles]
    return np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])


def allowed(
    part: Part, corners: Array, guides: Iterable[tuple[Hole, Guide]], done: Compensation
) -> Array:
    """How far each STEP corner (n, 3), in the file's frame, may lie from the mesh's, mm.

    Near a guide by what was added to its diameters, which are measured for themselves; of a part
    that was set in as far as two walls' corner may have gone.
    """
    limit = np.full(len(corners), limits.SHAPE)
    if part.name in done.set_in:
        return limit + SHARPEST * abs(done.moving)
    from_ski = inverse(part.matrix)
    for hole, guide in guides:
        near = limits.SHAPE + abs(done.hole) + abs(bore_growth(guide, done))
        axis = applied(from_ski, np.array([[hole.x, hole.y, 0.0]]))[0]
        away = np.linalg.norm(corners[:, :2] - axis[:2], axis=1)
        limit[away <= guide.bore / 2 + MOUTH] = near
    return limit


def set_in_errors(mesh: Mesh, corners: Array, moving: float) -> Array:
    """How far the walls next to each STEP corner (n, 3) are from lying `moving` inside it, mm.

    Both in the file's frame, the mesh undone.  A corner within KEPT of the bed may also be where
    it was: an engraved scale, and a first layer drawn in already, are not set in.
    """
    from scipy.spatial import cKDTree

    facing, starts = _walls_by_vertex(mesh)
    reach = SHARPEST * abs(moving) + limits.SHAPE
    tree = cKDTree(mesh.vertices)
    nearest, _ = tree.query(corners)
    errors = np.where(corners[:, 2] <= KEPT, nearest, np.inf)
    for index, near in enumerate(tree.query_ball_point(corners, reach)):
        for vertex in near:
            walls = facing[starts[vertex] : starts[vertex + 1]]
            away = corners[index] - mesh.vertices[vertex]
            if not len(walls) or abs(away[2]) > limits.SHAPE:
                continue
            errors[index] = min(errors[index], np.abs(walls @ away[:2] - moving).max())
    return np.where(np.isfinite(errors), errors, np.maximum(nearest, abs(moving)))


def _walls_by_vertex(mesh: Mesh) -> tuple[Array, NDArray[np.int64]]:
    """Level outward normals (k, 2) of walls; vertex i has those from starts[i] to starts[i + 1]."""
    normals = _normals(mesh)
    level = np.linalg.norm(normals[:, :2], axis=1)
    walls = np.flatnonzero(level > LEVEL * np.linalg.norm(normals, axis=1))
    along = np.repeat(normals[walls, :2] / level[walls, None], 3, axis=0)
    vertex = mesh.triangles[walls].reshape(-1)
    order = np.argsort(vertex, kind="stable")
    starts = np.searchsorted(vertex[order], np.arange(len(mesh.vertices) + 1))
    return along[order], starts

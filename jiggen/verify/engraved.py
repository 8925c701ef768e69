"""Engravings as found in a body's files: the outlines of their floors, flat, in the ski frame.

A floor is what lies level at the engravings' depth.  Its outline comes as loose segments
(n, 2, 2), mm: enough to cross it with a line, and to tell inside from outside.
"""

from __future__ import annotations

import numpy as np

from jiggen.verify.frames import Array, applied
from jiggen.verify.mesh import Mesh
from jiggen.verify.step_assembly import StepPiece

LEVEL = 1e-3  # mm a floor may be off its height
SAME = 5  # digits of a mm


def floors_of_mesh(mesh: Mesh, z: float) -> Array:
    """The floors' outlines at height `z`: edges of just one level triangle."""
    level = np.abs(mesh.vertices[:, 2] - z) <= LEVEL
    corners = mesh.triangles[level[mesh.triangles].all(axis=1)]
    edges = np.sort(np.stack([corners, np.roll(corners, -1, axis=1)], axis=-1).reshape(-1, 2))
    ends, count = np.unique(edges, axis=0, return_counts=True)
    return np.asarray(mesh.vertices[ends[count == 1], :2])


def floors_of_step(piece: StepPiece, z: float) -> Array:
    """The floors' outlines at height `z`: edges of just one level flat face."""
    found: dict[tuple[float, ...], Array] = {}
    for flat in piece.shape.flats:
        ends = applied(piece.pose, flat.reshape(-1, 3)).reshape(-1, 2, 3)
        if not len(ends) or np.abs(ends[:, :, 2] - z).max() > LEVEL:
            continue
        for edge in ends[:, :, :2]:
            order = sorted(tuple(np.round(point, SAME) + 0.0) for point in edge.tolist())
            key = (*order[0], *order[1])
            if key in found:
                del found[key]  # two faces share it: it lies within their floor
            else:
                found[key] = edge
    return np.array(list(found.values())).reshape(-1, 2, 2)


def cut_by(segments: Array, y: float, widest: float) -> list[tuple[float, float]]:
    """Where the line at `y` runs through floors no wider than `widest` along it: x from, to."""
    (x0, y0), (x1, y1) = segments[:, 0].T, segments[:, 1].T
    crossed = (y0 > y) != (y1 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        at = np.sort((x0 + (y - y0) * (x1 - x0) / (y1 - y0))[crossed])
    pairs = zip(at[::2].tolist(), at[1::2].tolist(), strict=False)
    return [(start, stop) for start, stop in pairs if stop - start <= widest]


def within(segments: Array, low: float, high: float) -> Array:
    """The segments that lie between two y's."""
    ys = segments[:, :, 1]
    return np.asarray(segments[(ys.min(axis=1) >= low) & (ys.max(axis=1) <= high)])


def inked(segments: Array, xs: Array, ys: Array) -> Array:
    """(len(ys), len(xs)) bool: which points lie inside the outlines (even-odd)."""
    (x0, y0), (x1, y1) = segments[:, 0].T, segments[:, 1].T
    rows = np.zeros((len(ys), len(xs)), dtype=bool)
    for number, y in enumerate(ys.tolist()):
        crossed = (y0 > y) != (y1 > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            at = np.sort((x0 + (y - y0) * (x1 - x0) / (y1 - y0))[crossed])
        rows[number] = np.searchsorted(at, xs) % 2 == 1
    return rows

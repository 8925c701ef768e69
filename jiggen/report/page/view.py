"""The jig in use as data for the page's viewer: each part once, small, placed by its poses."""

from __future__ import annotations

import base64
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.design.engraving import DEPTH
from jiggen.export.preview import INK, colour_of, ski_piece
from jiggen.record.entries import Part, PlacedPart
from jiggen.verify.geometry import applied
from jiggen.verify.mesh import Mesh, MeshError, read_stl

Array = NDArray[np.float64]

CREASE = 30.0  # degrees: a sharper edge is drawn as one
LEVEL = 0.01  # mm: how far an engraving's floor may lie from where it should
OVERHANG = 60.0  # mm of ski shown beyond the jig
FINEST = 65535  # steps that a coordinate is told in, over the part's own size
LABELS = {
    "body": "Body",
    "plate": "Plate",
    "rail": "Rails",
    "pinion": "Pinions",
    "knob": "Knobs",
    "ski": "Ski (plain stand-in)",
}
STILL = np.eye(4)
NOT_APART: Mapping[str, float] = MappingProxyType({})


@dataclass(frozen=True)
class _ShownPart:
    """A part for the viewer: corners in FINEST steps of its size, normals in 127ths, triangles.

    `low` and `size` are in the part's own frame, `boxes` (one per piece: least, greatest corner)
    in the ski's.  Of the triangles the first `plain` corners are drawn in `colour`; the floors of
    engravings come last, and are drawn dark to be read.
    """

    group: str
    colour: tuple[float, float, float]
    low: list[float]
    size: list[float]
    points: str
    normals: str
    triangles: str
    wide: bool
    plain: int
    poses: list[list[float]]
    boxes: list[list[list[float]]]


@dataclass(frozen=True)
class View:
    """The viewer's data as JSON, what can be shown and hidden, and files that were no meshes."""

    data: str
    groups: tuple[tuple[str, str], ...]
    unreadable: tuple[str, ...]


def view_of(
    folder: Path,
    parts: Sequence[Part],
    ski: float,
    apart: Mapping[str, float] = NOT_APART,
) -> View:
    """The pieces of a jig's `parts`, read from `folder`, on a stand-in for a ski `ski` mm wide.

    `apart` is how far along the ski a placed piece is moved, mm, by its name.
    """
    shown: list[_ShownPart] = []
    unreadable = []
    for part in parts:
        poses = [_pose(placed, apart) for placed in part.placed]
        try:
            mesh = read_stl(folder / part.file)
        except (OSError, MeshError):
            unreadable.append(part.file)
            continue
        shown.append(_part(part.kind, mesh, poses))
    if shown:
        shown.append(_ski([end for part in shown for box in part.boxes for end in box], ski))
    groups = tuple({part.group: LABELS.get(part.group, part.group) for part in shown}.items())
    data = json.dumps(
        {"parts": [asdict(part) for part in shown], "ink": INK},
        separators=(",", ":"),
        allow_nan=False,
    )
    return View(data, groups, tuple(unreadable))


def _pose(placed: PlacedPart, apart: Mapping[str, float]) -> Array:
    pose = np.array(placed.to_ski, dtype=float)
    pose[0, 3] += apart.get(placed.name, 0.0)
    return pose


def _ski(corners: Sequence[Sequence[float]], width: float) -> _ShownPart:
    along = [x for x, _, _ in corners]
    bar = ski_piece((min(along) - OVERHANG, max(along) + OVERHANG), width)
    return _part("ski", Mesh(bar.vertices, bar.triangles), [STILL])


def _part(kind: str, mesh: Mesh, poses: Sequence[Array]) -> _ShownPart:
    """A part for the viewer, seen at each of its `poses`."""
    placed = [mesh.moved(pose).vertices for pose in poses]
    points, normals, triangles = _creased(mesh)
    floor = _floors(applied(poses[0], points)[:, 2], triangles)
    order = np.argsort(floor, kind="stable")
    low, size = points.min(axis=0), np.ptp(points, axis=0)
    steps = np.divide(points - low, size, out=np.zeros_like(points), where=size > 0) * FINEST
    index = "<u2" if len(points) <= FINEST else "<u4"
    return _ShownPart(
        group=kind,
        colour=colour_of(kind),
        low=_rounded(low),
        size=_rounded(size),
        points=_base64(np.rint(steps).astype("<u2")),
        normals=_base64(np.rint(np.nan_to_num(normals) * 127).astype("i1")),
        triangles=_base64(triangles[order].astype(index)),
        wide=index == "<u4",
        plain=int(3 * (~floor).sum()),
        poses=[_rounded(pose.ravel()) for pose in poses],
        boxes=[[_rounded(piece.min(axis=0)), _rounded(piece.max(axis=0))] for piece in placed],
    )


def _creased(mesh: Mesh) -> tuple[Array, Array, NDArray[np.int64]]:
    """Corners, normals and triangles with corners parted along every sharp edge."""
    import trimesh

    whole = trimesh.Trimesh(mesh.vertices, mesh.triangles, process=False)
    parted = trimesh.graph.smooth_shade(whole, angle=np.radians(CREASE), facet_minarea=None)
    return (
        np.asarray(parted.vertices, dtype=float),
        np.asarray(parted.vertex_normals, dtype=float),
        np.asarray(parted.faces, dtype=np.int64),
    )


def _floors(heights: Array, triangles: NDArray[np.int64]) -> NDArray[np.bool_]:
    """Which triangles lie level, an engraving's depth under the top of the piece in use."""
    off = np.abs(heights[triangles] - (heights.max() - DEPTH)).max(axis=1)
    return np.asarray(off < LEVEL)


def _base64(values: NDArray[Any]) -> str:
    return base64.b64encode(np.ascontiguousarray(values).tobytes()).decode("ascii")


def _rounded(values: Array) -> list[float]:
    return [round(float(value), 6) + 0.0 for value in values]

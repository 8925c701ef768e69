"""Engravings as found in a body's files: lines and numbers in outlines, of floors and of cuts.

A floor is what lies level at the engravings' depth.  An outline comes as loose segments
(n, 2, 2), mm, flat, in the ski frame: enough to cross it with a line, and to compare it with the
outline of a text in the engraving font, which is read and flattened here anew.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from jiggen.verify.geometry import Array
from jiggen.verify.reading.mesh import Mesh
from jiggen.verify.reading.step_assembly import StepPiece

LEVEL = 1e-3  # mm a floor may be off its height
SAME = 5  # digits of a mm
FONT = "DejaVuSansCondensed-Bold.ttf"
BETWEEN = 0.3  # mm along the ski without an engraving that part one number from the next
CURVE = 6  # chords per quadratic arc of the font
# Of a text's height, between its outline and the one found: the chords of what is engraved lie up
# to 0.04 off the font's curves, the outlines of any two numbers 0.10 at least.
SAME_TEXT = 0.06
UNREADABLE = "?"


def floors_of_mesh(mesh: Mesh, z: float) -> Array:
    """The floors' outlines at height `z`: edges of just one level triangle."""
    level = np.abs(mesh.vertices[:, 2] - z) <= LEVEL
    corners = mesh.triangles[level[mesh.triangles].all(axis=1)]
    edges = np.sort(np.stack([corners, np.roll(corners, -1, axis=1)], axis=-1).reshape(-1, 2))
    ends, count = np.unique(edges, axis=0, return_counts=True)
    return np.asarray(mesh.vertices[ends[count == 1], :2])


def floors_of_step(piece: StepPiece, z: float) -> Array:
    """The floors' outlines at height `z`: edges of just one level flat face."""
    edges, face = piece.flat_edges
    if not len(edges):
        return np.zeros((0, 2, 2))
    off = np.zeros(face[-1] + 1)
    np.maximum.at(off, face, np.abs(edges[:, :, 2] - z).max(axis=1))
    flat = edges[off[face] <= LEVEL][:, :, :2]
    near = np.round(flat, SAME) + 0.0
    turned = (near[:, 0, 0] > near[:, 1, 0]) | (
        (near[:, 0, 0] == near[:, 1, 0]) & (near[:, 0, 1] > near[:, 1, 1])
    )
    near[turned] = near[turned][:, ::-1]
    # Of two faces that share an edge, it lies within their floor.
    _, first, count = np.unique(near.reshape(-1, 4), axis=0, return_index=True, return_counts=True)
    return np.asarray(flat[first[count == 1]])


def cut_by(segments: Array, y: float, widest: float) -> list[tuple[float, float]]:
    """Where the line at `y` runs through floors no wider than `widest` along it: x from, to."""
    at = crossings(segments, y)
    pairs = zip(at[::2].tolist(), at[1::2].tolist(), strict=False)
    return [(start, stop) for start, stop in pairs if stop - start <= widest]


def outline_of_mesh(mesh: Mesh, z: float) -> Array:
    """The mesh's outline where the plane at height `z` cuts it."""
    ahead = [np.stack([loop, np.roll(loop, -1, axis=0)], axis=1) for loop in mesh.section(z)]
    return np.concatenate(ahead) if ahead else np.zeros((0, 2, 2))


def outline_of_step(piece: StepPiece, z: float) -> Array:
    """The outline where the plane at height `z` cuts the solid's flat faces with straight edges."""
    edges, face = piece.flat_edges
    start, stop = edges[:, 0], edges[:, 1]
    cut = (start[:, 2] >= z) != (stop[:, 2] >= z)
    start, stop, face = start[cut], stop[cut], face[cut]
    even = np.bincount(face)[face] % 2 == 0  # else curved edges are cut too
    start, stop, face = start[even], stop[even], face[even]
    share = (z - start[:, 2:]) / (stop[:, 2:] - start[:, 2:])
    points = (start + share * (stop - start))[:, :2]
    # In their order along the cut they begin and end what lies in the face.
    near = np.round(points, SAME)
    order = np.lexsort((near[:, 0], near[:, 1], face))
    return np.asarray(points[order].reshape(-1, 2, 2))


def gaps(segments: Array, face: float, y: float, widest: float) -> list[tuple[float, float]]:
    """Where the line at `y` leaves an outline through openings in its `face`: x from, to.

    `face` is the y of a straight side; what is wider than `widest` is left out.
    """
    at = crossings(segments, y)
    ends = np.sort(segments[(np.abs(segments[:, :, 1] - face) <= LEVEL).all(axis=1), :, 0], axis=1)
    return [
        (start, stop)
        for start, stop in pairwise(at.tolist())
        if stop - start <= widest and not _covered(ends, (start + stop) / 2)
    ]


def _covered(ends: Array, x: float) -> bool:
    return bool(((ends[:, 0] < x) & (x < ends[:, 1])).any())


def heights_at(mesh: Mesh, points: Array, top: float) -> list[tuple[float, ...]]:
    """Where an upright line at each of `points` (n, 2) meets the mesh below `top`, rising."""
    corners = mesh.vertices[mesh.triangles]
    corners = corners[corners[:, :, 2].min(axis=1) < top]
    low, high = corners[:, :, :2].min(axis=1), corners[:, :, :2].max(axis=1)
    found = []
    for point in points:
        near = corners[((low <= point) & (point <= high)).all(axis=1)]
        (ax, ay, az), (bx, by, bz), (cx, cy, cz) = (near[:, corner].T for corner in range(3))
        area = (bx - ax) * (cy - ay) - (cx - ax) * (by - ay)
        with np.errstate(divide="ignore", invalid="ignore"):
            b = ((point[0] - ax) * (cy - ay) - (cx - ax) * (point[1] - ay)) / area
            c = ((bx - ax) * (point[1] - ay) - (point[0] - ax) * (by - ay)) / area
        met = (b >= 0) & (c >= 0) & (b + c <= 1)  # never an upright triangle: no area, no number
        z = az + b * (bz - az) + c * (cz - az)
        found.append(tuple(sorted(z[met & (z < top)].tolist())))
    return found


def crossings(segments: Array, y: float) -> Array:
    """The x, rising, at which `segments` cross the line at `y`."""
    (x0, y0), (x1, y1) = segments[:, 0].T, segments[:, 1].T
    crossed = (y0 > y) != (y1 > y)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.sort((x0 + (y - y0) * (x1 - x0) / (y1 - y0))[crossed]))


def within(segments: Array, low: float, high: float) -> Array:
    """The segments that lie between two y's."""
    ys = segments[:, :, 1]
    return np.asarray(segments[(ys.min(axis=1) >= low) & (ys.max(axis=1) <= high)])


@dataclass(frozen=True, eq=False)
class Number:
    """An engraved number: the `x` of its middle, mm, and its outline about it, upright, 1 high."""

    x: float
    outline: Any

    def read(self, texts: Iterable[str]) -> tuple[str, bool]:
        """Which of `texts` it says, or UNREADABLE; and whether back to front, or upside down."""
        texts = tuple(dict.fromkeys(text for text in texts if text))
        for ways in (((1, 1),), ((-1, 1), (1, -1))):
            turned = [affinity.scale(self.outline, *way, origin=(0, 0)) for way in ways]
            # One corner in eight tells most other texts apart, at a twentieth of the cost.
            few = [shapely.points(shapely.get_coordinates(shape)[::8]) for shape in turned]
            for text in texts:
                wanted = _written(text)
                for shape, corners in zip(turned, few, strict=True):
                    near = shapely.dwithin(corners, wanted, SAME_TEXT).all()
                    if near and shape.hausdorff_distance(wanted) <= SAME_TEXT:
                        return text, len(ways) > 1
        return UNREADABLE, False


def find_numbers(segments: Array) -> list[Number]:
    """The numbers, read across the ski, in outlines `segments` (n, 2, 2), by rising x."""
    found: list[list[Any]] = []
    reached = -np.inf
    areas = shapely.get_parts(shapely.build_area(shapely.multilinestrings(segments)))
    for area in sorted(areas, key=lambda area: area.bounds[0]):
        if area.bounds[0] - reached > BETWEEN:
            found.append([])
        found[-1].append(area)
        reached = max(reached, area.bounds[2])
    return [
        Number((parts[0].bounds[0] + max(part.bounds[2] for part in parts)) / 2, _outline(across))
        for parts in found
        # Turned upright: it is read across the ski.
        for across in [affinity.rotate(shapely.MultiPolygon(parts), 90, origin=(0, 0))]
    ]


def _outline(shape: Any) -> Any:
    """The shape's outline about its middle, 1 high."""
    if shape.is_empty:  # of white space
        return shape
    x0, y0, x1, y1 = shape.bounds
    k = 1 / (y1 - y0)
    by = (k, 0, 0, k, -k * (x0 + x1) / 2, -k * (y0 + y1) / 2)
    return affinity.affine_transform(shape.boundary, by)


@cache
def _written(text: str) -> Any:
    """The outline of `text` in the engraving font, about its middle, 1 high."""
    return _outline(shapely.union_all([letter for _, letter in lettered(text, CURVE)]))


def lettered(text: str, chords: int) -> list[tuple[str, Any]]:
    """Each character of `text` with its shape in the engraving font, in font units.

    Every arc of a letter's curves is so many `chords`.
    """
    font = _font()
    names, at, found = font.getBestCmap(), 0.0, []
    for character in text:
        name = names.get(ord(character), ".notdef")
        shape, width = _glyph(name, chords)
        found.append((character, affinity.translate(shape, at)))
        at += width
    return found


@cache
def capital() -> float:
    """The height of the font's capitals, in font units."""
    return float(_glyph("H", 1)[0].bounds[3])


@cache
def _glyph(name: str, chords: int) -> tuple[Any, float]:
    """A glyph's shape and its advance."""
    glyphs = _font().getGlyphSet()
    rings = _rings(glyphs, name, chords)
    return shapely.build_area(shapely.MultiLineString(rings)), float(glyphs[name].width)


@cache
def _font() -> Any:
    from fontTools.ttLib import TTFont

    return TTFont(BytesIO(files("jiggen").joinpath("fonts", FONT).read_bytes()))


def _rings(glyphs: Any, name: str, chords: int) -> list[list[Any]]:
    """A glyph's closed rings in font units, points (x, y), every arc of its curves as `chords`."""
    from fontTools.pens.basePen import decomposeQuadraticSegment
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    rings: list[list[Any]] = []
    for command, points in pen.value:
        if command == "moveTo":
            rings.append([points[0]])
        elif command == "lineTo":
            rings[-1].append(points[0])
        elif command == "qCurveTo":
            for control, end in decomposeQuadraticSegment(points):
                a, b, c = (np.array(point) for point in (rings[-1][-1], control, end))
                for t in np.arange(1, chords + 1) / chords:
                    rings[-1].append((1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c)
        else:  # closePath
            rings[-1].append(rings[-1][0])
    return rings

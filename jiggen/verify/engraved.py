"""Engravings as found in a body's files: lines and numbers in the outlines of their floors.

A floor is what lies level at the engravings' depth.  Its outline comes as loose segments
(n, 2, 2), mm, flat, in the ski frame: enough to cross it with a line, and to compare it with the
outline of a text in the engraving font, which is read and flattened here anew.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any

import numpy as np
import shapely
from shapely import affinity

from jiggen.verify.geometry import Array, applied
from jiggen.verify.mesh import Mesh
from jiggen.verify.step_assembly import StepPiece

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
    font = _font()
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    at, rings = 0.0, []
    for character in text:
        name = names.get(ord(character), ".notdef")
        rings += [np.add(ring, (at, 0.0)) for ring in _rings(glyphs, name)]
        at += glyphs[name].width
    return _outline(shapely.build_area(shapely.MultiLineString(rings)))


@cache
def _font() -> Any:
    from fontTools.ttLib import TTFont

    return TTFont(BytesIO(files("jiggen").joinpath("fonts", FONT).read_bytes()))


def _rings(glyphs: Any, name: str) -> list[list[Any]]:
    """A glyph's closed rings in font units, points (x, y), its curves as chords."""
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
                for t in np.arange(1, CURVE + 1) / CURVE:
                    rings[-1].append((1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c)
        else:  # closePath
            rings[-1].append(rings[-1][0])
    return rings

"""Letters as plain polygons, from the one open font shipped in the package.

Curves are flattened coarsely on purpose: engraved text dominates a jig's build time, and a
0.4 mm nozzle cannot tell the difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon
from shapely.ops import unary_union

from jiggen.errors import Finding, InputError

FONT = "DejaVuSansCondensed-Bold.ttf"
CURVE_STEPS = 1  # chords a quadratic arc: 0.15 mm off at 6 mm capitals, half a nozzle

Ring = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Region:
    """A flat region: outer ring and inner rings, each (n, 2) float, mm, not closed."""

    outer: Ring
    inner: tuple[Ring, ...] = ()

    @property
    def polygon(self) -> Polygon:
        """The region as a shapely polygon."""
        return Polygon(self.outer, self.inner)


def regions_of(shape: shapely.Geometry) -> tuple[Region, ...]:
    """The polygons of a shapely geometry as plain regions."""
    return tuple(
        Region(
            np.asarray(polygon.exterior.coords)[:-1, :2],
            tuple(np.asarray(ring.coords)[:-1, :2] for ring in polygon.interiors),
        )
        for polygon in shapely.get_parts(shape)
        if isinstance(polygon, Polygon)
    )


def letter(text: str, cap_height: float) -> MultiPolygon:
    """`text` with capitals of `cap_height` mm, its lower left corner at the origin.

    Raises InputError when the font lacks a character: nothing is silently replaced.
    """
    missing = sorted({c for c in text if not c.isspace() and ord(c) not in _font().glyphs})
    if missing:
        raise InputError(
            Finding(
                "design.no-letter",
                f"the engraving font has no {', '.join(map(repr, missing))}, wanted in {text!r}",
                key="name",
                hint="Write the name in letters the font has (Latin, Greek, Cyrillic …).",
            )
        )
    scale = cap_height / _font().cap_height
    pen = 0.0
    shapes = []
    for character in text:
        shape, advance = _glyph(_font().glyphs.get(ord(character), "space"))
        shapes.append(
            shapely.affinity.affine_transform(shape, (scale, 0, 0, scale, pen * scale, 0))
        )
        pen += advance
    whole = unary_union(shapes)
    if not whole.is_empty:
        left, bottom, *_ = whole.bounds
        whole = shapely.transform(whole, lambda xy: xy - (left, bottom))
    return MultiPolygon(shapely.get_parts(whole).tolist())


def upright(text: str, cap_height: float) -> MultiPolygon:
    """`text` as `letter` has it, turned to be read from the tail, as one looks to the tip."""
    return shapely.affinity.rotate(letter(text, cap_height), -90, origin=(0, 0))


@dataclass(frozen=True)
class _Font:
    glyphs: dict[int, str]
    cap_height: float


@cache
def _ttfont():  # type: ignore[no-untyped-def]
    from fontTools.ttLib import TTFont

    resource = files("jiggen").joinpath("fonts", FONT)
    if not resource.is_file():
        raise InputError(
            Finding(
                "design.no-font",
                f"the engraving font {FONT} is missing from the jiggen package",
                hint="Install jiggen again.",
            )
        )
    return TTFont(BytesIO(resource.read_bytes()), lazy=True)


@cache
def _font() -> _Font:
    font = _ttfont()
    capital, _ = _glyph("H")
    return _Font(dict(font.getBestCmap()), float(capital.bounds[3]))


@cache
def _glyph(name: str) -> tuple[shapely.Geometry, float]:
    """One glyph as a shapely geometry in font units, and its advance width."""
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    glyphs = _ttfont().getGlyphSet()
    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    rings: list[list[tuple[float, float]]] = []
    for command, points in pen.value:
        if command == "moveTo":
            rings.append([points[0]])
        elif command == "lineTo":
            rings[-1].append(points[0])
        elif command == "qCurveTo":
            rings[-1].extend(_flat_curve(rings[-1][-1], points))
    # TrueType fills clockwise rings; the others are holes in them.
    solid = [ring for ring in rings if not shapely.is_ccw(shapely.LinearRing(ring))]
    holes = [ring for ring in rings if shapely.is_ccw(shapely.LinearRing(ring))]
    filled = unary_union([Polygon(ring).buffer(0) for ring in solid])
    shape = filled.difference(unary_union([Polygon(ring).buffer(0) for ring in holes]))
    return shape, float(glyphs[name].width)


def _flat_curve(
    start: tuple[float, float], points: tuple[tuple[float, float], ...]
) -> list[tuple[float, float]]:
    """A TrueType quadratic spline (implied on-curve points between controls) as chords."""
    *controls, end = (np.asarray(point, dtype=np.float64) for point in points)
    flat: list[tuple[float, float]] = []
    here = np.asarray(start, dtype=np.float64)
    for index, control in enumerate(controls):
        there = end if index == len(controls) - 1 else (control + controls[index + 1]) / 2
        for t in np.linspace(0, 1, CURVE_STEPS + 1)[1:]:
            point = (1 - t) ** 2 * here + 2 * t * (1 - t) * control + t**2 * there
            flat.append((float(point[0]), float(point[1])))
        here = there
    return flat


def hexagon(flats: float) -> Ring:
    """Corners (6, 2) of a regular hexagon of width `flats` over its flats, the first on x; mm."""
    angles = np.radians(np.arange(0, 360, 60))
    corners = np.column_stack([np.cos(angles), np.sin(angles)])
    return np.asarray(flats / np.sqrt(3) * corners)

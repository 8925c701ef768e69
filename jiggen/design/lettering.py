"""Letters as plain polygons, from the one open font shipped in the package.

A curve becomes the chords between its on-curve points, 0.15 mm off at 6 mm capitals: engraved
text dominates a jig's build time, and a 0.4 mm nozzle cannot tell the difference.
"""

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cache
from importlib.resources import files
from io import BytesIO
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from jiggen.errors import InputError

FONT = "DejaVuSansCondensed-Bold.ttf"

Ring = NDArray[np.float64]
Bounds = tuple[float, float, float, float]


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
    """`text` in capitals of `cap_height` mm at the origin; InputError for what the font lacks."""
    _, names = _font()
    missing = sorted({c for c in text if not c.isspace() and ord(c) not in names})
    if missing:
        raise InputError.of(
            "design.no-letter",
            f"the engraving font has no {', '.join(map(repr, missing))}, wanted in {text!r}",
            key="name",
            hint="Write the name in letters the font has (Latin, Greek, Cyrillic …).",
        )
    capital, _ = _glyph("H")
    scale, pen, shapes = cap_height / capital.bounds[3], 0.0, []
    for character in text:
        shape, advance = _glyph(names.get(ord(character), "space"))
        placed = (scale, 0, 0, scale, pen * scale, 0)
        shapes.append(shapely.affinity.affine_transform(shape, placed))
        pen += advance
    whole = shapely.union_all(shapes)
    if not whole.is_empty:
        left, bottom, *_ = whole.bounds
        whole = shapely.transform(whole, lambda xy: xy - (left, bottom))
    return MultiPolygon(shapely.get_parts(whole).tolist())


SignKind = Literal["text", "arrow", "axis", "diamond"]


@dataclass(frozen=True)
class Sign:
    """A text, or a shape that says something: the middle of its box, and its `turn` in degrees.

    `size` is the height of a text's capitals, else the length before it is turned; mm.
    """

    kind: SignKind
    text: str
    x: float
    y: float
    size: float
    turn: float = 0.0


@dataclass(frozen=True, eq=False)
class Drawn:
    """A shape to engrave: the signs and the upright lines, boxes, that it is made of."""

    shape: shapely.Geometry
    signs: tuple[Sign, ...] = ()
    lines: tuple[Bounds, ...] = ()

    @property
    def bounds(self) -> Bounds:
        """The shape's."""
        return _bounds(self.shape)

    def moved(self, x: float, y: float) -> "Drawn":
        """It, shifted by `x` and `y`."""
        signs = (replace(sign, x=sign.x + x, y=sign.y + y) for sign in self.signs)
        lines = ((x0 + x, y0 + y, x1 + x, y1 + y) for x0, y0, x1, y1 in self.lines)
        return Drawn(shapely.affinity.translate(self.shape, x, y), tuple(signs), tuple(lines))

    def turned(self, degrees: int) -> "Drawn":
        """Its signs turned about the origin by quarter turns."""
        c, s = round(math.cos(math.radians(degrees))), round(math.sin(math.radians(degrees)))
        signs = []
        for sign in self.signs:
            x, y = c * sign.x - s * sign.y, s * sign.x + c * sign.y
            signs.append(replace(sign, x=x, y=y, turn=sign.turn + degrees))
        return Drawn(shapely.affinity.rotate(self.shape, degrees, origin=(0, 0)), tuple(signs))

    def centred(self, x: float, y: float) -> "Drawn":
        """It, with the middle of its box at (x, y)."""
        left, low, right, high = self.bounds
        return self.moved(x - (left + right) / 2, y - (low + high) / 2)


NOTHING = Drawn(MultiPolygon())


def sign_of(kind: SignKind, shape: shapely.Geometry, size: float, text: str = "") -> Drawn:
    """A shape that is one sign; none where there is nothing to see of it."""
    if shape.is_empty:
        return Drawn(shape)
    left, low, right, high = shape.bounds
    return Drawn(shape, (Sign(kind, text, (left + right) / 2, (low + high) / 2, size),))


def rule(bars: Iterable[Polygon]) -> Drawn:
    """Upright boxes as lines."""
    bars = tuple(bars)
    return Drawn(shapely.union_all(bars), lines=tuple(map(_bounds, bars)))


def together(parts: Iterable[Drawn]) -> Drawn:
    """Several as one."""
    parts = tuple(parts)
    signs = tuple(sign for part in parts for sign in part.signs)
    lines = tuple(line for part in parts for line in part.lines)
    return Drawn(shapely.union_all([part.shape for part in parts]), signs, lines)


def _bounds(shape: shapely.Geometry) -> Bounds:
    x0, y0, x1, y1 = shape.bounds
    return float(x0), float(y0), float(x1), float(y1)


def write(text: str, cap_height: float) -> Drawn:
    """`text` as `letter` has it."""
    return sign_of("text", letter(text, cap_height), cap_height, text)


def upright(text: str, cap_height: float) -> Drawn:
    """`text` turned to be read from the tail, as one looks to the tip."""
    return write(text, cap_height).turned(-90)


@cache
def _font() -> tuple[Any, dict[int, str]]:
    """The font's glyphs by name, and their names by character."""
    from fontTools.ttLib import TTFont

    resource = files("jiggen").joinpath("fonts", FONT)
    if not resource.is_file():
        message = f"the engraving font {FONT} is missing from the jiggen package"
        raise InputError.of("design.no-font", message, hint="Install jiggen again.")
    font = TTFont(BytesIO(resource.read_bytes()), lazy=True)
    return font.getGlyphSet(), dict(font.getBestCmap())


@cache
def _glyph(name: str) -> tuple[shapely.Geometry, float]:
    """One glyph as a shapely geometry in font units, and its advance width."""
    from fontTools.pens.recordingPen import DecomposingRecordingPen

    glyphs, _ = _font()
    pen = DecomposingRecordingPen(glyphs)
    glyphs[name].draw(pen)
    rings: list[list[tuple[float, float]]] = []
    for command, points in pen.value:
        if command == "moveTo":
            rings.append([points[0]])
        elif command == "lineTo":
            rings[-1].append(points[0])
        elif command == "qCurveTo":  # a spline, a point of it between any two of its controls
            *controls, end = points
            rings[-1] += [((a + c) / 2, (b + d) / 2) for (a, b), (c, d) in pairwise(controls)]
            rings[-1].append(end)
    # TrueType fills clockwise rings; the others are holes in them.
    solid: list[Polygon] = []
    holes: list[Polygon] = []
    for ring in rings:
        counter = shapely.is_ccw(shapely.LinearRing(ring))
        (holes if counter else solid).append(Polygon(ring).buffer(0))
    shape = shapely.union_all(solid).difference(shapely.union_all(holes))
    return shape, float(glyphs[name].width)


def hexagon(flats: float) -> Ring:
    """Corners (6, 2) of a regular hexagon of width `flats` over its flats, the first on x; mm."""
    angles = np.radians(np.arange(0, 360, 60))
    corners = np.column_stack([np.cos(angles), np.sin(angles)])
    return np.asarray(flats / np.sqrt(3) * corners)

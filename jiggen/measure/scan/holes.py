"""Round holes in one scan: where, how large, how round, how sure; what is not round by name.

Found first on a picture reduced to about 0.2 mm for each pixel, as patches darker or brighter than
what is around them at one of several levels; then at full resolution by `rings`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.adjustment import Array
from jiggen.measure.scan.read import Scan
from jiggen.measure.scan.rings import Ring, find_ring, ring_between

SMALLEST, LARGEST = 2.5, 20.0  # mm; what a plate or a jig is drilled with
COARSE = 0.2  # mm for each pixel of the reduced picture
_LEVELS = tuple((n + 0.5) / 12 for n in range(12))  # of the way from darkest to brightest
_LONGEST = 3.5  # length over width of a slot that is still named
_FILLED = 0.5  # of its box that a patch fills at least; a circle fills 0.785
_RECTANGLE = 0.95  # of its box; a slot of the longest fills 0.94
_SOLID = 0.92  # a slot has 0.98, letters less
_CUT = 0.88  # of a circle's part; cut holes mostly have 0.95 and more, corners less (our choice)
_OVAL = (0.10, 0.03)  # mm, and of the radius: beyond both the hole is not round
_DUST = 4.0  # median deviations of an outline from its circle; beyond is dust (our choice)
_TEXTURE = 0.10  # of the inside differs from the rest at its radius: something stands in it
_RIM = 0.7  # mm that the diameter of a rim that counts may be off (our choice)
_FAINT = 0.04  # of white; a fainter edge is none

OVAL, CROPPED, FILLED = "oval slot", "cut off by the picture's edge", "something stands in it"


@dataclass(frozen=True)
class Hole:
    """A hole of one picture in mm of its own frame (`jiggen.measure.scan`).

    `out_of_round` is the longest diameter less the shortest; `sigma` the standard uncertainty of
    the centre as far as the edge tells it; `share` of the rim that was found; `fault` what makes it
    unfit for measuring, or nothing.
    """

    x: float
    y: float
    diameter: float
    out_of_round: float
    sigma: float
    share: float
    fault: str = ""


@dataclass(frozen=True)
class _Patch:
    """A patch in pixels of the picture, column before row: `centre` and `size` of its box.

    `cropped` by the picture's edge; `filled` is its share of the box, `solid` its area beside that
    of the ellipse with the same moments, or what a cropped one has in common with a circle.
    """

    centre: tuple[float, float]
    size: tuple[float, float]
    cropped: bool
    filled: float
    solid: float


def find_holes(scan: Scan, rims: Sequence[float] = ()) -> tuple[Hole, ...]:
    """Every hole of `SMALLEST` to `LARGEST` mm, good ones and those with a `fault`, by x then y.

    `rims` are the diameters of the edges that count, where a deeper or a wider edge is known to be
    about the same axis; then what is seen inside of one says nothing.
    """
    holes: list[Hole] = []
    for group in _groups(scan):
        hole = _measured(scan, group, rims)
        if hole and all(math.dist((hole.x, hole.y), (o.x, o.y)) > 0.4 * o.diameter for o in holes):
            holes.append(hole)
    return tuple(sorted(holes, key=lambda hole: (hole.x, hole.y)))


def _groups(scan: Scan) -> list[list[_Patch]]:
    """Patches with one centre, those of most levels first."""
    groups: list[list[_Patch]] = []
    for patch in _patches(scan):
        for group in groups:
            near = 0.25 * min(*patch.size, *group[0].size)
            if math.dist(patch.centre, group[0].centre) < near:
                group.append(patch)
                break
        else:
            groups.append([patch])
    return sorted(map(_agreed, groups), key=len, reverse=True)


def _agreed(group: list[_Patch]) -> list[_Patch]:
    """The whole patches of a group, or the cropped ones where they are more."""
    whole = [patch for patch in group if not patch.cropped]
    return whole if len(whole) * 2 >= len(group) else [p for p in group if p.cropped]


def _blocks(scan: Scan) -> list[int]:
    """How many pixels along the sensor and the carriage make one of the reduced picture."""
    return [max(1, round(COARSE / pitch)) for pitch in scan.pitch]


def labelled(
    scan: Scan,
) -> Iterator[tuple[NDArray[np.int32], list[tuple[slice, slice]], tuple[float, float]]]:
    """The reduced picture's patches at every level, dark and bright, numbered from 1: which pixel
    is of which, the box of each, and the mm from row to row and from column to column.
    """
    from scipy.ndimage import find_objects, gaussian_filter, label

    blocks = _blocks(scan)
    small = gaussian_filter(reduced(scan.pixels, blocks[1], blocks[0]), 0.7)
    low, high = float(small.min()), float(small.max())
    if high - low < _FAINT * scan.full:
        return
    cells = blocks[1] * scan.pitch[1], blocks[0] * scan.pitch[0]
    for level in _LEVELS:
        for patch in (small < low + level * (high - low), small > low + level * (high - low)):
            labels, _ = label(patch)
            yield labels, find_objects(labels), cells


def _patches(scan: Scan) -> Iterator[_Patch]:
    """Patches of a hole's size at every level, dark and bright."""
    blocks = _blocks(scan)
    for labels, boxes, cells in labelled(scan):
        areas = np.bincount(labels.ravel())
        for number, box in enumerate(boxes, start=1):
            shape = np.array([side.stop - side.start for side in box])
            wide, long = sorted((shape * cells).tolist())
            ends = [
                (side.start == 0) + (side.stop == length)
                for side, length in zip(box, labels.shape, strict=True)
            ]
            if max(ends) > 1:
                continue  # from one edge of the picture to the other
            cropped = any(ends)
            most = _LONGEST * wide / (0.4 if cropped else 1.0)
            if not 0.7 * SMALLEST * (0.4 if cropped else 1) <= wide or long > 1.3 * LARGEST:
                continue
            if long > most or areas[number] < _FILLED * shape.prod():
                continue
            middle = [(side.start + side.stop) / 2 for side in box]
            yield _Patch(
                (middle[1] * blocks[0] - 0.5, middle[0] * blocks[1] - 0.5),
                (float(shape[1] * blocks[0]), float(shape[0] * blocks[1])),
                cropped,
                float(areas[number] / shape.prod()),
                _like_circle(labels, box, number, cells)
                if cropped
                else _solid(labels[box] == number),
            )


def _solid(patch: NDArray[np.bool_]) -> float:
    """The area of a patch beside that of the ellipse with its moments: 1 for a circle."""
    places = np.argwhere(patch).astype(np.float64)
    spread = np.cov(places, rowvar=False, bias=True) + np.eye(2) / 12  # of each pixel itself
    return float(len(places) / (4 * math.pi * math.sqrt(np.linalg.det(spread))))


def _like_circle(
    labels: NDArray[np.int32], box: tuple[slice, slice], number: int, cells: tuple[float, float]
) -> float:
    """What a patch that the picture's edge cuts has in common with the circle through the rest of
    its outline, of all that either has; 0 where no hole is so wide.  Dust inside does not count.
    """
    from scipy.ndimage import binary_erosion, binary_fill_holes

    patch = binary_fill_holes(labels[box] == number)
    corner = np.array([side.start for side in box])
    rim = np.argwhere(patch & ~binary_erosion(patch)) + corner
    rim = rim[((rim > 0) & (rim < np.array(labels.shape) - 1)).all(axis=1)]
    if len(rim) < 6:
        return 0.0
    places = rim * cells
    for _ in range(2):  # the second time without what dust on the rim adds or takes
        terms = np.column_stack([2 * places, np.ones(len(places))])
        *middle, rest = np.linalg.lstsq(terms, (places**2).sum(axis=1), rcond=None)[0].tolist()
        radius = math.sqrt(max(0.0, rest + middle[0] ** 2 + middle[1] ** 2))
        off = np.abs(np.hypot(*(places - middle).T) - radius)
        places = places[off <= max(COARSE, _DUST * float(np.median(off)))]
    radius += max(cells) / 2  # the outline runs through the middles of pixels
    if not SMALLEST <= 2 * radius <= LARGEST:
        return 0.0
    rows, columns = (
        np.arange(
            max(0, math.floor((at - radius) / cell)), min(end, math.ceil((at + radius) / cell))
        )
        for at, cell, end in zip(middle, cells, labels.shape, strict=True)
    )
    circle = (
        np.hypot(rows[:, None] * cells[0] - middle[0], columns * cells[1] - middle[1]) <= radius
    )
    inside = np.hypot(*((np.argwhere(patch) + corner) * cells - middle).T) <= radius
    both = int(inside.sum())
    return both / (int(circle.sum()) + len(inside) - both)


def reduced(pixels: NDArray[Any], rows: int, columns: int) -> Array:
    """Means of blocks of pixels, a strip of rows after the other: no copy of the whole."""
    height, width = pixels.shape[0] // rows, pixels.shape[1] // columns
    small = np.empty((height, width), dtype=np.float32)
    strip = max(1, 4_000_000 // (rows * max(1, pixels.shape[1])))
    for start in range(0, height, strip):
        stop = min(height, start + strip)
        part = pixels[start * rows : stop * rows, : width * columns].astype(np.float32)
        small[start:stop] = part.reshape(stop - start, rows, width, columns).mean(axis=(1, 3))
    return small


def _measured(scan: Scan, group: list[_Patch], rims: Sequence[float]) -> Hole | None:
    """The hole at a group of patches, at full resolution; None where the edge is not round."""
    pitch = scan.pitch[0]
    sizes = [size for patch in group for size in patch.size]
    column, row = np.median([patch.centre for patch in group], axis=0).tolist()
    most = max(*sizes, *(rim / pitch for rim in rims)) / 2
    left, top = (
        max(0, math.floor(column - 1.6 * most) - 8),
        max(0, math.floor(row - 1.6 * most) - 8),
    )
    window = scan.pixels[
        top : math.ceil(row + 1.6 * most) + 9, left : math.ceil(column + 1.6 * most) + 9
    ]
    near = (column - left, row - top)
    ring = None
    if not group[0].cropped:
        fine, faint = window.astype(np.float64), _FAINT * scan.full
        if rims:
            bands = [((rim - _RIM) / 2 / pitch, (rim + _RIM) / 2 / pitch) for rim in rims]
            rings = [ring_between(fine, near, band, faint) for band in bands]
            ring = next((one for one in rings if one), None)
        else:
            ring = find_ring(fine, near, min(sizes) / 2, most, faint)
    if ring is None:
        return _odd(scan, group)
    rows, columns = scan.pixels.shape
    x = (ring.centre[0] + left - (columns - 1) / 2) * scan.pitch[0]
    y = ((rows - 1) / 2 - ring.centre[1] - top) * scan.pitch[1]
    diameter = 2 * ring.radius * pitch
    if not SMALLEST <= diameter <= LARGEST:
        return None
    fault = _fault(ring, pitch, 1.0 if rims else _TEXTURE)
    return Hole(x, y, diameter, 4 * ring.oval * pitch, ring.sigma * pitch, ring.share, fault)


def _fault(ring: Ring, pitch: float, texture: float) -> str:
    millimetres, of_radius = _OVAL
    if ring.oval * pitch > max(millimetres, of_radius * ring.radius * pitch):
        return OVAL
    return FILLED if ring.texture > texture else ""


def _odd(scan: Scan, group: list[_Patch]) -> Hole | None:
    """What is not a ring: a slot, or a hole that the picture cuts off, seen at most levels."""
    if len(group) < 3:
        return None
    cropped = group[0].cropped
    width, height = np.median([patch.size for patch in group], axis=0).tolist()
    sides = width * scan.pitch[0], height * scan.pitch[1]
    if not cropped and max(sides) < 1.15 * min(sides):
        return None
    filled, solid = np.median([(patch.filled, patch.solid) for patch in group], axis=0)
    if filled > _RECTANGLE or solid < (_CUT if cropped else _SOLID):
        return None
    if min(sides) < SMALLEST * (0.4 if cropped else 1):
        return None
    column, row = np.median([patch.centre for patch in group], axis=0).tolist()
    rows, columns = scan.pixels.shape
    place = (column - (columns - 1) / 2) * scan.pitch[0], ((rows - 1) / 2 - row) * scan.pitch[1]
    wide = max(sides) - min(sides)
    return Hole(*place, min(sides), wide, COARSE, 0.0, CROPPED if cropped else OVAL)

"""Engraved numbers, read: each character laid over those of the engraving font.

The font's outlines are read and flattened here anew, finer than they are engraved.  A number is
read as it stands, and upside down and back to front as well: a mirrored ladder shows by which of
these fits.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from io import BytesIO
from typing import Any

import numpy as np

from jiggen.verify.engraved import inked
from jiggen.verify.frames import Array

FONT = "DejaVuSansCondensed-Bold.ttf"
CHARACTERS = "0123456789-"
PIXEL = 0.05  # mm
GRID = (24, 16)  # rows and columns that every character is brought to
ASPECT = 0.4  # how much a character's proportions count beside its shape
WORST = 0.30  # a character that fits worse is not read
BETWEEN = 0.3  # mm without ink that part one number from the next
CURVE = 6  # chords a quadratic arc


@dataclass(frozen=True)
class Number:
    """A number as read: the `x` of its middle, mm, and its text, ``?`` for what is unreadable.

    `mirrored` is True where it only reads well upside down or back to front.
    """

    x: float
    text: str
    mirrored: bool


def read_numbers(segments: Array) -> list[Number]:
    """The numbers in floors' outlines `segments` (n, 2, 2), read from the tail, by rising x.

    They run across the ski, from left to right as one looks to the tip, one after the other
    along x.
    """
    if not len(segments):
        return []
    low, high = segments.reshape(-1, 2).min(axis=0), segments.reshape(-1, 2).max(axis=0)
    xs, ys = (np.arange(a - PIXEL, b + 2 * PIXEL, PIXEL) for a, b in zip(low, high, strict=True))
    # Rows from the tip down, columns from the left edge on: as it is read.
    ink = inked(segments, xs, ys).T[::-1, ::-1]
    numbers = []
    for start, stop in _runs(ink.any(axis=1), round(BETWEEN / PIXEL)):
        middle = float(xs[::-1][start:stop].mean())
        numbers.append(_read(ink[start:stop], middle))
    return numbers[::-1]


def _read(ink: Array, x: float) -> Number:
    """The text of one number's `ink`, whichever way up it fits best."""
    ways = [
        (_text(way), odd) for way, odd in ((ink, False), (ink[::-1], True), (ink[:, ::-1], True))
    ]
    (text, cost), mirrored = min(ways, key=lambda way: way[0][1] + (0.02 if way[1] else 0.0))
    return Number(x, text, mirrored and cost <= WORST)


def _text(ink: Array) -> tuple[str, float]:
    """Characters from left to right, and how badly they fit at the mean."""
    text, costs = "", []
    for start, stop in _runs(ink.any(axis=0), 1):
        best, cost = _character(ink[:, start:stop])
        text += best if cost <= WORST else "?"
        costs.append(cost)
    return text, float(np.mean(costs)) if costs else 1.0


def _character(ink: Array) -> tuple[str, float]:
    shape, aspect = _brought(ink)
    costs = {
        name: float((shape != other).mean()) + ASPECT * abs(np.log(aspect / wide))
        for name, (other, wide) in _characters().items()
    }
    best = min(costs, key=lambda name: costs[name])
    return best, costs[best]


def _brought(ink: Array) -> tuple[Array, float]:
    """Ink cut to its box and brought to GRID, and the box's width over its height."""
    rows, columns = np.flatnonzero(ink.any(axis=1)), np.flatnonzero(ink.any(axis=0))
    tight = ink[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]
    high, wide = tight.shape
    at = [
        np.minimum(((np.arange(n) + 0.5) * size / n).astype(int), size - 1)
        for n, size in zip(GRID, tight.shape, strict=True)
    ]
    return np.asarray(tight[np.ix_(*at)]), wide / high


def _runs(there: Any, least: int) -> list[tuple[int, int]]:
    """Stretches of True, [from, to), that `least` Falses or more lie between."""
    at = np.flatnonzero(there)
    if not at.size:
        return []
    parts = np.split(at, np.flatnonzero(np.diff(at) > least) + 1)
    return [(int(part[0]), int(part[-1]) + 1) for part in parts]


@cache
def _characters() -> dict[str, tuple[Array, float]]:
    """Each of CHARACTERS, brought to GRID, and its width over its height."""
    from fontTools.ttLib import TTFont

    data = files("jiggen").joinpath("fonts", FONT).read_bytes()
    font = TTFont(BytesIO(data), lazy=True)
    glyphs, names = font.getGlyphSet(), font.getBestCmap()
    found = {}
    for character in CHARACTERS:
        outline = _outline(glyphs, names[ord(character)])
        low, high = outline.reshape(-1, 2).min(axis=0), outline.reshape(-1, 2).max(axis=0)
        xs, ys = (np.linspace(a, b, 200) for a, b in zip(low, high, strict=True))
        shape, _ = _brought(inked(outline, xs, ys)[::-1])
        wide, tall = high - low
        found[character] = (shape, float(wide / tall))
    return found


def _outline(glyphs, name: str) -> Array:  # type: ignore[no-untyped-def]
    """A glyph's outline as segments (n, 2, 2) in the font's units."""
    from fontTools.pens.basePen import BasePen

    segments: list[tuple[tuple[float, float], tuple[float, float]]] = []

    class Pen(BasePen):  # type: ignore[misc]
        def _moveTo(self, point: tuple[float, float]) -> None:  # noqa: N802
            self.start = self.here = point

        def _lineTo(self, point: tuple[float, float]) -> None:  # noqa: N802
            segments.append((self.here, point))
            self.here = point

        def _qCurveToOne(  # noqa: N802
            self, control: tuple[float, float], end: tuple[float, float]
        ) -> None:
            a, b, c = (np.array(point) for point in (self.here, control, end))
            for t in np.arange(1, CURVE + 1) / CURVE:
                x, y = (1 - t) ** 2 * a + 2 * t * (1 - t) * b + t**2 * c
                self._lineTo((float(x), float(y)))

        def _closePath(self) -> None:  # noqa: N802
            if self.here != self.start:
                self._lineTo(self.start)

    glyphs[name].draw(Pen(glyphs))
    return np.array(segments)

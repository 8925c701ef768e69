"""How the 1:1 layout is cut into pages: windows that overlap, seams, registration crosses."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

Point = tuple[float, float]
PageIndex = tuple[int, int]
"""Row, from the left of the ski, and column, from its tail."""

OVERLAP = 20.0  # mm that neighbouring windows share; a seam runs through its middle
STEP = 0.5  # mm between the places that are tried
INSET, INSET_ALONG = 14.0, 65.0  # mm from a window's corner to a cross on an upright, a level seam
APART = 10.0  # mm that a registration cross keeps from the centre of a hole, along x or y


@dataclass(frozen=True)
class Window:
    """What one page shows of a length, from `low` to `high` mm."""

    low: float
    high: float

    def holds(self, place: float, reach: float) -> bool:
        """Whether `place` lies in the window with `reach` mm to either side."""
        return self.low <= place - reach and place + reach <= self.high


@dataclass(frozen=True)
class Register:
    """A registration cross in the ski frame, mm: on both `pages`, with one `letter`.

    `upright`: it lies on a seam across the ski, between two pages of one row.
    """

    letter: int
    at: Point
    pages: tuple[PageIndex, PageIndex]
    upright: bool


@dataclass(frozen=True)
class Cut:
    """Columns of windows along the ski, rows across it, and the crosses that join them."""

    columns: tuple[Window, ...]
    rows: tuple[Window, ...]
    registers: tuple[Register, ...]

    @property
    def pages(self) -> int:
        """How many pages there are."""
        return len(self.columns) * len(self.rows)


def cut(low: float, high: float, size: float, avoid: Sequence[float]) -> tuple[Window, ...]:
    """The fewest windows of `size` mm that cover `low` to `high` (mm), each sharing OVERLAP.

    What they cover too much decides where they lie: so that the seams keep as far as can be
    from the places to `avoid`, and else evenly about the middle.
    """
    step = size - OVERLAP
    count = max(1, math.ceil((high - low - OVERLAP) / step))
    spare = count * step + OVERLAP - (high - low)
    middle = low - spare / 2
    tries = math.floor(spare / 2 / STEP)
    offsets = sorted((STEP * n for n in range(-tries, tries + 1)), key=abs)

    def clear(offset: float) -> float:
        seams = (middle + offset + n * step + OVERLAP / 2 for n in range(1, count))
        return min((abs(seam - place) for seam in seams for place in avoid), default=0.0)

    start = middle + max(offsets, key=clear)
    return tuple(Window(start + n * step, start + n * step + size) for n in range(count))


def seams(windows: Sequence[Window]) -> tuple[float, ...]:
    """Where each window gives over to the next, mm."""
    return tuple(
        (max(one.low, other.low) + min(one.high, other.high)) / 2
        for one, other in pairwise(windows)
    )


def registers(
    columns: Sequence[Window], rows: Sequence[Window], holes: Sequence[Point]
) -> tuple[Register, ...]:
    """Two crosses for every two pages that share a seam, as far apart as the holes allow."""
    return tuple(
        Register(number, at, pages, upright)
        for number, (at, pages, upright) in enumerate(_crosses(columns, rows, holes))
    )


def _crosses(
    columns: Sequence[Window], rows: Sequence[Window], holes: Sequence[Point]
) -> Iterator[tuple[Point, tuple[PageIndex, PageIndex], bool]]:
    for r, row in enumerate(rows):
        for c, x in enumerate(seams(columns)):
            near = [y for hole_x, y in holes if abs(hole_x - x) < APART]
            for y in _ends(row, INSET, near):
                yield (x, y), ((r, c), (r, c + 1)), True
    for r, y in enumerate(seams(rows)):
        for c, column in enumerate(columns):
            near = [x for x, hole_y in holes if abs(hole_y - y) < APART]
            for x in _ends(column, INSET_ALONG, near):
                yield (x, y), ((r, c), (r + 1, c)), False


def _ends(window: Window, inset: float, avoid: Sequence[float]) -> Iterator[float]:
    """The places nearest to either end of a window that keep APART from all of `avoid`."""
    half = (window.high - window.low) / 2 - inset
    for end, way in ((window.high - inset, -1.0), (window.low + inset, 1.0)):
        places = (end + way * STEP * n for n in range(math.floor(half / STEP)))
        yield next((p for p in places if all(abs(p - other) >= APART for other in avoid)), end)

"""Closed outlines that are round, whatever they were drawn with: a circle fitted to their points.

Points are complex numbers, x + yi, in the drawing's own unit.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import chain

from fontTools.pens.basePen import BasePen

from jiggen.importing import Circle, Unread

# How far an outline may be off its circle, as a share of the diameter: 0.03 mm of a 5.5 mm hole.
# A polygon of 16 corners is as near, one of 12 is not; common practice, no source.
ROUND = 0.005
GAP = 0.01  # mm between two ends that are one; common practice, no source
STEPS = 8  # chords that a curve is looked at by

MOST_ENDS = 50  # of lines about one place: more cannot be an outline
Point = tuple[float, float]
Words = tuple[str, ...]
End = tuple[int, int]
"""Which line, and 0 or -1 for its beginning or its end."""
Cell = tuple[int, int, int]
"""A layer's number, and a square of the drawing that is as large as the gap."""
AROUND = [(i, j) for i in (0, -1, 1) for j in (0, -1, 1)]


@dataclass(frozen=True)
class Outline:
    """One line that is drawn: what drew it, its points, whether it is closed or straight."""

    kind: str
    points: tuple[complex, ...]
    closed: bool
    straight: bool
    where: str
    layers: tuple[str, ...]
    listed: tuple[str, ...]


class Tracer(BasePen):  # type: ignore[misc]
    """A pen that keeps what is drawn as points of the drawing.

    `place` takes the pen's points to the drawing's.  `lines` are points, closed, straight.
    """

    def __init__(self, place: Callable[[Point], Point] = lambda at: at) -> None:
        super().__init__()
        self.lines: list[tuple[tuple[complex, ...], bool, bool]] = []
        self._place = place
        self._points: list[complex] = []
        self._straight = True

    def _moveTo(self, at: Point) -> None:  # noqa: N802 - the pens' own names
        self._points, self._straight = [complex(*at)], True

    def _lineTo(self, at: Point) -> None:  # noqa: N802
        end = complex(*at)
        self._points += ((self._points[-1] + end) / 2, end)  # its middle shows a corner

    def _curveToOne(self, *at: Point) -> None:  # noqa: N802
        a, (b, c, d) = self._points[-1], (complex(*point) for point in at)
        self._straight = False
        for step in range(1, STEPS + 1):
            t, s = step / STEPS, 1 - step / STEPS
            self._points.append(s * s * (s * a + 3 * t * b) + t * t * (3 * s * c + t * d))

    def _closePath(self) -> None:  # noqa: N802
        if self._points[-1] != self._points[0]:
            self._lineTo((self._points[0].real, self._points[0].imag))
        self._end(closed=True)

    def _endPath(self) -> None:  # noqa: N802
        self._end(closed=False)

    def _end(self, *, closed: bool) -> None:
        if len(self._points) > 1:
            placed = (self._place((point.real, point.imag)) for point in self._points)
            self.lines.append((tuple(complex(*at) for at in placed), closed, self._straight))
        self._points = []


class Outlines:
    """Gathers lines, and tells at the end which are circles: lines whose ends meet are one.

    `gap` is how far two ends may be apart that meet, in the drawing's unit.
    """

    def __init__(self, gap: float) -> None:
        self._gap = gap
        self._open: list[Outline] = []
        self._circles: list[Circle] = []
        self._unread: list[Unread] = []

    def add(self, kind: str, tracer: Tracer, layers: Words, listed: Words, where: str) -> None:
        """Take what `tracer` has drawn."""
        for points, closed, straight in tracer.lines:
            line = Outline(kind, points, closed, straight, where, layers, listed)
            if closed or abs(points[0] - points[-1]) <= self._gap:
                self._close(line)
            else:
                self._open.append(line)

    def _close(self, line: Outline) -> None:
        circle = _circle(line)
        if circle:
            self._circles.append(circle)
        else:
            self._unread.append(_unread(line, closed=True))

    def read(self) -> tuple[tuple[Circle, ...], tuple[Unread, ...]]:
        """The circles, and what is none."""
        left = self._open
        # Curves first: a straight line that ends on a circle must not part its arcs.
        for straight in (False, True):
            used: set[int] = set()
            some = [one for one in left if straight or not one.straight]
            for loop, parts in _joined(some, self._gap):
                self._close(loop)
                used |= {id(part) for part in parts}
            left = [one for one in left if id(one) not in used]
        unread = (*self._unread, *(_unread(one, closed=False) for one in left))
        return tuple(self._circles), unread


def _joined(pieces: Sequence[Outline], gap: float) -> Iterator[tuple[Outline, list[Outline]]]:
    """Closed outlines made of pieces of one layer, where two ends, and no third, meet."""
    numbers: dict[Words, int] = {}
    ends: dict[Cell, list[End]] = defaultdict(list)

    def cell(number: int, end: int) -> Cell:
        piece = pieces[number]
        at = piece.points[end] / gap
        layer = numbers.setdefault(piece.layers, len(numbers))
        return layer, round(at.real), round(at.imag)

    for number in range(len(pieces)):
        for end in (0, -1):
            ends[cell(number, end)].append((number, end))

    def meeting(number: int, end: int) -> End | None:
        """The one end that meets this one."""
        layer, x, y = cell(number, end)
        at = pieces[number].points[end]
        near: list[End] = []
        for i, j in AROUND:
            about = ends.get((layer, x + i, y + j), ())
            near += (
                (other, its)
                for other, its in about[:MOST_ENDS]
                if abs(pieces[other].points[its] - at) <= gap and (other, its) != (number, end)
            )
            if len(near) > 1 or len(about) > MOST_ENDS:
                return None
        return near[0] if near else None

    seen: set[int] = set()
    for first in range(len(pieces)):
        loop: list[End] = []
        at: End | None = (first, 0)
        while at and at[0] not in seen:
            seen.add(at[0])
            loop.append(at)
            at = meeting(at[0], -1 - at[1])
        if loop and at == (first, 0):
            parts = [pieces[number] for number, _ in loop]
            lines = (pieces[number].points[:: 1 if end == 0 else -1] for number, end in loop)
            points = tuple(chain.from_iterable(line[1:] for line in lines))
            yield replace(parts[0], points=points, closed=True, straight=False), parts


def _circle(outline: Outline) -> Circle | None:
    """The circle through an outline's points, by least squares of areas, where it is one."""
    points = tuple(dict.fromkeys(outline.points))  # ends that meet count once
    _, _, width, height = _box(outline)
    if abs(width - height) > 4 * ROUND * max(width, height):
        return None
    middle = sum(points) / len(points)
    around = [point - middle for point in points]
    xx, yy = sum(z.real**2 for z in around), sum(z.imag**2 for z in around)
    xy = sum(z.real * z.imag for z in around)
    weighed = sum(abs(z) ** 2 * z for z in around) / 2
    determinant = xx * yy - xy * xy
    if not determinant > 0:
        return None
    offset = complex(
        (weighed.real * yy - weighed.imag * xy) / determinant,
        (weighed.imag * xx - weighed.real * xy) / determinant,
    )
    radius = (abs(offset) ** 2 + (xx + yy) / len(points)) ** 0.5
    allowed = ROUND * 2 * radius
    if not max(abs(abs(z - offset) - radius) for z in around) <= allowed:
        return None
    if abs(width - 2 * radius) > 4 * allowed:  # not all around
        return None
    x, y = (middle + offset).real, (middle + offset).imag
    name = f"round {outline.kind} at ({x:.6g}, {y:.6g})"
    where, layers, listed = outline.where, outline.layers, outline.listed
    return Circle(x, y, 2 * radius, name, where, layers, drawn_as=outline.kind, listed=listed)


def _box(outline: Outline) -> tuple[float, float, float, float]:
    """Middle, width and height of an outline."""
    xs, ys = [z.real for z in outline.points], [z.imag for z in outline.points]
    (x0, x1), (y0, y1) = (min(xs), max(xs)), (min(ys), max(ys))
    return (x0 + x1) / 2, (y0 + y1) / 2, x1 - x0, y1 - y0


def _unread(outline: Outline, *, closed: bool) -> Unread:
    straight = outline.straight and not closed
    return Unread(outline.kind, *_box(outline), closed, straight, outline.layers)

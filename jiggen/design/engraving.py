"""What is engraved on a body's top: the boot-centre line, arrow, scale, seats and words.

Text costs most of a jig's build time, so there is little of it.  Each item takes the free
place nearest to where it belongs, clear of pockets, knobs, windows and the joint.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Point, Polygon, box

from jiggen.design.lettering import Lettering, Region, letter, regions_of
from jiggen.design.plan import Plate, window_wall
from jiggen.errors import Finding, InputError
from jiggen.layout.model import Layout

DEPTH = 0.6  # mm: three layers
LINE = 0.8  # mm wide: two nozzle widths
HALF_LINE = 0.3  # mm of it on each of two halves: a wider floor would hang in the air, printed
CLEAR = 1.5  # mm between engravings and cut-outs
CAPS = (6.0, 5.0, 4.2, 3.6)  # mm, capital heights tried from the largest
AT_ONCE = 400  # places looked at together, the nearest first: one of them is mostly free
HINT_CAPS = (3.6, 3.0)  # mm, of what may be left out
SCALE = 100.0  # mm between the check scale's end lines, centre to centre
ARROW = Polygon([(0, 2.4), (9, 2.4), (9, 0), (16, 4), (9, 8), (9, 5.6), (0, 5.6)])


@dataclass(frozen=True, eq=False)
class Engraving:
    """One engraved item on `part`: its regions in the ski frame, mm; cut `depth` deep."""

    name: str
    part: str
    regions: tuple[Region, ...]
    depth: float = DEPTH


def words(layout: Layout, boots: tuple[float, float] | None = None) -> tuple[str, ...]:
    """The lines engraved on every body: what the jig is, and for which drilling.

    `boots` are the shortest and longest boot sole, mm, of a jig that serves more than one.
    """
    drills = sorted({float(d) for d in layout.diameters})
    soles = f"{layout.boot:g}" if boots is None else f"{boots[0]:g}-{boots[1]:g}"
    lines = [layout.pattern, f"BOOT {soles}"]
    if layout.mount_shift:
        lines[-1] += f"  SHIFT {layout.mount_shift:+g}"
    lines.append(f"DRILL {' / '.join(f'{d:g}' for d in drills)} {layout.core.upper()}")
    if layout.pair == "mirrored":
        lines.append(f"{layout.side.upper()} SKI")
    return tuple(lines)


def centre_line(plate: Plate) -> Engraving:
    """The boot-centre line at x = 0, from sight window to sight window."""
    wall = window_wall(plate.half_width)
    whole = plate.start < 0 < plate.stop
    bar = _bar(0.0, -wall, wall, LINE if whole else 2 * HALF_LINE)
    return Engraving("boot-centre line", plate.name, regions_of(bar))


def centre_line_down(plate: Plate, body: float) -> Engraving:
    """The same line down the windows' inner walls to the underside: no parallax (mm)."""
    wall = window_wall(plate.half_width)
    grooves = shapely.union_all([_bar(0.0, y - DEPTH, y + DEPTH) for y in (wall, -wall)])
    return Engraving(
        "boot-centre line down the windows", plate.name, regions_of(grooves), depth=body + 1.0
    )


def clamp_seats(plate: Plate, pads: Sequence[Polygon], taken: Sequence[Polygon]) -> Engraving:
    """A diamond over each pad, at the corner: where a clamp presses straight down on the ski.

    Left out where a hole needs the place. Never a ring: an engraved ring is round, and the
    verification counts round things near the top.
    """
    marks = []
    for pad in pads:
        x0, y0, x1, y1 = pad.bounds
        at_start = abs(x0 - plate.start) < 1e-6
        if not at_start and abs(x1 - plate.stop) > 1e-6:
            continue
        x = x0 + 8.0 if at_start else x1 - 8.0
        centre = Point(x, (y0 + y1) / 2)
        mark = centre.buffer(4.4, quad_segs=1) - centre.buffer(3.2, quad_segs=1)
        if all(mark.distance(shape) > CLEAR for shape in taken):
            marks.append(mark)
    return Engraving("clamp seats", plate.name, regions_of(shapely.union_all(marks)))


def check_scale() -> tuple[shapely.Geometry, str]:
    """The 100.0 mm check scale as a shape from x = 0, and its label: lines each 10 mm."""
    ticks = [
        _bar(x, 0.0, 5.0 if x in (0.0, SCALE) else 2.5) for x in np.arange(0.0, SCALE + 1, 10.0)
    ]
    return shapely.union_all(ticks), f"{SCALE:.1f}"


def engrave(
    plate: Plate,
    layout: Layout,
    body: float,
    taken: Sequence[Polygon],
    pads: Sequence[Polygon],
    boots: tuple[float, float] | None = None,
) -> tuple[Engraving, ...]:
    """All engravings of one body; `taken` are the shapes (ski frame, mm) to keep clear of.

    Raises InputError naming the item there is no room for.
    """
    fixed = [centre_line(plate), clamp_seats(plate, pads, taken)]
    filled = fill(plate, words(layout, boots), [*taken, *(_shape(item) for item in fixed)])
    items = [*fixed, centre_line_down(plate, body), *filled]
    return tuple(item for item in items if item.regions)


def fill(
    plate: Plate, lines: Sequence[str], taken: Sequence[Polygon], hints: Sequence[str] = ()
) -> list[Engraving]:
    """Check scale, arrow and `lines` of text, where there is room beside what is `taken`.

    `hints` are lines left out where there is none.  Raises InputError naming any other item that
    there is no room for.
    """
    board = _Board(plate, taken)
    items = []
    ticks, label = check_scale()
    number = letter(label, 4.2)
    scale = MultiPolygon(
        [*shapely.get_parts(ticks), *_moved(number, (SCALE - number.width) / 2, 4.0)]
    )
    items.append(board.put("check scale", scale, prefer_y=-plate.half_width))
    items.append(board.put("arrow to the tip", ARROW, prefer_y=0.0))
    items.extend(board.put_text(line) for line in lines)
    found = (board.try_text(hint, HINT_CAPS) for hint in hints)
    return items + [item for item in found if item]


class _Board:
    """The free top of one body: finds room for one item after the other."""

    def __init__(self, plate: Plate, taken: Sequence[Polygon]) -> None:
        self.plate = plate
        self.middle = (plate.start + plate.stop) / 2
        self.taken = [shape.buffer(CLEAR) for shape in taken]

    def put(self, name: str, shape: shapely.Geometry, *, prefer_y: float) -> Engraving:
        """`shape` at the free place nearest to the plate's middle and `prefer_y` (mm)."""
        place = self._find(shape, prefer_y)
        if place is None:
            raise InputError(
                Finding(
                    "design.no-room",
                    f"no room on {self.plate.name} for the engraving {name!r}",
                    hint="A shorter name, a larger bed or a wider narrowest ski gives more room.",
                )
            )
        return self._take(name, shapely.transform(shape, lambda xy: xy + place))

    def put_text(self, text: str) -> Engraving:
        """A line of text in the largest letters that find a place."""
        smallest = MultiPolygon(_moved(letter(text, CAPS[-1]), 0.0, 0.0))
        return self.try_text(text, CAPS) or self.put(text, smallest, prefer_y=0.0)

    def try_text(self, text: str, caps: Sequence[float]) -> Engraving | None:
        """A line of text in the largest of `caps` that finds a place; None where none does."""
        for cap in caps:
            lettering = letter(text, cap)
            shape = MultiPolygon(_moved(lettering, 0.0, 0.0))
            place = self._find(shape, self.plate.half_width)
            if place is not None:
                return self._take(text, shapely.transform(shape, lambda xy, p=place: xy + p))
        return None

    def _find(self, shape: shapely.Geometry, prefer_y: float) -> NDArray[np.float64] | None:
        """The shift (2,) in mm to the free place nearest to the wanted one, or None.

        Every stroke must be free, not the box around them all: the check scale may straddle
        a pocket between two of its lines.
        """
        x0, y0, x1, y1 = shape.bounds
        edge = CLEAR + 0.6  # the top edge is chamfered
        b = self.plate.half_width - edge
        xs = np.arange(self.plate.start + edge - x0, self.plate.stop - edge - x1 + 1e-9, 1.0)
        ys = np.arange(-b - y0, b - y1 + 1e-9, 0.5)
        if not (xs.size and ys.size):
            return None
        x, y = (grid.ravel() for grid in np.meshgrid(xs, ys))
        away = np.hypot(x + (x0 + x1) / 2 - self.middle, 2 * (y + (y0 + y1) / 2 - prefer_y))
        places = np.column_stack([x, y])[np.argsort(away, kind="stable")]
        obstacles = shapely.union_all(self.taken)
        shapely.prepare(obstacles)
        strokes = _strokes(shape)
        for start in range(0, len(places), AT_ONCE):
            free = places[start : start + AT_ONCE]
            for stroke in strokes:
                boxes = shapely.box(*(stroke + np.hstack([free, free])).T)
                free = free[~shapely.intersects(obstacles, boxes)]
            if len(free):
                return np.asarray(free[0])
        return None

    def _take(self, name: str, shape: shapely.Geometry) -> Engraving:
        self.taken.append(box(*shape.bounds).buffer(CLEAR))
        return Engraving(name, self.plate.name, regions_of(shape))


def _strokes(shape: shapely.Geometry) -> NDArray[np.float64]:
    """Boxes (n, 4) that must be free: one around close strokes (a word), one a lone line."""
    words = shape.buffer(CLEAR, join_style="mitre").buffer(-CLEAR, join_style="mitre")
    return np.asarray(shapely.bounds(shapely.get_parts(words)))


def _bar(x: float, y0: float, y1: float, width: float = LINE) -> Polygon:
    return box(x - width / 2, y0, x + width / 2, y1)


def _moved(lettering: Lettering, x: float, y: float) -> list[Polygon]:
    return [
        Polygon(region.outer, region.inner)
        for region in (region.moved(x, y) for region in lettering.regions)
    ]


def _shape(item: Engraving) -> Polygon:
    return shapely.union_all([Polygon(region.outer) for region in item.regions])

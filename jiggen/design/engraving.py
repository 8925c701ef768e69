"""What is engraved: on a body's top centre line, arrow, seats and words; the rails' scale.

Text costs most of a jig's build time, so there is little of it.  Each item takes the free
place nearest to where it belongs, clear of pockets, knobs, windows and the joint.

The rails' scale is a check of symmetry: lines at each millimetre of half ski width, read at the
body's side edge.  Left and right must agree; one division apart is half a millimetre off centre.
"""

import math
from collections.abc import Callable, Iterable, Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
import shapely
import shapely.affinity
from numpy.typing import NDArray
from shapely.geometry import Point, Polygon, box

from jiggen import wording
from jiggen.design.guides import Guide
from jiggen.design.labels import SMALL_CAPS, forms_of, forms_of_name, least_forms, marked
from jiggen.design.lettering import (
    Bounds,
    Drawn,
    Region,
    Sign,
    regions_of,
    rule,
    sign_of,
    together,
    write,
)
from jiggen.design.notches import Notch
from jiggen.design.plan import CLAMP_MARK, WINDOW_DEPTH, Plate
from jiggen.design.settings import SkiRange
from jiggen.design.station import RailShape
from jiggen.errors import InputError
from jiggen.layout import Layout
from jiggen.record.entries import Station

Array = NDArray[np.float64]
Pair = tuple[float, float]
Shapes = Iterable[shapely.Geometry]
Versions = Iterable[Drawn]

DEPTH = 0.6  # mm: three layers
LINE = 0.8  # mm wide: two nozzle widths
LEAST_LINE = 2.0  # mm long, or it would not look like one
HALF_LINE = 0.3  # mm of it on each of two halves: a wider floor would hang in the air, printed
CLEAR = 1.5  # mm between engravings and cut-outs
APART = 2.0  # mm more around the jig mark: the widest space within a line of words
EDGE = CLEAR + 0.6  # mm between engravings and the body's edge, which is chamfered
AT_ONCE = 400  # places looked at together, the nearest first: one of them is mostly free
DIVISION = 0.5  # mm wide, a line of the rails' scale: half of its pitch
SHORT, LONG = 2.2, 3.6  # mm, lines of the rails' scale
RAIL_CAPS = 3.0  # mm, height of its numbers
RAIL_EDGE = 0.6  # mm from the bar's back edge, whose first layer is drawn in
RAIL_GAP = 0.5  # mm between a long line and its number
INNER = 1 - 1.2 / CLAMP_MARK  # of a clamp mark's radius, that stays inside it
ARROW_LENGTH = 16.0  # mm
ARROW = Polygon([(0, 2.4), (9, 2.4), (9, 0), (ARROW_LENGTH, 4), (9, 8), (9, 5.6), (0, 5.6)])


@dataclass(frozen=True, eq=False)
class Engraving:
    """One engraved item of a part: its regions in the ski frame, mm; cut `depth` deep.

    It consists of `signs` and of upright `lines`, boxes (x0, y0, x1, y1).
    """

    name: str
    regions: tuple[Region, ...]
    depth: float = DEPTH
    signs: tuple[Sign, ...] = ()
    lines: tuple[Bounds, ...] = ()


def engraving_of(name: str, drawn: Drawn, depth: float = DEPTH) -> Engraving:
    """An item of what is drawn."""
    return Engraving(name, regions_of(drawn.shape), depth, drawn.signs, drawn.lines)


def arrow() -> Drawn:
    """The arrow that points to the tip."""
    return sign_of("arrow", ARROW, ARROW_LENGTH)


def words(layout: Layout, boots: Pair | None = None) -> tuple[str, ...]:
    """The lines engraved on every body: what the jig is, for which boots (mm) and drilling."""
    side = layout.side if layout.pair == "mirrored" else ""
    drills = layout.diameters.tolist()
    soles = boots or (layout.boot,)
    shift, core, mark = layout.mount_shift, layout.core, layout.mark
    return wording.body_lines(layout.pattern, soles, shift, drills, core, side, mark)


def check_scale(caps: float, number_y: float) -> Drawn:
    """The 100.0 mm check scale from x = 0: lines each 10 mm, its number at y = `number_y`."""
    xs = np.arange(0.0, wording.SCALE + 1, wording.SCALE_STEP).tolist()
    ticks = [_bar(x, 0.0, 5.0 if x in (0.0, wording.SCALE) else 2.5) for x in xs]
    number = write(f"{wording.SCALE:.1f}", caps)
    number = number.moved((wording.SCALE - number.bounds[2]) / 2, number_y)
    return together([rule(ticks), number])


def centre_line(plate: Plate, body: float, guides: Iterable[Guide]) -> tuple[Engraving, Engraving]:
    """The boot-centre line between the sight windows, and on down their inner walls.

    It stops short of `guides`, whose lead-in must stay round.
    """
    wall, name = plate.half_width - WINDOW_DEPTH, "boot-centre line"
    bar = _bar(0.0, -wall, wall, LINE if plate.start < 0 < plate.stop else 2 * HALF_LINE)
    around = [Point(g.x, g.y).buffer(g.radius + g.lead_in + CLEAR) for g in guides]
    bars = [piece for piece in squared(bar, around) if np.ptp(piece.bounds[1::2]) >= LEAST_LINE]
    grooves = [_bar(0.0, y - DEPTH, y + DEPTH) for y in (wall, -wall)]
    down = engraving_of(f"{name} down the windows", rule(grooves), body + 1.0)
    return engraving_of(name, rule(bars)), down


def squared(bar: Polygon, cuts: Shapes) -> list[Polygon]:
    """The parts of an upright `bar` beside `cuts`, cut square at their ends."""
    x0, y0, x1, y1 = bar.bounds
    whole = []
    for part in shapely.get_parts([bar & shape for shape in cuts]):
        if not part.is_empty:
            a, b, c, d = part.bounds
            whole.append(box(x0, b, x1, d) if x1 - x0 < y1 - y0 else box(a, y0, c, y1))
    left = shapely.get_parts(bar.difference(shapely.union_all(whole)))
    return [piece for piece in left if isinstance(piece, Polygon) and not piece.is_empty]


def obstacles_on(
    guides: Iterable[Guide],
    stations: Iterable[Station],
    knob: float,
    notch: Notch | None,
    windows: Iterable[Polygon] = (),
) -> list[Polygon]:
    """What leaves no room on a body's top; `knob` is a knob's radius in mm."""
    pockets = [Point(g.x, g.y).buffer(g.radius + g.lead_in) for g in guides]
    knobs = [Point(s.x, 0).buffer(knob) for s in stations]
    cuts = [*windows, *([notch.plan] if notch else [])]
    return pockets + knobs + [cut.buffer(CLEAR) for cut in cuts]


def engrave(
    plate: Plate,
    lines: Sequence[str],
    obstacles: Sequence[Polygon],
    clamps: Iterable[Pair],
    first: Sequence[Engraving],
    then: Iterable[Engraving],
    hints: Sequence[str] = (),
    jig_mark: str = "",
) -> tuple[Engraving, ...]:
    """All engravings of one body: `first`, the seats, `then`, and what finds a place beside them.

    That is the arrow, `lines` of text, the pattern's name first, and the `jig_mark`, if any, clear
    of `obstacles` (ski frame, mm) too.  The name and `hints` are left out where there is no room.
    Raises InputError where there is none for another line even in its shortest form (`labels`).
    """
    # A diamond where a clamp presses down; never a ring: the verification counts round things near
    # the top.
    diamond = Point(0, 0).buffer(CLAMP_MARK, quad_segs=1)
    ring = sign_of("diamond", diamond - shapely.affinity.scale(diamond, INNER, INNER), CLAMP_MARK)
    seats = engraving_of("clamp seats", together(ring.moved(x, y) for x, y in clamps))
    cuts = [region.polygon for item in (*first, seats) for region in item.regions]
    board = Board(plate.bar.bounds, [*obstacles, *cuts], CLEAR, EDGE, step=(1.0, 0.5))
    middle, top = (plate.start + plate.stop) / 2, plate.half_width

    def put(
        board: Board, named: Iterable[tuple[str, Versions]], y: float
    ) -> list[Engraving] | None:
        """Items by name, each where it is nearest to `y`; None where one finds no room."""
        found = []
        for name, shapes in named:
            at = board.put(shapes, (middle, y), _across_first, math.inf, strokes=True)
            if at is None:
                return None
            found.append(engraving_of(name, at))
        return found

    name, *others = lines
    called, musts = (name, forms_of_name(name)), [(line, forms_of(line)) for line in others]
    least = [(line, least_forms(line)) for line in others]
    ahead, known = ("arrow to the tip", [arrow()]), marked(jig_mark)
    # The name comes first, or last of all where another item would find no room beside it.
    for order in ((ahead, called, *musts), (ahead, *musts), (ahead, *least)):
        left = board.copy()
        if (done := put(left, order[:1], 0.0)) and (text := put(left, order[1:], top)) is not None:
            mark = left.put_apart(known, (middle, top), _across_first)
            if mark or not known:
                break
    else:
        raise InputError.of(
            "design.no-room",
            f"no room on {plate.name} for what must be engraved on it: "
            f"{', '.join([*others, *([jig_mark] if jig_mark else [])])}",
            hint="A larger bed or a wider narrowest ski gives more room.",
        )
    made = [*first, seats, *then, *done, *text]
    made += [engraving_of(jig_mark, mark)] if mark else []
    more = () if order[1] is called else (called,)
    for item in (*more, *((h, [write(h, cap) for cap in SMALL_CAPS]) for h in hints)):
        made += put(left, [item], top) or ()
    return tuple(item for item in made if item.regions)


Distance = Callable[[Array, Array], Array]
"""How far a place is: from gaps (n, 2) of its box, offsets (n, 2) of its middle, as (n,), mm."""


def nearest_box(gap: Array, offset: Array) -> Array:
    """Distance of the box; of those as near, the one that stands centred."""
    return np.asarray(np.hypot(*gap.T) + 0.1 * np.hypot(*offset.T))


def _across_first(_: Array, offset: Array) -> Array:
    """Distance of middles; across the body it counts twice."""
    return np.asarray(np.hypot(offset[:, 0], 2 * offset[:, 1]))


class Board:
    """Free places within `bounds` (x0, y0, x1, y1), for one item after the other; mm.

    Items keep `edge` from the bounds, `clear` from obstacles and one another; places are `step`
    apart in x and y.
    """

    def __init__(
        self, bounds: Bounds, obstacles: Shapes, clear: float, edge: float, step: Pair = (0.5, 0.5)
    ) -> None:
        self._clear, self._step = clear, step
        self._bounds = np.array(bounds) + edge * np.array([1, 1, -1, -1])
        self._obstacles = [shape.buffer(clear) for shape in obstacles]

    def copy(self) -> "Board":
        """Another board with the same free places."""
        other = copy(self)
        other._obstacles = [*self._obstacles]
        return other

    def put(
        self,
        versions: Versions,
        near: Pair,
        distance: Distance,
        reach: float,
        strokes: bool = False,
        apart: float = 0.0,
    ) -> Drawn | None:
        """The first of `versions` that finds room, or None, at the free place nearest to `near`.

        From then on it is an obstacle.  Its box comes no farther from that point than `reach`, and
        as much more than others as `apart` from obstacles.
        With `strokes` it need not be free, its strokes must: a word may straddle a pocket.
        """
        obstacles = shapely.union_all(self._obstacles)
        shapely.prepare(obstacles)
        for drawn in versions:
            bounds = np.array(drawn.bounds)
            shifts = self._shifts(bounds, np.array(near), distance, reach)
            needed = (bounds + apart * np.array([-1, -1, 1, 1]))[None, :]
            if strokes:  # close ones, as of a word, together
                words = drawn.shape.buffer(CLEAR, join_style="mitre").buffer(
                    -CLEAR, join_style="mitre"
                )
                needed = shapely.bounds(shapely.get_parts(words))
            for start in range(0, len(shifts), AT_ONCE):
                free = shifts[start : start + AT_ONCE]
                for stroke in needed:
                    boxes = shapely.box(*(stroke + np.hstack([free, free])).T)
                    free = free[~shapely.intersects(obstacles, boxes)]
                if len(free):
                    there = drawn.moved(*free[0].tolist())
                    self._obstacles.append(box(*there.bounds).buffer(self._clear + apart))
                    return there
        return None

    def put_apart(self, versions: Sequence[Drawn], near: Pair, distance: Distance) -> Drawn | None:
        """As `put`, with more room around it, so that it is not read as a part of other words.

        Where there is no such room it stands as close to them as they do to one another.
        """
        tried = (self.put(versions, near, distance, math.inf, apart=by) for by in (APART, 0.0))
        return next(filter(None, tried), None)

    def _shifts(self, bounds: Array, near: Array, distance: Distance, reach: float) -> Array:
        """(n, 2) shifts that keep the box within the board and `reach`, the nearest first."""
        size = bounds[2:] - bounds[:2]
        low = np.maximum(self._bounds[:2], near - reach - size) - bounds[:2]
        high = np.minimum(self._bounds[2:], near + reach + size) - bounds[2:]
        axes = map(np.arange, low, high + 1e-9, self._step)
        shifts = np.column_stack([grid.ravel() for grid in np.meshgrid(*axes)])
        gap = np.maximum(bounds[:2] + shifts - near, near - bounds[2:] - shifts)
        gap = np.maximum(gap, 0.0)
        offset = (bounds[:2] + bounds[2:]) / 2 + shifts - near
        order = np.argsort(distance(gap, offset), kind="stable")
        return np.asarray(shifts[order][np.hypot(*gap[order].T) <= reach])


def _bar(x: float, y0: float, y1: float, width: float = LINE) -> Polygon:
    return box(x - width / 2, y0, x + width / 2, y1)


def graduate(rail: RailShape, ski: SkiRange, half_width: float) -> RailShape:
    """A left rail with its scale's lines and numbers on top, and the index line on both faces.

    The line for a half width h lies at y = `half_width` - h: the body's edge on a ski of 2h.  One
    of them goes right across, on the underside too: the rails of a station that are in mesh with
    equal teeth have theirs at the body's edges together, others a whole pitch apart.
    """
    right, left = rail.back_x - RAIL_EDGE, rail.rack.tip_x + RAIL_EDGE
    solid = box(rail.rack.tip_x, rail.rack.toothed[1], rail.back_x, rail.nose_sag)
    values = range(math.ceil(ski.least / 2), math.floor(ski.most / 2) + 1)
    lines: list[Polygon] = []
    numbers: list[Drawn] = []
    for value in values:
        y, length = half_width - value, SHORT if value % 5 else LONG
        lines.append(_across(y, right - length, right))
        if value % 10 == 0:
            # Read from outside the ski, beside its line, towards the leg.
            turned = write(str(value), RAIL_CAPS).turned(90)
            _, y0, x1, _ = turned.bounds
            number = turned.moved(right - LONG - RAIL_GAP - x1, y + DIVISION - y0)
            numbers += [number] if solid.contains(number.shape) else []
    # The one nearest to the middle of the range that meets no number; where all do, numbers go.
    middle = half_width - ski.middle / 2
    places = sorted((half_width - value for value in values), key=lambda y: abs(y - middle))
    places = places or [middle]
    whole = [y for y in places if solid.contains(_across(y, left, right))]
    beside = together(numbers).shape.buffer(RAIL_GAP)
    clear = [y for y in whole if not _across(y, left, right).intersects(beside)]
    index = (clear or whole or places)[0]
    line = _across(index, left, right)
    shown = (number for number in numbers if number.shape.distance(line) >= RAIL_GAP)
    top, below = (
        together([rule([*lines, line]), *shown]),
        rule([_across(index, left, right - rail.lean)]),
    )
    return replace(rail, graduations=top, underside=below, index_y=index)


def _across(y: float, start: float, stop: float) -> Polygon:
    """A line of the rails' scale at `y`, from x = `start` to `stop`."""
    return box(start, y - DIVISION / 2, stop, y + DIVISION / 2)

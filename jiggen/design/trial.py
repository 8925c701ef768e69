"""The trial plate as plain numbers: a thin print for a dry fit on the real plate.

It is laid on the plate before any jig is built: every hole must match the one under it.  It lies
in the ski frame as the jig does, underside at z = 0, and is printed as it lies.  It guides no
drill: a hole is as wide as the jig's would be without a bush, so that the drill just passes.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import LineString, Point, Polygon, box

from jiggen.design.engraving import (
    ARROW,
    LINE,
    SCALE,
    Board,
    Engraving,
    check_scale,
    nearest_box,
    words,
)
from jiggen.design.guides import Guide, layout_part
from jiggen.design.lettering import Region, letter, regions_of
from jiggen.design.pieces import Piece, Placed, shift_by, turn_by
from jiggen.design.plan import Plate, bed_turn
from jiggen.design.settings import Bed
from jiggen.errors import Finding, InputError
from jiggen.layout.core import Layout

NAME = "plate"  # of the part, or with a half's name after it
THICKNESS = 2.0  # mm: stiff enough to handle, thin enough to look through
CLEARANCE = 0.15  # mm over the drill, as in a jig without bushes
FOOT = 0.4  # mm at 45° off the edges on the bed, against elephant's foot
EDGE = 8.0  # mm from a hole to the plate's edge: room for its name
LEAST_REACH = 20.0  # mm of plate past the mounting mark
LEAST_HALF_WIDTH = 25.0
CUT_WALL = 2.0  # mm between a hole and the cut at the mounting mark
BED_MARGIN = 2.0
DEPTH = 0.4  # mm of engraving: two layers
CLEAR = 1.2  # mm between engravings, holes and edges
ARM = 9.0  # mm of the mounting mark that is drawn at each edge, and at the middle
CAPS = (5.0, 4.2, 3.6)  # mm, capitals of the words, tried from the largest
ID_CAPS = (3.6, 3.0)  # mm, capitals of the holes' names
ID_REACH = 12.0  # mm from a hole's centre to its name, at most
NOTCH = ((-2.0, 1.0), (2.0, 1.0), (0.0, -2.5))  # across the edge, deep and inwards
TITLE, MARK, SCALE_NAME = "TRIAL PLATE", "MARK", "check scale"
COARSE = 0.05  # mm that a letter's outline is simplified by, which halves its corners


@dataclass(frozen=True, eq=False)
class TrialPlate:
    """One printed piece: its plan, holes and engravings in the ski frame, mm.

    `turn` is the angle in degrees about z that it is printed at; `left_out` names what there was
    no room to engrave.
    """

    plate: Plate
    outline: Region
    guides: tuple[Guide, ...]
    engravings: tuple[Engraving, ...]
    turn: float
    left_out: tuple[str, ...]

    @property
    def name(self) -> str:
        """The part's name."""
        return self.plate.name

    @property
    def piece(self) -> Piece:
        """Where it is used and how it lies on the bed: right side up, its corner at the origin."""
        over = turn_by(self.turn)
        corner = (self.outline.outer @ over[:2, :2].T).min(axis=0)
        placed = (Placed(self.name, np.eye(4)),)
        to_bed = shift_by(-corner[0], -corner[1]) @ over
        return Piece(self.name, "plate", placed, to_bed, self.plate.half)


@dataclass(frozen=True, eq=False)
class Trial:
    """A trial plate for `layout`, of one piece or of two that meet at the mounting mark."""

    layout: Layout
    bed: Bed
    plates: tuple[TrialPlate, ...]
    hole_fit: float = 0.0

    @property
    def scaled(self) -> bool:
        """Whether a check scale is engraved."""
        return any(item.name == SCALE_NAME for plate in self.plates for item in plate.engravings)


def design_trial(layout: Layout, bed: Bed, hole_fit: float = 0.0) -> Trial:
    """Choose every number of a trial plate for `layout` on a printer's `bed`.

    `hole_fit` in mm is added to every hole's diameter, as in `Settings`.

    Raises InputError ``design.trial-cut`` when two pieces are needed and a hole lies in the cut
    between them, ``design.trial-bed`` when a piece does not fit the bed, and ``design.no-letter``.
    """
    guides = tuple(_guides(layout, CLEARANCE + hole_fit))
    half_width = max(
        LEAST_HALF_WIDTH, float(np.ceil(max(abs(g.y) + g.radius for g in guides) + EDGE))
    )
    start = min(-LEAST_REACH, float(np.floor(min(g.x - g.radius for g in guides) - EDGE)))
    stop = max(LEAST_REACH, float(np.ceil(max(g.x + g.radius for g in guides) + EDGE)))
    whole = Plate(NAME, start, stop, half_width)
    plates = [whole] if _turn(whole, bed) is not None else _halves(whole, guides)
    missing = [_misfit(plate, bed) for plate in plates if _turn(plate, bed) is None]
    if missing:
        raise InputError(missing)
    pieces = tuple(_piece(plate, guides, layout, bed) for plate in plates)
    return Trial(layout, bed, pieces, hole_fit)


def _guides(layout: Layout, clearance: float) -> Iterator[Guide]:
    for hole, (x, y), drill in zip(layout.ids, layout.positions, layout.diameters, strict=True):
        wide = float(drill) + clearance
        yield Guide(
            id=hole,
            x=float(x),
            y=float(y),
            drill=float(drill),
            bush=None,
            bore=wide,
            throat=wide,
            throat_z=(FOOT, THICKNESS),
            seat_z=FOOT,
            top_z=THICKNESS,
            bush_top_z=THICKNESS,
            lead_in=0.0,
        )


def _halves(whole: Plate, guides: tuple[Guide, ...]) -> list[Plate]:
    """The plate cut at the mounting mark; a half without holes is not needed."""
    cut = [g for g in guides if abs(g.x) - g.radius < CUT_WALL]
    if cut:
        raise InputError(
            Finding(
                "design.trial-cut",
                f"the plate must be cut at the mounting mark to fit the bed, and hole {g.id} "
                f"({g.x:.1f} mm from the mark) lies in the cut",
                key="bed",
                hint="A larger bed takes it in one piece.",
            )
            for g in cut
        )
    halves = (
        Plate(f"{NAME}-toe", 0.0, whole.stop, whole.half_width, "toe"),
        Plate(f"{NAME}-heel", whole.start, 0.0, whole.half_width, "heel"),
    )
    return [half for half in halves if any(half.start <= g.x <= half.stop for g in guides)]


def _turn(plate: Plate, bed: Bed) -> float | None:
    corners = np.array(_rectangle(plate).exterior.coords)[:-1]
    return bed_turn(corners, bed, BED_MARGIN)


def _misfit(plate: Plate, bed: Bed) -> Finding:
    size = f"{plate.stop - plate.start:.0f} x {2 * plate.half_width:.0f} mm"
    return Finding(
        "design.trial-bed",
        f"{plate.name}, {size}, does not fit a bed of {bed.x:g} x {bed.y:g} mm at any turn",
        key="bed",
        hint="Choose a larger bed.",
    )


def _rectangle(plate: Plate) -> Polygon:
    return box(plate.start, -plate.half_width, plate.stop, plate.half_width)


def _piece(plate: Plate, guides: tuple[Guide, ...], layout: Layout, bed: Bed) -> TrialPlate:
    mine = tuple(g for g in guides if plate.start <= g.x <= plate.stop)
    notches = list(_notches(plate))
    shape = _rectangle(plate).difference(shapely.union_all(notches))
    holes = [Point(g.x, g.y).buffer(g.radius) for g in mine]
    lines = _lines(plate, shape, holes)
    # Twice as clear of the lines: one beside a word reads as a letter.
    board = Board(shape.bounds, [*holes, *notches, lines.buffer(CLEAR)], CLEAR)
    engraved, left_out = [("mounting mark and centre line", lines)], []
    for item in _items(plate, mine, layout):
        placed = board.put(item.versions, item.near, nearest_box, reach=item.reach)
        if placed is None:
            left_out.append(item.name)
        else:
            engraved.append((item.name, placed))
    turn = _turn(plate, bed)
    return TrialPlate(
        plate=plate,
        outline=regions_of(shapely.normalize(shape))[0],
        guides=mine,
        engravings=tuple(
            Engraving(name, plate.name, regions_of(found.simplify(COARSE)), DEPTH)
            for name, found in engraved
        ),
        turn=0.0 if turn is None else turn,
        left_out=tuple(left_out),
    )


def _notches(plate: Plate) -> Iterator[Polygon]:
    """A notch in the edge at either end of each line, to lay it on a line of the ski or plate."""
    notch = Polygon(NOTCH)
    for y, degrees in ((plate.half_width, 0), (-plate.half_width, 180)):
        if plate.start < 0 < plate.stop:
            yield _set(notch, degrees, 0.0, y)
    for x, degrees in ((plate.stop, -90), (plate.start, 90)):
        yield _set(notch, degrees, x, 0.0)


def _set(shape: Polygon, degrees: float, x: float, y: float) -> Polygon:
    over = shapely.affinity.rotate(shape, degrees, origin=(0.0, 0.0))
    return shapely.affinity.translate(over, x, y)


def _lines(plate: Plate, shape: Polygon, holes: list[Polygon]) -> shapely.Geometry:
    """Mounting mark and centre line, clear of the holes and the edge; of a half the mark is one.

    The mark is drawn at the edges and the middle alone: words and scale have room between.  One
    shape, since the two cross: what is engraved must not overlap.
    """
    free = shape.buffer(-CLEAR).difference(shapely.union_all(holes).buffer(CLEAR))
    b = plate.half_width
    lines = [LineString([(plate.start, 0.0), (plate.stop, 0.0)])]
    if plate.start < 0 < plate.stop:
        for low, high in ((-b, ARM - b), (-ARM / 2, ARM / 2), (b - ARM, b)):
            lines.append(LineString([(0.0, low), (0.0, high)]))
    bars = [line.buffer(LINE / 2, cap_style="flat") for line in lines]
    return shapely.union_all(bars).intersection(free)


@dataclass(frozen=True)
class _Item:
    """Something to engrave: shapes tried one after the other, at most `reach` mm from `near`."""

    name: str
    versions: Iterable[shapely.Geometry]
    near: tuple[float, float]
    reach: float


def _items(plate: Plate, guides: tuple[Guide, ...], layout: Layout) -> Iterator[_Item]:
    """What is engraved where there is room, the most needed first."""
    b, length = plate.half_width, plate.stop - plate.start
    middle = (plate.start + plate.stop) / 2
    for guide in guides:
        yield _Item(guide.id, _written(guide.id, ID_CAPS), (guide.x, guide.y), ID_REACH)
    yield _Item(MARK, _written(MARK, ID_CAPS), (0.0, b), ID_REACH)
    yield _Item("arrow to the tip", [ARROW], (plate.stop, 0.0), length)
    for line in (TITLE, *words(layout_part(layout, guides))):
        yield _Item(line, _written(line, CAPS), (middle, b / 2), length)
    if length > SCALE + 2 * EDGE:
        yield _Item(
            SCALE_NAME, [shapely.union_all([check_scale(CAPS[-1], 4.5)])], (middle, -b), length
        )


def _written(text: str, caps: tuple[float, ...]) -> Iterator[shapely.Geometry]:
    return (letter(text, cap) for cap in caps)

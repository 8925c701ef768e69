"""The trial plate as plain numbers: a thin print for a dry fit on the real plate.

The plate is laid on it before any jig is built: its holes are smaller than the plate's and must
show in the middle of them, or are as large and must be open right through.  It lies in the ski
frame, underside at z = 0, as it is printed.  It guides no drill: one just passes.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import shapely
import shapely.affinity
from shapely.geometry import Point, Polygon, box

from jiggen import wording
from jiggen.design import engraving
from jiggen.design.engraving import Board, engraving_of, squared, words
from jiggen.design.guides import Guide, layout_part
from jiggen.design.jig import Body
from jiggen.design.labels import marked
from jiggen.design.lettering import Drawn, regions_of, rule, write
from jiggen.design.pieces import Piece, Placed, to_corner, turn_by
from jiggen.design.plan import Plate, bed_turn
from jiggen.design.settings import LEAST_WALL, Bed
from jiggen.errors import Finding, InputError
from jiggen.layout import Layout, check_plate_hole

NAME = "plate"  # of the part, or with a half's name after it
THICKNESS = 2.0  # mm: stiff enough to handle, thin enough to look through
CLEARANCE = 0.15  # mm over the drill, as in a jig without bushes
FOOT = 0.4  # mm at 45° off the edges on the bed, against elephant's foot
EDGE = 8.0  # mm from a hole to the plate's edge: room for its name
LEAST_REACH = 20.0  # mm of plate past the mounting mark
LEAST_HALF_WIDTH = 25.0
CUT_WALL = 2.0  # mm between a hole and the cut at the mounting mark
DEPTH = 0.4  # mm of engraving: two layers
CLEAR = 1.2  # mm between engravings, holes and edges
ARM = 9.0  # mm of the mounting mark that is drawn at each edge, and at the middle
CAPS = (5.0, 4.2, 3.6)  # mm, capitals of the words, tried from the largest
ID_CAPS = (3.6, 3.0)  # mm, capitals of the holes' names
ID_REACH = 12.0  # mm from a hole's centre to its name, at most
NOTCH = Polygon([(-2.0, 1.0), (2.0, 1.0), (0.0, -2.5)])  # across the edge, deep and inwards
SCALE_NAME = "check scale"
COARSE = 0.05  # mm that a letter's outline is simplified by, which halves its corners


@dataclass(frozen=True, eq=False)
class Trial:
    """A trial plate for `layout`, of one piece or of two that meet at the mounting mark.

    `left_out` are the names, by part, of what found no room to be engraved; `plate_hole` is how
    wide the plate's own holes are, mm, where these are as large.
    """

    layout: Layout
    bed: Bed
    plates: tuple[Body, ...]
    left_out: dict[str, tuple[str, ...]]
    hole_fit: float
    plate_hole: float | None = None

    @property
    def scaled(self) -> bool:
        """Whether a check scale is engraved."""
        return any(item.name == SCALE_NAME for plate in self.plates for item in plate.engravings)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """Where they are used and how they lie: right side up, a corner at the bed's origin."""
        return tuple(
            Piece(
                body.name,
                "plate",
                (Placed(body.name, np.eye(4)),),
                to_corner(body.outline.outer, turn_by(body.turn)),
                THICKNESS - DEPTH,
                body.plate.half,
            )
            for body in self.plates
        )


def design_trial(
    layout: Layout,
    bed: Bed,
    hole_fit: float = 0.0,
    plate_hole: float | None = None,
    jig_mark: str = "",
) -> Trial:
    """Choose every number of a trial plate, its holes wider by `hole_fit` mm, as in `Settings`.

    The drill just passes them, or they are as large as the plate's own, `plate_hole` mm.  Each of
    its pieces bears the `jig_mark`, if any.
    Raises InputError ``design.trial-cut`` when two pieces are needed and a hole lies in the cut
    between them, ``design.trial-bed`` when a piece does not fit the bed, ``design.trial-hole`` when
    holes as large cannot be, ``design.no-room`` for the jig mark, and ``design.no-letter``.
    """
    if plate_hole is not None:
        _check_walls(layout, plate_hole)
    guides = []
    columns = (layout.positions.tolist(), layout.diameters.tolist())
    for hole, (x, y), drill in zip(layout.ids, *columns, strict=True):
        bore, z = hole_fit + (plate_hole or drill + CLEARANCE), (FOOT, THICKNESS)
        guides.append(Guide(hole, x, y, drill, None, bore, bore, z, *z, THICKNESS, 0.0))
    widest = max(abs(guide.y) + guide.radius for guide in guides)
    low = min(guide.x - guide.radius for guide in guides)
    high = max(guide.x + guide.radius for guide in guides)
    start, stop = float(np.floor(low - EDGE)), float(np.ceil(high + EDGE))
    half_width = max(LEAST_HALF_WIDTH, float(np.ceil(widest + EDGE)))
    whole = Plate(NAME, min(-LEAST_REACH, start), max(LEAST_REACH, stop), half_width)
    plates = [whole] if _turn(whole, bed) is not None else _halves(whole, guides)
    faults = []
    for plate in plates:
        if _turn(plate, bed) is None:
            length, width = plate.stop - plate.start, 2 * plate.half_width
            what = f"{plate.name}, {length:.0f} x {width:.0f} mm,"
            message = f"{what} does not fit a bed of {bed.x:g} x {bed.y:g} mm at any turn"
            hint = "Choose a larger bed."
            faults.append(Finding("design.trial-bed", message, key="bed", hint=hint))
    if faults:
        raise InputError(faults)
    made = [_body(plate, guides, layout, _turn(plate, bed) or 0.0, jig_mark) for plate in plates]
    left_out = {body.name: names for body, names in made if names}
    return Trial(layout, bed, tuple(body for body, _ in made), left_out, hole_fit, plate_hole)


def _check_walls(layout: Layout, plate_hole: float) -> None:
    """Refuse holes as large as the plate's where no wall is left between two."""
    check_plate_hole(plate_hole)
    at, names = layout.positions, layout.ids
    near = ((math.dist(at[a], at[b]), a, b) for a, b in combinations(range(len(at)), 2))
    apart, one, other = min(near, default=(math.inf, 0, 0))
    if apart < plate_hole + LEAST_WALL:
        message = f"{names[one]} and {names[other]}, {apart:.1f} mm apart, would run together"
        hint = "Leave it away: a drill just passes the trial's holes, and the plate is laid on it."
        raise InputError.of("design.trial-hole", message, key="plate-hole", hint=hint)


def _halves(whole: Plate, guides: list[Guide]) -> list[Plate]:
    """The plate cut at the mounting mark; a half without holes is not needed."""
    cut = [
        Finding(
            "design.trial-cut",
            f"the plate must be cut at the mounting mark to fit the bed, and hole {guide.id} "
            f"({guide.x:.1f} mm from the mark) lies in the cut",
            key="bed",
            hint="A larger bed takes it in one piece.",
        )
        for guide in guides
        if abs(guide.x) - guide.radius < CUT_WALL
    ]
    if cut:
        raise InputError(cut)
    toe = Plate(f"{NAME}-toe", 0.0, whole.stop, whole.half_width, "toe")
    heel = Plate(f"{NAME}-heel", whole.start, 0.0, whole.half_width, "heel")
    return [half for half in (toe, heel) if any(half.holds(guide.x) for guide in guides)]


def _turn(plate: Plate, bed: Bed) -> float | None:
    return bed_turn(np.array(plate.bar.exterior.coords)[:-1], bed)


def _body(
    plate: Plate, guides: list[Guide], layout: Layout, turn: float, jig_mark: str
) -> tuple[Body, tuple[str, ...]]:
    """One piece, and what of its engravings found no room."""
    mine = tuple(guide for guide in guides if plate.holds(guide.x))
    notches = list(_notches(plate))
    shape = plate.bar.difference(shapely.union_all(notches))
    holes = [Point(guide.x, guide.y).buffer(guide.radius) for guide in mine]
    lines = rule(_lines(plate, shape, holes))
    # Twice as clear of the lines: one beside a word reads as a letter.
    board = Board(shape.bounds, [*holes, *notches, lines.shape.buffer(CLEAR)], CLEAR, CLEAR)
    engraved, left_out = [("mounting mark and centre line", lines)], []
    for name, versions, near, reach in _items(plate, mine, layout, jig_mark):
        if name == jig_mark:
            placed = board.put_apart(tuple(versions), near, engraving.nearest_box)
        else:
            placed = board.put(versions, near, engraving.nearest_box, reach=reach)
        if placed is None and name == jig_mark:
            message = f"no room on {plate.name} for its jig mark"
            hint = "A larger bed takes it in one piece, which has more room."
            raise InputError.of("design.no-room", message, key="bed", hint=hint)
        if placed is None:
            left_out.append(name)
        else:
            engraved.append((name, placed))
    engravings = tuple(
        engraving_of(name, replace(found, shape=found.shape.simplify(COARSE)), DEPTH)
        for name, found in engraved
    )
    (outline,) = regions_of(shapely.normalize(shape))
    return Body(plate, outline, (), mine, (), engravings, turn), tuple(left_out)


def _notches(plate: Plate) -> Iterator[Polygon]:
    """A notch in the edge at either end of each line, to lay it on a line of the ski or plate."""
    ends = [(plate.stop, 0.0, -90), (plate.start, 0.0, 90)]
    if plate.start < 0 < plate.stop:
        ends = [(0.0, plate.half_width, 0), (0.0, -plate.half_width, 180), *ends]
    for x, y, degrees in ends:
        turned = shapely.affinity.rotate(NOTCH, degrees, origin=(0.0, 0.0))
        yield shapely.affinity.translate(turned, x, y)


def _lines(plate: Plate, shape: Polygon, holes: list[Polygon]) -> Iterator[Polygon]:
    """Mounting mark and centre line, clear of holes and edge; a half's mark is its edge.

    The mark is drawn at the edges and the middle alone: words and scale have room between.
    """
    cuts = [plate.bar.buffer(1.0) - shape.buffer(-CLEAR), *(hole.buffer(CLEAR) for hole in holes)]
    b, half = plate.half_width, engraving.LINE / 2
    bars = [box(plate.start, -half, plate.stop, half)]
    if plate.start < 0 < plate.stop:
        ends = ((-b, ARM - b), (-ARM / 2, ARM / 2), (b - ARM, b))
        bars += [box(-half, low, half, high) for low, high in ends]
    for bar in bars:
        yield from squared(bar, cuts)


Item = tuple[str, Iterable[Drawn], tuple[float, float], float]
"""To engrave: its name, and shapes tried one after the other, at most so many mm from a point."""


def _items(
    plate: Plate, guides: tuple[Guide, ...], layout: Layout, jig_mark: str
) -> Iterator[Item]:
    """What is engraved where there is room, the most needed first."""
    b, length = plate.half_width, plate.stop - plate.start
    middle = (plate.start + plate.stop) / 2

    def written(text: str, caps: tuple[float, ...]) -> Iterator[Drawn]:
        return (write(text, cap) for cap in caps)

    for guide in guides:
        yield guide.id, written(guide.id, ID_CAPS), (guide.x, guide.y), ID_REACH
    yield wording.MARK, written(wording.MARK, ID_CAPS), (0.0, b), ID_REACH
    yield "arrow to the tip", [engraving.arrow()], (plate.stop, 0.0), length
    if jig_mark:
        yield jig_mark, marked(jig_mark), (middle, b / 2), length
    for line in (wording.TRIAL, *words(layout_part(layout, guides))):
        yield line, written(line, CAPS), (middle, b / 2), length
    if length > wording.SCALE + 2 * EDGE:
        yield SCALE_NAME, [engraving.check_scale(CAPS[-1], 4.5)], (middle, -b), length

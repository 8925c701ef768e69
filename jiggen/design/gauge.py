"""The gauge as plain numbers: a flat frame whose caliper readings tell what a printer does.

It lies as it is printed, in the bed's own frame, its corner at the origin: x and y are the
printer's axes, and nothing may turn it.  Seen from above::

    D═════════H══════C    A B C D  pegs at the corners, proud of the frame: the outside jaws
    ║                ║             close on them, along, across and crosswise
    E o o o o o o o  F    E F G H  holes: the inside jaws spread in them, far rim to far rim
    ║                ║    o        bush pockets, each 0.05 mm wider than the last
    A══════G═════════B    The pegs' tops stand at four heights, for z.

A peg goes down to the bed beside the frame, so that jaws pushed right down press at the height
of the frame's middle and do not bend it.  `span` is the distance of the pegs along x and y.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import count
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from jiggen import wording
from jiggen.design.engraving import Engraving, engraving_of
from jiggen.design.fit_ladder import FitLadder, design_fit_ladder
from jiggen.design.guides import LEAD_IN, Guide
from jiggen.design.lettering import Drawn, Region, regions_of, sign_of, together, write
from jiggen.design.pieces import Piece, Placed
from jiggen.design.settings import Bed, Bush, BushChoice
from jiggen.errors import Finding, InputError
from jiggen.record.entries import Peg
from jiggen.tables import bush_for

Pair = tuple[float, float]

NAME = "gauge"  # of the part
CALIPER = 150.0  # mm that the usual caliper opens; common practice, no source
CALIPER_SPARE = 2.0  # mm not counted on: a print may come out 1 % too large
JAW_GRIP = 6.0  # mm of height that jaws need on a peg above the frame; common practice, no source
INSIDE_JAWS = 6.0  # mm, the narrowest hole they enter; common practice, no source
LEAST_SPAN, SPAN_STEP = 100.0, 5.0  # mm between the pegs

# The frame
THICKNESS = 7.0  # mm: jaws closed with 4 N (from memory) bend 100 mm of rib by 0.01 mm
FOOT = 0.5  # mm at 45° off the edges on the bed, against elephant's foot
RIB = 5.0  # mm wide
PEG = 6.0  # mm, diameter: half of it stands proud of the frame
PEG_TOPS = tuple(THICKNESS + JAW_GRIP + more for more in (1.0, 3.0, 5.0, 7.0))  # mm, of A to D
PEG_REACH = 3.0  # mm of a rib that a peg covers
AT_A = PEG / 2  # x and y of peg A
HOLE = INSIDE_JAWS + 2.0  # mm, diameter
INSET = 5.0  # mm from the frame's outer side to the axis of a hole
PAD = (-2.0, 12.0)  # mm from the frame's outer side: 3 mm of wall around a hole
PAD_REACH = (-7.0, 15.0)  # mm along the frame's side from the hole's axis: its name has room
GUSSET = 13.0  # mm: triangles in the corners, for the pegs' names and against skew
WALL = 2.5  # mm beside the pockets

# The pockets
ALLOWANCES = (0.0, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30)  # mm over the bush's outside diameter
SPARED = (0.30, 0.0, 0.25)  # left out in this order where thick bushes leave no room
USUAL_DRILL = 3.6  # mm: its bush goes into a jig for which nothing else is asked

# Engravings
DEPTH = 0.6  # mm of engraving: three layers
CAP, SMALL_CAP = 4.2, 3.2  # mm, capitals
CLEAR = 1.0  # mm about the words on the rung
NAME_AT = RIB + 2.5  # mm from the frame's outer sides to the middle of a peg's name
ARROW_LENGTH = 19.0  # mm
ARROW = Polygon([(0, 1.2), (14, 1.2), (14, 0), (ARROW_LENGTH, 1.8), (14, 3.6), (14, 2.4), (0, 2.4)])


@dataclass(frozen=True, eq=False)
class Gauge:
    """The frame and what is on it in the bed's frame, and the ladder of fits beside it; mm."""

    bed: Bed
    caliper: float
    bush: Bush | None
    span: Pair
    outline: Region
    pegs: tuple[Peg, ...]
    holes: tuple[Guide, ...]
    pockets: tuple[Guide, ...]
    allowances: tuple[float, ...]
    engravings: tuple[Engraving, ...]
    ladder: FitLadder

    @property
    def guides(self) -> tuple[Guide, ...]:
        """Every round hole: those that are measured, then the pockets."""
        return (*self.holes, *self.pockets)

    @property
    def pieces(self) -> tuple[Piece, ...]:
        """The frame, used as it is printed; the slots; the stub of a rack."""
        frame = Piece(NAME, "gauge", (Placed(NAME, np.eye(4)),), np.eye(4), THICKNESS - DEPTH)
        return (frame, *self.ladder.pieces)


def design_gauge(
    bed: Bed, bush: BushChoice = "auto", caliper: float = CALIPER, jig_mark: str = ""
) -> Gauge:
    """Choose every number of a gauge for a printer's `bed` and a caliper that opens `caliper` mm.

    Its frame bears the `jig_mark`, if any.
    Raises InputError ``design.gauge-bed``, ``design.gauge-caliper`` where the pegs would stand less
    than 100 mm apart, ``design.gauge-bush`` for a bush too thick for a row of pockets.
    """
    span = _span(bed, caliper)
    if bush == "auto":
        row = bush_for(USUAL_DRILL)
        bush = Bush(row.outside, min(row.lengths))
    chosen = bush if isinstance(bush, Bush) else None
    x, y = span
    # E and F at the ends of the rung, G and H in the middles of the other two sides.
    places = ((INSET, y / 2), (x - INSET, y / 2), (x / 2, INSET), (x / 2, y - INSET))
    holes = tuple(_hole(name, *at, HOLE) for name, at in zip("EFGH", places, strict=True))
    allowances, pockets = _pockets(span, chosen) if chosen else ((), ())
    pegs = tuple(
        Peg(id=name, part=NAME, x=px, y=py, diameter=PEG, z=(THICKNESS, top))
        for name, (px, py, *_), top in zip("ABCD", _corners(span), PEG_TOPS, strict=True)
    )
    return Gauge(
        bed=bed,
        caliper=caliper,
        bush=chosen,
        span=span,
        outline=_outline(span, pockets),
        pegs=pegs,
        holes=holes,
        pockets=pockets,
        allowances=allowances,
        engravings=tuple(_engravings(span, holes, pockets, jig_mark)),
        ladder=design_fit_ladder(),
    )


def _span(bed: Bed, caliper: float) -> Pair:
    across = (caliper - CALIPER_SPARE - PEG) / math.sqrt(2)
    smallest = LEAST_SPAN + PEG
    rim = bed.rim if min(bed.x, bed.y) - 2 * bed.rim >= smallest else bed.least_rim
    x, y = (side - 2 * rim - PEG for side in (bed.x, bed.y))
    findings = []
    if min(x, y) < LEAST_SPAN or bed.z < max(PEG_TOPS):
        needed = smallest + 2 * bed.least_rim
        message = f"a bed of {bed.x:g} x {bed.y:g} x {bed.z:g} mm is too small for the gauge"
        hint = f"It needs {needed:g} x {needed:g} x {max(PEG_TOPS):g} mm."
        findings.append(Finding("design.gauge-bed", message, key="bed", hint=hint))
    if across < LEAST_SPAN:
        least = math.ceil(LEAST_SPAN * math.sqrt(2) + PEG + CALIPER_SPARE)
        message = f"a caliper that opens {caliper:g} mm does not span the gauge crosswise"
        hint = f"It must open {least} mm; the usual 150 mm caliper does."
        findings.append(Finding("design.gauge-caliper", message, key="caliper", hint=hint))
    if findings:
        raise InputError(findings)
    return (
        SPAN_STEP * math.floor(min(x, across) / SPAN_STEP),
        SPAN_STEP * math.floor(min(y, across) / SPAN_STEP),
    )


def _hole(name: str, x: float, y: float, bore: float, bush: Bush | None = None) -> Guide:
    """A hole right through, `x` and `y` from peg A, with a lead-in where a bush goes in."""
    lead, drill = (LEAD_IN, bush.outside) if bush else (0.0, bore)
    x, y, z = AT_A + x, AT_A + y, (FOOT, THICKNESS - lead)
    return Guide(name, x, y, drill, bush, bore, bore, z, FOOT, THICKNESS, THICKNESS, lead)


def _pockets(span: Pair, bush: Bush) -> tuple[tuple[float, ...], tuple[Guide, ...]]:
    """The allowances there is room for, and a pocket for each, open at both ends, in a row."""
    start = INSET + HOLE / 2 + WALL  # clear of E and F
    stop = span[0] - start
    room = math.floor((stop - start + WALL) / (bush.outside + max(ALLOWANCES) + WALL))
    least = len(ALLOWANCES) - len(SPARED)
    if room < least:
        most = (stop - start + WALL) / least - WALL - max(ALLOWANCES)
        raise InputError.of(
            "design.gauge-bush",
            f"a bush of {bush.outside:g} mm outside leaves no room for a row of pockets",
            key="bush",
            hint=f"At most {math.floor(10 * most) / 10:g} mm; none leaves the pockets out.",
        )
    spared = SPARED[: max(0, len(ALLOWANCES) - room)]
    allowances = tuple(allowance for allowance in ALLOWANCES if allowance not in spared)
    half = (bush.outside + max(ALLOWANCES)) / 2
    places = np.linspace(start + half, stop - half, len(allowances)).round(2).tolist()
    return allowances, tuple(
        _hole(f"bush +{allowance:.2f}", x, span[1] / 2, bush.outside + allowance, bush)
        for x, allowance in zip(places, allowances, strict=True)
    )


# -- the frame seen from above, and what is engraved on it ---------------------------------------


def _corners(span: Pair) -> Iterator[tuple[float, float, float, float]]:
    """The frame's corners from A anticlockwise, where the pegs stand, and which way is inwards."""
    x0, y0, x1, y1 = AT_A, AT_A, AT_A + span[0], AT_A + span[1]
    yield x0, y0, 1.0, 1.0
    yield x1, y0, -1.0, 1.0
    yield x1, y1, -1.0, -1.0
    yield x0, y1, 1.0, -1.0


def _rung(span: Pair, pockets: Sequence[Guide]) -> Pair:
    """Y of the rung's side towards A, and of the foot of the words along its other side."""
    # Half its widest hole: a pocket with its lead-in, or E and F (INSET holds 3).
    half = max([4.5, *(pocket.radius + pocket.lead_in for pocket in pockets)])
    return AT_A + span[1] / 2 - half - WALL, AT_A + span[1] / 2 + half + CLEAR


def _outline(span: Pair, pockets: Sequence[Guide]) -> Region:
    """Four ribs with gussets in the corners, pads around the holes, a rung for the pockets."""
    x0, y0, x1, y1 = AT_A, AT_A, AT_A + span[0], AT_A + span[1]
    (near, far), (back, ahead), middle = PAD, PAD_REACH, (x0 + x1) / 2
    low, words = _rung(span, pockets)
    high = words + SMALL_CAP + CLEAR
    shapes = [
        box(x0, y0, x1, y1) - box(x0 + RIB, y0 + RIB, x1 - RIB, y1 - RIB),
        box(middle + back, y0 + near, middle + ahead, y0 + far),
        box(middle + back, y1 - far, middle + ahead, y1 - near),
        box(x0 + near, low, x0 + far, high),
        box(x1 - far, low, x1 - near, high),
    ]
    for x, y, right, up in _corners(span):
        ix, iy = x + right * RIB, y + up * RIB
        shapes.append(Polygon([(ix, iy), (ix + right * GUSSET, iy), (ix, iy + up * GUSSET)]))
    if pockets:
        shapes.append(box(x0, low, x1, high))
    return regions_of(shapely.normalize(shapely.union_all(shapes)))[0]


def _engravings(
    span: Pair, holes: Sequence[Guide], pockets: Sequence[Guide], jig_mark: str
) -> Iterator[Engraving]:
    """The names of pegs, holes and pockets, the printer's axes, what must not be done, the mark."""

    def put(name: str, x: float, y: float, drawn: Drawn) -> Engraving:
        return engraving_of(name, drawn.centred(x, y), DEPTH)

    def label(text: str, x: float, y: float, cap: float = SMALL_CAP) -> Engraving:
        return put(text, x, y, write(text, cap))

    for name, (x, y, right, up) in zip("ABCD", _corners(span), strict=True):
        yield label(name, x + right * NAME_AT, y + up * NAME_AT, CAP)
    _, foot = _rung(span, pockets)
    words_y = (foot + (foot + SMALL_CAP)) / 2
    for hole in holes[:2]:
        yield label(hole.id, hole.x, words_y)
    for hole in holes[2:]:
        yield label(hole.id, hole.x + PAD_REACH[1] - CAP, hole.y, CAP)
    for pocket in pockets:
        yield label(pocket.id.partition("+")[2], pocket.x, words_y)

    x0, y0, x1, y1 = AT_A, AT_A, AT_A + span[0], AT_A + span[1]
    left, rib = (x0 + RIB + GUSSET + (x0 + x1) / 2 + PAD_REACH[0]) / 2, RIB / 2
    axis = sign_of("axis", ARROW, ARROW_LENGTH)
    x_mark, y_mark = write("X", SMALL_CAP).moved(20.5, 0.2), write("Y", SMALL_CAP).moved(-3.2, 20.5)
    yield put("X", left, y0 + rib, together([axis, x_mark]))
    yield put("Y", x0 + rib, y0 + (span[1] / 2 + RIB) / 2, together([axis.turned(90), y_mark]))
    right = ((x0 + x1) / 2 + PAD_REACH[1] + x1 - PEG_REACH) / 2
    yield label(wording.DO_NOT_TURN, right, y0 + rib)
    if jig_mark:
        yield label(jig_mark, right, y1 - rib)
    if pockets:
        words = write(f"BUSH {pockets[0].drill:g}", SMALL_CAP)
        yield put("bush", left, y1 - rib, words)


# -- the readings --------------------------------------------------------------------------------

PEG_PAIRS = ("AB", "DC", "AD", "BC", "AC", "BD")  # two along x, two along y, two crosswise
HOLE_PAIRS = ("EF", "GH", "EG", "GF", "FH", "HE")


@dataclass(frozen=True)
class Feature:
    """What is measured, as asked of the printer: bed frame, mm."""

    id: str
    kind: Literal["peg", "hole"]
    x: float
    y: float
    diameter: float


@dataclass(frozen=True)
class Reading:
    """What a perfect print shows, `asked` mm, and which features it is `of`."""

    number: int
    of: tuple[Feature, ...]
    asked: float


@dataclass(frozen=True)
class Readings:
    """All readings, numbered in the order that they are best taken.

    Distances are over pegs, or over far rims of holes; the first height is the frame's.
    """

    features: tuple[Feature, ...]
    distances: tuple[Reading, ...]
    diameters: tuple[Reading, ...]
    heights: tuple[Reading, ...]


def readings_of(gauge: Gauge) -> Readings:
    """The readings worth taking on `gauge`."""
    pegs = [Feature(peg.id, "peg", peg.x, peg.y, peg.diameter) for peg in gauge.pegs]
    holes = [Feature(hole.id, "hole", hole.x, hole.y, hole.bore) for hole in gauge.holes]
    features, number = (*pegs, *holes), count(1)
    named = {feature.id: feature for feature in features}

    def distance(pair: str) -> Reading:
        one, other = named[pair[0]], named[pair[1]]
        between = math.dist((one.x, one.y), (other.x, other.y))
        asked = between + (one.diameter + other.diameter) / 2
        return Reading(next(number), (one, other), asked)

    return Readings(
        features,
        tuple(map(distance, (*PEG_PAIRS, *HOLE_PAIRS))),
        tuple(Reading(next(number), (each,), each.diameter) for each in features),
        (
            Reading(next(number), (), THICKNESS),
            *(Reading(next(number), (named[peg.id],), peg.z[1]) for peg in gauge.pegs),
        ),
    )

"""The gauge as plain numbers: a flat frame whose caliper readings tell what a printer does.

It lies as it is printed, in the bed's own frame, its corner at the origin: x and y are the
printer's axes, and nothing may turn it.  Seen from above::

    D═════════H══════C    A B C D  pegs at the corners, proud of the frame: the outside jaws
    ║                ║             close on them, along, across and crosswise
    E o o o o o o o  F    E F G H  holes: the inside jaws spread in them, far rim to far rim
    ║                ║    o        bush pockets, each 0.05 mm wider than the last
    A══════G═════════B    The pegs' tops stand at four heights, for z.

A peg goes down to the bed beside the frame, so that jaws pushed right down press at the height
of the frame's middle and do not bend it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import count
from typing import Literal

import numpy as np

from jiggen.design.engraving import Engraving
from jiggen.design.fit_ladder import FitLadder, design_fit_ladder
from jiggen.design.gauge_frame import INSET, THICKNESS, Pair, engravings, outline
from jiggen.design.guides import LEAD_IN, Guide
from jiggen.design.lettering import Region
from jiggen.design.pieces import Piece, Placed
from jiggen.design.settings import Bed, Bush, BushChoice
from jiggen.errors import Finding, InputError
from jiggen.tables import bush_for

NAME = "gauge"  # of the part
CALIPER = 150.0  # mm that the usual caliper opens; common practice, no source
CALIPER_SPARE = 2.0  # mm not counted on: a print may come out 1 % too large
JAW_WIDTH = 12.0  # mm of the outside jaws' faces; common practice, no source
JAW_THICKNESS = 8.0  # mm of room for a jaw outside a peg; common practice, no source
JAW_GRIP = 6.0  # mm of height that jaws need on a peg above the frame; common practice, no source
INSIDE_JAWS = 6.0  # mm, the narrowest hole they enter; common practice, no source
LEAST_SPAN, SPAN_STEP = 100.0, 5.0  # mm between the pegs

PEG = 6.0  # mm, diameter: half of it stands proud of the frame
PEG_TOPS = tuple(THICKNESS + JAW_GRIP + more for more in (1.0, 3.0, 5.0, 7.0))  # mm, of A to D
HOLE = INSIDE_JAWS + 2.0  # mm, diameter
FOOT = 0.5  # mm at 45° off the edges on the bed, against elephant's foot
BED_MARGIN = 2.0

ALLOWANCES = (0.0, 0.05, 0.10, 0.15, 0.20, 0.25, 0.30)  # mm over the bush's outside diameter
SPARED = (0.30, 0.0, 0.25)  # left out in this order where thick bushes leave no room
POCKET_WALL = 2.5  # mm
USUAL_DRILL = 4.1  # mm, whose bush is meant where none is named


@dataclass(frozen=True)
class Peg:
    """A round peg: axis, diameter, and the heights it stands free between; bed frame, mm."""

    id: str
    x: float
    y: float
    diameter: float
    base_z: float
    top_z: float


@dataclass(frozen=True, eq=False)
class Gauge:
    """The frame and all that is on it in the bed's frame, and the ladder of fits beside it; mm.

    `span` is the distance of the pegs along x and y; `holes` are E to H, `pockets` what `bush`
    is tried in, wider by `allowances` than it is.
    """

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
        frame = Piece(NAME, "gauge", (Placed(NAME, np.eye(4)),), np.eye(4))
        return (frame, *self.ladder.pieces)


def design_gauge(bed: Bed, bush: BushChoice = "auto", caliper: float = CALIPER) -> Gauge:
    """Choose every number of a gauge for a printer's `bed` and a caliper that opens `caliper` mm.

    The pegs stand as far apart as the bed holds and the caliper spans crosswise.  Raises
    InputError ``design.gauge-bed``, ``design.gauge-caliper`` where that is under 100 mm, and
    ``design.gauge-bush`` for a bush too thick for a row of pockets.
    """
    span = _span(bed, caliper)
    chosen = _bush(bush)
    corner = (PEG / 2, PEG / 2)
    holes = tuple(_holes(span, corner))
    allowances = () if chosen is None else _allowances(span[0], chosen)
    pockets = () if chosen is None else tuple(_pockets(span, corner, chosen, allowances))
    return Gauge(
        bed=bed,
        caliper=caliper,
        bush=chosen,
        span=span,
        outline=outline(span, corner, pockets),
        pegs=tuple(_pegs(span, corner)),
        holes=holes,
        pockets=pockets,
        allowances=allowances,
        engravings=tuple(engravings(NAME, span, corner, holes, pockets)),
        ladder=design_fit_ladder(),
    )


def _span(bed: Bed, caliper: float) -> Pair:
    across = (caliper - CALIPER_SPARE - PEG) / math.sqrt(2)
    rooms = [side - 2 * BED_MARGIN - PEG for side in (bed.x, bed.y)]
    findings = []
    if min(rooms) < LEAST_SPAN or bed.z < max(PEG_TOPS):
        needed = LEAST_SPAN + PEG + 2 * BED_MARGIN
        findings.append(
            Finding(
                "design.gauge-bed",
                f"a bed of {bed.x:g} x {bed.y:g} x {bed.z:g} mm is too small for the gauge",
                key="bed",
                hint=f"It needs {needed:g} x {needed:g} x {max(PEG_TOPS):g} mm.",
            )
        )
    if across < LEAST_SPAN:
        needed = math.ceil(LEAST_SPAN * math.sqrt(2) + PEG + CALIPER_SPARE)
        findings.append(
            Finding(
                "design.gauge-caliper",
                f"a caliper that opens {caliper:g} mm does not span the gauge crosswise",
                key="caliper",
                hint=f"It must open {needed} mm; the usual 150 mm caliper does.",
            )
        )
    if findings:
        raise InputError(findings)
    x, y = (SPAN_STEP * math.floor(min(room, across) / SPAN_STEP) for room in rooms)
    return x, y


def _bush(choice: BushChoice) -> Bush | None:
    if isinstance(choice, Bush):
        return choice
    if choice == "none":
        return None
    row = bush_for(USUAL_DRILL)
    return Bush(row.outside, min(row.lengths))


def _pegs(span: Pair, corner: Pair) -> Iterator[Peg]:
    """A at the corner nearest the origin, then anticlockwise."""
    (x, y), (x0, y0) = span, corner
    places = ((0.0, 0.0), (x, 0.0), (x, y), (0.0, y))
    for name, (px, py), top in zip("ABCD", places, PEG_TOPS, strict=True):
        yield Peg(name, x0 + px, y0 + py, PEG, THICKNESS, top)


def _holes(span: Pair, corner: Pair) -> Iterator[Guide]:
    """E and F at the ends of the rung, G and H in the middles of the other two sides."""
    (x, y), (x0, y0) = span, corner
    places = ((INSET, y / 2), (x - INSET, y / 2), (x / 2, INSET), (x / 2, y - INSET))
    for name, (px, py) in zip("EFGH", places, strict=True):
        yield _round(name, x0 + px, y0 + py, HOLE, None)


def _round(name: str, x: float, y: float, bore: float, bush: Bush | None) -> Guide:
    """A hole right through, with a lead-in where a bush goes in."""
    lead = LEAD_IN if bush else 0.0
    return Guide(
        id=name,
        x=x,
        y=y,
        drill=bush.outside if bush else bore,
        bush=bush,
        bore=bore,
        throat=bore,
        throat_z=(FOOT, THICKNESS - lead),
        seat_z=FOOT,
        top_z=THICKNESS,
        bush_top_z=THICKNESS,
        lead_in=lead,
    )


def _row(span_x: float) -> Pair:
    """Where the row of pockets begins and ends, along x from peg A: clear of E and F."""
    ends = INSET + HOLE / 2 + POCKET_WALL
    return ends, span_x - ends


def _allowances(span_x: float, bush: Bush) -> tuple[float, ...]:
    """What there is room for, least first."""
    start, stop = _row(span_x)
    pitch = bush.outside + max(ALLOWANCES) + POCKET_WALL
    room = math.floor((stop - start + POCKET_WALL) / pitch)
    printed = len(ALLOWANCES) - len(SPARED)
    if room < printed:
        most = (stop - start + POCKET_WALL) / printed - POCKET_WALL - max(ALLOWANCES)
        raise InputError(
            Finding(
                "design.gauge-bush",
                f"a bush of {bush.outside:g} mm outside leaves no room for a row of pockets",
                key="bush",
                hint=f"At most {math.floor(10 * most) / 10:g} mm; none leaves the pockets out.",
            )
        )
    spared = SPARED[: max(0, len(ALLOWANCES) - room)]
    return tuple(allowance for allowance in ALLOWANCES if allowance not in spared)


def _pockets(
    span: Pair, corner: Pair, bush: Bush, allowances: tuple[float, ...]
) -> Iterator[Guide]:
    """A row along the rung, open at both ends: a bush can be pushed out again."""
    start, stop = _row(span[0])
    half = (bush.outside + max(ALLOWANCES)) / 2
    places = np.linspace(start + half, stop - half, len(allowances)).round(2)
    for place, allowance in zip(places.tolist(), allowances, strict=True):
        name = f"bush +{allowance:.2f}"
        bore = bush.outside + allowance
        yield _round(name, corner[0] + place, corner[1] + span[1] / 2, bore, bush)


Kind = Literal["peg", "hole"]

PEG_PAIRS = ("AB", "DC", "AD", "BC", "AC", "BD")  # two along x, two along y, two crosswise
HOLE_PAIRS = ("EF", "GH", "EG", "GF", "FH", "HE")


@dataclass(frozen=True)
class Feature:
    """What is measured, as asked of the printer: bed frame, mm."""

    id: str
    kind: Kind
    x: float
    y: float
    diameter: float


@dataclass(frozen=True)
class Distance:
    """A reading over two pegs, or over the far rims of two holes; `asked` in mm."""

    number: int
    between: tuple[Feature, Feature]
    asked: float


@dataclass(frozen=True)
class Diameter:
    """A reading of a peg's or a hole's diameter."""

    number: int
    of: Feature

    @property
    def asked(self) -> float:
        """What a perfect print shows, mm."""
        return self.of.diameter


@dataclass(frozen=True)
class Height:
    """A reading of a height over the bed; `of` names the peg, empty for the frame itself."""

    number: int
    of: str
    asked: float


@dataclass(frozen=True)
class Readings:
    """All readings, numbered in the order that they are best taken."""

    features: tuple[Feature, ...]
    distances: tuple[Distance, ...]
    diameters: tuple[Diameter, ...]
    heights: tuple[Height, ...]


def readings_of(gauge: Gauge) -> Readings:
    """The readings worth taking on `gauge`."""
    features = (
        *(Feature(peg.id, "peg", peg.x, peg.y, peg.diameter) for peg in gauge.pegs),
        *(Feature(hole.id, "hole", hole.x, hole.y, hole.bore) for hole in gauge.holes),
    )
    named = {feature.id: feature for feature in features}
    pairs = [(named[pair[0]], named[pair[1]]) for pair in (*PEG_PAIRS, *HOLE_PAIRS)]
    heights = (("", THICKNESS), *((peg.id, peg.top_z) for peg in gauge.pegs))
    number = count(1)
    return Readings(
        features=features,
        distances=tuple(Distance(next(number), pair, _outside(*pair)) for pair in pairs),
        diameters=tuple(Diameter(next(number), feature) for feature in features),
        heights=tuple(Height(next(number), *height) for height in heights),
    )


def _outside(one: Feature, other: Feature) -> float:
    return math.dist((one.x, one.y), (other.x, other.y)) + (one.diameter + other.diameter) / 2

"""The gauge's frame seen from above, and what is engraved on it; bed frame, mm.

`span` is the distance of the pegs along x and y, `corner` the place of peg A.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import shapely
import shapely.affinity
from shapely.geometry import Polygon, box

from jiggen.design.engraving import Engraving
from jiggen.design.guides import Guide
from jiggen.design.lettering import Region, letter, regions_of

Pair = tuple[float, float]

THICKNESS = 7.0  # mm: jaws closed with 4 N (from memory) bend 100 mm of rib by 0.01 mm
RIB = 5.0  # mm wide
PEG_REACH = 3.0  # mm of a rib that a peg covers
INSET = 5.0  # mm from the frame's outer side to the axis of a hole
PAD = (-2.0, 12.0)  # mm from the frame's outer side: 3 mm of wall around a hole
PAD_REACH = (-7.0, 15.0)  # mm along the frame's side from the hole's axis: its name has room
GUSSET = 13.0  # mm: triangles in the corners, for the pegs' names and against skew
WALL = 2.5  # mm beside the pockets
DEPTH = 0.6  # mm of engraving: three layers
CAP, SMALL_CAP = 4.2, 3.2  # mm, capitals
CLEAR = 1.0  # mm about the words on the rung
NAME_AT = RIB + 2.5  # mm from the frame's outer sides to the middle of a peg's name
ARROW = Polygon([(0, 1.2), (14, 1.2), (14, 0), (19, 1.8), (14, 3.6), (14, 2.4), (0, 2.4)])
TURN = "DO NOT TURN"


def outline(span: Pair, corner: Pair, pockets: Sequence[Guide]) -> Region:
    """Four ribs with gussets in the corners, pads around the holes, a rung for the pockets."""
    (x0, x1), (y0, y1) = _sides(span, corner)
    (near, far), (back, ahead) = PAD, PAD_REACH
    middle = (x0 + x1) / 2
    ribs = box(x0, y0, x1, y1) - box(x0 + RIB, y0 + RIB, x1 - RIB, y1 - RIB)
    low, high = _rung(span, corner, pockets)
    pads = [
        box(middle + back, y0 + near, middle + ahead, y0 + far),
        box(middle + back, y1 - far, middle + ahead, y1 - near),
        box(x0 + near, low, x0 + far, high),
        box(x1 - far, low, x1 - near, high),
    ]
    rung = [box(x0, low, x1, high)] if pockets else []
    shape = shapely.union_all([ribs, *_gussets(span, corner), *pads, *rung])
    return regions_of(shapely.normalize(shape))[0]


def _sides(span: Pair, corner: Pair) -> tuple[Pair, Pair]:
    return (corner[0], corner[0] + span[0]), (corner[1], corner[1] + span[1])


def _rung(span: Pair, corner: Pair, pockets: Sequence[Guide]) -> Pair:
    """From where to where the rung, or the pads around E and F, reach along y."""
    _, high = _words_y(span, corner, pockets)
    half = _half(pockets)
    return corner[1] + span[1] / 2 - half - WALL, high + CLEAR


def _words_y(span: Pair, corner: Pair, pockets: Sequence[Guide]) -> Pair:
    """Foot and head of the words along the rung."""
    low = corner[1] + span[1] / 2 + _half(pockets) + CLEAR
    return low, low + SMALL_CAP


def _half(pockets: Sequence[Guide]) -> float:
    """Half the widest hole of the rung: a pocket with its lead-in, or E and F (INSET holds 3)."""
    return max([4.5, *(pocket.radius + pocket.lead_in for pocket in pockets)])


def _gussets(span: Pair, corner: Pair) -> Iterator[Polygon]:
    for x, y, right, up in _corners(span, corner):
        inner = x + right * RIB, y + up * RIB
        ends = (inner[0] + right * GUSSET, inner[1]), (inner[0], inner[1] + up * GUSSET)
        yield Polygon([inner, *ends])


def _corners(span: Pair, corner: Pair) -> Iterator[tuple[float, float, float, float]]:
    """The frame's corners from A anticlockwise, and which way is inwards."""
    (x0, x1), (y0, y1) = _sides(span, corner)
    ways = ((1.0, 1.0), (-1.0, 1.0), (-1.0, -1.0), (1.0, -1.0))
    for (x, y), (right, up) in zip(((x0, y0), (x1, y0), (x1, y1), (x0, y1)), ways, strict=True):
        yield x, y, right, up


def engravings(
    part: str, span: Pair, corner: Pair, holes: Sequence[Guide], pockets: Sequence[Guide]
) -> Iterator[Engraving]:
    """The names of pegs, holes and pockets, the printer's axes, and what must not be done."""

    def put(name: str, shape: shapely.Geometry, x: float, y: float) -> Engraving:
        """`shape` with the middle of its box at (x, y)."""
        left, low, right, high = shape.bounds
        shape = shapely.affinity.translate(shape, x - (left + right) / 2, y - (low + high) / 2)
        return Engraving(name, part, regions_of(shape), DEPTH)

    (x0, x1), (y0, y1) = _sides(span, corner)
    for name, (x, y, right, up) in zip("ABCD", _corners(span, corner), strict=True):
        yield put(name, letter(name, CAP), x + right * NAME_AT, y + up * NAME_AT)
    words_y = sum(_words_y(span, corner, pockets)) / 2
    for hole in holes[:2]:
        yield put(hole.id, letter(hole.id, SMALL_CAP), hole.x, words_y)
    for hole in holes[2:]:
        yield put(hole.id, letter(hole.id, CAP), hole.x + PAD_REACH[1] - CAP, hole.y)
    for pocket in pockets:
        number = pocket.id.partition("+")[2]
        yield put(number, letter(number, SMALL_CAP), pocket.x, words_y)

    left, rib = (x0 + RIB + GUSSET + (x0 + x1) / 2 + PAD_REACH[0]) / 2, RIB / 2
    lower = y0 + (span[1] / 2 + RIB) / 2
    axis = shapely.union_all([ARROW, shapely.affinity.translate(letter("X", SMALL_CAP), 20.5, 0.2)])
    yield put("X", axis, left, y0 + rib)
    turned = shapely.union_all(
        [
            shapely.affinity.rotate(ARROW, 90, origin=(0, 0)),
            shapely.affinity.translate(letter("Y", SMALL_CAP), -3.2, 20.5),
        ]
    )
    yield put("Y", turned, x0 + rib, lower)
    right = ((x0 + x1) / 2 + PAD_REACH[1] + x1 - PEG_REACH) / 2
    yield put(TURN, letter(TURN, SMALL_CAP), right, y0 + rib)
    if pockets:
        yield put("bush", letter(f"BUSH {pockets[0].drill:g}", SMALL_CAP), left, y1 - rib)

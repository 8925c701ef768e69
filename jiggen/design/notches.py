"""What a caliper is laid to on a finished print: a notch in a body's side edge, and its faces.

Between the notch and one end of the body the outside jaws take a length along the ski, 145 mm where
there is room; beside it, over both edges, a length across.  Both faces of each look away from each
other and stand upright through the whole body, so that the jaws find them at mid-height, clear of
the foot of the first layers.  One notch is all that is cut: it weakens a strip and nothing else.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import shapely
from shapely.geometry import LineString, Point, Polygon, box

from jiggen.design.guides import Guide
from jiggen.design.plan import CLAMP_MARK, CORNER, Interval
from jiggen.design.station import StationShape
from jiggen.record.entries import Station

LONGEST = 145.0  # mm: a caliper that opens 150 mm takes a print that is 1 % and more too large
LEAST = 40.0  # mm: less says nothing of a scale
STEP = 1.0  # mm between the lengths tried
WIDTH = 9.0  # mm along the ski: the tip of a caliper's outside jaw (common practice, no source)
DEPTH = 6.0  # mm in from the edge, as far as the jaws' tips reach; no farther than a strip
FLARE = 1.0  # mm at 45° in its inner corners: an edge that a printer does not round
WALL = 2.5  # mm of plastic between it and a guide
CLEAR = 3.5  # mm of edge beside it, so that a strip stands beside every channel and window
END = 20.0  # mm from a jig's end, where a clamp's pad has its place (common practice, no source)
BESIDE = 2.0  # mm from the notch's face to where the body is measured across


@dataclass(frozen=True)
class CaliperLength:
    """A length between two outside faces: `span` in x or in y, at `at` in the other; mm.

    The notch is in the edge of that `side`; along, the other face is that `end` of the body.
    """

    direction: Literal["along", "across"]
    span: Interval
    at: float
    side: Literal["left", "right"]
    end: Literal["tip", "tail"]

    @property
    def nominal(self) -> float:
        """The length of a print that comes out true, mm."""
        return self.span[1] - self.span[0]


@dataclass(frozen=True)
class Notch:
    """A notch in the edge of `side` (+1 left, -1 right) of a body ± `half_width`; mm.

    The jaws are laid to its wall at x = `face` and to the body's end at x = `end`.
    """

    side: int
    half_width: float
    face: float
    end: float

    @property
    def away(self) -> int:
        """The way along the ski, +1 or -1, that its face looks: away from the body's end."""
        return 1 if self.face > self.end else -1

    @property
    def x(self) -> Interval:
        """From and to along the ski."""
        low, high = sorted((self.face, self.face + self.away * WIDTH))
        return low, high

    @property
    def end_width(self) -> float:
        """How wide the body's flat end is, mm: what the blade of a try square lies along."""
        return 2 * (self.half_width - CORNER)

    @property
    def plan(self) -> Polygon:
        """What it takes from the body seen from above, on past the edge."""
        (low, high), edge, floor = self.x, self.half_width + 1.0, self.half_width - DEPTH
        inner = [(low + FLARE, floor), (high - FLARE, floor)]
        walls = [(low, edge), (low, floor + FLARE), *inner, (high, floor + FLARE), (high, edge)]
        return Polygon([(x, self.side * y) for x, y in walls])

    @property
    def lengths(self) -> tuple[CaliperLength, CaliperLength]:
        """What the caliper measures: along, and across beside it."""
        b, (low, high) = self.half_width, sorted((self.face, self.end))
        side: Literal["left", "right"] = "left" if self.side > 0 else "right"
        end: Literal["tip", "tail"] = "tail" if self.away > 0 else "tip"
        along = CaliperLength("along", (low, high), self.side * sum(shared_face(b)) / 2, side, end)
        beside = self.face - self.away * BESIDE
        return along, CaliperLength("across", (-b, b), beside, side, end)


def shared_face(half_width: float) -> Interval:
    """Of y, from and to, that a notch's wall and the body's end both have, mm."""
    return half_width - DEPTH + FLARE, half_width - CORNER


def find_notch(
    shape: Polygon,
    half_width: float,
    guides: Iterable[Guide],
    stations: Iterable[Station],
    station: StationShape,
    clamps: Iterable[Interval] = (),
) -> Notch | None:
    """The notch of a body of the outline `shape` that gives the longest length along; or None.

    It keeps clear of guides, of stations, which are of that shape, and of `clamps` at x and y.
    """
    points = [(Point(guide.x, guide.y), guide.radius + WALL) for guide in guides]
    points += [(Point(place), CLAMP_MARK + WALL) for place in clamps]
    reach = station.half_length + CLEAR
    blocked = [(one.x - reach, one.x + reach) for one in stations]
    low_x, _, high_x, _ = shape.bounds
    ends = [
        (side, end)
        for side in (-1, 1)
        for end in (high_x, low_x)
        if shape.boundary.covers(_face(end, side, half_width))
    ]
    shapely.prepare(shape)
    for length in np.arange(LONGEST, LEAST - STEP / 2, -STEP).tolist():
        for side, end in ends:
            away = -1 if end == high_x else 1
            notch = Notch(side, half_width, end + away * length, end)
            low, high = notch.x
            if any(low - END < other < high + END for _, other in ends):
                continue
            if any(low < stop and start < high for start, stop in blocked):
                continue
            inner, edge = sorted((side * (half_width - DEPTH - CLEAR), side * half_width))
            around = box(low - CLEAR, inner, high + CLEAR, edge)
            if shape.covers(around) and all(notch.plan.distance(p) >= r for p, r in points):
                return notch
    return None


def _face(end: float, side: int, half_width: float) -> LineString:
    """The part of a body's end that the jaws may touch."""
    low, high = shared_face(half_width)
    return LineString([(end, side * low), (end, side * high)])

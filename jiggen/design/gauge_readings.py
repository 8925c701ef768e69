"""Which caliper readings a gauge is made for, and what each shows on a perfect print; mm.

Scale x, scale y, skew, hole, wall and scale z are each seen by three readings or more, and every
reading is checked by others, so that a slip of the eye stands out.  Pegs are measured outside
only: jaws that spread two pegs push at their tops, and bend the frame by a few hundredths.
Distances and diameters are taken twice and both readings count: from one alone, a 0.02 mm caliper
leaves the far holes of one printer in a hundred up to 0.06 mm out (`tests/bench/printer.py`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import count
from typing import Literal

from jiggen.design.gauge import Gauge
from jiggen.design.gauge_frame import THICKNESS

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

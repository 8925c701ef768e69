"""What was measured on a plate, as plain values in mm, and how it is put into words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from jiggen.measure import Method
from jiggen.pattern.model import Datum, Drill, Pair

Edge = Literal["front", "rear", "left", "right"]

EDGES: tuple[Edge, ...] = ("front", "rear", "left", "right")
OPPOSITE: dict[str, str] = {"front": "rear", "rear": "front", "left": "right", "right": "left"}

CALIPER = 0.05
"""Standard uncertainty of a caliper reading in mm: common practice, no source."""


@dataclass(frozen=True)
class Reading:
    """A measured distance in mm; `first` or `second` may be one of the plate's edges.

    ``outside`` is taken over the far rims of both holes, ``inside`` between their near rims;
    from an edge, over the hole's far rim or up to its near rim.  `sigma` (mm) is its standard
    uncertainty where it is not the survey's.
    """

    first: str
    second: str
    kind: Method
    value: float
    sigma: float | None = None

    def __str__(self) -> str:
        ends = (self.first, self.second)
        if ends[0] not in OPPOSITE and ends[1] in OPPOSITE:
            ends = ends[::-1]
        return f"{thing(ends[0])} to {thing(ends[1])}, {self.manner}"

    @property
    def manner(self) -> str:
        """How it was measured, in words."""
        edges = sum(end in OPPOSITE for end in (self.first, self.second))
        if edges == 2:
            return "edge to edge"
        if edges == 1:
            return {"centre": "to its centre", "outside": "far rim", "inside": "near rim"}[
                self.kind
            ]
        return f"{self.kind} to {self.kind}"


@dataclass(frozen=True)
class Survey:
    """A whole survey file after checking; every length in mm, holes in the file's order.

    `diameters` are the holes' as measured.  `pairs` have the left hole first, `on_centre_line`
    lists single holes that lie on the centre line.  The rest says how the plate lies: `origin`
    is where x is 0 (the mean of the holes named, or one edge), `middle` where y is 0 (the mean
    of holes or of two edges; empty where pairs say so), `along` two holes, rear one first, in a
    line along the ski.  `front` names the holes nearest the tip, `rear` those nearest the tail;
    `left` and `right` name holes that lie on that side of the centre line.
    """

    name: str
    note: str
    boot: tuple[float, float] | None
    pair: Pair
    drill: Drill
    group: str
    datum: Datum
    shift: float
    holes: tuple[str, ...]
    diameters: tuple[float, ...]
    readings: tuple[Reading, ...]
    pairs: tuple[tuple[str, str], ...] = ()
    on_centre_line: tuple[str, ...] = ()
    origin: tuple[str, ...] = ()
    middle: tuple[str, ...] = ()
    along: tuple[str, str] | None = None
    front: tuple[str, ...] = ()
    rear: tuple[str, ...] = ()
    left: tuple[str, ...] = ()
    right: tuple[str, ...] = ()
    sigma: float = CALIPER
    source: str = ""

    @property
    def twins(self) -> dict[str, str]:
        """Each hole's mirror image in the centre line, where the file names one."""
        both = dict(self.pairs)
        return both | {right: left for left, right in self.pairs} | self._own_twins

    @property
    def _own_twins(self) -> dict[str, str]:
        return {name: name for name in self.on_centre_line}


def thing(name: str) -> str:
    """A hole or an edge as it stands in a sentence."""
    return f"{name} edge" if name in OPPOSITE else name

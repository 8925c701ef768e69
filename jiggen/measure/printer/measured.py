"""What a caliper read on a gauge or on a finished jig, as plain values in mm."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from jiggen.inputs.faults import UNITS, Unit
from jiggen.measure import REACH, Method

Kind = Literal["hole", "peg"]

CALIPER = 0.02
"""Standard uncertainty of a caliper reading on a gauge, in mm: common practice, no source."""

PINS = 0.03
"""The same over pins in a jig's bushes, their play in it, in mm: common practice, no source."""


@dataclass(frozen=True)
class Feature:
    """A hole or a peg of the gauge as asked of the printer: place on the bed and diameter, mm."""

    name: str
    kind: Kind
    at: tuple[float, float]
    diameter: float


@dataclass(frozen=True)
class Distance:
    """A distance read in mm: over the far edges of both ends, the near ones, or the centres.

    `over` is what stood there, in mm, of either end: a pin's diameter; 0 where the edges are
    the printed ones, whose diameters are the features' own.
    """

    first: str
    second: str
    edges: Method
    value: float
    over: tuple[float, float] = (0.0, 0.0)

    def __str__(self) -> str:
        return f"{self.first} to {self.second}, {self.edges} to {self.edges}"

    @property
    def centres(self) -> float:
        """The reading less the pins: the distance of the centres where there were pins."""
        return self.value - REACH[self.edges] * sum(self.over) / 2


@dataclass(frozen=True)
class Diameter:
    """A feature's diameter read in mm."""

    of: str
    value: float

    def __str__(self) -> str:
        return f"diameter of {self.of}"


@dataclass(frozen=True)
class Height:
    """A height that was asked of the printer, and what it became; mm."""

    asked: float
    value: float

    def __str__(self) -> str:
        return f"height of {self.asked:g} mm"


Reading = Distance | Diameter | Height


@dataclass(frozen=True)
class Measurements:
    """A gauge's whole file after checking; lengths in mm, `unit` is what the caliper showed.

    `caliper` is the standard uncertainty of a reading.  `bush_fit` and `slide` are what was
    tried by hand, None where it was not.
    """

    features: Mapping[str, Feature]
    distances: tuple[Distance, ...]
    diameters: tuple[Diameter, ...] = ()
    heights: tuple[Height, ...] = ()
    caliper: float = CALIPER
    bush_fit: float | None = None
    slide: float | None = None
    unit: Unit = UNITS["mm"]
    source: str = ""

    @property
    def readings(self) -> tuple[Reading, ...]:
        """All that was read: distances, diameters, heights."""
        return (*self.distances, *self.diameters, *self.heights)


@dataclass(frozen=True)
class PinReadings:
    """A finished jig's whole file after checking: distances between its holes, in mm."""

    distances: tuple[Distance, ...]
    caliper: float = PINS
    unit: Unit = UNITS["mm"]
    source: str = ""

    @property
    def readings(self) -> tuple[Distance, ...]:
        """All that was read."""
        return self.distances

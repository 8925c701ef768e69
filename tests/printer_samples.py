"""Printers that are not true, gauges printed on them, and what a caliper would read there.

Apart from the program's own reckoning: circles are followed point by point through the printer,
and the caliper's jaws are the farthest points along the line of the centres.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from jiggen.measure import Method
from jiggen.measure.printer.gauge_fit import PARAMETERS
from jiggen.measure.printer.read import (
    Diameter,
    Distance,
    Feature,
    Height,
    Measurements,
    Reading,
)

Array = NDArray[np.float64]

NOISE = 0.02  # mm, of the issue
ROUND = np.radians(np.arange(0.0, 360.0, 1.0))  # jaws within 0.2 µm of the true circle's
CIRCLE = np.column_stack([np.cos(ROUND), np.sin(ROUND)])
SIDE = {"outside": 1, "inside": -1, "centre": 0}


@dataclass(frozen=True)
class Printer:
    """What it makes of what it is asked for: factors, degrees and mm."""

    scale_x: float = 1.0
    scale_y: float = 1.0
    skew: float = 0.0
    hole: float = 0.0
    wall: float = 0.0
    scale_z: float = 1.0

    @property
    def truth(self) -> Array:
        return np.array([getattr(self, name) for name in PARAMETERS])

    def print(self, points: Array) -> Array:
        """Where (n, 2) points of the file end up on the bed."""
        x, y = np.asarray(points, dtype=float).T
        lean = np.deg2rad(self.skew)
        return np.column_stack(
            [self.scale_x * x + self.scale_y * y * np.sin(lean), self.scale_y * y * np.cos(lean)]
        )

    @lru_cache(maxsize=8)  # noqa: B019 - a few printers are kept, no more
    def outline(self, kind: str, diameter: float) -> Array:
        """Points of a printed hole's or peg's edge about its own middle."""
        offset = self.hole if kind == "hole" else self.wall
        return self.print(CIRCLE * diameter / 2) + CIRCLE * offset / 2

    def reading(self, features: dict[str, Feature], reading: Reading) -> float:
        """What a faultless caliper shows."""
        match reading:
            case Distance():
                one, other = (features[end] for end in reading.between)
                here, there = self.print([one.at, other.at])
                apart = there - here
                length = float(np.hypot(*apart))
                ahead = apart / length
                near, far = (self.outline(end.kind, end.diameter) @ ahead for end in (one, other))
                jaws = far.max() - near.min()
                return length + SIDE[reading.edges] * jaws
            case Diameter():  # along both axes, and the mean written down
                feature = features[reading.of]
                outline = self.outline(feature.kind, feature.diameter)
                return float(np.ptp(outline, axis=0).mean())
            case Height():
                return reading.asked * self.scale_z


def any_printer(random: np.random.Generator) -> Printer:
    """One as they come: within 1 %, half a degree and 0.3 mm."""
    low = (0.99, 0.99, -0.5, -0.3, -0.1, 0.99)
    high = (1.01, 1.01, 0.5, 0.1, 0.3, 1.01)
    return Printer(*random.uniform(low, high).tolist())


SMALL = """\
measurements = 1
units = "mm"
caliper = 0.03
[features]
A1 = {kind = "hole", at = [20.0, 20.0], diameter = 8.0}
A2 = {kind = "hole", at = [140, 20.0], diameter = 8.0}
B1 = {kind = "peg", at = [20.0, 140.0], diameter = 8.0}
[[distance]]
between = ["A1", "A2"]
edges = "outside"
value = 127.61
[[distance]]
between = ["A1", "B1"]
edges = "centre"
value = ""
[[diameter]]
of = "A1"
value = 7.86
[[height]]
asked = 12.0
value = 11.98
[fits]
bush_fit = 0.15
slide = ""
"""
"""A short file of measurements, one reading of it not taken."""


def distance(one: str, other: str, edges: Method, value: float = 1.0) -> Distance:
    return Distance.model_construct(between=(one, other), edges=edges, value=value)


def diameter(of: str, value: float = 1.0) -> Diameter:
    return Diameter.model_construct(of=of, value=value)


def height(asked: float, value: float = 1.0) -> Height:
    return Height.model_construct(asked=asked, value=value)


def reads(reading: Reading, value: float) -> Reading:
    """The same reading with that value."""
    return reading.model_copy(update={"value": value})


def square(kind: str, letter: str, at: float, side: float) -> dict[str, Feature]:
    corners = [(at, at), (at + side, at), (at, at + side), (at + side, at + side)]
    return {
        f"{letter}{n}": Feature(kind=kind, at=[*corner], diameter=8.0)
        for n, corner in enumerate(corners, 1)
    }


FEATURES = square("hole", "A", 20, 120) | square("peg", "B", 40, 80)


def pairs(letter: str, edges: Method) -> list[Distance]:
    names = [name for name in FEATURES if name[0] == letter]
    return [distance(*pair, edges) for pair in combinations(names, 2)]


GAUGE: tuple[Reading, ...] = (
    *pairs("A", "outside"),
    *pairs("A", "inside"),
    *pairs("B", "outside"),
    *map(diameter, FEATURES),
    height(12.0),
    height(6.0),
)
"""Two squares of 120 mm of holes and 80 mm of pegs, each with its diagonals, and two steps."""


@cache
def the_gauge() -> tuple[dict[str, Feature], tuple[Reading, ...]]:
    """Features and readings of the blank that `jiggen gauge` writes for the usual bed."""
    from jiggen.design.gauge import design_gauge, readings_of
    from jiggen.design.settings import Bed
    from jiggen.export.manifest import measurements_toml

    blank = tomllib.loads(measurements_toml(readings_of(design_gauge(Bed()))))
    features = {name: Feature(**row) for name, row in blank["features"].items()}
    return features, (
        *(distance(*row["between"], row["edges"]) for row in blank["distance"]),
        *(diameter(row["of"]) for row in blank["diameter"]),
        *(height(row["asked"]) for row in blank["height"]),
    )


def read_gauge(printer: Printer, random: np.random.Generator) -> Measurements:
    """Our own gauge of `printer`, measured as its blank asks."""
    features, asked = the_gauge()
    return read(printer, random, asked, features=features)


def measured(
    readings: Iterable[Reading], features: dict[str, Feature] = FEATURES, caliper: float = NOISE
) -> Measurements:
    """A file of these readings."""
    return Measurements(features, tuple(readings), caliper, source="gauge.toml")


def read(
    printer: Printer,
    random: np.random.Generator | None = None,
    asked: Sequence[Reading] = GAUGE,
    noise: float = NOISE,
    features: dict[str, Feature] = FEATURES,
) -> Measurements:
    """A gauge of `printer` measured to a hundredth; without `random`, faultlessly."""
    true = [printer.reading(features, reading) for reading in asked]
    if random is not None:
        true = np.round(random.normal(true, noise), 2).tolist()
    taken = (reads(reading, value) for reading, value in zip(asked, true, strict=True))
    return measured(taken, features)


def misread(
    measurements: Measurements, random: np.random.Generator, least: float = 0.25
) -> tuple[Measurements, int]:
    """One reading spoilt as people do, by `least` mm or more; and which.

    By 1 or 10 mm too many or too few, or by two neighbouring digits swapped.
    """
    readings = list(measurements.readings)
    while True:
        row = int(random.integers(len(readings)))
        text = f"{readings[row].value:.2f}"
        spoilt = [float(text) + slip for slip in (1, -1, 10, -10)]
        for place in range(len(text) - 1):
            one, other = text[place : place + 2]
            if "." not in (one, other):
                spoilt.append(float(text[:place] + other + one + text[place + 2 :]))
        usable = [value for value in spoilt if value > 0 and abs(value - float(text)) >= least]
        if usable:
            value = float(random.choice(usable))
            readings[row] = reads(readings[row], value)
            return measured(readings, measurements.features, measurements.caliper), row

"""G-code as a slicing program writes it, read back as the paths it lays; for tests only.

Words are those of ISO 6983 (G0 to G3, G90 to G92) and, for the extruder's axis, of the printers'
firmwares (M82, M83).  What a path is, and of which object, stands in comments that each slicing
program words in its own way; the four ways that are common are known.  All lengths mm.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
WORD = re.compile(r"([A-Z])\s*([-+]?\d*\.?\d+)")
ROLE = re.compile(r";\s*(?:TYPE|FEATURE):\s*(.+)")
LAYER = re.compile(r";\s*(?:LAYER_CHANGE|CHANGE_LAYER|LAYER:\s*-?\d+)\s*$")
OBJECT = re.compile(r"(?:; printing object |;MESH:|EXCLUDE_OBJECT_START NAME=)(\S+)")
OBJECT_ENDS = re.compile(r"; stop printing object|EXCLUDE_OBJECT_END|;MESH:NONMESH")
WALLS = {"external perimeter", "overhang perimeter", "outer wall", "overhang wall", "wall-outer"}
CHORD = 0.01  # mm that the points of an arc may cut inside it
FEWEST = 12  # points of a round loop: a rectangle's corners lie on a circle too
CLOSED = 1.0  # mm from a loop's end to its start: a seam leaves a gap


@dataclass
class Path:
    """What is laid without a stop: its `role`, the `thing` it is of, points (n, 2)."""

    layer: int
    z: float
    role: str
    thing: str
    points: list[tuple[float, float]] = field(default_factory=list)

    @property
    def is_loop(self) -> bool:
        """Whether it comes back to where it started."""
        return len(self.points) > 3 and math.dist(self.points[0], self.points[-1]) <= CLOSED


@dataclass(frozen=True)
class Circle:
    """A round loop: its middle, diameter, and how far its points are off it at most."""

    layer: int
    z: float
    thing: str
    x: float
    y: float
    diameter: float
    off: float


def read_paths(lines: Iterable[str]) -> Iterator[Path]:
    """Every path of a G-code text, in order; moves without plastic part them."""
    at = {"X": 0.0, "Y": 0.0, "Z": 0.0, "E": 0.0}
    absolute, extruder_absolute = True, True
    layer, role, thing = -1, "", ""
    path: Path | None = None
    for line in lines:
        if found := ROLE.match(line):
            # A wall goes on where a part of it hangs over: that is one loop.
            new = found[1].strip().lower()
            if not {new, role} <= WALLS and path:
                yield path
                path = None
            role = new
        elif LAYER.match(line):
            layer += 1
        elif found := OBJECT.match(line):
            thing = found[1]
        elif OBJECT_ENDS.match(line):
            thing = ""
        code, *_ = line.partition(";")
        words = {letter: float(value) for letter, value in WORD.findall(code)}
        command = code.split()[0] if code.split() else ""
        if command in ("G90", "G91"):  # of the place alone: programs state the extruder's apart
            absolute = command == "G90"
        elif command in ("M82", "M83"):
            extruder_absolute = command == "M82"
        elif command == "G92":
            at |= {axis: words[axis] for axis in at if axis in words}
        elif command in ("G0", "G1", "G2", "G3"):
            start = dict(at)
            for axis in at.keys() & words.keys():
                whole = extruder_absolute if axis == "E" else absolute
                at[axis] = words[axis] if whole else at[axis] + words[axis]
            moves = math.dist((start["X"], start["Y"]), (at["X"], at["Y"])) > 0 or "I" in words
            if not (moves and at["E"] > start["E"]):
                if path and moves:
                    yield path
                    path = None
                continue
            if path is None:
                path = Path(layer, at["Z"], role, thing, [(start["X"], start["Y"])])
            if command in ("G2", "G3"):
                path.points += _arc(start, at, words, 1 if command == "G3" else -1)
            path.points.append((at["X"], at["Y"]))
    if path:
        yield path


def _arc(
    start: dict[str, float], stop: dict[str, float], words: dict[str, float], way: int
) -> Iterator[tuple[float, float]]:
    """Points along an arc about (I, J) from its start, without its ends."""
    x, y = start["X"] + words.get("I", 0.0), start["Y"] + words.get("J", 0.0)
    radius = math.dist((x, y), (start["X"], start["Y"]))
    first = math.atan2(start["Y"] - y, start["X"] - x)
    sweep = way * (math.atan2(stop["Y"] - y, stop["X"] - x) - first)
    sweep = sweep % (2 * math.pi) or 2 * math.pi
    count = math.ceil(sweep / math.acos(1 - min(CHORD / radius, 1.0)) / 2)
    for number in range(1, count):
        angle = first + way * sweep * number / count
        yield x + radius * math.cos(angle), y + radius * math.sin(angle)


def circles(paths: Iterable[Path], roundness: float = 0.03) -> Iterator[Circle]:
    """The round ones of the walls' loops, no point farther than `roundness` off the circle."""
    for path in paths:
        if path.role not in WALLS or not path.is_loop or len(path.points) < FEWEST:
            continue
        points = np.array(path.points)
        x, y, diameter = fit_circle(points)
        off = float(np.abs(np.hypot(*(points - (x, y)).T) - diameter / 2).max())
        if off <= roundness:
            yield Circle(path.layer, path.z, path.thing, x, y, diameter, off)


def fit_circle(points: Array) -> tuple[float, float, float]:
    """Middle and diameter of the circle nearest to points: linear in x, y and r² (Kåsa 1976).

    I. Kåsa, "A circle fitting procedure and its error analysis", IEEE Transactions on
    Instrumentation and Measurement 25 (1976), from memory.
    """
    middle = points.mean(axis=0)
    around = points - middle
    matrix = np.column_stack([2 * around, np.ones(len(around))])
    x, y, rest = np.linalg.lstsq(matrix, (around**2).sum(axis=1), rcond=None)[0]
    return x + middle[0], y + middle[1], 2 * math.sqrt(rest + x * x + y * y)

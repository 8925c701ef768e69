"""What a drawing of a layout holds, in the file's own units; x to the tip, y to the left."""

from dataclasses import dataclass
from typing import TypeAlias

Point: TypeAlias = tuple[float, float]

LARGEST = 4 * 2**20  # bytes of a drawing, a sheet or a page's drawing: no such file comes near it
MOST = 20_000  # shapes of a drawing


class DrawingError(ValueError):
    """A drawing that cannot be understood, or holds what jiggen does not draw."""


@dataclass(frozen=True)
class Ring:
    """A circle; `name` is what a viewer shows of it."""

    at: Point
    diameter: float
    name: str = ""


@dataclass(frozen=True)
class Stroke:
    """A straight line."""

    start: Point
    end: Point
    layer: str

    @property
    def middle(self) -> Point:
        """Halfway between its ends."""
        return (self.start[0] + self.end[0]) / 2, (self.start[1] + self.end[1]) / 2


@dataclass(frozen=True)
class Word:
    """A line of words, where it is anchored."""

    at: Point
    text: str


@dataclass(frozen=True)
class Plan:
    """A drawing: mm of a unit along and across, marks of records, and its shapes in order."""

    unit: tuple[float, float]
    marks: tuple[str, ...]
    rings: tuple[Ring, ...]
    strokes: tuple[Stroke, ...]
    words: tuple[Word, ...]

    def on(self, layer: str) -> tuple[Stroke, ...]:
        """The lines of a layer."""
        return tuple(stroke for stroke in self.strokes if stroke.layer == layer)


def number(text: str) -> float:
    """A finite number.  Raises DrawingError."""
    try:
        value = float(text) if len(text) <= 40 else float("nan")
    except ValueError:
        value = float("nan")
    if not abs(value) < 1e9:  # mm: no number beyond it, and none that is none
        raise DrawingError(f"{text[:40]!r} is not a length")
    return value

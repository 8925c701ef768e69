"""Importing: from a drawing of a plate to a pattern file, or to all that is wrong with it.

Here is what is read from a drawing before anything is made of it, and what a person chooses.
"""

from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

from jiggen.errors import Finding
from jiggen.inputs.document import FileKind
from jiggen.pattern.model import Datum

DEPTH = 9.0  # mm: of the test hole of ISO 6005:1991, as a drawing gives none

_TOO_BIG = "Save the plate alone, without the rest of the drawing."
KIND = FileKind("import", "A drawing", 64_000_000, _TOO_BIG)
Turn = Literal[0, 90, 180, 270]
Unit = Literal["mm", "in"]


@dataclass(frozen=True)
class Circle:
    """A circle of a drawing: centre and diameter in the drawing's own unit and directions.

    `name` is how a person finds it again, `where` its file and line where that has lines.
    `layers` are the names it is selected by.  `flaw` says why it is not a circle after all (one
    that is squeezed by what it is drawn in, say); empty otherwise.
    """

    x: float
    y: float
    diameter: float
    name: str
    where: str
    layers: tuple[str, ...] = ()
    flaw: str = ""


@dataclass(frozen=True)
class Drawing:
    """The circles of a file.

    `unit` is the size of the drawing's unit in mm, None where the file does not say; `unit_source`
    says how it does.  `y_down` tells that y grows downwards, as in SVG.  `others` counts, by
    name, the shapes that are not read: they are not circles, but may be meant as such.
    """

    file: str
    circles: tuple[Circle, ...]
    unit: float | None
    unit_source: str
    y_down: bool = False
    others: Counter[str] = field(default_factory=Counter)
    faults: tuple[Finding, ...] = ()


@dataclass(frozen=True)
class Choices:
    """What a person chooses for a drawing; lengths in mm.

    `origin` is the drawing's point that becomes the group's origin, or "middle" for the middle
    of the holes; `turn` is in degrees, anticlockwise.  `only` takes circles of diameters (least,
    greatest).  `drill` and `metal` are drill diameters, None for the circles' own; `depth` is
    the drill depth, None for DEPTH.
    """

    units: Unit | None = None
    layers: tuple[str, ...] = ()
    only: tuple[float, float] | None = None
    origin: tuple[float, float] | Literal["middle"] = (0.0, 0.0)
    turn: Turn = 0
    name: str = ""
    datum: Datum = "boot-centre"
    drill: float | None = None
    metal: float | None = None
    depth: float | None = None

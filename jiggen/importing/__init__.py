"""Importing: from a drawing of a plate to a pattern file, or to all that is wrong with it.

Here is what is read from a drawing before anything is made of it, and what a person chooses.
"""

from collections import Counter
from dataclasses import dataclass, field
from typing import Literal

from jiggen.errors import Finding
from jiggen.inputs.document import FileKind

_TOO_BIG = "Save the plate alone, without the rest of the drawing."
KIND = FileKind("import", "A drawing", 64_000_000, _TOO_BIG)
Turn = Literal[0, 90, 180, 270]
Unit = Literal["mm", "in"]
Origin = tuple[float, float] | Literal["middle"]


@dataclass(frozen=True)
class Circle:
    """A circle of a drawing: centre and diameter in the drawing's own unit and directions.

    `name` is how a person finds it again, `where` its file and line where that has lines.
    `layers` are the names it is selected by, `listed` those of them that are shown to a person.
    `flaw` says why it is not a circle after all (one that is squeezed by what it is drawn in, say);
    empty otherwise.  `drawn_as` is what a circle was read from that is not drawn as one; a point
    has no diameter.
    """

    x: float
    y: float
    diameter: float
    name: str
    where: str
    layers: tuple[str, ...] = ()
    flaw: str = ""
    drawn_as: str = ""
    listed: tuple[str, ...] = ()

    @property
    def is_point(self) -> bool:
        """Whether only its place is drawn."""
        return bool(self.drawn_as) and self.diameter == 0


@dataclass(frozen=True)
class Unread:
    """A shape that is not round: what drew it, its middle and size in the drawing's unit."""

    kind: str
    x: float
    y: float
    width: float
    height: float
    closed: bool
    straight: bool
    layers: tuple[str, ...] = ()


@dataclass(frozen=True)
class Drawing:
    """The circles of a file, which a person calls `what`.

    `unit` is the size of the drawing's unit in mm, None where the file does not say; `unit_source`
    says how it does.  `y_down` tells that y grows downwards, as in SVG.  `unread` are
    the shapes that are not round, but may be meant as holes; `others` counts, by name, those that
    are not looked at.
    """

    file: str
    circles: tuple[Circle, ...]
    unit: float | None
    unit_source: str
    y_down: bool = False
    others: Counter[str] = field(default_factory=Counter)
    faults: tuple[Finding, ...] = ()
    unread: tuple[Unread, ...] = ()
    what: str = "drawing"


@dataclass(frozen=True)
class Piece:
    """Part of a drawing that moves by itself, as the toe and the heel piece do; mm.

    `where` is a layer, or from and to along the ski as the drawing shows them; `origin` is the
    drawing's point that lies at the datum, None where it is that of the whole drawing.
    """

    where: str | tuple[float, float]
    datum: str
    origin: Origin | None = None


@dataclass(frozen=True)
class Choices:
    """What a person chooses for a drawing; lengths in mm.

    `origin` is the drawing's point that becomes the group's origin, "middle" for the middle of the
    holes, None for 0, 0 unless the holes show another centre line; `turn` is in degrees,
    anticlockwise, None for a drawing that must not stand upright.  `pieces` make a group each.
    `only` takes circles of diameters (least, greatest).  `drill` and `metal` are drill diameters,
    None for a guess, or, `as_drawn`, the circles' own; `depth` is the drill depth, None for a
    guess.  `unusual` allows drills and depths that no binding has.  `mark` and `points` are the
    pattern's.
    """

    units: Unit | None = None
    layers: tuple[str, ...] = ()
    only: tuple[float, float] | None = None
    origin: Origin | None = None
    turn: Turn | None = None
    name: str = ""
    datum: str = "boot-centre"
    mark: str = "boot-centre"
    points: tuple[tuple[str, float], ...] = ()
    pieces: tuple[Piece, ...] = ()
    drill: float | None = None
    metal: float | None = None
    depth: float | None = None
    as_drawn: bool = False
    unusual: bool = False

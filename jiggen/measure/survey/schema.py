"""The shape of a survey file, as pydantic models that read lengths into mm."""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from jiggen.inputs.faults import shown
from jiggen.inputs.shape import (
    Shape,
    Size,
    Units,
    Version,
    at_most,
    between,
    fault,
    pair_of,
    positive,
)
from jiggen.pattern import Datum, Pair
from jiggen.pattern.schema import Boots, DrillShape, GroupName, Length, Name, Note

# Beyond these a slip of the decimal point is likelier (common practice, no source); mm.
DIAMETERS = (1.0, 60.0)
FARTHEST = 1500.0
COARSEST = 5.0
MAX_HOLES = 60


def _listed(value: object) -> object:
    """One value stands for a list of it."""
    return value if isinstance(value, list) else [value]


def _pairs(value: object) -> object:
    if isinstance(value, list) and all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        return [tuple(pair) for pair in value]
    raise fault("type", f"is {shown(value)}, but must be a list of pairs of holes")


Diameter = Annotated[Size, between(*DIAMETERS, "diameter", "a hole")]
Distance = Annotated[Size, positive(FARTHEST, "distance", "a distance")]
Distances = Annotated[list[Distance], BeforeValidator(_listed)]
Sigma = Annotated[Size, positive(COARSEST, "sigma", "a standard uncertainty")]
Names = Annotated[list[str], BeforeValidator(_listed)]
_SIGMA = "the standard uncertainty (1 σ) of one reading: 0.05 for a caliper, 0.3 for a ruler"
_READ = "a number, or a list of them if you measured more than once"


class ReadingsShape(Shape):
    """One entry of ``[distances]``: how two holes, or an edge and a hole, were measured."""

    centre: Distances = Field(default=[], description=_READ)
    outside: Distances = Field(default=[], description=_READ)
    inside: Distances = Field(default=[], description=_READ)
    sigma: Sigma | None = Field(default=None, description=_SIGMA)


class PlateShape(Shape):
    """``[plate]``: how the plate lies on the ski."""

    front: Names = Field(default=[], description='the holes nearest the tip: ["a", "b"]')
    rear: Names = Field(default=[], description='the holes nearest the tail: ["g", "h"]')
    left: Names = Field(default=[], description='holes left of the centre line: ["a", "c"]')
    right: Names = Field(default=[], description='holes right of the centre line: ["b", "d"]')
    pairs: Annotated[list[tuple[str, str]], BeforeValidator(_pairs)] = Field(
        default=[], description='pairs, the left hole first: [["a", "b"], ["c", "d"]]'
    )
    centre_line: Names = Field(default=[], description='names of holes on it: ["e"]')
    origin: Names = Field(
        default=[], description='a hole "a", an edge "front", or holes to take the middle of'
    )
    middle: Names = Field(
        default=[], description='["left", "right"] for both edges, or holes to take the middle of'
    )
    along: Annotated[tuple[str, str], pair_of("holes")] | None = Field(
        default=None,
        description='two holes in a line along the ski, the rear one first: ["c", "a"]',
    )


class GroupShape(Shape):
    """``[group]``, with values as in a pattern file."""

    name: GroupName = Field(description="a word: hole ids are made of it")
    datum: Datum = Field(description='"boot-toe", "boot-heel" or "boot-centre"')
    shift: Length = Field(
        description="a length from the datum to the plate's origin, + towards the tip; 0.0 where "
        "it is on the datum"
    )


class SurveyShape(Shape):
    """The whole file; what a pattern file has too has the same limits as there."""

    format: Version = Field(description="format = 1")
    name: Name = Field(description="what the plate is called")
    note: Note = Field(default="", description="any printable text")
    units: Units = Field(default="mm", description='"mm" or "in"')
    boot: Boots | None = Field(default=None, description="boot sole lengths served: [255, 355]")
    pair: Pair = Field(default="same", description='"same" or "mirrored"')
    drill: DrillShape = Field(
        default=DrillShape(), description="a table headed [drill], as in a pattern file"
    )
    sigma: Sigma | None = Field(default=None, description=_SIGMA)
    group: GroupShape = Field(description="a table headed [group]: name, datum and shift")
    holes: Annotated[dict[str, Diameter], at_most(MAX_HOLES, "too-many-holes", "holes")] = Field(
        default={}, description="a table headed [holes] with a line for each diameter: a = 5.5"
    )
    distances: dict[str, ReadingsShape] = Field(
        default={}, description="a table headed [distances]: a-b = { outside = 45.5 }"
    )
    plate: PlateShape = Field(default=PlateShape(), description="a table headed [plate]")

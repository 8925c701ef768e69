"""The shape of a survey file, as pydantic models that read lengths into mm.

As in `jiggen.pattern.schema`: each model checks one table by itself, the validation context is
the file's `Unit`, and a field's description is the hint of every fault in it.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, LiteralString, cast

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from jiggen.pattern.faults import Unit, shown
from jiggen.pattern.schema import Length, Shape, Size

# Beyond these a slip of the decimal point is likelier (common practice, no source); mm.
DIAMETERS = (1.0, 60.0)
FARTHEST = 1500.0
COARSEST = 5.0


def _fault(code: LiteralString, message: str, hint: str = "") -> PydanticCustomError:
    return PydanticCustomError(code, "{message}", {"message": message, "hint": hint})


def _shown(value: float, info: ValidationInfo) -> str:
    return cast(Unit, info.context).show(value)


def _hole_size(value: float, info: ValidationInfo) -> float:
    low, high = DIAMETERS
    if low <= value <= high:
        return value
    allowed = f"Allowed: {_shown(low, info)} to {_shown(high, info)}."
    raise _fault("diameter", f"a hole of {_shown(value, info)}", allowed)


def _distance(value: float, info: ValidationInfo) -> float:
    if 0 < value <= FARTHEST:
        return value
    allowed = f"Allowed: more than 0, up to {_shown(FARTHEST, info)}."
    raise _fault("distance", f"a distance of {_shown(value, info)}", allowed)


def _sureness(value: float, info: ValidationInfo) -> float:
    if 0 < value <= COARSEST:
        return value
    allowed = f"Allowed: more than 0, up to {_shown(COARSEST, info)}."
    raise _fault("sigma", f"readings good to {_shown(value, info)}", allowed)


def _listed(value: object) -> object:
    """One thing stands for a list of it."""
    return value if isinstance(value, list) else [value]


def _pairs(value: object) -> object:
    if isinstance(value, list) and all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        return [tuple(pair) for pair in value]
    raise _fault("type", f"is {shown(value)}, but must be a list of pairs of holes")


def _two(value: object) -> object:
    if isinstance(value, list) and len(value) == 2:
        return tuple(value)
    raise _fault("type", f"is {shown(value)}, but must be a list of two holes")


Diameter = Annotated[Size, AfterValidator(_hole_size)]
Distances = Annotated[list[Annotated[Size, AfterValidator(_distance)]], BeforeValidator(_listed)]
Sigma = Annotated[Size, AfterValidator(_sureness)]
Names = Annotated[list[str], BeforeValidator(_listed)]
_SIGMA = "how far off a reading is, two times in three: 0.05 for a caliper, 0.3 for a ruler"
_READ = "a number, or a list of them if you measured more than once"


class HoleShape(Shape):
    """One hole's entry in ``[holes]``."""

    STAND_IN: ClassVar[dict[str, object]] = {"diameter": 5.0}

    diameter: Diameter = Field(description="the hole's diameter, as measured in the plate")


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
    along: Annotated[tuple[str, str], BeforeValidator(_two)] | None = Field(
        default=None,
        description='two holes in a line along the ski, the rear one first: ["c", "a"]',
    )


class PlacedShape(Shape):
    """``[group]``; its values are checked as in a pattern file."""

    name: Any = Field(default=None, description="a word: hole ids are made of it")
    datum: Any = Field(default=None, description='"boot-toe", "boot-heel" or "boot-centre"')
    shift: Length | None = Field(
        default=None, description="a length from the datum to the plate's origin, + towards the tip"
    )


class SurveyShape(Shape):
    """The whole file; what a pattern file has too is checked as there, the rest one by one."""

    format: Any = Field(default=None, description="format = 1")
    name: Any = Field(default=None, description="what the plate is called")
    note: Any = Field(default=None, description="any printable text")
    units: Any = Field(default=None, description='"mm" or "in"')
    boot: Any = Field(default=None, description="boot sole lengths served: [255, 355]")
    pair: Any = Field(default=None, description='"same" or "mirrored"')
    drill: Any = Field(default=None, description="a table headed [drill], as in a pattern file")
    sigma: Sigma | None = Field(default=None, description=_SIGMA)
    group: dict[str, Any] = Field(
        default={}, description="a table headed [group]: name, datum and shift"
    )
    holes: dict[str, Any] = Field(
        default={}, description="a table headed [holes] with a line for each: a = 5.5"
    )
    distances: dict[str, Any] = Field(
        default={}, description="a table headed [distances]: a-b = { outside = 45.5 }"
    )
    plate: dict[str, Any] = Field(default={}, description="a table headed [plate]")


PATTERN_KEYS = ("format", "name", "note", "units", "boot", "pair", "drill")
"""Keys of a survey file that mean what they mean in a pattern file."""

"""The shape of measurement files, as pydantic models that read what was measured into mm.

As in `jiggen.pattern.schema`: each model checks one table by itself, the validation context is
the unit, and a field's description is the hint of every fault in it.  `units` is what the
caliper shows: it holds for readings, the caliper's uncertainty and pins.  What was asked of the
printer stands in mm whatever the caliper shows.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, LiteralString, cast

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from jiggen.pattern.faults import Unit, quoted, shown
from jiggen.pattern.schema import Shape, Size
from jiggen.printer.measured import Edges, Kind

# Beyond these a slip of the decimal point is likelier (common practice, no source); mm.
FARTHEST = 1500.0
BED = 2000.0
DIAMETERS = (1.0, 60.0)
PINS = (0.5, 20.0)
HEIGHTS = (0.5, 400.0)
COARSEST = 0.5
BUSH_FITS = (-0.2, 0.6)  # as a printer's profile may hold them
SLIDES = (0.05, 0.6)


def _fault(code: LiteralString, message: str, hint: str = "") -> PydanticCustomError:
    return PydanticCustomError(code, "{message}", {"message": message, "hint": hint})


def _shown(value: float, info: ValidationInfo) -> str:
    return cast(Unit, info.context).show(value)


def _between(low: float, high: float, code: LiteralString, what: str) -> AfterValidator:
    """Refuses lengths below `low` or above `high` mm; `what` names them in the message."""

    def check(value: float, info: ValidationInfo) -> float:
        if low <= value <= high:
            return value
        allowed = f"Allowed: {_shown(low, info)} to {_shown(high, info)}."
        raise _fault(code, f"{what} of {_shown(value, info)}", allowed)

    return AfterValidator(check)


def _positive(high: float, code: LiteralString, what: str) -> AfterValidator:
    def check(value: float, info: ValidationInfo) -> float:
        if 0 < value <= high:
            return value
        allowed = f"Allowed: more than 0, up to {_shown(high, info)}."
        raise _fault(code, f"{what} of {_shown(value, info)}", allowed)

    return AfterValidator(check)


def _if_measured(value: object) -> object:
    """None for a row that was left empty; text is never taken for a number."""
    if not isinstance(value, str):
        return value
    if not value.strip():
        return None
    hint = 'Write the number without quotes, with a point: 120.12, or leave "".'
    raise _fault("type", f"is {shown(value)}, but must be a number", hint)


def _two(value: object) -> object:
    if isinstance(value, list) and len(value) == 2:
        return tuple(value)
    raise _fault("type", f"is {shown(value)}, but must be a list of two")


def _one_or_two(value: object) -> object:
    """One diameter stands for both pins."""
    return _two(value) if isinstance(value, list) else (value, value)


def _version(version: int) -> int:
    if version == 1:
        return version
    raise _fault("format", f"format {shown(version)}, which this program does not read")


def _on_the_bed(value: float, info: ValidationInfo) -> float:
    if abs(value) <= BED:
        return value
    raise _fault("length", f"{_shown(value, info)} is beyond any bed")


Number = Annotated[float, Field(allow_inf_nan=False)]
Value = Annotated[
    Annotated[Size, _positive(FARTHEST, "distance", "a reading")] | None,
    BeforeValidator(_if_measured),
]
Place = Annotated[Size, AfterValidator(_on_the_bed)]
Ends = Annotated[tuple[str, str], BeforeValidator(_two)]
Pin = Annotated[Size, _between(*PINS, "diameter", "a pin")]
Pins = Annotated[tuple[Pin, Pin], BeforeValidator(_one_or_two)]
Caliper = Annotated[Size, _positive(COARSEST, "caliper", "readings good to a length")]
Version = Annotated[int, AfterValidator(_version)]

_UNITS = '"mm" or "in": what the caliper shows'
_CALIPER = "how far off a reading is, two times in three: 0.02"
_VALUE = 'what the caliper showed, or "" where it was not measured'
_EDGES = '"outside" over the far edges, "inside" between the near ones, or "centre"'
_DISTANCES = "tables headed [[distance]] (double brackets)"
_OVER = "the diameter of the pins measured over, or both in a list: [3.6, 4.1]"


class FeatureShape(Shape):
    """One line of ``[features]``; mm."""

    STAND_IN: ClassVar[dict[str, object]] = {"kind": "hole", "at": [0.0, 0.0], "diameter": 8.0}

    kind: Kind = Field(description='"hole" or "peg"')
    at: Annotated[tuple[Place, Place], BeforeValidator(_two)] = Field(
        description="x and y on the bed, as the gauge was written: [20.0, 20.0]"
    )
    diameter: Annotated[Size, _between(*DIAMETERS, "diameter", "a diameter")] = Field(
        description="the diameter asked of the printer"
    )


class DistanceShape(Shape):
    """One ``[[distance]]`` of a gauge."""

    STAND_IN: ClassVar[dict[str, object]] = {"between": ["", ""], "edges": "centre"}

    between: Ends = Field(description='two names: ["A1", "A2"]')
    edges: Edges = Field(description=_EDGES)
    value: Value = Field(default=None, description=_VALUE)


class DiameterShape(Shape):
    """One ``[[diameter]]``."""

    STAND_IN: ClassVar[dict[str, object]] = {"of": ""}

    of: str = Field(description='a name: "A1"')
    value: Value = Field(default=None, description=_VALUE)


class HeightShape(Shape):
    """One ``[[height]]``; `asked` in mm."""

    STAND_IN: ClassVar[dict[str, object]] = {"asked": 10.0}

    asked: Number = Field(description="the height asked of the printer, in mm")
    value: Value = Field(default=None, description=_VALUE)


class FitsShape(Shape):
    """``[fits]``: labels on the gauge; mm."""

    bush_fit: Annotated[
        Annotated[Size, _between(*BUSH_FITS, "fit", "an allowance")] | None,
        BeforeValidator(_if_measured),
    ] = Field(default=None, description='the label of the pocket that held the bush best, or ""')
    slide: Annotated[
        Annotated[Size, _between(*SLIDES, "fit", "a clearance")] | None,
        BeforeValidator(_if_measured),
    ] = Field(default=None, description='the label of the slot in which the rack ran best, or ""')


class GaugeShape(Shape):
    """A gauge's whole file; its tables are checked one by one."""

    STAND_IN: ClassVar[dict[str, object]] = {"measurements": 1}

    measurements: Version = Field(description="measurements = 1")
    units: Literal["mm", "in"] = Field(default="mm", description=_UNITS)
    caliper: Caliper | None = Field(default=None, description=_CALIPER)
    features: dict[str, Any] = Field(
        default={}, description="the table headed [features] that jiggen gauge wrote"
    )
    distance: list[Any] = Field(default=[], description=_DISTANCES)
    diameter: list[Any] = Field(
        default=[], description="tables headed [[diameter]] (double brackets)"
    )
    height: list[Any] = Field(default=[], description="tables headed [[height]] (double brackets)")
    fits: Any = Field(default={}, description="a table headed [fits]")


class PinDistanceShape(Shape):
    """One ``[[distance]]`` of a finished jig."""

    STAND_IN: ClassVar[dict[str, object]] = {"between": ["", ""]}

    between: Ends = Field(description='two holes of the jig: ["toe-1", "heel-2"]')
    edges: Edges = Field(default="outside", description=_EDGES)
    over: Pins | None = Field(default=None, description=_OVER)
    value: Value = Field(default=None, description=_VALUE)


class PrintedShape(Shape):
    """A finished jig's whole file; its readings are checked one by one."""

    STAND_IN: ClassVar[dict[str, object]] = {"measurements": 1}

    measurements: Version = Field(description="measurements = 1")
    units: Literal["mm", "in"] = Field(default="mm", description=_UNITS)
    caliper: Caliper | None = Field(default=None, description=_CALIPER)
    over: Pins | None = Field(default=None, description=_OVER)
    distance: list[Any] = Field(default=[], description=_DISTANCES)


def unmeant(name: str) -> str:
    """Why `name` cannot be a feature's; nothing where it can."""
    if 1 <= len(name) <= 12 and all(c.isascii() and (c.isalnum() or c in "-_") for c in name):
        return ""
    return f"a feature is called {quoted(name)}"

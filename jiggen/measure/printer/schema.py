"""The shape of measurement files, as pydantic models that read what was measured into mm.

`units` is what the caliper shows: it holds for readings, the caliper's uncertainty and pins.
What was asked of the printer is in mm, whatever the caliper shows.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BeforeValidator, Field

from jiggen.inputs.faults import shown
from jiggen.inputs.shape import (
    Number,
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
from jiggen.measure.printer.measured import Edges, Kind

# Beyond these a slip of the decimal point is likelier (common practice, no source); mm.
FARTHEST = 1500.0
BED = 2000.0
DIAMETERS = (1.0, 60.0)
PINS = (0.5, 20.0)
HEIGHTS = (0.5, 400.0)
COARSEST = 0.5
BUSH_FITS = (-0.2, 0.6)  # as a printer's profile may hold them
SLIDES = (0.05, 0.6)
MOST_FEATURES = 100
MOST_READINGS = 1000


def _if_measured(value: object) -> object:
    """None for a row that was left empty; text is never taken for a number."""
    if not isinstance(value, str):
        return value
    if not value.strip():
        return None
    hint = 'Write the number without quotes, with a decimal point: 120.12, or leave "".'
    raise fault("type", f"is {shown(value)}, but must be a number", hint)


def _one_or_two(value: object) -> object:
    """One diameter stands for both pins."""
    if not isinstance(value, list):
        return (value, value)
    if len(value) == 2:
        return tuple(value)
    raise fault("type", f"is {shown(value)}, but must be a list of two")


Value = Annotated[
    Annotated[Size, positive(FARTHEST, "distance", "a reading")] | None,
    BeforeValidator(_if_measured),
]
Place = Annotated[Number, between(-BED, BED, "length", "a place on the bed", in_mm=True)]
Ends = Annotated[tuple[str, str], pair_of("names")]
Pin = Annotated[Size, between(*PINS, "diameter", "a pin")]
Pins = Annotated[tuple[Pin, Pin], BeforeValidator(_one_or_two)]
Caliper = Annotated[Size, positive(COARSEST, "caliper", "a standard uncertainty")]
_many = at_most(MOST_READINGS, "too-many", "readings")

_UNITS = '"mm" or "in": what the caliper shows'
_CALIPER = "the standard uncertainty (1 σ) of one reading: 0.02"
_VALUE = 'what the caliper showed, or "" where it was not measured'
_EDGES = '"outside" over the far edges, "inside" between the near ones, or "centre"'
_DISTANCES = "tables headed [[distance]] (double brackets)"
_OVER = "the diameter of the pins measured over, or both in a list: [3.6, 4.1]"


class FeatureShape(Shape):
    """One line of ``[features]``; mm."""

    kind: Kind = Field(description='"hole" or "peg"')
    at: Annotated[tuple[Place, Place], pair_of("numbers")] = Field(
        description="x and y on the bed, as the gauge was written: [20.0, 20.0]"
    )
    diameter: Annotated[Number, between(*DIAMETERS, "diameter", "a diameter", in_mm=True)] = Field(
        description="the diameter asked of the printer"
    )


class DistanceShape(Shape):
    """One ``[[distance]]`` of a gauge."""

    between: Ends = Field(description='two names: ["A1", "A2"]')
    edges: Edges = Field(description=_EDGES)
    value: Value = Field(default=None, description=_VALUE)


class DiameterShape(Shape):
    """One ``[[diameter]]``."""

    of: str = Field(description='a name: "A1"')
    value: Value = Field(default=None, description=_VALUE)


class HeightShape(Shape):
    """One ``[[height]]``; `asked` in mm."""

    asked: Annotated[Number, between(*HEIGHTS, "height", "a height", in_mm=True)] = Field(
        description="the height asked of the printer, in mm"
    )
    value: Value = Field(default=None, description=_VALUE)


class FitsShape(Shape):
    """``[fits]``: labels on the gauge; mm."""

    bush_fit: Annotated[
        Annotated[Number, between(*BUSH_FITS, "fit", "an allowance", in_mm=True)] | None,
        BeforeValidator(_if_measured),
    ] = Field(default=None, description='the label of the pocket that held the bush best, or ""')
    slide: Annotated[
        Annotated[Number, between(*SLIDES, "fit", "a clearance", in_mm=True)] | None,
        BeforeValidator(_if_measured),
    ] = Field(default=None, description='the label of the slot in which the rack ran best, or ""')


class GaugeShape(Shape):
    """A gauge's whole file."""

    measurements: Version = Field(description="measurements = 1")
    units: Units = Field(default="mm", description=_UNITS)
    caliper: Caliper | None = Field(default=None, description=_CALIPER)
    features: Annotated[dict[str, FeatureShape], at_most(MOST_FEATURES, "too-many", "features")] = (
        Field(default={}, description="the table headed [features] that jiggen gauge wrote")
    )
    distance: Annotated[list[DistanceShape], _many] = Field(default=[], description=_DISTANCES)
    diameter: Annotated[list[DiameterShape], _many] = Field(
        default=[], description="tables headed [[diameter]] (double brackets)"
    )
    height: Annotated[list[HeightShape], _many] = Field(
        default=[], description="tables headed [[height]] (double brackets)"
    )
    fits: FitsShape = Field(default=FitsShape(), description="a table headed [fits]")


class PinDistanceShape(Shape):
    """One ``[[distance]]`` of a finished jig."""

    between: Ends = Field(description='two holes of the jig: ["toe-1", "heel-2"]')
    edges: Edges = Field(default="outside", description=_EDGES)
    over: Pins | None = Field(default=None, description=_OVER)
    value: Value = Field(default=None, description=_VALUE)


class PrintedShape(Shape):
    """A finished jig's whole file."""

    measurements: Version = Field(description="measurements = 1")
    units: Units = Field(default="mm", description=_UNITS)
    caliper: Caliper | None = Field(default=None, description=_CALIPER)
    over: Pins | None = Field(default=None, description=_OVER)
    distance: Annotated[list[PinDistanceShape], _many] = Field(default=[], description=_DISTANCES)

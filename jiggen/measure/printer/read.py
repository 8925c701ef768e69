"""The shape of measurement files, as pydantic models that read what was measured into mm.

`units` is what the caliper shows: it holds for readings, the caliper's uncertainty and pins.
What was asked of the printer is in mm, whatever the caliper shows.
"""

from __future__ import annotations

import math
import os
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Annotated

from pydantic import BeforeValidator, Field

from jiggen.inputs.document import FileKind, read_document
from jiggen.inputs.faults import Fault, Unit, nearest, quoted, shown, unit_of
from jiggen.inputs.places import KeyPath
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
    validate,
)
from jiggen.measure import REACH, Method
from jiggen.measure.printer.measured import (
    CALIPER,
    PINS,
    Diameter,
    Distance,
    Feature,
    Height,
    Kind,
    Measurements,
    PinReadings,
)

# Beyond these a slip of the decimal point is likelier (common practice, no source); mm.
FARTHEST = 1500.0
BED = 2000.0
DIAMETERS = (1.0, 60.0)
PIN_DIAMETERS = (0.5, 20.0)
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
Pin = Annotated[Size, between(*PIN_DIAMETERS, "diameter", "a pin")]
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
    edges: Method = Field(description=_EDGES)
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
    edges: Method = Field(default="outside", description=_EDGES)
    over: Pins | None = Field(default=None, description=_OVER)
    value: Value = Field(default=None, description=_VALUE)


class PrintedShape(Shape):
    """A finished jig's whole file."""

    measurements: Version = Field(description="measurements = 1")
    units: Units = Field(default="mm", description=_UNITS)
    caliper: Caliper | None = Field(default=None, description=_CALIPER)
    over: Pins | None = Field(default=None, description=_OVER)
    distance: Annotated[list[PinDistanceShape], _many] = Field(default=[], description=_DISTANCES)


KIND = FileKind("printer", "A file of measurements")
SAME = 0.01  # mm: features nearer than this are one, written twice
_NAME = re.compile(r"[A-Za-z0-9_-]{1,12}")


def read_measurements(path: str | os.PathLike[str]) -> Measurements:
    """Read the measurements of a gauge from the file at `path`; lengths of the result in mm.

    Rows whose value is ``""`` are left out.  ``units`` is what the caliper shows; what was asked
    of the printer is always in mm.

    Raises InputError with every fault of single values at once, or, where there is none, of
    values that do not fit together; each with file, line and key.  The codes, each after
    ``printer.``: missing, folder, unreadable, too-big, not-utf8, syntax; missing-key,
    unknown-key, type, value, not-finite, format; length, diameter, distance, height, caliper,
    fit, too-short; name, no-feature, same-feature, too-many, unknown-feature, same-end,
    nothing-measured.
    """
    document = read_document(path, KIND)
    unit = unit_of(document.data)
    file = validate(GaugeShape, document, document.data, unit)
    document.refuse(_inconsistent(file))
    measured = Measurements(
        features={
            name: Feature(name, one.kind, one.at, one.diameter)
            for name, one in file.features.items()
        },
        distances=tuple(
            Distance(*row.between, row.edges, row.value)
            for row in file.distance
            if row.value is not None
        ),
        diameters=tuple(
            Diameter(row.of, row.value) for row in file.diameter if row.value is not None
        ),
        heights=tuple(Height(row.asked, row.value) for row in file.height if row.value is not None),
        caliper=file.caliper or CALIPER,
        bush_fit=file.fits.bush_fit,
        slide=file.fits.slide,
        unit=unit,
        source=document.file,
    )
    document.refuse(_nothing(measured.distances))
    return measured


def read_printed(path: str | os.PathLike[str], *halves: Collection[str]) -> PinReadings:
    """Read what was measured between holes of a finished jig; lengths of the result in mm.

    `halves` are the holes of each half of a jig whose halves are loose from each other; of any
    other jig all its holes at once.

    Raises InputError as `read_measurements`; ``printer.no-pin`` where the file does not give
    the pins that were measured over, ``printer.loose-halves`` for a reading from one half to
    another.
    """
    document = read_document(path, KIND)
    unit = unit_of(document.data)
    file = validate(PrintedShape, document, document.data, unit)
    document.refuse(
        fault
        for number, row in enumerate(file.distance)
        for fault in _unusable(("distance", number), row, file, halves, unit)
    )
    distances = tuple(
        Distance(*row.between, row.edges, row.value, row.over or file.over or (0.0, 0.0))
        for row in file.distance
        if row.value is not None
    )
    document.refuse(_nothing(distances))
    return PinReadings(distances, file.caliper or PINS, unit, document.file)


# -- what does not fit together -------------------------------------------------------------------


def _inconsistent(file: GaugeShape) -> Iterator[Fault]:
    yield from _bad_features(file.features)
    for number, distance in enumerate(file.distance):
        yield from _bad_ends(("distance", number), distance.between, file.features)
    for number, diameter in enumerate(file.diameter):
        yield from _unknown(("diameter", number, "of"), [diameter.of], file.features)


def _bad_features(listed: Mapping[str, FeatureShape]) -> Iterator[Fault]:
    if not listed:
        hint = "Fill in the file that jiggen gauge wrote: it says where each hole and peg is."
        yield Fault(("features",), "no-feature", "no hole and no peg is listed", hint)
    placed: dict[str, FeatureShape] = {}
    for name, feature in listed.items():
        path = ("features", name)
        if not _NAME.fullmatch(name):
            message = f"{quoted(name)} is not a valid name of a feature"
            hint = "Allowed: up to 12 letters, digits, hyphens and underscores: A1, peg-2."
            yield Fault(path, "name", message, hint)
        twin = next((n for n, o in placed.items() if math.dist(o.at, feature.at) < SAME), None)
        if twin is not None:
            message = f"{quoted(name)} is in the same place as {quoted(twin)}"
            hint = "Compare with the file that jiggen gauge wrote."
            yield Fault(path, "same-feature", message, hint)
        placed[name] = feature


def _unusable(
    path: KeyPath,
    row: PinDistanceShape,
    file: PrintedShape,
    halves: Sequence[Collection[str]],
    unit: Unit,
) -> Iterator[Fault]:
    """What is wrong with a reading of a finished jig: its ends, or the pins it was taken over."""
    wrong_ends = list(_bad_ends(path, row.between, [hole for half in halves for hole in half]))
    yield from wrong_ends
    if not wrong_ends and not any(set(row.between) <= set(half) for half in halves):
        message = f"{row.between[0]} and {row.between[1]} are in two halves that are not connected"
        hint = "Remove this reading: the distance of the halves is set on the ski, by the mark."
        yield Fault((*path, "between"), "loose-halves", message, hint)
    over = row.over or file.over
    if row.edges != "centre" and over is None:
        hint = "Write over = 3.6, the pins' diameter, here or once above all readings."
        yield Fault(path, "no-pin", "the pins that were measured over are not given", hint)
    elif row.value is not None and over is not None:
        rest = row.value - REACH[row.edges] * sum(over) / 2
        if rest <= 0:
            message = f"{unit.show(row.value)} is not more than the pins themselves take up"
            hint = 'Was it measured between the pins? Then write edges = "inside".'
            yield Fault((*path, "value"), "too-short", message, hint)


def _bad_ends(path: KeyPath, ends: tuple[str, str], known: Collection[str]) -> Iterator[Fault]:
    path = (*path, "between")
    yield from _unknown(path, ends, known)
    if ends[0] == ends[1]:
        message = f"{quoted(ends[0])} is measured to itself"
        yield Fault(path, "same-end", message, "Write two different names.")


def _unknown(path: KeyPath, names: Collection[str], known: Collection[str]) -> Iterator[Fault]:
    for name in dict.fromkeys(names):
        if name not in known:
            guess = nearest(name, known)
            few = ", ".join(quoted(one) for one in list(known)[:12])
            hint = f"Did you mean {quoted(guess)}?" if guess else f"Known: {few}."
            yield Fault(path, "unknown-feature", f"there is no {quoted(name)}", hint)


def _nothing(distances: Collection[Distance]) -> Iterator[Fault]:
    if not distances:
        hint = 'Write what the caliper shows in place of value = "".'
        yield Fault(("distance",), "nothing-measured", "no distance was measured yet", hint)

"""What a caliper read on a gauge or on a finished jig, read from files into mm.

`units` is what the caliper shows: it holds for readings, the caliper's uncertainty and pins.
What was asked of the printer is in mm, whatever the caliper shows.
"""

import math
import os
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Annotated, Literal, cast

from pydantic import BeforeValidator, Field, ValidatorFunctionWrapHandler, WrapValidator

from jiggen.inputs.document import Document, FileKind
from jiggen.inputs.faults import MM, Fault, KeyPath, Unit, did_you_mean, quoted, shown, unit_of
from jiggen.inputs.form import Form, read_form
from jiggen.inputs.shape import (
    Number,
    Shape,
    Size,
    Units,
    Version,
    at_most,
    between,
    fault,
    number_in,
    pair_of,
    typed,
    validate,
)
from jiggen.measure import REACH, Method

# Standard uncertainties of a reading in mm: common practice, no source.
CALIPER = 0.02  # on a gauge
PINS = 0.03  # over pins in a jig's bushes, their play in it

BUSH_FITS = (-0.2, 0.6)  # mm; allowances that a printer's profile may hold
SLIDES = (0.05, 0.6)  # and clearances


def _if_measured(value: object, read: ValidatorFunctionWrapHandler) -> float:
    """NaN for a row that was left empty; a number in quotes is one, any other text is none."""
    if isinstance(value, str):
        if not value.strip():
            return math.nan
        if (found := number_in(value)) is not None:
            return cast(float, read(found))
        hint = 'Write a number, 120.12, or leave "" where nothing was measured.'
        raise fault("type", f"is {shown(value)}, but must be a number", hint)
    return cast(float, read(value))


# Beyond these limits in mm a slip of the decimal point is likelier: common practice, no source.
Place = Annotated[Number, between(-2000.0, 2000.0, "length", "a place on the bed", in_mm=True)]
AskedDiameter = Annotated[Number, between(1.0, 60.0, "diameter", "a diameter", in_mm=True)]
AskedHeight = Annotated[Number, between(0.5, 400.0, "height", "a height", in_mm=True)]
Pin = Annotated[Size, between(0.5, 20.0, "diameter", "a pin"), typed]
Pins = Annotated[
    tuple[Pin, Pin] | None,
    pair_of("diameters"),
    BeforeValidator(lambda value: value if isinstance(value, list) else [value, value]),
    Field(description="the diameter of the pins measured over, or both in a list: [3.6, 4.1]"),
]
Value = Annotated[
    Size,
    between(0.0, 1500.0, "distance", "a reading", above=True),
    WrapValidator(_if_measured),
    Field(description='what the caliper showed, or "" where it was not measured'),
]
Caliper = Annotated[
    Size,
    between(0.0, 0.5, "caliper", "a standard uncertainty", above=True),
    typed,
    Field(description="the standard uncertainty (1 σ) of one reading: 0.02"),
]
_tried = WrapValidator(_if_measured)
_many = at_most(1000, "too-many", "readings")
_EDGES = '"outside" over the far edges, "inside" between the near ones, or "centre"'
_DISTANCES = "[[distance]] rows"


class Feature(Shape):
    """A hole or a peg of the gauge as asked of the printer: place on the bed and diameter, mm."""

    kind: Literal["hole", "peg"] = Field(description='"hole" or "peg"')
    at: Annotated[tuple[Place, Place], pair_of("numbers")] = Field(description="x, y: [20.0, 20.0]")
    diameter: AskedDiameter = Field(description="the diameter asked of the printer")


class Distance(Shape):
    """One ``[[distance]]`` read: over the far edges of both ends, the near ones, or the centres."""

    between: Annotated[tuple[str, str], pair_of("names")] = Field(description='["A1", "A2"]')
    edges: Method = Field(description=_EDGES)
    value: Value = math.nan

    def __str__(self) -> str:
        return f"{' to '.join(self.between)}, {self.edges} to {self.edges}"


class Diameter(Shape):
    """One ``[[diameter]]`` of a feature read."""

    of: str = Field(description='a name: "A1"')
    value: Value = math.nan

    def __str__(self) -> str:
        return f"diameter of {self.of}"


class Height(Shape):
    """One ``[[height]]``: what was `asked` of the printer in mm, and what it became."""

    asked: AskedHeight = Field(description="the height asked of the printer, in mm")
    value: Value = math.nan

    def __str__(self) -> str:
        return f"height of {self.asked:g} mm"


Reading = Distance | Diameter | Height


class TriedFits(Shape):
    """``[fits]``: the labels of what fitted best on the gauge; mm, NaN where not tried."""

    bush_fit: Annotated[Number, between(*BUSH_FITS, "fit", "an allowance", in_mm=True), _tried] = (
        Field(default=math.nan, description='the label of the pocket that held the bush, or ""')
    )
    slide: Annotated[Number, between(*SLIDES, "fit", "a clearance", in_mm=True), _tried] = Field(
        default=math.nan, description='the label of the slot in which the rack ran best, or ""'
    )


class _File(Shape):
    """What both files of measurements begin with."""

    measurements: Version = Field(description="measurements = 1")
    units: Units = Field(default="mm", description='"mm" or "in": what the caliper shows')


class GaugeFile(_File):
    """A gauge's whole file."""

    caliper: Caliper = CALIPER
    features: Annotated[dict[str, Feature], at_most(100, "too-many", "features")] = Field(
        default={}, description="the table headed [features] that jiggen gauge wrote"
    )
    distance: Annotated[list[Distance], _many] = Field(default=[], description=_DISTANCES)
    diameter: Annotated[list[Diameter], _many] = Field(default=[], description="[[diameter]] rows")
    height: Annotated[list[Height], _many] = Field(default=[], description="[[height]] rows")
    fits: TriedFits = Field(default=TriedFits(), description="a table headed [fits]")


class PinDistance(Distance):
    """One ``[[distance]]`` of a finished jig, between two of its holes, over pins in them."""

    edges: Method = Field(default="outside", description=_EDGES)
    over: Pins = None

    @property
    def centres(self) -> float:
        """The reading less the pins: the distance of the centres, in mm."""
        return self.value - REACH[self.edges] * sum(self.over or ()) / 2


class BodyLength(Shape):
    """One ``[[length]]`` of a body of a finished jig, between the faces that the sheet names."""

    of: str = Field(description='a body: "body-toe"')
    direction: Literal["along", "across"] = Field(description='"along" or "across"')
    value: Value = math.nan

    def __str__(self) -> str:
        return f"{self.of}, {self.direction}"


class PrintedFile(_File):
    """A finished jig's whole file."""

    caliper: Caliper = PINS
    over: Pins = None
    distance: Annotated[list[PinDistance], _many] = Field(default=[], description=_DISTANCES)
    length: Annotated[list[BodyLength], _many] = Field(default=[], description="[[length]] rows")


@dataclass(frozen=True)
class Measurements:
    """What was read on a gauge, in mm; `unit` and the uncertainty are those of the caliper."""

    features: Mapping[str, Feature]
    readings: tuple[Reading, ...]
    caliper: float = CALIPER
    fits: TriedFits = field(default_factory=TriedFits)
    unit: Unit = MM
    source: str = ""


@dataclass(frozen=True)
class PinReadings:
    """What was read between the holes of a finished jig, likewise, and on its bodies."""

    readings: tuple[PinDistance, ...]
    caliper: float = PINS
    unit: Unit = MM
    source: str = ""
    lengths: tuple[BodyLength, ...] = ()


KIND = FileKind("printer", "A file of measurements", typed=True)
_NOTHING = Fault(
    ("distance",),
    "nothing-measured",
    "no distance was measured yet",
    'Write what the caliper shows in place of each "", or in the last column of a table.',
)


def read_measurements(path: str | os.PathLike[str], *, scanned: bool = False) -> Measurements:
    """Read a gauge's measurements from the file at `path`, without rows whose value is ``""``.

    Of one that was `scanned` no distance must be in it.

    Raises InputError with every fault of single values at once, or, where there is none, of values
    that do not fit together; each with file, line and key.  The codes, each after ``printer.``:
    missing, folder, unreadable, too-big, not-utf8, syntax; missing-key, unknown-key, type, value,
    not-finite, format; length, diameter, distance, height, caliper, fit, too-short; name,
    no-feature, same-feature, too-many, unknown-feature, same-end, nothing-measured.
    """
    return measurements_of(read_form(path, KIND), scanned=scanned)


def measurements_of(document: Document | Form, *, scanned: bool = False) -> Measurements:
    """The measurements that a file or a page holds.  Raises as `read_measurements`."""
    unit = unit_of(document.data)
    file = validate(GaugeFile, document, document.data, unit)
    document.refuse(_inconsistent(file))
    rows: tuple[Reading, ...] = (*file.distance, *file.diameter, *file.height)
    readings = tuple(row for row in rows if math.isfinite(row.value))
    if not scanned and not any(isinstance(row, Distance) for row in readings):
        document.refuse([_NOTHING])
    return Measurements(file.features, readings, file.caliper, file.fits, unit, document.file)


def read_printed(
    path: str | os.PathLike[str],
    *halves: Collection[str],
    lengths: Collection[tuple[str, str]] = (),
) -> PinReadings:
    """Read what was measured between holes of a finished jig; lengths of the result in mm.

    `halves` are the holes of each half of a jig whose halves are loose, or all holes at once;
    `lengths` the bodies and directions that have a length to measure.
    Raises InputError as `read_measurements`; ``printer.no-pin`` where the pins measured over are
    not given, ``printer.loose-halves`` for a reading from one half to another.
    """
    return printed_of(read_form(path, KIND), *halves, lengths=lengths)


def printed_of(
    document: Document | Form,
    *halves: Collection[str],
    lengths: Collection[tuple[str, str]] = (),
) -> PinReadings:
    """What a file or a page holds of a finished jig.  Raises as `read_printed`."""
    unit = unit_of(document.data)
    file = validate(PrintedFile, document, document.data, unit)
    rows = [row.model_copy(update={"over": row.over or file.over}) for row in file.distance]
    document.refuse(
        wrong
        for number, row in enumerate(rows)
        for wrong in _unusable(("distance", number), row, halves, unit)
    )
    known = [f"{body}, {direction}" for body, direction in lengths]
    document.refuse(
        wrong
        for number, one in enumerate(file.length)
        if math.isfinite(one.value)
        for wrong in _bad_ends(("length", number, "of"), [str(one)], known)
    )
    readings = tuple(row for row in rows if math.isfinite(row.value))
    measured = tuple(one for one in file.length if math.isfinite(one.value))
    if not readings and not measured:
        document.refuse([_NOTHING])
    return PinReadings(readings, file.caliper, unit, document.file, measured)


def _inconsistent(file: GaugeFile) -> Iterator[Fault]:
    """What does not fit together in a gauge's file."""
    if not file.features:
        hint = "Fill in the file that jiggen gauge wrote: it says where each hole and peg is."
        yield Fault(("features",), "no-feature", "no hole and no peg is listed", hint)
    placed: dict[str, Feature] = {}
    for name, feature in file.features.items():
        if not re.fullmatch(r"[A-Za-z0-9_-]{1,12}", name):
            message = f"{quoted(name)} is not a valid name of a feature"
            hint = "Allowed: up to 12 letters, digits, hyphens and underscores: A1, peg-2."
            yield Fault(("features", name), "name", message, hint)
        # nearer than this they are one, written twice
        twin = next((n for n, o in placed.items() if math.dist(o.at, feature.at) < 0.01), None)
        if twin is not None:
            message = f"{quoted(name)} is in the same place as {quoted(twin)}"
            hint = "Compare with the file that jiggen gauge wrote."
            yield Fault(("features", name), "same-feature", message, hint)
        placed[name] = feature
    for number, distance in enumerate(file.distance):
        yield from _bad_ends(("distance", number, "between"), distance.between, file.features)
    for number, diameter in enumerate(file.diameter):
        yield from _bad_ends(("diameter", number, "of"), [diameter.of], file.features)


def _unusable(
    path: KeyPath, row: PinDistance, halves: Sequence[Collection[str]], unit: Unit
) -> Iterator[Fault]:
    """What is wrong with a reading of a finished jig: its ends, or the pins it was taken over."""
    holes = [hole for half in halves for hole in half]
    if wrong_ends := list(_bad_ends((*path, "between"), row.between, holes)):
        yield from wrong_ends
    elif not any(set(row.between) <= set(half) for half in halves):
        message = f"{row.between[0]} and {row.between[1]} are in two halves that are not connected"
        hint = "Remove this reading: the distance of the halves is set on the ski, by the mark."
        yield Fault((*path, "between"), "loose-halves", message, hint)
    if row.edges != "centre" and row.over is None:
        hint = "Write over = 3.6, the pins' diameter, here or once above all readings."
        yield Fault(path, "no-pin", "the pins that were measured over are not given", hint)
    elif row.centres <= 0:
        message = f"{unit.show(row.value)} is not more than the pins themselves take up"
        hint = 'Was it measured between the pins? Then write edges = "inside".'
        yield Fault((*path, "value"), "too-short", message, hint)


def _bad_ends(path: KeyPath, names: Sequence[str], known: Collection[str]) -> Iterator[Fault]:
    for name in dict.fromkeys(names):
        if name not in known:
            few = ", ".join(quoted(one) for one in list(known)[:12])
            hint = did_you_mean(name, known).strip() or f"Known: {few}."
            yield Fault(path, "unknown-feature", f"there is no {quoted(name)}", hint)
    if len({*names}) < len(names):
        message = f"{quoted(names[0])} is measured to itself"
        yield Fault(path, "same-end", message, "Write two different names.")

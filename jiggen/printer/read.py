"""From a file of measurements to checked values, or to everything that is wrong with it."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from jiggen.errors import InputError
from jiggen.pattern.document import Document, read_document
from jiggen.pattern.faults import UNITS, Fault, Faults, Unit, nearest, quoted
from jiggen.pattern.parts import read_part
from jiggen.pattern.positions import KeyPath
from jiggen.pattern.schema import Shape
from jiggen.printer.measured import (
    CALIPER,
    PINS,
    REACH,
    Diameter,
    Distance,
    Feature,
    Height,
    Measurements,
    PinReadings,
)
from jiggen.printer.schema import (
    HEIGHTS,
    DiameterShape,
    DistanceShape,
    FeatureShape,
    FitsShape,
    GaugeShape,
    HeightShape,
    PinDistanceShape,
    PrintedShape,
    unmeant,
)

MOST_FEATURES = 100
MOST_READINGS = 1000
SAME = 0.01  # mm: features nearer than this are one, written twice

S = TypeVar("S", bound=Shape)
T = TypeVar("T")

_MM = UNITS["mm"]
_HINTS = {
    "printer.too-big": "Measurements are a few kilobytes: is this the right file?",
    "printer.syntax": "Numbers take a point (120.12), text stands in quotes, every bracket is "
    "closed, a key stands once.",
}


def read_measurements(path: str | os.PathLike[str]) -> Measurements:
    """Read the measurements of a gauge from the file at `path`; lengths of the result in mm.

    Rows whose value is ``""`` are left out.  ``units`` is what the caliper shows; what was asked
    of the printer is in mm always.

    Raises InputError with every fault of the file at once, each with file, line and key.  The
    codes, each after ``printer.``: missing, folder, unreadable, too-big, not-utf8, syntax;
    missing-key, unknown-key, type, value, not-finite, format; length, diameter, distance,
    height, caliper, fit, too-short; name, no-feature, same-feature, too-many, unknown-feature,
    same-end, nothing-measured.
    """
    return _read(path, _gauge)


def read_printed(path: str | os.PathLike[str], *halves: Collection[str]) -> PinReadings:
    """Read what was measured between holes of a finished jig; lengths of the result in mm.

    `halves` are the holes of each half of a jig whose halves are loose from each other; of any
    other jig all its holes at once.

    Raises InputError as `read_measurements`; ``printer.no-pin`` where it is not said what was
    measured over, ``printer.loose-halves`` for a reading from one half to another.
    """
    return _read(path, lambda document, faults: _printed(document, halves, faults))


def _read(path: str | os.PathLike[str], assemble: Callable[[Document, Faults], T]) -> T:
    faults = Faults()
    try:
        document = read_document(Path(path))
        read = assemble(document, faults)
        if faults:
            raise InputError(document.findings(faults))
    except InputError as error:
        raise _renamed(error) from None
    return read


def _gauge(document: Document, faults: Faults) -> Measurements:
    unit = _unit(document.data)
    whole = read_part(GaugeShape, document.data, (), unit, faults)
    features = {
        name: _feature(name, raw, faults)
        for name, raw in list(whole.features.items())[:MOST_FEATURES]
    }
    faults += _bad_features(whole.features, features, faults)
    fits = read_part(FitsShape, whole.fits, ("fits",), _MM, faults)
    known = whole.features
    measured = Measurements(
        features=features,
        distances=tuple(
            Distance(*row.between, row.edges, row.value)
            for path, row in _rows(DistanceShape, whole.distance, "distance", unit, faults)
            if _sound(_bad_ends(path, row.between, known), path, faults) and row.value is not None
        ),
        diameters=tuple(
            Diameter(row.of, row.value)
            for path, row in _rows(DiameterShape, whole.diameter, "diameter", unit, faults)
            if _sound(_unknown((*path, "of"), [row.of], known), path, faults)
            and row.value is not None
        ),
        heights=tuple(
            Height(row.asked, row.value)
            for path, row in _rows(HeightShape, whole.height, "height", unit, faults)
            if _sound(_bad_height(path, row.asked), path, faults) and row.value is not None
        ),
        caliper=whole.caliper or CALIPER,
        bush_fit=fits.bush_fit,
        slide=fits.slide,
        unit=unit,
        source=document.file,
    )
    if not faults and not measured.distances:
        faults += [_nothing()]
    return measured


def _printed(document: Document, halves: Sequence[Collection[str]], faults: Faults) -> PinReadings:
    holes = [hole for half in halves for hole in half]
    unit = _unit(document.data)
    whole = _pinned(PrintedShape, document.data, (), unit, faults)
    distances = tuple(
        Distance(*row.between, row.edges, row.value, row.over or whole.over or (0.0, 0.0))
        for path, row in _rows(PinDistanceShape, whole.distance, "distance", unit, faults)
        if _sound(_bad_ends(path, row.between, holes), path, faults)
        and _sound(_loose_ends(path, row.between, halves), path, faults)
        and _sound(_bad_pins(path, row, whole, unit, faults), path, faults)
        and row.value is not None
    )
    if not faults and not distances:
        faults += [_nothing()]
    return PinReadings(distances, whole.caliper or PINS, unit, document.file)


def _unit(data: Mapping[str, Any]) -> Unit:
    said = str(data.get("units", "mm")).lower()
    return UNITS[nearest(said, UNITS, cutoff=0.3) or "mm"]  # where misspelt, what was meant


def _feature(name: str, raw: object, faults: Faults) -> Feature:
    read = read_part(FeatureShape, raw, ("features", name), _MM, faults)
    return Feature(name, read.kind, read.at, read.diameter)


def _rows(
    shape: type[S], rows: list[Any], key: str, unit: Unit, faults: Faults
) -> Iterator[tuple[KeyPath, S]]:
    """Each row of an array of tables with its path; only the sound ones, the rest are faults."""
    if len(rows) > MOST_READINGS:
        hint = f"At most {MOST_READINGS} are allowed."
        faults += [Fault((key,), "too-many", f"{len(rows)} readings", hint)]
        return
    for number, raw in enumerate(rows):
        path: KeyPath = (key, number)
        read = _pinned(shape, raw, path, unit, faults)
        if path not in faults:
            yield path, read


def _pinned(shape: type[S], raw: object, path: KeyPath, unit: Unit, faults: Faults) -> S:
    """`read_part`, where one diameter of pins is not the first of a list."""
    own = Faults()
    read = read_part(shape, raw, path, unit, own)
    if not isinstance(raw, dict) or isinstance(raw.get("over"), list):
        faults += own
        return read
    over: KeyPath = (*path, "over")
    faults += (fault for fault in own if fault.path[:-1] != over)
    faults += (replace(fault, path=over) for fault in own if fault.path == (*over, 0))
    return read


def _sound(found: Iterator[Fault], path: KeyPath, faults: Faults) -> bool:
    faults += found
    return path not in faults


def _bad_features(
    listed: Mapping[str, object], features: Mapping[str, Feature], doubts: Faults
) -> Iterator[Fault]:
    if not listed and ("features",) not in doubts:
        hint = "Fill in the file that jiggen gauge wrote: it says where each hole and peg is."
        yield Fault(("features",), "no-feature", "no hole and no peg is listed", hint)
    if len(listed) > MOST_FEATURES:
        hint = f"At most {MOST_FEATURES} are allowed."
        yield Fault(("features",), "too-many", f"{len(listed)} features", hint)
    placed: list[Feature] = []
    for name, feature in features.items():
        if message := unmeant(name):
            hint = "Up to 12 letters, digits, hyphens and underscores: A1, peg-2."
            yield Fault(("features", name), "name", message, hint)
        if ("features", name) in doubts:
            continue
        twin = next((o for o in placed if math.dist(o.at, feature.at) < SAME), None)
        if twin is not None:
            message = f"{quoted(name)} lies where {quoted(twin.name)} does"
            hint = "Compare with the file that jiggen gauge wrote."
            yield Fault(("features", name), "same-feature", message, hint)
        placed.append(feature)


def _bad_ends(path: KeyPath, ends: tuple[str, str], known: Collection[str]) -> Iterator[Fault]:
    path = (*path, "between")
    yield from _unknown(path, ends, known)
    if ends[0] == ends[1]:
        message = f"{quoted(ends[0])} is measured to itself"
        yield Fault(path, "same-end", message, "Write two different names.")


def _loose_ends(
    path: KeyPath, ends: tuple[str, str], halves: Sequence[Collection[str]]
) -> Iterator[Fault]:
    """A reading between two halves; both ends are known."""
    if not any(set(ends) <= set(half) for half in halves):
        message = f"{ends[0]} and {ends[1]} are in two halves, loose from each other"
        hint = "Take that reading out: how far apart they lie is set on the ski, by the mark."
        yield Fault((*path, "between"), "loose-halves", message, hint)


def _bad_pins(
    path: KeyPath, row: PinDistanceShape, whole: PrintedShape, unit: Unit, doubts: Faults
) -> Iterator[Fault]:
    over = row.over or whole.over
    if ("over",) in doubts and row.over is None:
        return
    if row.edges != "centre" and over is None:
        hint = "Write over = 3.6, the pins' diameter, here or once above all readings."
        yield Fault(path, "no-pin", "nothing says what was measured over", hint)
    elif row.value is not None and over is not None:
        rest = row.value - REACH[row.edges] * sum(over) / 2
        if rest <= 0:
            message = f"{unit.show(row.value)} is not more than the pins themselves take up"
            hint = 'Was it measured between the pins? Then write edges = "inside".'
            yield Fault((*path, "value"), "too-short", message, hint)


def _bad_height(path: KeyPath, asked: float) -> Iterator[Fault]:
    low, high = HEIGHTS
    if not low <= asked <= high:
        hint = f"Allowed: {_MM.show(low)} to {_MM.show(high)}."
        yield Fault((*path, "asked"), "height", f"a height of {_MM.show(asked)}", hint)


def _unknown(path: KeyPath, names: Collection[str], known: Collection[str]) -> Iterator[Fault]:
    for name in dict.fromkeys(names):
        if name not in known:
            guess = nearest(name, known)
            few = ", ".join(quoted(one) for one in list(known)[:12])
            hint = f"Did you mean {quoted(guess)}?" if guess else f"Known: {few}."
            yield Fault(path, "unknown-feature", f"there is no {quoted(name)}", hint)


def _nothing() -> Fault:
    hint = 'Write what the caliper shows in place of value = "".'
    return Fault(("distance",), "nothing-measured", "no distance was measured yet", hint)


def _renamed(error: InputError) -> InputError:
    """The findings of the pattern room's reader under this room's name."""
    named = (
        replace(found, code=found.code.replace("pattern.", "printer.", 1))
        for found in error.findings
    )
    return InputError(replace(found, hint=_HINTS.get(found.code, found.hint)) for found in named)

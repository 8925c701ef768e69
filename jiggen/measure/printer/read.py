"""From a file of measurements to checked values, or to everything that is wrong with it."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Collection, Iterator, Mapping, Sequence

from jiggen.inputs.document import FileKind, read_document
from jiggen.inputs.faults import Fault, Unit, nearest, quoted, unit_of
from jiggen.inputs.places import KeyPath
from jiggen.inputs.shape import validate
from jiggen.measure.printer.measured import (
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
from jiggen.measure.printer.schema import FeatureShape, GaugeShape, PinDistanceShape, PrintedShape

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

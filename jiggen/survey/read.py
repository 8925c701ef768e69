"""From a survey file to checked values, or to everything that is wrong with it."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from jiggen.errors import InputError
from jiggen.pattern.document import read_document
from jiggen.pattern.faults import UNITS, Fault, Faults, Unit, nearest, word
from jiggen.pattern.model import Drill
from jiggen.pattern.parts import read_part
from jiggen.pattern.schema import DrillShape, FileShape, GroupShape
from jiggen.survey.checks import bad_names, bad_plate, bad_readings, split
from jiggen.survey.model import CALIPER, KINDS, OPPOSITE, REACH, Reading, Survey
from jiggen.survey.schema import (
    PATTERN_KEYS,
    HoleShape,
    PlacedShape,
    PlateShape,
    ReadingsShape,
    SurveyShape,
)

_HINTS = {
    "survey.too-big": "A survey is a few kilobytes: is this the right file?",
    "survey.syntax": "Numbers take a point (9.5), text stands in quotes, every bracket is closed, "
    "a key stands once.",
}


def read_survey(path: str | os.PathLike[str]) -> Survey:
    """Read the survey file at `path`; every length of the result is in mm.

    Raises InputError with every fault of the file at once, each with file, line and key.  The
    codes, each after ``survey.``:

    file      missing, folder, unreadable, too-big, not-utf8, syntax
    keys      missing-key, unknown-key, type, value, not-finite, format, name, note, no-drill
    measures  length, diameter, depth, boot, distance, sigma, too-short
    holes     no-hole, too-many-holes, unknown-hole, same-hole, no-distance, edges
    plate     pairs, side, origin, middle, along
    """
    try:
        document = read_document(Path(path))
        survey, faults = _assemble(document.data, document.file)
        if faults:
            raise InputError(document.findings(faults))
    except InputError as error:
        raise _renamed(error) from None
    return survey


def _assemble(data: dict[str, Any], source: str) -> tuple[Survey, Faults]:
    """The survey and its faults; with any fault the survey is not to be used."""
    faults = Faults()
    said = word(data.get("units", "mm")).lower()
    unit = UNITS[nearest(said, UNITS, cutoff=0.3) or "mm"]  # where misspelt, what was meant
    whole = read_part(SurveyShape, data, (), unit, faults)
    file = read_part(
        FileShape, {key: data[key] for key in PATTERN_KEYS if key in data}, (), unit, faults
    )
    placed = read_part(PlacedShape, whole.group, ("group",), unit, faults)
    group = read_part(
        GroupShape,
        {key: whole.group[key] for key in ("name", "datum") if key in whole.group},
        ("group",),
        unit,
        faults,
    )
    if placed.shift is None and ("group", "shift") not in faults:
        hint = "Write shift = 0.0 where the plate's origin lies on the datum, + towards the tip."
        faults += [Fault(("group", "shift"), "missing-key", 'the key "shift" is missing', hint)]
    faults += bad_names(whole.holes, faults)
    holes = {name: _diameter(name, raw, unit, faults) for name, raw in whole.holes.items()}
    readings = tuple(
        reading
        for key, raw in whole.distances.items()
        for reading in _readings(key, raw, holes, unit, faults)
    )
    plate = read_part(PlateShape, whole.plate, ("plate",), unit, faults)
    survey = Survey(
        name=file.name,
        note=file.note,
        boot=file.boot,
        pair=file.pair,
        drill=_drill(file.drill),
        group=group.name,
        datum=group.datum,
        shift=placed.shift or 0.0,
        holes=tuple(holes),
        diameters=tuple(holes.values()),
        readings=readings,
        pairs=tuple(plate.pairs),
        on_centre_line=tuple(plate.centre_line),
        origin=tuple(plate.origin),
        middle=tuple(plate.middle),
        along=plate.along,
        front=tuple(plate.front),
        rear=tuple(plate.rear),
        left=tuple(plate.left),
        right=tuple(plate.right),
        sigma=whole.sigma or CALIPER,
        source=source,
    )
    faults += _undrilled(file.drill, faults)
    faults += bad_readings(survey, faults)
    faults += bad_plate(survey, faults)
    return survey, faults


def _diameter(name: str, raw: object, unit: Unit, faults: Faults) -> float:
    own = Faults()
    size = read_part(HoleShape, {"diameter": raw}, ("holes", name), unit, own)
    faults += (replace(fault, path=("holes", name)) for fault in own)
    return size.diameter


def _readings(
    key: str, raw: object, holes: Mapping[str, float], unit: Unit, faults: Faults
) -> Iterator[Reading]:
    """What one line of ``[distances]`` says; nothing where it is faulty."""
    path = ("distances", key)
    own = Faults()
    read = read_part(ReadingsShape, raw, path, unit, own)
    listed = raw if isinstance(raw, dict) else {}
    faults += (
        fault
        if isinstance(listed.get(str(fault.path[2:3] and fault.path[2])), list)
        # one number is not the first of a list
        else replace(fault, path=fault.path[:3])
        for fault in own
    )
    ends, wrong = split(key, holes)
    faults += wrong
    if path in faults or ends is None:
        return
    given = {kind: getattr(read, kind) for kind in KINDS}
    if not any(given.values()):
        hint = "Write { centre = … }, { outside = … } or { inside = … }, or several of them."
        faults += [Fault(path, "no-distance", "no distance is given", hint)]
    edges = sum(end in OPPOSITE for end in ends)
    for kind, values in given.items():
        rims = sum(holes.get(end, 0.0) for end in ends) / 2
        for value in values:
            if edges == 2 and kind != "centre":
                hint = "Between two edges write { centre = … }."
                faults += [Fault((*path, kind), "edges", "an edge has no rim", hint)]
            elif value - REACH[kind] * rims <= 0 and edges < 2:
                said = f"{unit.show(value)} is not more than what the holes themselves take up"
                hint = "Was it measured inside to inside? Then write inside = …"
                faults += [Fault((*path, kind), "too-short", said, hint)]
            else:
                yield Reading(*ends, kind, value, read.sigma)


def _drill(drill: DrillShape) -> Drill:
    return Drill(drill.diameter.plain or 0.0, drill.diameter.metal or 0.0, drill.depth or 0.0)


def _undrilled(drill: DrillShape, doubts: Faults) -> Iterator[Fault]:
    for words, value, *keys in (
        ("drill diameter for plain cores", drill.diameter.plain, "diameter", "plain"),
        ("drill diameter under metal", drill.diameter.metal, "diameter", "metal"),
        ("drill depth", drill.depth, "depth"),
    ):
        path = ("drill", *map(str, keys))
        if value is None and path not in doubts:
            hint = "Write under [drill]: diameter = { plain = 3.6, metal = 4.1 } and depth = 9.5."
            yield Fault(path, "no-drill", f"no {words} is given", hint)


def _renamed(error: InputError) -> InputError:
    """The findings of the pattern room's reader under this room's name."""
    named = (
        replace(found, code=found.code.replace("pattern.", "survey.", 1))
        for found in error.findings
    )
    return InputError(replace(found, hint=_HINTS.get(found.code, found.hint)) for found in named)

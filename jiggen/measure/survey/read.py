"""From a survey file to checked values, or to everything that is wrong with it."""

from __future__ import annotations

import os
from collections.abc import Iterator

from jiggen.inputs.document import FileKind, read_document
from jiggen.inputs.faults import Fault, Unit, unit_of
from jiggen.inputs.shape import validate
from jiggen.measure.survey.checks import bad_names, bad_plate, bad_readings, split
from jiggen.measure.survey.model import CALIPER, KINDS, OPPOSITE, REACH, Reading, Survey
from jiggen.measure.survey.schema import SurveyShape
from jiggen.pattern.model import Drill
from jiggen.pattern.schema import DrillShape

KIND = FileKind("survey", "A survey file")


def read_survey(path: str | os.PathLike[str]) -> Survey:
    """Read the survey file at `path`; every length of the result is in mm.

    Raises InputError with every fault of single values at once, or, where there is none, of
    values that do not fit together; each with file, line and key.  The codes, each after
    ``survey.``:

    file      missing, folder, unreadable, too-big, not-utf8, syntax
    keys      missing-key, unknown-key, type, value, not-finite, format, name, note, no-drill
    measures  length, diameter, depth, boot, distance, sigma, too-short
    holes     no-hole, too-many-holes, unknown-hole, same-hole, no-distance, edges
    plate     pairs, side, origin, middle, along
    """
    document = read_document(path, KIND)
    unit = unit_of(document.data)
    file = validate(SurveyShape, document, document.data, unit)
    faults = [*bad_names(file.holes), *_undrilled(file.drill)]
    readings: list[Reading] = []
    for key in file.distances:
        faults += _read(key, file, unit, readings)
    survey = Survey(
        name=file.name,
        note=file.note,
        boot=file.boot,
        pair=file.pair,
        drill=Drill(
            file.drill.diameter.plain or 0.0,
            file.drill.diameter.metal or 0.0,
            file.drill.depth or 0.0,
        ),
        group=file.group.name,
        datum=file.group.datum,
        shift=file.group.shift,
        holes=tuple(file.holes),
        diameters=tuple(file.holes.values()),
        readings=tuple(readings),
        pairs=tuple(file.plate.pairs),
        on_centre_line=tuple(file.plate.centre_line),
        origin=tuple(file.plate.origin),
        middle=tuple(file.plate.middle),
        along=file.plate.along,
        front=tuple(file.plate.front),
        rear=tuple(file.plate.rear),
        left=tuple(file.plate.left),
        right=tuple(file.plate.right),
        sigma=file.sigma or CALIPER,
        source=document.file,
    )
    if not file.distances:
        faults += bad_readings(survey)
    document.refuse([*faults, *bad_plate(survey)])
    return survey


def _read(key: str, file: SurveyShape, unit: Unit, readings: list[Reading]) -> Iterator[Fault]:
    """Add what one line of ``[distances]`` says to `readings`; yields what is wrong with it."""
    path = ("distances", key)
    line = file.distances[key]
    ends, wrong = split(key, file.holes)
    yield from wrong
    if ends is None:
        return
    given = {kind: getattr(line, kind) for kind in KINDS}
    if not any(given.values()):
        hint = "Write { centre = … }, { outside = … } or { inside = … }, or several of them."
        yield Fault(path, "no-distance", "no distance is given", hint)
    edges = sum(end in OPPOSITE for end in ends)
    rims = sum(file.holes.get(end, 0.0) for end in ends) / 2
    for kind, values in given.items():
        for value in values:
            if edges == 2 and kind != "centre":
                hint = "Between two edges write { centre = … }."
                message = "a distance between two edges has no inside and no outside"
                yield Fault((*path, kind), "edges", message, hint)
            elif value - REACH[kind] * rims <= 0 and edges < 2:
                message = f"{unit.show(value)} is not more than what the holes themselves take up"
                hint = "Was it measured inside to inside? Then write inside = …"
                yield Fault((*path, kind), "too-short", message, hint)
            else:
                readings.append(Reading(*ends, kind, value, line.sigma))


def _undrilled(drill: DrillShape) -> Iterator[Fault]:
    for words, value, *keys in (
        ("drill diameter for plain cores", drill.diameter.plain, "diameter", "plain"),
        ("drill diameter under metal", drill.diameter.metal, "diameter", "metal"),
        ("drill depth", drill.depth, "depth"),
    ):
        if value is None:
            hint = "Write under [drill]: diameter = { plain = 3.6, metal = 4.1 } and depth = 9.5."
            yield Fault(("drill", *map(str, keys)), "no-drill", f"no {words} is given", hint)

"""The shape of a survey file, as pydantic models that read lengths into mm."""

from __future__ import annotations

import os
import re
from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from typing import Annotated

from pydantic import BeforeValidator, Field

from jiggen.inputs.document import FileKind, read_document
from jiggen.inputs.faults import Fault, Unit, did_you_mean, quoted, shown, unit_of
from jiggen.inputs.places import KeyPath
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
    validate,
)
from jiggen.measure import METHODS, REACH
from jiggen.measure.survey.model import CALIPER, OPPOSITE, Reading, Survey
from jiggen.measure.words import listed
from jiggen.pattern import Datum, Pair
from jiggen.pattern.model import Drill
from jiggen.pattern.read import Boots, DrillShape, GroupName, Length, Name, Note

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
    given = {kind: getattr(line, kind) for kind in METHODS}
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


_NAME = re.compile(r"[A-Za-z0-9_]{1,12}")
_ACROSS = {"left", "right"}


def bad_names(holes: Mapping[str, object]) -> Iterator[Fault]:
    """Faults of ``[holes]`` as a whole and of the holes' names."""
    if len(holes) < 2:
        message = "there are no holes" if not holes else "there is only one hole"
        hint = "Write a line for each hole under [holes], its name and diameter: a = 5.5"
        yield Fault(("holes",), "no-hole", message, hint)
    for name in holes:
        if name in OPPOSITE:
            hint = "front, rear, left and right mean the plate's edges: call the hole otherwise."
            yield Fault(("holes", name), "name", f"a hole cannot be called {quoted(name)}", hint)
        elif not _NAME.fullmatch(name):
            hint = "Up to 12 letters, digits and underscores: a, b2, toe_left."
            yield Fault(("holes", name), "name", f"a hole is called {quoted(name)}", hint)


def split(key: str, holes: Collection[str]) -> tuple[tuple[str, str] | None, list[Fault]]:
    """The two ends that a key such as ``a-b`` or ``front-a`` names, or what is wrong with it."""
    path: KeyPath = ("distances", key)
    ends = tuple(key.split("-"))
    if len(ends) != 2:
        hint = "Write the names of both holes with a hyphen between them: a-b"
        return None, [Fault(path, "value", f"{quoted(key)} does not name two holes", hint)]
    first, second = ends
    wrong = [fault for end in ends for fault in _unknown(end, holes, path, edges=True)]
    if not wrong and first == second:
        hint = "Write the names of two different holes."
        wrong = [Fault(path, "same-hole", f"{first} is measured to itself", hint)]
    if not wrong and first in OPPOSITE and second in OPPOSITE and OPPOSITE[first] != second:
        message = f"the {first} and the {second} edge meet in a corner and have no distance"
        wrong = [Fault(path, "edges", message, "Measure front to rear, or left to right.")]
    return (None if wrong else (first, second)), wrong


def bad_readings(survey: Survey) -> Iterator[Fault]:
    """Faults of ``[distances]`` as a whole."""
    if not survey.readings:
        hint = "Write a line for each pair measured under [distances]: a-b = { outside = 45.5 }"
        yield Fault(("distances",), "no-distance", "there are no distances", hint)


def bad_plate(survey: Survey) -> Iterator[Fault]:
    """Faults of ``[plate]``: names, and what it must say so that places have coordinates."""
    named: dict[str, tuple[str, ...]] = {
        "front": survey.front,
        "rear": survey.rear,
        "left": survey.left,
        "right": survey.right,
        "pairs": tuple(name for pair in survey.pairs for name in pair),
        "centre_line": survey.on_centre_line,
        "origin": survey.origin,
        "middle": survey.middle,
        "along": survey.along or (),
    }
    sound = True
    for key, names in named.items():
        path: KeyPath = ("plate", key)
        edges = key in ("origin", "middle")
        for name in dict.fromkeys(names):
            for unknown in _unknown(name, survey.holes, path, edges=edges):
                sound = False
                yield unknown
    if sound:
        yield from _sides(survey)
        yield from _twins(survey)
        yield from _frame(survey)


def _sides(survey: Survey) -> Iterator[Fault]:
    for key, names, other, others in (
        ("rear", survey.rear, "front", survey.front),
        ("right", survey.right, "left", survey.left),
    ):
        if both := [name for name in names if name in others]:
            message = f"{listed(both)} cannot be {key} and {other} at once"
            yield _wrong(key, "side", message, "Take it out of one of the lists.")
    if not (survey.front or survey.rear or survey.along):
        hint = (
            'Name the hole nearest the tip: front = ["a"]. The plate could as well lie turned '
            "round."
        )
        yield _wrong("front", "side", "nothing says which end is the front", hint)
    if not (survey.left or survey.right or survey.pairs):
        hint = (
            'Name a hole on the left, seen from the tail: left = ["a"]. The plate could as well '
            "lie upside down."
        )
        yield _wrong("left", "side", "nothing says which side is the left", hint)


def _twins(survey: Survey) -> Iterator[Fault]:
    path: KeyPath = ("plate", "pairs")
    for left, right in survey.pairs:
        if left == right:
            hint = "A hole on the centre line stands under centre_line."
            yield Fault(path, "pairs", f"{left} is paired with itself", hint)
    count = Counter(name for pair in survey.pairs for name in set(pair))
    count.update(survey.on_centre_line)
    if twice := [name for name, times in count.items() if times > 1]:
        message = f"{listed(twice)} {'is' if len(twice) == 1 else 'are'} named more than once"
        yield Fault(path, "pairs", message, "A hole is in one pair, or on the centre line, once.")


def _frame(survey: Survey) -> Iterator[Fault]:
    """What must be message so that the places have an origin and a centre line."""
    measured = {end for reading in survey.readings for end in (reading.first, reading.second)}
    edges = [name for name in survey.origin if name in OPPOSITE]
    if not survey.origin:
        hint = 'Write origin = "a" (a hole), "front" (an edge), or ["a", "b"] (their middle).'
        yield _wrong("origin", "origin", "nothing says where the origin is", hint)
    elif _ACROSS & set(edges) or (edges and len(survey.origin) > 1):
        hint = 'The origin is along the plate: one edge "front" or "rear", or holes.'
        yield _wrong("origin", "origin", "an origin is not there", hint)
    elif edges and edges[0] not in measured:
        hint = f"Measure from that edge to a hole: {edges[0]}-{survey.holes[0]} = {{ inside = … }}"
        yield _wrong("origin", "origin", f"the {edges[0]} edge has no distance to a hole", hint)
    given = survey.pairs or survey.on_centre_line
    across = [name for name in survey.middle if name in OPPOSITE]
    if given and survey.middle:
        hint = "Take middle out: pairs and centre_line say it already."
        yield _wrong("middle", "middle", "the centre line is given twice", hint)
    elif not given and not survey.middle:
        hint = (
            'Name a left and right pair: pairs = [["a", "b"]], a hole on it: centre_line = ["e"], '
            'or what it lies in the middle of: middle = ["left", "right"].'
        )
        yield _wrong("middle", "middle", "nothing says where the centre line is", hint)
    elif across and set(survey.middle) != _ACROSS:
        hint = 'Write middle = ["left", "right"] for the middle of the plate, or name holes only.'
        yield _wrong(
            "middle", "middle", "the middle is not between the left and the right edge", hint
        )
    elif across and not _ACROSS.issubset(measured):
        hint = "Measure from the left edge and from the right edge."
        yield _wrong(
            "middle", "middle", "the left or the right edge has no distance to a hole", hint
        )
    if survey.along and survey.along[0] == survey.along[1]:
        hint = 'Write the rear hole and the front hole: along = ["c", "a"].'
        yield _wrong("along", "along", "one hole makes no line", hint)
    elif survey.along and survey.pairs:
        hint = "Take along out: the pairs say it already."
        yield _wrong("along", "along", "the plate's direction is given twice", hint)


def _wrong(key: str, code: str, message: str, hint: str) -> Fault:
    """A fault of one key of ``[plate]``."""
    return Fault(("plate", key), code, message, hint)


def _unknown(name: str, holes: Collection[str], path: KeyPath, *, edges: bool) -> Iterator[Fault]:
    if name in holes or (edges and name in OPPOSITE):
        return
    known = [*holes, *(OPPOSITE if edges else ())]
    meant = did_you_mean(name, known)
    hint = f"{meant}Known: {', '.join(known)}." if known else "Name it under [holes]."
    yield Fault(path, "unknown-hole", f"there is no hole {quoted(name)}", hint)

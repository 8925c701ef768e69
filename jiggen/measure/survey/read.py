"""What was measured on a plate, read from a survey file; every length in mm."""

import os
import re
from collections import Counter
from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from typing import Annotated

from pydantic import BeforeValidator, Field

from jiggen.inputs.document import Document, FileKind
from jiggen.inputs.faults import Fault, KeyPath, Unit, did_you_mean, quoted, shown, unit_of
from jiggen.inputs.form import Form, read_form
from jiggen.inputs.shape import (
    Shape,
    Size,
    Units,
    Version,
    at_most,
    between,
    fault,
    pair_of,
    typed,
    validate,
)
from jiggen.measure import METHODS, NAME, REACH, Method
from jiggen.measure.survey.scanned import Scanned, scanned_faults
from jiggen.pattern.model import Datum, Pair
from jiggen.pattern.read import Boots, DrillShape, GroupName, Length, Name, Note
from jiggen.units import listed

# The plate's edges, each with the one across the plate.
OPPOSITE = {"front": "rear", "rear": "front", "left": "right", "right": "left"}
# Standard uncertainties of a reading in mm, and scale of a caliper or ruler: common practice, no
# source.
CALIPER = 0.05
RULER = 0.3
SCALE = 0.003  # by so much of its length a tool may read wrong, as one


def _several(value: object) -> object:
    """One value stands for a list of it; "" for none, as a form has it before it is filled in."""
    return tuple(one for one in (value if isinstance(value, list) else [value]) if one != "")


def _measured(value: object) -> object:
    """What was filled in."""
    if value == "":
        raise fault("type", "is not filled in yet", "Write the diameter of the hole: 5.5.")
    return value


def _names(value: object) -> object:
    """Names in a list, or in one text with blanks between them."""
    return _several(re.split(r"[\s;,]+", value.strip()) if isinstance(value, str) else value)


def _pairs(value: object) -> object:
    if isinstance(value, str):  # as a table has it: a-b c-d
        value = [pair.split("-") for pair in re.split(r"[\s;,]+", value.strip()) if pair]
    if isinstance(value, list) and all(isinstance(pair, list) and len(pair) == 2 for pair in value):
        return tuple(tuple(pair) for pair in value)
    raise fault("type", f"is {shown(value)}, but must be a list of pairs of holes")


# Beyond these limits in mm a slip of the decimal point is likelier: common practice, no source.
Diameter = Annotated[
    Size, between(1.0, 60.0, "diameter", "a hole"), typed, BeforeValidator(_measured)
]
Distance = Annotated[Size, between(0.0, 1500.0, "distance", "a distance", above=True), typed]
Distances = Annotated[
    tuple[Distance, ...],
    BeforeValidator(_several),
    Field(description="a number, or a list of them if you measured more than once"),
]
Sigma = Annotated[
    Size,
    between(0.0, 5.0, "sigma", "a standard uncertainty", above=True),
    typed,
    Field(description="the standard uncertainty (1 σ) of a reading: caliper 0.05, ruler 0.3"),
]
Names = Annotated[tuple[str, ...], BeforeValidator(_names)]
Pairs = Annotated[tuple[tuple[str, str], ...], BeforeValidator(_pairs)]


class Measured(Shape):
    """One entry of ``[distances]``: how two holes, or an edge and a hole, were measured."""

    centre: Distances = ()
    outside: Distances = ()
    inside: Distances = ()
    sigma: Sigma | None = None


class Plate(Shape):
    """``[plate]``: how the plate lies on the ski."""

    front: Names = Field(default=(), description='the holes nearest the tip: ["a", "b"]')
    rear: Names = Field(default=(), description='the holes nearest the tail: ["g", "h"]')
    left: Names = Field(default=(), description='holes left of the centre line: ["a", "c"]')
    right: Names = Field(default=(), description='holes right of the centre line: ["b", "d"]')
    pairs: Pairs = Field(default=(), description='left hole first: [["a", "b"], ["c", "d"]]')
    centre_line: Names = Field(default=(), description='names of holes on it: ["e"]')
    origin: Names = Field(default=(), description='a hole "a", an edge "front", or several holes')
    middle: Names = Field(default=(), description='["left", "right"] for both edges, or holes')
    along: Annotated[tuple[str, str], pair_of("holes")] | None = Field(
        default=None, description='two holes in a line along the ski, rear one first: ["c", "a"]'
    )

    @property
    def twins(self) -> dict[str, str]:
        """Each hole's mirror image in the centre line, where the file names one."""
        own = {name: name for name in self.centre_line}
        return dict(self.pairs) | {right: left for left, right in self.pairs} | own


class Group(Shape):
    """``[group]``, with values as in a pattern file."""

    name: GroupName = Field(description="a word: hole ids are made of it")
    datum: Datum = Field(description='"boot-toe", "boot-heel" or "boot-centre"')
    shift: Length = Field(description="from the datum to the plate's origin, + towards the tip")


class SurveyFile(Shape):
    """The whole file; what a pattern file has too has the same limits as there."""

    format: Version = Field(description="format = 1")
    name: Name = Field(description="what the plate is called")
    note: Note = Field(default="", description="any printable text")
    units: Units = Field(default="mm", description='"mm" or "in"')
    boot: Boots | None = Field(default=None, description="boot sole lengths served: [255, 355]")
    pair: Pair = Field(default="same", description='"same" or "mirrored"')
    drill: DrillShape = Field(default=DrillShape(), description="a table headed [drill]")
    sigma: Sigma = CALIPER
    group: Group = Field(description="a table headed [group]: name, datum and shift")
    holes: Annotated[dict[str, Diameter], at_most(60, "too-many-holes", "holes")] = Field(
        default={}, description="a table headed [holes] with a line for each diameter: a = 5.5"
    )
    distances: dict[str, Measured] = Field(
        default={}, description="[distances]: a-b = { outside = 45.5 }"
    )
    other_tool: dict[str, Measured] = Field(
        default={}, description="[other_tool]: a long one again with a ruler, as in [distances]"
    )
    scanned: Scanned | None = Field(default=None, description="a table headed [scanned]")
    plate: Plate = Field(default=Plate(), description="a table headed [plate]")


@dataclass(frozen=True)
class Reading:
    """A measured distance in mm; `first` or `second` may be one of the plate's edges.

    ``outside`` is over the far rims, ``inside`` between the near ones; from an edge, over the
    hole's far rim or up to its near one.  `sigma` (mm) is its standard uncertainty, if its own.
    """

    first: str
    second: str
    kind: Method
    value: float
    sigma: float | None = None

    def __str__(self) -> str:
        ends = sorted((self.first, self.second), key=lambda end: end not in OPPOSITE)
        rim = {"centre": "to its centre", "outside": "far rim", "inside": "near rim"}[self.kind]
        edges = sum(end in OPPOSITE for end in ends)
        manner = (f"{self.kind} to {self.kind}", rim, "edge to edge")[edges]
        one, other = (f"{end} edge" if end in OPPOSITE else end for end in ends)
        return f"{one} to {other}, {manner}"


@dataclass(frozen=True)
class Survey:
    """A survey `file` that fits together, and its readings in the file's order.

    `again` are distances that were measured with another tool as well; they move no hole.
    """

    file: SurveyFile
    readings: tuple[Reading, ...]
    source: str = ""
    again: tuple[Reading, ...] = ()

    @property
    def holes(self) -> tuple[str, ...]:
        """The holes' names."""
        return tuple(self.file.holes)

    @property
    def diameters(self) -> tuple[float, ...]:
        """The holes' diameters as measured, in mm."""
        return tuple(self.file.holes.values())


KIND = FileKind("survey", "A survey file", typed=True)


def read_survey(path: str | os.PathLike[str]) -> Survey:
    """Read the survey file at `path`; every length of the result is in mm.

    Raises InputError with every fault of single values at once, or, where there is none, of
    values that do not fit together; each with file, line and key.  The codes, each after
    ``survey.``:

    file      missing, folder, unreadable, too-big, not-utf8, syntax
    keys      missing-key, unknown-key, type, value, not-finite, format, name, note, no-drill
    measures  length, diameter, depth, boot, distance, sigma, too-short
    holes     no-hole, too-many-holes, unknown-hole, same-hole, no-distance, edges
    scans     scanned
    plate     pairs, side, origin, middle, along
    """
    return survey_of(read_form(path, KIND))


def survey_of(document: Document | Form) -> Survey:
    """The survey that a file or a page holds; every length in mm.  Raises as `read_survey`."""
    unit = unit_of(document.data)
    file = validate(SurveyFile, document, document.data, unit)
    tables = {"distances": file.distances, "other_tool": file.other_tool}
    found = {
        table: [
            one
            for key, line in lines.items()
            for one in _read((table, key), line, file.holes, unit)
        ]
        for table, lines in tables.items()
    }
    faults = [one for each in found.values() for one in each if isinstance(one, Fault)]
    readings, again = (
        tuple(one for one in each if isinstance(one, Reading)) for each in found.values()
    )
    faults += _unmeasured_edges(readings, again)
    if file.scanned:
        faults += scanned_faults(file.scanned, file.holes)
    document.refuse([*_bad_holes(file), *faults, *_bad_plate(file, readings)])
    return Survey(file, readings, document.file, again)


def _unmeasured_edges(readings: Iterable[Reading], again: Iterable[Reading]) -> Iterator[Fault]:
    """Edges that only the other tool was laid to: nothing says where they are."""
    known = {end for one in readings for end in (one.first, one.second)}
    for one in again:
        for end in {one.first, one.second} & {*OPPOSITE} - known:
            path = ("other_tool", f"{one.first}-{one.second}")
            message = f"the {end} edge has no distance under [distances]"
            yield Fault(path, "no-distance", message, "Measure between the same holes again.")


def _bad_holes(file: SurveyFile) -> Iterator[Fault]:
    """Faults of holes, their names and drills, and of ``[distances]`` as a whole."""
    sizes = file.drill.diameter
    for words, value, *keys in (
        ("drill diameter for plain cores", sizes.plain, "diameter", "plain"),
        ("drill diameter under metal", sizes.metal, "diameter", "metal"),
        ("drill depth", file.drill.depth, "depth"),
    ):
        if value is None:
            hint = "Write under [drill]: diameter = { plain = 3.6, metal = 4.1 } and depth = 9.5."
            yield Fault(("drill", *map(str, keys)), "no-drill", f"no {words} is given", hint)
    if len(file.holes) < 2:
        message = "there is only one hole" if file.holes else "there are no holes"
        hint = "Write a line for each hole under [holes], its name and diameter: a = 5.5"
        yield Fault(("holes",), "no-hole", message, hint)
    for name in file.holes:
        if name in OPPOSITE or not NAME.fullmatch(name):
            hint = "Up to 12 letters, digits and underscores, but not front, rear, left or right."
            yield Fault(("holes", name), "name", f"a hole cannot be called {quoted(name)}", hint)
    if not file.distances and not file.scanned:
        hint = "Write a line for each pair measured under [distances]: a-b = { outside = 45.5 }"
        yield Fault(("distances",), "no-distance", "there are no distances", hint)


def _read(
    path: tuple[str, str], line: Measured, holes: dict[str, float], unit: Unit
) -> Iterator[Reading | Fault]:
    """The readings in one line of ``[distances]``, or what is wrong with it."""
    table, key = path
    ends = key.split("-")
    if len(ends) != 2:
        hint = "Write the names of both holes with a hyphen between them: a-b"
        yield Fault(path, "value", f"{quoted(key)} does not name two holes", hint)
        return
    first, second = ends
    edges = sum(end in OPPOSITE for end in ends)
    wrong = [one for end in ends for one in _unknown(end, holes, path, edges=True)]
    if not wrong and first == second:
        message = f"{first} is measured to itself"
        wrong = [Fault(path, "same-hole", message, "Name two different holes.")]
    elif not wrong and edges == 2 and OPPOSITE[first] != second:
        message = f"the {first} and the {second} edge meet in a corner and have no distance"
        wrong = [Fault(path, "edges", message, "Measure front to rear, or left to right.")]
    elif not wrong and not line.model_fields_set & {*METHODS}:
        hint = "Write { centre = … }, { outside = … } or { inside = … }, or several of them."
        wrong = [Fault(path, "no-distance", "no distance is given", hint)]
    yield from wrong
    rims = sum(holes.get(end, 0.0) for end in ends) / 2
    for kind in METHODS if not wrong else ():
        for value in getattr(line, kind):
            if edges == 2 and kind != "centre":
                message = "a distance between two edges has no inside and no outside"
                yield Fault((*path, kind), "edges", message, "Write { centre = … }.")
            elif value - REACH[kind] * rims <= 0 and edges < 2:
                message = f"{unit.show(value)} is not more than what the holes themselves take up"
                hint = "Was it measured inside to inside? Then write inside = …"
                yield Fault((*path, kind), "too-short", message, hint)
            else:
                usual = None if table == "distances" else RULER
                yield Reading(first, second, kind, value, line.sigma or usual)


def _bad_plate(file: SurveyFile, readings: tuple[Reading, ...]) -> Iterator[Fault]:
    """Faults of ``[plate]``: names, and what it must say so that places have coordinates."""
    unknown: list[Fault] = []
    for key, value in file.plate:
        names = [name for one in value or () for name in ([one] if isinstance(one, str) else one)]
        for name in dict.fromkeys(names):
            edges = key in ("origin", "middle")
            unknown += _unknown(name, file.holes, ("plate", key), edges=edges)
    if unknown:
        yield from unknown
        return
    yield from _bad_sides(file.plate, seen=file.scanned is not None)
    yield from _bad_frame(file.plate, {end for one in readings for end in (one.first, one.second)})


def _wrong(key: str, code: str, message: str, hint: str) -> Fault:
    return Fault(("plate", key), code, message, hint)


def _bad_sides(plate: Plate, *, seen: bool) -> Iterator[Fault]:
    """Faults of what says how the plate lies; a plate `seen` by a scan is not upside down."""
    for key, other in (("rear", "front"), ("right", "left")):
        if both := sorted({*getattr(plate, key)} & {*getattr(plate, other)}):
            message = f"{listed(both)} cannot be {key} and {other} at once"
            yield _wrong(key, "side", message, "Take it out of one of the lists.")
    if not (plate.front or plate.rear or plate.along):
        hint = 'Name the hole nearest the tip, front = ["a"]: it could as well lie turned round.'
        yield _wrong("front", "side", "nothing says which end is the front", hint)
    if not (seen or plate.left or plate.right or plate.pairs):
        hint = 'Name a hole on the left, seen from the tail, left = ["a"]: it could be upside down.'
        yield _wrong("left", "side", "nothing says which side is the left", hint)
    names = Counter([*plate.centre_line, *(name for pair in plate.pairs for name in pair)])
    if twice := [name for name, times in names.items() if times > 1]:
        message = f"named more than once: {listed(twice)}"
        hint = "A hole is in one pair, or on the centre line, once."
        yield _wrong("pairs", "pairs", message, hint)


def _bad_frame(plate: Plate, measured: Collection[str]) -> Iterator[Fault]:
    """What must be said so that the places have an origin and a centre line."""
    across = {"left", "right"}
    edges = [name for name in plate.origin if name in OPPOSITE]
    if not plate.origin:
        hint = 'Write origin = "a" (a hole), "front" (an edge), or ["a", "b"] (their middle).'
        yield _wrong("origin", "origin", "nothing says where the origin is", hint)
    elif across & {*edges} or (edges and len(plate.origin) > 1):
        hint = 'The origin is along the plate: one edge "front" or "rear", or holes.'
        yield _wrong("origin", "origin", "an origin is not there", hint)
    elif edges and edges[0] not in measured:
        message = f"the {edges[0]} edge has no distance to a hole"
        yield _wrong("origin", "origin", message, "Measure from that edge to a hole.")
    given = plate.pairs or plate.centre_line
    edges = [name for name in plate.middle if name in OPPOSITE]
    if given and plate.middle:
        hint = "Take middle out: pairs and centre_line say it already."
        yield _wrong("middle", "middle", "the centre line is given twice", hint)
    elif not given and not plate.middle:
        hint = 'Name pairs, holes on it (centre_line), or its sides: middle = ["left", "right"].'
        yield _wrong("middle", "middle", "nothing says where the centre line is", hint)
    elif edges and {*plate.middle} != across:
        message = "the middle is not between the left and the right edge"
        yield _wrong("middle", "middle", message, 'Write middle = ["left", "right"], or holes.')
    elif edges and not across.issubset(measured):
        message = "the left or the right edge has no distance to a hole"
        yield _wrong("middle", "middle", message, "Measure from both edges.")
    if plate.along and plate.along[0] == plate.along[1]:
        hint = 'Write the rear hole and the front hole: along = ["c", "a"].'
        yield _wrong("along", "along", "one hole makes no line", hint)
    elif plate.along and plate.pairs:
        hint = "Take along out: the pairs say it already."
        yield _wrong("along", "along", "the plate's direction is given twice", hint)


def _unknown(name: str, holes: Collection[str], path: KeyPath, *, edges: bool) -> Iterator[Fault]:
    known = [*holes, *(OPPOSITE if edges else ())]
    if name not in known:
        hint = f"{did_you_mean(name, known)}Known: {', '.join(known) or 'none yet'}."
        yield Fault(path, "unknown-hole", f"there is no hole {quoted(name)}", hint)

"""From a pattern file to a checked pattern, or to everything that is wrong with it.

The shape of the file is in pydantic models, which read lengths into mm.
"""

import os
import re
from collections.abc import Iterator
from functools import reduce
from itertools import pairwise, product
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, ValidationInfo

from jiggen.files import Toml
from jiggen.inputs.document import FileKind, parse_document, read_text
from jiggen.inputs.faults import (
    Fault,
    KeyPath,
    Unit,
    did_you_mean,
    hidden,
    key_text,
    quoted,
    shown,
    unit_of,
)
from jiggen.inputs.shape import (
    Shape,
    Size,
    Units,
    Version,
    at_most,
    between,
    check,
    fault,
    key,
    pair_of,
    unit_in,
)
from jiggen.pattern import model
from jiggen.pattern.checks import conflicts
from jiggen.pattern.model import Area, Drill, Group, Hole, Pair, Pattern, Screw, Step
from jiggen.tables import trade_drill

KIND = FileKind("pattern", "A pattern file")

# Limits that only the file has: common practice, no source; mm.
LONGEST = 2000.0  # any shift or coordinate, wherever its group lies
PLATES = (0.0, 60.0)  # thickness of plate under a screw; 0: nothing between screw and ski
SCREWS = (4.0, 60.0)  # length of a screw
MOST_SCREWS = 12  # available lengths
POINTS = (-500.0, 100.0)  # a point of the boot, from its toe
LONGEST_POINT = 16  # characters of its name
MOST_PLACES = 24  # of a group
HALF_WIDTH = 100.0  # of the area allowed for holes, as wide as any ski

# What every hole needs, by its own table or the file's.
_NEEDED = {
    ("drill", "diameter", "plain"): "drill diameter for plain cores",
    ("drill", "diameter", "metal"): "drill diameter under metal",
    ("drill", "depth"): "drill depth",
    ("screw", "plate"): "plate thickness",
    ("screw", "lengths"): "screw length",
}


def read_pattern(path: str | os.PathLike[str]) -> Pattern:
    """Read the pattern file at `path`; every length of the result is in mm.

    Drills within 0.03 mm of a size that is sold are read as that size.

    Raises InputError with every fault at once, in the file's order: first those of single
    values; where there are none, those of groups and holes; at last those of holes that are too
    close to each other.  Each finding has `where` as ``file:line:column`` (counted from 1) and
    `key` as a path whose indexes are counted from 1 too: ``group[1].hole[3].at`` is the third
    hole of the first group.  Values in messages are in the file's own unit.  The codes, each
    after ``pattern.``:

    file      missing, folder, unreadable, too-big, not-utf8, syntax
    keys      missing-key, unknown-key, type, value, not-finite, format, name, note
    measures  length, diameter, depth, unusual, boot, screw, area
    holes     both-sides, same-hole, spacing, no-drill, no-screw, too-many-holes
    groups    no-group, empty-group, too-many-groups, same-name, shift, steps, places
    """
    return parse_pattern(read_text(path, KIND), os.fspath(path))


def parse_pattern(text: str, source: str) -> Pattern:
    """`text` as `read_pattern` reads the file `source`, with the same errors."""
    document = parse_document(text, source, KIND)
    unit = unit_of(document.data)
    read, faults = check(FileShape, document.data, unit)
    document.refuse((*faults, *_unknown_points(document.data)))
    assert read is not None
    file = read
    document.refuse(_inconsistent(file, unit))
    groups = tuple(_group(group, file) for group in file.group)
    area = Area(*file.area.x, file.area.half_width) if file.area else None
    values = (file.name, file.note, file.units, file.boot, file.pair, groups, source, area)
    pattern = Pattern(*values, file.mark, tuple(file.points.items()), text)
    document.refuse(conflicts(pattern))
    return pattern


def _unknown_points(data: Toml) -> Iterator[Fault]:
    """A fault for each name of a point that is none: the words of the file, in any shape."""
    groups, own = data.get("group"), data.get("points")
    known = (*model.DATUM_SLOPE, *(own if isinstance(own, dict) else ()))
    named: list[tuple[KeyPath, object]] = [(("mark",), data.get("mark"))]
    for g, group in enumerate(groups if isinstance(groups, list) else ()):
        if isinstance(group, dict):
            named.append((("group", g, "datum"), group.get("datum")))
    for path, word in named:
        if isinstance(word, str) and word not in known:
            hint = f"{did_you_mean(word, known)}Allowed here: {', '.join(known)}."
            yield Fault(path, "value", f"{quoted(word)} is not allowed", hint)


def _screw_lengths(value: object) -> object:
    if not isinstance(value, list):
        raise fault("type", f"is {shown(value)}, but must be a list of numbers")
    if not 1 <= len(value) <= MOST_SCREWS:
        message = f"{len(value)} screw lengths" if value else "no screw length"
        raise fault("screw", message, f"Allowed: 1 to {MOST_SCREWS} lengths.")
    for at, length in enumerate(value):
        if length in value[:at]:
            raise fault("screw", f"{shown(length)} is given twice", "Write each length once.")
    return tuple(value)


def _rear_to_front(ends: tuple[float, float], info: ValidationInfo) -> tuple[float, float]:
    if ends[0] < ends[1]:
        return ends
    rear, front = map(unit_in(info).show, ends)
    hint = "Write the end towards the tail first."
    raise fault("area", f"ends at {front}, but begins at {rear}", hint)


def _sole(boot: float) -> float:
    if model.SHOE_SIZES[0] <= boot <= model.SHOE_SIZES[1]:
        raise fault("boot", f"{boot:g} mm looks like a shoe size", model.SOLE_HINT)
    return boot


def _boots(boots: tuple[float, float]) -> tuple[float, float]:
    if boots[0] > boots[1]:
        raise fault("boot", "the longest boot is written before the shortest")
    return boots


def _name(name: str) -> str:
    message = hidden(name)
    if not name.strip():
        message = "the name is empty"
    if len(name) > model.LONGEST_NAME:
        message = f"the name has {len(name)} characters"
    if message:
        raise fault("name", message)
    return name


def _group_name(name: str) -> str:
    odd = next((c for c in _name(name) if not (c.isalnum() or c in "-_.")), None)
    if odd:
        raise fault("name", f"{quoted(odd)} is not allowed in a hole's id")
    return name


def _point_names(points: dict[str, float]) -> dict[str, float]:
    """Names as they are engraved, in capitals."""
    for name in points:
        if name in model.DATUM_SLOPE:
            raise fault("name", f"{quoted(name)} has its place already", "Choose another name.")
        if not re.fullmatch(r"[A-Za-z0-9]+(?:-[A-Za-z0-9]+)*", name) or len(name) > LONGEST_POINT:
            hint = f"Up to {LONGEST_POINT} letters a to z, digits and hyphens: pin-line."
            raise fault("name", f"{quoted(name)} is not a valid name of a point", hint)
    return points


def _places(places: list[float]) -> list[float]:
    if not places:
        raise fault("places", "no place", "Leave places out where there is only one.")
    return places


def _note(note: str) -> str:
    if message := hidden(note, apart_from="\n\t"):
        raise fault("note", message)
    return note


Length = Annotated[Size, between(-LONGEST, LONGEST, "length", "a length")]
Across = Annotated[Size, between(-model.Y_LIMIT, model.Y_LIMIT, "length", "y")]
Diameter = Annotated[
    Size, between(*model.DIAMETERS, "diameter", "a drill"), AfterValidator(trade_drill)
]
Depth = Annotated[Size, between(0.0, model.DEEPEST, "depth", "a depth", above=True)]
FromToe = Annotated[Size, between(*POINTS, "length", "a point")]
Position = Annotated[tuple[Length, Across], pair_of("numbers")]
BootLength = Annotated[
    Size, AfterValidator(_sole), between(*model.BOOTS, "boot", "a boot sole length")
]
Boots = Annotated[tuple[BootLength, BootLength], pair_of("numbers"), AfterValidator(_boots)]
Plate = Annotated[Size, between(*PLATES, "screw", "a plate")]
ScrewLength = Annotated[Size, between(*SCREWS, "screw", "a screw")]
ScrewLengths = Annotated[tuple[ScrewLength, ...], BeforeValidator(_screw_lengths)]
Ends = Annotated[tuple[Length, Length], pair_of("numbers"), AfterValidator(_rear_to_front)]
HalfWidth = Annotated[Size, between(0.0, HALF_WIDTH, "area", "a half-width", above=True)]
StepStart = Annotated[Size, between(0.0, model.X_LIMIT, "boot", "a boot sole length")]
Name = Annotated[str, AfterValidator(_name)]
GroupName = Annotated[str, AfterValidator(_group_name)]
Note = Annotated[str, AfterValidator(_note)]
Places = Annotated[list[Length], at_most(MOST_PLACES, "places", "places"), AfterValidator(_places)]
Points = Annotated[dict[str, FromToe], AfterValidator(_point_names)]


class DiametersShape(Shape):
    """``diameter = { plain, metal }``."""

    plain: Diameter | None = key("a drill diameter, for plain cores", None)
    metal: Diameter | None = key("a drill diameter, under metal", None)


class DrillShape(Shape):
    """``[drill]``, or a hole's own ``drill``."""

    diameter: DiametersShape = key(
        "a table of diameters: { plain = 3.6, metal = 4.1 }", DiametersShape()
    )
    depth: Depth | None = key("a depth, without the drill's point", None)
    unusual: bool | None = key(
        f"true: drills over {model.WIDEST_DRILL:g} mm and holes less than {model.LEAST_DEPTH:g} mm "
        "deep are meant",
        None,
    )


class ScrewShape(Shape):
    """``[screw]``, or a hole's own ``screw``."""

    plate: Plate | None = key("the thickness of plate it goes through", None)
    lengths: ScrewLengths | None = key("those at hand: [12, 14, 16]", None)


class AreaShape(Shape):
    """``[area]``: where on the ski holes are allowed."""

    x: Ends = key("from and to, from the mounting mark, + to the tip: [-210, 200]")
    half_width: HalfWidth = key("the width to either side of the centre line")


class StepShape(Shape):
    """One entry of a group's ``steps``."""

    start: StepStart = key("the boot sole length from which the step holds", alias="from")
    shift: Length = key("a length from the datum, + towards the tip")


class HoleShape(Shape):
    """One ``[[group.hole]]``."""

    at: Position = key("x to the tip, y to the left, from the origin: [12.0, 21.0]")
    both_sides: bool = key("true: the hole is also at -y", False)
    drill: DrillShape = key("a table: what differs from [drill]", DrillShape())
    screw: ScrewShape = key("a table: what differs from [screw]", ScrewShape())


class GroupShape(Shape):
    """One ``[[group]]``."""

    name: GroupName = key(
        f"up to {model.LONGEST_NAME} letters, digits, hyphens, dots and underscores: "
        "hole ids are made of it"
    )
    datum: str = key('"boot-toe", "boot-heel", "boot-centre" or a name from [points]')
    shift: Length | None = key(
        "a length from the datum to the group's origin, + towards the tip", None
    )
    steps: Annotated[list[StepShape], at_most(200, "steps", "steps")] | None = key(
        "a list: [ { from = 255, shift = -14.0 }, … ]", None
    )
    places: Places | None = key(
        "the holes are drilled at each of them, from shift, + towards the tip: [-20.0, 0.0]", None
    )
    hole: list[HoleShape] = key("tables headed [[group.hole]]", [])


class FileShape(Shape):
    """The whole file."""

    format: Version = key("format = 1")
    name: Name = key(f"1 to {model.LONGEST_NAME} printable characters: it is engraved on the jig")
    note: Note = key("any printable text", "")
    units: Units = key('"mm" or "in"', "mm")
    boot: Boots | None = key("shortest and longest boot sole length served: [255, 355]", None)
    pair: Pair = key('"same" or "mirrored"', "same")
    mark: str = key("what lies on the ski's mark: a datum", "boot-centre")
    points: Points = key("points of the boot, from its toe, + to the tip", {})
    drill: DrillShape = key("a table headed [drill]", DrillShape())
    screw: ScrewShape = key("a table headed [screw]", ScrewShape())
    area: AreaShape | None = key("a table headed [area]", None)
    group: Annotated[list[GroupShape], at_most(100, "too-many-groups", "groups")] = key(
        "tables headed [[group]] (double brackets)", []
    )


def _group(group: GroupShape, file: FileShape) -> Group:
    steps = tuple(Step(step.start, step.shift) for step in group.steps or ())
    holes = []
    for place, (number, hole) in product(group.places or (0.0,), enumerate(group.hole)):
        plain, metal, depth, *screws = _values(hole, file).values()
        drill = Drill(plain, metal, depth, _unusual(hole, file))
        screw = Screw(*screws) if screws else None
        at, entry = hole.at, None
        if group.places:
            at, entry = (round(at[0] + place, 9), at[1]), number
        holes.append(Hole(at, hole.both_sides, drill, screw, entry))
    return Group(group.name, group.datum, group.shift or 0.0, steps, tuple(holes))


def _values(hole: HoleShape, file: FileShape) -> dict[tuple[str, ...], Any]:
    """What a hole needs, by its own tables or else the file's; None where neither says it."""
    screwed = "screw" in file.model_fields_set | hole.model_fields_set
    needed = [keys for keys in _NEEDED if screwed or keys[0] != "screw"]
    own = {keys: reduce(getattr, keys, hole) for keys in needed}
    return {
        keys: reduce(getattr, keys, file) if value is None else value for keys, value in own.items()
    }


def _unusual(hole: HoleShape, file: FileShape) -> bool:
    own = hole.drill.unusual
    return bool(file.drill.unusual if own is None else own)


def _odd_drills(file: FileShape) -> Iterator[Fault]:
    """A fault for each drill and depth that no binding has and nobody says is meant."""
    found: dict[KeyPath, str] = {}
    for g, group in enumerate(file.group):
        for h, hole in enumerate(group.hole):
            values = _values(hole, file)
            sizes = [values[keys] for keys in _NEEDED if keys[0] == "drill"]
            if None in sizes or _unusual(hole, file):
                continue
            odd = model.oddities(Drill(*sizes))
            for keys in _NEEDED:
                if keys[0] == "drill" and keys[-1] in odd:
                    own = reduce(getattr, keys, hole) is not None
                    path: KeyPath = ("group", g, "hole", h, *keys) if own else keys
                    found.setdefault(path, odd[keys[-1]])
    hint = "Where it is meant, for threaded inserts or a thin ski, write unusual = true in drill."
    for path, message in found.items():
        yield Fault(path, "unusual", message, hint)


def _inconsistent(file: FileShape, unit: Unit) -> Iterator[Fault]:
    if not file.group:
        hint = "Write a table headed [[group]] for each set of holes that moves together."
        yield Fault(("group",), "no-group", "there is no group of holes", hint)
    names: dict[str, int] = {}
    for g, group in enumerate(file.group):
        path = ("group", g)
        first = names.setdefault(group.name, g)
        if first != g:
            message = f"group[{first + 1}] is called {quoted(group.name)} too"
            hint = "Hole ids are made of the name: each group needs its own."
            yield Fault((*path, "name"), "same-name", message, hint)
        yield from _misplaced(group, path, unit)
        if not group.hole:
            hint = "Write a table headed [[group.hole]] under the group for each of its holes."
            yield Fault((*path, "hole"), "empty-group", "the group has no hole", hint)
        for h, hole in enumerate(group.hole):
            if hole.both_sides and hole.at[1] == 0:
                message = "the hole is on the centre line (y = 0) and has no other side"
                hint = "Remove both_sides, or give y."
                yield Fault((*path, "hole", h, "both_sides"), "both-sides", message, hint)
    yield from _lacking(file)
    yield from _odd_drills(file)


def _misplaced(group: GroupShape, path: KeyPath, unit: Unit) -> Iterator[Fault]:
    """A group is placed by a shift or by steps in order: one of them, not both."""
    hint = "Write shift for a group with one place, steps for one that moves in steps."
    if group.shift is not None and group.steps is not None:
        yield Fault((*path, "steps"), "shift", "the group has both shift and steps", hint)
    elif group.shift is None and group.steps is None:
        yield Fault((*path, "shift"), "shift", "the group has no shift and no steps", hint)
    elif group.steps == []:
        yield Fault((*path, "steps"), "steps", "the list of steps is empty", hint)
    for s, (before, step) in enumerate(pairwise(group.steps or []), start=1):
        if step.start <= before.start:
            message = f"{unit.show(step.start)} comes after {unit.show(before.start)}"
            hint = "Write steps from the shortest boot to the longest, each once."
            yield Fault((*path, "steps", s, "from"), "steps", message, hint)


def _lacking(file: FileShape) -> Iterator[Fault]:
    """What holes lack: one fault per key, not per hole, since one default would do for all."""
    lacking: dict[tuple[str, ...], list[KeyPath]] = {keys: [] for keys in _NEEDED}
    for g, group in enumerate(file.group):
        for h, hole in enumerate(group.hole):
            for keys, value in _values(hole, file).items():
                if value is None:
                    lacking[keys].append(("group", g, "hole", h))
    for keys, paths in lacking.items():
        if paths:
            table = keys[0]
            # Without a [screw] table in the file, the hole is the place to look.
            in_hole = table == "screw" and table not in file.model_fields_set
            count = "1 hole" if len(paths) == 1 else f"{len(paths)} holes, the first"
            message = f"no {_NEEDED[keys]} is given for {count} {key_text(paths[0])}"
            hint = f"Give it in [{table}] for every hole, or in the hole's own {table}."
            yield Fault((*paths[0], *keys) if in_hole else keys, f"no-{table}", message, hint)

"""The shape of a pattern file, as pydantic models that read lengths into mm."""

from __future__ import annotations

from typing import Annotated

from pydantic import AfterValidator, BeforeValidator, Field, ValidationInfo

from jiggen.inputs.faults import hidden, quoted, shown
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
    unit_in,
)
from jiggen.pattern.model import (
    BOOTS,
    DEEPEST,
    DIAMETERS,
    HALF_WIDTH,
    LONGEST,
    LONGEST_NAME,
    MAX_GROUPS,
    MAX_STEPS,
    MOST_SCREWS,
    PLATES,
    SCREWS,
    X_LIMIT,
    Y_LIMIT,
    Datum,
    Pair,
)


def on_a_ski(limit: float, name: str = "") -> AfterValidator:
    """Accepts lengths of at most `limit` mm either way; `name` begins the message."""

    def check(value: float, info: ValidationInfo) -> float:
        if abs(value) <= limit:
            return value
        unit = unit_in(info)
        outside = f"outside the range of real skis (± {unit.show(limit)})"
        message = f"{name}{unit.show(value)}{',' if name else ' is'} {outside}"
        hint = f"Allowed: up to {unit.show(limit)} either way."
        raise fault("length", message, hint if name else "")

    return AfterValidator(check)


def _some(value: object) -> object:
    if not isinstance(value, list):
        raise fault("type", f"is {shown(value)}, but must be a list of numbers")
    if 1 <= len(value) <= MOST_SCREWS:
        return tuple(value)
    message = f"{len(value)} screw lengths" if value else "no screw length"
    raise fault("screw", message, f"Allowed: 1 to {MOST_SCREWS} lengths.")


def _each_once(lengths: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
    twice = next((n for at, n in enumerate(lengths) if n in lengths[:at]), None)
    if twice is None:
        return lengths
    raise fault("screw", f"{unit_in(info).show(twice)} is given twice", "Write each length once.")


def _rear_to_front(ends: tuple[float, float], info: ValidationInfo) -> tuple[float, float]:
    if ends[0] < ends[1]:
        return ends
    rear, front = map(unit_in(info).show, ends)
    hint = "Write the end towards the tail first."
    raise fault("area", f"ends at {front}, but begins at {rear}", hint)


def _boots(boots: tuple[float, float]) -> tuple[float, float]:
    if boots[0] > boots[1]:
        raise fault("boot", "the longest boot is written before the shortest")
    return boots


def _name(name: str) -> str:
    if not name.strip():
        raise fault("name", "the name is empty")
    if len(name) > LONGEST_NAME:
        raise fault("name", f"the name has {len(name)} characters")
    if message := hidden(name):
        raise fault("name", message)
    return name


def _group_name(name: str) -> str:
    odd = next((c for c in _name(name) if not (c.isalnum() or c in "-_.")), None)
    if odd:
        raise fault("name", f"{quoted(odd)} is not allowed in a hole's id")
    return name


def _note(note: str) -> str:
    if message := hidden(note, apart_from="\n\t"):
        raise fault("note", message)
    return note


Length = Annotated[Size, on_a_ski(LONGEST)]
Diameter = Annotated[Size, between(*DIAMETERS, "diameter", "a drill")]
Depth = Annotated[Size, positive(DEEPEST, "depth", "a depth")]
Position = Annotated[tuple[Length, Annotated[Size, on_a_ski(Y_LIMIT, "y is ")]], pair_of("numbers")]
BootLength = Annotated[Size, between(*BOOTS, "boot", "a boot sole length")]
Boots = Annotated[tuple[BootLength, BootLength], pair_of("numbers"), AfterValidator(_boots)]
ScrewLengths = Annotated[
    tuple[Annotated[Size, between(*SCREWS, "screw", "a screw")], ...],
    BeforeValidator(_some),
    AfterValidator(_each_once),
]
Name = Annotated[str, AfterValidator(_name)]
GroupName = Annotated[str, AfterValidator(_group_name)]
Note = Annotated[str, AfterValidator(_note)]


class DiametersShape(Shape):
    """``diameter = { plain, metal }``."""

    plain: Diameter | None = Field(default=None, description="a drill diameter, for a plain core")
    metal: Diameter | None = Field(
        default=None, description="a drill diameter, under a metal sheet"
    )


class DrillShape(Shape):
    """``[drill]``, or a hole's own ``drill``.

    ``depth`` is where the hole's full diameter ends; the drill's point goes deeper by its own
    length (a point of 118 degrees by 0.3 of the diameter).
    """

    diameter: DiametersShape = Field(
        default=DiametersShape(), description="a table of diameters: { plain = 3.6, metal = 4.1 }"
    )
    depth: Depth | None = Field(
        default=None, description="a depth below the top sheet, without the drill's point"
    )


class ScrewShape(Shape):
    """``[screw]``, or a hole's own ``screw``."""

    plate: Annotated[Size, between(*PLATES, "screw", "a plate")] | None = Field(
        default=None, description="the thickness of plate that the screw goes through"
    )
    lengths: ScrewLengths | None = Field(
        default=None, description="a list of the available screws: [12, 14, 16]"
    )


class AreaShape(Shape):
    """``[area]``: where on the ski holes are allowed."""

    x: Annotated[tuple[Length, Length], pair_of("numbers"), AfterValidator(_rear_to_front)] = Field(
        description="from and to, from the mounting mark, + to the tip: [-210, 200]"
    )
    half_width: Annotated[Size, positive(HALF_WIDTH, "area", "a half-width")] = Field(
        description="the area's width to either side of the centre line"
    )


class StepShape(Shape):
    """One entry of a group's ``steps``."""

    start: Annotated[Size, between(0.0, X_LIMIT, "boot", "a boot sole length")] = Field(
        alias="from", description="the boot sole length from which the step holds"
    )
    shift: Length = Field(description="a length from the datum, + towards the tip")


class HoleShape(Shape):
    """One ``[[group.hole]]``."""

    at: Position = Field(
        description="x towards the tip and y to the left, from the group's origin: [12.0, 21.0]"
    )
    both_sides: bool = Field(default=False, description="true: the hole is also at -y")
    drill: DrillShape = Field(
        default=DrillShape(), description="a table of what differs from [drill]: { depth = 7.0 }"
    )
    screw: ScrewShape = Field(
        default=ScrewShape(), description="a table of what differs from [screw]: { plate = 4.0 }"
    )


class GroupShape(Shape):
    """One ``[[group]]``."""

    name: GroupName = Field(
        description=f"up to {LONGEST_NAME} letters, digits, hyphens, dots and underscores: "
        "hole ids are made of it"
    )
    datum: Datum = Field(description='"boot-toe", "boot-heel" or "boot-centre"')
    shift: Length | None = Field(
        default=None, description="a length from the datum to the group's origin, + towards the tip"
    )
    steps: Annotated[list[StepShape], at_most(MAX_STEPS, "steps", "steps")] | None = Field(
        default=None, description="a list: [ { from = 255, shift = -14.0 }, … ]"
    )
    hole: list[HoleShape] = Field(
        default=[], description="tables headed [[group.hole]] (double brackets)"
    )


class FileShape(Shape):
    """The whole file."""

    format: Version = Field(description="format = 1")
    name: Name = Field(
        description=f"1 to {LONGEST_NAME} printable characters: it is engraved on the jig"
    )
    note: Note = Field(default="", description="any printable text")
    units: Units = Field(default="mm", description='"mm" or "in"')
    boot: Boots | None = Field(
        default=None, description="shortest and longest boot sole length served: [255, 355]"
    )
    pair: Pair = Field(default="same", description='"same" or "mirrored"')
    drill: DrillShape = Field(default=DrillShape(), description="a table headed [drill]")
    screw: ScrewShape = Field(default=ScrewShape(), description="a table headed [screw]")
    area: AreaShape | None = Field(default=None, description="a table headed [area]")
    group: Annotated[list[GroupShape], at_most(MAX_GROUPS, "too-many-groups", "groups")] = Field(
        default=[], description="tables headed [[group]] (double brackets)"
    )

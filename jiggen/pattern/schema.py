"""The shape of a pattern file, as pydantic models that read lengths into mm.

Each model checks one table of the file by itself, so that a fault in one hole hides none in
the next.  The validation context is the file's `Unit`.  A field's description says what is
allowed there; it is the hint of every fault in it.  `STAND_IN` holds harmless values for the
keys a table must have: they take the place of faulty ones while the rest is checked, and never
reach a pattern.
"""

from __future__ import annotations

from typing import Annotated, Any, ClassVar, Literal, LiteralString, cast

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field, ValidationInfo
from pydantic_core import PydanticCustomError

from jiggen.pattern.faults import Unit, quoted, shown
from jiggen.pattern.limits import (
    BOOTS,
    DEEPEST,
    DIAMETERS,
    HALF_WIDTHS,
    LONGEST,
    MOST_SCREWS,
    PLATES,
    SCREWS,
    X_LIMIT,
    Y_LIMIT,
)
from jiggen.pattern.model import Datum, Pair

LONGEST_NAME = 40


def _fault(code: LiteralString, message: str, hint: str = "") -> PydanticCustomError:
    """A fault of our own; without a `hint` the field's description says what is allowed."""
    return PydanticCustomError(code, "{message}", {"message": message, "hint": hint})


def _unit(info: ValidationInfo) -> Unit:
    return cast(Unit, info.context)


def _to_mm(value: float, info: ValidationInfo) -> float:
    return round(value * _unit(info).mm, 9)  # 14.2 in is 360.68 mm, not 360.67999999999995


def _within(unit: Unit, low: float, high: float) -> str:
    return f"Allowed: {unit.show(low)} to {unit.show(high)}."


def _on_a_ski(value: float, info: ValidationInfo) -> float:
    if abs(value) <= LONGEST:
        return value
    raise _fault("length", f"{_unit(info).show(value)} is beyond any ski")


def _diameter(value: float, info: ValidationInfo) -> float:
    low, high = DIAMETERS
    if low <= value <= high:
        return value
    unit = _unit(info)
    raise _fault("diameter", f"a drill of {unit.show(value)}", _within(unit, low, high))


def _depth(value: float, info: ValidationInfo) -> float:
    if 0 < value <= DEEPEST:
        return value
    unit = _unit(info)
    allowed = f"Allowed: more than 0, up to {unit.show(DEEPEST)} below the top sheet."
    raise _fault("depth", f"a depth of {unit.show(value)}", allowed)


def _plate(value: float, info: ValidationInfo) -> float:
    low, high = PLATES
    if low <= value <= high:
        return value
    unit = _unit(info)
    raise _fault("screw", f"a plate of {unit.show(value)}", _within(unit, low, high))


def _screw(value: float, info: ValidationInfo) -> float:
    low, high = SCREWS
    if low <= value <= high:
        return value
    unit = _unit(info)
    raise _fault("screw", f"a screw of {unit.show(value)}", _within(unit, low, high))


def _some(value: object) -> object:
    if not isinstance(value, list):
        raise _fault("type", f"is {shown(value)}, but must be a list of numbers")
    if 1 <= len(value) <= MOST_SCREWS:
        return tuple(value)
    said = f"{len(value)} lengths of screw" if value else "no length of screw"
    raise _fault("screw", said, f"Allowed: 1 to {MOST_SCREWS} lengths.")


def _each_once(lengths: tuple[float, ...], info: ValidationInfo) -> tuple[float, ...]:
    twice = next((n for at, n in enumerate(lengths) if n in lengths[:at]), None)
    if twice is None:
        return lengths
    raise _fault("screw", f"{_unit(info).show(twice)} stands there twice", "Write each once.")


def _rear_to_front(ends: tuple[float, float], info: ValidationInfo) -> tuple[float, float]:
    if ends[0] < ends[1]:
        return ends
    rear, front = map(_unit(info).show, ends)
    hint = "Write the end towards the tail first."
    raise _fault("area", f"ends at {front}, but begins at {rear}", hint)


def _half_width(value: float, info: ValidationInfo) -> float:
    low, high = HALF_WIDTHS
    if low < value <= high:
        return value
    unit = _unit(info)
    allowed = f"Allowed: more than 0, up to {unit.show(high)} to either side of the centre line."
    raise _fault("area", f"an area {unit.show(value)} wide to either side", allowed)


def _two(value: object) -> object:
    if isinstance(value, list) and len(value) == 2:
        return tuple(value)
    raise _fault("type", f"is {shown(value)}, but must be a list of two numbers")


def _beside_the_ski(at: tuple[float, float], info: ValidationInfo) -> tuple[float, float]:
    if abs(at[1]) <= Y_LIMIT:
        return at
    unit = _unit(info)
    allowed = f"Allowed: up to {unit.show(Y_LIMIT)} to either side of the centre line."
    raise _fault("length", f"y is {unit.show(at[1])}, beyond any ski", allowed)


def _boots(boots: tuple[float, float], info: ValidationInfo) -> tuple[float, float]:
    unit = _unit(info)
    low, high = BOOTS
    if not all(low <= boot <= high for boot in boots):
        said = f"boot sole lengths of {unit.show(boots[0])} to {unit.show(boots[1])}"
        raise _fault("boot", said, _within(unit, low, high))
    if boots[0] > boots[1]:
        raise _fault("boot", "the longest boot stands before the shortest")
    return boots


def _step_start(start: float, info: ValidationInfo) -> float:
    if 0 <= start <= X_LIMIT:
        return start
    unit = _unit(info)
    raise _fault("boot", f"no boot sole is {unit.show(start)} long", _within(unit, 0, X_LIMIT))


def _format(version: int) -> int:
    if version == 1:
        return version
    raise _fault("format", f"format {shown(version)}, which this program does not read")


def _name(name: str) -> str:
    if not name.strip():
        raise _fault("name", "the name is empty")
    if len(name) > LONGEST_NAME:
        raise _fault("name", f"the name has {len(name)} characters")
    if hidden := _hidden(name):
        raise _fault("name", hidden)
    return name


def _group_name(name: str) -> str:
    odd = next((c for c in _name(name) if not (c.isalnum() or c in "-_.")), None)
    if odd:
        raise _fault("name", f"{quoted(odd)} cannot stand in a hole's id")
    return name


def _note(note: str) -> str:
    if hidden := _hidden(note, apart_from="\n\t"):
        raise _fault("note", hidden)
    return note


def _hidden(text: str, apart_from: str = "") -> str:
    """Names the first character that shows nothing, or turns the text about, if any.

    `str.isprintable` is False for control and format characters, bidi controls among them.
    """
    hidden = (c for c in text if not c.isprintable() and c not in apart_from)
    return next((f"character U+{ord(c):04X} cannot be printed" for c in hidden), "")


Number = Annotated[float, Field(allow_inf_nan=False)]
Size = Annotated[Number, AfterValidator(_to_mm)]
Length = Annotated[Size, AfterValidator(_on_a_ski)]
Diameter = Annotated[Size, AfterValidator(_diameter)]
Position = Annotated[tuple[Length, Length], BeforeValidator(_two), AfterValidator(_beside_the_ski)]
Boots = Annotated[tuple[Size, Size], BeforeValidator(_two), AfterValidator(_boots)]
ScrewLength = Annotated[Size, AfterValidator(_screw)]
ScrewLengths = Annotated[
    tuple[ScrewLength, ...], BeforeValidator(_some), AfterValidator(_each_once)
]
Ends = Annotated[tuple[Length, Length], BeforeValidator(_two), AfterValidator(_rear_to_front)]


class Shape(BaseModel):
    """Base of every table: no unknown keys, no silent conversion."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)
    STAND_IN: ClassVar[dict[str, object]] = {}

    @classmethod
    def keys(cls) -> dict[str, str]:
        """Every key the table may have, with what is allowed in it."""
        return {
            field.alias or name: field.description or "" for name, field in cls.model_fields.items()
        }


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
    depth: Annotated[Size, AfterValidator(_depth)] | None = Field(
        default=None, description="a depth below the top sheet, without the drill's point"
    )


class ScrewShape(Shape):
    """``[screw]``, or a hole's own ``screw``."""

    plate: Annotated[Size, AfterValidator(_plate)] | None = Field(
        default=None, description="the thickness of plate that the screw goes through"
    )
    lengths: ScrewLengths | None = Field(
        default=None, description="a list of the screws at hand: [12, 14, 16]"
    )


class AreaShape(Shape):
    """``[area]``: where on the ski holes are allowed."""

    STAND_IN: ClassVar[dict[str, object]] = {"x": [-1.0, 1.0], "half_width": 1.0}

    x: Ends = Field(description="from and to, from the mounting mark, + to the tip: [-210, 200]")
    half_width: Annotated[Size, AfterValidator(_half_width)] = Field(
        description="the area's width to either side of the centre line"
    )


class StepShape(Shape):
    """One entry of a group's ``steps``."""

    STAND_IN: ClassVar[dict[str, object]] = {"from": 0.0, "shift": 0.0}

    start: Annotated[Size, AfterValidator(_step_start)] = Field(
        alias="from", description="the boot sole length from which the step holds"
    )
    shift: Length = Field(description="a length from the datum, + towards the tip")


class HoleShape(Shape):
    """One ``[[group.hole]]``."""

    STAND_IN: ClassVar[dict[str, object]] = {"at": [0.0, 0.0]}

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
    """One ``[[group]]``; its steps and holes are checked one by one."""

    STAND_IN: ClassVar[dict[str, object]] = {"name": "group", "datum": "boot-centre"}

    name: Annotated[str, AfterValidator(_group_name)] = Field(
        description=f"up to {LONGEST_NAME} letters, digits, hyphens, dots and underscores: "
        "hole ids are made of it"
    )
    datum: Datum = Field(description='"boot-toe", "boot-heel" or "boot-centre"')
    shift: Length | None = Field(
        default=None, description="a length from the datum to the group's origin, + towards the tip"
    )
    steps: list[Any] = Field(default=[], description="a list: [ { from = 255, shift = -14.0 }, … ]")
    hole: list[Any] = Field(
        default=[], description="tables headed [[group.hole]] (double brackets)"
    )


class FileShape(Shape):
    """The whole file; its groups and its area are checked one by one."""

    STAND_IN: ClassVar[dict[str, object]] = {"format": 1, "name": "pattern"}

    format: Annotated[int, AfterValidator(_format)] = Field(description="format = 1")
    name: Annotated[str, AfterValidator(_name)] = Field(
        description=f"1 to {LONGEST_NAME} printable characters: it is engraved on the jig"
    )
    note: Annotated[str, AfterValidator(_note)] = Field(
        default="", description="any printable text"
    )
    units: Literal["mm", "in"] = Field(default="mm", description='"mm" or "in"')
    boot: Boots | None = Field(
        default=None, description="shortest and longest boot sole length served: [255, 355]"
    )
    pair: Pair = Field(default="same", description='"same" or "mirrored"')
    drill: DrillShape = Field(default=DrillShape(), description="a table headed [drill]")
    screw: ScrewShape = Field(default=ScrewShape(), description="a table headed [screw]")
    area: Any = Field(default=None, description="a table headed [area]")
    group: list[Any] = Field(default=[], description="tables headed [[group]] (double brackets)")

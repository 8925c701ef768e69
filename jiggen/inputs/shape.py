"""Checks values against pydantic models, and reports all that is wrong in plain words.

A model's field has a description, which says what is allowed there; it is the hint of every
fault in it.  The validation context is the file's `Unit`; lengths are read into mm.
"""

import re
from collections.abc import Iterable
from types import NoneType, UnionType
from typing import Annotated, Any, Literal, LiteralString, TypeVar, Union, get_args, get_origin

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    ValidationError,
    ValidationInfo,
)
from pydantic_core import ErrorDetails, PydanticCustomError

from jiggen.inputs.document import Source
from jiggen.inputs.faults import MM, Fault, KeyPath, Unit, did_you_mean, part_name, quoted, shown

_WANTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
}


class Shape(BaseModel):
    """Base of every table: no unknown keys, no silent conversion."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)

    @classmethod
    def keys(cls) -> dict[str, str]:
        """Every key that the table may have, with what is allowed in it."""
        fields = cls.model_fields.items()
        return {field.alias or name: field.description or "" for name, field in fields}


S = TypeVar("S", bound=Shape)


def key(allowed: str, default: Any = ..., alias: str | None = None) -> Any:
    """A key of a table, with what is allowed in it; without a `default` it must be given."""
    return Field(default, description=allowed, alias=alias)


def validate(shape: type[S], source: Source, data: object, unit: Unit = MM) -> S:
    """`data` as a `shape`, with lengths in mm.  Raises InputError with every fault at once."""
    read, faults = check(shape, data, unit)
    source.refuse(faults)
    assert read is not None
    return read


def check(shape: type[S], data: object, unit: Unit = MM) -> tuple[S | None, list[Fault]]:
    """`data` as a `shape`, with lengths in mm; or None and all that is wrong with it."""
    try:
        return shape.model_validate(data, context=unit), []
    except ValidationError as error:
        errors = error.errors(include_url=False)
    # One value that stands for a list of it has each fault once.
    return None, list(dict.fromkeys(_fault(shape, one, data) for one in errors))


def _fault(shape: type[Shape], error: ErrorDetails, data: object) -> Fault:
    """One of pydantic's errors in plain words."""
    kind, path = error["type"], _as_written(data, error["loc"])
    table, key = _table(shape, error["loc"])
    keys = table.keys()
    allowed = f"Allowed here: {', '.join(keys)}."
    if key in keys:
        allowed = f"Allowed: {keys[key]}." if keys[key] else ""
    if kind == "extra_forbidden":
        return Fault(path, "unknown-key", f"unknown key {quoted(key)}", _meant(key, keys))
    if kind == "missing":
        return Fault(path, "missing-key", f"the key {quoted(key)} is missing", allowed)
    if kind == "literal_error":
        given = error["input"] if isinstance(error["input"], str) else shown(error["input"])
        choices = [str(choice) for choice in get_args(table.model_fields[key].annotation)]
        return Fault(path, "value", f"{quoted(given)} is not allowed", _meant(given, choices))
    own = error.get("ctx", {})
    if "hint" in own:  # from `fault`
        return Fault(path, kind, own["message"], own["hint"] or allowed)
    subject = f"{part_name(path)} is ".lstrip()
    if kind == "finite_number":
        return Fault(path, "not-finite", f"{subject}not a finite number", allowed)
    given = f"{subject}{shown(error['input'])}"
    if kind in _WANTED:
        return Fault(path, "type", f"{given}, but must be {_WANTED[kind]}", allowed)
    _, limits, limit = error["msg"].partition("Input should be ")  # of a number
    reason = f"but must be {limit}" if limits else "which is not valid here"
    return Fault(path, "value", f"{given}, {reason}", allowed)


def _as_written(data: Any, path: KeyPath) -> KeyPath:
    """`path` without indexes into what the file does not write as a list."""
    for depth, part in enumerate(path):
        if isinstance(part, int) and not isinstance(data, list):
            return path[:depth]
        try:
            data = data[part]
        except (LookupError, TypeError):
            return path[: depth + 1]
    return path


def _table(shape: type[Shape], path: KeyPath) -> tuple[type[Shape], str]:
    """The innermost table on the way along `path`, and the key of it that `path` goes through."""
    table, key = shape, ""
    inside: Any = shape
    for part in path:
        if isinstance(inside, type) and issubclass(inside, Shape):
            table, key = inside, str(part)
            fields = {field.alias or name: field for name, field in table.model_fields.items()}
            inside = fields[key].annotation if key in fields else None
        else:  # an entry of a list, or of a table of any names
            inside = (get_args(inside) or (None,))[-1 if isinstance(part, str) else 0]
        while get_origin(inside) in (Annotated, Union, UnionType):  # without metadata and None
            inside = next(one for one in get_args(inside) if one is not NoneType)
    return table, key


def _meant(given: str, known: Iterable[str]) -> str:
    return f"{did_you_mean(given, known)}Allowed here: {', '.join(known)}."


def fault(code: LiteralString, message: str, hint: str = "") -> PydanticCustomError:
    """A fault to raise in a validator; without a `hint`, the field's description is used."""
    return PydanticCustomError(code, "{message}", {"message": message, "hint": hint})


def unit_in(info: ValidationInfo) -> Unit:
    """The unit of the file that is being read."""
    assert isinstance(info.context, Unit)
    return info.context


def between(
    low: float,
    high: float,
    code: LiteralString,
    what: str,
    *,
    in_mm: bool = False,
    above: bool = False,
) -> AfterValidator:
    """Accepts lengths from `low`, or only above it, to `high` mm; `what` names them.

    `in_mm`: the file gives them in mm, whatever its unit is.
    """

    def check(value: float, info: ValidationInfo) -> float:
        if low <= value <= high and not (above and value == low):
            return value
        unit = MM if in_mm else unit_in(info)
        least = f"more than {low:g}, up" if above else unit.show(low)
        raise fault(
            code, f"{what} of {unit.show(value)}", f"Allowed: {least} to {unit.show(high)}."
        )

    return AfterValidator(check)


def pair_of(what: str) -> BeforeValidator:
    """Takes a list of two `what` as a tuple."""

    def check(value: object) -> object:
        if isinstance(value, list) and len(value) == 2:
            return tuple(value)
        raise fault("type", f"is {shown(value)}, but must be a list of two {what}")

    return BeforeValidator(check)


def at_most(most: int, code: LiteralString, what: str) -> BeforeValidator:
    """Refuses a list or table of more than `most` entries before looking at any of them."""

    def check(value: object) -> object:
        if isinstance(value, list | dict) and len(value) > most:
            raise fault(code, f"{len(value)} {what}", f"At most {most} are allowed.")
        return value

    return BeforeValidator(check)


def _version(version: int) -> int:
    if version == 1:
        return version
    raise fault("format", f"format {shown(version)}, which this program does not read")


_TYPED = re.compile(r"\s*+[+-]?[0-9]++(?:[.,][0-9]++)?\s*+")


def number_in(text: str) -> float | None:
    """The number that `text` is, with a decimal point or comma; None where it is none."""
    return float(text.replace(",", ".")) if _TYPED.fullmatch(text) else None


def _unquoted(value: object) -> object:
    found = number_in(value) if isinstance(value, str) else None
    return value if found is None else found


typed = BeforeValidator(_unquoted)
"""Takes a number in quotes as a number: forms leave quotes for a reading to be typed between."""

Number = Annotated[float, Field(allow_inf_nan=False)]
# Rounded: 14.2 in is 360.68 mm, not 360.67999999999995.
Size = Annotated[Number, AfterValidator(lambda value, info: round(value * unit_in(info).mm, 9))]
Version = Annotated[int, AfterValidator(_version)]
Units = Literal["mm", "in"]

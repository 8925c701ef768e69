"""Checks one table of a pattern file against its shape and keeps what of it is sound."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any, TypeVar, get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from jiggen.pattern.faults import Fault, Faults, Unit, nearest, part_name, quoted, shown, word
from jiggen.pattern.positions import KeyPath
from jiggen.pattern.schema import Shape

S = TypeVar("S", bound=Shape)


def read_part(shape: type[S], raw: object, path: KeyPath, unit: Unit, faults: Faults) -> S:
    """`raw`, the table at `path`, as a `shape` in mm; what is wrong with it goes to `faults`.

    Faulty keys are left out of the result, or stood in for where the table must have them.
    """
    try:
        return shape.model_validate(raw, context=unit)
    except ValidationError as error:
        details = error.errors(include_url=False)
    faults += (_fault(shape, detail, path) for detail in details)
    sound = _without(raw, (detail["loc"] for detail in details)) if isinstance(raw, dict) else {}
    return shape.model_validate({**shape.STAND_IN, **sound}, context=unit)


def _without(table: dict[str, Any], faulty: Iterable[tuple[int | str, ...]]) -> dict[str, Any]:
    """`table` less what is faulty in it: single keys of tables in it, but lists as a whole."""
    inside: dict[int | str, list[tuple[int | str, ...]]] = {}
    for key, *rest in faulty:
        inside.setdefault(key, []).append(tuple(rest))
    sound = {}
    for key, value in table.items():
        if key not in inside:
            sound[key] = value
        elif isinstance(value, dict) and all(map(_is_in_table, inside[key])):
            sound[key] = _without(value, inside[key])
    return sound


def _is_in_table(place: tuple[int | str, ...]) -> bool:
    """Whether `place` starts with a key: an index is one of a list that a table was taken for."""
    return bool(place) and isinstance(place[0], str)


def _fault(shape: type[Shape], error: ErrorDetails, path: KeyPath) -> Fault:
    """One of pydantic's errors in a technician's words."""
    kind, inside = error["type"], error["loc"]
    path = (*path, *inside)
    table, key = _table(shape, inside)
    keys = table.keys()
    allowed = f"Allowed: {keys[key]}." if key in keys else f"Allowed here: {', '.join(keys)}."
    if kind == "extra_forbidden":
        return Fault(path, "unknown-key", f"unknown key {quoted(key)}", _meant(key, keys))
    if kind == "missing":
        return Fault(path, "missing-key", f"the key {quoted(key)} is missing", allowed)
    if kind == "literal_error":
        choices = [str(choice) for choice in get_args(table.model_fields[key].annotation)]
        said = word(error["input"])
        return Fault(path, "value", f"{quoted(said)} is not allowed", _meant(said, choices))
    name = part_name(path)
    own = error.get("ctx", {})
    if "hint" in own:  # a fault of the schema's own
        return Fault(path, kind, own["message"], own["hint"] or allowed)
    subject = f"{name} is " if name else "is "
    if kind == "finite_number":
        return Fault(path, "not-finite", f"{subject}not a finite number", allowed)
    wanted = _WANTED.get(kind, "something else")
    return Fault(path, "type", f"{subject}{shown(error['input'])}, but must be {wanted}", allowed)


_WANTED = {
    "float_type": "a number",
    "int_type": "a whole number",
    "string_type": "text in quotes",
    "bool_type": "true or false",
    "list_type": "a list",
    "model_type": "a table",
}


def _table(shape: type[Shape], inside: tuple[int | str, ...]) -> tuple[type[Shape], str]:
    """The table within `shape` that the last key of `inside` stands in, and that key."""
    keys = [key for key in inside if isinstance(key, str)]
    for key in keys[:-1]:
        field: Any = shape.model_fields[key].annotation
        shape = field
    return shape, keys[-1] if keys else ""


def _meant(word: str, known: Collection[str]) -> str:
    guess = nearest(word, known)
    allowed = f"Allowed here: {', '.join(known)}."
    return f"Did you mean {quoted(guess)}? {allowed}" if guess else allowed

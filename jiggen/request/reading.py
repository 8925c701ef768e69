"""Words of options read into values, with everything that is wrong with them at once."""

import shlex
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, is_dataclass, replace
from functools import cache
from typing import Any, Generic, TypeVar, get_args, get_type_hints

from jiggen.errors import Finding, InputError
from jiggen.options import Option

T = TypeVar("T")


class Reading:
    """Reads words and collects what is wrong with them, until `end` raises it all."""

    def __init__(self) -> None:
        self.faults: list[Finding] = []

    def read(self, read: Callable[[], T], otherwise: T, key: str = "") -> T:
        """What `read` returns; `otherwise`, its findings collected (of `key`), on InputError."""
        try:
            return read()
        except InputError as error:
            self.faults += (replace(fault, key=key or fault.key) for fault in error.findings)
            return otherwise

    def end(self) -> None:
        """Raise InputError with every fault collected, if there are any."""
        if self.faults:
            raise InputError(self.faults)


@cache
def _hints(block: type) -> dict[str, Any]:
    return get_type_hints(block, include_extras=True)


def rows_of(annotation: Any) -> list[Option]:
    """The row that an annotation names, or those of all fields of a block of options."""
    if is_dataclass(annotation) and isinstance(annotation, type):
        return [row for hint in _hints(annotation).values() for row in rows_of(hint)]
    return [item for item in get_args(annotation)[1:] if isinstance(item, Option)]


def field_of(row: Option) -> str:
    """The name of a row as a parameter's."""
    return row.name.replace("-", "_")


def value_of(annotation: Any, values: Mapping[str, Any]) -> Any:
    """The value of an annotation, or the block of options, by the values of all its fields."""
    if is_dataclass(annotation) and isinstance(annotation, type):
        hints = _hints(annotation)
        return annotation(**{name: value_of(hint, values) for name, hint in hints.items()})
    (row,) = rows_of(annotation)
    return values[field_of(row)]


def read_words(row: Option, words: Any, reading: Reading) -> Any:
    """The value of `row`; what is wrong with its words, or each of several, goes to `reading`."""
    if isinstance(words, list):
        return [read_words(row, one, reading) for one in words]
    if not isinstance(words, str):  # it was read already, or it was not given
        return words
    return reading.read(lambda: row.read(words), None, row.flag)


@dataclass(frozen=True)
class Form(Generic[T]):
    """A block of options to be filled in; `command` are the words that call it, ``build``."""

    command: str
    block: type[T]

    @property
    def rows(self) -> tuple[Option, ...]:
        """Its options, in the order in which they are asked for."""
        return tuple(rows_of(self.block))

    def given(
        self, words: Mapping[str, Sequence[str]], defaults: Mapping[str, str] = {}
    ) -> dict[str, list[str]]:
        """The words of each option by its name; of what was not given or is empty, its default.

        `defaults` are a shop's, for its habits; a list is empty where nothing stands for an option.
        """
        found: dict[str, list[str]] = {}
        for row in self.rows:
            stated = [one.strip() for one in words.get(row.name, ()) if one.strip()]
            usual = defaults.get(row.name, row.default) if row.habit else row.default
            found[row.name] = (stated if row.repeated or not stated else stated[-1:]) or (
                [usual] if usual and row.kind != "flag" else []
            )
        return found

    def read(self, words: Mapping[str, Sequence[str]], defaults: Mapping[str, str] = {}) -> T:
        """The block of `words` by options' names.  Raises InputError with every fault at once."""
        reading, values = Reading(), {}
        for row in self.rows:
            stated = self.given(words, defaults)[row.name]
            values[field_of(row)] = _value(row, stated, reading)
            if row.required and not stated:
                message, hint = "is not given", row.help
                reading.faults.append(Finding("request.missing", message, key=row.name, hint=hint))
        reading.end()
        made: T = value_of(self.block, values)
        return made

    def command_line(self, words: Mapping[str, Sequence[str]], more: Iterable[str] = ()) -> str:
        """The command that does the same, ready to be pasted; what is usual is not in it."""
        found = ["jiggen", *self.command.split()]
        for row in self.rows:
            stated = self.given(words)[row.name]
            if row.argument:
                found += stated or [row.metavar or row.name.upper()]
            elif row.kind == "flag":
                found += [row.flag] if stated else []
            elif stated and stated != [row.default]:
                found += [part for one in stated for part in _as_given(row, one)]
            elif row.required and not stated:
                found += [row.flag, row.shown_form]
        return shlex.join([*found, *more])


def _as_given(row: Option, words: str) -> tuple[str, ...]:
    """An option and its words; in one where they would be taken for an option."""
    return (f"{row.flag}={words}",) if words.startswith("-") else (row.flag, words)


def _value(row: Option, stated: list[str], reading: Reading) -> Any:
    if row.kind == "flag":
        return bool(stated)
    if not stated:
        return [] if row.repeated else row.default
    if row.repeated:
        return [read_words(row, one, reading) for one in stated]
    return read_words(row, stated[0], reading)

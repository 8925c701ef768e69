"""Options as the fields of a form, with what was entered and what is wrong with it."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any, Generic, TypeVar

from starlette.datastructures import QueryParams

from jiggen.errors import Finding, InputError, JiggenError
from jiggen.options import Option
from jiggen.request.defaults import read_defaults
from jiggen.request.reading import Form

T = TypeVar("T")
Words = Mapping[str, Sequence[str]]


@dataclass(frozen=True)
class Field:
    """An option as a field: the words entered, what is taken where there are none, its faults."""

    row: Option
    words: tuple[str, ...]
    usual: str
    faults: tuple[Finding, ...] = ()

    @property
    def name(self) -> str:
        """Its name in the address."""
        return self.row.name

    @property
    def label(self) -> str:
        """What stands before it."""
        return self.row.name.replace("-", " ").capitalize()

    @property
    def entered(self) -> str:
        """What was entered, one line for each of several."""
        return "\n".join(self.words)

    @property
    def known(self) -> tuple[str, ...]:
        """The names that there are, where it takes one of them and others too."""
        names = _KNOWN.get(self.row.name)
        return names() if names else ()


@dataclass(frozen=True)
class Fields:
    """A group of fields under a heading; `open` where something in it was entered or is wrong."""

    title: str
    fields: tuple[Field, ...]

    @property
    def faulty(self) -> bool:
        """Whether something is wrong in it."""
        return any(field.faults for field in self.fields)

    @property
    def open(self) -> bool:
        """Whether it is unfolded."""
        return any(field.words or field.faults for field in self.fields)


@dataclass(frozen=True)
class Filled(Generic[T]):
    """A form with what was entered; `value` is its block, None where something is wrong with it.

    `faults` are those that belong to no field.
    """

    form: Form[T]
    words: Words
    usual: Mapping[str, str]
    value: T | None
    findings: tuple[Finding, ...] = ()

    @property
    def asked(self) -> bool:
        """Whether anything was entered at all."""
        return any(self.words.values())

    @property
    def fields(self) -> dict[str, Field]:
        """Every field by its name."""
        shown = self.findings if self.asked else ()
        return {
            row.name: Field(
                row,
                tuple(self.words.get(row.name, ())),
                (self.usual.get(row.name) if row.habit else None) or row.default or "",
                tuple(fault for fault in shown if row.name in _names(fault)),
            )
            for row in self.form.rows
        }

    @property
    def needed(self) -> tuple[Field, ...]:
        """The fields without which nothing can be done."""
        return tuple(field for field in self.fields.values() if field.row.required)

    @property
    def groups(self) -> tuple[Fields, ...]:
        """The other fields, by the groups in which the help shows them."""
        found: dict[str, list[Field]] = {}
        for field in self.fields.values():
            if not field.row.required:
                found.setdefault(field.row.group, []).append(field)
        return tuple(Fields(title, tuple(fields)) for title, fields in found.items())

    @property
    def faults(self) -> tuple[Finding, ...]:
        """What is wrong, and belongs to no field."""
        known = {row.name for row in self.form.rows}
        rest = self.findings if self.asked else ()
        return tuple(fault for fault in rest if not known & _names(fault))

    @property
    def command(self) -> str:
        """The command line that does the same."""
        return self.form.command_line(self.words)

    def refused(self, error: JiggenError) -> "Filled[T]":
        """The same with what is wrong with it as a whole; of a pattern's file, with that field.

        A boot that the pattern is not for has its place in that file, and is wrong itself.
        """
        more = (
            replace(one, key="boot" if one.code == "pattern.boot-range" else "pattern")
            if one.code.startswith("pattern.")
            else one
            for one in error.findings
        )
        return replace(self, findings=(*self.findings, *more))


def entered(query: QueryParams | Iterable[tuple[str, Any]]) -> dict[str, list[str]]:
    """What was entered, by name: of an address, or of a form that was sent; nothing that is empty.

    Several lines of one field are several words.
    """
    pairs = query.multi_items() if isinstance(query, QueryParams) else query
    found: dict[str, list[str]] = {}
    for name, words in pairs:
        lines = [line.strip() for line in words.splitlines()] if isinstance(words, str) else []
        if any(lines):
            found.setdefault(name, []).extend(line for line in lines if line)
    return found


def fill(form: Form[T], words: Words) -> Filled[T]:
    """The form with `words`, read by a shop's defaults as the command line reads them."""
    try:
        usual = {name: default.words for name, default in read_defaults().items() if default.words}
    except InputError as error:
        return Filled(form, words, {}, None, error.findings)
    try:
        return Filled(form, words, usual, form.read(words, usual))
    except InputError as error:
        return Filled(form, words, usual, None, error.findings)


def _patterns() -> tuple[str, ...]:
    from jiggen.pattern.find import known_patterns

    return tuple(known.name for known in known_patterns() if not known.hidden)


def _printers() -> tuple[str, ...]:
    from jiggen.measure.printer.profile import profile_names

    return profile_names()


def _plastics() -> tuple[str, ...]:
    from jiggen.tables import materials

    return tuple(one.name for one in materials())


_KNOWN: Mapping[str, Callable[[], tuple[str, ...]]] = {
    "pattern": _patterns,
    "old": _patterns,
    "printer": _printers,
    "material": _plastics,
}


def _names(fault: Finding) -> set[str]:
    """The options that a finding is about."""
    return {name.strip().lstrip("-") for name in fault.key.split(",")}

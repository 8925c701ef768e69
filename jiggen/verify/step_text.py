"""A strict reader of STEP exchange files (ISO 10303-21, clear text): text to entities.

The file is cut into statements at once; an entity's arguments are parsed only when asked for,
since most of a solid's entities (curves on surfaces) are of no use to a proof.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import TypeAlias


class StepError(ValueError):
    """A STEP file that is cut short, not well formed, or says something not understood."""


class Ref(int):
    """A reference to an entity: ``#12``."""


class Word(str):
    """An enumeration without its dots, ``.MILLI.``, or ``*`` for a derived value."""


@dataclass(frozen=True)
class Typed:
    """A value with its type said: ``LENGTH_MEASURE(25.4)``."""

    keyword: str
    values: tuple[Value, ...]


Value: TypeAlias = "Ref | Word | Typed | str | int | float | tuple[Value, ...] | None"
Record: TypeAlias = "dict[str, tuple[Value, ...]]"

BODY = r"(?:[^';]++|'[^']*+')*+"  # up to a statement's end; no string is looked into
STATEMENT = re.compile(rf"\s*({BODY});")
INSTANCE = re.compile(rf"\s*#(\d+)\s*=\s*([A-Z][A-Z0-9_]*)?\s*(\({BODY});")
END = re.compile(r"\s*ENDSEC\s*;\s*END-ISO-10303-21\s*;\s*\Z")
COMMENT = re.compile(r"('[^']*')|/\*.*?\*/", re.DOTALL)
SPACE = re.compile(r"('[^']*')|\s+")
REFERENCE = re.compile(r"'[^']*'|#(\d+)")
TOKEN = re.compile(
    r"""\#\d+                                  # reference
    | '(?:[^']|'')*'                           # string
    | [-+]?\d+(?:\.\d*(?:E[-+]?\d+)?)?         # real, integer
    | \.[A-Z][A-Z0-9_]*\.                      # enumeration
    | [A-Z][A-Z0-9_]*                          # keyword
    | "[0-9A-F]*"                              # binary
    | [(),$*]""",
    re.VERBOSE,
)
ESCAPE = re.compile(
    r"\\\\|\\X2\\((?:[0-9A-F]{4})+)\\X0\\|\\X4\\((?:[0-9A-F]{8})+)\\X0\\"
    r"|\\X\\([0-9A-F]{2})|\\S\\(.)|\\P[A-I]\\"
)


@dataclass(frozen=True, slots=True)
class Entity:
    """One instance of the DATA section; `record` maps each of its types to the arguments.

    A plain instance has one type, a complex one, ``( A() B(1.) )``, several.
    The readers of arguments raise StepError where the file does not hold what is asked for.
    """

    id: int
    record: Record

    @property
    def keyword(self) -> str:
        """The type of a plain instance, the first of a complex one."""
        return next(iter(self.record))

    def refs(self, index: int, keyword: str | None = None) -> tuple[Ref, ...]:
        """Argument `index` as a list of references."""
        values = self._argument(index, keyword)
        if not isinstance(values, tuple):
            raise self._wrong(index, "a list of references")
        found = tuple(value for value in values if isinstance(value, Ref))
        if len(found) != len(values):
            raise self._wrong(index, "a list of references")
        return found

    def ref(self, index: int, keyword: str | None = None) -> Ref:
        """Argument `index` as a reference."""
        value = self._argument(index, keyword)
        if not isinstance(value, Ref):
            raise self._wrong(index, "a reference")
        return value

    def optional_ref(self, index: int, keyword: str | None = None) -> Ref | None:
        """Argument `index` as a reference, None where it is left out (``$``)."""
        return None if self._argument(index, keyword) is None else self.ref(index, keyword)

    def number(self, index: int, keyword: str | None = None) -> float:
        """Argument `index` as a number, with or without its type said."""
        value = self._argument(index, keyword)
        if isinstance(value, Typed) and len(value.values) == 1:
            (value,) = value.values
        return self._number(value, index)

    def numbers(self, index: int, keyword: str | None = None) -> tuple[float, ...]:
        """Argument `index` as a list of numbers."""
        values = self._argument(index, keyword)
        if not isinstance(values, tuple):
            raise self._wrong(index, "a list of numbers")
        return tuple(self._number(value, index) for value in values)

    def text(self, index: int, keyword: str | None = None) -> str:
        """Argument `index` as a decoded string."""
        value = self._argument(index, keyword)
        if not isinstance(value, str) or isinstance(value, Word):
            raise self._wrong(index, "a string")
        return value

    def word(self, index: int, keyword: str | None = None) -> str | None:
        """Argument `index` as an enumeration, None where it is left out (``$``)."""
        value = self._argument(index, keyword)
        if value is not None and not isinstance(value, Word):
            raise self._wrong(index, "an enumeration")
        return value

    def true(self, index: int, keyword: str | None = None) -> bool:
        """Argument `index` as a truth value, ``.T.`` or ``.F.``."""
        word = self.word(index, keyword)
        if word not in ("T", "F"):
            raise self._wrong(index, ".T. or .F.")
        return word == "T"

    def _argument(self, index: int, keyword: str | None) -> Value:
        arguments = self.record.get(keyword or self.keyword)
        if arguments is None or index >= len(arguments):
            raise StepError(f"#{self.id}: {keyword or self.keyword} lacks argument {index + 1}")
        return arguments[index]

    def _number(self, value: Value, index: int) -> float:
        if not isinstance(value, int | float) or isinstance(value, Ref):
            raise self._wrong(index, "a number")
        if not math.isfinite(value):
            raise self._wrong(index, "a finite number")
        return float(value)

    def _wrong(self, index: int, wanted: str) -> StepError:
        return StepError(f"#{self.id} {self.keyword}: argument {index + 1} is not {wanted}")


@dataclass(frozen=True)
class StepFile:
    """The entities of one exchange file, by number and by type."""

    _sources: dict[int, tuple[str, str]]
    _types: dict[str, list[int]]
    _parsed: dict[int, Entity] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self._sources)

    def __getitem__(self, number: int) -> Entity:
        """The entity `number`. Raises StepError when its text is not well formed."""
        entity = self._parsed.get(number)
        if entity is None:
            entity = Entity(number, _record(number, *self._sources[number]))
            self._parsed[number] = entity
        return entity

    def keyword(self, number: int) -> str:
        """The type of the entity `number`, empty for a complex one; cheaper than the entity."""
        return self._sources[number][0]

    def all_of(self, keyword: str) -> Iterator[Entity]:
        """Every plain (not complex) instance of a type, in the file's order."""
        return (self[number] for number in self._types.get(keyword, ()))


def read_step_text(data: bytes) -> StepFile:
    """Read a whole exchange file.

    Raises StepError when it is not UTF-8, is cut short, has anything between its statements,
    numbers two entities alike, or refers to one that is not there.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise StepError(f"not a text in UTF-8, at byte {error.start}") from None
    if "/*" in text:
        text = COMMENT.sub(lambda match: match[1] or " ", text)
    return _file(text, _data_start(text))


def _data_start(text: str) -> int:
    """Where the first entity starts: past ISO-10303-21, one HEADER section, and DATA."""
    statements: list[str] = []
    for match in STATEMENT.finditer(text):
        statements.append(match[1].rstrip())
        if statements[-1] == "DATA":
            head, section = statements[:2], statements[-2:]
            if head == ["ISO-10303-21", "HEADER"] and section == ["ENDSEC", "DATA"]:
                return match.end()
            break
    raise StepError("the sections are not those of ISO 10303-21: one HEADER, one DATA")


def _file(text: str, start: int) -> StepFile:
    sources: dict[int, tuple[str, str]] = {}
    types: dict[str, list[int]] = defaultdict(list)
    end = start
    for match in INSTANCE.finditer(text, start):
        if match.start() != end:
            break
        number, keyword = int(match[1]), match[2] or ""
        if number in sources:
            raise StepError(f"#{number} is there twice")
        sources[number] = (keyword, match[3])
        types[keyword].append(number)
        end = match.end()
    if not END.match(text, end):
        raise StepError(f"cut short or damaged at {text[end : end + 60].strip()!r}")
    lost = {int(ref) for ref in set(REFERENCE.findall(text, start)) if ref} - sources.keys()
    if lost:
        raise StepError(f"#{min(lost)} is referred to but not there")
    return StepFile(sources, dict(types))


def _record(number: int, keyword: str, source: str) -> Record:
    try:
        tokens = _tokens(source)
        if not keyword:
            return dict(_parts(tokens[1:-1]))
        values, end = _list(tokens, 0)
        if end != len(tokens):
            raise StepError("arguments do not close")
        return {keyword: values}
    except (StepError, IndexError, RecursionError) as error:
        raise StepError(f"#{number}: {error}") from None


def _tokens(source: str) -> list[str]:
    if not source.isprintable() or " " in source:
        source = SPACE.sub(lambda match: match[1] or "", source)
    tokens = TOKEN.findall(source)
    if "".join(tokens) != source:
        raise StepError(f"not understood: {source[:60]!r}")
    return tokens


def _parts(tokens: list[str]) -> Iterator[tuple[str, tuple[Value, ...]]]:
    at = 0
    while at < len(tokens):
        value, at = _value(tokens, at)
        if not isinstance(value, Typed):
            raise StepError("a complex entity holds something that is no type")
        yield value.keyword, value.values


def _value(tokens: list[str], at: int) -> tuple[Value, int]:
    """The value that starts at token `at`, and where the next one starts."""
    token = tokens[at]
    plain = PLAIN.get(token[0])
    if plain:
        return plain(token), at + 1
    if token == "(":
        return _list(tokens, at)
    if token in ",)":
        raise StepError(f"a value is missing before {token!r}")
    values, at = _list(tokens, at + 1)
    return Typed(token, values), at


def _list(tokens: list[str], at: int) -> tuple[tuple[Value, ...], int]:
    if tokens[at] != "(":
        raise StepError("a list was expected")
    if tokens[at + 1] == ")":
        return (), at + 2
    values: list[Value] = []
    while True:
        value, at = _value(tokens, at + 1)
        values.append(value)
        mark = tokens[at]
        if mark == ")":
            return tuple(values), at + 1
        if mark != ",":
            raise StepError("values are not separated by a comma")


def decoded(text: str) -> str:
    """A string as written between its quotes, with the escapes of ISO 10303-21 undone.

    Line breaks inside mean nothing.
    """
    if not text:
        return text
    text = text.replace("\n", "").replace("\r", "").replace("''", "'")
    return ESCAPE.sub(_character, text)


def _character(match: re.Match[str]) -> str:
    wide2, wide4, byte, shifted = match.groups()
    if wide2:
        return bytes.fromhex(wide2).decode("utf-16-be", "replace")
    if wide4:
        return bytes.fromhex(wide4).decode("utf-32-be", "replace")
    if byte:
        return chr(int(byte, 16))
    if shifted:
        return chr(ord(shifted) + 128)
    return "\\" if match[0] == "\\\\" else ""


def _number(token: str) -> Value:
    return float(token) if "." in token else int(token)


PLAIN: dict[str, Callable[[str], Value]] = {
    "#": lambda token: Ref(token[1:]),
    "'": lambda token: decoded(token[1:-1]),
    ".": lambda token: Word(token[1:-1]),
    '"': lambda token: token[1:-1],
    "$": lambda _: None,
    "*": Word,
    **dict.fromkeys("0123456789+-", _number),
}

"""A strict reader of STEP exchange files (ISO 10303-21, clear text): text to entities.

An entity's arguments are parsed only when asked for: most entities of a solid are of no use here.
What is asked of thousands (`Entity.ref`, `refs`, `numbers`) is read by one pattern where it is of
the plain form that every writer writes; all else is parsed with care.
"""

from __future__ import annotations

import math
import re
import sys
from collections import Counter, defaultdict
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import TypeAlias


class StepError(ValueError):
    """A STEP file that is cut short, not well formed, or holds something not understood."""


class Ref(int):
    """A reference to an entity: ``#12``."""

    __slots__ = ()  # a file holds a hundred thousand: without, the garbage collector walks them


class Word(str):
    """An enumeration without its dots, ``.MILLI.``, or ``*`` for a derived value."""

    __slots__ = ()


@dataclass(frozen=True)
class Typed:
    """A value with its type: ``LENGTH_MEASURE(25.4)``."""

    keyword: str
    values: tuple[Value, ...]


Value: TypeAlias = "Ref | Word | Typed | str | int | float | tuple[Value, ...] | None"
Record: TypeAlias = "dict[str, tuple[Value, ...]]"

BODY = r"(?:[^';]++|'[^']*+')*+"  # up to a statement's end; no string is looked into
START = re.compile(  # one HEADER, then DATA
    rf"\s*ISO-10303-21\s*;\s*HEADER\s*;(?:\s*+(?!DATA\s*;){BODY};)*?\s*ENDSEC\s*;\s*DATA\s*;"
)
INSTANCE = re.compile(  # or all that follows the last one
    rf"\s*+#(\d++)\s*+=\s*+((?:[A-Z][A-Z0-9_]*+)?)\s*+(\({BODY});|(.+)", re.DOTALL
)
END = re.compile(r"\s*ENDSEC\s*;\s*END-ISO-10303-21\s*;\s*")
COMMENT = re.compile(r"('[^']*')|/\*.*?(\*/|\Z)", re.DOTALL)  # one without end is the rest
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
# The plain form: nothing in it can be wrong, so nothing but what is asked for has to be looked at.
# Groups are not repeated possessively: before Python 3.11.5 a repetition that failed half-way kept
# what it had consumed (CPython issue 106052), so "A(#7,)" passed.
COMMA = r"\s*+,\s*+"
REF = r"#\d++"
REAL = r"[-+]?\d++\.\d*+(?:E[-+]?\d++)?"
ONE_REF = r"#(\d++)"
SOME_REFS = rf"\(({REF}(?:{COMMA}{REF})*)\s*+\)"
SOME_REALS = rf"\(({REAL}(?:{COMMA}{REAL})*)\s*+\)"
NO_NUMBER = rf"(?:{REF}|'[^'\\]*+'|[$*]|\.[A-Z][A-Z0-9_]*+\.|\({REF}(?:{COMMA}{REF})*\s*+\))"
ESCAPE = re.compile(
    r"\\\\|\\X2\\((?:[0-9A-F]{4})+)\\X0\\|\\X4\\((?:[0-9A-F]{8})+)\\X0\\"
    r"|\\X\\([0-9A-F]{2})|\\S\\(.)|\\P[A-I]\\"
)


@dataclass(slots=True, eq=False)
class Entity:
    """One instance of the DATA section, its arguments read when they are asked for.

    A plain instance has one type, a complex one, ``( A() B(1.) )``, several: `of` names the one
    whose arguments are meant, the first if left out.  The readers of arguments raise StepError
    where the file does not hold what is asked for, or its text is not well formed.
    """

    file: StepFile
    id: int

    @property
    def record(self) -> Record:
        """Each of its types with the values of its arguments."""
        return self.file.record(self.id)

    @property
    def keyword(self) -> str:
        """The type of a plain instance, the first of a complex one."""
        return self.file.keywords[self.id] or next(iter(self.record))

    def refs(self, index: int, of: str = "") -> Sequence[int]:
        """Argument `index` as a list of references."""
        plain = None if of else self._plain(index, SOME_REFS)
        if plain:
            return [int(word) for word in plain.replace("#", "").split(",")]
        values = self._argument(index, of)
        listed = values if isinstance(values, tuple) else (None,)
        found = tuple(value for value in listed if isinstance(value, Ref))
        if len(found) < len(listed):
            raise self._wrong(index, "a list of references")
        return found

    def ref(self, index: int, of: str = "") -> int:
        """Argument `index` as a reference."""
        plain = None if of else self._plain(index, ONE_REF)
        if plain:
            return int(plain)
        value = self._argument(index, of)
        if not isinstance(value, Ref):
            raise self._wrong(index, "a reference")
        return value

    def optional_ref(self, index: int) -> int | None:
        """Argument `index` as a reference, None where it is left out (``$``)."""
        return None if self._argument(index, "") is None else self.ref(index)

    def number(self, index: int) -> float:
        """Argument `index` as a number, with or without its type."""
        value = self._argument(index, "")
        if isinstance(value, Typed) and len(value.values) == 1:
            (value,) = value.values
        return self._number(value, index)

    def numbers(self, index: int) -> tuple[float, ...]:
        """Argument `index` as a list of numbers."""
        plain = self._plain(index, SOME_REALS)
        found = tuple([float(word) for word in plain.split(",")]) if plain else ()
        if found and all(map(math.isfinite, found)):
            return found
        values = self._argument(index, "")
        if not isinstance(values, tuple):
            raise self._wrong(index, "a list of numbers")
        return tuple(self._number(value, index) for value in values)

    def text(self, index: int) -> str:
        """Argument `index` as a decoded string."""
        value = self._argument(index, "")
        if not isinstance(value, str) or isinstance(value, Word):
            raise self._wrong(index, "a string")
        return value

    def word(self, index: int, of: str = "") -> str | None:
        """Argument `index` as an enumeration, None where it is left out (``$``)."""
        value = self._argument(index, of)
        if value is not None and not isinstance(value, Word):
            raise self._wrong(index, "an enumeration")
        return value

    def true(self, index: int) -> bool:
        """Argument `index` as a truth value, ``.T.`` or ``.F.``."""
        word = self.word(index)
        if word not in ("T", "F"):
            raise self._wrong(index, ".T. or .F.")
        return word == "T"

    def _plain(self, index: int, wanted: str) -> str | None:
        """The text of argument `index` if it is `wanted` and the entity of the plain form."""
        match = _form(index, wanted).fullmatch(self.file.sources[self.id])
        return match[1] if match and self.file.keywords[self.id] else None

    def _argument(self, index: int, of: str) -> Value:
        arguments = self.record.get(of or self.keyword)
        if arguments is None or index >= len(arguments):
            raise StepError(f"#{self.id}: {of or self.keyword} lacks argument {index + 1}")
        return arguments[index]

    def _number(self, value: Value, index: int) -> float:
        if not isinstance(value, int | float) or isinstance(value, Ref):
            raise self._wrong(index, "a number")
        if not abs(value) <= sys.float_info.max:  # an integer may be larger, too
            raise self._wrong(index, "a finite number")
        return float(value)

    def _wrong(self, index: int, wanted: str) -> StepError:
        return StepError(f"#{self.id} {self.keyword}: argument {index + 1} is not {wanted}")


@dataclass(frozen=True)
class StepFile:
    """The entities of one exchange file: by number the type (empty of complex ones) and the text
    of the arguments.
    """

    keywords: dict[int, str]
    sources: dict[int, str]
    _parsed: dict[int, Record] = field(default_factory=dict)

    def __len__(self) -> int:
        return len(self.sources)

    def __getitem__(self, number: int) -> Entity:
        return Entity(self, number)

    def record(self, number: int) -> Record:
        """The types and arguments of an entity. Raises StepError if not well formed."""
        record = self._parsed.get(number)
        if record is None:
            record = _record(number, self.keywords[number], self.sources[number])
            self._parsed[number] = record
        return record

    @cached_property
    def by_keyword(self) -> Mapping[str, Sequence[int]]:
        """The numbers of the plain (not complex) instances of each type, in the file's order."""
        found: dict[str, list[int]] = defaultdict(list)
        for number, keyword in self.keywords.items():
            found[keyword].append(number)
        return {keyword: numbers for keyword, numbers in found.items() if keyword}

    def all_of(self, keyword: str) -> Iterator[Entity]:
        """Every plain instance of a type, in the file's order."""
        return (self[number] for number in self.by_keyword.get(keyword, ()))


@cache
def _form(index: int, wanted: str) -> re.Pattern[str]:
    """The plain form of arguments, the one at `index` being `wanted`, a pattern with one group."""
    before, after = rf"(?:{NO_NUMBER}{COMMA}){{{index}}}", rf"(?:{COMMA}{NO_NUMBER})*"
    return re.compile(rf"\({before}{wanted}{after}\s*+\)", re.ASCII)


def read_step_text(data: bytes) -> StepFile:
    """Read a whole exchange file.

    Raises StepError when it is not UTF-8, is cut short, has anything between its statements,
    uses an entity's number twice, or refers to one that is not there.
    """
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        raise StepError(f"not a text in UTF-8, at byte {error.start}") from None
    if "/*" in text:
        text = COMMENT.sub(_without_comment, text)
    start = START.match(text)
    if not start:
        raise StepError("the sections are not those of ISO 10303-21: one HEADER, one DATA")
    text = text[start.end() :]
    # Split, not found one by one: the garbage collector would walk a tuple for every match.
    parts = INSTANCE.split(text + "\n")  # of a file cut short, too, there is a rest
    written, keywords, sources = (parts[group:-5:5] for group in (1, 2, 3))
    rest = parts[-2]
    if not END.fullmatch(rest):
        raise StepError(f"cut short or damaged at {rest[:60].strip()!r}")
    numbers = [int(number) for number in written]
    file = StepFile(
        dict(zip(numbers, keywords, strict=True)), dict(zip(numbers, sources, strict=True))
    )
    if len(file) < len(numbers):
        ((twice, _),) = Counter(numbers).most_common(1)
        raise StepError(f"#{twice} is there twice")
    unknown = set(REFERENCE.findall(text)).difference(written)
    lost = {int(ref) for ref in unknown if ref}.difference(numbers)
    if lost:
        raise StepError(f"#{min(lost)} is referred to but not there")
    return file


def _without_comment(match: re.Match[str]) -> str:
    if match[1] is None and not match[2]:
        raise StepError("a comment does not end")
    return match[1] or " "


def _record(number: int, keyword: str, source: str) -> Record:
    tokens: list[str] = TOKEN.findall(source)
    if not source.isprintable() or " " in source:
        source = SPACE.sub(lambda match: match[1] or "", source)
    try:
        if "".join(tokens) != source:
            raise StepError(f"not understood: {source[:60]!r}")
        if keyword:
            return {keyword: _values(tokens)}
        types = _values(_with_commas(tokens))
    except (StepError, IndexError) as error:
        raise StepError(f"#{number}: {error}") from None
    record = {value.keyword: value.values for value in types if isinstance(value, Typed)}
    if len(record) != len(types):
        raise StepError(f"#{number}: a complex entity is a list of types, each once")
    return record


def _with_commas(tokens: list[str]) -> list[str]:
    """The types of a complex entity, ``(A() B())``, separated like the values of a list."""
    separated: list[str] = []
    depth = 0
    for token in tokens:
        if depth == 1 and token[0].isalpha() and separated[-1] != "(":
            separated.append(",")
        depth += (token == "(") - (token == ")")
        separated.append(token)
    return separated


def _values(tokens: list[str]) -> tuple[Value, ...]:
    """The values of one list, ``(value,value,…)``; a value may be a list or a typed one."""
    outer: list[tuple[list[Value], str]] = []
    inside: list[Value] = []
    keyword, due = "", True
    for token in tokens:
        kind = token[0]
        if kind == ",":
            if due:
                raise StepError("a value is missing before a comma")
            due = True
        elif kind == ")":
            if keyword or (due and inside):
                raise StepError("a value is missing before a bracket")
            values = tuple(inside)
            inside, before = outer.pop()
            inside.append(Typed(before, values) if before else values)
            due = False
        elif not due:
            raise StepError("values are not separated by a comma")
        elif kind == "(":
            outer.append((inside, keyword))
            inside, keyword = [], ""
        elif keyword:
            raise StepError(f"{keyword} has no values")
        elif kind in PLAIN:
            inside.append(PLAIN[kind](token))
            due = False
        else:
            keyword = token
    if outer or due or len(inside) != 1 or not isinstance(inside[0], tuple):
        raise StepError("brackets do not close")
    return inside[0]


def decoded(text: str) -> str:
    """A string between its quotes without the escapes of ISO 10303-21 and the line breaks."""
    text = text.replace("\n", "").replace("\r", "").replace("''", "'")
    return ESCAPE.sub(_character, text)


def _character(match: re.Match[str]) -> str:
    wide2, wide4, byte, shifted = match.groups()
    if wide2 or wide4:
        encoding = "utf-16-be" if wide2 else "utf-32-be"
        return bytes.fromhex(wide2 or wide4).decode(encoding, "replace")
    if byte or shifted:
        return chr(int(byte, 16) if byte else ord(shifted) + 128)
    return "\\" if match[0] == "\\\\" else ""


PLAIN: dict[str, Callable[[str], Value]] = {
    "#": lambda token: Ref(token[1:]),
    "'": lambda token: decoded(token[1:-1]),
    ".": lambda token: Word(token[1:-1]),
    '"': lambda token: token[1:-1],
    "$": lambda _: None,
    "*": Word,
    **dict.fromkeys("0123456789+-", lambda token: float(token) if "." in token else int(token)),
}

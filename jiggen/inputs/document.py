"""Files as text, TOML documents as values, and the place of everything in them."""

import codecs
import json
import os
import re
import tomllib
from abc import ABC, abstractmethod
from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import accumulate
from pathlib import Path
from typing import NamedTuple

from jiggen.errors import Finding, InputError
from jiggen.files import Toml, parse_toml
from jiggen.inputs.faults import Fault, KeyPath, key_text
from jiggen.progress import note

MAX_BYTES = 1_000_000
DEEPEST = 12  # parts of a key path whose place is kept: more could fill the memory
_TOML_PLACE = re.compile(r" ?\(at (?:line (\d+), column (\d+)|end of document)\)$")
_COMMA = re.compile(r"(=[ \t]*+[0-9]++),([0-9]++)(?=[ \t\r]*+(?:[\n#}]|,[ \t]*+[A-Za-z]|\Z))")
_SYNTAX = "Use a decimal point (9.5), put text in quotes, close every bracket; each key only once."

# A multi-line string may end in up to five quotes, two of them its own.
_TOKEN = re.compile(
    r'"""(?:\\.|[^\\])*?"""(?:"{0,2})'
    r"|'''.*?'''(?:'{0,2})"
    r'|"(?:\\.|[^"\\])*"'
    r"|'[^']*'"
    r"|[A-Za-z0-9_-]+|[ \t]+|#[^\n]*|.",
    re.DOTALL,
)


class Place(NamedTuple):
    """Line and column in a text, both counted from 1, columns in characters."""

    line: int
    column: int


@dataclass(frozen=True)
class FileKind:
    """A kind of file: the `prefix` of its findings' codes, and what a person calls such a file."""

    prefix: str
    name: str
    most: int = MAX_BYTES
    too_big: str = ""  # a hint of its own for a file of more than `most` bytes
    typed: bool = False  # people type numbers into it: a decimal comma is read as a point

    def refusal(self, code: str, message: str, where: str, hint: str) -> InputError:
        """The error for a file that cannot be read at all."""
        return InputError(Finding(f"{self.prefix}.{code}", message, where, hint=hint))


@dataclass(frozen=True)
class Source(ABC):
    """A file that was read: where its key paths are, and how faults in it become findings."""

    file: str
    kind: FileKind

    @abstractmethod
    def place(self, path: KeyPath) -> Place:
        """Line and column of `path`, from 1; column 0 where only the line is known."""

    def key(self, path: KeyPath) -> str:
        """`path` as a person finds it in the file."""
        return key_text(path)

    def where(self, path: KeyPath) -> str:
        """``file:line:column`` of `path`, or ``file:line``."""
        line, column = self.place(path)
        return f"{self.file}:{line}:{column}" if column else f"{self.file}:{line}"

    def findings(self, faults: Iterable[Fault]) -> tuple[Finding, ...]:
        """The faults as findings, in the file's order."""
        return tuple(
            one.finding(self.kind.prefix, self.where(one.path), self.key(one.path))
            for one in sorted(faults, key=lambda fault: self.place(fault.path))
        )

    def refuse(self, faults: Iterable[Fault]) -> None:
        """Raise InputError with all `faults`, if there are any."""
        if found := self.findings(faults):
            raise InputError(found)


@dataclass(frozen=True)
class Document(Source):
    """A TOML file: `data` from `tomllib`; places are searched only when needed."""

    text: str
    data: Toml

    @cached_property
    def places(self) -> dict[KeyPath, Place]:
        """Line and column of every key path."""
        return find_places(self.text)

    def place(self, path: KeyPath) -> Place:
        """Place of `path`, or of the nearest thing around it that the file has."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places[path] if path else Place(1, 1)


def read_document(path: str | os.PathLike[str], kind: FileKind) -> Document:
    """Read the TOML file at `path`.  Raises InputError as `read_text` and `parse_document` do."""
    return parse_document(read_text(path, kind), os.fspath(path), kind)


def parse_document(text: str, file: str, kind: FileKind) -> Document:
    """`text` as the TOML document `file`.  Raises InputError ``.syntax`` with line and column."""
    try:
        return Document(file, kind, text, parse_toml(text))
    except tomllib.TOMLDecodeError as error:
        pointed = _COMMA.sub(r"\1.\2", text) if kind.typed else text
        if pointed != text:  # no TOML has a comma there, but for one in text
            return parse_document(pointed, file, replace(kind, typed=False))
        message, where = f"not TOML: {error}", file
        if found := _TOML_PLACE.search(message):
            message = message[: found.start()]
            line, column = found[1], found[2]
            if not line:  # at the end
                lines = text.rstrip().split("\n")
                line, column = str(len(lines)), str(len(lines[-1]) + 1)
                message += " before the file ended"
            where = f"{file}:{line}:{column}"
    except ValueError as error:
        message, where = f"not readable as TOML: {error}", file
    raise kind.refusal("syntax", message, where, _SYNTAX)


def toml_text(values: Mapping[str, object], table: str = "") -> str:
    """`values` as TOML: numbers with all their digits, text, true and false, then tables.

    They are those of a `table`, if it is named.
    """
    plain, tables = [], []
    for key, value in values.items():
        if isinstance(value, Mapping):
            name = f"{table}.{key}" if table else key
            tables.append(f"\n[{name}]\n{toml_text(value, name)}")
        else:  # JSON's strings are TOML's, but for DEL, which no checked text holds
            plain.append(f"{key} = {json.dumps(value, ensure_ascii=False)}\n")
    return "".join([*plain, *tables])


def read_text(path: str | os.PathLike[str], kind: FileKind, *, office: bool = False) -> str:
    """The text of the file at `path`: UTF-8, less a byte-order mark.

    With `office`, a byte-order mark may say that it is UTF-16, and what is not UTF-8 is read as
    Windows-1252, with a note: spreadsheets write both.
    Raises InputError as `read_bytes` does, and ``.not-utf8`` with line and column.
    """
    data = read_bytes(path, kind)
    utf16 = office and data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    try:
        return data.decode("utf-16" if utf16 else "utf-8-sig")
    except UnicodeDecodeError as error:
        if office and not utf16 and b"\0" not in data:
            with suppress(UnicodeDecodeError):
                text = data.decode("cp1252")
                message = "not UTF-8: it was read as Windows-1252"
                hint = "Look at a name with an accent; save the file as UTF-8 if it came out wrong."
                note(Finding(f"{kind.prefix}.encoding", message, os.fspath(path), hint=hint))
                return text
        message, where = "not UTF-16 text", os.fspath(path)
        if not utf16:
            *lines, last = data[: error.start].split(b"\n")
            message = f"byte {error.start + 1} (0x{data[error.start]:02x}) is not UTF-8 text"
            where += f":{len(lines) + 1}:{len(last.decode('utf-8')) + 1}"
        raise kind.refusal("not-utf8", message, where, "Save the file as UTF-8.") from None


def read_bytes(path: str | os.PathLike[str], kind: FileKind) -> bytes:
    """The bytes of the plain file at `path`; pipes and devices, which may never end, are refused.

    Raises InputError ``.missing``, ``.folder``, ``.unreadable`` or ``.too-big``.
    """
    file, found = os.fspath(path), Path(path)
    try:
        if found.is_dir():
            raise IsADirectoryError
        if found.exists() and not found.is_file():
            raise ValueError("it is not a plain file")
        with found.open("rb") as stream:
            data = stream.read(kind.most + 1)
    except FileNotFoundError:
        hint = "Check the name and the folder."
        raise kind.refusal("missing", "no such file", file, hint) from None
    except IsADirectoryError:
        hint = "Give the name of the file in it."
        raise kind.refusal("folder", "this is a folder", file, hint) from None
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte in it
        reason = getattr(error, "strerror", None) or str(error)
        hint = "Check the name, the folder and your right to read the file."
        raise kind.refusal("unreadable", f"cannot be read: {reason}", file, hint) from None
    if len(data) > kind.most:
        message = f"larger than {kind.most:,} bytes ({kind.most // 1_000_000} MB)"
        hint = kind.too_big or f"{kind.name} has a few kilobytes: is this the right file?"
        raise kind.refusal("too-big", message, file, hint)
    return data


def find_places(text: str) -> dict[KeyPath, Place]:
    """Place of every key path in `text`, which must be TOML that `tomllib` reads.

    A key is placed at its own first character, a table at the header that opens it, a list's
    value at the value.  Tables made in passing (``a`` in ``[a.b]``) are placed where they are
    first named.  Paths end at `DEEPEST` parts.  RecursionError on lists nested too deep for Python.
    """
    text = text.replace("\r\n", "\n")  # as tomllib does, so that both count the same columns
    starts = [0, *accumulate(len(line) + 1 for line in text.split("\n"))]
    places = {}
    for path, offset in _Scan(text).document().items():
        line = bisect_right(starts, offset)
        places[path] = Place(line, offset - starts[line - 1] + 1)
    return places


class _Scan:
    """One pass over a text, noting the offset at which each key path first appears."""

    def __init__(self, text: str) -> None:
        self._tokens = (found for found in _TOKEN.finditer(text) if found[0][0] not in " \t#")
        self._offsets: dict[KeyPath, int] = {}
        self._tables: dict[KeyPath, int] = {}  # entries so far of each [[array of tables]]
        self._token, self._at = "\n", 0  # the next one; empty at the end of the text

    def _take(self) -> tuple[str, int]:
        """The next token and its offset, left behind."""
        assert self._token, "the text was not checked by tomllib"
        token = self._token, self._at
        found = next(self._tokens, None)
        self._token, self._at = (found[0], found.start()) if found else ("", -1)
        return token

    def document(self) -> dict[KeyPath, int]:
        table: KeyPath = ()
        while self._token:
            if self._token == "[":
                table = self._header()
            elif self._token == "\n":
                self._take()
            else:
                self._pair(table)
        return self._offsets

    def _header(self) -> KeyPath:
        _, start = self._take()
        brackets = 2 if self._token == "[" else 1
        if brackets == 2:
            self._take()
        path: KeyPath = ()
        keys = [key for key, _ in self._key()]
        for depth, key in enumerate(keys, start=1):
            path = self._note(path, key, start)
            if depth == len(keys) and brackets == 2:
                self._tables[path] = self._tables.get(path, 0) + 1
            if path in self._tables:
                path = self._note(path, self._tables[path] - 1, start)
        for _ in range(brackets):
            self._take()
        return path

    def _pair(self, path: KeyPath) -> None:
        for key, start in self._key():
            path = self._note(path, key, start)
        self._take()  # the equals sign
        self._value(path)

    def _key(self) -> Iterator[tuple[str, int]]:
        """The parts of a dotted key with their offsets; ends on what follows the key."""
        while True:
            key, start = self._take()
            yield tomllib.loads(f"key = {key}")["key"] if key[0] in "\"'" else key, start
            if self._token != ".":
                return
            self._take()

    def _value(self, path: KeyPath) -> None:
        opening, _ = self._take()
        if opening == "[":
            for index, start in enumerate(self._entries("]")):
                self._value(self._note(path, index, start))
        elif opening == "{":
            for _ in self._entries("}"):
                self._pair(path)
        else:
            while self._token not in ",]}\n":  # the end of the text is in it too
                self._take()

    def _entries(self, closing: str) -> Iterator[int]:
        """Stop at each entry of a list or inline table; the caller scans it before going on."""
        while True:
            while self._token in (",", "\n"):
                self._take()
            if self._token == closing:
                self._take()
                return
            yield self._at

    def _note(self, path: KeyPath, part: str | int, start: int) -> KeyPath:
        """The path to `part` of `path`, noted at `start` unless it was seen before."""
        if len(path) == DEEPEST:
            return path
        path = (*path, part)
        self._offsets.setdefault(path, start)
        return path

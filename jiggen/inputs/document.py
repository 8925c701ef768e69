"""Files as text, TOML documents as values, and the place of everything in them."""

from __future__ import annotations

import codecs
import json
import os
import re
import tomllib
from abc import ABC, abstractmethod
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.files import Toml, parse_toml
from jiggen.inputs.faults import Fault, key_text
from jiggen.inputs.places import KeyPath, Place, find_places

MAX_BYTES = 1_000_000
_TOML_PLACE = re.compile(r" ?\(at (?:line (\d+), column (\d+)|end of document)\)$")
_SYNTAX = "Use a decimal point (9.5), put text in quotes, close every bracket; each key only once."
_UTF8 = "Save the file as UTF-8."


@dataclass(frozen=True)
class FileKind:
    """A kind of file: the `prefix` of its findings' codes, and what a person calls such a file."""

    prefix: str
    name: str
    most: int = MAX_BYTES
    too_big: str = ""  # a hint of its own for a file of more than `most` bytes

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
            replace(one.finding(self.kind.prefix, self.where(one.path)), key=self.key(one.path))
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
    """Read the TOML file at `path`.

    Raises InputError as `read_text` does, and ``.syntax`` with line and column.
    """
    return parse_document(read_text(path, kind), os.fspath(path), kind)


def parse_document(text: str, file: str, kind: FileKind) -> Document:
    """`text` as the TOML document `file`.  Raises InputError ``.syntax`` with line and column."""
    try:
        return Document(file, kind, text, parse_toml(text))
    except tomllib.TOMLDecodeError as error:
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


def toml_text(values: Mapping[str, object]) -> str:
    """`values` as TOML: numbers with all their digits, text, true and false, then tables."""
    plain, tables = [], []
    for key, value in values.items():
        if isinstance(value, Mapping):
            tables.append(f"\n[{key}]\n{toml_text(value)}")
        else:  # JSON's strings are TOML's, but for DEL, which no checked text holds
            plain.append(f"{key} = {json.dumps(value, ensure_ascii=False)}\n")
    return "".join([*plain, *tables])


def read_text(path: str | os.PathLike[str], kind: FileKind, *, utf16: bool = False) -> str:
    """The text of the file at `path`: UTF-8, less a byte-order mark.

    With `utf16`, a byte-order mark may say that it is UTF-16: some spreadsheets write that.
    Raises InputError as `read_bytes` does, and ``.not-utf8`` with line and column.
    """
    data, file = read_bytes(path, kind), os.fspath(path)
    if utf16 and data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16")
        except UnicodeDecodeError:
            raise kind.refusal("not-utf8", "not UTF-16 text", file, _UTF8) from None
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        *lines, last = data[: error.start].split(b"\n")
        message = f"byte {error.start + 1} (0x{data[error.start]:02x}) is not UTF-8 text"
        where = f"{file}:{len(lines) + 1}:{len(last.decode('utf-8')) + 1}"
        raise kind.refusal("not-utf8", message, where, _UTF8) from None


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

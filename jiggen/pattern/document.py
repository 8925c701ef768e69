"""A pattern file's bytes, text, values and places: everything before its meaning."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

from jiggen.errors import Finding, InputError
from jiggen.files import parse_toml
from jiggen.pattern.faults import Fault, key_text
from jiggen.pattern.limits import MAX_BYTES
from jiggen.pattern.positions import KeyPath, Place, find_places

_TOML_PLACE = re.compile(r" ?\(at (?:line (\d+), column (\d+)|end of document)\)$")


@dataclass(frozen=True)
class Document:
    """A TOML file as read: `data` from `tomllib`, places found only when asked for."""

    file: str
    text: str
    data: dict[str, Any]

    @cached_property
    def places(self) -> dict[KeyPath, Place]:
        """Line and column of every key path."""
        return find_places(self.text)

    def place(self, path: KeyPath) -> Place:
        """Place of `path`, or of the nearest thing around it that the file has."""
        while path and path not in self.places:
            path = path[:-1]
        return self.places[path] if path else Place(1, 1)

    def findings(self, faults: Iterable[Fault]) -> tuple[Finding, ...]:
        """The faults as findings with file, line and column, in the file's order."""
        placed = sorted(((self.place(fault.path), fault) for fault in faults), key=lambda p: p[0])
        return tuple(finding(fault, f"{self.file}:{at.line}:{at.column}") for at, fault in placed)


def finding(fault: Fault, where: str) -> Finding:
    """`fault` as a finding at `where`, its code and key in the form users see."""
    return Finding(f"pattern.{fault.code}", fault.message, where, key_text(fault.path), fault.hint)


def read_document(path: Path) -> Document:
    """Read the TOML file at `path`.

    Raises InputError (``pattern.missing``, ``.folder``, ``.unreadable``, ``.too-big``,
    ``.not-utf8``, ``.syntax``); the last two with line and column.
    """
    file = str(path)
    text = _decode(_read(path, file), file)
    try:
        return Document(file, text, parse_toml(text))
    except tomllib.TOMLDecodeError as error:
        raise InputError(_syntax(str(error), file, text)) from None
    except ValueError as error:
        raise InputError(_broken(f"not readable as TOML: {error}", file)) from None


def _read(path: Path, file: str) -> bytes:
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except FileNotFoundError:
        raise _refusal("missing", "no such file", file, "Check the name and the folder.") from None
    except IsADirectoryError:
        raise _refusal("folder", "this is a folder", file, "Name the file in it.") from None
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte in it
        reason = getattr(error, "strerror", None) or str(error)
        hint = "Check the name and your right to read the file."
        raise _refusal("unreadable", f"cannot be read: {reason}", file, hint) from None
    if len(data) > MAX_BYTES:
        hint = "A pattern file is a few kilobytes: is this the right file?"
        raise _refusal("too-big", f"larger than {MAX_BYTES:,} bytes (1 MB)", file, hint)
    return data


def _decode(data: bytes, file: str) -> str:
    try:
        return data.decode("utf-8-sig")  # some editors write a byte-order mark; it says nothing
    except UnicodeDecodeError as error:
        before = data[: error.start]
        line = before.count(b"\n") + 1
        column = len(before.rpartition(b"\n")[2].decode("utf-8")) + 1
        raise _refusal(
            "not-utf8",
            f"byte {error.start + 1} (0x{data[error.start]:02x}) is not UTF-8 text",
            f"{file}:{line}:{column}",
            "Save the file as UTF-8 in the editor.",
        ) from None


def _syntax(message: str, file: str, text: str) -> Finding:
    found = _TOML_PLACE.search(message)
    said = message[: found.start()] if found else message
    if found and found[1]:
        place = f"{file}:{found[1]}:{found[2]}"
    else:
        lines = text.rstrip().split("\n")
        place = f"{file}:{len(lines)}:{len(lines[-1]) + 1}"
        said += " before the file ended"
    return _broken(f"not TOML: {said}", place)


def _broken(message: str, where: str) -> Finding:
    return Finding(
        "pattern.syntax",
        message,
        where,
        hint="Numbers take a point (9.5), text stands in quotes, every bracket is closed, "
        "a key stands once. Compare with a shipped pattern.",
    )


def _refusal(code: str, message: str, where: str, hint: str) -> InputError:
    return InputError(Finding(f"pattern.{code}", message, where, hint=hint))

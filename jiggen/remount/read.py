"""Old holes from a TOML or a CSV file, or everything that is wrong with it."""

from __future__ import annotations

import math
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, ClassVar, Literal, Protocol

from pydantic import Field

from jiggen.errors import Finding, InputError
from jiggen.files import parse_toml
from jiggen.pattern.document import Document
from jiggen.pattern.faults import UNITS, Fault, Faults, Unit, key_text, nearest, word
from jiggen.pattern.limits import MAX_HOLES, SAME, X_LIMIT
from jiggen.pattern.parts import read_part
from jiggen.pattern.positions import KeyPath
from jiggen.pattern.schema import Diameter, Position, Shape
from jiggen.remount.model import OldHole
from jiggen.remount.table import Table, read_table

MAX_BYTES = 1_000_000

_TOML_PLACE = re.compile(r" \(at line (\d+), column (\d+)\)$")


class OldHoleShape(Shape):
    """One ``[[hole]]`` of a TOML file, or one line of a CSV file."""

    STAND_IN: ClassVar[dict[str, object]] = {"at": [0.0, 0.0]}

    at: Position = Field(
        description="x towards the tip from the mounting mark and y to the left: [152.4, 17.3]"
    )
    diameter: Diameter | None = Field(default=None, description="the hole's diameter")
    plugged: bool = Field(default=False, description="true: the hole was filled")


class OldHolesShape(Shape):
    """The whole TOML file; its holes are checked one by one."""

    STAND_IN: ClassVar[dict[str, object]] = {"format": 1}

    format: Literal[1] = Field(description="format = 1")
    note: str = Field(default="", description="any text")
    units: Literal["mm", "in"] = Field(default="mm", description='"mm" or "in"')
    hole: list[Any] = Field(default=[], description="tables headed [[hole]] (double brackets)")


class _Source(Protocol):
    """A file that can say where in it a key path stands."""

    def where(self, path: KeyPath) -> tuple[int, int]:
        """Line and column, from 1; column 0 where only the line is known."""

    def key(self, path: KeyPath) -> str:
        """The key as a person finds it in the file."""


def read_old_holes(path: str | os.PathLike[str]) -> tuple[OldHole, ...]:
    """Read the old holes of one ski from the file at `path`; every length of the result in mm.

    A name ending in ``.csv`` is read as CSV, any other as TOML.  Holes are called old-1,
    old-2 … in the file's order.

    TOML has ``format = 1``, ``units`` (mm or in), ``note`` and a ``[[hole]]`` each with ``at``,
    and where known ``diameter`` and ``plugged``.  CSV has the columns ``x``, ``y`` and where
    wanted ``diameter`` and ``plugged``, named in its first line; see `jiggen.remount.table`.

    Raises InputError with every fault of the file at once, with file, line and key.  The codes,
    each after ``remount.``: unreadable, too-big, not-utf8, syntax; missing-key, unknown-key,
    type, value, not-finite; length, diameter, plugged, same-hole, no-hole, too-many-holes.
    """
    file = os.fspath(path)
    text = _text(Path(path))
    faults = Faults()
    source, raw, unit = _table(text, faults) if _is_csv(file) else _toml(file, text, faults)
    holes = [read_part(OldHoleShape, hole, ("hole", h), unit, faults) for h, hole in enumerate(raw)]
    faults += _impossible(holes, unit, faults)
    if faults:
        raise InputError(_findings(file, source, faults))
    return tuple(
        OldHole(f"old-{number}", *hole.at, hole.diameter, hole.plugged)
        for number, hole in enumerate(holes, start=1)
    )


def _is_csv(file: str) -> bool:
    return Path(file).suffix.lower() == ".csv"


def _text(path: Path) -> str:
    file = os.fspath(path)
    try:
        with path.open("rb") as stream:
            data = stream.read(MAX_BYTES + 1)
    except (OSError, ValueError) as error:  # ValueError: a name with a zero byte in it
        reason = getattr(error, "strerror", None) or str(error)
        hint = "Check the name, the folder and your right to read the file."
        raise _refusal("unreadable", f"cannot be read: {reason}", file, hint) from None
    if len(data) > MAX_BYTES:
        hint = "A list of holes is a few kilobytes: is this the right file?"
        raise _refusal("too-big", f"larger than {MAX_BYTES:,} bytes (1 MB)", file, hint)
    try:
        return data.decode("utf-8-sig")  # spreadsheets write a byte-order mark; it says nothing
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        said = f"byte {error.start + 1} (0x{data[error.start]:02x}) is not UTF-8 text"
        raise _refusal("not-utf8", said, f"{file}:{line}", "Save the file as UTF-8.") from None


def _table(text: str, faults: Faults) -> tuple[Table, Sequence[object], Unit]:
    table = read_table(text)
    faults += table.faults
    return table, table.holes, UNITS["mm"]


@dataclass(frozen=True)
class _Toml:
    document: Document

    def where(self, path: KeyPath) -> tuple[int, int]:
        return self.document.place(path)

    def key(self, path: KeyPath) -> str:
        return key_text(path)


def _toml(file: str, text: str, faults: Faults) -> tuple[_Toml, Sequence[object], Unit]:
    try:
        document = Document(file, text, parse_toml(text))
    except ValueError as error:
        said, *place = _TOML_PLACE.split(str(error))
        where = ":".join((file, *place[:2]))
        hint = "Numbers take a point (9.5), every bracket is closed. A CSV file ends in .csv."
        raise _refusal("syntax", f"not TOML: {said}", where, hint) from None
    # Where the unit is misspelt, the holes are read in the one most likely meant.
    said = word(document.data.get("units", "mm")).lower()
    unit = UNITS[nearest(said, UNITS, cutoff=0.3) or "mm"]
    return _Toml(document), read_part(OldHolesShape, document.data, (), unit, faults).hole, unit


def _impossible(holes: Sequence[OldHoleShape], unit: Unit, doubts: Faults) -> Iterator[Fault]:
    """What is wrong with the holes together, and with places that no ski has."""
    if not holes and not doubts:
        yield Fault(("hole",), "no-hole", "there is no hole in this file")
    if len(holes) > MAX_HOLES:
        hint = f"At most {MAX_HOLES} are allowed."
        yield Fault(("hole",), "too-many-holes", f"{len(holes)} holes", hint)
        return
    sound = [(h, hole) for h, hole in enumerate(holes) if ("hole", h, "at") not in doubts]
    for place, (h, hole) in enumerate(sound):
        if abs(hole.at[0]) > X_LIMIT:
            said = f"x is {unit.show(hole.at[0])}, beyond any ski"
            hint = f"At most {unit.show(X_LIMIT)} from the mounting mark is allowed."
            yield Fault(("hole", h, "at", 0), "length", said, hint)
        twin = next((t for t, o in sound[:place] if math.dist(o.at, hole.at) < SAME), None)
        if twin is not None:
            hint = "Take one of them out."
            yield Fault(("hole", h), "same-hole", f"the same hole as old-{twin + 1}", hint)


def _findings(file: str, source: _Source, faults: Faults) -> list[Finding]:
    placed = sorted(((source.where(fault.path), fault) for fault in faults), key=lambda p: p[0])
    return [
        Finding(
            f"remount.{fault.code}",
            fault.message,
            f"{file}:{line}:{column}" if column else f"{file}:{line}",
            source.key(fault.path),
            fault.hint,
        )
        for (line, column), fault in placed
    ]


def _refusal(code: str, message: str, where: str, hint: str) -> InputError:
    return InputError(Finding(f"remount.{code}", message, where, hint=hint))

"""Old holes from a TOML or a CSV file, or everything that is wrong with it."""

import math
import os
import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator

from jiggen.errors import Finding, InputError
from jiggen.inputs.document import FileKind, Source, read_document
from jiggen.inputs.faults import Fault, quoted, unit_of
from jiggen.inputs.shape import Shape, Size, at_most, between, check, fault, key, pair_of, validate
from jiggen.inputs.table import TABLES, Columns, read_table
from jiggen.pattern.model import DIAMETERS, MAX_HOLES, SAME, X_LIMIT
from jiggen.pattern.read import Across
from jiggen.remount.shifts import OldHole
from jiggen.units import length, number

KIND = FileKind("remount", "A list of holes")
COLUMNS = Columns(
    names=("x", "y", "diameter", "plugged", "ski"),
    needed=("x", "y"),
    lengths=("x", "y", "diameter"),
    comments=True,
)
YES = ("yes", "y", "true", "1", "x", "plugged")
SKIS = ("left", "right", "both")
NO = ("no", "n", "false", "0", "open", "")

_PARTS = re.compile(r"\s*[/;]\s*|,\s+|\s+")
_LINE = "Write x/y, the diameter, plugged or open, and the ski: 152.4/17.3 4.1 plugged left."


def _from_cell(cell: object) -> object:
    """The length in mm that a cell of a CSV file holds."""
    try:
        return length(str(cell))
    except InputError as error:
        [found] = error.findings
        raise fault("value", found.message, found.hint) from None


def _plugged(cell: object) -> object:
    word = str(cell).lower()
    if word in YES + NO:
        return word in YES
    message = f"{quoted(word)} does not tell whether the hole is plugged"
    allowed = (", ".join(filter(None, words)) for words in (YES, NO))
    raise fault("value", message, f"Allowed: {'; or '.join(allowed)}.")


def _word(cell: object) -> object:
    return str(cell).lower()


X = Annotated[Size, between(-X_LIMIT, X_LIMIT, "length", "x")]
Diameter = Annotated[Size, between(*DIAMETERS, "diameter", "a hole")]
_DIAMETER = key("the hole's diameter", None)
_SKI = key("which ski of the pair has it: left, right or both", "both")
_few = at_most(MAX_HOLES, "too-many-holes", "holes")


class OldHoleShape(Shape):
    """One ``[[hole]]`` of a TOML file."""

    at: Annotated[tuple[X, Across], pair_of("numbers")] = key(
        "x towards the tip from the mounting mark and y to the left: [152.4, 17.3]"
    )
    diameter: Diameter | None = _DIAMETER
    plugged: bool = key("true: the hole was filled", False)
    ski: Literal["left", "right", "both"] = _SKI


class OldHolesShape(Shape):
    """The whole TOML file."""

    format: Literal[1] = key("format = 1")
    note: str = key("any text", "")
    units: Literal["mm", "in"] = key('"mm" or "in"', "mm")
    hole: Annotated[list[OldHoleShape], _few] = key("tables headed [[hole]] (double brackets)", [])


class OldHoleRow(Shape):
    """One row of a CSV file; cells that are empty are left out."""

    x: Annotated[X, BeforeValidator(_from_cell)] = key("a length towards the tip")
    y: Annotated[Across, BeforeValidator(_from_cell)] = key("a length to the left")
    diameter: Annotated[Diameter, BeforeValidator(_from_cell)] | None = _DIAMETER
    plugged: Annotated[bool, BeforeValidator(_plugged)] = key("yes: the hole was filled", False)
    ski: Annotated[Literal["left", "right", "both"], BeforeValidator(_word)] = _SKI


class OldHolesTable(Shape):
    """The whole CSV file."""

    hole: Annotated[list[OldHoleRow], _few]


def read_old_holes(path: str | os.PathLike[str]) -> tuple[OldHole, ...]:
    """Read the old holes of a ski or a pair from the file at `path`, in mm.

    They are old-1, old-2 … in its order; old-3-left is on the left ski alone.

    A name ending in ``.csv`` or ``.xlsx`` is read as a table (see `OldHoleRow`), any other as TOML.

    Raises InputError with every fault of single values at once, or, where there is none, of
    holes given twice; each with file, line and key.  The codes, each after ``remount.``:
    missing, folder, unreadable, too-big, not-utf8, syntax; missing-key, unknown-key, type,
    value, not-finite; unknown-column, missing-column, same-column, cells; length, diameter,
    same-hole, no-hole, too-many-holes.
    """
    source: Source
    given: list[tuple[float, float, OldHoleRow | OldHoleShape]]
    if Path(path).suffix.lower() in TABLES:
        source = table = read_table(Path(path), KIND, COLUMNS)
        cells = [{name: cell for name, cell in row.cells.items() if cell} for row in table.rows]
        found, faults = check(OldHolesTable, {"hole": cells})
        wide = {fault.path: fault for fault in table.too_wide("hole")}
        table.refuse((*wide.values(), *(one for one in faults if one.path[:2] not in wide)))
        rows = found.hole if found else []
        given = [(row.x, row.y, row) for row in rows]
    else:
        source = document = read_document(path, KIND)
        file = validate(OldHolesShape, document, document.data, unit_of(document.data))
        given = [(*hole.at, hole) for hole in file.hole]
    holes = tuple(_hole(number, one) for number, one in enumerate(given, start=1))
    source.refuse(_impossible(holes))
    return holes


def _hole(number: int, given: tuple[float, float, OldHoleRow | OldHoleShape]) -> OldHole:
    x, y, hole = given
    ski = None if hole.ski == "both" else hole.ski
    name = f"old-{number}-{ski}" if ski else f"old-{number}"
    return OldHole(name, x, y, hole.diameter, hole.plugged, ski)


def read_lines(
    lines: Sequence[str],
) -> tuple[tuple[OldHole, ...], dict[int, tuple[Finding, ...]]]:
    """The old holes of `lines` without a fault, and what is wrong with the others, from 0.

    A line has x and y, and if known the diameter, ``plugged`` or ``open``, and the ski, with a
    slash, a semicolon or a blank between them: ``152.4/17.3 4.1 plugged left``.
    """
    cells = [_cells(line) for line in lines]
    _, faults = check(OldHolesTable, {"hole": cells})
    faults += (
        Fault(("hole", n), "cells", f"too much: {quoted(row['more'])}", _LINE)
        for n, row in enumerate(cells)
        if "more" in row
    )
    good = [n for n in range(len(cells)) if not any(one.path[1:2] in ((), (n,)) for one in faults)]
    found, _ = check(OldHolesTable, {"hole": [cells[n] for n in good]})
    rows = zip(good, found.hole if found else (), strict=False)
    holes = {n: _hole(n + 1, (row.x, row.y, row)) for n, row in rows}
    twins = [one for one in _impossible(tuple(holes.values())) if one.path[1:]]
    faults += (replace(one, path=("hole", good[int(one.path[1])])) for one in twins)
    wrong: dict[int, tuple[Finding, ...]] = {}
    for one in faults:
        n = int(one.path[1]) if one.path[1:] else 0
        name = str(one.path[2]) if one.path[2:] else ""
        wrong[n] = (*wrong.get(n, ()), one.finding(KIND.prefix, name, "hole"))
    return tuple(hole for n, hole in holes.items() if n not in wrong), wrong


def _cells(line: str) -> dict[str, str]:
    """The words of a line by the columns of a table."""
    x, y, *rest = [*(word for word in _PARTS.split(line.strip()) if word), "", ""][:9]
    cells = {"x": x, "y": y}
    for word in filter(None, rest):
        lower = word.lower()
        column = "ski" if lower in SKIS else "plugged" if lower in YES + NO else "diameter"
        cells["more" if column in cells else column] = word
    return {name: cell for name, cell in cells.items() if cell}


def as_line(hole: OldHole) -> str:
    """An old hole as a line that `read_lines` reads."""
    known = [number(hole.diameter, 9)] if hole.diameter else []
    plugged = ["plugged"] if hole.plugged else []
    place = f"{number(hole.x, 9)}/{number(hole.y, 9)}"
    return " ".join([place, *known, *plugged, *([hole.ski] if hole.ski else [])])


def holes_csv(holes: Iterable[OldHole]) -> str:
    """Old holes as a table that `read_old_holes` reads, for a spreadsheet as well."""
    rows = (
        (
            number(hole.x, 9),
            number(hole.y, 9),
            number(hole.diameter, 9) if hole.diameter else "",
            "yes" if hole.plugged else "no",
            hole.ski or "both",
        )
        for hole in holes
    )
    return "".join(f"{';'.join(row)}\n" for row in (COLUMNS.names, *rows))


def _impossible(holes: Sequence[OldHole]) -> Iterator[Fault]:
    """What is wrong with the holes together."""
    if not holes:
        yield Fault(("hole",), "no-hole", "there is no hole in this file")
    for h, hole in enumerate(holes):
        near = (
            other
            for other in holes[:h]
            if math.dist((other.x, other.y), (hole.x, hole.y)) < SAME
            and (other.ski == hole.ski or None in (other.ski, hole.ski))
        )
        if twin := next(near, None):
            yield Fault(("hole", h), "same-hole", f"the same hole as {twin.id}", "Remove one.")

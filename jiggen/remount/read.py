"""Old holes from a TOML or a CSV file, or everything that is wrong with it."""

import math
import os
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Annotated, Literal

from pydantic import BeforeValidator

from jiggen.errors import InputError
from jiggen.inputs.document import FileKind, Source, read_document
from jiggen.inputs.faults import Fault, quoted, unit_of
from jiggen.inputs.shape import Shape, Size, at_most, between, check, fault, key, pair_of, validate
from jiggen.inputs.table import TABLES, Columns, read_table
from jiggen.pattern.model import DIAMETERS, MAX_HOLES, SAME, X_LIMIT
from jiggen.pattern.read import Across
from jiggen.remount.shifts import OldHole
from jiggen.units import length

KIND = FileKind("remount", "A list of holes")
COLUMNS = Columns(
    names=("x", "y", "diameter", "plugged", "ski"),
    needed=("x", "y"),
    lengths=("x", "y", "diameter"),
    comments=True,
)
YES = ("yes", "y", "true", "1", "x", "plugged")
NO = ("no", "n", "false", "0", "open", "")


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
    holes = tuple(
        OldHole(
            f"old-{number}" if hole.ski == "both" else f"old-{number}-{hole.ski}",
            x,
            y,
            hole.diameter,
            hole.plugged,
            None if hole.ski == "both" else hole.ski,
        )
        for number, (x, y, hole) in enumerate(given, start=1)
    )
    source.refuse(_impossible(holes))
    return holes


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

"""One drawing read, checked and made a pattern file's text."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.importing.holes import (
    chosen,
    holes_of,
    layer_faults,
    placed,
    spot_faults,
    unit_of,
)
from jiggen.importing.model import DEPTH, KIND, Choices, Circle, Drawing, fault
from jiggen.inputs.faults import UNITS, quoted
from jiggen.inputs.table import Columns, Row, read_table
from jiggen.pattern.model import DEEPEST, DIAMETERS, LONGEST_NAME, Group, Pattern
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import pattern_toml

GROUP_NAMES = {"boot-toe": "toe", "boot-heel": "heel", "boot-centre": "plate"}
LEAST_DEPTH = 0.5  # mm: less is a slip
READERS = (".dxf", ".svg", ".csv")


@dataclass(frozen=True)
class Imported:
    """A pattern made of a drawing: its file's text, its values, and notes on it.

    `circles` counts those used and `passed_over` those that were not; `unit` says what a unit
    of the drawing is, and how that is known; `checks` are what the person should look at.
    """

    text: str
    pattern: Pattern
    circles: int
    passed_over: int
    unit: str
    checks: tuple[str, ...]

    @property
    def pairs(self) -> int:
        """How many holes are written once for both sides."""
        return sum(hole.both_sides for group in self.pattern.groups for hole in group.holes)


def import_pattern(path: Path, choices: Choices, target: str = "pattern.toml") -> Imported:
    """The drawing at `path` as a pattern; `target` is the file it is meant for, for its faults.

    Raises InputError with every fault at once: ``import.kind`` for a file of no known kind,
    ``.units`` where the drawing does not say its unit, ``.layer``, ``.no-circle``, ``.circle``,
    ``.spacing``, ``.too-many``, ``.drill``, ``.name`` and what the readers raise.
    """
    drawing = _reader(path)(path)
    unit = unit_of(drawing, choices)
    faults = [
        *drawing.faults,
        *_odd_choices(choices),
        *layer_faults(drawing, choices),
        *(_unknown_unit(drawing) if unit is None else ()),
    ]
    # Without its unit, a drawing's sizes cannot be checked; all else can.
    circles = [] if unit is None else chosen(drawing, choices, unit)
    spots = placed(circles, drawing, choices, unit or 1.0)
    if not circles and not faults:
        faults.append(_no_circle(drawing, unit or 1.0))
    faults += spot_faults(spots, choices)
    if faults:
        raise InputError(faults)
    group = Group(GROUP_NAMES[choices.datum], choices.datum, 0.0, (), holes_of(spots, choices))
    name = choices.name or _name_from(path)
    pattern = Pattern(name, "", "mm", None, "same", (group,), target)
    unit_source = f"{choices.units}, as chosen" if choices.units else drawing.unit_source
    checks = tuple(_checks(choices, group))
    note = " ".join(("Check these.", *checks)) if checks else ""
    text = pattern_toml(pattern, _head(path, choices, unit_source), note)
    passed_over = len(drawing.circles) - len(circles)
    return Imported(text, parse_pattern(text, target), len(spots), passed_over, unit_source, checks)


def _reader(path: Path) -> Callable[[Path], Drawing]:
    """The reader of a file's kind, which its name's end tells; loaded when it is needed."""
    match path.suffix.lower():
        case ".dxf":
            from jiggen.importing.dxf import read_dxf

            return read_dxf
        case ".svg":
            from jiggen.importing.svg import read_svg

            return read_svg
        case ".csv":
            return read_csv
    message = f"a file that ends in {path.suffix or 'nothing'} is not read"
    hint = f"Files that end in {', '.join(READERS)} are. Save the drawing as one of them."
    raise InputError(fault("kind", message, str(path), hint=hint))


# -- tables ---------------------------------------------------------------------------------------

_COLUMNS = Columns(
    names=("x", "y", "diameter"),
    needed=("x", "y", "diameter"),
    lengths=("x", "y", "diameter"),
    others={"dia": "diameter", "d": "diameter", "ø": "diameter"},
    optional=True,
    comments=True,
)
_PLAIN = "mm, as nothing else is given"
_ROW = "A row is x, y, diameter, each a number; a first row with these names may come above them."


def read_csv(path: Path) -> Drawing:
    """Read the CSV file at `path`, with y upwards, its numbers in mm unless its columns say inches.

    Other columns are ignored.  Faults of single rows go into the drawing's `faults`.
    Raises InputError as `jiggen.inputs.table.read_table` does, and ``import.empty``.
    """
    table = read_table(path, KIND, _COLUMNS)
    if not table.rows:
        raise InputError(fault("empty", "there is no row in it", table.file, hint=_ROW))
    units = {table.units.get(name) or "mm" for name in _COLUMNS.needed}
    if len(units) > 1:
        hint = "Give all lengths in one unit."
        raise InputError(fault("units", "columns in different units", table.file, hint=hint))
    [unit] = units
    read = [_circle(row, unit, f"{table.file}:{row.line}") for row in table.rows]
    return Drawing(
        file=table.file,
        circles=tuple(item for item in read if isinstance(item, Circle)),
        unit=UNITS[unit].mm,
        unit_source=f"{unit}, as its columns say" if any(table.units.values()) else _PLAIN,
        faults=tuple(item for item in read if isinstance(item, Finding)),
    )


def _circle(row: Row, unit: str, where: str) -> Circle | Finding:
    if row.width:
        return fault("row", f"{row.width} cells", where, hint=_ROW)
    numbers = []
    for name in _COLUMNS.needed:
        cell = row.cells.get(name, "")
        try:
            number = float(cell.removesuffix(f" {unit}"))
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            message = f"{quoted(cell)} is not a number for {name}" if cell else f"no {name}"
            return fault("row", message, where, hint=_ROW)
        numbers.append(number)
    x, y, diameter = numbers
    return Circle(x, y, diameter, f"hole at ({x:g}, {y:g})", where)


# -- names, choices, notes ------------------------------------------------------------------------


def _name_from(path: Path) -> str:
    """A name for the pattern, made of the drawing's."""
    plain = "".join(c if c.isprintable() and c != "_" else " " for c in path.stem)
    return " ".join(plain.split())[:LONGEST_NAME].strip() or "Plate"


def _odd_choices(choices: Choices) -> Iterator[Finding]:
    low, high = DIAMETERS
    for key, what, size, least, most in (
        ("drill", "a drill", choices.drill, low, high),
        ("metal", "a drill", choices.metal, low, high),
        ("depth", "a depth", choices.depth, LEAST_DEPTH, DEEPEST),
    ):
        if size is not None and not least <= size <= most:
            hint = f"Allowed: {least:g} to {most:g} mm."
            yield fault("drill", f"{what} of {size:g} mm", key=key, hint=hint)
    name = choices.name
    if name and (len(name) > LONGEST_NAME or not name.strip() or not name.isprintable()):
        hint = f"Allowed: 1 to {LONGEST_NAME} printable characters, for it is engraved."
        yield fault("name", f"{quoted(name)} cannot be the name", key="name", hint=hint)


def _unknown_unit(drawing: Drawing) -> Iterator[Finding]:
    if any(finding.code == "import.view" for finding in drawing.faults):
        return  # reported already, and why
    message = "the drawing does not say which unit it is in"
    hint = "Give the unit, mm or in. One distance, measured on the plate, tells which."
    yield fault("units", message, drawing.file, "units", hint)


def _no_circle(drawing: Drawing, unit: float) -> Finding:
    if drawing.circles:
        sizes = sorted({round(circle.diameter * unit, 3) for circle in drawing.circles})
        hint = f"There are circles of {', '.join(f'{size:g}' for size in sizes[:20])} mm."
        return fault("no-circle", "there is no such circle", drawing.file, "only", hint)
    kinds = ", ".join(f"{count} x {name}" for name, count in list(drawing.others.items())[:8])
    there = f"What is there: {kinds}." if kinds else "There is nothing that is shown."
    hint = f"{there} Draw each hole as a circle, in the drawing program."
    return fault("no-circle", "there is no circle in it", drawing.file, hint=hint)


def _checks(choices: Choices, group: Group) -> Iterator[str]:
    """What the person should look at, for no drawing can tell it."""
    if choices.drill is None:
        yield "The drill diameters are those of the drawing's circles."
    if choices.metal is None:
        yield "The drill under a metal sheet is assumed to be the same as in a plain core."
    if choices.depth is None:
        yield f"The depth of {DEPTH:g} mm is not from the drawing: measure screw and plate."
    if not any(hole.both_sides or hole.at[1] == 0 for hole in group.holes):
        yield "No hole has a counterpart on the other side: is the drawing's y = 0 the centre line?"


def _head(path: Path, choices: Choices, unit: str) -> Iterator[str]:
    layers = f", layers {', '.join(choices.layers)}" if choices.layers else ""
    yield f"Imported from the drawing {path.name}{layers}; its unit: {unit}."
    yield (
        "No drawing tells whether its holes are those of the actual plate: lay the plate on a "
        "1:1 print or on a trial plate before any jig is built."
    )

"""Circles of a table: x, y, diameter."""

import math
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.importing import KIND, Circle, Drawing
from jiggen.inputs.faults import UNITS, quoted
from jiggen.inputs.table import Columns, Row, read_table

_NAMES = ("x", "y", "diameter")
_OTHERS = {"dia": "diameter", "d": "diameter", "ø": "diameter"}
_COLUMNS = Columns(_NAMES, _NAMES, _NAMES, _OTHERS, optional=True, comments=True)
_ROW = "Each is a number; a first row with these names may come above them."


def read_circles(path: Path) -> Drawing:
    """Read the table at `path`, with y upwards, its numbers in mm unless its columns say inches.

    Other columns are ignored.  Faults of single rows go into the drawing's `faults`.
    Raises InputError as `jiggen.inputs.table.read_table` does, and ``import.empty``.
    """
    table = read_table(path, KIND, _COLUMNS)
    if not table.rows:
        raise InputError.of("import.empty", "there is no row in it", where=table.file, hint=_ROW)
    units = {table.units.get(name) or "mm" for name in _NAMES}
    if len(units) > 1:
        message, hint = "columns in different units", "Give all lengths in one unit."
        raise InputError.of("import.units", message, where=table.file, hint=hint)
    [unit] = units
    source = "as its columns say" if any(table.units.values()) else "as nothing else is given"
    read = [_circle(row, unit, f"{table.file}:{row.line}") for row in table.rows]
    circles = tuple(item for item in read if isinstance(item, Circle))
    faults = tuple(item for item in read if isinstance(item, Finding))
    return Drawing(
        table.file, circles, UNITS[unit].mm, f"{unit}, {source}", faults=faults, what="table"
    )


def _circle(row: Row, unit: str, where: str) -> Circle | Finding:
    cells = [row.cells.get(name, "") for name in _NAMES]
    try:
        x, y, diameter = numbers = [
            float(cell.removesuffix(f" {unit}").replace(",", ".")) for cell in cells
        ]
    except ValueError:
        numbers = []
    if not numbers or not all(map(math.isfinite, numbers)):
        source = f"{row.width} cells are" if row.width else f"{quoted(', '.join(cells))} is"
        return Finding("import.row", f"{source} not x, y, diameter", where, hint=_ROW)
    return Circle(x, y, diameter, f"hole at ({x:g}, {y:g})", where)

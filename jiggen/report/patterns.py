"""The known patterns in few words, and a layout as a small plan in characters for a terminal."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from jiggen.errors import InputError
from jiggen.layout import Layout
from jiggen.pattern import Group, Pattern, read_pattern
from jiggen.pattern.find import Known, known_patterns

DATUMS = {
    "boot-toe": "the boot's toe",
    "boot-heel": "the boot's heel",
    "boot-centre": "the mounting mark",
}


@dataclass(frozen=True)
class Listed:
    """A known file: its pattern, or how many faults keep it from being read."""

    known: Known
    pattern: Pattern | None
    faults: int = 0

    def as_dict(self) -> dict[str, object]:
        """Plain values for JSON, lengths in mm; of a faulty file only where it is."""
        entry: dict[str, object] = {
            "name": self.known.name,
            "origin": self.known.origin,
            "path": str(self.known.path),
            "hidden": self.known.hidden,
            "faults": self.faults,
        }
        if self.pattern:
            entry |= {
                "title": self.pattern.name,
                "note": self.pattern.note,
                "holes": hole_count(self.pattern.groups),
                "groups": [
                    {"name": group.name, "datum": group.datum, "holes": hole_count((group,))}
                    for group in self.pattern.groups
                ],
                "boot": list(self.pattern.boot) if self.pattern.boot else None,
                "pair": self.pattern.pair,
            }
        return entry


def list_patterns() -> tuple[Listed, ...]:
    """Every pattern that a name can find, read; a faulty one does not hide the others."""
    return tuple(_listed(known) for known in known_patterns())


def _listed(known: Known) -> Listed:
    try:
        return Listed(known, read_pattern(known.path))
    except InputError as error:
        return Listed(known, None, len(error.findings))


def hole_count(groups: tuple[Group, ...]) -> int:
    """How many holes are drilled, both sides counted."""
    return sum(1 + hole.both_sides for group in groups for hole in group.holes)


def described(pattern: Pattern) -> list[str]:
    """What a pattern is, a line for each thing; lengths in mm."""
    boots = f"{_span(pattern.boot)} mm" if pattern.boot else "any length"
    skis = (
        "left and right ski mirrored" if pattern.pair == "mirrored" else "left and right ski alike"
    )
    width = max(len(group.name) for group in pattern.groups)
    return [
        *([pattern.note] if pattern.note else []),
        f"For boots of {boots}; {skis}.",
        *(f"  {group.name.ljust(width)}  {_group(group)}" for group in pattern.groups),
    ]


def _group(group: Group) -> str:
    count = hole_count((group,))
    holes = f"{count} hole" if count == 1 else f"{count} holes"
    if group.steps:
        steps = ", ".join(f"{step.shift:+g} from {step.start:g}" for step in group.steps)
        return f"{holes} about {DATUMS[group.datum]}, in steps by boot: {steps} mm"
    way = "in front of" if group.shift > 0 else "behind"
    away = f"{abs(group.shift):g} mm {way}" if group.shift else "about"
    return f"{holes} {away} {DATUMS[group.datum]}"


def _span(boot: tuple[float, float]) -> str:
    return f"{boot[0]:g} to {boot[1]:g}"


def table(listed: tuple[Listed, ...]) -> str:
    """A row for each pattern, then the folders they lie in."""
    head = ("name", "holes", "measured from", "boots in mm", "whose")
    rows = [head, *(_row(entry) for entry in listed)]
    widths = [max(len(row[column]) for row in rows) for column in range(len(head))]
    lines = [
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in rows
    ]
    folders = dict.fromkeys((entry.known.origin, entry.known.path.parent) for entry in listed)
    width = max((len(origin) for origin, _ in folders), default=0)
    return "\n".join(
        [*lines, "", *(f"{origin.ljust(width)}  {folder}" for origin, folder in folders)]
    )


def _row(entry: Listed) -> tuple[str, str, str, str, str]:
    whose = f"{entry.known.origin}, hidden" if entry.known.hidden else entry.known.origin
    if entry.pattern is None:
        faults = "1 fault" if entry.faults == 1 else f"{entry.faults} faults"
        return entry.known.name, "-", f"{faults}: jiggen show {entry.known.path}", "", whose
    datums = dict.fromkeys(group.datum for group in entry.pattern.groups)
    boots = _span(entry.pattern.boot) if entry.pattern.boot else "any"
    return (
        entry.known.name,
        str(hole_count(entry.pattern.groups)),
        ", ".join(datums),
        boots,
        whose,
    )


ROW = 2.0  # a character is about twice as high as wide, in most terminals: from memory
MOST_ROWS = 12  # from the centre line to an edge
LEAST_WIDTH = 40
MARGIN = 5  # columns free at either end of the holes, for their names
TICKS = (10.0, 20.0, 50.0, 100.0)  # mm between the numbers along the foot
HOLE, HOLES, LINE, MARK, CROSS = "o", "8", "-", "|", "+"
EDGES = "left", "right"


@dataclass(frozen=True)
class _Scale:
    """Columns and rows of points in the ski frame, mm; row 0 is the centre line, up is left."""

    start: float
    size: float  # mm a column

    def column(self, x: float) -> int:
        return round((x - self.start) / self.size)

    def row(self, y: float) -> int:
        return round(y / (ROW * self.size))


@dataclass
class _Grid:
    """Characters by row and column; what is written first stays."""

    width: int
    cells: dict[tuple[int, int], str] = field(default_factory=dict)

    def free(self, row: int, column: int, words: str) -> bool:
        """Whether `words`, and a column either side, lie on nothing and within the width."""
        reach = range(column - 1, column + len(words) + 1)
        inside = column >= 0 and column + len(words) <= self.width
        return inside and not any((row, at) in self.cells for at in reach)

    def write(self, row: int, column: int, words: str) -> None:
        for at, letter in enumerate(words, start=column):
            if 0 <= at < self.width:
                self.cells.setdefault((row, at), letter)

    def line(self, row: int) -> str:
        letters = (self.cells.get((row, at), " ") for at in range(self.width))
        return "".join(letters).rstrip()


def sketch(layout: Layout, width: int = 80) -> str:
    """The holes of `layout` seen from above, at most `width` columns: lines of plain text.

    The tip is to the right, the ski's left edge on top; ``o`` is a hole, ``8`` two or more that
    fall on one character, ``|`` the mounting mark.  Names are left out where there is no room.
    """
    width = max(width, LEAST_WIDTH)
    points = [(float(x), float(y)) for x, y in layout.positions]
    scale = _scale(points, width)
    rows = max(1, *(abs(scale.row(y)) for _, y in points)) + 1
    grid = _Grid(width)
    _draw_holes(grid, points, scale)
    grid.write(0, scale.column(0.0), CROSS)
    _write_names(grid, layout.ids, points, scale, rows)
    for row, words in zip((rows, -rows), EDGES, strict=True):
        grid.write(row, 0, words)
    for row in range(-rows, rows + 1):
        grid.write(row, scale.column(0.0), MARK)
    grid.write(0, width - 6, "-> tip")
    grid.write(0, 0, LINE * (width - 6))
    lines = [grid.line(row) for row in range(rows, -rows - 1, -1)]
    return "\n".join([*lines, _ruler(scale, width)])


def _scale(points: list[tuple[float, float]], width: int) -> _Scale:
    """As large as width and MOST_ROWS allow, with the holes in the middle."""
    xs = [0.0, *(x for x, _ in points)]
    span = max(max(xs) - min(xs), 1.0)
    widest = max(abs(y) for _, y in points)
    size = max(span / (width - 2 * MARGIN - 1), widest / (ROW * MOST_ROWS))
    middle = (min(xs) + max(xs)) / 2
    return _Scale(middle - size * (width - 1) / 2, size)


def _draw_holes(grid: _Grid, points: list[tuple[float, float]], scale: _Scale) -> None:
    for x, y in points:
        at = (scale.row(y), scale.column(x))
        grid.cells[at] = HOLES if at in grid.cells else HOLE


def _write_names(
    grid: _Grid,
    names: tuple[str, ...],
    points: list[tuple[float, float]],
    scale: _Scale,
    rows: int,
) -> None:
    """Each name beside, over or under its hole, clear of the mark, the centre line and others."""
    for name, (x, y) in zip(names, points, strict=True):
        for row, column in _places(name, scale.row(y), scale.column(x)):
            crosses = column - 1 <= scale.column(0.0) <= column + len(name)
            if row and abs(row) <= rows and not crosses and grid.free(row, column, name):
                grid.write(row, column, name)
                break


def _places(name: str, row: int, column: int) -> Iterator[tuple[int, int]]:
    outwards = 1 if row >= 0 else -1
    yield row, column + 2
    yield row, column - len(name) - 1
    for step in (outwards, -outwards):
        yield row + step, column - len(name) // 2


def _ruler(scale: _Scale, width: int) -> str:
    """Numbers of mm from the mounting mark, each centred under its place."""
    tick = next((t for t in TICKS if t / scale.size >= 8), TICKS[-1])
    grid = _Grid(width)
    first = math.ceil(scale.start / tick)
    last = math.floor((scale.start + scale.size * (width - 1)) / tick)
    for number in range(first, last + 1):
        words = f"{number * tick:g}"
        column = scale.column(number * tick) - len(words) // 2
        if grid.free(0, column, words):
            grid.write(0, column, words)
    return grid.line(0)

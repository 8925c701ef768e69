"""The known patterns in few words, and a layout as a small plan in characters for a terminal."""

import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace

from jiggen.draw.shapes import Circle, Drawing, Line, Pen
from jiggen.draw.vector import svg_text
from jiggen.errors import Finding, InputError, printable
from jiggen.layout import Layout, lay_out
from jiggen.pattern import read_pattern
from jiggen.pattern.find import Known, known_patterns
from jiggen.pattern.model import DATUM_SLOPE, Group, Pattern
from jiggen.report import text_table
from jiggen.report.mark import about_mark
from jiggen.units import counted
from jiggen.wording import point_words


@dataclass(frozen=True)
class Listed:
    """A known file: its pattern, or the faults that keep it from being read."""

    known: Known
    pattern: Pattern | None
    findings: tuple[Finding, ...] = ()

    @property
    def faults(self) -> int:
        """How many faults it has."""
        return len(self.findings)

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
                "boot": self.pattern.boot,
                "pair": self.pattern.pair,
                "mark": self.pattern.mark,
            }
        return entry


def list_patterns() -> tuple[Listed, ...]:
    """Every pattern that a name can find, read; a faulty one does not hide the others."""
    found = []
    for known in known_patterns():
        try:
            found.append(Listed(known, read_pattern(known.path)))
        except InputError as error:
            found.append(Listed(known, None, error.findings))
    return tuple(found)


USUAL_BOOT = 305.0  # mm, drawn where a pattern names no boots
DOT, ROUND = 4.0, 12.0  # mm: a hole's radius in a small picture, and room around all


def hole_count(groups: Iterable[Group]) -> int:
    """How many holes are drilled, both sides counted."""
    return sum(1 + hole.both_sides for group in groups for hole in group.holes)


def described(pattern: Pattern) -> list[str]:
    """What a pattern is, a line for each thing; lengths in mm."""
    boots = f"{boots_of(pattern)} mm" if pattern.boot else "any length"
    skis = "mirrored" if pattern.pair == "mirrored" else "alike"
    lines = [pattern.note] if pattern.note else []
    lines.append(f"For boots of {boots}; left and right ski {skis}.")
    for point, at in pattern.points:
        side = "in front of" if at > 0 else "behind"
        lines.append(f"On the boot, {point_words(point)}: {abs(at):g} mm {side} its toe.")
    lines += about_mark(pattern.mark)
    width = max(len(group.name) for group in pattern.groups)
    for group in pattern.groups:
        where, after = f"{abs(group.shift):g} mm behind", ""
        if group.steps:
            steps = ", ".join(f"{step.shift:+g} from {step.start:g}" for step in group.steps)
            where, after = "about", f", in steps by boot: {steps} mm"
        elif not group.shift:
            where = "about"
        elif group.shift > 0:
            where = f"{group.shift:g} mm in front of"
        holes = counted(hole_count((group,)), "hole")
        lines.append(f"  {group.name:{width}}  {holes} {where} {_datum(pattern, group)}{after}")
    return lines


def _datum(pattern: Pattern, group: Group) -> str:
    """The point that a group is measured from, in words."""
    if group.datum == pattern.mark:
        return "the mounting mark"
    point = group.datum.removeprefix("boot-") if group.datum in DATUM_SLOPE else group.datum
    return f"the boot's {point_words(point)}"


def usual_boot(pattern: Pattern) -> float:
    """A boot to draw, in mm: the middle of those served, whole where that is one of them."""
    if pattern.boot is None:
        first = max((group.steps[0].start for group in pattern.groups if group.steps), default=0.0)
        return max(USUAL_BOOT, first)
    low, high = pattern.boot
    middle = round((low + high) / 2)
    return float(middle) if low <= middle <= high else low


def picture(pattern: Pattern) -> str:
    """The holes seen from above, the tip to the right, as a small SVG: dots larger than life.

    A line across is the mounting mark, one along the centre line.
    """
    holes = lay_out(pattern, usual_boot(pattern)).positions.tolist()
    ends = [0.0, *(x for x, _ in holes)]
    tail, tip, half = min(ends) - ROUND, max(ends) + ROUND, max(abs(y) for _, y in holes) + ROUND
    drawn = Drawing(printable(pattern.name), (tail, -half), (tip, half))
    drawn.shapes += [
        Line((tail, 0.0), (tip, 0.0), Pen(0.8, "#9aa3a6")),
        Line((0.0, -half), (0.0, half), Pen(1.2, "#aa141e")),
        *(Circle((x, y), DOT, fill="#1f2528") for x, y in holes),
    ]
    return svg_text(drawn, digits=2)


def boots_of(pattern: Pattern) -> str:
    """The boots that a pattern serves, in words; mm."""
    return " to ".join(f"{boot:g}" for boot in pattern.boot or ()) or "any"


def table(listed: tuple[Listed, ...]) -> str:
    """A row for each pattern, then the folders they lie in."""
    rows = [("name", "holes", "measured from", "boots in mm", "whose")]
    for entry in listed:
        known, pattern = entry.known, entry.pattern
        holes, measured, boots = (
            "-",
            f"{counted(entry.faults, 'fault')}: jiggen show {printable(str(known.path))}",
            "",
        )
        if pattern:
            holes, boots = f"{hole_count(pattern.groups)}", boots_of(pattern)
            measured = ", ".join(dict.fromkeys(group.datum for group in pattern.groups))
        whose = f"{known.origin}, hidden" if known.hidden else known.origin
        rows.append((printable(known.name), holes, measured, boots, whose))
    folders = dict.fromkeys(
        (one.known.origin, printable(str(one.known.path.parent))) for one in listed
    )
    return "\n".join([*text_table(rows), "", *text_table(list(folders))])


ROW = 2.0  # a character is about twice as high as wide, in most terminals: from memory
MOST_ROWS = 12  # from the centre line to an edge
LEAST_WIDTH = 40
MARGIN = 5  # columns free at either end of the holes, for their names
TICKS = (10.0, 20.0, 50.0, 100.0)  # mm between the numbers along the foot


@dataclass(frozen=True)
class _Grid:
    """Characters by row and column, row 0 the centre line, up left; what is written first stays.

    `start` is where column 0 is along the ski, `size` the length of a column; mm.
    """

    width: int
    start: float
    size: float
    cells: dict[tuple[int, int], str] = field(default_factory=dict)

    def column(self, x: float) -> int:
        return round((x - self.start) / self.size)

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
        return "".join(self.cells.get((row, at), " ") for at in range(self.width)).rstrip()


def sketch(layout: Layout, width: int = 80) -> str:
    """The holes of `layout` seen from above, at most `width` columns: lines of plain text.

    The tip is to the right, the ski's left edge on top; ``o`` is a hole, ``8`` two or more that
    fall on one character, ``|`` the mounting mark.  Names are left out where there is no room.
    """
    width = max(width, LEAST_WIDTH)
    xs = (0.0, *map(float, layout.positions[:, 0]))
    ys = tuple(map(float, layout.positions[:, 1]))
    # As large as width and MOST_ROWS allow, with the holes in the middle.
    span = max(max(xs) - min(xs), 1.0)
    size = max(span / (width - 2 * MARGIN - 1), max(map(abs, ys)) / (ROW * MOST_ROWS))
    grid = _Grid(width, (min(xs) + max(xs)) / 2 - size * (width - 1) / 2, size)
    mark = grid.column(0.0)
    places = [(round(y / (ROW * size)), grid.column(x)) for x, y in zip(xs[1:], ys, strict=True)]
    rows = max(1, *(abs(row) for row, _ in places)) + 1
    for place in places:
        grid.cells[place] = "8" if place in grid.cells else "o"
    grid.write(0, mark, "+")
    # Each name beside, over or under its hole, clear of the mark, the centre line and others.
    for name, (row, column) in zip(layout.ids, places, strict=True):
        outwards, middle = 1 if row >= 0 else -1, column - len(name) // 2
        beside = (row, column + 2), (row, column - len(name) - 1)
        for at, start in (*beside, (row + outwards, middle), (row - outwards, middle)):
            crosses = start - 1 <= mark <= start + len(name)
            if at and abs(at) <= rows and not crosses and grid.free(at, start, name):
                grid.write(at, start, name)
                break
    grid.write(rows, 0, "left")
    grid.write(-rows, 0, "right")
    for row in range(-rows, rows + 1):
        grid.write(row, mark, "|")
    grid.write(0, width - 6, "-> tip")
    grid.write(0, 0, "-" * (width - 6))
    return "\n".join([*map(grid.line, range(rows, -rows - 1, -1)), _ruler(grid)])


def _ruler(grid: _Grid) -> str:
    """Numbers of mm from the mounting mark, each centred under its place."""
    tick = next((tick for tick in TICKS if tick / grid.size >= 8), TICKS[-1])
    ruler = replace(grid, cells={})
    first = math.ceil(grid.start / tick)
    last = math.floor((grid.start + grid.size * (grid.width - 1)) / tick)
    for number in range(first, last + 1):
        words = f"{number * tick:g}"
        column = grid.column(number * tick) - len(words) // 2
        if ruler.free(0, column, words):
            ruler.write(0, column, words)
    return ruler.line(0)

"""One drawing read, checked and made a pattern file's text: each circle is a hole."""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import itemgetter
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.importing import DEPTH, KIND, Choices, Circle, Drawing
from jiggen.inputs.faults import UNITS, did_you_mean, quoted
from jiggen.inputs.table import Columns, Row, read_table
from jiggen.pattern import model
from jiggen.pattern.model import Drill, Group, Hole, Pattern
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import pattern_toml

GROUP_NAMES = {"boot-toe": "toe", "boot-heel": "heel", "boot-centre": "plate"}
LEAST_DEPTH = 0.5  # mm: less is a slip
SAME = 1e-3  # mm: centres and diameters nearer than this are one, and a pair's two sides
DIGITS = 6  # of a mm, in what is written: a nanometre
CHOOSE = "Select the holes by their layer, or by their diameter."


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
    unit = UNITS[choices.units].mm if choices.units else drawing.unit
    faults = [*drawing.faults, *_odd_choices(choices), *_missing_layers(drawing, choices)]
    if unit is None:
        message = "the drawing does not say which unit it is in"
        hint = "Give the unit, mm or in. One distance, measured on the plate, tells which."
        faults.append(Finding("import.units", message, drawing.file, "units", hint))
    # Without its unit, a drawing's sizes cannot be checked; all else can.
    drawn = [
        replace(circle, x=unit * circle.x, y=unit * circle.y, diameter=unit * circle.diameter)
        for circle in drawing.circles
        if unit is not None
    ]
    circles = [circle for circle in drawn if _is_chosen(circle, choices)]
    placed = _placed(circles, choices, y_down=drawing.y_down)
    if not circles and not faults:
        faults.append(_no_circle(drawing, drawn))
    faults += _circle_faults(placed, choices)
    if faults:
        raise InputError(faults)
    holes = tuple(_holes(placed, choices))
    group = Group(GROUP_NAMES[choices.datum], choices.datum, 0.0, (), holes)
    name = "".join(c if c.isprintable() and c != "_" else " " for c in path.stem)
    name = choices.name or " ".join(name.split())[: model.LONGEST_NAME].strip() or "Plate"
    pattern = Pattern(name, "", "mm", None, "same", (group,), target)
    unit_source = f"{choices.units}, as chosen" if choices.units else drawing.unit_source
    layers = f", layers {', '.join(choices.layers)}" if choices.layers else ""
    head = (
        f"Imported from the drawing {path.name}{layers}; its unit: {unit_source}.",
        "No drawing tells whether its holes are those of the actual plate: lay the plate on a "
        "1:1 print or on a trial plate before any jig is built.",
    )
    checks = tuple(_checks(choices, group))
    note = " ".join(("Check these.", *checks)) if checks else ""
    text = pattern_toml(pattern, head, note)
    passed_over = len(drawing.circles) - len(circles)
    return Imported(
        text, parse_pattern(text, target), len(placed), passed_over, unit_source, checks
    )


def _reader(path: Path) -> Callable[[Path], Drawing]:
    """The reader of a file's kind, which its name's end tells; loaded when it is needed."""
    match path.suffix.lower():
        case ".dxf":
            from jiggen.importing.dxf import read_dxf

            return read_dxf
        case ".svg":
            from jiggen.importing.svg import read_svg

            return read_svg
        case ".csv" | ".xlsx":
            return read_csv
    message = f"a file that ends in {path.suffix or 'nothing'} is not read"
    hint = "Files that end in .dxf, .svg, .csv, .xlsx are. Save the drawing as one of them."
    raise InputError.of("import.kind", message, where=str(path), hint=hint)


def _odd_choices(choices: Choices) -> Iterator[Finding]:
    for key, what, size, (least, most) in (
        ("drill", "a drill", choices.drill, model.DIAMETERS),
        ("metal", "a drill", choices.metal, model.DIAMETERS),
        ("depth", "a depth", choices.depth, (LEAST_DEPTH, model.DEEPEST)),
    ):
        if size is not None and not least <= size <= most:
            hint = f"Allowed: {least:g} to {most:g} mm."
            yield Finding("import.drill", f"{what} of {size:g} mm", key=key, hint=hint)
    name = choices.name
    if name and (len(name) > model.LONGEST_NAME or not name.strip() or not name.isprintable()):
        hint = f"Allowed: 1 to {model.LONGEST_NAME} printable characters, for it is engraved."
        yield Finding("import.name", f"{quoted(name)} cannot be the name", key="name", hint=hint)


def _missing_layers(drawing: Drawing, choices: Choices) -> Iterator[Finding]:
    """A fault for each layer that is asked for and not there, with those that are."""
    there = Counter(name for circle in drawing.circles for name in circle.layers)
    layers = ", ".join(f"{name} ({count})" for name, count in there.most_common(30)) or "none"
    for wanted in choices.layers:
        if wanted.casefold() not in map(str.casefold, there):
            message = f"there is no circle on a layer {quoted(wanted)}"
            hint = f"{did_you_mean(wanted, there)}Layers with circles on them: {layers}."
            yield Finding("import.layer", message, drawing.file, "layer", hint)


def _no_circle(drawing: Drawing, drawn: Iterable[Circle]) -> Finding:
    if sizes := sorted({round(circle.diameter, 3) for circle in drawn}):
        hint = f"There are circles of {', '.join(f'{size:g}' for size in sizes[:20])} mm."
        return Finding("import.no-circle", "there is no such circle", drawing.file, "only", hint)
    kinds = ", ".join(f"{count} x {name}" for name, count in drawing.others.most_common(8))
    there = f"What is there: {kinds}." if kinds else "There is nothing that is shown."
    hint = f"{there} Draw each hole as a circle, in the drawing program."
    return Finding("import.no-circle", "there is no circle in it", drawing.file, hint=hint)


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


def _is_chosen(circle: Circle, choices: Choices) -> bool:
    """Whether it is on the layers and of the diameters asked for."""
    layers = {name.casefold() for name in choices.layers}
    low, high = choices.only or (-math.inf, math.inf)
    beyond = circle.diameter < low - SAME or circle.diameter > high + SAME
    return not beyond and (not layers or any(name.casefold() in layers for name in circle.layers))


def _placed(circles: Sequence[Circle], choices: Choices, *, y_down: bool) -> list[Circle]:
    """The circles in the group's frame; one that is drawn twice counts once."""
    x0, y0 = (0.0, 0.0) if choices.origin == "middle" else choices.origin
    if choices.origin == "middle" and circles:
        xs, ys = [circle.x for circle in circles], [circle.y for circle in circles]
        x0, y0 = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    placed: list[Circle] = []
    for circle in circles:
        x, y = circle.x - x0, y0 - circle.y if y_down else circle.y - y0
        for _ in range(choices.turn // 90):  # exactly, a quarter turn at a time
            x, y = -y, x
        there = replace(circle, x=x, y=y)
        if not any(_are_same(there, other) for other in placed):
            placed.append(there)
    return placed


def _apart(one: Circle, other: Circle) -> float:
    return math.hypot(one.x - other.x, one.y - other.y)


def _are_same(one: Circle, other: Circle) -> bool:
    return _apart(one, other) < SAME and abs(one.diameter - other.diameter) < SAME


def _drill(circle: Circle, choices: Choices) -> Drill:
    """The drill for a circle: what the person chose, else its own diameter."""
    plain = round(circle.diameter, DIGITS) if choices.drill is None else choices.drill
    metal = plain if choices.metal is None else choices.metal
    return Drill(plain, metal, DEPTH if choices.depth is None else choices.depth)


def _circle_faults(placed: Sequence[Circle], choices: Choices) -> Iterator[Finding]:
    """Everything about the circles that keeps them from being holes of one pattern."""
    if len(placed) > model.MAX_HOLES:
        message = f"{len(placed)} circles are too many for a plate: {model.MAX_HOLES} is the most"
        yield Finding("import.too-many", message, placed[0].where.partition(":")[0], hint=CHOOSE)
        return
    fit: list[Circle] = []
    for circle in placed:
        code = "circle"
        message, hint = _unfit(circle)
        if not message:
            code, message, hint = "spacing", _too_near(circle, fit, choices), CHOOSE
            fit.append(circle)
        if message:
            yield Finding(f"import.{code}", message, circle.where, circle.name, hint)


def _unfit(circle: Circle) -> tuple[str, str]:
    """Why a circle is not a hole, and what helps; nothing when it is one."""
    if circle.flaw:
        return circle.flaw, "Draw it as a circle, or select the other layers."
    low, high = model.DIAMETERS
    if not low <= circle.diameter <= high:
        message = f"{circle.diameter:.6g} mm wide, not a hole of {low:g} to {high:g} mm"
        return message, f"{CHOOSE} If the drawing is in another unit, give its unit."
    for name, value, limit in (("x", circle.x, model.X_LIMIT), ("y", circle.y, model.Y_LIMIT)):
        if not abs(value) <= limit:
            outside = f"outside the range of real skis (± {limit:g} mm)"
            message = f"{name} is {value:.6g} mm from the origin, {outside}"
            return message, "Give the drawing's point on the centre line as origin, or middle."
    return "", ""


def _too_near(circle: Circle, before: Iterable[Circle], choices: Choices) -> str:
    """A message about the nearest of those before it whose drill would meet this one's, if any."""
    near = []
    for other in before:
        drills = (_drill(circle, choices), _drill(other, choices))
        needed = sum(max(drill.plain, drill.metal) for drill in drills) / 2 + model.WEB
        if (apart := _apart(circle, other)) < needed - SAME:
            near.append((apart, other))
    if not near:
        return ""
    apart, other = min(near, key=itemgetter(0))
    if apart < SAME:
        return f"about the same centre as the {other.name}, {other.diameter:.6g} mm wide"
    return f"{apart:.6g} mm from the {other.name}: drills and {model.WEB:g} mm of wall overlap"


def _holes(placed: Iterable[Circle], choices: Choices) -> Iterator[Hole]:
    """The holes, from the tip to the tail; two that mirror one another are one on both sides."""
    left = sorted(placed, key=lambda one: (-round(one.x, DIGITS), -round(one.y, DIGITS)))
    while left:
        circle = left.pop(0)
        x, y = circle.x, circle.y
        twin = next(
            (other for other in left if _are_same(circle, replace(other, y=-other.y))), None
        )
        if twin:
            left.remove(twin)
            x, y = (x + twin.x) / 2, abs(y - twin.y) / 2  # half a SAME off each at most
        elif abs(y) < SAME / 2:
            y = 0.0  # on the centre line, but for rounding
        at = (round(x, DIGITS) + 0.0, round(y, DIGITS) + 0.0)
        yield Hole(at, twin is not None, _drill(circle, choices))


_NAMES = ("x", "y", "diameter")
_OTHERS = {"dia": "diameter", "d": "diameter", "ø": "diameter"}
_COLUMNS = Columns(_NAMES, _NAMES, _NAMES, _OTHERS, optional=True, comments=True)
_ROW = "Each is a number; a first row with these names may come above them."


def read_csv(path: Path) -> Drawing:
    """Read the CSV file at `path`, with y upwards, its numbers in mm unless its columns say inches.

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
    return Drawing(table.file, circles, UNITS[unit].mm, f"{unit}, {source}", faults=faults)


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

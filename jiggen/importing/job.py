"""One drawing read, checked and made a pattern file's text: each circle is a hole."""

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from operator import itemgetter
from pathlib import Path

from jiggen.errors import Finding, InputError
from jiggen.importing import Choices, Circle, Drawing
from jiggen.importing.outlines import ROUND
from jiggen.importing.placing import (
    SAME,
    apart,
    is_chosen,
    misplaced,
    names_of,
    on_layers,
    pieces_of,
    placed,
    twin_of,
    within,
)
from jiggen.inputs.faults import UNITS, did_you_mean, quoted
from jiggen.pattern import model
from jiggen.pattern.model import Drill, Group, Hole, Pattern
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import USUAL_DRILL, pattern_toml
from jiggen.tables import trade_drill
from jiggen.units import counted

LEAST_DEPTH = 0.5  # mm: less is a slip
SMALL = 15.0  # mm: a shape no larger may be meant as a hole; common practice, no source
MOST_SHOWN = 8  # shapes named one by one
DIGITS = 6  # of a mm, in what is written: a nanometre
CHOOSE = "Select the holes by their layer, or by their diameter."


@dataclass(frozen=True)
class Imported:
    """A pattern made of a drawing: its file's text, its values, and notes on it.

    `circles` counts those used, `rounded` those of them that are not drawn as circles, by what they
    are drawn as, and `passed_over` those that were not used; `unit` says what a unit of the drawing
    is, and how that is known; `checks` are what the person should look at, `warnings` are about
    what may be a hole and was not read.
    """

    text: str
    pattern: Pattern
    circles: int
    rounded: Counter[str]
    passed_over: int
    unit: str
    checks: tuple[str, ...]
    warnings: tuple[Finding, ...]

    @property
    def pairs(self) -> int:
        """How many holes are written once for both sides."""
        return sum(hole.both_sides for group in self.pattern.groups for hole in group.holes)


def import_pattern(path: Path, choices: Choices, target: str = "pattern.toml") -> Imported:
    """The drawing at `path` as a pattern; `target` is the file it is meant for, for its faults.

    Raises InputError with every fault at once: ``import.kind`` for a file of no known kind,
    ``.units`` where the drawing does not say its unit, ``.layer``, ``.no-circle``, ``.circle``,
    ``.spacing``, ``.too-many``, ``.drill``, ``.name``, ``.upright``, ``.centre-line`` and what the
    readers raise.
    """
    drawing = _reader(path)(path)
    unit = UNITS[choices.units].mm if choices.units else drawing.unit
    faults = [*drawing.faults, *_odd_choices(choices), *_missing_layers(drawing, choices)]
    if unit is None and drawing.circles:
        message = f"the {drawing.what} does not say which unit it is in"
        hint = "Give the unit, mm or in. One distance, measured on the plate, tells which."
        faults.append(Finding("import.units", message, drawing.file, "units", hint))
    # Without its unit, a drawing's sizes cannot be checked; all else can.
    drawn = [
        replace(circle, x=unit * circle.x, y=unit * circle.y, diameter=unit * circle.diameter)
        for circle in drawing.circles
        if unit is not None
    ]
    chosen = [circle for circle in drawn if is_chosen(circle, choices)]
    pieces = pieces_of(choices)
    parts = [[circle for circle in chosen if within(circle, one, choices)] for one in pieces]
    if not chosen and not faults:
        faults.append(_no_circle(drawing, drawn))
    elif not faults:
        faults += (
            _no_hole(one.where, drawing)
            for one, part in zip(pieces, parts, strict=True)
            if not part
        )
    groups = [
        placed(part, piece, choices, y_down=drawing.y_down)
        for piece, part in zip(pieces, parts, strict=True)
    ]
    holes = [circle for group in groups for circle in group]
    if odd := misplaced([one for part in parts for one in part], holes, choices, drawing.what):
        faults.append(odd)
    else:
        faults += (fault for group in groups for fault in _circle_faults(group, choices))
    faults += _odd_drills(holes, choices)
    if faults:
        raise InputError(faults)
    made = [
        Group(name, piece.datum, 0.0, (), tuple(_holes(group, choices)))
        for name, piece, group in zip(names_of(pieces), pieces, groups, strict=True)
    ]
    name = "".join(c if c.isprintable() and c != "_" else " " for c in path.stem)
    name = choices.name or " ".join(name.split())[: model.LONGEST_NAME].strip() or "Plate"
    pattern = Pattern(name, "", "mm", None, "same", tuple(made), target)
    pattern = replace(pattern, mark=choices.mark, points=choices.points)
    unit_source = f"{choices.units}, as chosen" if choices.units else drawing.unit_source
    layers = f", layers {', '.join(choices.layers)}" if choices.layers else ""
    head = (
        f"Imported from the {drawing.what} {path.name}{layers}; its unit: {unit_source}.",
        f"No {drawing.what} tells whether its holes are those of the actual plate: lay the plate "
        "on a 1:1 print or on a trial plate before any jig is built.",
    )
    warnings = tuple(_unread(drawing, unit or 1.0, drawn, parts, choices))
    checks = tuple(_checks(choices, made, holes, drawing.what))
    notes = (*checks, *(f"Not read: {one.message}." for one in warnings))
    text = pattern_toml(pattern, head, " ".join(("Check these.", *notes)) if notes else "")
    return Imported(
        text,
        parse_pattern(text, target),
        len(holes),
        Counter(circle.drawn_as for circle in holes if circle.drawn_as),
        len(drawn)
        - sum(map(len, parts))
        - sum(one.is_point and one not in chosen for one in drawn),
        unit_source,
        checks,
        warnings,
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
            from jiggen.importing.table import read_circles

            return read_circles
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
        elif size is not None and not choices.unusual:
            drill = Drill(1.0, 1.0, size) if key == "depth" else Drill(size, size, model.DEEPEST)
            for message in model.oddities(drill).values():
                yield Finding("import.drill", message, key=f"{key}, unusual", hint=MEANT)
    if choices.as_drawn and choices.drill is not None:
        message, hint = "the drill is given, and is to be as it is drawn", "Give one of them."
        yield Finding("import.drill", message, key="drill, as-drawn", hint=hint)
    name = choices.name
    if name and (len(name) > model.LONGEST_NAME or not name.strip() or not name.isprintable()):
        hint = f"Allowed: 1 to {model.LONGEST_NAME} printable characters, for it is engraved."
        yield Finding("import.name", f"{quoted(name)} cannot be the name", key="name", hint=hint)


MEANT = "Where it is meant, for threaded inserts or a thin ski, say that it is."


def _odd_drills(circles: Iterable[Circle], choices: Choices) -> Iterator[Finding]:
    """A fault for circles that are taken as drills, and are none for a binding's screw."""
    if not choices.as_drawn or choices.unusual:
        return
    found = Counter(_drill(circle, choices).plain for circle in circles)
    for size, count in sorted(found.items()):
        if size > model.WIDEST_DRILL:
            message = model.oddities(Drill(size, size, model.DEEPEST))["plain"]
            message = f"{counted(count, 'circle')}: {message}"
            yield Finding("import.drill", message, key="as-drawn, unusual", hint=MEANT)


def _missing_layers(drawing: Drawing, choices: Choices) -> Iterator[Finding]:
    """A fault for each layer that is asked for and not there, with those that are."""
    there = Counter(name for circle in drawing.circles for name in circle.listed)
    layers = ", ".join(f"{name} ({count})" for name, count in there.most_common(30)) or "none"
    known = {name.casefold() for circle in drawing.circles for name in circle.layers}
    asked = [("layer", name) for name in choices.layers]
    asked += [("piece", one.where) for one in choices.pieces if isinstance(one.where, str)]
    for key, wanted in asked:
        if wanted.casefold() not in known:
            message = f"there is no circle on a layer {quoted(wanted)}"
            hint = f"{did_you_mean(wanted, there)}Layers with circles on them: {layers}."
            yield Finding("import.layer", message, drawing.file, key, hint)


def _no_circle(drawing: Drawing, drawn: Sequence[Circle]) -> Finding:
    if sizes := sorted({round(circle.diameter, 3) for circle in drawn if not circle.is_point}):
        hint = f"There are circles of {', '.join(f'{size:g}' for size in sizes[:20])} mm."
        return Finding("import.no-circle", "there is no such circle", drawing.file, "only", hint)
    points = [circle for circle in drawn if circle.is_point]
    if points:
        message = f"there is no circle in it, but {counted(len(points), 'point')}"
        hint = "Give the drill, and each point is a hole."
        return Finding("import.no-circle", message, drawing.file, "drill", hint)
    shapes = Counter(one.kind for one in drawing.unread) + drawing.others
    kinds = ", ".join(f"{count} x {name}" for name, count in shapes.most_common(8))
    there = f"What is there: {kinds}." if kinds else "There is nothing that is shown."
    hint = f"{there} Draw each hole as a circle, in the drawing program."
    return Finding("import.no-circle", "there is no circle in it", drawing.file, hint=hint)


def _no_hole(where: str | tuple[float, float], drawing: Drawing) -> Finding:
    words = where if isinstance(where, str) else f"{where[0]:g}:{where[1]:g}"
    message = f"no circle of those chosen lies in the piece {quoted(words)}"
    hint = "From and to are in mm along the ski, as the drawing shows them."
    return Finding("import.no-circle", message, drawing.file, "piece", hint)


def _unread(
    drawing: Drawing,
    unit: float,
    drawn: Sequence[Circle],
    parts: Sequence[Sequence[Circle]],
    choices: Choices,
) -> Iterator[Finding]:
    """A warning for all that is small enough for a hole, on the layers chosen, and was not read."""
    small = [
        one
        for one in drawing.unread
        if unit * max(one.width, one.height) <= SMALL and on_layers(one.layers, choices)
    ]
    shown = [
        f"{one.kind} at ({one.x:.6g}, {one.y:.6g}), {unit * one.width:.3g} by "
        f"{unit * one.height:.3g} mm"
        for one in small
        if one.closed
    ]
    hint = "Where one of them is a hole, draw it as a circle."
    if shown:
        more = f"; and {len(shown) - MOST_SHOWN} more" if len(shown) > MOST_SHOWN else ""
        message = f"{counted(len(shown), 'small closed shape')} not round within {ROUND:.1%} of the"
        message += f" diameter: {'; '.join(shown[:MOST_SHOWN])}{more}"
        yield Finding("import.unread", message, drawing.file, hint=hint)
    if arcs := Counter(one.kind for one in small if not one.closed and not one.straight):
        message = f"small open curves: {', '.join(f'{n} x {kind}' for kind, n in arcs.items())}"
        yield Finding("import.unread", message, drawing.file, hint=hint)
    used = {circle for part in parts for circle in part}
    centres = {(round(one.x, 2), round(one.y, 2)) for one in used}
    points = [
        one
        for one in drawn
        if one.is_point
        and on_layers(one.layers, choices)
        and (round(one.x, 2), round(one.y, 2)) not in centres
    ]
    if points:
        message = f"{counted(len(points), 'point')} with no drill given"
        hint = "Give the drill, and each point is a hole, unless diameters are chosen."
        yield Finding("import.unread", message, drawing.file, "drill", hint)
    if choices.pieces:
        left = [
            one for one in drawn if is_chosen(one, choices) and not one.is_point and one not in used
        ]
        if left:
            message = f"{counted(len(left), 'circle')} in none of the pieces"
            hint = "Give a piece for each group of holes."
            yield Finding("import.unread", message, drawing.file, "piece", hint)


def _checks(
    choices: Choices, groups: Sequence[Group], circles: Sequence[Circle], what: str
) -> Iterator[str]:
    """What the person should look at, for no drawing can tell it."""
    sizes = sorted({round(one.diameter, 2) for one in circles if not one.is_point})
    if choices.as_drawn:
        yield f"The drill diameters are those of the {what}'s circles."
    elif choices.drill is None:
        drawn = f"{', '.join(f'{size:g}' for size in sizes[:8])} mm"
        yield (
            f"The drill of {USUAL_DRILL.plain:g} mm is a guess: a {what}'s circles, here "
            f"{drawn}, are often the plate's own holes and not what is drilled into the ski."
        )
    if choices.metal is None and (choices.as_drawn or choices.drill is not None):
        yield "The drill under a metal sheet is assumed to be the same as in a plain core."
    elif choices.metal is None:
        yield f"The drill of {USUAL_DRILL.metal:g} mm under a metal sheet is a guess too."
    if choices.depth is None:
        depth = USUAL_DRILL.depth
        yield f"The depth of {depth:g} mm is not from the {what}: measure screw and plate."
    if not any(hole.both_sides or hole.at[1] == 0 for one in groups for hole in one.holes):
        yield (
            f"No hole has a counterpart on the other side: is the {what}'s y = 0 the centre line, "
            "and does its tip point to the right?"
        )


def _drill(circle: Circle, choices: Choices) -> Drill:
    """The drill for a circle: what the person chose, its own diameter, or what is usual."""
    plain = choices.drill
    if plain is None:
        plain = trade_drill(round(circle.diameter, DIGITS)) if choices.as_drawn else None
    metal = choices.metal if choices.metal is not None else plain
    depth = USUAL_DRILL.depth if choices.depth is None else choices.depth
    usual = USUAL_DRILL
    return Drill(plain or usual.plain, metal or usual.metal, depth, choices.unusual)


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
    if not (circle.is_point or low <= circle.diameter <= high):
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
        if (distance := apart(circle, other)) < needed - SAME:
            near.append((distance, other))
    if not near:
        return ""
    distance, other = min(near, key=itemgetter(0))
    if distance < SAME:
        return f"about the same centre as the {other.name}, {other.diameter:.6g} mm wide"
    return f"{distance:.6g} mm from the {other.name}: drills and {model.WEB:g} mm of wall overlap"


def _holes(placed: Iterable[Circle], choices: Choices) -> Iterator[Hole]:
    """The holes, from the tip to the tail; two that mirror one another are one on both sides."""
    left = sorted(placed, key=lambda one: (-round(one.x, DIGITS), -round(one.y, DIGITS)))
    while left:
        circle = left.pop(0)
        x, y = circle.x, circle.y
        twin = twin_of(circle, left)
        if twin:
            left.remove(twin)
            x, y = (x + twin.x) / 2, abs(y - twin.y) / 2  # half a SAME off each at most
        elif abs(y) < SAME / 2:
            y = 0.0  # on the centre line, but for rounding
        at = (round(x, DIGITS) + 0.0, round(y, DIGITS) + 0.0)
        yield Hole(at, twin is not None, _drill(circle, choices))

"""From a drawing's circles to the holes of a pattern: chosen, placed, paired, and checked."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from jiggen.errors import Finding
from jiggen.importing.model import DEPTH, Choices, Circle, Drawing, fault
from jiggen.inputs.faults import UNITS, did_you_mean, quoted
from jiggen.pattern.model import DIAMETERS, MAX_HOLES, WEB, X_LIMIT, Y_LIMIT, Drill, Hole

SAME = 1e-3  # mm: centres and diameters nearer than this are one, and a pair's two sides
OUTSIDE = "outside the range of real skis"
DIGITS = 6  # of a mm, in what is written: a nanometre
CHOOSE = "Select the holes by their layer, or by their diameter."


@dataclass(frozen=True)
class Spot:
    """A circle placed: x, y from the group's origin in mm, x to the tip, and its diameter."""

    x: float
    y: float
    diameter: float
    circle: Circle


def layer_faults(drawing: Drawing, choices: Choices) -> Iterator[Finding]:
    """A fault for each layer that is asked for and not there, with those that are."""
    there = Counter(name for circle in drawing.circles for name in circle.layers)
    known = {name.casefold() for name in there}
    for wanted in choices.layers:
        if wanted.casefold() not in known:
            layers = ", ".join(f"{name} ({count})" for name, count in there.most_common(30))
            yield fault(
                "layer",
                f"there is no circle on a layer {quoted(wanted)}",
                drawing.file,
                "layer",
                f"{did_you_mean(wanted, there)}Layers with circles on them: {layers or 'none'}.",
            )


def chosen(drawing: Drawing, choices: Choices, unit: float) -> list[Circle]:
    """The circles on the layers and of the diameters asked for; `unit` in mm."""
    layers = {name.casefold() for name in choices.layers}
    low, high = choices.only or (0.0, math.inf)
    return [
        circle
        for circle in drawing.circles
        if (not layers or layers & {name.casefold() for name in circle.layers})
        and low - SAME <= circle.diameter * unit <= high + SAME
    ]


def placed(
    circles: Iterable[Circle], drawing: Drawing, choices: Choices, unit: float
) -> list[Spot]:
    """The circles in the group's frame; one that is drawn twice counts once."""
    up = -1.0 if drawing.y_down else 1.0
    circles = list(circles)
    points = [(unit * circle.x, unit * circle.y) for circle in circles]
    x0, y0 = _middle(points) if choices.origin == "middle" else choices.origin
    spots: list[Spot] = []
    for circle, (x, y) in zip(circles, points, strict=True):
        across, along = _turned(x - x0, up * (y - y0), choices.turn)
        spot = Spot(across, along, unit * circle.diameter, circle)
        if not any(_alike(spot, other) for other in spots):
            spots.append(spot)
    return spots


def _middle(points: Sequence[tuple[float, float]]) -> tuple[float, float]:
    if not points:
        return 0.0, 0.0
    xs, ys = zip(*points, strict=True)
    return (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2


def _turned(x: float, y: float, degrees: int) -> tuple[float, float]:
    """(x, y) turned anticlockwise by quarter turns, exactly."""
    for _ in range(degrees // 90):
        x, y = -y, x
    return x, y


def _alike(one: Spot, other: Spot) -> bool:
    return _apart(one, other) < SAME and abs(one.diameter - other.diameter) < SAME


def _apart(one: Spot, other: Spot) -> float:
    return math.hypot(one.x - other.x, one.y - other.y)


def spot_faults(spots: Sequence[Spot], choices: Choices) -> Iterator[Finding]:
    """Everything about the spots that keeps them from being holes of one pattern."""
    if len(spots) > MAX_HOLES:
        message = f"{len(spots)} circles are too many for a plate: at most {MAX_HOLES} are allowed"
        yield fault("too-many", message, spots[0].circle.where.partition(":")[0], hint=CHOOSE)
        return
    fit: list[Spot] = []
    for spot in spots:
        reason = _unfit(spot)
        if reason:
            message, hint = reason
            yield fault("circle", message, spot.circle.where, spot.circle.name, hint)
        else:
            fit.append(spot)
    for index, spot in enumerate(fit):
        yield from _too_near(spot, fit[:index], choices)


def _unfit(spot: Spot) -> tuple[str, str] | None:
    """Why a spot is not a hole, and what helps; None when it is one."""
    if spot.circle.flaw:
        return spot.circle.flaw, "Draw it as a circle, or select the other layers."
    low, high = DIAMETERS
    if not low <= spot.diameter <= high:
        message = f"{spot.diameter:.6g} mm wide, not a hole of {low:g} to {high:g} mm"
        return message, f"{CHOOSE} If the drawing is in another unit, give its unit."
    for name, value, limit in (("x", spot.x, X_LIMIT), ("y", spot.y, Y_LIMIT)):
        if not abs(value) <= limit:
            message = f"{name} is {value:.6g} mm from the origin, {OUTSIDE} (± {limit:g} mm)"
            return message, "Give the drawing's point on the centre line as origin, or middle."
    return None


def _too_near(spot: Spot, before: Iterable[Spot], choices: Choices) -> Iterator[Finding]:
    """One fault, with the nearest of those before it, when the drills would meet."""
    near = [
        (_apart(spot, other), other)
        for other in before
        if _apart(spot, other) < (_widest(spot, choices) + _widest(other, choices)) / 2 + WEB - SAME
    ]
    if not near:
        return
    apart, other = min(near, key=lambda pair: pair[0])
    if apart < SAME:
        message = f"about the same centre as the {other.circle.name}, {other.diameter:.6g} mm wide"
    else:
        message = (
            f"{apart:.6g} mm from the {other.circle.name}: drills and {WEB:g} mm of wall overlap"
        )
    yield fault("spacing", message, spot.circle.where, spot.circle.name, CHOOSE)


def _widest(spot: Spot, choices: Choices) -> float:
    drill = drill_of(spot, choices)
    return max(drill.plain, drill.metal)


def drill_of(spot: Spot, choices: Choices) -> Drill:
    """The drill for a spot: what the person chose, else the circle's own diameter; mm."""
    own = round(spot.diameter, DIGITS)
    plain = choices.drill if choices.drill is not None else own
    metal = choices.metal if choices.metal is not None else plain
    return Drill(plain, metal, choices.depth if choices.depth is not None else DEPTH)


def holes_of(spots: Sequence[Spot], choices: Choices) -> tuple[Hole, ...]:
    """The holes, from the tip to the tail; two that mirror one another are one on both sides."""
    left = sorted(spots, key=lambda spot: (-round(spot.x, DIGITS), -round(spot.y, DIGITS)))
    holes = []
    while left:
        spot = left.pop(0)
        twin = next((other for other in left if _mirrored(spot, other)), None)
        if twin:
            left.remove(twin)
        holes.append(_hole(spot, twin, choices))
    return tuple(holes)


def _mirrored(one: Spot, other: Spot) -> bool:
    return _alike(one, Spot(other.x, -other.y, other.diameter, other.circle))


def _hole(spot: Spot, twin: Spot | None, choices: Choices) -> Hole:
    x, y = spot.x, spot.y
    if twin:  # half a SAME off each at most
        x, y = (x + twin.x) / 2, abs(y - twin.y) / 2
    elif abs(y) < SAME / 2:
        y = 0.0  # on the centre line, but for rounding
    return Hole((_rounded(x), _rounded(y)), twin is not None, drill_of(spot, choices))


def _rounded(value: float) -> float:
    return round(value, DIGITS) + 0.0


def unit_of(drawing: Drawing, choices: Choices) -> float | None:
    """The drawing's unit in mm: what the person chose, else the file, else None."""
    return UNITS[choices.units].mm if choices.units else drawing.unit

"""Which of a drawing's circles are holes of which piece, and where they lie from its origin."""

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from jiggen.errors import Finding, InputError
from jiggen.importing import Choices, Circle, Origin, Piece
from jiggen.importing.outlines import ROUND
from jiggen.inputs.faults import quoted
from jiggen.pattern import model
from jiggen.pattern.write import read_datum
from jiggen.units import length, lengths

SAME = 1e-3  # mm: centres and diameters nearer than this are one, and a pair's two sides
ENOUGH = 5 * model.MAX_HOLES  # circles: far too many
LEAST_HOLES = 3  # that show where the centre line is
PIECE = (
    "Write layer=datum or from:to=datum, and @x/y for the drawing's point at that datum: "
    "Toe=boot-toe@120/40, or -200:0=boot-heel@-150/40."
)


def read_piece(words: str, points: Iterable[str] = ()) -> Piece:
    """The piece that ``layer=datum``, ``from:to=datum`` or either with ``@x/y`` describes.

    The datum may be one of `points` too.

    Raises InputError ``import.piece``, ``draft.datum``, ``units.length`` or ``.lengths``.
    """
    where, _, rest = words.rpartition("=")
    datum, at, point = rest.partition("@")
    start, colon, stop = where.partition(":")
    place: str | tuple[float, float] = where.strip()
    if colon:
        try:
            place = (length(start), length(stop))
        except InputError:
            place = where.strip()  # a layer's name may have a colon
    origin: Origin | None = None
    if point == "middle":
        origin = "middle"
    elif at:
        x, y = lengths(point, 2, example="120/40")
        origin = (x, y)
    if not place or (isinstance(place, tuple) and not place[0] < place[1]):
        raise InputError.of("import.piece", f"{quoted(words)} is not a valid piece", hint=PIECE)
    return Piece(place, read_datum(datum.strip(), points), origin)


def pieces_of(choices: Choices) -> tuple[Piece, ...]:
    """The pieces chosen, or one for the whole drawing."""
    return choices.pieces or (Piece((-math.inf, math.inf), choices.datum),)


def names_of(pieces: Iterable[Piece]) -> Iterator[str]:
    """The group's name of each piece, of which hole ids are made."""
    usual = {"boot-toe": "toe", "boot-heel": "heel", "boot-centre": "plate"}
    used: dict[str, int] = {}
    for piece in pieces:
        name = usual.get(piece.datum, piece.datum)
        used[name] = used.get(name, 0) + 1
        yield name if used[name] == 1 else f"{name}.{used[name]}"


def is_chosen(circle: Circle, choices: Choices) -> bool:
    """Whether it is on the layers and of the diameters asked for; a point needs a drill."""
    low, high = choices.only or (-math.inf, math.inf)
    if circle.is_point and (choices.drill is None or choices.only):
        return False
    beyond = circle.diameter < low - SAME or circle.diameter > high + SAME
    return not beyond and on_layers(circle.layers, choices)


def on_layers(layers: Iterable[str], choices: Choices) -> bool:
    """Whether one of `layers` is asked for, or none is."""
    wanted = {name.casefold() for name in choices.layers}
    return not wanted or any(name.casefold() in wanted for name in layers)


def within(circle: Circle, piece: Piece, choices: Choices) -> bool:
    """Whether a circle belongs to `piece`: lies on its layer or in its stretch of the ski."""
    if isinstance(piece.where, str):
        return piece.where.casefold() in map(str.casefold, circle.layers)
    along = circle.x if (choices.turn or 0) % 180 == 0 else circle.y
    return piece.where[0] <= along <= piece.where[1]


def placed(
    circles: Sequence[Circle], piece: Piece, choices: Choices, *, y_down: bool
) -> list[Circle]:
    """The circles in the group's frame; one that is drawn twice counts once."""
    origin = piece.origin or choices.origin or (0.0, 0.0)
    x0, y0 = (0.0, 0.0) if origin == "middle" else origin
    if origin == "middle" and circles:
        xs, ys = [circle.x for circle in circles], [circle.y for circle in circles]
        x0, y0 = (min(xs) + max(xs)) / 2, (min(ys) + max(ys)) / 2
    found: list[Circle] = []
    for circle in sorted(circles, key=lambda one: one.is_point):
        x, y = circle.x - x0, y0 - circle.y if y_down else circle.y - y0
        for _ in range((choices.turn or 0) // 90):  # exactly, a quarter turn at a time
            x, y = -y, x
        there = replace(circle, x=x, y=y)
        if not any(_are_one(there, other) for other in found):
            found.append(there)
        if len(found) > ENOUGH:
            break
    return found


def apart(one: Circle, other: Circle) -> float:
    """How far two centres are apart."""
    return math.hypot(one.x - other.x, one.y - other.y)


def _alike(one: Circle, other: Circle) -> bool:
    """Whether two have one diameter, as well as it is known where they are not drawn as circles."""
    known = ROUND * one.diameter if one.drawn_as or other.drawn_as else 0.0
    return abs(one.diameter - other.diameter) < SAME + known


def _are_one(one: Circle, other: Circle) -> bool:
    known = ROUND * one.diameter if one.drawn_as or other.drawn_as else 0.0
    return apart(one, other) < SAME + known and (one.is_point or _alike(one, other))


def twin_of(circle: Circle, others: Iterable[Circle]) -> Circle | None:
    """The one that mirrors a circle about the centre line, if there is one."""
    mirrored = (
        other
        for other in others
        if apart(circle, replace(other, y=-other.y)) < SAME and _alike(circle, other)
    )
    return next(mirrored, None)


def misplaced(
    drawn: Sequence[Circle], holes: Sequence[Circle], choices: Choices, what: str
) -> Finding | None:
    """A fault where no hole mirrors another about the centre line, and they show another one.

    `drawn` are the circles as they are drawn, `holes` the same from their origins.
    """
    if not LEAST_HOLES <= len(drawn) <= model.MAX_HOLES or any(
        twin_of(one, holes) for one in holes
    ):
        return None
    level, upright = _centre(drawn, (one.y for one in drawn)), None
    if choices.turn is None:
        turned = [replace(one, x=one.y, y=one.x) for one in drawn]
        upright = _centre(turned, (one.y for one in turned))
        xs, ys = [one.x for one in holes], [one.y for one in holes]
        if max(ys) - min(ys) < SAME:  # one row says nothing
            upright = None
        long = max(ys) - min(ys) > max(xs) - min(xs)
        if long and max(map(abs, ys)) > model.Y_LIMIT >= max(map(abs, xs)) and level is None:
            upright = 0.0
    if level is None and upright is not None:
        hint = "With the tip above, turn it by 270, with the tip below by 90; 0 leaves it as it is."
        message = f"the {what} seems to stand upright: no hole mirrors another about y = 0"
        return Finding("import.upright", message, key="turn", hint=hint)
    given = choices.origin is not None or any(piece.origin for piece in choices.pieces)
    if level is not None and abs(level) > SAME and not given:
        message = f"the holes mirror one another about y = {level:.6g}, not about y = 0"
        hint = f"Give a point of the centre line, 0/{level:.6g} say, or middle."
        return Finding("import.centre-line", message, key="origin", hint=hint)
    return None


def _centre(circles: Sequence[Circle], across: Iterable[float]) -> float | None:
    """The y about which all circles mirror one another, if there is one and some lie beside it."""
    values = sorted(across)
    if not values or values[-1] - values[0] < 2 * SAME:
        return None
    middle = (values[0] + values[-1]) / 2
    about = [replace(one, y=one.y - middle) for one in circles]
    return middle if all(twin_of(one, about) for one in about) else None

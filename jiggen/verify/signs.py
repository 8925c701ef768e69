"""The outlines that engraved signs must have, drawn here anew: letters, arrows, diamonds.

A letter is cut with one chord for each arc of the font's curves; that is how it is compared.
"""

from functools import cache
from typing import Any

import shapely
from shapely import affinity

from jiggen.verify.engraved import capital, lettered
from jiggen.verify.reading.engraved import Sign

# Length over all, width of the shaft, length and width of the head, for a length of 1.
ARROWS = {"arrow": (0.2, 0.4375, 0.5), "axis": (1.2 / 19, 5 / 19, 3.6 / 19)}
STROKE = 1.2  # mm, a diamond's, along its diagonals


def shapes_of(sign: Sign) -> list[tuple[str, Any]]:
    """The shapes of a sign at its place, with what each is; of a text each of its letters."""
    if sign.kind == "text":
        k = sign.size / capital()
        # The middle of the whole text's box lies at its place.
        (x, y), (c, s) = _middle(sign.text), _turn(sign.turn)
        by = (
            k * c,
            -k * s,
            k * s,
            k * c,
            sign.x - k * (c * x - s * y),
            sign.y - k * (s * x + c * y),
        )
        return [
            (character, affinity.affine_transform(letter, by))
            for character, letter in lettered(sign.text, 1)
            if not letter.is_empty
        ]
    if sign.kind == "diamond":
        outer, inner = sign.size, max(sign.size - STROKE, 0.0)
        shape = shapely.Polygon(_diamond(outer), [_diamond(inner)] if inner else None)
    else:
        shape = affinity.rotate(_arrow(sign.kind, sign.size), sign.turn, origin=(0.0, 0.0))
    return [(sign.kind, affinity.translate(shape, sign.x, sign.y))]


def box_of(sign: Sign) -> tuple[float, float, float, float]:
    """The box of a sign."""
    found = shapely.bounds([shape for _, shape in shapes_of(sign)])
    if not len(found):
        return sign.x, sign.y, sign.x, sign.y
    x0, y0 = found[:, :2].min(axis=0).tolist()
    x1, y1 = found[:, 2:].max(axis=0).tolist()
    return x0, y0, x1, y1


@cache
def _middle(text: str) -> tuple[float, float]:
    bounds = shapely.total_bounds([letter for _, letter in lettered(text, 1)])
    x0, y0, x1, y1 = bounds.tolist()
    return (x0 + x1) / 2, (y0 + y1) / 2


def _turn(degrees: int) -> tuple[int, int]:
    """Cosine and sine of a quarter turn."""
    return {0: (1, 0), 90: (0, 1), -90: (0, -1)}[degrees]


def _diamond(reach: float) -> list[tuple[float, float]]:
    return [(reach, 0.0), (0.0, reach), (-reach, 0.0), (0.0, -reach)]


def _arrow(kind: str, length: float) -> Any:
    """An arrow about its box's middle that points along x."""
    shaft, head, width = (length * share for share in ARROWS[kind])
    tail, neck, tip = -length / 2, length / 2 - head, length / 2
    upper = [(tail, shaft / 2), (neck, shaft / 2), (neck, width / 2)]
    return shapely.Polygon([*upper, (tip, 0.0), *((x, -y) for x, y in reversed(upper))])

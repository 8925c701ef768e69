"""Where to write names and numbers so that none covers a hole, a line or another name."""

import math
import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

from jiggen.draw.shapes import Box

Boxes = NDArray[np.float64]
"""(n, 4) float, mm: least x, least y, greatest x, greatest y."""

GAP = 0.8  # mm left free around a name
STEP = 1.5  # mm: how much farther off a name is tried at a time
# Directions a name is tried in, x outwards along the ski and y away from the centre line:
# beside the hole first, the middle of the ski last.
DIRECTIONS = np.array([(0, 1), (-1, 1), (1, 1), (1, 0), (-1, 0), (1, -1), (-1, -1), (0, -1)])


@dataclass(frozen=True)
class Label:
    """A name written in a `box` (least x, y, greatest x, y); `leader` when it is farther off."""

    text: str
    box: Box
    leader: bool

    @property
    def centre(self) -> tuple[float, float]:
        """Middle of the box, mm."""
        return (self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2


def text_width(text: str, height: float) -> float:
    """Width in mm to keep free for `text` of cap `height` mm in any plain font."""
    wide = sum(unicodedata.east_asian_width(character) in "WF" for character in text)
    return height * (len(text) + 0.5 * wide)


def place_boxes(
    sizes: Sequence[tuple[float, float]],
    centres: NDArray[np.float64],
    keep_clear: NDArray[np.float64],
    lines: Boxes,
    room: Box = (-math.inf, -math.inf, math.inf, math.inf),
    farthest: float = math.inf,
) -> list[tuple[Box, bool] | None]:
    """A box for each name beside its hole, clear of holes, `lines` and the names before it.

    With each, whether it needs a leader; None where there is no free place in the `room` within
    `farthest` mm of the hole.  `centres` is (n, 2), `keep_clear` (n,) half the side of the square
    around a hole that stays free, mm.
    """
    farthest = min(farthest, math.dist(room[:2], room[2:]))  # nothing in it is farther off
    reach = keep_clear[:, None]
    obstacles = np.vstack([np.hstack([centres - reach, centres + reach]), lines])
    found: list[tuple[Box, bool] | None] = []
    for size, centre, clear in zip(np.array(sizes), centres, keep_clear.tolist(), strict=True):
        outwards = DIRECTIONS * (1.0, -1.0 if centre[1] < 0 else 1.0)
        place = None
        for step in count():
            away = clear + GAP + step * STEP
            if away > farthest:
                break
            middles = centre + outwards * (size / 2 + away)
            low, high = middles - size / 2, middles + size / 2
            before = low[:, None] - GAP / 2 < obstacles[:, 2:]
            meets = before & (high[:, None] + GAP / 2 > obstacles[:, :2])
            inside = (low >= room[:2]) & (high <= room[2:])
            free = inside.all(axis=1) & ~meets.all(axis=2).any(axis=1)
            if free.any():
                x0, y0, x1, y1 = np.hstack([low, high])[free.argmax()].tolist()
                place = (x0, y0, x1, y1), step > 0
                obstacles = np.vstack([obstacles, place[0]])
                break
        found.append(place)
    return found


def spread(places: Iterable[float], pitch: float, low: float, high: float) -> list[float]:
    """Rising `places` moved apart to at least `pitch` within [low, high], as little as can be.

    Least squares: with i·pitch taken off, it is a rising fit (isotonic regression).
    """
    from scipy.optimize import isotonic_regression

    wanted = np.array(list(places), dtype=np.float64)
    if not wanted.size:
        return []
    steps = pitch * np.arange(len(wanted))
    fitted = np.asarray(isotonic_regression(wanted - steps).x)
    return [float(place) for place in np.clip(fitted, low, high - steps[-1]) + steps]

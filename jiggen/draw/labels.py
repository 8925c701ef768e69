"""Where to write names and numbers so that none covers a hole, a line or another name."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import count

import numpy as np
from numpy.typing import NDArray

Boxes = NDArray[np.float64]
"""(n, 4) float, mm: least x, least y, greatest x, greatest y."""

CHARACTER = 1.0  # width of a character over its cap height, on the wide side for plain fonts
WIDE_CHARACTER = 1.5  # the same for East Asian wide letters
GAP = 0.8  # mm left free around a name
STEP = 1.5  # mm: how much farther off a name is tried at a time
# Directions a name is tried in, x outwards along the ski and y away from the centre line:
# beside the hole first, the middle of the ski last.
DIRECTIONS = np.array([(0, 1), (-1, 1), (1, 1), (1, 0), (-1, 0), (1, -1), (-1, -1), (0, -1)])


@dataclass(frozen=True)
class Label:
    """A name written in a `box` (least x, y, greatest x, y); `leader` when it is farther off."""

    text: str
    box: tuple[float, float, float, float]
    leader: bool

    @property
    def centre(self) -> tuple[float, float]:
        """Middle of the box, mm."""
        return (self.box[0] + self.box[2]) / 2, (self.box[1] + self.box[3]) / 2


def text_width(text: str, height: float) -> float:
    """Width in mm to keep free for `text` of cap `height` mm in any plain font."""
    wide = sum(unicodedata.east_asian_width(character) in "WF" for character in text)
    return height * (CHARACTER * (len(text) - wide) + WIDE_CHARACTER * wide)


def place_labels(
    names: Sequence[str],
    centres: NDArray[np.float64],
    keep_clear: NDArray[np.float64],
    lines: Boxes,
    height: float,
) -> tuple[Label, ...]:
    """A place for each name beside its hole, clear of holes, `lines` and the names before it.

    `centres` is (n, 2) and `keep_clear` (n,) float, mm: half the side of the square around a
    hole that stays free.  `height` is the names' cap height in mm.
    """
    reach = keep_clear[:, None]
    obstacles = np.vstack([np.hstack([centres - reach, centres + reach]), lines])
    labels = []
    for name, centre, clear in zip(names, centres, keep_clear, strict=True):
        size = np.array([text_width(name, height), height])
        box, leader = _free_box(centre, float(clear), size, obstacles)
        obstacles = np.vstack([obstacles, box])
        x0, y0, x1, y1 = box.tolist()
        labels.append(Label(name, (x0, y0, x1, y1), leader))
    return tuple(labels)


def _free_box(
    centre: NDArray[np.float64], clear: float, size: NDArray[np.float64], obstacles: Boxes
) -> tuple[NDArray[np.float64], bool]:
    """The nearest free place; there always is one, since the sheet has no end."""
    outwards = DIRECTIONS * (1.0, -1.0 if centre[1] < 0 else 1.0)
    for step in count():
        middles = centre + outwards * (size / 2 + clear + GAP + step * STEP)
        boxes = np.hstack([middles - size / 2, middles + size / 2])
        free = np.flatnonzero(~_overlap(boxes, obstacles).any(axis=1))
        if free.size:
            return boxes[free[0]], step > 0
    raise AssertionError("count() has no end")


def _overlap(boxes: Boxes, others: Boxes) -> NDArray[np.bool_]:
    """(n, m) bool: which of n boxes comes within GAP / 2 of which of m others."""
    low, high = boxes[:, None, :2] - GAP / 2, boxes[:, None, 2:] + GAP / 2
    meets = (low < others[None, :, 2:]) & (high > others[None, :, :2])
    return np.asarray(meets.all(axis=2))


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

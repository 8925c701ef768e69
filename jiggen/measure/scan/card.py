"""A card of ISO/IEC 7810 size ID-1 beside the thing: says whether the scale is plausible.

Cards differ too much among themselves to measure by; a bank's or a library's card is of this size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from jiggen.measure.scan.holes import labelled
from jiggen.measure.scan.read import Scan

# ISO/IEC 7810:2019, ID-1: 85.47 to 85.72 by 53.92 to 54.03 mm (as two public repositories quote it)
LONG, WIDE = (85.47, 85.72), (53.92, 54.03)
CORNER = 3.18  # mm, radius of its corners (the same)
OFF = 0.006  # of a length: tolerance, edges and local distortion together, three times over
_SPECK = 7  # pixels of the reduced picture: dust at its edges that does not count
_LIKE = 0.03  # of each side: so near is a card, whatever the scale
_FULL = (0.985, 1.01)  # of the rectangle with its moments


@dataclass(frozen=True)
class Card:
    """Its sides in a picture, mm, and by how many rad the long one is turned from the sensor."""

    long: float
    wide: float
    turn: float

    @property
    def ratios(self) -> tuple[float, float]:
        """How many times as long and as wide as a card of the middle of the tolerance."""
        return self.long / (sum(LONG) / 2), self.wide / (sum(WIDE) / 2)


def find_card(scan: Scan) -> Card | None:
    """The card in the picture: of all levels of brightness that show one, the middle."""
    found = []
    for labels, boxes, cells in labelled(scan):
        for number, box in enumerate(boxes, start=1):
            sides = [(s.stop - s.start) * cell for s, cell in zip(box, cells, strict=True)]
            if 0.9 * WIDE[0] < min(sides) and max(sides) < 1.25 * LONG[1]:
                card = _as_card(labels[box] == number, cells)
                if card:
                    found.append(card)
    found.sort(key=lambda card: card.long * card.wide)
    return found[len(found) // 2] if len(found) >= 2 else None


def _as_card(patch: NDArray[np.bool_], cells: tuple[float, float]) -> Card | None:
    """A patch with what is printed on it filled, as a card; None for another shape."""
    from scipy.ndimage import binary_closing, binary_fill_holes, binary_opening

    speck = np.ones((_SPECK, _SPECK))
    whole = binary_fill_holes(np.pad(patch, _SPECK))
    whole = binary_closing(binary_opening(whole, speck), speck)
    rows, columns = np.nonzero(whole)
    if len(rows) < 2:
        return None
    places = np.stack([columns * cells[1], -rows * cells[0]])
    spread = np.cov(places, bias=True) + np.diag([cells[1], cells[0]]) ** 2 / 12
    sizes, ways = np.linalg.eigh(spread)
    area = len(rows) * cells[0] * cells[1]
    # round corners take from the moments twice their share of the area
    corners = 1 + (4 - math.pi) * CORNER**2 / (sum(LONG) * sum(WIDE) / 4)
    wide, long = (np.sqrt(12 * sizes) * corners).tolist()
    card = Card(long, wide, math.atan2(float(ways[1, 1]), float(ways[0, 1])))
    like = all(abs(ratio - 1) < _LIKE for ratio in card.ratios)
    return card if like and _FULL[0] < area / (long * wide) < _FULL[1] else None

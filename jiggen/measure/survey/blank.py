"""Which distances to measure on a plate of which only the number of holes is known."""

from collections.abc import Iterator
from itertools import combinations

from jiggen.measure import Method

MOST = 26  # holes: their names are letters
NEXT = 5  # each hole is measured to as many after it, in the order of their names
FEW = 5  # holes up to which every distance is measured both ways


def worth_measuring(holes: int) -> Iterator[tuple[str, str, tuple[Method, ...]]]:
    """Names of two holes and how to measure between them, for a plate of `holes` holes.

    The holes are named from the tip to the tail, left before right.  So many distances that 99 of
    100 gross errors of 1 mm show with a caliper: those across the plate are hardly checked by the
    rest, and are measured both ways (`tests/bench/survey.py` counts it).
    """
    for number, (one, other) in enumerate(combinations(range(holes), 2)):
        if other - one <= NEXT:
            across = one % 2 == 0 and other == one + 1
            both = across or holes <= FEW
            way: Method = "inside" if number % 2 else "outside"
            yield name(one), name(other), ("outside", "inside") if both else (way,)


def name(hole: int) -> str:
    """What a hole is called in the file to fill in, counted from 0."""
    return chr(ord("a") + hole)

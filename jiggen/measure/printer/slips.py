"""A reading of a caliper and the slip by which a wrong one may have come about, in words."""

from collections.abc import Iterator
from itertools import pairwise

from jiggen.inputs.faults import Unit

_PLACES = {"mm": 2, "in": 4}  # decimals that a caliper shows
_SLIPS = {"mm": (1.0, 10.0, 100.0), "in": (0.1, 1.0)}
_LEAST = 0.03  # mm; nearer than this two slips look the same


def slip(read: float, expected: float, known: float, unit: Unit) -> str:
    """How `read` may have come of `expected`, in words; nothing where no usual slip explains it.

    All in mm; `known` is the standard uncertainty of their difference.
    """
    ways = [(abs(value - expected), words) for value, words in _ways(read, unit)]
    distance, words = min(ways, key=lambda way: way[0])
    return words if distance <= max(4 * known, _LEAST) else ""


def _ways(read: float, unit: Unit) -> Iterator[tuple[float, str]]:
    """What should have been written in mm, and the slip that made `read` of it."""
    for step in _SLIPS[unit.name]:
        yield read - step * unit.mm, f"{step:g} {unit.name} too much"
        yield read + step * unit.mm, f"{step:g} {unit.name} too little"
    text = shown(read, unit)
    for first, second in pairwise(n for n, sign in enumerate(text) if sign.isdigit()):
        if text[first] != text[second]:
            signs = list(text)
            signs[first], signs[second] = text[second], text[first]
            meant = "".join(signs)
            yield float(meant) * unit.mm, f"two digits swapped: {text} for {meant}"
    yield read * 10, "the point one place too far left"
    yield read / 10, "the point one place too far right"
    is_mm = unit.name == "mm"
    yield (read * 25.4, "read in inches") if is_mm else (read / 25.4, "read in millimetres")


def shown(length: float, unit: Unit) -> str:
    """A length in mm as the caliper shows it."""
    return f"{length / unit.mm:.{_PLACES[unit.name]}f}"

"""Known holes on a simulated scanner, as its reader would find them.  Nothing is drawn."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
from scanner import GLASS, Scanner, a_scanner

from jiggen.measure.scan.files import Picture
from jiggen.measure.scan.holes import Hole
from jiggen.measure.scan.matching import ways

SCANNER = a_scanner(11, shadow=0.0)
NOISE = 0.004  # mm of a centre in one picture


def shown(
    places: Mapping[str, Sequence[float]],
    turn: float = 0.0,
    shift: tuple[float, float] = (0.0, 0.0),
    *,
    number: int = 0,
    scanner: Scanner = SCANNER,
    size: tuple[float, float] = GLASS,
    widths: Mapping[str, float] = {},
    more: Sequence[Hole] = (),
) -> Picture:
    """The things of one picture, turned by `turn` degrees about their middle, then shifted."""
    at = np.array([*places.values()], dtype=float)
    at = (at - at.mean(axis=0)) @ ways(np.radians(turn)).T + shift
    random = np.random.default_rng([number, 7])
    seen = scanner.seen(at) + random.normal(0, NOISE, at.shape)
    holes = [
        Hole(x, y, widths.get(name, 7.1), 0.01, NOISE, 1.0)
        for name, (x, y) in zip(places, seen.tolist(), strict=True)
        if abs(x) < size[0] / 2 - 4 and abs(y) < size[1] / 2 - 4
    ]
    found = sorted((*holes, *more), key=lambda hole: (hole.x, hole.y))
    return Picture(f"{number}.png", size, tuple(found), np.full((9, 9), 20 * number, np.uint8))


def four(places: Mapping[str, Sequence[float]], **more: object) -> list[Picture]:
    """Turned by a quarter each time, and not quite."""
    return [
        shown(places, 90 * n + 1.5 * n, (3.0 * n, -2.0), number=n, **more)  # type: ignore[arg-type]
        for n in range(4)
    ]

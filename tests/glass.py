"""Known holes on a simulated scanner: as its reader would find them, or the plan of an STL file."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path

import numpy as np
import trimesh
from scanner import GLASS, Drilled, Plate, Scanner, a_scanner

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


MOUTH, POCKET, THROAT = 0.05, 5.0, 13.2  # mm above the bed, of a body printed top down


def plan_of(stl: Path, **looks: float) -> Plate:
    """What a body's face on the printer's bed shows: pockets with their mouths and their seats."""
    mesh = trimesh.load(stl)
    mouths, pockets, throats = (dict(_circles(mesh, z)) for z in (MOUTH, POCKET, THROAT))
    drilled = []
    for at, wide in pockets.items():
        mouth, throat = (min(other, key=lambda p: math.dist(p, at)) for other in (mouths, throats))
        rim, ledge = (mouths[mouth] - wide) / 2, (wide - throats[throat]) / 2
        drilled.append(Drilled(at[0], -at[1], wide, rim, ledge=ledge))
    edge = np.vstack(_loops(mesh, POCKET)) * (1, -1)
    middle = (edge.max(axis=0) + edge.min(axis=0)) / 2
    holes = tuple(
        Drilled(one.x - middle[0], one.y - middle[1], one.diameter, one.rim, ledge=one.ledge)
        for one in drilled
    )
    (x0, y0), (x1, y1) = edge.min(axis=0) - middle, edge.max(axis=0) - middle
    return Plate(holes, ((x0, y0), (x1, y0), (x1, y1), (x0, y1)), **looks)


def _loops(mesh: trimesh.Trimesh, z: float) -> list[np.ndarray]:
    section = mesh.section(plane_origin=(0, 0, z), plane_normal=(0, 0, 1))
    return [loop[:, :2] for loop in section.discrete]


def _circles(mesh: trimesh.Trimesh, z: float) -> list[tuple[tuple[float, float], float]]:
    """Middles and diameters of the round openings at a height, as wide as a pocket or less."""
    found = []
    for loop in _loops(mesh, z):
        middle = loop[:-1].mean(axis=0)
        radii = np.hypot(*(loop[:-1] - middle).T)
        if len(loop) > 20 and np.ptp(radii) < 0.05 and radii.mean() < 6:
            found.append(((float(middle[0]), float(middle[1])), float(2 * radii.mean())))
    return found

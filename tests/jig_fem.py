"""A jig's bodies as bricks (`solid_fem`), between lines at the heights and places of its design."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import MultiPolygon, box
from solid_fem import Array, Plastic, Solid, moduli

from jiggen.design import Design
from jiggen.design.lettering import regions_of
from jiggen.tables import material
from jiggen.verify.reading.mesh import Mesh

JOINED = 0.15  # mm that outlines are grown by, so that a closed joint holds
UNDER = 6.0  # mm around a hole's axis: what its bush presses on


def lines(places: Iterable[float], start: float, stop: float, most: float) -> Array:
    """From `start` to `stop` through the `places`, none `most` mm from the next."""
    wanted = [start]
    for place in sorted(places):
        if wanted[-1] + 0.4 < place < stop - 0.4:
            wanted.append(place)
    wanted.append(stop)
    parts = [
        np.linspace(a, b, max(1, int(np.ceil((b - a) / most))), endpoint=False)
        for a, b in pairwise(wanted)
    ]
    return np.append(np.concatenate(parts), stop)


def bricks(
    design: Design,
    meshes: Sequence[Mesh],
    size: tuple[float, float, float],
    *,
    hollow: bool = False,
) -> Solid:
    """The bodies in `meshes`, in the ski frame, as bricks of at most `size` mm.

    With `hollow` their relieved underside may come down on the ski too.
    """
    shape, wall = design.mechanism.station, Plastic(0.0).wall
    outlines = np.vstack([body.outline.outer for body in design.bodies])
    (low, _), (high, _) = outlines.min(axis=0), outlines.max(axis=0)
    half = design.half_width
    x = [guide.x for guide in design.guides]
    x += [0.0, -7.0, 7.0] if low < 0.0 < high else []
    for station in design.stations:
        for reach in (shape.channel_x, shape.half_length, shape.half_length + wall):
            x += [station.x - reach, station.x + reach]
    inner, top = half - 9.0, design.settings.body
    y = [-inner, inner, wall - half, half - wall, 0.0]
    z = [design.settings.relief, design.settings.relief + 1.0, shape.lean_z, shape.roof_z, top - 1]
    ends = ((low, high), (-half, half), (0.0, top))
    edges = [lines(p, *e, most) for p, e, most in zip((x, y, z), ends, size, strict=True)]

    def outline(height: float) -> shapely.Geometry:
        return shapely.union_all([mesh.material(height).buffer(JOINED) for mesh in meshes])

    plastic = Plastic(material(design.settings.material).modulus.low)
    modulus = moduli(outline, edges, plastic)
    return Solid(edges, modulus, plastic.poisson, design.settings.relief if hollow else 0.0)


def gives(design: Design, solid: Solid, thrust: float) -> dict[str, tuple[float, float]]:
    """By hole, how far it goes down (mm) and turns (degrees) under `thrust` N on its bush."""
    flat = np.zeros(len(solid.standing))
    found = {}
    for guide in design.guides:
        under = solid.near(guide.x, guide.y, UNDER)
        found[guide.id] = solid.give(solid.settle(solid.push(thrust, under), flat), under)
    return found


def on_pads(design: Design) -> Design:
    """The same jig on a pad of 9 x 36 mm in each corner, clamped there, relieved elsewhere."""
    start = min(body.plate.start for body in design.bodies)
    stop = max(body.plate.stop for body in design.bodies)
    half, length = design.half_width, min(36.0, (stop - start) / 3)
    pads = [
        box(x0, y0, x1, y1)
        for x0, x1 in ((start, start + length), (stop - length, stop))
        for y0, y1 in ((half - 9.0, half), (-half, 9.0 - half))
    ]
    clamps = [(x, y) for x in (start + 8.0, stop - 8.0) for y in (half - 4.5, 4.5 - half)]
    bodies = []
    for body in design.bodies:
        relief = body.outline.polygon.buffer(1.0).difference(shapely.union_all(pads))
        own = tuple(place for place in clamps if body.plate.holds(place[0]))
        bodies.append(replace(body, relief=regions_of(relief), clamps=own))
    supports = regions_of(MultiPolygon(pads))
    return replace(design, bodies=tuple(bodies), supports=supports)

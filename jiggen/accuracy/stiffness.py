"""How stiff a jig is: its real sections, cut across the ski at many places.

A printed body is solid in its walls, top and bottom layers, and has infill between them: plastic
farther than WALLS lines from an upright face and SKIN from a level one counts with INFILL_MODULUS
of the solid modulus.  Bushes, pinions and engravings are left out: they add little stiffness or
take little.  Sections are cells of about 1 mm across, between the heights at which the design
changes.  Lengths are mm, forces N.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import shapely
from numpy.typing import NDArray

from jiggen.accuracy.sections import Array
from jiggen.advice import LINE, SKIN, WALLS
from jiggen.design import Design
from jiggen.design.jig import Body
from jiggen.design.station import StationShape
from jiggen.tables import material

Mask = NDArray[np.bool_]

POISSON = 0.36  # 0.35 to 0.40 of most plastics, from memory
# Of the solid's modulus, with 30 % of a grid (common practice, no source): foams and grids of that
# density lie between 0.09 and 0.3 (Gibson and Ashby, "Cellular Solids", from memory).
INFILL_MODULUS = 0.2
SHEAR = 5 / 6  # of a rectangle's area carries shear: Timoshenko, "Strength of Materials"
CELL = 1.0  # mm, about
LAYER = 1.2  # mm high at most
LONGEST, SHORTEST = 5.0, 0.25  # mm of a piece along the ski


@dataclass(frozen=True, eq=False)
class Feet:
    """Where a jig may stand: springs by node and side (right, left), each (n + 1, 2).

    `stiffness` in N/mm at `y`; it comes down on a flat ski `gap` mm after the strips.
    """

    stiffness: Array
    y: Array
    gap: float


@dataclass(frozen=True, eq=False)
class Pieces:
    """A jig cut across into n pieces, between the `nodes` (n + 1,), x in mm.

    `bending` (n,) is about the axis across the ski and `torsion` about the one along it, N·mm²;
    `shear` in N. `inner` (n, 2) are the strips' inner edges, y, right and left: NaN without one.
    """

    nodes: Array
    bending: Array
    shear: Array
    torsion: Array
    width: float
    inner: Array
    feet: tuple[Feet, ...]


def cut_across(design: Design) -> Pieces:
    """The sections of all bodies of `design`, which lie on the ski as one.

    A joint counts as closed: its screws press the faces together.
    """
    solid = _Solid(design)
    start, low, stop, high = solid.plan.bounds
    nodes = _between(_places(design, solid), start, stop, LONGEST)
    edges = np.linspace(low, high, 2 * round((high - low) / CELL / 2) + 1)
    heights = _between(_heights(design), 0.0, design.settings.body, LAYER)
    x, y, z = ((ends[1:] + ends[:-1]) / 2 for ends in (nodes, edges, heights))
    dx, dy, dz = map(np.diff, (nodes, edges, heights))

    full = solid.holds(x, y, z)
    modulus = material(design.settings.material).modulus.low * np.where(
        solid.is_deep(x, y, z), INFILL_MODULUS, 1.0
    )
    weight = np.where(full, modulus * dy[:, None] * dz, 0.0)
    axial = weight.sum(axis=(1, 2))
    middle = (weight * z).sum(axis=(1, 2)) / axial
    arm = z - middle[:, None, None]
    bending = (weight * (arm**2 + dz**2 / 12)).sum(axis=(1, 2))
    rigidity = 1 / (2 + 2 * POISSON)  # shear modulus over Young's

    # Every column that reaches down to the ski is a spring, as stiff as it is.
    give = np.where(full, dz / modulus, 0.0).sum(axis=2)
    standing = full[:, :, 0]
    hollow = full[:, :, int(np.searchsorted(z, design.settings.relief))] & ~standing
    sides = np.stack([y < 0, y > 0])
    area = dx[:, None] * dy
    feet = tuple(
        _feet(np.where(on, area / np.where(on, give, 1.0), 0.0), y, sides, gap)
        for on, gap in ((standing, 0.0), (hollow, design.settings.relief))
    )
    near = np.where(standing[:, None] & sides, np.abs(y), np.inf).min(axis=2)
    return Pieces(
        nodes=nodes,
        bending=bending,
        shear=SHEAR * rigidity * axial,
        torsion=4 * rigidity * bending,  # b·t³/3 of a wide flat bar: Roark, from memory
        width=high - low,
        inner=np.where(np.isfinite(near), near, np.nan) * (-1.0, 1.0),
        feet=feet,
    )


def _feet(springs: Array, y: Array, sides: Mask, gap: float) -> Feet:
    """Springs (n, m) of columns at `y`, gathered by node and side."""
    of_piece = np.stack([springs @ sides.T, (springs * y) @ sides.T]) / 2
    of_node = np.zeros((2, len(springs) + 1, 2))
    of_node[:, :-1] += of_piece
    of_node[:, 1:] += of_piece
    stiffness, moment = of_node
    return Feet(stiffness, moment / np.where(stiffness > 0, stiffness, 1.0), gap)


def _between(places: Iterable[float], start: float, stop: float, most: float) -> Array:
    """`start`, `stop` and the `places` between, and so many more that none is `most` apart."""
    wanted = [start]
    for place in sorted(places):
        if place > wanted[-1] + SHORTEST and place < stop - SHORTEST:
            wanted.append(place)
    wanted.append(stop)
    steps = np.ceil(np.diff(wanted) / most).astype(int)
    spans = zip(pairwise(wanted), steps, strict=True)
    parts = [np.linspace(*span, count, endpoint=False) for span, count in spans]
    return np.append(np.concatenate(parts), stop)


def _places(design: Design, solid: "_Solid") -> Iterable[float]:
    """Where a section changes along the ski, and where the holes are."""
    yield from shapely.get_coordinates(solid.plan)[:, 0].tolist()
    for guide in design.guides:
        yield from (guide.x - guide.radius, guide.x, guide.x + guide.radius)
    shape = design.mechanism.station
    for station in design.stations:
        for reach in (0.0, shape.cone_radius, shape.channel_x, shape.flange_radius):
            yield from (station.x - reach, station.x + reach)
        yield from (station.x - shape.half_length, station.x + shape.half_length)
    if joint := design.joint:
        for pocket in (*joint.heads, *joint.nuts):
            yield from pocket.x


def _heights(design: Design) -> Iterable[float]:
    """Where a section changes in height."""
    settings, shape = design.settings, design.mechanism.station
    yield from (settings.relief, SKIN, settings.relief + SKIN, settings.body - SKIN)
    yield from (shape.flange_z, shape.lean_z - shape.lean, shape.lean_z)
    yield from (shape.roof_z, shape.roof_z + SKIN, shape.cone_top_z)
    yield from (guide.seat_z for guide in design.guides)
    if joint := design.joint:
        yield from (pocket.top_z for pocket in (*joint.heads, *joint.nuts))


class _Solid:
    """Where a design has plastic: asked for all of x, y and z (each (n,)) at once."""

    def __init__(self, design: Design) -> None:
        self.design = design
        self.plan = shapely.union_all([body.outline.polygon for body in design.bodies])
        self.strips = shapely.union_all([_feet_of(body) for body in design.bodies])
        shapely.prepare([self.plan, self.strips])

    def is_deep(self, x: Array, y: Array, z: Array) -> Mask:
        """Whether it is farther from every face than walls and skins are thick."""
        wall = WALLS * LINE
        ways = ((wall, 0.0, 0.0), (0.0, wall, 0.0), (0.0, 0.0, SKIN))
        around = (self.holds(x + s * a, y + s * b, z + s * c) for a, b, c in ways for s in (1, -1))
        return np.asarray(np.all(list(around), axis=0))

    def holds(self, x: Array, y: Array, z: Array) -> Mask:
        """Whether there is plastic at all."""
        design, settings = self.design, self.design.settings
        xs, ys = (grid[:, :, None] for grid in np.meshgrid(x, y, indexing="ij"))
        found = shapely.contains_xy(self.plan, xs, ys) & (z > 0) & (z < settings.body)
        found &= shapely.contains_xy(self.strips, xs, ys) | (z > settings.relief)
        for guide in design.guides:
            near = np.abs(x - guide.x) < guide.radius
            radius = np.where(z < guide.seat_z, guide.throat / 2, guide.radius)
            found[near] &= np.hypot(xs[near] - guide.x, ys[near] - guide.y) > radius
        shape = design.mechanism.station
        for station in design.stations:
            near = np.abs(x - station.x) < shape.half_length
            found[near] &= ~_hollow(shape, settings.body, xs[near] - station.x, ys[near], z)
        if joint := design.joint:
            for pocket in (*joint.heads, *joint.nuts):
                (x0, x1), (y0, y1) = pocket.x, pocket.y
                within = (xs > x0) & (xs < x1) & (ys > y0) & (ys < y1)
                found &= ~(within & (z < pocket.top_z))
            along = (xs > joint.hole_x[0]) & (xs < joint.hole_x[1])
            for across in joint.screw_y:
                found &= ~(along & (np.hypot(ys - across, z - joint.screw_z) < joint.hole / 2))
        return np.asarray(found)


def _feet_of(body: Body) -> shapely.Geometry:
    """What of a body is not relieved below."""
    relief = shapely.union_all([region.polygon for region in body.relief])
    return body.outline.polygon.difference(relief)


def _hollow(shape: StationShape, body: float, x: Array, y: Array, z: Array) -> Mask:
    """Channels, recess and cone seat of a station at the origin."""
    back = shape.half_length - np.clip(shape.lean_z - z, 0.0, shape.lean)
    radii, heights = np.array(shape.recess(body, 1.0)[1:-1]).T
    recess = np.hypot(x, y) < np.interp(z, heights, radii)
    channels = (np.abs(x) > shape.channel_x) & (np.abs(x) < back) & (z < shape.roof_z)
    return np.asarray(recess | channels)

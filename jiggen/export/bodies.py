"""What the record says of bodies' shapes and of fasteners, from the design's numbers."""

from collections.abc import Iterable, Iterator
from itertools import pairwise

import numpy as np
import shapely
from shapely.geometry import Polygon

from jiggen.design import gauge as gauges
from jiggen.design import trial as trials
from jiggen.design.engraving import DEPTH
from jiggen.design.gauge import Gauge
from jiggen.design.jig import FOOT, Body, Design
from jiggen.design.lettering import Region
from jiggen.design.pieces import list_pieces
from jiggen.design.plan import JointShape, windows
from jiggen.design.station import StationShape
from jiggen.design.trial import Trial
from jiggen.record import bodies as entries
from jiggen.record.entries import Station

BELOW = -1.0  # mm: under all that stands on the ski


def jig_bodies(design: Design) -> Iterator[entries.BodyShape]:
    """The shapes of a jig's bodies."""
    top, relief, shape = design.settings.body, design.settings.relief, design.mechanism.station
    for body in design.bodies:
        standing = body.outline.polygon - shapely.union_all([r.polygon for r in body.relief])
        pits, turned = list[entries.Pit](), list[entries.Turned]()
        for station in body.stations:
            pits += _channels(station, shape, design.half_width)
            turned += _recess(station, shape, top)
        joint, drilled = design.joint, list[entries.Drilled]()
        if joint:
            pits += _pockets(body, joint)
            drilled += _joint_holes(joint)
        yield entries.BodyShape(
            part=body.name,
            top=top,
            relief=relief,
            footed="top",
            foot=FOOT,
            marks=DEPTH,
            outline=_rings([body.outline]),
            supports=_rings_of(standing),
            windows=tuple(_windows(body)),
            pits=tuple(pits),
            turned=tuple(turned),
            drilled=tuple(drilled),
            grooves=tuple(_grooves(body, top)),
            flares=tuple(
                _box("flare", flare.plan, (flare.end, flare.bend)) for flare in body.flares
            ),
        )


def trial_bodies(trial: Trial) -> Iterator[entries.BodyShape]:
    """The shapes of a trial plate's pieces."""
    for plate in trial.plates:
        yield _flat(plate.name, plate.outline, trials.THICKNESS, trials.FOOT, trials.DEPTH)


def gauge_body(gauge: Gauge) -> entries.BodyShape:
    """The shape of a gauge's frame, without its pegs."""
    return _flat(gauges.NAME, gauge.outline, gauges.THICKNESS, gauges.FOOT, gauges.DEPTH)


def _flat(part: str, outline: Region, top: float, foot: float, marks: float) -> entries.BodyShape:
    """A flat plate that lies on the bed as it is used."""
    return entries.BodyShape(
        part=part,
        top=top,
        relief=0.0,
        footed="underside",
        foot=foot,
        marks=marks,
        outline=_rings([outline]),
    )


def fasteners(design: Design) -> Iterator[entries.Fastener]:
    """Every screw of a jig with its nut."""
    mechanism, joint = design.mechanism, design.joint
    poses = {one.name: one.pose for piece in list_pieces(design) for one in piece.placed}
    for station in design.stations:
        pinion, lock, top = f"pinion {station.name}", mechanism.lock, mechanism.knob.top_z
        along = poses[pinion][:3, 1]  # hexagons have two flats square to y
        yield entries.Fastener(
            name=f"{lock.name} {station.name}",
            thread=lock.thread,
            length=lock.length,
            head=(station.x, 0.0, top),
            towards=(0.0, 0.0, -1.0),
            grip=top - mechanism.pinion.nut_top_z,
            flat=tuple(along.tolist()),
            lay=(0.0, 0.0, -1.0),
            pieces=(f"knob {station.name}", pinion, station.part),
        )
    if joint is None:
        return
    head_x, nut_x = joint.heads[0].x[0], joint.nuts[0].x[1]
    for y, side in zip(joint.screw_y, ("left", "right"), strict=True):
        yield entries.Fastener(
            name=f"{joint.bolt.name} {side}",
            thread=joint.bolt.thread,
            length=joint.bolt.length,
            head=(head_x, y, joint.screw_z),
            towards=(-1.0, 0.0, 0.0),
            grip=head_x - nut_x,
            flat=(0.0, 1.0, 0.0),
            lay=(0.0, 0.0, -1.0),
            pieces=tuple(body.name for body in design.bodies),
        )


def _rings(regions: Iterable[Region]) -> entries.Rings:
    return tuple(
        tuple((float(x), float(y)) for x, y in ring)
        for region in regions
        for ring in (region.outer, *region.inner)
    )


def _rings_of(shape: shapely.Geometry) -> entries.Rings:
    """The rings of all polygons of `shape`, slivers left out."""
    parts = (part for part in shapely.get_parts(shape) if isinstance(part, Polygon))
    return tuple(
        tuple(ring.coords)[:-1]
        for part in parts
        if not part.buffer(-1e-3).is_empty
        for ring in (part.exterior, *part.interiors)
    )


def _windows(body: Body) -> Iterator[entries.Window]:
    """The sight windows in a body without a ladder, as far as they are in it."""
    for side, whole in zip(("left", "right"), windows(body.plate.half_width), strict=True):
        ring = shapely.normalize(whole & body.plate.bar)
        if not body.flares and isinstance(ring, Polygon) and not ring.is_empty:
            yield entries.Window(name=f"{side} sight window", ring=tuple(ring.exterior.coords)[:-1])


def _channels(station: Station, shape: StationShape, half_width: float) -> Iterator[entries.Pit]:
    """The two channels of a station, the left rail's on the tip side."""
    profile, reach = shape.channel(BELOW), half_width + 1.0
    heights = sorted({z for _, z in profile})
    for side, way in (("left", 1.0), ("right", -1.0)):
        for low, high in pairwise(heights):
            boxes = []
            for z in (low, high):
                xs = [station.x + way * x for x in _across(profile, z)]
                boxes.append((min(xs), max(xs), -reach, reach))
            yield entries.Pit(
                name=f"{side} channel of the {station.name} station",
                z=(low, high),
                at=(boxes[0], boxes[1]),
            )


def _across(profile: list[tuple[float, float]], z: float) -> tuple[float, float]:
    """From and to of a convex `profile` (x, z) at height `z`."""
    ring = np.array([*profile, profile[0]])
    found = []
    for (x0, z0), (x1, z1) in pairwise(ring.tolist()):
        if min(z0, z1) <= z <= max(z0, z1):
            found += [x0, x1] if z0 == z1 else [x0 + (z - z0) / (z1 - z0) * (x1 - x0)]
    return min(found), max(found)


def _recess(station: Station, shape: StationShape, top: float) -> Iterator[entries.Turned]:
    """The recess of a station in its steps, and the cone's seat."""
    for (low_r, low), (high_r, high) in pairwise(shape.recess(top, -BELOW)):
        if high > low and low_r > 0:
            yield entries.Turned(
                name=f"recess of the {station.name} station",
                x=station.x,
                y=0.0,
                z=(low, high),
                radii=(low_r, high_r),
            )


def _pockets(body: Body, joint: JointShape) -> Iterator[entries.Pit]:
    for pocket in joint.heads if body.plate.half == "toe" else joint.nuts:
        at = (*pocket.x, *pocket.y)
        yield entries.Pit(name=f"pocket of a {pocket.name}", z=(BELOW, pocket.top_z), at=(at, at))


def _joint_holes(joint: JointShape) -> Iterator[entries.Drilled]:
    for y in joint.screw_y:
        yield entries.Drilled(
            name="hole of a joint screw", x=joint.hole_x, y=y, z=joint.screw_z, diameter=joint.hole
        )


def _grooves(body: Body, top: float) -> Iterator[entries.Pit]:
    """Lines that go deeper than letters."""
    for item in (item for item in body.engravings if item.depth > DEPTH):
        for region in item.regions:
            yield _box(item.name, region.polygon, (max(top - item.depth, 0.0), top))


def _box(name: str, plan: Polygon, z: tuple[float, float]) -> entries.Pit:
    """The upright box around `plan` between two heights."""
    x0, y0, x1, y1 = plan.bounds
    return entries.Pit(name=name, z=z, at=((x0, x1, y0, y1),) * 2)

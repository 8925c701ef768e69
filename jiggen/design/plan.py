"""The bodies seen from above: outlines, windows, pads, joint, and the walls between cut-outs.

The joint at the mounting mark is a dovetail through the whole body, and two screws along x.  The
dovetail locks the halves in x and y by shape; the screws pull the flat end faces together, and
those faces, as wide as the jig, set the angle between the halves.  The toe half slides in from
above.  Screw heads and nuts go in from below, before the jig is ever on a ski.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import shapely
from shapely.geometry import LineString, Point, Polygon, box

from jiggen.design.guides import Guide
from jiggen.design.places import HalfRole, JointPlay
from jiggen.design.settings import Settings
from jiggen.design.station import Bolt, StationShape
from jiggen.errors import Finding
from jiggen.tables import clearance_hole

WINDOW_HALF = 7.0  # mm along the ski, to either side of the mounting mark
WINDOW_DEPTH = 9.0  # mm in from the body's edge: the mark is seen, the joint screws are not met
WINDOW_FLARE = 2.0  # mm at 45° in a window's inner corners: an edge that a printer does not round
PAD_WIDTH = 9.0  # mm, as wide as a clamp's foot (common practice, no source)
PAD_LENGTH = 36.0  # mm: a clamp on it finds the ski below (common practice, no source)
FAR = 500.0  # mm: beyond any body
CORNER = 2.5  # chamfered corners: no sharp horn to break, yet 1.5 mm left beside a channel
END_WALL = 4.0  # mm beyond a station's channel

JOINT_SCREW = "M4"
SCREW_Y = 16.0  # mm off the centre line: outside the dovetail, inside the sight windows
SCREW_LENGTH = 20.0  # mm: both walls, the nut and a turn of thread beyond it
NECK, TAIL, DEPTH = 8.0, 10.0, 12.0  # dovetail: half widths at x = 0 and at its end; length
TOE_WALL, HEEL_WALL = 8.0, 6.0  # mm of plastic between the joint face and head, and nut
FACE_FLATNESS = 0.05  # mm, printed face over its width: from memory, common for a tuned printer


HEAD_ROOM = 0.75  # mm around the screw's head: it drops in (common practice, no source)
KEY_ROOM = 8.0  # mm behind the head: a hex key leans out below (common practice, no source)
NUT_FIT, NUT_SPARE = 0.2, 0.3  # mm over the nut's flats and height: it slides in, does not turn
END_SPARE = 2.0  # mm of hole beyond the screw's end
MOUTH = 1.0  # mm that socket and holes reach past the face, so that no skin is left


@dataclass(frozen=True)
class Plate:
    """One body's plan in the ski frame, mm: a bar from `start` to `stop`, ± `half_width`.

    `half` is None for a body that is the whole jig.
    """

    name: str
    start: float
    stop: float
    half_width: float
    half: HalfRole | None = None


@dataclass(frozen=True)
class Pocket:
    """A box open to the underside: x from, to; y from, to; up to `top_z`; mm."""

    name: str
    x: tuple[float, float]
    y: tuple[float, float]
    top_z: float

    @property
    def plan(self) -> Polygon:
        """Its outline seen from above."""
        return box(self.x[0], self.y[0], self.x[1], self.y[1])


@dataclass(frozen=True)
class JointShape:
    """The joint's numbers in the ski frame, mm.

    `tongue` belongs to the toe half, `socket` is cut from the heel half, both (n, 2)
    polygons; `heads` are cut from the toe half, `nuts` from the heel half; the screw holes of
    `hole` diameter run along x at `screw_y` and `screw_z`, from `hole_x` (from, to).
    """

    tongue: tuple[tuple[float, float], ...]
    socket: tuple[tuple[float, float], ...]
    heads: tuple[Pocket, ...]
    nuts: tuple[Pocket, ...]
    bolt: Bolt
    screw_y: tuple[float, ...]
    screw_z: float
    hole: float
    hole_x: tuple[float, float]
    play: JointPlay

    @property
    def depth(self) -> float:
        """How far the dovetail stands out of the toe half, in mm."""
        return -min(x for x, _ in self.tongue)

    @property
    def toe_reach(self) -> float:
        """How far the joint's cut-outs reach into the toe half, in mm."""
        return max(pocket.x[1] for pocket in self.heads)

    @property
    def heel_reach(self) -> float:
        """How far they reach into the heel half, in mm."""
        return max(-self.hole_x[0], self.depth + MOUTH)


def design_joint(half_width: float, settings: Settings) -> JointShape:
    """The joint for a body `half_width` mm wide to either side of the centre line."""
    fit, bolt = settings.joint_fit, Bolt("joint screw", JOINT_SCREW, SCREW_LENGTH)
    screw, hexagon = bolt.screw, bolt.nut
    middle_z = settings.body / 2
    flats = hexagon.across_flats + NUT_FIT
    corner = flats / math.sqrt(3)
    head_half = screw.head_diameter / 2 + HEAD_ROOM
    sides = (1.0, -1.0)

    def pocket(name: str, x: tuple[float, float], half: float, top: float, side: float) -> Pocket:
        return Pocket(name, x, (side * SCREW_Y - half, side * SCREW_Y + half), top)

    # Long enough to lay the screw in and to turn a hex key, which leans out below.
    head_x = (TOE_WALL, TOE_WALL + SCREW_LENGTH + screw.head_height + KEY_ROOM)
    nut_x = (-HEEL_WALL - hexagon.height - NUT_SPARE, -HEEL_WALL)
    tongue = ((0.0, NECK), (-DEPTH, TAIL), (-DEPTH, -TAIL), (0.0, -NECK))
    grown = Polygon(tongue).buffer(fit, join_style="mitre")
    socket = grown.union(box(-MOUTH, -NECK - fit, MOUTH, NECK + fit))
    return JointShape(
        tongue=tongue,
        socket=tuple((float(x), float(y)) for x, y in shapely.normalize(socket).exterior.coords),
        heads=tuple(
            pocket("joint screw head", head_x, head_half, middle_z + head_half, s) for s in sides
        ),
        nuts=tuple(pocket("joint nut", nut_x, flats / 2, middle_z + corner, s) for s in sides),
        bolt=bolt,
        screw_y=tuple(side * SCREW_Y for side in sides),
        screw_z=middle_z,
        hole=clearance_hole(JOINT_SCREW, "medium"),
        hole_x=(TOE_WALL - SCREW_LENGTH - END_SPARE, TOE_WALL + MOUTH),
        play=JointPlay(sideways=fit, angle=FACE_FLATNESS / (2 * half_width)),
    )


def window_wall(half_width: float) -> float:
    """Y in mm of the sight windows' inner wall, down which the boot-centre line runs."""
    return half_width - WINDOW_DEPTH


def windows(half_width: float) -> tuple[Polygon, Polygon]:
    """The two sight windows: notches open to the body's edges at x = 0, flared 45° inside."""
    wall, edge = window_wall(half_width), half_width + 1.0
    left = Polygon(
        [
            (-WINDOW_HALF, edge),
            (-WINDOW_HALF, wall + WINDOW_FLARE),
            (-WINDOW_HALF + WINDOW_FLARE, wall),
            (WINDOW_HALF - WINDOW_FLARE, wall),
            (WINDOW_HALF, wall + WINDOW_FLARE),
            (WINDOW_HALF, edge),
        ]
    )
    return left, shapely.transform(left, lambda xy: xy * (1.0, -1.0))


def corners(plate: Plate, *, start: bool = True, stop: bool = True) -> list[Polygon]:
    """What is taken off the plate's corners at its `start` and its `stop`."""
    b = plate.half_width
    return [
        Polygon([(x, y), (x - sx * CORNER, y), (x, y - sy * CORNER)])
        for x, sx, free in ((plate.start, -1, start), (plate.stop, 1, stop))
        if free
        for y, sy in ((b, 1), (-b, -1))
    ]


def outline(plate: Plate, joint: JointShape | None) -> Polygon:
    """The plate's outline with corners taken off, windows out, and its side of the joint."""
    free_start = joint is None or plate.half != "toe"
    free_stop = joint is None or plate.half != "heel"
    b = plate.half_width
    off = corners(plate, start=free_start, stop=free_stop)
    shape = box(plate.start, -b, plate.stop, b)
    shape = shape.difference(shapely.union_all([*off, *windows(b)]))
    if joint and plate.half == "toe":
        shape = shape.union(Polygon(joint.tongue))
    if joint and plate.half == "heel":
        shape = shape.difference(Polygon(joint.socket))
    return shapely.normalize(shape)


def pads(plates: tuple[Plate, ...]) -> tuple[Polygon, ...]:
    """Four pads, one in each corner of the whole jig: it stands on them and cannot rock."""
    start, stop = min(p.start for p in plates), max(p.stop for p in plates)
    b = plates[0].half_width
    length = min(PAD_LENGTH, (stop - start) / 3)
    return tuple(
        box(x0, min(y0, y1), x1, max(y0, y1))
        for x0, x1 in ((start, start + length), (stop - length, stop))
        for y0, y1 in ((b - PAD_WIDTH, b), (-b, -b + PAD_WIDTH))
    )


def station_plan(station: StationShape, x: float) -> Polygon:
    """All that a station takes from the body, seen from above, over any width."""
    half = station.half_length
    return box(x - half, -FAR, x + half, FAR)


Feature = tuple[str, shapely.Geometry, str]
"""What a guide must keep clear of: its name, its shape, and what helps where it does not."""


def clashes(
    guides: tuple[Guide, ...], features: Iterable[Feature], settings: Settings
) -> tuple[Finding, ...]:
    """Every wall around a guide that is thinner than `settings.wall`, with what would help."""
    found = []
    features = tuple(features)
    for index, guide in enumerate(guides):
        others = (
            (f"hole {g.id}", Point(g.x, g.y), g.radius, BUSH_HELP) for g in guides[index + 1 :]
        )
        fixed = ((name, shape, 0.0, helps) for name, shape, helps in features)
        for name, shape, radius, helps in (*others, *fixed):
            wall = Point(guide.x, guide.y).distance(shape) - guide.radius - radius
            if wall < settings.wall - 1e-9:
                found.append(_clash(f"hole {guide.id}", name, wall, settings.wall, helps))
    return tuple(found)


BUSH_HELP = "A thinner bush helps, or none: then the print guides the drill."
EDGE_HELP = "A wider narrowest ski makes the body wider; a thinner bush helps too."
BED_HELP = "A larger bed gives the stations other places, or makes one piece of the jig."


def outer_features(
    plates: tuple[Plate, ...], stations: Iterable[tuple[str, Polygon]]
) -> Iterator[Feature]:
    """The edges and ends of the whole of `plates`, and the stations on it."""
    start, stop = min(p.start for p in plates), max(p.stop for p in plates)
    b = plates[0].half_width
    for name, y in (("left edge", b), ("right edge", -b)):
        # The outside, not the line: a hole beyond the edge must not count as clear of it.
        yield name, box(-FAR, min(y, FAR * y), FAR, max(y, FAR * y)), EDGE_HELP
    yield "tip end", LineString([(stop, -b), (stop, b)]), BED_HELP
    yield "tail end", LineString([(start, -b), (start, b)]), BED_HELP
    for name, shape in stations:
        yield name, shape, BED_HELP


def inner_features(plates: tuple[Plate, ...], joint: JointShape | None) -> Iterator[Feature]:
    """The sight windows, and the joint where there is one."""
    b = plates[0].half_width
    for name, shape in zip(("left sight window", "right sight window"), windows(b), strict=True):
        yield name, shape, "Move the group off the mounting mark: the windows show the ski's mark."
    if joint:
        yield "joint face", LineString([(0.0, -b), (0.0, b)]), BED_HELP
        yield "joint dovetail", Polygon(joint.socket), BED_HELP
        for pocket in (*joint.heads, *joint.nuts):
            yield pocket.name, pocket.plan, BED_HELP


def _clash(one: str, other: str, wall: float, needed: float, helps: str) -> Finding:
    overlap = f"{wall:.2f} mm of wall" if wall >= 0 else f"an overlap of {-wall:.2f} mm"
    return Finding(
        "design.clash",
        f"{one} and {other}: {overlap}, {needed:g} mm needed",
        hint=helps,
    )

"""The jig seen from above: where its stations go, outlines, windows, strips, joint, and walls.

A station centres the jig to within some sideways error e at its own x.  For a rigid jig with
stations at a and b that reaches a hole at x, at worst, as e·(|x-b| + |x-a|)/|a-b|: it is e
between the stations and more outside them.  More stations in the same length never better that
(G. Elfving, "Optimum allocation in linear regression theory", Annals of Mathematical Statistics
23 (1952), from memory).  Two halves add their joint: a sideways play j and an angle a between them.

The joint at the mounting mark is a dovetail through the whole body, into which the toe half slides
from above, and two screws along x, put in from below.  The dovetail locks the halves in x and y;
the screws pull the end faces together, which, as wide as the jig between its sight windows, set
the angle between them.
A bent hexagon key turns them: its short arm lies along the screw, the long one leans out below
and swings about it, and is put on again where it is as far as it goes.
"""

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray
from shapely.geometry import LineString, Point, Polygon, box

from jiggen.advice import whole_layers
from jiggen.design.guides import Guide
from jiggen.design.settings import Bed, Settings
from jiggen.design.station import Bolt, StationShape
from jiggen.errors import Finding
from jiggen.record.entries import HalfName, Station
from jiggen.tables import before_measured, clearance_hole, hexagon_key

Array = NDArray[np.float64]
Interval = tuple[float, float]

STATION_ERROR = 0.1  # mm, sideways, each: what places are compared with
WINDOW_HALF = 7.0  # mm along the ski, to either side of the mounting mark
WINDOW_DEPTH = 9.0  # mm in from the body's edge: the mark is seen, the joint screws are not met
WINDOW_FLARE = 2.0  # mm at 45° in a window's inner corners: an edge that a printer does not round
STRIP = 9.0  # mm wide, as a clamp's foot: a clamp on it finds the ski below (no source)
STRIP_LINK = 5.0  # mm of a strip inside a sight window, and along the ski beyond its ends
BURR = 1.5  # mm clear of a guide's throat: a drill raises the sheet around its hole (no source)
LEAST_STRIP = 1.2  # mm: what is narrower beside a guide is left away (three lines, no source)
BEYOND = 3.0  # mm that a strip is drawn beyond the body, which ends it
ROUND = 1 / math.cos(math.pi / 12)  # a polygon of 12 corners around a circle, over its radius
CLAMP_MARK = 4.4  # mm, radius of the diamond where a clamp presses
TURNS = (0.0, 90.0, *map(float, range(1, 90)))  # degrees on the bed, the first ones preferred
HAIR = 1e-9  # mm: what just fits must not be lost to rounding
FAR = 500.0  # mm: beyond any body
CORNER = 2.5  # chamfered corners: no sharp horn to break, yet 1.5 mm left beside a channel
END_WALL = 4.0  # mm beyond a station's channel

JOINT_SCREW = "M4"
SCREW_Y = 16.0  # mm off the centre line: outside the dovetail, inside the sight windows
SCREW_LENGTH = 20.0  # mm: both walls, the nut and a turn of thread beyond it
NECK, TAIL, DOVETAIL = 8.0, 10.0, 12.0  # half widths at x = 0 and at its end; length
TOE_WALL, HEEL_WALL = 8.0, 6.0  # mm of plastic between the joint face and head, and nut
FACE = 50.0  # mm of face that `before_measured` states a joint's bend for
HEAD_ROOM = 0.75  # mm around the screw's head: it drops in (common practice, no source)
KEY_ROOM = 8.0  # mm behind the head: a hex key leans out below (common practice, no source)
KEY_SWING = 66.0  # degrees that it is given to swing: what it must, and play in the socket
LEAST_SWING = 60.0  # degrees: from one place of a hexagon in its socket to the next
KEY_SPARE = 0.4  # mm beside the key: more than a print is off
NUT_FIT, NUT_SPARE = 0.2, 0.3  # mm over the nut's flats and height: it slides in, does not turn
END_SPARE = 2.0  # mm of hole beyond the screw's end
MOUTH = 1.0  # mm that socket and holes reach past the face, so that no skin is left


@dataclass(frozen=True)
class JointPlay:
    """What the joint leaves free: sideways in mm, and angle about z in radians, each ±."""

    sideways: float = 0.0
    angle: float = 0.0


RIGID = JointPlay()


@dataclass(frozen=True)
class Plate:
    """One body's plan in the ski frame, mm; `half` is None for a body that is the whole jig."""

    name: str
    start: float
    stop: float
    half_width: float
    half: HalfName | None = None

    @property
    def bar(self) -> Polygon:
        """The bare bar seen from above."""
        return box(self.start, -self.half_width, self.stop, self.half_width)

    def holds(self, x: float) -> bool:
        """Whether what lies at `x` is on it."""
        return self.start <= x <= self.stop


@dataclass(frozen=True)
class Pocket:
    """A box open to the underside: x from, to; y from, to; up to `top_z`; mm."""

    name: str
    x: Interval
    y: Interval
    top_z: float

    @property
    def plan(self) -> Polygon:
        """Its outline seen from above."""
        return box(self.x[0], self.y[0], self.x[1], self.y[1])


@dataclass(frozen=True, eq=False)
class JointShape:
    """The joint's numbers in the ski frame, mm.

    The toe half has the dovetail `tongue` and is cut by `heads`, the heel half by `socket` and
    `nuts`; the screw holes of `hole` diameter run along x at `screw_y` and `screw_z`, over
    `hole_x`.  All that is cut lies within `reach` along x.  The key that turns the screws swings
    by `key_swing` degrees; it swings as it must in a body ± `key_half_width`.
    """

    tongue: Polygon
    socket: Polygon
    heads: tuple[Pocket, ...]
    nuts: tuple[Pocket, ...]
    bolt: Bolt
    screw_y: tuple[float, ...]
    screw_z: float
    hole: float
    hole_x: Interval
    reach: Interval
    play: JointPlay
    key_swing: float
    key_half_width: float


def design_joint(half_width: float, settings: Settings) -> JointShape:
    """The joint for a body `half_width` mm wide to either side of the centre line."""
    fit, bolt = settings.joint_fit, Bolt("joint screw", JOINT_SCREW, SCREW_LENGTH)
    middle_z, screw_y = settings.body / 2, (SCREW_Y, -SCREW_Y)
    flats = bolt.nut.across_flats + NUT_FIT
    head_half = bolt.screw.head_diameter / 2 + HEAD_ROOM

    def pockets(name: str, x: Interval, half: float, top: float) -> tuple[Pocket, ...]:
        over = settings.body - whole_layers(settings.body - top)  # printed top down
        return tuple(Pocket(name, x, (y - half, y + half), over) for y in screw_y)

    # Long enough to lay the screw in and to turn a hex key, which leans out below.
    head_x = (TOE_WALL, TOE_WALL + SCREW_LENGTH + bolt.screw.head_height + KEY_ROOM)
    # Wider where the key's long arm leans, from the bend on, which is as round as the key is wide.
    key = hexagon_key(bolt.screw.key)
    socket_floor = TOE_WALL + bolt.screw.head_height - bolt.screw.diameter / 2  # from memory
    key_x = (socket_floor + key.short - 2 * key.across, head_x[1])
    corner = key.across / math.sqrt(3) + KEY_SPARE
    least, wanted = (swing_room(by, middle_z, corner) for by in (LEAST_SWING, KEY_SWING))
    key_half = min(wanted, min(half_width - SCREW_Y, SCREW_Y) - settings.wall)
    nut_x = (-HEEL_WALL - bolt.nut.height - NUT_SPARE, -HEEL_WALL)
    hole_x = (TOE_WALL - SCREW_LENGTH - END_SPARE, TOE_WALL + MOUTH)
    tongue = Polygon([(0.0, NECK), (-DOVETAIL, TAIL), (-DOVETAIL, -TAIL), (0.0, -NECK)])
    mouth = box(-MOUTH, -NECK - fit, MOUTH, NECK + fit)
    return JointShape(
        tongue=tongue,
        socket=shapely.normalize(tongue.buffer(fit, join_style="mitre").union(mouth)),
        heads=(
            *pockets("joint screw head", head_x, head_half, middle_z + head_half),
            *pockets("joint screw key", key_x, key_half, middle_z + corner),
        ),
        nuts=pockets("joint nut", nut_x, flats / 2, middle_z + flats / math.sqrt(3)),
        bolt=bolt,
        screw_y=screw_y,
        screw_z=middle_z,
        hole=clearance_hole(JOINT_SCREW).medium,
        hole_x=hole_x,
        reach=(min(hole_x[0], -DOVETAIL - MOUTH), head_x[1]),
        play=JointPlay(sideways=fit, angle=_bend(half_width)),
        key_swing=swing(key_half, middle_z, corner),
        key_half_width=SCREW_Y + least + settings.wall,
    )


def _bend(half_width: float) -> float:
    """The most that the joint bends by faces that are not quite flat, in radians.

    √3 standard uncertainties, as of a value that is as likely anywhere up to there.
    """
    face = 2 * (half_width - WINDOW_DEPTH)  # there is none in the sight windows
    return math.radians(math.sqrt(3) * before_measured("joint_bend")) * FACE / face


def swing(half: float, depth: float, corner: float) -> float:
    """By how many degrees an arm of radius `corner` swings in a slot of ± `half` width, mm.

    It turns about an axis in the slot's middle, `depth` mm below the edges that it leans on.
    """
    if half <= corner:
        return 0.0
    lean = math.acos(corner / math.hypot(half, depth)) - math.atan2(depth, half)
    return 2 * math.degrees(lean)


def swing_room(degrees: float, depth: float, corner: float) -> float:
    """The half width of a slot in which an arm swings by so many degrees, mm, as `swing` has it."""
    lean = math.radians(degrees / 2)
    return depth * math.tan(lean) + corner / math.cos(lean)


def windows(half_width: float) -> tuple[Polygon, Polygon]:
    """The two sight windows: notches open to the body's edges at x = 0, flared 45° inside."""
    wall, edge = half_width - WINDOW_DEPTH, half_width + 1.0
    tail = [(-WINDOW_HALF, edge), (-WINDOW_HALF, wall + WINDOW_FLARE)]
    tail.append((-WINDOW_HALF + WINDOW_FLARE, wall))
    left = Polygon([*tail, *((-x, y) for x, y in reversed(tail))])
    return left, shapely.transform(left, lambda xy: xy * (1.0, -1.0))


def window_wall(half_width: float, joint: JointShape) -> float:
    """The thinnest wall between sight windows and the joint's pockets, mm."""
    left, _ = windows(half_width)
    return min(float(left.distance(pocket.plan)) for pocket in (*joint.heads, *joint.nuts))


def corners(plate: Plate, *, jointed: bool = False) -> list[Polygon]:
    """What is taken off the plate's corners, those left out where two halves are `jointed`."""
    ends = [(plate.start, -1), (plate.stop, 1)]
    if jointed:
        del ends[0 if plate.half == "toe" else 1]
    return [
        Polygon([(x, y), (x - way * CORNER, y), (x, y - side * CORNER)])
        for x, way in ends
        for y, side in ((plate.half_width, 1), (-plate.half_width, -1))
    ]


def outline(plate: Plate, joint: JointShape | None) -> Polygon:
    """The plate's outline with corners taken off, windows out, and its side of the joint."""
    off = [*corners(plate, jointed=joint is not None), *windows(plate.half_width)]
    shape = plate.bar.difference(shapely.union_all(off))
    if joint:
        shape = shape | joint.tongue if plate.half == "toe" else shape - joint.socket
    return shapely.normalize(shape)


def strips(plates: tuple[Plate, ...], guides: Iterable[Guide]) -> tuple[Polygon, ...]:
    """What the jig stands on: a strip along either edge, and so beside each hole and channel.

    Between them it is clear of a crowned top sheet, and around each guide of the burr that a
    drill raises.  A strip passes a sight window on its inner side, and so reaches the joint; what
    is cut out of the body, a window or a channel, is cut out of a strip as well.
    """
    start, stop = min(p.start for p in plates), max(p.stop for p in plates)
    b, link = plates[0].half_width, WINDOW_HALF + STRIP_LINK
    inner = b - STRIP
    half = box(start - BEYOND, inner, stop + BEYOND, b + BEYOND)
    if start < WINDOW_HALF and stop > -WINDOW_HALF:
        half |= box(max(start, -link), inner - STRIP_LINK, min(stop, link), inner)
    both = half | shapely.transform(half, lambda xy: xy * (1.0, -1.0))
    # Few chords, outside the circle: each is a face to cut.
    rings = [Point(g.x, g.y).buffer((g.throat / 2 + BURR) * ROUND, quad_segs=3) for g in guides]
    clear = both.difference(shapely.union_all(rings))
    whole = clear.buffer(-LEAST_STRIP / 2, join_style="mitre")
    whole = shapely.set_precision(whole.buffer(LEAST_STRIP / 2, join_style="mitre"), 1e-3)
    return tuple(part for part in shapely.get_parts(whole) if isinstance(part, Polygon))


# -- walls ---------------------------------------------------------------------------------------

Feature = tuple[str, shapely.Geometry, str]
"""What a guide must keep clear of: its name, its shape, and what helps where it does not."""

BUSH_HELP = "A thinner bush helps, or none: then the print guides the drill."
EDGE_HELP = "A wider narrowest ski makes the body wider; a thinner bush helps too."
BED_HELP = "A larger bed gives the stations other places, or makes one piece of the jig."
MARK_HELP = "Move the group off the mounting mark: the windows show the ski's mark."


def clashes(
    guides: tuple[Guide, ...], features: Iterable[Feature], settings: Settings
) -> tuple[Finding, ...]:
    """Every wall around a guide that is thinner than `settings.wall`, with what would help."""
    found = []
    features = tuple(features)
    for index, guide in enumerate(guides):
        at = Point(guide.x, guide.y)
        walls = [
            (f"hole {g.id}", at.distance(Point(g.x, g.y)) - g.radius, BUSH_HELP)
            for g in guides[index + 1 :]
        ]
        walls += [(name, at.distance(shape), helps) for name, shape, helps in features]
        for name, distance, helps in walls:
            wall = distance - guide.radius
            if wall < settings.wall - 1e-9:
                what = f"{wall:.2f} mm of wall" if wall >= 0 else f"an overlap of {-wall:.2f} mm"
                message = f"hole {guide.id} and {name}: {what}, {settings.wall:g} mm needed"
                found.append(Finding("design.clash", message, hint=helps))
    return tuple(found)


def outer_features(
    plates: tuple[Plate, ...], stations: Iterable[Station], shape: StationShape
) -> Iterator[Feature]:
    """The edges and ends of the whole of `plates`, and the stations of this `shape` on it."""
    start, stop = min(p.start for p in plates), max(p.stop for p in plates)
    b = plates[0].half_width
    # The outside, not the line: a hole beyond the edge must not count as clear of it.
    yield "left edge", box(-FAR, b, FAR, FAR * b), EDGE_HELP
    yield "right edge", box(-FAR, -FAR * b, FAR, -b), EDGE_HELP
    yield "tip end", LineString([(stop, -b), (stop, b)]), BED_HELP
    yield "tail end", LineString([(start, -b), (start, b)]), BED_HELP
    for station in stations:
        low, high = station.x - shape.half_length, station.x + shape.half_length
        yield f"{station.name} station", box(low, -FAR, high, FAR), BED_HELP


def inner_features(plates: tuple[Plate, ...], joint: JointShape | None) -> Iterator[Feature]:
    """The sight windows, and the joint where there is one."""
    b = plates[0].half_width
    left, right = windows(b)
    yield "left sight window", left, MARK_HELP
    yield "right sight window", right, MARK_HELP
    if joint:
        yield "joint face", LineString([(0.0, -b), (0.0, b)]), BED_HELP
        yield "joint dovetail", joint.socket, BED_HELP
        for pocket in (*joint.heads, *joint.nuts):
            yield pocket.name, pocket.plan, BED_HELP


# -- stations, and the bed -----------------------------------------------------------------------


def worst_error(
    x: ArrayLike, heel: ArrayLike, toe: ArrayLike, error: float, play: JointPlay = RIGID
) -> Array:
    """Worst sideways error in mm at `x`, stations at `heel` < `toe`, each off by ± `error`.

    With a joint at x = 0 the halves are two lines, t0 + t1·x on the tip side and h0 + h1·x on the
    tail side, right at `toe` and `heel` but for `error`, with t0 - h0 = j and t1 - h1 = a: solved
    for the slopes and summed by absolute value, since the four causes are independent.
    """
    x, heel, toe = (np.asarray(value, dtype=np.float64) for value in (x, heel, toe))
    gain = error * ((np.abs(x - toe) + np.abs(x - heel)) / np.abs(heel - toe))
    lever = np.where(x >= 0, x - toe, x - heel)  # from the half's own station
    far = np.where(x >= 0, np.abs(heel), np.abs(toe))  # other station, from the joint
    joint = np.abs(lever) / (toe - heel) * (play.sideways + play.angle * far)
    return np.asarray(gain + joint)


def bed_turn(outline: Array, bed: Bed) -> float | None:
    """The turn in degrees, square first, at which `outline` ((n, 2), mm) fits the bed, or None.

    Square to the bed while half of its rim stays free: a printer's errors along its axes do not
    mix then, and a try square shows them.  Else its rim stays free if that can be, or as much of
    it as can be.
    """
    free = {turn: free_rim(outline, turn, bed) for turn in TURNS}
    for turns, least in ((TURNS[:2], bed.rim), (TURNS[:2], bed.rim / 2), (TURNS, bed.rim)):
        for turn in turns:
            if free[turn] >= max(least, bed.least_rim):
                return turn
    turn = max(TURNS, key=free.__getitem__)
    return turn if free[turn] >= bed.least_rim else None


def free_rim(outline: Array, degrees: float, bed: Bed) -> float:
    """How much stays free around `outline` ((n, 2), mm) in the middle of the bed, so turned, mm."""
    c, s = math.cos(math.radians(degrees)), math.sin(math.radians(degrees))
    wide, deep = np.ptp(outline @ np.array([[c, s], [-s, c]]), axis=0).tolist()
    return float(min(bed.x - wide, bed.y - deep) / 2 + HAIR)


def longest_fit(width: float, bed: Bed) -> float:
    """Length in mm of the longest rectangle of `width` (mm) that fits the bed at any turn."""
    x, y = bed.x - 2 * bed.least_rim, bed.y - 2 * bed.least_rim
    turn = np.radians(np.arange(0, 90.25, 0.25))
    cos, sin = np.cos(turn), np.sin(turn)
    with np.errstate(divide="ignore"):
        length = np.minimum((x - width * sin) / cos, (y - width * cos) / sin)
    return float(max(0.0, length.max()))

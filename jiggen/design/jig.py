"""The whole jig as plain numbers: chosen here, only drawn by the solid room."""

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import MultiPolygon, Polygon

from jiggen.design import plan
from jiggen.design.engraving import Engraving, centre_line, engrave, graduate, obstacles_on, words
from jiggen.design.envelopes import Marks, clamp_places
from jiggen.design.gear import mesh_half_length
from jiggen.design.guides import Guide, design_guides, layout_part, refuse_off_ski
from jiggen.design.ladder import Flare
from jiggen.design.lettering import Region, regions_of
from jiggen.design.notches import Notch, find_notch
from jiggen.design.placing import place_stations
from jiggen.design.plan import Interval, JointShape, Plate
from jiggen.design.settings import Bed, Settings
from jiggen.design.sidewall import BEARING, bearing_half_width
from jiggen.design.station import Bolt, Mechanism, design_mechanism, refuse_range
from jiggen.errors import Finding, InputError
from jiggen.layout import Layout
from jiggen.record.entries import Station

Guides = tuple[Guide, ...]
Stations = tuple[Station, ...]
Shapes = tuple[Polygon, ...]

LEAST_HALF_WIDTH = 34.0  # mm: steady on the ski, and one width for all skis from 66 mm up
# mm between the body's edge and a rail's leg on the narrowest ski: 0.6 to 0.9 that a pressed rail
# gives there, which brings its leg nearer, and what a print is off.
EDGE_GAP = 1.0
LEAST_REACH = 20.0  # mm of body past the mounting mark
FOOT = 0.6  # mm at 45° off a body's edges on the bed, against elephant's foot


@dataclass(frozen=True, eq=False)
class Body:
    """One printed body: its plan, its cuts, and the `turn` in degrees that it is printed at.

    Its `flares` stand out beyond the outline; `notch`, where there is room for one, is out of it;
    `clamps` are the places, x and y, where it is clamped down.
    """

    plate: Plate
    outline: Region
    relief: tuple[Region, ...]
    guides: Guides
    stations: Stations
    engravings: tuple[Engraving, ...]
    turn: float
    flares: tuple[Flare, ...] = ()
    notch: Notch | None = None
    clamps: Marks = ()

    @property
    def name(self) -> str:
        """The part's name."""
        return self.plate.name

    @property
    def corners(self) -> NDArray[np.float64]:
        """Its corners seen from above, those of its flares too, (n, 2)."""
        return np.vstack([self.outline.outer, *(flare.corners for flare in self.flares)])


@dataclass(frozen=True, eq=False)
class Design:
    """Every dimension and position of a jig in the ski frame; mm and degrees.

    `supports` are the strips that it stands on, drawn beyond the bodies' edges and through what is
    cut out of these; `errors` holds for each hole the worst sideways error in mm for STATION_ERROR
    at each station.
    """

    layout: Layout
    settings: Settings
    half_width: float
    mechanism: Mechanism
    stations: Stations
    bodies: tuple[Body, ...]
    joint: JointShape | None
    supports: tuple[Region, ...]
    errors: tuple[float, ...]

    @property
    def clamps(self) -> Marks:
        """Where it is clamped down: x and y."""
        return tuple(place for body in self.bodies for place in body.clamps)

    @property
    def bolts(self) -> tuple[tuple[Bolt, int], ...]:
        """Every screw with its nut, and how many of them: all that is bought but for bushes."""
        locks = (self.mechanism.lock, len(self.stations))
        return (locks, (self.joint.bolt, len(self.joint.screw_y))) if self.joint else (locks,)

    @property
    def stop(self) -> float:
        """Width in mm of the ski on which the rails' legs touch the body, as drawn."""
        return 2 * (self.half_width - self.mechanism.rail.nose_sag)

    @property
    def full_mesh(self) -> Interval:
        """Narrowest and widest ski, mm, with a rack's teeth over the whole line of action."""
        low, high = self.mechanism.rail.rack.toothed
        half = mesh_half_length(self.mechanism.pinion.gear)
        return 2 * (half - high), 2 * (-low - half)

    @property
    def guides(self) -> Guides:
        """All guides, in the layout's order."""
        guides = (guide for body in self.bodies for guide in body.guides)
        return tuple(sorted(guides, key=lambda guide: self.layout.ids.index(guide.id)))


def design_jig(
    layout: Layout,
    settings: Settings,
    boots: Interval | None = None,
    *,
    closest: bool = False,
    engraved: bool = True,
    jig_mark: str = "",
) -> Design:
    """Choose every number of a jig for `layout`: of one piece, or of two halves.

    `boots` are the shortest and longest boot sole, mm, that it says on it, where the boot moves
    no hole.  With `closest` its stations stand where the error is least, whatever that costs;
    unless `engraved` it is quick; its bodies bear the `jig_mark`, if any.  Raises InputError, all
    clashes at once, when no safe jig can be made.
    """
    settings.check()
    refuse_off_ski(layout, settings)
    guides = design_guides(layout, settings)
    base = base_for(guides, settings, closest=closest, jig_mark=jig_mark)
    places = try_places(guides, base)
    if places is None:
        places = try_places(guides, base, _joint(base))
    if places is None:
        hint = "A larger bed or a thinner bush gives the stations room."
        raise no_place("the jig", guides, base, base.longest, hint)
    return design_bodies(base, layout, guides, places, boots, engraved)


@dataclass(frozen=True)
class Base:
    """What all bodies of a jig share: settings, half the width in mm, and the mechanism.

    With `closest` its stations stand where the error is least, whatever that costs; its bodies
    bear the `jig_mark`, if any.
    """

    settings: Settings
    half_width: float
    mechanism: Mechanism
    closest: bool = False
    jig_mark: str = ""

    @property
    def longest(self) -> float:
        """Length in mm of the longest plain bar of this width that fits the bed."""
        return plan.longest_fit(2 * self.half_width, self.settings.bed)

    @property
    def edge(self) -> float:
        """Plastic along the ski beyond holes and stations, mm."""
        return max(self.settings.wall, plan.END_WALL)


def base_for(
    guides: Guides, settings: Settings, *, closest: bool = False, jig_mark: str = ""
) -> Base:
    """Wide enough for all holes, yet inside the legs and carried on the narrowest ski."""
    rail, least = _plain(settings).rail, settings.ski.least
    carrying = bearing_half_width(settings.sidewall, settings.rail_depth, least) - BEARING
    widest = min(least / 2 + rail.nose_sag - EDGE_GAP, carrying + plan.STRIP)
    holes = max(abs(guide.y) + guide.radius for guide in guides) + settings.wall
    half_width = float(min(widest, max(LEAST_HALF_WIDTH, np.ceil(holes))))
    return Base(settings, half_width, _mechanism(settings, half_width), closest, jig_mark)


@lru_cache(maxsize=16)
def _plain(settings: Settings) -> Mechanism:
    """The mechanism without the rails' scale, which depends on the body's width."""
    refuse_range(settings)
    return design_mechanism(settings)


@lru_cache(maxsize=16)
def _mechanism(settings: Settings, half_width: float) -> Mechanism:
    """The mechanism, its rails graduated: one object for all jigs, for the caches behind it."""
    plain = _plain(settings)
    return replace(plain, rail=graduate(plain.rail, settings.ski, half_width))


@dataclass(frozen=True)
class Places:
    """Where the pieces of a jig lie along the ski, its stations on them, and their joint."""

    plates: tuple[Plate, ...]
    stations: Stations
    joint: JointShape | None


def no_place(
    part: str, guides: Guides, base: Base, longest: float, hint: str, with_it: str = ""
) -> InputError:
    """The error where stations, holes and what goes `with_it` are too long for the bed."""
    span, bed = max(g.x for g in guides) - min(g.x for g in guides), base.settings.bed
    return InputError.of(
        "design.no-place",
        f"{part}: holes over {span:.0f} mm{with_it} and two stations of "
        f"{2 * base.mechanism.station.half_length:.0f} mm do not fit a piece of {longest:.0f} "
        f"mm, the longest a {bed.x:g}x{bed.y:g} mm bed takes",
        key="bed",
        hint=hint,
    )


def _joint(base: Base) -> JointShape:
    """The joint; InputError where its screws would break into the sight windows."""
    joint = plan.design_joint(base.half_width, base.settings)
    if joint.key_swing < plan.LEAST_SWING - 1e-6:
        least = base.settings.ski.least + 2 * (joint.key_half_width - base.half_width)
        raise InputError.of(
            "design.narrow",
            f"joint screws: their hexagon key swings by {joint.key_swing:.0f} degrees between the "
            f"walls, {plan.LEAST_SWING:g} needed",
            key="ski, body",
            hint=f"Two halves as thick serve skis from {math.ceil(10 * least) / 10:.1f} mm wide; a "
            "thinner body serves narrower ones, and a larger bed makes one piece of the jig.",
        )
    wall, least = plan.window_wall(base.half_width, joint), base.settings.wall
    if wall < least:
        wider = base.half_width + 0.05 * np.arange(1, 400)
        serves = (half for half in wider if plan.window_wall(float(half), joint) >= least)
        needed = base.settings.ski.least + 2 * (float(next(serves)) - base.half_width)
        raise InputError.of(
            "design.narrow",
            f"joint screws and sight windows: {wall:.2f} mm of wall, {least:g} mm "
            "needed; the body must fit between the rails on the narrowest ski",
            key="ski",
            hint=f"Two halves serve skis from {needed:.1f} mm wide; a larger bed "
            "makes one piece of the jig, without a joint.",
        )
    return joint


def ends_of(guides: Guides, base: Base) -> Interval:
    """Where a body may end along the ski, as far as its holes are concerned, mm."""
    low = min(guide.x - guide.radius for guide in guides)
    return low - base.edge, max(guide.x + guide.radius for guide in guides) + base.edge


def try_places(guides: Guides, base: Base, joint: JointShape | None = None) -> Places | None:
    """Places with the `joint`, or of one piece without, as far as the bed allows; or None."""
    half, longest, edge = base.mechanism.station.half_length, base.longest, base.edge
    first, last = ends_of(guides, base)
    if joint:
        # The dovetail, narrower than the body, still lengthens the toe half on the bed.
        toe_longest = longest - plan.DOVETAIL
        if first < -longest or last > toe_longest:
            return None
        spans = ((-longest + edge, 0.0), (0.0, toe_longest - edge))
        found = place_stations(
            guides, base, joint.reach, (first, last), spans, math.inf, joint.play
        )
    else:
        # The sight windows sit at the mounting mark: one piece must reach past it both ways.
        mark = (-plan.WINDOW_HALF, plan.WINDOW_HALF)
        first, last = min(first, -LEAST_REACH), max(last, LEAST_REACH)
        span = (last - longest + edge, first + longest - edge)
        found = place_stations(guides, base, mark, (first, last), (span, span), longest)
    if found is None:
        return None
    heel, toe = found
    start, stop = min(first, heel - half - edge), max(last, toe + half + edge)
    front = Plate("body", start, stop, base.half_width)
    rear, plates = front, [front]
    if joint:
        front = Plate("body-toe", 0.0, stop, base.half_width, "toe")
        rear = Plate("body-heel", start, 0.0, base.half_width, "heel")
        plates = [front, rear]
    stations = (
        Station(name="heel", role="rear", half=rear.half, part=rear.name, x=heel),
        Station(name="toe", role="front", half=front.half, part=front.name, x=toe),
    )
    return Places(tuple(plates), stations, joint)


def design_bodies(
    base: Base, layout: Layout, guides: Guides, at: Places, boots: Interval | None, engraved: bool
) -> Design:
    """The jig with its pieces `at` places; InputError where a guide lacks its wall."""
    plates, joint, settings = at.plates, at.joint, base.settings
    outer = plan.outer_features(plates, at.stations, base.mechanism.station)
    if found := plan.clashes(guides, (*outer, *plan.inner_features(plates, joint)), settings):
        raise InputError(found)
    strips, bodies = plan.strips(plates, guides), []
    ends = min(plate.start for plate in plates), max(plate.stop for plate in plates)
    for plate in plates:
        mine = tuple(guide for guide in guides if plate.holds(guide.x))
        own = tuple(station for station in at.stations if plate.holds(station.x))
        shape, own_ends = plan.outline(plate, joint), tuple(filter(plate.holds, ends))
        clamp = partial(clamp_places, plate, guides, at.stations, base.mechanism, own_ends)
        body = lay_body(plate, shape, mine, own, strips, base, clamp)
        if engraved:
            knob, windows = base.mechanism.knob.radius, plan.windows(plate.half_width)
            joints = [joint.socket.buffer(1.0)] if joint else []
            obstacles = obstacles_on(mine, own, knob, body.notch, windows) + joints
            lines = words(layout_part(layout, mine), boots)
            line, down = centre_line(plate, settings.body, mine)
            marks = engrave(
                plate, lines, obstacles, body.clamps, (line,), (down,), jig_mark=base.jig_mark
            )
            body = replace(body, engravings=marks)
        bodies.append(body)
    return assemble(base, layout, at, tuple(bodies), strips)


def assemble(
    base: Base, layout: Layout, places: Places, bodies: tuple[Body, ...], strips: Shapes
) -> Design:
    """The design of these bodies, which lie on the ski as one, on two stations."""
    rear, front = (station.x for station in places.stations)
    play = places.joint.play if places.joint else plan.RIGID
    errors = plan.worst_error(layout.positions[:, 0], rear, front, plan.STATION_ERROR, play)
    return Design(
        layout,
        base.settings,
        base.half_width,
        base.mechanism,
        places.stations,
        bodies,
        places.joint,
        supports=regions_of(MultiPolygon(strips)),
        errors=tuple(errors.tolist()),
    )


def lay_body(
    plate: Plate,
    shape: Polygon,
    guides: Guides,
    stations: Stations,
    strips: Shapes,
    base: Base,
    clamp: Callable[[Polygon, Shapes, Notch | None], Marks],
    flares: tuple[Flare, ...] = (),
) -> Body:
    """A body of the outline `shape` less a notch, on the bed; InputError where it does not fit.

    `clamp` says where it is clamped, by its shape, strips and notch, which gives way to a clamp.
    """
    station = base.mechanism.station
    notch = find_notch(shape, base.half_width, guides, stations, station)
    clamps = clamp(shape, strips, notch)
    if not clamps and (clamps := clamp(shape, strips, None)):
        notch = find_notch(shape, base.half_width, guides, stations, station, clamps)
    shape = shapely.normalize(shape - notch.plan) if notch else shape
    (region,) = regions_of(shape)
    whole = shapely.union_all([shape, *(flare.plan for flare in flares)])
    relief = regions_of(whole.buffer(1.0).difference(shapely.union_all(strips)))
    body = Body(plate, region, relief, guides, stations, (), 0.0, flares, notch, clamps)
    turn = plan.bed_turn(body.corners * (1.0, -1.0), base.settings.bed)
    if turn is None:
        raise InputError.of(
            "design.bed",
            f"{plate.name} ({plate.stop - plate.start:.0f} mm long) does not fit the bed",
            key="bed",
            hint="Choose a larger bed.",
        )
    return replace(body, turn=turn)


def tight_rims(bodies: Iterable[Body], bed: Bed) -> tuple[Finding, ...]:
    """Warnings of bodies that are too long to leave the whole rim of the bed free."""
    free = [
        (body.name, plan.free_rim(body.corners * (1.0, -1.0), body.turn, bed)) for body in bodies
    ]
    hint = "Make its brim narrower, see where the printer purges, or choose a larger bed."
    return tuple(
        Finding(
            "design.bed-rim",
            f"{name} is so long that {left:.1f} mm of the bed stay free around it, not {bed.rim:g}",
            key="bed, bed-rim",
            hint=hint,
        )
        for name, left in free
        if left < bed.rim
    )

"""The whole jig as plain numbers: chosen here, only drawn by the solid room."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Literal

import numpy as np
from shapely.geometry import Point, Polygon

from jiggen.design.engraving import CLEAR, Engraving, engrave, graduations
from jiggen.design.guides import Guide, design_guides
from jiggen.design.lettering import Region, regions_of
from jiggen.design.places import (
    RIGID,
    Blocked,
    Room,
    bed_turn,
    longest_fit,
    place_stations,
    worst_error,
)
from jiggen.design.plan import (
    END_WALL,
    WINDOW_HALF,
    HalfRole,
    JointShape,
    Plate,
    clashes,
    design_joint,
    inner_features,
    outer_features,
    outline,
    pads,
    station_plan,
    window_wall,
    windows,
)
from jiggen.design.settings import Settings
from jiggen.design.station import Bolt, Mechanism, design_mechanism
from jiggen.errors import Finding, InputError
from jiggen.layout.model import Layout

LEAST_HALF_WIDTH = 34.0  # mm: steady on the ski, and one width for all skis from 70 mm up
EDGE_GAP = 1.0  # mm between the body's edge and the rails on the narrowest ski
LEAST_REACH = 20.0  # mm of body past the mounting mark
STATION_ERROR = 0.1  # mm, sideways, each: what places are compared with


@dataclass(frozen=True)
class Station:
    """A self-centring station at `x` mm in the ski frame.

    `role` tells the two stations of a rigid jig apart, the rear one towards the tail; `half` is
    the half that it is on, None where the jig is one piece.
    """

    name: str
    x: float
    role: Literal["rear", "front"]
    half: HalfRole | None = None


@dataclass(frozen=True, eq=False)
class Body:
    """One printed body: its plan, what is cut from it and how it lies on the bed.

    `turn` is the angle in degrees about z that it is printed at, top down.
    """

    plate: Plate
    outline: Region
    relief: tuple[Region, ...]
    guides: tuple[Guide, ...]
    stations: tuple[Station, ...]
    engravings: tuple[Engraving, ...]
    turn: float

    @property
    def name(self) -> str:
        """The part's name."""
        return self.plate.name


@dataclass(frozen=True, eq=False)
class Design:
    """Every dimension and position of a jig in the ski frame; mm and degrees.

    `errors` holds, a hole, the worst sideways error in mm for STATION_ERROR at each station.
    """

    layout: Layout
    settings: Settings
    half_width: float
    mechanism: Mechanism
    stations: tuple[Station, ...]
    bodies: tuple[Body, ...]
    joint: JointShape | None
    pads: tuple[Region, ...]
    errors: tuple[float, ...]

    @property
    def bolts(self) -> tuple[tuple[Bolt, int], ...]:
        """Every screw with its nut, and how many of them: all that is bought but for bushes."""
        locks = (self.mechanism.lock, len(self.stations))
        return (locks, (self.joint.bolt, len(self.joint.screw_y))) if self.joint else (locks,)

    @property
    def guides(self) -> tuple[Guide, ...]:
        """All guides, in the layout's order."""
        order = {hole: index for index, hole in enumerate(self.layout.ids)}
        return tuple(
            sorted((g for body in self.bodies for g in body.guides), key=lambda g: order[g.id])
        )


def design_jig(
    layout: Layout, settings: Settings, boots: tuple[float, float] | None = None
) -> Design:
    """Choose every number of a jig for `layout` under `settings`.

    `boots` are the shortest and longest boot sole, mm, that it says on it, where the boot moves
    no hole of the layout.

    Raises InputError, all clashes at once, when no safe jig can be made.
    """
    settings.check()
    guides = design_guides(layout, settings)
    half_width = half_width_for(guides, settings)
    mechanism = graduated_mechanism(settings, half_width)
    places = _places(guides, mechanism, half_width, settings)
    refuse_clashes(guides, places, mechanism, settings)
    pad_shapes = pads(places.plates)
    bodies = tuple(
        make_body(plate, places, guides, layout, mechanism, pad_shapes, settings, boots)
        for plate in places.plates
    )
    heel, toe = (station.x for station in places.stations)
    play = places.joint.play if places.joint else RIGID
    errors = worst_error(layout.positions[:, 0], heel, toe, STATION_ERROR, play)
    return Design(
        layout=layout,
        settings=settings,
        half_width=half_width,
        mechanism=mechanism,
        stations=places.stations,
        bodies=bodies,
        joint=places.joint,
        pads=tuple(region for pad in pad_shapes for region in regions_of(pad)),
        errors=tuple(float(error) for error in errors),
    )


@lru_cache(maxsize=16)
def graduated_mechanism(settings: Settings, half_width: float) -> Mechanism:
    """The mechanism, its rails graduated for a body ± `half_width` mm.

    One object for all jigs that it serves, so that whatever is made or reckoned of it can be
    kept for the next jig.
    """
    plain = design_mechanism(settings)
    scale = graduations(plain.rail, settings.ski, half_width)
    return replace(plain, rail=replace(plain.rail, graduations=scale))


@dataclass(frozen=True)
class Places:
    """Where the pieces of a jig lie along the ski, its stations on them, and their joint."""

    plates: tuple[Plate, ...]
    stations: tuple[Station, ...]
    joint: JointShape | None


def half_width_for(guides: tuple[Guide, ...], settings: Settings) -> float:
    """Wide enough for the holes, yet inside the rails on the narrowest ski; mm."""
    widest = settings.ski.least / 2 - EDGE_GAP
    holes = max(abs(guide.y) + guide.radius for guide in guides) + settings.wall
    return float(min(widest, max(LEAST_HALF_WIDTH, np.ceil(holes))))


def _places(
    guides: tuple[Guide, ...], mechanism: Mechanism, half_width: float, settings: Settings
) -> Places:
    """One piece where the bed holds it, else two halves meeting at the mounting mark."""
    longest = longest_fit(2 * half_width, settings.bed, settings.bed_margin)
    whole = try_places(guides, mechanism, half_width, settings, None, longest)
    if whole:
        return whole
    joint = design_joint(half_width, settings)
    _check_joint_room(joint, half_width, settings)
    halves = try_places(guides, mechanism, half_width, settings, joint, longest)
    if halves:
        return halves
    span = max(g.x for g in guides) - min(g.x for g in guides)
    raise InputError(
        Finding(
            "design.no-place",
            f"holes over {span:.0f} mm and two stations of "
            f"{2 * mechanism.station.half_length:.0f} mm do not fit pieces of "
            f"{longest:.0f} mm, the longest a {settings.bed.x:g}x{settings.bed.y:g} mm bed takes",
            key="bed",
            hint="A larger bed or a thinner bush gives the stations room.",
        )
    )


def _check_joint_room(joint: JointShape, half_width: float, settings: Settings) -> None:
    """Raise InputError where the joint's screws would break into the sight windows."""
    outermost = max(pocket.y[1] for pocket in (*joint.heads, *joint.nuts))
    wall = window_wall(half_width) - outermost
    if wall < settings.wall:
        needed = 2 * (half_width + EDGE_GAP + settings.wall - wall)
        raise InputError(
            Finding(
                "design.narrow",
                f"joint screws and sight windows: {wall:.2f} mm of wall, {settings.wall:g} mm "
                "needed; the body must fit between the rails on the narrowest ski",
                key="ski",
                hint=f"Two halves serve skis from {needed:.1f} mm wide; a larger bed "
                "makes one piece of the jig, without a joint.",
            )
        )


def try_places(
    guides: tuple[Guide, ...],
    mechanism: Mechanism,
    half_width: float,
    settings: Settings,
    joint: JointShape | None,
    longest: float,
) -> Places | None:
    """Places with the `joint`, or of one piece without, no piece over `longest` mm; or None."""
    half, wall = mechanism.station.half_length, settings.wall
    edge = max(wall, END_WALL)
    first = min(g.x - g.radius for g in guides) - edge
    last = max(g.x + g.radius for g in guides) + edge
    blocked = tuple(Blocked(g.id, g.x - g.radius, g.x + g.radius) for g in guides)
    if joint:
        # The dovetail, narrower than the body, still lengthens the toe half on the bed.
        toe_longest = longest - joint.depth
        if first < -longest or last > toe_longest:
            return None
        blocked += (Blocked("joint", -joint.heel_reach, joint.toe_reach),)
        room = Room((first, last), edge, (-longest + edge, 0.0), (0.0, toe_longest - edge))
    else:
        blocked += (Blocked("sight windows", -WINDOW_HALF, WINDOW_HALF),)
        # The sight windows sit at the mounting mark: one piece must reach past it both ways.
        first, last = min(first, -LEAST_REACH), max(last, LEAST_REACH)
        span = (last - longest + edge, first + longest - edge)
        room = Room((first, last), edge, span, span, longest)
    holes_x = np.array([g.x for g in guides])
    play = joint.play if joint else RIGID
    found = place_stations(holes_x, blocked, half, wall, room, STATION_ERROR, play)
    if found is None:
        return None
    heel, toe = found
    start = min(first, heel - half - edge)
    stop = max(last, toe + half + edge)
    if joint:
        stations = Station("heel", heel, "rear", "heel"), Station("toe", toe, "front", "toe")
        plates: tuple[Plate, ...] = (
            Plate("body-toe", 0.0, stop, half_width, "toe"),
            Plate("body-heel", start, 0.0, half_width, "heel"),
        )
    else:
        stations = Station("heel", heel, "rear"), Station("toe", toe, "front")
        plates = (Plate("body", start, stop, half_width),)
    return Places(plates, stations, joint)


def refuse_clashes(
    guides: tuple[Guide, ...], places: Places, mechanism: Mechanism, settings: Settings
) -> None:
    """Raise InputError, all clashes at once, where a guide lacks its wall."""
    stations = tuple(
        (f"{station.name} station", station_plan(mechanism.station, station.x))
        for station in places.stations
    )
    features = (
        *outer_features(places.plates, stations),
        *inner_features(places.plates, places.joint),
    )
    found = clashes(guides, features, settings)
    if found:
        raise InputError(found)


def make_body(
    plate: Plate,
    places: Places,
    guides: tuple[Guide, ...],
    layout: Layout,
    mechanism: Mechanism,
    pad_shapes: tuple[Polygon, ...],
    settings: Settings,
    boots: tuple[float, float] | None = None,
) -> Body:
    """The body of one of the `places`' plates, engraved for what it drills."""
    mine = tuple(g for g in guides if plate.start <= g.x <= plate.stop)
    stations = tuple(s for s in places.stations if plate.start <= s.x <= plate.stop)
    taken = taken_by(mine, stations, mechanism)
    taken += [window.buffer(CLEAR) for window in windows(plate.half_width)]
    if places.joint:
        taken.append(Polygon(places.joint.socket).buffer(1.0))
    drilled = layout_part(layout, mine)
    body = lay_body(plate, outline(plate, places.joint), mine, stations, pad_shapes, settings)
    engraved = engrave(plate, drilled, settings.body, taken, pad_shapes, boots)
    return replace(body, engravings=engraved)


def taken_by(
    guides: Iterable[Guide], stations: Iterable[Station], mechanism: Mechanism
) -> list[Polygon]:
    """What guides and knobs leave no room for on a body's top."""
    pockets = [Point(g.x, g.y).buffer(g.radius + g.lead_in) for g in guides]
    return pockets + [Point(s.x, 0).buffer(mechanism.knob.radius) for s in stations]


def lay_body(
    plate: Plate,
    shape: Polygon,
    guides: tuple[Guide, ...],
    stations: tuple[Station, ...],
    pad_shapes: tuple[Polygon, ...],
    settings: Settings,
) -> Body:
    """A body of the outline `shape`, not yet engraved, as it lies on the bed.

    Raises InputError ``design.bed`` when it does not fit there.
    """
    (region,) = regions_of(shape)
    relief = shape.buffer(1.0).difference(_union(pad_shapes))
    turn = bed_turn(region.outer * (1.0, -1.0), settings.bed, settings.bed_margin)
    if turn is None:
        raise InputError(
            Finding(
                "design.bed",
                f"{plate.name} ({plate.stop - plate.start:.0f} mm long) does not fit the bed",
                key="bed",
                hint="Choose a larger bed.",
            )
        )
    return Body(
        plate=plate,
        outline=region,
        relief=regions_of(relief),
        guides=guides,
        stations=stations,
        engravings=(),
        turn=turn,
    )


def layout_part(layout: Layout, guides: tuple[Guide, ...]) -> Layout:
    """The part of `layout` that `guides` drill: the words on a body speak of its holes only."""
    wanted = {guide.id for guide in guides}
    keep = np.array([hole in wanted for hole in layout.ids])
    if keep.all() or not keep.any():
        return layout
    return replace(
        layout,
        ids=tuple(h for h, k in zip(layout.ids, keep, strict=True) if k),
        groups=tuple(g for g, k in zip(layout.groups, keep, strict=True) if k),
        positions=layout.positions[keep],
        diameters=layout.diameters[keep],
        depths=layout.depths[keep],
    )


def _union(shapes: tuple[Polygon, ...]) -> Polygon:
    merged = shapes[0]
    for shape in shapes[1:]:
        merged = merged.union(shape)
    return merged

"""A jig for many boots as plain numbers: halves that are used by themselves, each with a ladder.

Groups that move as one over the range of boots share a body with two stations of its own.  A
group that no boot of the range moves has an ordinary body with the boot-centre line.  Everything
lies as for the longest boot: its halves reach farthest, so what holds for it holds for all.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
import shapely
from shapely.geometry import Polygon, box

from jiggen.design.engraving import clamp_seats, fill, words
from jiggen.design.guides import Guide, design_guides
from jiggen.design.jig import (
    STATION_ERROR,
    Body,
    Design,
    Places,
    Station,
    graduated_mechanism,
    half_width_for,
    lay_body,
    layout_part,
    make_body,
    refuse_clashes,
    taken_by,
    try_places,
)
from jiggen.design.ladder import Ladder, boot_lines, engrave_ladder, ladder_for
from jiggen.design.lettering import regions_of
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
    HalfRole,
    Plate,
    clashes,
    corners,
    outer_features,
    outline,
    pads,
    station_plan,
)
from jiggen.design.settings import Bed, Settings
from jiggen.design.station import Mechanism
from jiggen.errors import Finding, InputError
from jiggen.layout.model import Layout
from jiggen.layout.span import Motion, motions

HINTS = ("BOOT'S LINE ON THE SKI'S MARK",)
FINE = 0.25  # mm: how exactly the longest half that fits the bed is found
RANGE_HELP = "A larger bed, a thinner bush or shorter boots give it room."


@dataclass(frozen=True, eq=False)
class Half:
    """One body used by itself: as a design of its own, and its ladder.

    `ladder` is None where no boot of the range moves the groups.
    """

    motion: Motion
    design: Design
    ladder: Ladder | None

    @property
    def body(self) -> Body:
        """The one body."""
        return self.design.bodies[0]


@dataclass(frozen=True, eq=False)
class Reusable:
    """A jig for the boots of `layouts`, mm: `whole` holds all of its parts, `halves` each one."""

    layouts: Mapping[float, Layout]
    whole: Design
    halves: tuple[Half, ...]

    @property
    def boots(self) -> tuple[float, float]:
        """Shortest and longest boot sole, mm."""
        return min(self.layouts), max(self.layouts)


def design_reusable(
    layouts: Mapping[float, Layout], settings: Settings, *, engraved: bool = True
) -> Reusable:
    """Choose every number of a jig for all boots of `layouts` (by boot sole length, mm).

    Without `engraved` all but the engraving is chosen, which is quick.  Raises InputError, what
    is wrong with every half at once, when no such jig can be made.
    """
    settings.check()
    longest = layouts[max(layouts)]
    guides = design_guides(longest, settings)
    half_width = half_width_for(guides, settings)
    mechanism = graduated_mechanism(settings, half_width)
    job = _Job(layouts, settings, half_width, mechanism, engraved)
    moving = motions(layouts)
    halves: list[Half] = []
    faults: list[Finding] = []
    for motion, (name, role) in zip(moving, name_halves(moving, longest), strict=True):
        mine = tuple(
            g for g, group in zip(guides, longest.groups, strict=True) if group in motion.groups
        )
        share = _Share(motion, name, role, mine)
        try:
            halves.append(_still(job, share) if motion.still else _half(job, share))
        except InputError as error:
            faults += error.findings
    if faults:
        raise InputError(dict.fromkeys(faults))
    return Reusable(layouts, _whole(job, halves), tuple(halves))


@dataclass(frozen=True, eq=False)
class _Job:
    """What all halves have in common."""

    layouts: Mapping[float, Layout]
    settings: Settings
    half_width: float
    mechanism: Mechanism
    engraved: bool

    @property
    def boots(self) -> tuple[float, float]:
        return min(self.layouts), max(self.layouts)

    @property
    def longest(self) -> Layout:
        return self.layouts[max(self.layouts)]


@dataclass(frozen=True)
class _Share:
    """What one half drills: groups of one motion, `name` and `role` of the half, its guides."""

    motion: Motion
    name: str
    role: HalfRole
    guides: tuple[Guide, ...]

    @property
    def part(self) -> str:
        """The name of the half's body."""
        return body_name(self.name)


def body_name(half: str) -> str:
    """The name of the body of the half `half`."""
    return f"body-{half}"


def name_halves(moving: tuple[Motion, ...], layout: Layout) -> list[tuple[str, HalfRole]]:
    """Name and role of the half for each motion, the role by where its holes lie.

    The name is the role, with a number from the second half of a role on.
    """
    roles: list[HalfRole] = []
    for motion in moving:
        x = [
            p[0]
            for p, group in zip(layout.positions, layout.groups, strict=True)
            if group in motion.groups
        ]
        roles.append("centre" if motion.still else "toe" if np.mean(x) > 0 else "heel")
    seen: Counter[HalfRole] = Counter()
    named: list[tuple[str, HalfRole]] = []
    for role in roles:
        seen[role] += 1
        named.append((role if seen[role] == 1 else f"{role}-{seen[role]}", role))
    return named


def _half(job: _Job, share: _Share) -> Half:
    """A half with a ladder, between its holes and the mounting mark."""
    settings, mechanism, part = job.settings, job.mechanism, share.part
    motion, guides, name = share.motion, share.guides, share.name
    xs = [line.x for line in boot_lines(motion)]
    root = _side(guides, xs, motion)
    ladder = ladder_for(motion, job.half_width, root)
    stations, far = _stations(job, ladder, share)
    start, stop = sorted((ladder.joins, far))
    main = Plate(part, start, stop, job.half_width, share.role)
    whole = replace(main, start=min(start, ladder.span[0]), stop=max(stop, ladder.span[1]))
    tongue = box(ladder.span[0], -job.half_width, ladder.span[1], job.half_width)
    features = (
        *outer_features((main,), _station_plans(mechanism, stations)),
        (f"{name} half's ladder", tongue, "The group lies too near the mounting mark."),
    )
    if found := clashes(guides, features, settings):
        raise InputError(found)
    pad_shapes = pads((main,))
    body = lay_body(whole, half_outline(main, ladder), guides, stations, pad_shapes, settings)
    if job.engraved:
        taken = taken_by(guides, stations, mechanism)
        seats = clamp_seats(main, pad_shapes, taken)
        shapes = [Polygon(region.outer) for region in seats.regions]
        drilled = layout_part(job.longest, guides)
        lines = (*words(drilled, job.boots), f"{name.upper()} HALF")
        filled = fill(main, lines, [*taken, *shapes], HINTS)
        marks = (seats, *engrave_ladder(ladder, part, settings.body), *filled)
        body = replace(body, engravings=tuple(mark for mark in marks if mark.regions))
    return Half(motion, _design(job, guides, stations, body, pad_shapes), ladder)


def _still(job: _Job, share: _Share) -> Half:
    """An ordinary body of one piece, for groups that the boot does not move."""
    settings, mechanism, guides = job.settings, job.mechanism, share.guides
    longest = longest_fit(2 * job.half_width, settings.bed, settings.bed_margin)
    found = try_places(guides, mechanism, job.half_width, settings, None, longest)
    if found is None:
        raise _no_place(guides, mechanism, settings.bed, longest, share.part)
    plate = replace(found.plates[0], name=share.part, half=share.role)
    stations = tuple(
        replace(s, name=f"{share.name} {s.role}", half=share.role) for s in found.stations
    )
    places = Places((plate,), stations, None)
    refuse_clashes(guides, places, mechanism, settings)
    pad_shapes = pads((plate,))
    if job.engraved:
        body = make_body(
            plate, places, guides, job.longest, mechanism, pad_shapes, settings, job.boots
        )
    else:
        body = lay_body(plate, outline(plate, None), guides, stations, pad_shapes, settings)
    return Half(share.motion, _design(job, guides, stations, body, pad_shapes), None)


def half_outline(main: Plate, ladder: Ladder) -> Polygon:
    """A half seen from above: the bar that holds stations and guides, and its tongue."""
    bar = box(main.start, -main.half_width, main.stop, main.half_width)
    bar = bar.difference(shapely.union_all(corners(main)))
    return shapely.normalize(bar.union(ladder.plan))


def _side(guides: tuple[Guide, ...], xs: list[float], motion: Motion) -> int:
    """Whether the holes lie in front of all lines, +1, or behind them, -1."""
    if min(g.x for g in guides) > max(xs):
        return 1
    if max(g.x for g in guides) < min(xs):
        return -1
    raise InputError(
        Finding(
            "design.ladder-side",
            f"the holes of {', '.join(motion.groups)} lie where the ladder of boot lengths must "
            "be, about the mounting mark",
            key="boot",
            hint="Build a jig for one boot length, or for fewer.",
        )
    )


def _stations(job: _Job, ladder: Ladder, share: _Share) -> tuple[tuple[Station, ...], float]:
    """Two stations beside or beyond the holes, and the x of the body's far end."""
    settings, mechanism, root = job.settings, job.mechanism, ladder.root
    half, wall, guides = mechanism.station.half_length, settings.wall, share.guides
    edge = max(wall, END_WALL)
    longest = _longest(job, ladder)
    low = min(g.x - g.radius for g in guides) - edge
    high = max(g.x + g.radius for g in guides) + edge
    tip, tail = ladder.span[1], ladder.span[0]
    near = ladder.joins + root * (END_WALL - wall)
    blocked = [Blocked(g.id, g.x - g.radius, g.x + g.radius) for g in guides]
    if root > 0:
        ends, room = (tail, high), (ladder.joins, tail + longest - edge)
        blocked.append(Blocked("ladder", tail, near))
    else:
        ends, room = (low, tip), (tip - longest + edge, ladder.joins)
        blocked.append(Blocked("ladder", near, tip))
    holes_x = np.array([g.x for g in guides])
    found = None
    if ends[1] - ends[0] <= longest:
        found = place_stations(
            holes_x, tuple(blocked), half, wall, Room(ends, edge, room, room, longest),
            STATION_ERROR, RIGID,
        )  # fmt: skip
    if found is None:
        raise _no_place(guides, mechanism, settings.bed, longest, share.part, ladder)
    rear, front = found
    far = max(high, front + half + edge) if root > 0 else min(low, rear - half - edge)
    stations = (
        Station(f"{share.name} rear", rear, "rear", share.role),
        Station(f"{share.name} front", front, "front", share.role),
    )
    return stations, far


def _longest(job: _Job, ladder: Ladder) -> float:
    """The greatest length of a half with this tongue that fits the bed at some turn."""

    def fits(length: float) -> bool:
        end = ladder.span[0] + length if ladder.root > 0 else ladder.span[1] - length
        main = Plate("", min(ladder.joins, end), max(ladder.joins, end), job.half_width)
        shape = np.asarray(half_outline(main, ladder).exterior.coords)[:-1] * (1.0, -1.0)
        return bed_turn(shape, job.settings.bed, job.settings.bed_margin) is not None

    low = ladder.span[1] - ladder.span[0] + 10.0
    high = low + job.settings.bed.x + job.settings.bed.y
    if not fits(low):
        return 0.0
    while high - low > FINE:
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def _no_place(
    guides: tuple[Guide, ...],
    mechanism: Mechanism,
    bed: Bed,
    longest: float,
    part: str,
    ladder: Ladder | None = None,
) -> InputError:
    span = max(g.x for g in guides) - min(g.x for g in guides)
    with_it = f", a ladder of {ladder.span[1] - ladder.span[0]:.0f} mm" if ladder else ""
    away = min(abs(g.x) for g in guides)
    where = f" that begin {away:.0f} mm from the mounting mark" if ladder else ""
    return InputError(
        Finding(
            "design.no-place",
            f"{part}: holes over {span:.0f} mm{where}{with_it} and two stations of "
            f"{2 * mechanism.station.half_length:.0f} mm do not fit a piece of {longest:.0f} mm, "
            f"the longest a {bed.x:g}x{bed.y:g} mm bed takes",
            key="bed",
            hint=RANGE_HELP,
        )
    )


def _station_plans(
    mechanism: Mechanism, stations: tuple[Station, ...]
) -> list[tuple[str, Polygon]]:
    return [(f"{s.name} station", station_plan(mechanism.station, s.x)) for s in stations]


def _design(
    job: _Job,
    guides: tuple[Guide, ...],
    stations: tuple[Station, ...],
    body: Body,
    pad_shapes: tuple[Polygon, ...],
) -> Design:
    layout = layout_part(job.longest, guides)
    rear, front = (station.x for station in stations)
    errors = worst_error(layout.positions[:, 0], rear, front, STATION_ERROR)
    return Design(
        layout=layout,
        settings=job.settings,
        half_width=job.half_width,
        mechanism=job.mechanism,
        stations=stations,
        bodies=(body,),
        joint=None,
        pads=tuple(region for pad in pad_shapes for region in regions_of(pad)),
        errors=tuple(float(error) for error in errors),
    )


def _whole(job: _Job, halves: list[Half]) -> Design:
    """All halves as one design: what is drawn, printed and bought."""
    error_of = {
        hole: error
        for half in halves
        for hole, error in zip(half.design.layout.ids, half.design.errors, strict=True)
    }
    return Design(
        layout=job.longest,
        settings=job.settings,
        half_width=job.half_width,
        mechanism=job.mechanism,
        stations=tuple(station for half in halves for station in half.design.stations),
        bodies=tuple(half.body for half in halves),
        joint=None,
        pads=tuple(pad for half in halves for pad in half.design.pads),
        errors=tuple(error_of[hole] for hole in job.longest.ids),
    )

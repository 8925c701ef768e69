"""A jig for many boots as plain numbers: halves that are used by themselves, each with a ladder.

Groups that move as one over the range of boots share a body with two stations of its own.  A
group that no boot of the range moves has an ordinary body with the boot-centre line.  Everything
lies as for the longest boot: its halves reach farthest, so what holds for it holds for all.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import partial
from itertools import compress

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.geometry import Polygon

from jiggen import wording
from jiggen.design import jig, plan
from jiggen.design.engraving import DEPTH, engrave, obstacles_on, words
from jiggen.design.envelopes import clamp_places
from jiggen.design.guides import Guide, design_guides, layout_part, refuse_off_ski
from jiggen.design.jig import Base, Body, Design, Places
from jiggen.design.ladder import Tongue, engrave_tongue, tongue_for
from jiggen.design.placing import place_stations
from jiggen.design.plan import Plate
from jiggen.design.settings import Settings
from jiggen.errors import Finding, InputError
from jiggen.layout import Layout, Motion, motions
from jiggen.record.entries import HalfName, Station
from jiggen.record.ladders import Ladder

FINE = 0.25  # mm: how exactly the longest half that fits the bed is found
RANGE_HELP = "A larger bed, a thinner bush or shorter boots give it room."


@dataclass(frozen=True, eq=False)
class Half:
    """One body used by itself; `tongue` is None where no boot of the range moves its groups."""

    name: str
    motion: Motion
    design: Design
    tongue: Tongue | None

    @property
    def body(self) -> Body:
        """The one body."""
        return self.design.bodies[0]

    def holes_of(self, layout: Layout) -> NDArray[np.bool_]:
        """Which holes of `layout` it drills, (n,)."""
        return np.isin(layout.groups, self.motion.groups)

    def stations_at(self, boot: float) -> tuple[float, float]:
        """The x of its stations as it lies for `boot`, one of those that it serves, mm."""
        travel = float(self.motion.travel[self.motion.boots == boot][0])
        rear, front = (station.x + travel for station in self.design.stations)
        return rear, front

    @property
    def ladder(self) -> Ladder | None:
        """The tongue's lines as the record has them."""
        if self.tongue is None:
            return None
        floor = self.design.settings.body - DEPTH
        end = self.design.settings.relief
        rows = tuple(row.entry(floor, end) for row in (*self.tongue.rows, self.tongue.shift))
        return Ladder(part=self.body.name, half=self.name, groups=self.motion.groups, rows=rows)


@dataclass(frozen=True, eq=False)
class Reusable:
    """A jig for the boots of `layouts`, mm: `whole` holds all of its parts, `halves` each one."""

    layouts: Mapping[float, Layout]
    whole: Design
    halves: tuple[Half, ...]


def design_reusable(
    layouts: Mapping[float, Layout],
    settings: Settings,
    *,
    closest: bool = False,
    engraved: bool = True,
    jig_mark: str = "",
) -> Reusable:
    """Choose every number of a jig for all boots of `layouts` (by boot sole length, mm).

    Options as for `design_jig`.  Raises InputError with what is wrong with every half.
    """
    settings.check()
    boots = min(layouts), max(layouts)
    longest = layouts[boots[1]]
    refuse_off_ski(longest, settings)
    guides = design_guides(longest, settings)
    base = jig.base_for(guides, settings, closest=closest, jig_mark=jig_mark)
    moving = motions(layouts)
    halves: list[Half] = []
    faults: list[Finding] = []
    for motion, (name, role) in zip(moving, name_halves(moving, longest), strict=True):
        mine = tuple(compress(guides, np.isin(longest.groups, motion.groups)))
        share = _Share(base, motion, name, role, mine, layout_part(longest, mine), boots, engraved)
        try:
            halves.append(_one_line(share) if motion.still else _half(share))
        except InputError as error:
            faults += error.findings
    if faults:
        raise InputError(dict.fromkeys(faults))
    designs = [half.design for half in halves]
    errors = {h: e for d in designs for h, e in zip(d.layout.ids, d.errors, strict=True)}
    whole = replace(
        designs[0],
        layout=longest,
        stations=tuple(station for design in designs for station in design.stations),
        bodies=tuple(half.body for half in halves),
        supports=tuple(strip for design in designs for strip in design.supports),
        errors=tuple(errors[hole] for hole in longest.ids),
    )
    return Reusable(layouts, whole, tuple(halves))


def name_halves(moving: tuple[Motion, ...], layout: Layout) -> list[tuple[str, HalfName]]:
    """Name and role of each half, by where its holes lie; the second of a role has a number."""
    seen: Counter[HalfName] = Counter()
    named: list[tuple[str, HalfName]] = []
    for motion in moving:
        ahead = layout.positions[np.isin(layout.groups, motion.groups), 0].mean() > 0
        role: HalfName = "centre" if motion.still else "toe" if ahead else "heel"
        seen[role] += 1
        named.append((role if seen[role] == 1 else f"{role}-{seen[role]}", role))
    return named


@dataclass(frozen=True, eq=False)
class _Share:
    """What one half drills; `layout` is that of the longest of `boots`, shortest and longest."""

    base: Base
    motion: Motion
    name: str
    role: HalfName
    guides: tuple[Guide, ...]
    layout: Layout
    boots: tuple[float, float]
    engraved: bool

    @property
    def part(self) -> str:
        """The name of the half's body."""
        return f"body-{self.name}"

    def stations(self, rear: float, front: float) -> tuple[Station, ...]:
        """The half's stations at these x, mm."""
        return tuple(
            Station(name=f"{self.name} {role}", role=role, half=self.role, part=self.part, x=x)
            for role, x in (("rear", rear), ("front", front))
        )


def _half(share: _Share) -> Half:
    """A half with a ladder, between its holes and the mounting mark."""
    base, guides, settings = share.base, share.guides, share.base.settings
    tongue = tongue_for(share.motion, base.half_width, [guide.x for guide in guides])
    stations, far, tongue = _stations(share, tongue)
    low, high = tongue.span
    main = Plate(share.part, *_between(tongue.joins, far), base.half_width, share.role)
    whole = replace(main, start=min(main.start, low), stop=max(main.stop, high))
    over = replace(main, start=low, stop=high).bar
    near = (f"{share.name} half's ladder", over, "The group lies too near the mounting mark.")
    outer = plan.outer_features((main,), stations, base.mechanism.station)
    if found := plan.clashes(guides, (*outer, near), settings):
        raise InputError(found)
    strips = tuple(strip - over for strip in plan.strips((main,), guides))
    flares, shape = tongue.flares(settings.relief), _outline(main, tongue)
    ends = main.start, main.stop
    clamp = partial(clamp_places, main, guides, stations, base.mechanism, ends)
    body = jig.lay_body(whole, shape, guides, stations, strips, base, clamp, flares)
    if share.engraved:
        obstacles = obstacles_on(guides, stations, base.mechanism.knob.radius, body.notch)
        lines = (*words(share.layout, share.boots), wording.half_line(share.name))
        ladders = engrave_tongue(tongue, settings.body, settings.relief)
        hints, mark = (wording.HINT,), base.jig_mark
        marks = engrave(main, lines, obstacles, body.clamps, (), ladders, hints, mark)
        body = replace(body, engravings=marks)
    design = jig.assemble(base, share.layout, Places((main,), stations, None), (body,), strips)
    return Half(share.name, share.motion, design, tongue)


def _one_line(share: _Share) -> Half:
    """A body for groups that the boot does not move: an ordinary one.

    Where the base asks for the `closest` it may have a tongue, its one line for all boots, if its
    stations stand so that the error is less.
    """
    if not share.base.closest:
        return _still(share)
    made, faults = [], []
    for design in (_still, _half):
        try:
            made.append(design(share))
        except InputError as error:
            faults.append(error)
    if not made:
        raise faults[0]
    return min(made, key=lambda half: max(half.design.errors))


def _still(share: _Share) -> Half:
    """An ordinary body of one piece, for groups that the boot does not move."""
    base = share.base
    found = jig.try_places(share.guides, base)
    if found is None:
        raise jig.no_place(share.part, share.guides, base, base.longest, RANGE_HELP)
    plate = replace(found.plates[0], name=share.part, half=share.role)
    rear, front = (station.x for station in found.stations)
    places = Places((plate,), share.stations(rear, front), None)
    design = jig.design_bodies(
        base, share.layout, share.guides, places, share.boots, engraved=share.engraved
    )
    return Half(share.name, share.motion, design, None)


def _outline(main: Plate, tongue: Tongue) -> Polygon:
    """A half seen from above: the bar that holds stations and guides, and its tongue."""
    bar = main.bar.difference(shapely.union_all(plan.corners(main)))
    return shapely.normalize(bar.union(tongue.plan))


def _stations(share: _Share, tongue: Tongue) -> tuple[tuple[Station, ...], float, Tongue]:
    """Two stations beside or beyond the holes, the x of the body's far end, and the tongue.

    That is moved from the holes as far as these, or a station before them, need it.
    """
    base, guides, root = share.base, share.guides, tongue.root
    half, wall, edge = base.mechanism.station.half_length, base.settings.wall, base.edge
    longest = _longest(base, tongue)
    low, high = jig.ends_of(guides, base)
    tail, tip = tongue.span
    spare = max(0.0, tongue.spare)
    near = min(root * guide.x - guide.radius for guide in guides)
    away = min(spare, max(0.0, root * tongue.joins + wall - near))
    end, holes_end = (tail - away, high) if root > 0 else (tip + away, low)
    ends = _between(end, holes_end)
    joins, own = tongue.joins - root * spare, tip - tail
    room = _between(joins, end + root * (longest - edge))
    over = _between(joins - root * own, joins + root * (edge - wall))
    before = (own, 0.0) if root > 0 else (0.0, own)
    found = None
    if ends[1] - ends[0] <= longest:
        found = place_stations(guides, base, over, ends, (room, room), longest, before=before)
    if found is None:
        apart = min(abs(guide.x) for guide in guides)
        with_it = f" {apart:.0f} mm from the mounting mark, a ladder of {own:.0f} mm"
        raise jig.no_place(share.part, guides, base, longest, RANGE_HELP, with_it)
    rear, front = found
    first = rear if root > 0 else -front
    away = max(away, root * tongue.joins + edge + half - first)
    far = max(high, front + half + edge) if root > 0 else min(low, rear - half - edge)
    return share.stations(rear, front), far, tongue.moved(away)


def _between(one: float, other: float) -> plan.Interval:
    return min(one, other), max(one, other)


def _longest(base: Base, tongue: Tongue) -> float:
    """The greatest length of a half with this tongue that fits the bed at some turn."""
    flares = [flare.corners for flare in tongue.flares(base.settings.relief)]

    def fits(length: float) -> bool:
        end = tongue.span[0] + length if tongue.root > 0 else tongue.span[1] - length
        main = Plate("", *_between(tongue.joins, end), base.half_width)
        outline = np.asarray(_outline(main, tongue).exterior.coords)[:-1]
        shape = np.vstack([outline, *flares]) * (1.0, -1.0)
        return plan.bed_turn(shape, base.settings.bed) is not None

    low = tongue.span[1] - tongue.span[0] + 10.0
    high = low + base.settings.bed.x + base.settings.bed.y
    if not fits(low):
        return 0.0
    while high - low > FINE:
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low

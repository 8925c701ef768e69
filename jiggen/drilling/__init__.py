"""Room: drilling.  Whether this ski takes these holes, and how the drill is set for them.

After layout and before design: the height of each hole's guide is handed in as a number.

A hole's depth is that of its full diameter below the top sheet, as usual; the drill's point
goes deeper by its own length::

    point     = drill / 2 / tan(point angle / 2)
    stop      = guide's top above the ski + depth + point,   measured from the drill's tip
              = guide's top above the ski + depth,           measured from the lips' corners
    base left = thickness - depth - point - what the hole comes out too deep at most (95 %)

The tip is what a caliper finds, so the first stop is the one to set.  An ordinary jobber drill
is long enough when

    overall - chuck grip >= leave        and        flute >= stop + chip clearance
    leave = the larger of stop + stop length, and chuck height + depth + point

The first leaves room for depth stop and chuck above the guide, and keeps the chuck's face at the
height that clears what stands beside the hole; with the second the flutes end above the guide even
when the drill is down, so that chips get out.
"""

import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from jiggen.drilling.sizes import ODD_SIZES, odd_sizes
from jiggen.errors import Finding, InputError
from jiggen.layout import Layout, numbered
from jiggen.pattern.model import Area, Pattern, Screw
from jiggen.record.results import DepthStop, DrilledHole, Drilling
from jiggen.tables import jobber_drill

_ERRORS = ("base", "area", "off-ski")
_WARNINGS = (*ODD_SIZES, "screw-short", "screw-deep", "edge")
_SCREWS = "a plate of 0 to 60 mm, and screws of 4 to 100 mm"
Array = NDArray[np.float64]

ROUNDING = 1e-9  # mm by which a length may miss its limit through rounding alone


@dataclass(frozen=True)
class DrillingLimits:
    """Every number the drilling check goes by, with where its default comes from; mm, degrees."""

    # The usual point of general-purpose twist drills; from memory (DIN 338, DIN 1412).
    point_angle: float = 118.0
    # Left between the point of the drill and the base; common practice, no source.
    base_left: float = 2.0
    # ISO 6005:1991: screws reach 6 ± 0.2 mm deep when holes are tested for stripping.
    engagement: float = 6.0
    # The hole is drilled deeper than the screw goes; common practice, no source.
    # In ISO 6005:1991 it is 1 mm: hole 9 mm deep, screw 8 ± 0.2 mm.
    screw_gap: float = 0.5
    # ISO 10045:2017: largest major diameter of the test screw, 5.31 to 5.46 mm.
    screw_diameter: float = 5.46
    # From a hole's wall to the edge of the ski; common practice, no source.
    edge: float = 8.0
    # Length of drill held by the chuck; common practice, no source.
    chuck_grip: float = 20.0
    # Length of drill under the depth stop; common practice, no source.
    stop_length: float = 10.0
    # Flute above the guide with the drill all the way down; common practice, no source.
    chip_clearance: float = 5.0

    def check(self) -> None:
        """Raise InputError ``drilling.limit``, all faults at once, for impossible numbers."""
        ranges = {
            "point_angle": (60.0, 180.0),
            "base_left": (0.0, 20.0),
            "engagement": (0.0, 20.0),
            "screw_gap": (0.0, 10.0),
            "screw_diameter": (0.0, 12.0),
        }
        faults = []
        for key, value in asdict(self).items():
            low, high = ranges.get(key, (0.0, 60.0))
            unit = "degrees" if key == "point_angle" else "mm"
            if not low <= value <= high:  # so put, NaN is refused as well
                allowed = f"{low:g} to {high:g} {unit}"
                faults.append(_fault("limit", f"{key} is {value:g} {unit}", key, allowed))
        _refuse(faults)

    def point(self, drill: float) -> float:
        """Length in mm of the point of a `drill` of that diameter, from tip to full diameter."""
        return drill / 2 / math.tan(math.radians(self.point_angle / 2))


@dataclass(frozen=True)
class SkiMark:
    """Where a ski's mounting mark is: `length` mm before its tail, or half its chord of `length`.

    Both are straight lines from the tail's end, whatever the camber; the chord ends at the tip.
    """

    way: Literal["tail", "chord"]
    length: float

    @property
    def from_tail(self) -> float:
        """How far in front of the tail's end the mark is, in mm."""
        return self.length / 2 if self.way == "chord" else self.length


@dataclass(frozen=True)
class SkiState:
    """What was measured on the ski, in mm; nothing of it has to be known.

    `thickness` is empty, one value for the whole ski, or two: under the toe and under the heel,
    that is at the centres of the foremost and the rearmost group of holes.  `widths` are up to
    three pairs of x from the mounting mark and the width of the top sheet there.  `mark` says
    where that mark is on a ski that shows none, or several.
    """

    thickness: tuple[float, ...] = ()
    widths: tuple[tuple[float, float], ...] = ()
    area: Area | None = None
    mark: SkiMark | None = None

    def check(self) -> None:
        """Raise InputError ``drilling.ski``, all faults at once, for impossible measurements."""
        _refuse(_fault("ski", *fault) for fault in self._faults())

    def _faults(self) -> Iterator[tuple[str, str, str]]:
        """What is wrong, of which key, and what is allowed."""
        if len(self.thickness) > 2:
            text = f"{len(self.thickness)} thicknesses"
            yield text, "thickness", "one value, or two: under toe and heel"
        for value in self.thickness:
            if not 3.0 <= value <= 60.0:  # common practice, no source
                yield f"a ski {value:g} mm thick", "thickness", "3 to 60 mm"
        if len(self.widths) > 3:
            yield f"{len(self.widths)} widths", "width", "up to three"
        for x, width in self.widths:
            if not (40.0 <= width <= 200.0 and abs(x) <= 1200.0):  # common practice, no source
                text = f"a ski {width:g} mm wide, {x:g} mm from the mounting mark"
                yield text, "width", "40 to 200 mm wide, within 1200 mm of the mark"
        # Nearer together, a small error of measuring would bend the curve through three widths.
        if any(not b - a >= 20.0 for a, b in pairwise(sorted(x for x, _ in self.widths))):
            text = "two widths were measured at nearly the same place"
            yield text, "width", "20 mm apart or more"
        if self.mark and not 300.0 <= self.mark.from_tail <= 1300.0:  # common practice, no source
            text = f"a mark {self.mark.from_tail:g} mm in front of the tail"
            yield text, "mark", "300 to 1300 mm"
        area = self.area
        if area and not (-math.inf < area.x_from < area.x_to < math.inf and area.half_width > 0):
            text = f"an area from {area.x_from:g} to {area.x_to:g} mm, {area.half_width:g} mm wide"
            yield text, "area", "from the tail's end to the tip's, and a half width"


def screws_of(pattern: Pattern) -> Mapping[str, Screw]:
    """What goes into the holes, by their ids in any layout of `pattern`, where it says so; mm."""
    holes = (item for group in pattern.groups for item in numbered(group))
    return {name: hole.screw for name, hole in holes if hole.screw is not None}


def check_drilling(
    layout: Layout,
    bush_tops: Mapping[str, float],
    ski: SkiState,
    limits: DrillingLimits,
    screws: Mapping[str, Screw] | None = None,
    chucks: Mapping[str, float] | None = None,
    too_deep: Mapping[str, float] | None = None,
) -> Drilling:
    """Check the holes of `layout` against `ski`, and say how the drill is set.

    `bush_tops` is, by hole id, the height in mm above the top sheet that the depth stop
    comes down on; `screws` what goes into a hole, by its id, for those where it is known;
    `chucks` the height in mm that the chuck's face must keep there, if any; `too_deep` how much
    deeper than asked it may come out, mm: that is taken off the base left.

    The result's errors are ``drilling.base``, ``.area``, ``.off-ski``; its warnings
    ``drilling.screw-short``, ``.screw-deep``, ``.edge``, ``.drill-short``, ``.flute-short``, those
    of `odd_sizes`.
    Raises InputError: ``drilling.limit``, ``.ski``, ``.screw`` for numbers that cannot be,
    ``tables.unlisted`` for a drill that is not in DIN 338.
    """
    limits.check()
    ski.check()
    screws = screws or {}
    _refuse(
        _fault("screw", f"{screw.lengths} through {screw.plate:g} mm", hole, _SCREWS)
        for hole, screw in screws.items()
        if not (0 <= screw.plate <= 60 and screw.lengths)
        or not all(4 <= length <= 100 for length in screw.lengths)
    )
    holes = tuple(_holes(layout, ski, limits, screws, too_deep or {}))
    stops = tuple(_stops(holes, bush_tops, limits, chucks or {}))
    # One finding for all holes with the same remark.
    shared: dict[tuple[str, str, str], list[str]] = {}
    for hole in holes:
        remarks = (*_errors(hole, ski.area, limits), *odd_sizes(hole), *_warnings(hole, limits))
        for remark in remarks:
            shared.setdefault(remark, []).append(hole.id)
    found: dict[str, list[Finding]] = {code: [] for code in (*_ERRORS, *_WARNINGS)}
    for (code, message, hint), names in shared.items():
        found[code].append(Finding(f"drilling.{code}", message, "", ", ".join(names), hint))
    return Drilling(
        stops=stops,
        holes=holes,
        errors=tuple(one for code in _ERRORS for one in found[code]),
        warnings=(
            *(one for code in _WARNINGS for one in found[code]),
            *(_short_drill(stop, limits) for stop in stops if not stop.long_enough),
        ),
    )


def check_all_boots(
    layouts: Iterable[Layout],
    tops: Mapping[str, float],
    state: SkiState,
    limits: DrillingLimits,
    screws: Mapping[str, Screw],
    chucks: Mapping[str, float] | None = None,
    too_deep: Mapping[str, float] | None = None,
) -> Drilling:
    """`check_drilling` of the first of `layouts`, with what is found of the others too.

    A finding about several layouts is reported once, of the first one that it is about.
    """
    first, *others = layouts
    found = check_drilling(first, tops, state, limits, screws, chucks, too_deep)
    of_boots = [(found, "")]
    for layout in others:
        more = check_drilling(layout, tops, state, limits, screws, chucks, too_deep)
        of_boots.append((more, f"boot {layout.boot:g}: "))
    kinds: dict[str, dict[tuple[str, str], Finding]] = {"errors": {}, "warnings": {}}
    for kind, known in kinds.items():
        for drilling, boot in of_boots:
            for one in getattr(drilling, kind):
                known.setdefault((one.code, one.key), replace(one, message=boot + one.message))
    return found.model_copy(update={kind: tuple(known.values()) for kind, known in kinds.items()})


def _holes(
    layout: Layout,
    ski: SkiState,
    limits: DrillingLimits,
    screws: Mapping[str, Screw],
    too_deep: Mapping[str, float],
) -> Iterator[DrilledHole]:
    thickness = thickness_at_holes(layout, ski.thickness)
    width = width_at(layout.positions[:, 0], ski.widths)
    for index, (name, group) in enumerate(zip(layout.ids, layout.groups, strict=True)):
        x, y = layout.positions[index].tolist()
        drill, depth = float(layout.diameters[index]), float(layout.depths[index])
        point = limits.point(drill)
        thick = None if thickness is None else float(thickness[index])
        deeper = too_deep.get(name, 0.0)
        screw, length = screws.get(name), None
        if screw:
            # The longest that does not reach the bottom of the hole, or the shortest of all.
            room = screw.plate + depth - limits.screw_gap + ROUNDING
            length = max((n for n in screw.lengths if n <= room), default=min(screw.lengths))
        yield DrilledHole(
            id=name,
            group=group,
            x=x,
            y=y,
            drill=drill,
            depth=depth,
            point=point,
            thickness=thick,
            too_deep=deeper,
            base_left=None if thick is None else thick - depth - point - deeper,
            edge=None if width is None else float(width[index]) / 2 - abs(y) - drill / 2,
            screw=length,
            engagement=length - screw.plate if screw and length else None,
        )


def _stops(
    holes: Iterable[DrilledHole],
    bush_tops: Mapping[str, float],
    limits: DrillingLimits,
    chucks: Mapping[str, float],
) -> Iterator[DepthStop]:
    """One stop for the holes that share drill, depth and height of the guide."""
    shared: dict[tuple[float, float, float], list[str]] = {}
    for hole in holes:
        key = (hole.drill, hole.depth, round(float(bush_tops[hole.id]), 6))
        shared.setdefault(key, []).append(hole.id)
    for (drill, depth, bush_top), names in shared.items():
        jobber, point = jobber_drill(drill), limits.point(drill)
        from_tip = bush_top + depth + point
        chuck = max(chucks.get(name, 0.0) for name in names)
        leave = max(from_tip + limits.stop_length, chuck + depth + point)
        reaches = jobber.overall - limits.chuck_grip >= leave - ROUNDING
        clears = jobber.flute >= from_tip + limits.chip_clearance - ROUNDING
        yield DepthStop(
            holes=tuple(names),
            drill=drill,
            depth=depth,
            bush_top=bush_top,
            point=point,
            point_angle=limits.point_angle,
            from_tip=from_tip,
            from_corners=bush_top + depth,
            leave=leave,
            jobber=jobber,
            long_enough=reaches and clears,
        )


def thickness_at_holes(layout: Layout, measured: Sequence[float]) -> Array | None:
    """Thickness in mm at each hole, (n,) float, from one or two `measured`; None from none.

    Two values stand at the centres (mean x) of the foremost and the rearmost group, with a
    straight line between.  Past them the ski counts as no thicker than either the line or the
    nearer value, since it may thin out again.  With one group, the lesser value holds.
    """
    if not measured:
        return None
    x, groups = layout.positions[:, 0], np.array(layout.groups)
    centres = [float(x[groups == group].mean()) for group in dict.fromkeys(layout.groups)]
    toe, heel = max(centres), min(centres)
    if len(measured) == 1 or toe == heel:
        return np.full(len(layout), min(measured))
    along = (x - heel) / (toe - heel)
    slope = measured[0] - measured[1]
    return np.minimum(measured[1] + slope * along, measured[1] + slope * np.clip(along, 0.0, 1.0))


def width_at(x: Array, measured: Sequence[tuple[float, float]]) -> Array | None:
    """Width in mm at each `x`, (n,) float, from up to three `measured` (x, width); None from none.

    Between two places the edges run straight, between three along a parabola, which an arc of
    sidecut follows; beyond the outermost place its width holds.
    """
    if not measured:
        return None
    places, widths = np.array(sorted(measured), dtype=np.float64).T
    x = np.clip(x, places[0], places[-1])
    if len(measured) < 3:
        return np.asarray(np.interp(x, places, widths), dtype=np.float64)
    (a, b, c), (u, v, w) = places, widths  # Newton's divided differences
    first, second = (v - u) / (b - a), (w - v) / (c - b)
    bend = (second - first) / (c - a)
    return np.asarray(u + (x - a) * (first + bend * (x - b)))


def _errors(
    hole: DrilledHole, area: Area | None, limits: DrillingLimits
) -> Iterator[tuple[str, str, str]]:
    """The code, the message and the hint of each error of a hole."""
    thick, base_left = hole.thickness, hole.base_left
    if thick is not None and base_left is not None and base_left < limits.base_left - ROUNDING:
        sums = f"{thick:.2f} thick - {hole.depth:.2f} deep - {hole.point:.2f} point"
        if hole.too_deep:
            sums += f" - {hole.too_deep:.2f} depth error"
        left = f"{base_left:.2f} mm of ski would be left under the point"
        if base_left <= 0:
            left = f"the point would come out of the base by {-base_left:.2f} mm"
        deepest = thick - hole.point - hole.too_deep - limits.base_left
        hint = f"drill {deepest:.2f} mm deep at most" if deepest > 0 else "too thin to drill"
        yield "base", f"{left} ({sums})", f"{limits.base_left:g} mm must be left: {hint}."
    if area:
        # ASTM F473 asks that the whole screw diameter lies inside the mounting area.
        radius = max(hole.drill, limits.screw_diameter) / 2
        outside = radius + max(
            area.x_from - hole.x, hole.x - area.x_to, abs(hole.y) - area.half_width
        )
        if outside > ROUNDING:
            at = f"at x {hole.x:.2f}, y {hole.y:.2f} a screw of {2 * radius:g} mm"
            allowed = f"x from {area.x_from:g} to {area.x_to:g}, y within {area.half_width:g} mm"
            text = f"{at} lies {outside:.2f} mm outside the allowed area"
            yield "area", text, f"Allowed: {allowed}."
    if hole.edge is not None and hole.edge <= 0:
        hint = "Is the ski's width measured at the right place?"
        yield "off-ski", f"the hole breaks the ski's edge by {-hole.edge:.2f} mm", hint


def _warnings(hole: DrilledHole, limits: DrillingLimits) -> Iterator[tuple[str, str, str]]:
    """The code, the message and the hint of each warning of a hole."""
    if hole.screw is not None and hole.engagement is not None:
        room = hole.depth - limits.screw_gap
        plate = hole.screw - hole.engagement
        least, most = plate + limits.engagement, plate + room
        hint = f"Screws of {least:.2f} to {most:.2f} mm fit this plate and hole."
        if limits.engagement > room + ROUNDING:
            hint = "No screw fits a hole that is not deeper."
        of = f"a screw of {hole.screw:g} mm"
        if hole.engagement < limits.engagement - ROUNDING:
            wanted = f"{limits.engagement:g} mm are wanted"
            yield "screw-short", f"{of} holds {hole.engagement:.2f} mm in the ski; {wanted}", hint
        if hole.engagement > room + ROUNDING:
            has = f"a hole {hole.depth:g} mm deep has room for {room:.2f} mm"
            yield "screw-deep", f"{of} goes {hole.engagement:.2f} mm into the ski; {has}", hint
    if hole.edge is not None and 0 < hole.edge < limits.edge - ROUNDING:
        hint = f"{limits.edge:g} mm are wanted between the hole's wall and the edge."
        yield "edge", f"the ski's edge is {hole.edge:.2f} mm from the hole's wall", hint


def _short_drill(stop: DepthStop, limits: DrillingLimits) -> Finding:
    jobber = stop.jobber
    overall = stop.leave + limits.chuck_grip
    flutes = f"{stop.from_tip + limits.chip_clearance:.1f} mm of flutes"
    code, hint = "flute-short", f"It takes {flutes} to clear the chips: draw it back often."
    if jobber.overall < overall - ROUNDING:
        longer = f"It takes {overall:.1f} mm overall and {flutes}"
        code, hint = "drill-short", f"{longer}: a long series drill (DIN 340), or a thinner body."
    drill = f"a jobber drill of {stop.drill:g} mm"
    sizes = f"DIN 338: {jobber.overall:g} mm, flutes {jobber.flute:g} mm"
    text = f"{drill} ({sizes}) is too short for a depth stop at {stop.from_tip:.2f} mm"
    return Finding(f"drilling.{code}", text, key=", ".join(stop.holes), hint=hint)


def _fault(code: str, message: str, key: str, allowed: str) -> Finding:
    return Finding(f"drilling.{code}", message, key=key, hint=f"Allowed: {allowed}.")


def _refuse(faults: Iterable[Finding]) -> None:
    if found := tuple(faults):
        raise InputError(found)

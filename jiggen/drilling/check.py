"""Drill settings, base left, screws and edges of one layout on one ski.

A hole's depth is that of its full diameter below the top sheet, as usual; the drill's point
goes deeper by its own length::

    point     = drill / 2 / tan(point angle / 2)
    stop      = guide's top above the ski + depth + point,   measured from the drill's tip
              = guide's top above the ski + depth,           measured from the lips' corners
    base left = thickness - depth - point

The tip is what a caliper finds, so the first stop is the one to set.  An ordinary jobber drill
is long enough when

    overall - chuck grip - stop length >= stop        and        flute >= stop + chip clearance

The first leaves room for depth stop and chuck above the guide; with the second the flutes end
above the guide even when the drill is down, so that chips get out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from types import MappingProxyType

import numpy as np
from numpy.typing import NDArray

from jiggen.drilling.model import DrillingLimits, SkiState
from jiggen.errors import Finding, InputError
from jiggen.layout import Layout
from jiggen.pattern import Area, Screw
from jiggen.record.results import DepthStop, DrilledHole, Drilling
from jiggen.tables import jobber_drill

Array = NDArray[np.float64]

ROUNDING = 1e-9  # mm by which a length may miss its limit through rounding alone
NO_SCREWS: Mapping[str, Screw] = MappingProxyType({})

Remark = tuple[str, str, str]
"""A hole's id, what is wrong with it, and what to do."""


def check_drilling(
    layout: Layout,
    bush_tops: Mapping[str, float],
    ski: SkiState,
    limits: DrillingLimits,
    screws: Mapping[str, Screw] = NO_SCREWS,
) -> Drilling:
    """Check the holes of `layout` against `ski`, and say how the drill is set.

    `bush_tops` is, by hole id, the height in mm above the top sheet that the depth stop
    comes down on; `screws` what goes into a hole, by its id, for those where it is known.

    The result's errors are ``drilling.base``, ``.area``, ``.off-ski``; its warnings
    ``drilling.screw-short``, ``.screw-deep``, ``.edge``, ``.drill-short``, ``.flute-short``.
    Raises InputError: ``drilling.limit``, ``.ski``, ``.screw`` for numbers that cannot be,
    ``tables.unlisted`` for a drill that is not in DIN 338.
    """
    limits.check()
    ski.check()
    _check_screws(screws)
    holes = tuple(_holes(layout, ski, limits, screws))
    stops = tuple(_stops(holes, bush_tops, limits))
    errors = (
        *_findings("base", _thin(holes, limits)),
        *_findings("area", _outside(holes, ski.area, limits)),
        *_findings("off-ski", _off(holes)),
    )
    warnings = (
        *_findings("screw-short", _short(holes, limits)),
        *_findings("screw-deep", _deep(holes, limits)),
        *_findings("edge", _near_edge(holes, limits)),
        *_drills(stops, limits),
    )
    return Drilling(stops=stops, holes=holes, errors=errors, warnings=warnings)


def _holes(
    layout: Layout, ski: SkiState, limits: DrillingLimits, screws: Mapping[str, Screw]
) -> Iterator[DrilledHole]:
    unknown = np.full(len(layout), np.nan)
    x, y = layout.positions.T
    thickness = thickness_at_holes(layout, ski.thickness)
    width = width_at(x, ski.widths)
    edge = unknown if width is None else width / 2 - np.abs(y) - layout.diameters / 2
    rows = np.column_stack(
        [x, y, layout.diameters, layout.depths, unknown if thickness is None else thickness, edge]
    )
    for name, group, row in zip(layout.ids, layout.groups, rows.tolist(), strict=True):
        at_x, at_y, drill, depth, thick, to_edge = row
        point = limits.point(drill)
        screw = _choose(screws[name], depth, limits) if name in screws else None
        yield DrilledHole(
            id=name,
            group=group,
            x=at_x,
            y=at_y,
            drill=drill,
            depth=depth,
            point=point,
            thickness=None if thickness is None else thick,
            base_left=None if thickness is None else thick - depth - point,
            edge=None if width is None else to_edge,
            screw=screw,
            engagement=None if screw is None else screw - screws[name].plate,
        )


def _choose(screw: Screw, depth: float, limits: DrillingLimits) -> float:
    """The longest screw that does not reach the bottom of the hole, or the shortest of all."""
    room = screw.plate + depth - limits.screw_gap + ROUNDING
    return max((n for n in screw.lengths if n <= room), default=min(screw.lengths))


def _stops(
    holes: Iterable[DrilledHole], bush_tops: Mapping[str, float], limits: DrillingLimits
) -> Iterator[DepthStop]:
    """One stop for the holes that share drill, depth and height of the guide."""
    shared: dict[tuple[float, float, float], list[str]] = {}
    for hole in holes:
        key = (hole.drill, hole.depth, round(float(bush_tops[hole.id]), 6))
        shared.setdefault(key, []).append(hole.id)
    for (drill, depth, bush_top), names in shared.items():
        jobber, point = jobber_drill(drill), limits.point(drill)
        from_tip = bush_top + depth + point
        reaches = jobber.overall - limits.chuck_grip - limits.stop_length >= from_tip - ROUNDING
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
            jobber=jobber,
            long_enough=reaches and clears,
        )


# -- the ski, from the few places where it was measured ------------------------------------------


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
    within = np.clip(x, places[0], places[-1])
    if len(measured) < 3:
        return np.asarray(np.interp(within, places, widths), dtype=np.float64)
    return _parabola(within, places, widths)


def _parabola(x: Array, places: Array, widths: Array) -> Array:
    """The parabola through three points, at `x` (Newton's divided differences)."""
    (a, b, _), (u, v, w) = places, widths
    first, second = (v - u) / (b - a), (w - v) / (places[2] - b)
    bend = (second - first) / (places[2] - a)
    return np.asarray(u + (x - a) * (first + bend * (x - b)))


# -- errors ------------------------------------------------------------------------------------


def _thin(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Remark]:
    for hole in holes:
        if hole.base_left is None or hole.thickness is None:
            continue
        if hole.base_left >= limits.base_left - ROUNDING:
            continue
        sums = f"{hole.thickness:.2f} thick - {hole.depth:.2f} deep - {hole.point:.2f} point"
        left = f"{hole.base_left:.2f} mm of ski would be left under the point"
        if hole.base_left <= 0:
            left = f"the point would come out of the base by {-hole.base_left:.2f} mm"
        deepest = hole.thickness - hole.point - limits.base_left
        hint = f"{limits.base_left:g} mm must be left: "
        hint += f"drill {deepest:.2f} mm deep at most." if deepest > 0 else "too thin to drill."
        yield hole.id, f"{left} ({sums})", hint


def _outside(
    holes: Iterable[DrilledHole], area: Area | None, limits: DrillingLimits
) -> Iterator[Remark]:
    """Holes not wholly in `area`, the screw's thread counted in.

    ASTM F473 asks that the whole screw diameter lies inside the mounting area.
    """
    if area is None:
        return
    hint = f"Allowed: x from {area.x_from:g} to {area.x_to:g}, y within {area.half_width:g} mm."
    for hole in holes:
        radius = max(hole.drill, limits.screw_diameter) / 2
        beyond = max(area.x_from - hole.x, hole.x - area.x_to, abs(hole.y) - area.half_width)
        if beyond + radius > ROUNDING:
            text = f"at x {hole.x:.2f}, y {hole.y:.2f} a screw of {2 * radius:g} mm"
            yield hole.id, f"{text} lies {beyond + radius:.2f} mm outside the allowed area", hint


def _off(holes: Iterable[DrilledHole]) -> Iterator[Remark]:
    hint = "Is the ski's width measured at the right place?"
    for hole in holes:
        if hole.edge is not None and hole.edge <= 0:
            yield hole.id, f"the hole breaks the ski's edge by {-hole.edge:.2f} mm", hint


# -- warnings ----------------------------------------------------------------------------------


def _short(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Remark]:
    for hole in holes:
        if hole.screw is None or hole.engagement is None:
            continue
        if hole.engagement < limits.engagement - ROUNDING:
            text = f"a screw of {hole.screw:g} mm holds {hole.engagement:.2f} mm in the ski"
            wanted = f"; {limits.engagement:g} mm are wanted"
            yield hole.id, text + wanted, _fitting(hole.screw - hole.engagement, hole, limits)


def _deep(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Remark]:
    for hole in holes:
        if hole.screw is None or hole.engagement is None:
            continue
        room = hole.depth - limits.screw_gap
        if hole.engagement > room + ROUNDING:
            text = f"a screw of {hole.screw:g} mm goes {hole.engagement:.2f} mm into the ski"
            deep = f"; a hole {hole.depth:g} mm deep has room for {room:.2f} mm"
            yield hole.id, text + deep, _fitting(hole.screw - hole.engagement, hole, limits)


def _fitting(plate: float, hole: DrilledHole, limits: DrillingLimits) -> str:
    """Which screws fit `hole` through `plate` mm, in words."""
    least, most = plate + limits.engagement, plate + hole.depth - limits.screw_gap
    if least > most + ROUNDING:
        return "No screw fits a hole that is not deeper."
    return f"Screws of {least:.2f} to {most:.2f} mm fit this plate and hole."


def _near_edge(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Remark]:
    hint = f"{limits.edge:g} mm are wanted between the hole's wall and the edge."
    for hole in holes:
        if hole.edge is not None and 0 < hole.edge < limits.edge - ROUNDING:
            yield hole.id, f"the ski's edge is {hole.edge:.2f} mm from the hole's wall", hint


def _drills(stops: Iterable[DepthStop], limits: DrillingLimits) -> Iterator[Finding]:
    for stop in stops:
        if stop.long_enough:
            continue
        overall = stop.from_tip + limits.stop_length + limits.chuck_grip
        flute = stop.from_tip + limits.chip_clearance
        short = stop.jobber.overall < overall - ROUNDING
        text = (
            f"a jobber drill of {stop.drill:g} mm (DIN 338: {stop.jobber.overall:g} mm, "
            f"flutes {stop.jobber.flute:g} mm) is too short for a depth stop at "
            f"{stop.from_tip:.2f} mm"
        )
        yield Finding(
            "drilling.drill-short" if short else "drilling.flute-short",
            text,
            key=", ".join(stop.holes),
            hint=f"It takes {overall:.1f} mm overall and {flute:.1f} mm of flutes: a long series "
            "drill (DIN 340), or a thinner body."
            if short
            else f"It takes {flute:.1f} mm of flutes to clear the chips: draw it back often.",
        )


def _findings(code: str, remarks: Iterable[Remark]) -> Iterator[Finding]:
    """One finding for all holes with the same remark."""
    shared: dict[tuple[str, str], list[str]] = {}
    for hole, message, hint in remarks:
        shared.setdefault((message, hint), []).append(hole)
    for (message, hint), holes in shared.items():
        yield Finding(f"drilling.{code}", message, key=", ".join(holes), hint=hint)


def _check_screws(screws: Mapping[str, Screw]) -> None:
    hint = "Allowed: a plate of 0 to 60 mm, and screws of 4 to 100 mm."
    faults = [
        Finding(
            "drilling.screw", f"{screw.lengths} through {screw.plate:g} mm", key=hole, hint=hint
        )
        for hole, screw in screws.items()
        if not (
            0 <= screw.plate <= 60 and screw.lengths and all(4 <= n <= 100 for n in screw.lengths)
        )
    ]
    if faults:
        raise InputError(faults)


def check_all_boots(
    layouts: Iterable[Layout],
    tops: Mapping[str, float],
    state: SkiState,
    limits: DrillingLimits,
    screws: Mapping[str, Screw],
) -> Drilling:
    """`check_drilling` of the first of `layouts`, with what is found of the others too.

    A finding about several layouts is reported once, of the first one that it is about.
    """
    first, *others = layouts
    found = check_drilling(first, tops, state, limits, screws)
    errors, warnings = (
        {(finding.code, finding.key): finding for finding in kind}
        for kind in (found.errors, found.warnings)
    )
    for layout in others:
        more = check_drilling(layout, tops, state, limits, screws)
        for known, kind in ((errors, more.errors), (warnings, more.warnings)):
            for finding in kind:
                of_boot = replace(finding, message=f"boot {layout.boot:g}: {finding.message}")
                known.setdefault((finding.code, finding.key), of_boot)
    return found.model_copy(
        update={"errors": tuple(errors.values()), "warnings": tuple(warnings.values())}
    )

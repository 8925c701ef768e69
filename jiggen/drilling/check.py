"""Drill settings, base left, screws and edges of one layout on one ski.

A hole's depth is that of its full diameter below the top sheet, as usual; the drill's point
goes deeper by its own length::

    point     = drill / 2 / tan(point angle / 2)
    stop      = guide's top above the ski + depth + point,   measured from the drill's tip
              = guide's top above the ski + depth,           measured from the lips' corners
    base left = thickness - depth - point

The tip is what a caliper finds, so the first stop is the one to set.  An ordinary jobber drill
is long enough when

    overall - chuck grip - collar >= stop        and        flute >= stop + chip clearance

The first leaves room for collar and chuck above the guide; with the second the flutes end
above the guide even when the drill is down, so that chips get out.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from types import MappingProxyType

import numpy as np

from jiggen.drilling.model import (
    DrilledHole,
    Drilling,
    DrillingLimits,
    SkiState,
    StopSetting,
)
from jiggen.drilling.ski import thickness_at_holes, width_at
from jiggen.errors import Finding, InputError
from jiggen.layout import Layout
from jiggen.pattern import Area, Screw
from jiggen.tables import jobber_drill

ROUNDING = 1e-9  # mm by which a length may miss its limit through rounding alone
NO_SCREWS: Mapping[str, Screw] = MappingProxyType({})

Said = tuple[str, str, str]
"""A hole's id, what is wrong with it, and what to do."""


def drilling(
    layout: Layout,
    bush_tops: Mapping[str, float],
    ski: SkiState,
    limits: DrillingLimits,
    screws: Mapping[str, Screw] = NO_SCREWS,
) -> Drilling:
    """Check the holes of `layout` against `ski`, and say how the drill is set.

    `bush_tops` is, by hole id, the height in mm above the top sheet that the stop collar comes
    down on; `screws` what goes into a hole, by its id, for those where it is known.

    The result's errors are ``drilling.base``, ``.area``, ``.off-ski``; its warnings
    ``drilling.screw-short``, ``.screw-deep``, ``.edge``, ``.drill-short``, ``.flute-short``.
    Raises InputError: ``drilling.limit``, ``.ski``, ``.screw`` for numbers that cannot be,
    ``tables.unlisted`` for a drill that is not in DIN 338.
    """
    limits.check()
    ski.check()
    _check_screws(screws)
    holes = tuple(_holes(layout, ski, limits, screws))
    settings = tuple(_settings(holes, bush_tops, limits))
    errors = (
        *_findings("base", _thin(holes, limits)),
        *_findings("area", _outside(holes, ski.area, limits)),
        *_findings("off-ski", _off(holes)),
    )
    warnings = (
        *_findings("screw-short", _short(holes, limits)),
        *_findings("screw-deep", _deep(holes, limits)),
        *_findings("edge", _near_edge(holes, limits)),
        *_drills(settings, limits),
    )
    return Drilling(settings, holes, errors, warnings)


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


def _settings(
    holes: Iterable[DrilledHole], bush_tops: Mapping[str, float], limits: DrillingLimits
) -> Iterator[StopSetting]:
    """One setting for the holes of a group that share drill, depth and height of the guide."""
    alike: dict[tuple[str, float, float, float], list[str]] = {}
    for hole in holes:
        key = (hole.group, hole.drill, hole.depth, round(float(bush_tops[hole.id]), 6))
        alike.setdefault(key, []).append(hole.id)
    for (group, drill, depth, bush_top), names in alike.items():
        jobber, point = jobber_drill(drill), limits.point(drill)
        stop = bush_top + depth + point
        reaches = jobber.overall - limits.chuck_grip - limits.collar >= stop - ROUNDING
        clears = jobber.flute >= stop + limits.chip_clearance - ROUNDING
        yield StopSetting(
            group=group,
            holes=tuple(names),
            drill=drill,
            depth=depth,
            bush_top=bush_top,
            point=point,
            from_tip=stop,
            from_corner=bush_top + depth,
            jobber=jobber,
            long_enough=reaches and clears,
        )


# -- errors ------------------------------------------------------------------------------------


def _thin(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Said]:
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
) -> Iterator[Said]:
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
            said = f"at x {hole.x:.2f}, y {hole.y:.2f} a screw of {2 * radius:g} mm"
            yield hole.id, f"{said} lies {beyond + radius:.2f} mm outside the allowed area", hint


def _off(holes: Iterable[DrilledHole]) -> Iterator[Said]:
    hint = "Is the ski's width measured at the right place?"
    for hole in holes:
        if hole.edge is not None and hole.edge <= 0:
            yield hole.id, f"the hole breaks the ski's edge by {-hole.edge:.2f} mm", hint


# -- warnings ----------------------------------------------------------------------------------


def _short(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Said]:
    for hole in holes:
        if hole.screw is None or hole.engagement is None:
            continue
        if hole.engagement < limits.engagement - ROUNDING:
            said = f"a screw of {hole.screw:g} mm holds {hole.engagement:.2f} mm in the ski"
            wanted = f"; {limits.engagement:g} mm are wanted"
            yield hole.id, said + wanted, _fitting(hole.screw - hole.engagement, hole, limits)


def _deep(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Said]:
    for hole in holes:
        if hole.screw is None or hole.engagement is None:
            continue
        room = hole.depth - limits.screw_gap
        if hole.engagement > room + ROUNDING:
            said = f"a screw of {hole.screw:g} mm goes {hole.engagement:.2f} mm into the ski"
            deep = f"; a hole {hole.depth:g} mm deep has room for {room:.2f} mm"
            yield hole.id, said + deep, _fitting(hole.screw - hole.engagement, hole, limits)


def _fitting(plate: float, hole: DrilledHole, limits: DrillingLimits) -> str:
    """Which screws fit `hole` through `plate` mm, in words."""
    least, most = plate + limits.engagement, plate + hole.depth - limits.screw_gap
    if least > most + ROUNDING:
        return "No screw fits a hole that is not deeper."
    return f"Screws of {least:.2f} to {most:.2f} mm fit this plate and hole."


def _near_edge(holes: Iterable[DrilledHole], limits: DrillingLimits) -> Iterator[Said]:
    hint = f"{limits.edge:g} mm are wanted between the hole's wall and the edge."
    for hole in holes:
        if hole.edge is not None and 0 < hole.edge < limits.edge - ROUNDING:
            yield hole.id, f"the ski's edge is {hole.edge:.2f} mm from the hole's wall", hint


def _drills(settings: Iterable[StopSetting], limits: DrillingLimits) -> Iterator[Finding]:
    for setting in settings:
        if setting.long_enough:
            continue
        overall = setting.from_tip + limits.collar + limits.chuck_grip
        flute = setting.from_tip + limits.chip_clearance
        short = setting.jobber.overall < overall - ROUNDING
        said = (
            f"a jobber drill of {setting.drill:g} mm (DIN 338: {setting.jobber.overall:g} mm, "
            f"flutes {setting.jobber.flute:g} mm) is too short for a stop at "
            f"{setting.from_tip:.2f} mm"
        )
        yield Finding(
            "drilling.drill-short" if short else "drilling.flute-short",
            said,
            key=", ".join(setting.holes),
            hint=f"It takes {overall:.1f} mm overall and {flute:.1f} mm of flutes: a long series "
            "drill (DIN 340), or a thinner body."
            if short
            else f"It takes {flute:.1f} mm of flutes to clear the chips: draw it back often.",
        )


def _findings(code: str, said: Iterable[Said]) -> Iterator[Finding]:
    """One finding for all the holes of which the same is to be said."""
    alike: dict[tuple[str, str], list[str]] = {}
    for hole, message, hint in said:
        alike.setdefault((message, hint), []).append(hole)
    for (message, hint), holes in alike.items():
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

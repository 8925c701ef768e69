"""Each wanted hole and peg against what one format of a body holds, matched one to one."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np

from jiggen.verify import limits
from jiggen.verify.manifest import Guide, Hole, Opening, Peg
from jiggen.verify.results import Found, Ledger, PegFound, Subject
from jiggen.verify.rings import Body, Ring

SAME_HOLE = 0.25  # mm between the axes of a hole's own openings: bore, throat, lead-in
AnyRing = TypeVar("AnyRing", bound=Ring)


@dataclass(frozen=True)
class Wanted:
    """A hole of the layout and the guide that the manifest lists for it."""

    hole: Hole
    guide: Guide


def measure_holes(
    part: str,
    wanted: Sequence[Wanted],
    openings: Sequence[Opening],
    body: Body,
    ledger: Ledger,
) -> dict[str, Found]:
    """Find and judge every hole of a part; the found ones by id.

    A hole counts as found when a round opening is there at both ends of its bore and in its
    throat; anything round that is neither a hole nor one of `openings` is a fault.
    """
    levels = {
        item.hole.id: (*_ends(item.guide.bore_z, body), sum(item.guide.throat_z) / 2)
        for item in wanted
    }
    sights = _matched([item.hole for item in wanted], levels, body.rings)
    found: dict[str, Found] = {}
    for item in wanted:
        about = ledger.about(body.source, item.hole.id)
        low, high, throat = sight = sights[item.hole.id]
        message = _missing_hole(item.hole, sight, levels[item.hole.id], body)
        about.expect(None not in sight, "verify.missing", message)
        if low and high and throat:
            found[item.hole.id] = _judge_hole(item, low, high, throat, about)
    seen = [ring for sight in sights.values() for ring in sight if ring]
    _refuse_extra(part, seen, openings, body, ledger)
    return found


def measure_pegs(wanted: Sequence[Peg], body: Body, ledger: Ledger) -> dict[str, PegFound]:
    """Find and judge every peg of a part; the found ones by id.

    A peg counts as found when it is round at both ends of the height that it stands free.
    """
    levels = {peg.id: _ends(peg.z, body) for peg in wanted}
    sights = _matched(wanted, levels, body.studs)
    found: dict[str, PegFound] = {}
    for peg in wanted:
        about = ledger.about(body.source, peg.id)
        low, high = sight = sights[peg.id]
        ends = zip(("lower", "upper"), sight, strict=True)
        lacking = " and the ".join(name for name, ring in ends if ring is None)
        message = f"no round peg at ({peg.x:.3f}, {peg.y:.3f}) at the {lacking} end of its height"
        if not about.expect(None not in sight, "verify.missing", message) or not (low and high):
            continue
        diameter, tilt = _judge_axis("peg", peg, peg.diameter, (low, high), (low, high), about)
        found[peg.id] = PegFound(
            x=(low.x + high.x) / 2,
            y=(low.y + high.y) / 2,
            diameter=diameter,
            top=high.top,
            deviation=max(ring.away(peg.x, peg.y) for ring in (low, high)),
            tilt=tilt,
        )
        message = f"peg stands up to {high.top:.3f} mm instead of {peg.z[1]:.3f} mm"
        about.within(high.top, peg.z[1], limits.DIAMETER[body.source], "verify.height", message)
    return found


def _ends(heights: tuple[float, float], body: Body) -> tuple[float, float]:
    """Where to look at what reaches between two heights: just inside both ends."""
    low, high = heights
    inset = min(body.inset, 0.1 * (high - low))
    return low + inset, high - inset


def _matched(
    wanted: Sequence[Hole | Peg],
    levels: Mapping[str, Sequence[float]],
    rings: Callable[[float], Sequence[AnyRing]],
) -> dict[str, tuple[AnyRing | None, ...]]:
    """By what is wanted, the ring at each of its levels, None where there is none.

    All that is wanted on the part competes at every height: then nothing takes another's ring.
    """
    matches = {z: _nearest(wanted, rings(z)) for z in sorted(set().union(*levels.values()))}
    return {name: tuple(matches[z].get(name) for z in heights) for name, heights in levels.items()}


def _nearest(wanted: Sequence[Hole | Peg], rings: Sequence[AnyRing]) -> dict[str, AnyRing]:
    """Rings by what is wanted, one to one, so that the distances add up to the least."""
    from scipy.optimize import linear_sum_assignment

    if not wanted or not rings:
        return {}
    places = np.array([(item.x, item.y) for item in wanted])
    centres = np.array([(ring.x, ring.y) for ring in rings])
    distance = np.linalg.norm(places[:, None] - centres[None], axis=2)
    rows, columns = linear_sum_assignment(np.minimum(distance, limits.CATCH))
    return {
        wanted[row].id: rings[column]
        for row, column in zip(rows, columns, strict=True)
        if distance[row, column] < limits.CATCH
    }


def _judge_hole(item: Wanted, low: Ring, high: Ring, throat: Ring, about: Subject) -> Found:
    hole, guide, rings = item.hole, item.guide, (low, high, throat)
    bore, tilt = _judge_axis("bore", hole, guide.bore, (low, high), rings, about)
    _judge_diameter("throat", throat.diameter, guide.throat, about)
    return Found(
        x=(low.x + high.x) / 2,
        y=(low.y + high.y) / 2,
        bore=bore,
        throat=throat.diameter,
        deviation=max(ring.away(hole.x, hole.y) for ring in rings),
        tilt=tilt,
    )


def _judge_axis(
    what: str,
    wanted: Hole | Peg,
    diameter: float,
    ends: tuple[Ring, Ring],
    rings: Sequence[Ring],
    about: Subject,
) -> tuple[float, float]:
    """Judge place, diameter, perpendicularity and roundness of a bore or peg.

    `ends` are its rings at both ends, `rings` all that must be in place.  Returns the diameter
    farthest from the wanted one, mm, and the perpendicularity error in degrees.
    """
    x, y = wanted.x, wanted.y
    worst = max(rings, key=lambda ring: ring.away(x, y))
    away = worst.away(x, y)
    message = (
        f"moved {away:.3f} mm (x {worst.x - x:+.3f}, y {worst.y - y:+.3f})"
        f": found at ({worst.x:.3f}, {worst.y:.3f}), wanted at ({x:.3f}, {y:.3f})"
    )
    about.within(away, 0.0, limits.POSITION[about.source], "verify.moved", message)
    found = max((ring.diameter for ring in ends), key=lambda value: abs(value - diameter))
    _judge_diameter(what, found, diameter, about)
    low, high = ends
    tilt = float(np.degrees(np.arctan2(low.away(high.x, high.y), high.z - low.z)))
    message = f"{what}: perpendicularity error {tilt:.3f}° (limit {limits.TILT:g}°)"
    about.within(tilt, 0.0, limits.TILT, "verify.tilt", message, "degrees")
    residual, sagitta = max(r.residual for r in rings), max(r.sagitta for r in rings)
    message = f"is out of round by {residual:.4f} mm (limit {limits.ROUND:g} mm)"
    about.within(residual, 0.0, limits.ROUND, "verify.round", message)
    message = f"is drawn with chords that cut in by {sagitta:.4f} mm (limit {limits.CHORD:g} mm)"
    about.within(max(sagitta, 0.0), 0.0, limits.CHORD, "verify.coarse", message)
    return found, tilt


def _judge_diameter(what: str, found: float, wanted: float, about: Subject) -> None:
    message = f"{what} {found:.3f} mm instead of {wanted:.3f} mm, {found - wanted:+.3f} mm"
    about.within(found, wanted, limits.DIAMETER[about.source], "verify.diameter", message)


def _missing_hole(
    hole: Hole, sight: Sequence[Ring | None], levels: Sequence[float], body: Body
) -> str:
    names = ("lower end of its bore", "upper end of its bore", "throat")
    lacking = [
        f"{name} (z {z:.2f})"
        for name, ring, z in zip(names, sight, levels, strict=True)
        if ring is None
    ]
    where = f"no round opening at ({hole.x:.3f}, {hole.y:.3f})"
    if len(lacking) < 3:
        return f"{where} in the {' and the '.join(lacking)}"
    around = [ring.away(hole.x, hole.y) for z in levels for ring in body.rings(z)]
    return where + (f"; the nearest is {min(around):.2f} mm away" if around else "")


def _refuse_extra(
    part: str,
    seen: Sequence[Ring],
    openings: Sequence[Opening],
    body: Body,
    ledger: Ledger,
) -> None:
    """A fault for each round opening, as wide as a hole may be, that is not in the manifest."""
    least, most = limits.EXTRA
    about = ledger.about(body.source, part)
    known = list(seen)
    for ring in sorted(body.openings(), key=lambda ring: -ring.diameter):
        meant = any(
            ring.away(opening.x, opening.y) <= limits.OPENING
            and ring.diameter <= opening.diameter + limits.DIAMETER[body.source]
            for opening in openings
        )
        extra = least <= ring.diameter <= most and not meant and not _is_one_of(known, ring)
        message = (
            f"a round hole of {ring.diameter:.2f} mm at ({ring.x:.3f}, {ring.y:.3f}) that is not "
            "in the layout"
        )
        about.expect(not extra, "verify.extra", message, ring.diameter, unit="mm")
        if extra:
            known.append(ring)


def _is_one_of(known: Iterable[Ring], ring: Ring) -> bool:
    return any(ring.away(other.x, other.y) <= SAME_HOLE for other in known)

"""Each wanted hole and peg against what one format of a body holds, matched one to one."""

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from jiggen.outcome import FoundBore, FoundPeg
from jiggen.verify import limits
from jiggen.verify.reading.entries import Guide, Hole, Opening, Peg
from jiggen.verify.results import Ledger, Subject
from jiggen.verify.rings import Body, Ring

SAME_HOLE = 0.25  # mm between the axes of a hole's own openings: bore, throat, lead-in


def measure_holes(
    part: str,
    wanted: Sequence[tuple[Hole, Guide]],
    openings: Sequence[Opening],
    body: Body,
    ledger: Ledger,
) -> dict[str, FoundBore]:
    """Find and judge every hole of a part; the found ones by id.

    A hole counts as found when a round opening is there at both ends of its bore and in its
    throat; anything round that is neither a hole nor one of `openings` is a fault.
    """
    levels = {
        hole.id: (*_ends(guide.bore_z, body), sum(guide.throat_z) / 2) for hole, guide in wanted
    }
    sights = _matched([hole for hole, _ in wanted], levels, body.rings)
    found: dict[str, FoundBore] = {}
    for hole, guide in wanted:
        about = ledger.about(body.source, hole.id)
        low, high, throat = sights[hole.id]
        message = _missing_hole(hole, sights[hole.id], levels[hole.id], body)
        about.expect(None not in sights[hole.id], "verify.missing", message)
        if low and high and throat:
            rings = (low, high, throat)
            bore, tilt = _judge_axis("bore", hole, guide.bore, rings, about)
            _judge_diameter("throat", throat.diameter, guide.throat, about)
            away = max(ring.away(hole.x, hole.y) for ring in rings)
            x, y = (low.x + high.x) / 2, (low.y + high.y) / 2
            found[hole.id] = FoundBore(x, y, bore, throat.diameter, away, tilt)
    known = [ring for sight in sights.values() for ring in sight if ring]
    _refuse_extra(known, openings, body, ledger.about(body.source, part))
    return found


def measure_pegs(wanted: Sequence[Peg], body: Body, ledger: Ledger) -> dict[str, FoundPeg]:
    """Find and judge every peg of a part; the found ones by id.

    A peg counts as found when it is round at both ends of the height that it stands free.
    """
    sights = _matched(wanted, {peg.id: _ends(peg.z, body) for peg in wanted}, body.studs)
    found: dict[str, FoundPeg] = {}
    for peg in wanted:
        about = ledger.about(body.source, peg.id)
        low, high = sights[peg.id]
        ends = zip(("lower", "upper"), (low, high), strict=True)
        lacking = " and the ".join(name for name, ring in ends if ring is None)
        message = f"no round peg at ({peg.x:.3f}, {peg.y:.3f}) at the {lacking} end of its height"
        about.expect(not lacking, "verify.missing", message)
        if low and high:
            diameter, tilt = _judge_axis("peg", peg, peg.diameter, (low, high), about)
            message = f"peg stands up to {high.top:.3f} mm instead of {peg.z[1]:.3f} mm"
            limit = limits.DIAMETER[body.source]
            about.within(high.top, peg.z[1], limit, "verify.height", message)
            away = max(ring.away(peg.x, peg.y) for ring in (low, high))
            x, y = (low.x + high.x) / 2, (low.y + high.y) / 2
            found[peg.id] = FoundPeg(x, y, diameter, high.top, away, tilt)
    return found


def _ends(heights: tuple[float, float], body: Body) -> tuple[float, float]:
    """Where to look at what reaches between two heights: just inside both ends."""
    low, high = heights
    inset = min(body.inset, 0.1 * (high - low))
    return low + inset, high - inset


def _matched(
    wanted: Sequence[Hole | Peg],
    levels: Mapping[str, Sequence[float]],
    rings: Callable[[float], Sequence[Ring]],
) -> dict[str, tuple[Ring | None, ...]]:
    """By what is wanted, the ring at each of its levels, None where there is none.

    All that is wanted on the part competes at every height: then nothing takes another's ring.
    """
    matches = {z: _nearest(wanted, rings(z)) for z in sorted(set().union(*levels.values()))}
    return {name: tuple(matches[z].get(name) for z in heights) for name, heights in levels.items()}


def _nearest(wanted: Sequence[Hole | Peg], rings: Sequence[Ring]) -> dict[str, Ring]:
    """Rings by what is wanted, one to one, so that the distances add up to the least."""
    from scipy.optimize import linear_sum_assignment

    if not wanted or not rings:
        return {}
    places = np.array([(item.x, item.y) for item in wanted])
    centres = np.array([(ring.x, ring.y) for ring in rings])
    distance = np.linalg.norm(places[:, None] - centres[None], axis=2)
    pairs = zip(*linear_sum_assignment(np.minimum(distance, limits.CATCH)), strict=True)
    return {wanted[i].id: rings[k] for i, k in pairs if distance[i, k] < limits.CATCH}


def _judge_axis(
    what: str, wanted: Hole | Peg, diameter: float, rings: Sequence[Ring], about: Subject
) -> tuple[float, float]:
    """Judge place, diameter, perpendicularity and roundness of a bore or peg.

    The first two of `rings` are at both its ends; all must be in place.  Returns the diameter
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
    low, high = rings[:2]
    found = max(low.diameter, high.diameter, key=lambda value: abs(value - diameter))
    _judge_diameter(what, found, diameter, about)
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
    ends = zip(("lower end of its bore", "upper end of its bore", "throat"), levels, strict=True)
    named = [f"{name} (z {z:.2f})" for name, z in ends]
    lacking = [name for name, ring in zip(named, sight, strict=True) if ring is None]
    where = f"no round opening at ({hole.x:.3f}, {hole.y:.3f})"
    if len(lacking) < len(named):
        return f"{where} in the {' and the '.join(lacking)}"
    around = [ring.away(hole.x, hole.y) for z in levels for ring in body.rings(z)]
    return where + (f"; the nearest is {min(around):.2f} mm away" if around else "")


def _refuse_extra(
    known: list[Ring], openings: Sequence[Opening], body: Body, about: Subject
) -> None:
    """A fault for each round opening, as wide as a hole may be, that is not in the manifest."""
    least, most = limits.EXTRA
    for ring in sorted(body.openings(), key=lambda ring: -ring.diameter):
        meant = any(
            ring.away(opening.x, opening.y) <= limits.OPENING
            and ring.diameter <= opening.diameter + limits.DIAMETER[body.source]
            for opening in openings
        ) or any(ring.away(other.x, other.y) <= SAME_HOLE for other in known)
        extra = least <= ring.diameter <= most and not meant
        message = (
            f"a round hole of {ring.diameter:.2f} mm at ({ring.x:.3f}, {ring.y:.3f}) that is not "
            "in the layout"
        )
        about.expect(not extra, "verify.extra", message, ring.diameter, unit="mm")
        if extra:
            known.append(ring)

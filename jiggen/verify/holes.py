"""Each wanted hole against what one format of a body holds, one to one."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from jiggen.verify import limits
from jiggen.verify.judge import (
    farthest,
    judge_diameter,
    judge_position,
    judge_roundness,
    judge_tilt,
    lean,
    matched,
)
from jiggen.verify.manifest import Guide, Hole, Opening
from jiggen.verify.results import Fault, Found, Ledger
from jiggen.verify.rings import Body, Ring

SAME_HOLE = 0.25  # mm between the axes of a hole's own openings: bore, throat, lead-in


@dataclass(frozen=True)
class Wanted:
    """A hole of the layout and the guide that the manifest says is there for it."""

    hole: Hole
    guide: Guide


@dataclass(frozen=True)
class _Sight:
    """The openings matched to a hole, None where there is none."""

    low: Ring | None
    high: Ring | None
    throat: Ring | None

    @property
    def rings(self) -> tuple[Ring, ...]:
        return tuple(ring for ring in (self.low, self.high, self.throat) if ring)


def measure(
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
    levels = {item.guide.id: _levels(item.guide, body) for item in wanted}
    places = [(item.hole.id, item.hole.x, item.hole.y) for item in wanted]
    heights = sorted(set().union(*levels.values()))
    matches = {z: matched(places, body.rings(z)) for z in heights}
    found: dict[str, Found] = {}
    seen: list[Ring] = []
    for item in wanted:
        sight = _Sight(*(matches[z].get(item.hole.id) for z in levels[item.guide.id]))
        seen += sight.rings
        result = _judged(item, sight, body, levels[item.guide.id], ledger)
        if result:
            found[item.hole.id] = result
    _refuse_extra(part, body.openings(), seen, openings, body, ledger)
    return found


def _levels(guide: Guide, body: Body) -> tuple[float, float, float]:
    """Heights to look at: both ends of the bore, the middle of the throat."""
    low, high = guide.bore_z
    inset = min(body.inset, 0.1 * (high - low))
    return low + inset, high - inset, sum(guide.throat_z) / 2


def _judged(
    item: Wanted,
    sight: _Sight,
    body: Body,
    levels: tuple[float, float, float],
    ledger: Ledger,
) -> Found | None:
    hole, guide = item.hole, item.guide
    low, high, throat = sight.low, sight.high, sight.throat
    if not (low and high and throat):
        ledger.fail(_missing(item, sight, body, levels))
        return None
    ledger.expect(True, _missing(item, sight, body, levels))
    found = Found(
        x=(low.x + high.x) / 2,
        y=(low.y + high.y) / 2,
        bore=farthest((low.diameter, high.diameter), guide.bore),
        throat=throat.diameter,
        deviation=max(ring.away(hole.x, hole.y) for ring in sight.rings),
        tilt=lean(low, high),
    )
    source, rings = body.source, sight.rings
    judge_position((hole.id, hole.x, hole.y), rings, source, ledger)
    judge_diameter(hole.id, "bore", found.bore, guide.bore, source, ledger)
    judge_diameter(hole.id, "throat", found.throat, guide.throat, source, ledger)
    judge_tilt(hole.id, "bore", found.tilt, source, ledger)
    judge_roundness(hole.id, rings, source, ledger)
    return found


def _missing(item: Wanted, sight: _Sight, body: Body, levels: tuple[float, float, float]) -> Fault:
    hole = item.hole
    names = ("lower end of its bore", "upper end of its bore", "throat")
    rings = (sight.low, sight.high, sight.throat)
    lacking = [
        f"{name} (z {z:.2f})"
        for name, ring, z in zip(names, rings, levels, strict=True)
        if ring is None
    ]
    where = f"no round opening at ({hole.x:.3f}, {hole.y:.3f})"
    if len(lacking) < 3:
        where += f" in the {' and the '.join(lacking)}"
    around = [ring.away(hole.x, hole.y) for z in levels for ring in body.rings(z)]
    near = f"; the nearest is {min(around):.2f} mm away" if around and len(lacking) == 3 else ""
    return Fault("verify.missing", body.source, hole.id, where + near)


def _refuse_extra(
    part: str,
    rings: list[Ring],
    seen: list[Ring],
    openings: Sequence[Opening],
    body: Body,
    ledger: Ledger,
) -> None:
    """A fault for each round opening, as wide as a hole may be, that nobody asked for."""
    least, most = limits.EXTRA
    limit = limits.DIAMETER[body.source]
    reported: list[Ring] = []
    for ring in sorted(rings, key=lambda ring: -ring.diameter):
        known = any(ring.away(other.x, other.y) <= SAME_HOLE for other in (*seen, *reported))
        meant = any(
            ring.away(opening.x, opening.y) <= limits.OPENING
            and ring.diameter <= opening.diameter + limit
            for opening in openings
        )
        extra = least <= ring.diameter <= most and not known and not meant
        ledger.expect(
            not extra,
            Fault(
                "verify.extra",
                body.source,
                part,
                f"a round hole of {ring.diameter:.2f} mm at ({ring.x:.3f}, {ring.y:.3f}) that "
                "is not in the layout",
                ring.diameter,
                None,
                None,
                "mm",
            ),
        )
        if extra:
            reported.append(ring)

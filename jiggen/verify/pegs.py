"""Each round upright peg of the manifest against what one format of a body holds, one to one."""

from __future__ import annotations

from collections.abc import Sequence

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
from jiggen.verify.manifest import Peg
from jiggen.verify.results import Fault, Ledger, PegFound
from jiggen.verify.rings import Body, Stud


def measure_pegs(wanted: Sequence[Peg], body: Body, ledger: Ledger) -> dict[str, PegFound]:
    """Find and judge every peg of a part; the found ones by id.

    A peg counts as found when it is round at both ends of the height that it stands free.
    """
    levels = {peg.id: _levels(peg, body) for peg in wanted}
    places = [(peg.id, peg.x, peg.y) for peg in wanted]
    heights = sorted({z for pair in levels.values() for z in pair})
    matches = {z: matched(places, body.studs(z)) for z in heights}
    found = {}
    for peg in wanted:
        low, high = (matches[z].get(peg.id) for z in levels[peg.id])
        missing = _missing(peg, low, high, body)
        if ledger.expect(low is not None and high is not None, missing) and low and high:
            found[peg.id] = _judged(peg, low, high, body, ledger)
    return found


def _levels(peg: Peg, body: Body) -> tuple[float, float]:
    low, high = peg.z
    inset = min(body.inset, 0.1 * (high - low))
    return low + inset, high - inset


def _judged(peg: Peg, low: Stud, high: Stud, body: Body, ledger: Ledger) -> PegFound:
    source, rings = body.source, (low, high)
    found = PegFound(
        x=(low.x + high.x) / 2,
        y=(low.y + high.y) / 2,
        diameter=farthest((low.diameter, high.diameter), peg.diameter),
        top=high.top,
        deviation=max(ring.away(peg.x, peg.y) for ring in rings),
        tilt=lean(low, high),
    )
    judge_position((peg.id, peg.x, peg.y), rings, source, ledger)
    judge_diameter(peg.id, "peg", found.diameter, peg.diameter, source, ledger)
    judge_tilt(peg.id, "peg", found.tilt, source, ledger)
    judge_roundness(peg.id, rings, source, ledger)
    limit, top = limits.DIAMETER[source], peg.z[1]
    ledger.expect(
        abs(found.top - top) <= limit,
        Fault(
            "verify.height",
            source,
            peg.id,
            f"peg stands up to {found.top:.3f} mm instead of {top:.3f} mm",
            found.top,
            top,
            limit,
            "mm",
        ),
    )
    return found


def _missing(peg: Peg, low: Stud | None, high: Stud | None, body: Body) -> Fault:
    ends = (("lower", low), ("upper", high))
    lacking = " and the ".join(name for name, ring in ends if ring is None)
    message = f"no round peg at ({peg.x:.3f}, {peg.y:.3f}) at the {lacking} end of its height"
    return Fault("verify.missing", body.source, peg.id, message)

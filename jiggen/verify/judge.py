"""What holes and pegs are judged by alike: matched one to one, place, size, lean, roundness."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TypeVar

import numpy as np

from jiggen.verify import limits
from jiggen.verify.limits import Source
from jiggen.verify.results import Fault, Ledger
from jiggen.verify.rings import Ring

AnyRing = TypeVar("AnyRing", bound=Ring)
Place = tuple[str, float, float]
"""What is wanted there, and where: x, y in mm."""


def matched(places: Sequence[Place], rings: Sequence[AnyRing]) -> dict[str, AnyRing]:
    """Rings by what is wanted, one to one, so that the distances add up to the least.

    All that is wanted on the part competes at every height: then nothing takes another's ring.
    """
    from scipy.optimize import linear_sum_assignment

    if not places or not rings:
        return {}
    wanted = np.array([(x, y) for _, x, y in places])
    centres = np.array([(ring.x, ring.y) for ring in rings])
    distance = np.linalg.norm(wanted[:, None] - centres[None], axis=2)
    rows, columns = linear_sum_assignment(np.minimum(distance, limits.CATCH))
    return {
        places[row][0]: rings[column]
        for row, column in zip(rows, columns, strict=True)
        if distance[row, column] < limits.CATCH
    }


def farthest(values: Iterable[float], wanted: float) -> float:
    """The value that is farthest from the wanted one."""
    return max(values, key=lambda value: abs(value - wanted))


def lean(low: Ring, high: Ring) -> float:
    """Degrees off square of the axis through two rings."""
    return float(np.degrees(np.arctan2(low.away(high.x, high.y), high.z - low.z)))


def judge_position(place: Place, rings: Sequence[Ring], source: Source, ledger: Ledger) -> None:
    """No ring may lie farther from its place than the format's limit."""
    subject, x, y = place
    limit = limits.POSITION[source]
    worst = max(rings, key=lambda ring: ring.away(x, y))
    away = worst.away(x, y)
    ledger.expect(
        away <= limit,
        Fault(
            "verify.moved",
            source,
            subject,
            f"moved {away:.3f} mm (x {worst.x - x:+.3f}, y {worst.y - y:+.3f})"
            f": found at ({worst.x:.3f}, {worst.y:.3f}), wanted at ({x:.3f}, {y:.3f})",
            away,
            0.0,
            limit,
            "mm",
        ),
    )


def judge_diameter(
    subject: str, what: str, diameter: float, wanted: float, source: Source, ledger: Ledger
) -> None:
    """A diameter (mm) must be the wanted one, within the format's limit."""
    limit = limits.DIAMETER[source]
    ledger.expect(
        abs(diameter - wanted) <= limit,
        Fault(
            "verify.diameter",
            source,
            subject,
            f"{what} {diameter:.3f} mm instead of {wanted:.3f} mm, {diameter - wanted:+.3f} mm",
            diameter,
            wanted,
            limit,
            "mm",
        ),
    )


def judge_tilt(subject: str, what: str, tilt: float, source: Source, ledger: Ledger) -> None:
    """A lean in degrees must be within the limit."""
    ledger.expect(
        tilt <= limits.TILT,
        Fault(
            "verify.tilt",
            source,
            subject,
            f"{what} leans {tilt:.3f}° off square, {limits.TILT:g}° allowed",
            tilt,
            0.0,
            limits.TILT,
            "degrees",
        ),
    )


def judge_roundness(subject: str, rings: Sequence[Ring], source: Source, ledger: Ledger) -> None:
    """Corners must lie on the circle, and chords near it."""
    residual = max(ring.residual for ring in rings)
    sagitta = max(ring.sagitta for ring in rings)
    for code, value, limit, words in (
        ("verify.round", residual, limits.ROUND, "is out of round by"),
        ("verify.coarse", sagitta, limits.CHORD, "is drawn with chords that cut in by"),
    ):
        ledger.expect(
            value <= limit,
            Fault(
                code,
                source,
                subject,
                f"{words} {value:.4f} mm, {limit:g} mm allowed",
                value,
                0.0,
                limit,
                "mm",
            ),
        )

"""What scans tell of a thing's holes, as lines of a terminal and as data for JSON."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import numpy as np

from jiggen.measure.adjustment import COVERED, agreement
from jiggen.report.lines import columns, records, wrapped
from jiggen.units import counted, fixed

if TYPE_CHECKING:
    from jiggen.measure.adjustment import Array
    from jiggen.measure.scan.adjust import Fitted
    from jiggen.measure.scan.files import Picture

HEAD = ("hole", "x", "y", "within", "diameter", "±", "round", "scans")
KNOWN = (
    "x to the right and y up as in the first scan, from the middle of all holes, in mm. 95 of 100 "
    "such measurements find a hole within that of its true place; ± is that of the diameter; "
    "round: the longest diameter less the shortest."
)


def rows(fitted: Fitted, pictures: Sequence[Picture]) -> list[tuple[str, ...]]:
    """A row of `HEAD` for each hole."""
    counts = np.bincount(fitted.seen.hole, minlength=fitted.seen.holes)
    each = zip(
        fitted.seen.names, fitted.places, fitted.within, fitted.diameters, widths(fitted),
        roundness(fitted, pictures), counts, strict=True,
    )  # fmt: skip
    return [
        (name, *map(fixed, (x, y, within, size, sure, round_by)), str(count))
        for name, (x, y), within, size, sure, round_by, count in each
    ]


def widths(fitted: Fitted) -> Array:
    """(n,) mm that 95 of 100 such diameters stay within."""
    return np.asarray(COVERED * np.sqrt(np.diag(fitted.fit.stated(fitted.network.diameters))))


def roundness(fitted: Fitted, pictures: Sequence[Picture]) -> Array:
    """(n,) mm that each hole's longest diameter is more than its shortest, in its worst scan."""
    found, seen = np.zeros(fitted.seen.holes), fitted.seen
    for scan, hole, at in zip(seen.scan, seen.hole, seen.at, strict=True):
        own = min(
            pictures[scan].holes, key=lambda one: float(np.hypot(one.x - at[0], one.y - at[1]))
        )
        found[hole] = max(found[hole], own.out_of_round)
    return found


def lines(fitted: Fitted, pictures: Sequence[Picture]) -> Iterator[str]:
    """The holes, how well the scans agree, and what they say of the scanner."""
    scans = fitted.seen.sources
    yield f"{counted(fitted.seen.holes, 'hole')} in {counted(len(scans), 'scan')}"
    yield ""
    yield from columns(HEAD, rows(fitted, pictures))
    yield from wrapped(KNOWN)
    yield ""
    for words in residuals(fitted):
        yield from wrapped(words)


def residuals(fitted: Fitted) -> Iterator[str]:
    """How far the scans lie off one fit, and what the scanner is like, in sentences."""
    fit, noise = fitted.fit, fitted.scatter.noise
    yield agreement(fit.freedom, fit.disagreement * noise, noise, places=3)
    off = np.hypot(*fitted.residuals.T)
    for scan, source in enumerate(fitted.seen.sources):
        here = off[fitted.seen.scan == scan]
        worst = fitted.seen.names[fitted.seen.hole[fitted.seen.scan == scan][here.argmax()]]
        mean = float(np.sqrt((here**2).mean()))
        yield f"{source}: {mean:.3f} mm off in the mean, hole {worst} most, {here.max():.3f} mm."
    for number, one in enumerate(fitted.network.distances):
        left = fit.residuals[3 * len(fitted.seen.scan) + number]
        yield f"{one}: read {one.value:.2f}, fits {one.value - left:.2f}."
    wide, high = (f"{100 * scale:+.2f} %" for scale in fitted.scales)
    yield (
        f"The scanner: {wide} across and {high} along, {np.degrees(fitted.square):+.2f} degrees "
        f"off square, likely distortion {fitted.scatter.smooth:.2f} mm; all of that is taken out."
    )


def as_data(fitted: Fitted, pictures: Sequence[Picture]) -> dict[str, object]:
    """Everything for JSON; lengths in mm, covariance in mm², turned as in the first scan."""
    seen, (x, y) = fitted.seen, fitted.places.T
    distances = fitted.network.distances
    left = fitted.fit.residuals[3 * len(seen.scan) :][: len(distances)]
    return {
        "scans": list(seen.sources),
        "holes": records(
            name=seen.names, x=x, y=y, within=fitted.within, diameter=fitted.diameters,
            diameter_within=widths(fitted), out_of_round=roundness(fitted, pictures),
        ),
        "covariance": fitted.covariance,
        "seen": records(
            scan=[seen.sources[n] for n in seen.scan],
            hole=[seen.names[n] for n in seen.hole],
            x=seen.at[:, 0],
            y=seen.at[:, 1],
            off=fitted.residuals,
        ),
        "distances": records(
            name=[str(one) for one in distances], read=[one.value for one in distances], off=left
        ),
        "left_out": [vars(one) for one in fitted.odd],
        "scales": fitted.scales,
        "square": fitted.square,
        "likelihood": fitted.fit.likelihood,
    }  # fmt: skip

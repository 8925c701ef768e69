"""What is wrong with a fit of scans, and what is worth knowing of it: in words, with what to do."""

from __future__ import annotations

import math

import numpy as np

from jiggen.errors import Finding
from jiggen.measure.adjustment import (
    COVERED,
    GrossError,
    describe_contradiction,
    find_gross_error,
    the_first,
)
from jiggen.measure.scan.adjust import Fitted
from jiggen.measure.scan.card import LONG, OFF
from jiggen.measure.scan.fitting import ScanFit
from jiggen.measure.scan.holes import CROPPED
from jiggen.measure.scan.perspective import FAR, perspective
from jiggen.measure.scan.read import PHONE
from jiggen.measure.scan.terms import FARTHEST_SCALE, SCALE

_TRIED = 4  # readings that are left out in turn where scans contradict one another
_RIMS = 0.2  # mm that a diameter may differ from scan to scan before another rim was seen
_CLEAN = (
    "Clean the glass, press the plate flat, lay it on its side against nothing, and scan that "
    "turn again; a burr or a thick rim shows otherwise in each turn: leave that hole out."
)


def refusals(fitted: Fitted) -> tuple[Finding, ...]:
    """Why the places must not be used; nothing where the scans and distances agree."""
    found = []
    if leaning := perspective(fitted):
        message = f"the pictures are in perspective: by {leaning:.1f} mm, {FAR:g} from the middle"
        return (Finding("scan.photograph", message, hint=PHONE),)
    if fitted.network.distances and _farthest(fitted) > FARTHEST_SCALE:
        found.append(_wrong_scale(fitted))
    if not found and abs(off := _card_off(fitted)) > OFF:
        found.append(_wrong_card(fitted, off))
    if not found and fitted.fit.contradicts:
        found.append(_contradiction(fitted))
    return tuple(found)


def notes(fitted: Fitted) -> tuple[Finding, ...]:
    """What is not known, or was left out."""
    found = [*_rims(fitted)]
    distances, scans = fitted.network.distances, len(fitted.seen.sources)
    if not distances:
        message = f"no distance was measured: the scale is known to {COVERED * SCALE:.1%} at best"
        hint = "Measure the longest distance between two holes with a caliper."
        found.append(Finding("scan.no-distance", message, hint=hint))
    elif len(distances) == 1:
        label, error = distances[0], _unnoticed(fitted)
        message = f"nothing checks {label}: an error up to {error:.1f} mm would not show"
        hint = "Measure another long distance as well, crosswise."
        found.append(Finding("scan.unchecked", message, hint=hint))
    if scans == 1:
        message = "one scan alone: the scanner's distortion and the rim's shadow are in the places"
        hint = "Scan the plate turned by 90, 180 and 270 degrees as well."
        found.append(Finding("scan.one-turn", message, hint=hint))
    if fitted.odd:
        words = [f"{one.fault} ({one.x:.0f}, {one.y:.0f} in {one.source})" for one in fitted.odd]
        message = f"left out: {the_first(words)}"
        hint = "Places are in mm from the picture's middle, to the right and up."
        if any(one.fault == CROPPED for one in fitted.odd):
            hint += " For a hole that is cut off, scan again with all of it on the glass."
        found.append(Finding("scan.left-out", message, hint=hint))
    return tuple(found)


def _farthest(fitted: Fitted) -> float:
    return max(abs(scale) for scale in fitted.scales)


def _wrong_scale(fitted: Fitted) -> Finding:
    scale = 1 / (1 - max(fitted.scales, key=abs)) - 1  # of the pictures, beside the thing
    which = "large" if scale > 0 else "small"
    named = the_first([f"{one} = {one.value:.2f}" for one in fitted.network.distances])
    message = f"by {named} the pictures are {abs(scale):.1%} too {which}; no scanner is so far off"
    hint = (
        "Measure the distance again, look whether it is between these holes and over these rims, "
        "and send the pictures as the scanner wrote them."
    )
    return Finding("scan.scale", message, hint=hint)


def _card_off(fitted: Fitted) -> float:
    """By which share the cards beside the thing are too long by the fit; 0 where none is, or what
    looked like one has other sides.
    """
    scale_x, scale_y = fitted.scales
    found = []
    for card in fitted.cards:
        c, s = math.cos(card.turn), math.sin(card.turn)
        along = scale_x * c * c + fitted.square * s * c + scale_y * s * s
        across = scale_x * s * s - fitted.square * s * c + scale_y * c * c
        found.append((card.ratios[0] - 1 - along, card.ratios[1] - 1 - across))
    if not found:
        return 0.0
    long, wide = np.mean(found, axis=0).tolist()
    return float(long) if abs(long - wide) < OFF else 0.0


def _wrong_card(fitted: Fitted, off: float) -> Finding:
    by = "the distance" if fitted.network.distances else "the file's resolution"
    message = (
        f"the card in the picture is {(1 + off) * sum(LONG) / 2:.2f} mm long by {by}; "
        f"cards have {LONG[0]:g} to {LONG[1]:g}"
    )
    hint = "Measure the distance again, and look whether it is between these holes."
    return Finding("scan.card", message, hint=hint)


def _unnoticed(fitted: Fitted) -> float:
    """The error in mm of the one distance that the usual scale, or a card, would not show."""
    a, b = fitted.network.ends[0]
    return (OFF if fitted.cards else FARTHEST_SCALE) * math.dist(fitted.places[a], fitted.places[b])


def _contradiction(fitted: Fitted) -> Finding:
    fit, labels = fitted.fit, fitted.network.labels()
    wrong = find_gross_error(fit, _TRIED)
    sightings = 3 * len(fitted.seen.scan)
    if wrong and wrong.likely and wrong.row < sightings:
        return _wrong_sighting(fitted, wrong, labels)

    def shown(row: int, off: float) -> str:
        return f"{fit.equations.values[row] - off:.2f}"

    finding = describe_contradiction(
        "readings",
        fit,
        wrong,
        labels,
        shown,
        explained=("Measure it again, over the rims that lie on the glass.",),
        coarse=_CLEAN,
    )
    return Finding(f"scan.{finding.code}", finding.message, hint=finding.hint)


def _wrong_sighting(fitted: Fitted, wrong: GrossError[ScanFit], labels: list[str]) -> Finding:
    what = "is off by" if wrong.row >= 2 * len(fitted.seen.scan) else "lies off by"
    message = f"{labels[wrong.row]}: {what} {abs(wrong.off):.2f} mm from what the other scans say"
    hint = _CLEAN
    if rivals := the_first([labels[row] for row in wrong.rivals]):
        hint += f" As likely wrong instead: {rivals}."
    return Finding("scan.gross-error", message, hint=hint)


def _rims(fitted: Fitted) -> list[Finding]:
    """Holes of which another rim was seen in one scan than in the others."""
    found = []
    for n, name in enumerate(fitted.seen.names):
        sizes = fitted.seen.diameter[fitted.seen.hole == n]
        if np.ptp(sizes) > _RIMS:
            message = f"hole {name} is {sizes.min():.2f} to {sizes.max():.2f} mm wide in the scans"
            hint = "Measure distances between other holes: this one shows more than one rim."
            found.append(Finding("scan.rims", message, hint=hint))
    return found

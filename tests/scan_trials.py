"""Plates on simulated scanners, measured: what the tests and the benchmark of scans count."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scanner import Lying, a_plate, a_scanner

from jiggen.errors import InputError
from jiggen.measure.adjustment import REGION
from jiggen.measure.scan.adjust import Fitted, fit_scans, sightings
from jiggen.measure.scan.findings import refusals
from jiggen.measure.scan.holes import CROPPED, FILLED, OVAL, Hole, find_holes
from jiggen.measure.scan.matching import rigid, ways
from jiggen.measure.scan.network import Distance
from jiggen.measure.scan.read import Scan

TURNS = {1: (0,), 2: (0, 180), 4: (0, 90, 180, 270)}
LENGTHS = (120.0, 250.0)  # mm, of plates
CALIPER = 0.03  # mm, standard deviation of a reading


def lying(scanner, plate, turn, seed):
    """The plate laid by hand: a degree or two off, some millimetres off the middle of the glass."""
    random = np.random.default_rng([seed, turn, 5])
    tilted, shift = turn + random.normal(0, 1.5), tuple(random.normal(0, 4, 2))
    return Lying(scanner, plate, tilted, shift, (320.0, 320.0), seed=seed * 10 + turn)


def around(laid, hole) -> list[Hole]:
    """What the reader finds in the pixels around one hole, in the whole picture's frame."""
    left, top, wide, high = laid.box(hole)
    pitch = 25.4 / laid.scanner.dpi
    part = Scan("part", laid.picture((left, top, wide, high)), (pitch, pitch))
    columns, rows = laid.shape
    right = (left + (wide - 1) / 2 - (columns - 1) / 2) * pitch
    up = ((rows - 1) / 2 - top - (high - 1) / 2) * pitch
    return [
        Hole(h.x + right, h.y + up, h.diameter, h.out_of_round, h.sigma, h.share, h.fault)
        for h in find_holes(part)
        if np.hypot(h.x, h.y) < 1.0
    ]


def edges(laid) -> list[Hole]:
    """What the reader finds around each hole of a plate, from the pixels there alone."""
    return [found for hole in laid.plate.holes for found in around(laid, hole)]


def _at(laid, *holes):
    """(n, 2) mm of the picture where `holes` are seen in it."""
    places = laid.pixels([(hole.x, hole.y) for hole in holes])
    return (places - (np.array(laid.shape) - 1) / 2) * (1, -1) * 25.4 / laid.scanner.dpi


def names_of(seen, rough, plate, first):
    """The name that each hole of the plate has in the scans; nothing where it was not found."""
    places = _at(first, *plate.holes)
    gaps = np.hypot(*(places[:, None] - rough[None]).transpose(2, 0, 1))
    return [seen.names[row.argmin()] if row.min() < 0.5 else "" for row in gaps]


def caliper(plate, names, seed, off=0.0, count=1):
    """Readings over the longest distances, outside in the bores, the first wrong by `off` mm."""
    random = np.random.default_rng([seed, 6])
    places = plate.places
    lengths = np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))
    lengths = np.triu(lengths * np.outer([*map(bool, names)], [*map(bool, names)]))
    distances = []
    for place in np.argsort(-lengths, axis=None)[:count]:
        a, b = np.unravel_index(place, lengths.shape)
        rims = sum(plate.holes[n].diameter / 2 for n in (a, b))
        value = lengths[a, b] + rims + random.normal(0, CALIPER) + off * (not distances)
        distances.append(Distance(names[a], names[b], "outside", float(value), CALIPER))
    return distances


@dataclass(frozen=True)
class Trial:
    """One plate measured: the fit, the true places of its holes, each hole's error in mm, and how
    far out of its stated region it lies, 1 on the edge."""

    fitted: Fitted
    errors: np.ndarray
    ratios: np.ndarray
    lost: int


@lru_cache(maxsize=12)
def looked_at(seed, turn, length=LENGTHS):
    """A seeded plate turned on a seeded scanner, and what is found there."""
    laid = lying(a_scanner(seed), a_plate(seed, length), turn, seed)
    return laid, edges(laid)


def trial(seed, turns=4, distances=1, length=LENGTHS) -> Trial:
    """A seeded plate on a seeded scanner, scanned `turns` times, with caliper readings."""
    looks = [looked_at(seed, turn, length) for turn in TURNS[turns]]
    sources = [f"turn {turn}" for turn in TURNS[turns]]
    seen, rough, odd = sightings([found for _, found in looks], sources, TURNS[turns])
    first = looks[0][0]
    names = names_of(seen, rough, first.plate, first)
    fitted = fit_scans(seen, rough, caliper(first.plate, names, seed, count=distances), odd)
    return judged(fitted, first.plate, names)


def judged(fitted, plate, names) -> Trial:
    """The fit beside the truth."""
    true = plate.places[[names.index(name) for name in fitted.seen.names]]
    turn, shift, _ = rigid(true, fitted.places)
    off = true @ ways(turn).T + shift - fitted.places
    inverse = np.linalg.inv(fitted.covariances)
    ratios = np.sqrt(np.einsum("ni,nij,nj->n", off, inverse, off)) / REGION
    return Trial(fitted, np.hypot(*off.T), ratios, names.count(""))


WRONG = {
    "outside for inside in the one distance": "scan.scale",
    "1 mm in one distance of three": "scan.gross-error",
    "two plates": "scan.another-plate",
    "one scan mirrored": "scan.mirrored",
    "2 % wrong dpi, one scan": "scan.resolution",
    "2 % wrong dpi, all scans": "scan.scale",
    "slot": OVAL,
    "screw": FILLED,
    "cropped": CROPPED,
}


def wrong(seed) -> dict[str, set[str]]:
    """What is said of a seeded plate with each thing wrong: codes of findings, faults of holes."""
    random = np.random.default_rng([seed, 9])
    looks = [looked_at(seed, turn) for turn in TURNS[4]]
    laid, scans = [one for one, _ in looks], [found for _, found in looks]
    bad, first, plate = int(random.integers(1, 4)), laid[0], laid[0].plate
    hole, sign = plate.holes[1], float(random.choice([-1, 1]))

    def replaced(found):
        return [*scans[:bad], found, *scans[bad + 1 :]]

    def seen_as(other):
        return edges(replace(laid[bad], plate=other))

    def larger(holes):
        return [replace(hole, x=1.02 * hole.x, y=1.02 * hole.y) for hole in holes]

    def holding(odd):
        """Every scan with another hole where `hole` is."""
        here = [replace(one, plate=replace(plate, holes=(odd,))) for one in laid]
        places = [_at(one, hole)[0] for one in laid]
        return [
            [h for h in found if math.dist((h.x, h.y), place) > 1.5] + around(one, odd)
            for found, place, one in zip(scans, places, here, strict=True)
        ]

    rims = 2 * float(np.mean([one.diameter for one in plate.holes]))
    said = {
        "outside for inside in the one distance": _said(seed, first, scans, sign * rims),
        "1 mm in one distance of three": _said(seed, first, scans, sign, count=3),
        "two plates": _said(seed, first, replaced(seen_as(a_plate(seed + 500)))),
        "one scan mirrored": _said(seed, first, replaced(seen_as(plate.mirrored))),
        "2 % wrong dpi, one scan": _said(seed, first, replaced(larger(scans[bad]))),
        "2 % wrong dpi, all scans": _said(seed, first, [*map(larger, scans)], by=1.02),
        "slot": _said(seed, first, holding(replace(hole, slot=1.5))),
        "screw": _said(seed, first, holding(replace(hole, screw=True))),
        "cropped": _cropped(laid[bad], hole, random.uniform(-0.4, 0.4)),
    }
    return {kind: found - {""} for kind, found in said.items()}


def _said(seed, first, scans, off=0.0, count=1, by=1.0) -> set[str]:
    """What is said of `scans` that are `by` too large, with the first distance `off` mm wrong."""
    try:
        seen, rough, odd = sightings(scans, [f"scan {n}" for n in range(4)], TURNS[4])
    except InputError as error:
        return {finding.code for finding in error.findings}
    names = names_of(seen, rough / by, first.plate, first)
    fitted = fit_scans(seen, rough, caliper(first.plate, names, seed, off, count), odd)
    return {finding.code for finding in refusals(fitted)} | {one.fault for one in fitted.odd}


def _cropped(laid, hole, share) -> set[str]:
    """What is found where the picture ends `share` of the hole's radius beyond its middle."""
    pitch = 25.4 / laid.scanner.dpi
    column = laid.pixels([(hole.x, hole.y)])[0][0]
    left, top, _, high = laid.box(hole)
    cut = round(column + share * hole.diameter / 2 / pitch)
    part = laid.picture((left, top, cut - left, high))
    return {one.fault for one in find_holes(Scan("", part, (pitch, pitch)))}

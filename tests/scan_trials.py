"""Plates on simulated scanners, measured: what the tests and the benchmark of scans count."""

from __future__ import annotations

from dataclasses import dataclass, replace

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


def names_of(seen, rough, plate, first):
    """The name that each hole of the plate has in the scans; nothing where it was not found."""
    places = (first.pixels(plate.places) - (np.array(first.shape) - 1) / 2) * (1, -1)
    places = places * 25.4 / first.scanner.dpi
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


def trial(seed, turns=4, distances=1, **fixed) -> Trial:
    """A seeded plate on a seeded scanner, scanned `turns` times, with caliper readings."""
    scanner, plate = a_scanner(seed, **fixed), a_plate(seed)
    laid = [lying(scanner, plate, turn, seed) for turn in TURNS[turns]]
    scans = [edges(one) for one in laid]
    sources = [f"turn {turn}" for turn in TURNS[turns]]
    seen, rough, odd = sightings(scans, sources, TURNS[turns])
    names = names_of(seen, rough, plate, laid[0])
    fitted = fit_scans(seen, rough, caliper(plate, names, seed, count=distances), odd)
    return judged(fitted, plate, names)


def judged(fitted, plate, names) -> Trial:
    """The fit beside the truth."""
    true = plate.places[[names.index(name) for name in fitted.seen.names]]
    turn, shift, _ = rigid(true, fitted.places)
    off = true @ ways(turn).T + shift - fitted.places
    inverse = np.linalg.inv(fitted.covariances)
    ratios = np.sqrt(np.einsum("ni,nij,nj->n", off, inverse, off)) / REGION
    return Trial(fitted, np.hypot(*off.T), ratios, names.count(""))


WRONG = {
    "8 mm in the one distance": "scan.scale",
    "1 mm in one distance of three": "scan.gross-error",
    "two plates": "scan.another-plate",
    "mirrored": "scan.mirrored",
    "2 % wrong dpi, one scan": "scan.resolution",
    "2 % wrong dpi, all scans": "scan.scale",
    "slot": OVAL,
    "screw": FILLED,
    "cropped": CROPPED,
}


def wrong(kind, seed) -> set[str]:
    """What is said of a seeded plate with something wrong: codes of findings, faults of holes."""
    scanner, plate = a_scanner(seed), a_plate(seed)
    random = np.random.default_rng([seed, 9])
    bad = int(random.integers(1, 4))
    hole = plate.holes[1]
    changed = {"slot": replace(hole, slot=1.5), "screw": replace(hole, screw=True)}.get(kind, hole)
    plate = replace(plate, holes=(plate.holes[0], changed, *plate.holes[2:]))
    other = {"two plates": a_plate(seed + 500), "mirrored": plate.mirrored}.get(kind, plate)
    laid = [
        lying(scanner, other if n == bad else plate, turn, seed) for n, turn in enumerate(TURNS[4])
    ]
    if kind == "cropped":
        column = laid[bad].pixels([(hole.x, hole.y)])[0][0]
        left, top, _, high = laid[bad].box(hole)
        cut = round(column + random.uniform(-0.4, 0.4) * hole.diameter / 2 * scanner.dpi / 25.4)
        part = laid[bad].picture((left, top, cut - left, high))
        return {one.fault for one in find_holes(Scan("", part, (25.4 / scanner.dpi,) * 2))}
    scans = [edges(one) for one in laid]
    larger = {"2 % wrong dpi, one scan": (bad,), "2 % wrong dpi, all scans": range(4)}.get(kind, ())
    for n in larger:
        scans[n] = [replace(hole, x=1.02 * hole.x, y=1.02 * hole.y) for hole in scans[n]]
    try:
        seen, rough, odd = sightings(scans, [f"scan {n}" for n in range(4)], TURNS[4])
    except InputError as error:
        return {finding.code for finding in error.findings}
    names = names_of(seen, rough / (1.02 if 0 in larger else 1.0), plate, laid[0])
    count = 3 if kind == "1 mm in one distance of three" else 1
    off = {"8 mm in the one distance": 8.0, "1 mm in one distance of three": 1.0}.get(kind, 0.0)
    off *= float(random.choice([-1, 1]))
    fitted = fit_scans(seen, rough, caliper(plate, names, seed, off, count), odd)
    return {finding.code for finding in refusals(fitted)} | {one.fault for one in fitted.odd}

"""Whole pictures, from files to places: a plate with text and dust, and the sample plate."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from PIL import Image
from scan_trials import caliper, judged
from scanner import Drilled, Lying, Plate, a_plate, a_scanner

from jiggen.measure.scan.adjust import fit_scans
from jiggen.measure.scan.files import measure_scans
from jiggen.measure.scan.findings import refusals
from jiggen.measure.scan.matching import rigid, ways
from jiggen.measure.survey.examination import examine
from jiggen.measure.survey.read import read_survey
from jiggen.progress import announcing_to

SURVEY = Path(__file__).parent / "data/survey.toml"
GLASS = (216.0, 180.0)


def saved(folder, plate, scanner, turns, seed=1) -> list[Path]:
    paths = []
    for turn in turns:
        laid = Lying(scanner, plate, turn + 1.4, (2.0, -3.0), GLASS, seed + turn, supersampling=2)
        paths.append(folder / f"turn-{turn}.png")
        dpi = (scanner.dpi, scanner.dpi)
        Image.fromarray(laid.picture()).save(paths[-1], dpi=dpi, compress_level=1)
    return paths


def named(found, plate) -> list[str]:
    """The name of each hole of the plate in what was found, by where it lies."""
    moved = plate.places @ ways(np.radians(1.4)).T
    moved = moved - moved.mean(axis=0) + found.places.mean(axis=0)
    gaps = np.hypot(*(moved[:, None] - found.places[None]).transpose(2, 0, 1))
    return [found.seen.names[row.argmin()] if row.min() < 1.5 else "" for row in gaps]


def test_whole_pictures_with_text_and_dust(tmp_path):
    drawn = a_plate(5, length=(130.0, 140.0), holes=(7, 8))
    plate = Plate(drawn.holes, drawn.outline, grey=0.6, text="BENCH 70 O8", shine=0.03)
    scanner = a_scanner(5, dpi=300.0, dust=1, lid=0.05)
    steps: list[str] = []
    with announcing_to(steps.append):
        found = measure_scans(saved(tmp_path, plate, scanner, (0, 90)), turns=(0, 90))
    assert steps[0] == "read turn-0.png"
    assert steps[-1] == "fit the scans"
    names = named(found, plate)
    assert sorted(names) == sorted(found.seen.names)
    again = fit_scans(found.seen, found.network.rough, caliper(plate, names, 5))
    assert not refusals(again)
    trial = judged(again, plate, names)
    assert (trial.ratios < 1.5).all()
    assert trial.errors.max() < 0.3


def test_the_sample_plate_measured_by_caliper_and_by_scan_is_the_same(tmp_path):
    survey = read_survey(SURVEY)
    by_caliper = examine(survey)
    holes = [
        Drilled(x, y, diameter)
        for (x, y), diameter in zip(by_caliper.places, survey.diameters, strict=True)
    ]
    x, y = np.abs(by_caliper.places).max(axis=0) + 12.0
    plate = Plate(tuple(holes), ((-x, -y), (x, -y), (x, y), (-x, y)))
    scanner = a_scanner(11, dpi=300.0)
    found = measure_scans(saved(tmp_path, plate, scanner, (0, 180)))
    names = named(found, plate)
    found = fit_scans(found.seen, found.network.rough, caliper(plate, names, 2))
    assert not refusals(found)
    true = plate.places[[names.index(name) for name in found.seen.names]]
    within = by_caliper.within[[names.index(name) for name in found.seen.names]]
    turn, shift, _ = rigid(found.places, true)
    off = np.hypot(*(found.places @ ways(turn).T + shift - true).T)
    assert (off < found.within + within).all()
    assert (off < 0.25).all()

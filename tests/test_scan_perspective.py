"""Pictures of a camera that bear a resolution and no camera's name: told by their perspective."""

from __future__ import annotations

import numpy as np
import pytest
from scanner import a_plate
from test_scan_adjust import fitted, seen_edges

from jiggen.measure.scan.adjust import fit_scans, sightings
from jiggen.measure.scan.findings import refusals
from jiggen.measure.scan.holes import Hole
from jiggen.measure.scan.network import Distance
from jiggen.measure.scan.perspective import perspective

AWAY, LEANS = 600.0, 0.035  # mm and rad: a phone held by hand


def shot(plate, turn, random) -> list[Hole]:
    """The holes as a phone sees them from above, not quite square to the plate."""
    turn = np.radians(turn + random.normal(0, 2))
    way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    places = plate.places @ way.T + random.normal(0, 5, 2)
    places = places / (1 - places @ random.normal(0, LEANS, 2) / AWAY)[:, None]
    places = places + random.normal(0, 0.02, places.shape)
    sizes = [hole.diameter for hole in plate.holes]
    return [Hole(x, y, size, 0.0, 0.003, 1.0) for (x, y), size in zip(places, sizes, strict=True)]


@pytest.mark.parametrize(("seed", "turns"), [(1, (0, 180)), (3, (0, 90, 180, 270))])
def test_photographs_are_told_by_their_perspective(seed, turns):
    random, plate = np.random.default_rng(seed), a_plate(seed, holes=(8, 10))
    scans = [shot(plate, turn, random) for turn in turns]
    seen, rough, odd = sightings(scans, [str(turn) for turn in turns], turns)
    a, b = seen.names[seen.hole[0]], seen.names[seen.hole[-1]]
    found = fit_scans(seen, rough, [], odd)
    long = float(np.hypot(*(found.places[seen.hole[0]] - found.places[seen.hole[-1]])))
    found = fit_scans(seen, rough, [Distance(a, b, "centre", long, 0.03)], odd)
    [refused] = refusals(found)
    assert refused.code == "scan.photograph"
    assert "1.3 mm over 150 mm" in refused.hint
    assert 0.3 < perspective(found) < 5.0


def test_a_bad_scanner_is_no_camera():
    plate, first, scans = seen_edges()
    found, _ = fitted(scans, plate, first)
    assert perspective(found) == 0.0
    assert "scan.photograph" not in {one.code for one in refusals(found)}

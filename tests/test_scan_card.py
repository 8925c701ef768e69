"""A card of ISO/IEC 7810 beside the plate says whether the scale is plausible."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scan_trials import caliper, edges, lying, names_of
from scanner import Lying, Plate, Scanner, a_plate, a_scanner

from jiggen.measure.scan.adjust import fit_scans, sightings
from jiggen.measure.scan.card import Card, find_card
from jiggen.measure.scan.findings import notes, refusals
from jiggen.measure.scan.read import Scan

SMALL = ((-50.0, -35.0), (-45.0, -35.0), (-45.0, -30.0))


def pictured(scanner, turn=8.0, card=(1.0, -2.0)) -> Scan:
    plate = Plate((), SMALL, card=card)
    laid = Lying(scanner, plate, turn, size=(110.0, 84.0), supersampling=2)
    return Scan("scan", laid.picture(), (25.4 / scanner.dpi, 25.4 / scanner.dpi))


@pytest.mark.parametrize("lid", [0.05, 0.95])
def test_a_card_is_found_with_its_sides(lid):
    card = find_card(pictured(Scanner(dpi=300.0, lid=lid, noise=0.02, dust=1, scale=(1.01, 1.0))))
    assert card
    assert card.turn % np.pi == pytest.approx(np.radians(8.0), abs=0.004)  # the scale turns it
    assert card.long == pytest.approx(85.6 * 1.0098, abs=0.2)
    assert card.wide == pytest.approx(53.98 * 1.0002, abs=0.2)


def test_a_plate_without_a_card_has_none():
    assert find_card(pictured(Scanner(dpi=300.0), card=None)) is None


def test_a_distance_that_a_card_contradicts_is_refused():
    scanner, plate = a_scanner(3, scale=(1.002, 0.999), square=0.0), a_plate(3)
    laid = [lying(scanner, plate, turn, 3) for turn in (0, 180)]
    seen, rough, odd = sightings([edges(one) for one in laid], ["a", "b"], (0, 180))
    names = names_of(seen, rough, plate, laid[0])
    card = Card(85.6 * 1.002, 53.98 * 0.999, 0.03)
    right = fit_scans(seen, rough, caliper(plate, names, 3), odd)
    assert not refusals(replace(right, cards=(card,)))
    wrong = fit_scans(seen, rough, caliper(plate, names, 3, off=1.3), odd)
    assert not refusals(wrong)
    (finding,) = refusals(replace(wrong, cards=(card, card)))
    assert finding.code == "scan.card"
    assert "cards have 85.47 to 85.72" in finding.message
    assert not refusals(replace(wrong, cards=(replace(card, wide=55.2),)))  # of other sides: none
    unchecked = [
        next(note.message for note in notes(fitted) if note.code == "scan.unchecked")
        for fitted in (wrong, replace(wrong, cards=(card,)))
    ]
    assert unchecked[0] != unchecked[1]

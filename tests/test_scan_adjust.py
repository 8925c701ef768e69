"""All turns of a plate in one fit: true regions, and what is wrong is named or refused."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from scan_trials import LENGTHS, TURNS, caliper, edges, judged, looked_at, lying, names_of, trial
from scanner import a_plate, a_scanner

from jiggen.errors import InputError
from jiggen.measure.adjustment import Adjustment, minimum
from jiggen.measure.scan.adjust import Odd, fit_scans, letters, parse_distance, sightings
from jiggen.measure.scan.findings import notes, refusals
from jiggen.measure.scan.matching import chosen, ways

SEED = 3


@cache
def seen_edges(seed=SEED, turns=4):
    """Holes as found in each turn of a seeded plate, and where it lay in the first."""
    scanner, plate = a_scanner(seed), a_plate(seed)
    laid = [lying(scanner, plate, turn, seed) for turn in TURNS[turns]]
    return plate, laid[0], [edges(one) for one in laid]


def fitted(scans, plate, first, seed=SEED, turns=None, **kept):
    sources = [f"scan {n}" for n in range(len(scans))]
    seen, rough, odd = sightings(scans, sources, turns)
    names = names_of(seen, rough, plate, first)
    return fit_scans(seen, rough, caliper(plate, names, seed, **kept), odd), names


def code_of(scans) -> str:
    with pytest.raises(InputError) as refused:
        sightings(scans, [f"scan {n}" for n in range(len(scans))])
    return refused.value.findings[0].code


def enlarged(holes, by):
    return [replace(hole, x=hole.x * by, y=hole.y * by) for hole in holes]


def test_the_truth_lies_within_the_stated_regions():
    trials = [trial(seed) for seed in (1, 2)]  # over hundreds: tests/bench/scan.py
    ratios = np.concatenate([one.ratios for one in trials])
    errors = np.concatenate([one.errors for one in trials])
    assert (ratios < 1).mean() > 0.8
    assert np.median(ratios) > 0.15  # and they are not stated far too large
    assert np.quantile(errors, 0.95) < 0.08
    assert not any(refusals(one.fitted) for one in trials)
    assert sum(one.lost for one in trials) == 0


def test_more_turns_and_a_distance_make_it_surer():
    plate, first, scans = seen_edges()
    four, names = fitted(scans, plate, first)
    two, _ = fitted(scans[::2], plate, first)
    one, _ = fitted(scans[:1], plate, first)
    assert four.within.max() < two.within.max() < one.within.max()
    sources = ["a", "b", "c", "d"]
    seen, rough, odd = sightings(scans, sources)
    free = fit_scans(seen, rough, (), odd)
    assert free.within.max() > 2 * four.within.max()
    assert {note.code for note in notes(free)} == {"scan.no-distance"}
    assert {note.code for note in notes(one)} == {"scan.one-turn", "scan.unchecked"}
    assert {note.code for note in notes(four)} == {"scan.unchecked"}
    for found in (one, two, four):
        assert (judged(found, plate, names).ratios < 2).all()


def test_the_fit_has_the_numbers_of_any_adjustment_of_its_equations():
    plate, first, scans = seen_edges()
    found, _ = fitted(scans[:2], plate, first, off=0.3, count=2)
    for fit in (found.fit, found.fit.without(3), found.fit.without(len(scans[0]) * 6)):
        plain = Adjustment(fit.equations, minimum(fit.equations, fit.z + 0.01))
        assert fit.parameters == pytest.approx(plain.parameters, abs=1e-6)
        assert fit.redundancy == pytest.approx(plain.redundancy, abs=1e-6)
        places = fit.network.places
        stated = plain.covariance[places, places] * plain.spread**2
        assert fit.stated(places) == pytest.approx(stated, rel=1e-5, abs=1e-9)


def test_one_scan_says_nothing_of_the_scanner_and_takes_what_scanners_usually_are():
    for seed in (1, 2):
        one = trial(seed, turns=1)
        assert (one.ratios < 1).all()
        assert one.fitted.scatter.smooth == 0.08  # the nearest to what is usual of those tried
        assert one.fitted.within.max() > 0.15


def test_a_wrong_distance_is_named_by_two_others():
    plate, first, scans = seen_edges()
    found, _ = fitted(scans, plate, first, off=1.0, count=3)
    (finding,) = refusals(found)
    assert finding.code == "scan.gross-error"
    assert str(found.network.distances[0]) in finding.message
    right, _ = fitted(scans, plate, first, count=3)
    assert not refusals(right)


def test_one_distance_that_no_scanner_explains_is_refused():
    plate, first, scans = seen_edges()
    found, _ = fitted(scans, plate, first, off=8.0)
    assert [finding.code for finding in refusals(found)] == ["scan.scale"]
    larger = [enlarged(holes, 1.02) for holes in scans]
    seen, rough, odd = sightings(larger, ["a", "b", "c", "d"])
    names = names_of(seen, rough / 1.02, plate, first)
    found = fit_scans(seen, rough, caliper(plate, names, SEED), odd)
    (finding,) = refusals(found)
    assert finding.code == "scan.scale"
    assert "too large" in finding.message


def test_another_plate_a_mirrored_scan_and_another_scale_are_told_apart():
    _, _, scans = seen_edges()
    _, _, others = seen_edges(SEED + 10)
    mirrored = [replace(hole, x=-hole.x) for hole in scans[2]]
    assert code_of([scans[0], scans[1], others[2]]) == "scan.another-plate"
    assert code_of([scans[0], scans[1], mirrored]) == "scan.mirrored"
    assert code_of([scans[0], scans[1], enlarged(scans[2], 1.02)]) == "scan.resolution"
    assert code_of([scans[0], enlarged(scans[1], 1 / 1.02)]) == "scan.resolution"
    assert code_of([scans[0][:2], scans[1]]) == "scan.few-holes"
    with pytest.raises(InputError, match=r"turned by [89]\d° and not by 180°"):
        sightings(scans[:2], ["a", "b"], (0.0, 180.0))


def test_a_mirrored_scan_that_fits_turned_less_well_is_called_mirrored():
    first, second = (looked_at(2, turn, LENGTHS)[1] for turn in (0, 90))
    with pytest.raises(InputError, match="the picture is mirrored"):
        sightings([first, [replace(one, x=-one.x) for one in second]], ["a", "b"], (0.0, 90.0))


def test_one_hole_that_lies_elsewhere_in_one_scan_is_named():
    plate, first, scans = seen_edges()
    hole = scans[1][2]
    moved = [*scans[1][:2], replace(hole, x=hole.x + 0.5), *scans[1][3:]]
    found, names = fitted([scans[0], moved, *scans[2:]], plate, first)
    (finding,) = refusals(found)
    assert finding.code == "scan.gross-error"
    assert f"hole {names[2]} in scan 1" in finding.message
    assert "Clean the glass" in finding.hint


def test_a_hole_with_another_rim_in_one_scan_is_noted():
    plate, first, scans = seen_edges()
    hole = scans[1][2]
    wider = [*scans[1][:2], replace(hole, diameter=hole.diameter + 2.0), *scans[1][3:]]
    found, names = fitted([scans[0], wider, *scans[2:]], plate, first)
    assert not refusals(found)
    (note,) = (note for note in notes(found) if note.code == "scan.rims")
    assert note.message.startswith(f"hole {names[2]} is ")


def test_what_one_scan_alone_shows_is_left_out():
    plate, first, scans = seen_edges()
    speck = replace(scans[1][0], x=scans[1][0].x + 20.0, y=scans[1][0].y + 10.0)
    slot = replace(speck, fault="oval slot")
    found, _ = fitted([scans[0], [*scans[1], speck], *scans[2:-1], [*scans[3], slot]], plate, first)
    assert len(found.seen.names) == len(plate.holes)
    assert set(found.odd) == {
        Odd("scan 3", slot.x, slot.y, "oval slot"),
        Odd("scan 1", speck.x, speck.y, "seen in this scan alone"),
    }
    assert "left out: oval slot" in {n.code: n for n in notes(found)}["scan.left-out"].message


def test_a_pattern_that_fits_itself_after_a_half_turn_needs_the_turns():
    places = np.array([(-60, 20), (-60, -20), (60, 20), (60, -20), (0, 22), (0, -22)], float)
    turned = places @ ways(math.radians(90)).T + 3.0
    with pytest.raises(InputError, match="look alike"):
        chosen(turned, places, "scan")
    for stated in (-90.0, 90.0):
        found = chosen(turned, places, "scan", stated)
        assert math.degrees(found.turn) == pytest.approx(stated, abs=0.1)
        assert len(found.pairs) == 6


def test_overlapping_scans_are_joined_by_the_holes_they_share():
    plate, _, scans = seen_edges(24)
    shifted = [[replace(hole, x=hole.x + 24.0) for hole in holes] for holes in scans[::2]]
    left, right = ([hole for hole in holes if hole.x < 62.0] for holes in shifted)
    assert len(plate.holes) == 8
    assert len(left) == len(right) == 6
    narrow = [(124.0, 320.0)] * 2
    seen, rough, odd = sightings([left, right], ["a", "b"], sizes=narrow)
    assert not odd
    assert len(seen.names) == 8
    joined = fit_scans(seen, rough)
    whole = fit_scans(*sightings(scans[::2], ["a", "b"])[:2])
    assert joined.within.max() > whole.within.max()


def test_the_face_that_lay_on_the_glass_is_seen_from_above():
    plate, first, scans = seen_edges()
    found, _ = fitted(scans, plate, first)
    below, joint = found.from_above("under")
    assert below == pytest.approx(found.places * (1, -1))
    assert found.from_above("top")[1] == pytest.approx(found.covariance)
    assert joint[0, 1] == pytest.approx(-found.covariance[0, 1])
    assert joint[1, 3] == pytest.approx(found.covariance[1, 3])


def test_a_hole_is_left_out_and_the_others_keep_their_names():
    plate, first, scans = seen_edges()
    found, names = fitted(scans, plate, first)
    seen, kept = found.seen.without({"b"})
    assert seen.names == tuple(name for name in found.seen.names if name != "b")
    (distance,) = caliper(plate, [name if name != "b" else "" for name in names], SEED)
    again = fit_scans(seen, found.network.rough[kept], [distance])
    assert len(again.residuals) == len(found.residuals) - 4
    assert np.abs(again.residuals).max() < 0.05
    assert again.places == pytest.approx(found.places[kept] - found.places[kept].mean(0), abs=0.02)
    with pytest.raises(InputError, match="2 round holes"):
        fit_scans(seen.without(seen.names[2:])[0], found.network.rough[:2])


def test_distances_are_read_as_they_are_written():
    distance = parse_distance("a-b:outside=162.40")
    assert (distance.first, distance.second, distance.kind) == ("a", "b", "outside")
    assert distance.value == 162.4
    assert parse_distance(" c - ab : centre = 6.5in").value == pytest.approx(165.1)
    for wrong in ("a-b=1", "a-a:outside=3", "a-b:over=3", "a-b:outside="):
        with pytest.raises(InputError):
            parse_distance(wrong)
    _, _, scans = seen_edges()
    seen, rough, _ = sightings(scans[:1], ["a"])
    with pytest.raises(InputError, match="no hole was named zz"):
        fit_scans(seen, rough, [parse_distance("a-zz:outside=100")])


def test_holes_are_named_like_columns():
    assert letters(28)[-3:] == ("z", "aa", "ab")

"""Finished jigs whose holes scans have seen: what the fit makes of them.  No picture is read."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from printed_samples import Array, designed, finished, write_jig
from printer_samples import Printer

from jiggen.measure.printer.jig import PrintedJig
from jiggen.measure.printer.printed import PrintedFit, fit_printed
from jiggen.measure.printer.read import PinDistance, PinReadings
from jiggen.measure.printer.sighted import Sighted
from jiggen.measure.printer.verdict import notes_of_print, refusals_of_print
from jiggen.report.printed import read_printout

NONE = PinReadings(())
AGAIN = 0.05  # mm, how far one printer puts the same hole twice


@pytest.fixture(scope="module")
def plate(tmp_path_factory) -> PrintedJig:
    """A jig of one body."""
    return jig_of(tmp_path_factory.mktemp("jig"), "hut-plate")


@pytest.fixture(scope="module")
def two(tmp_path_factory) -> PrintedJig:
    """A jig of two bodies."""
    return jig_of(tmp_path_factory.mktemp("jig"), "club-piste")


def jig_of(folder: Path, pattern: str) -> PrintedJig:
    return read_printout(write_jig(folder, designed(pattern))).jig


def places_of(
    pattern: str, jig: PrintedJig, printer: Printer, random: np.random.Generator
) -> dict[str, Array]:
    """Where its holes are, each a little off by itself."""
    found = finished(designed(pattern), {body.name: printer for body in jig.bodies})
    return {hole: place + random.normal(0, AGAIN, 2) for hole, place in found.items()}


def sight(
    places: dict[str, Array],
    holes: tuple[str, ...],
    random: np.random.Generator,
    sigma: float = 0.02,
    scale: float = 2e-4,
) -> Sighted:
    """Scans of those holes, turned and shifted, each off by itself and all by one scale."""
    turn, angle = random.uniform(0, 6), random.normal(0, scale)
    way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    at = np.array([places[hole] for hole in holes]) @ way.T
    at -= at.mean(axis=0)
    spread = sigma**2 * np.eye(2 * len(at)) + scale**2 * np.outer(at.ravel(), at.ravel())
    at = at * (1 + angle) + random.normal(0, sigma, at.shape) + (140.0, 90.0)
    return Sighted(holes, at, spread)


def whole(jig: PrintedJig, places: dict[str, Array], seed: int = 1, **numbers: float) -> PrintedFit:
    random = np.random.default_rng(seed)
    return fit_printed(jig, NONE, None, [sight(places, jig.holes, random, **numbers)])


def test_a_shape_is_as_many_readings_as_it_holds(plate):
    places = dict(zip(plate.holes, plate.asked, strict=True))
    one = sight(places, plate.holes, np.random.default_rng(2))
    assert one.ways.shape == (2 * 8 - 3, 8 * 7 / 2)
    assert one.values.shape == (13,)


@pytest.mark.parametrize("pattern", ["hut-plate", "club-piste"])
def test_a_good_print_is_used(pattern, plate, two):
    jig = {"hut-plate": plate, "club-piste": two}[pattern]
    found = whole(jig, places_of(pattern, jig, Printer(), np.random.default_rng(4)))
    assert (found.verdict, refusals_of_print(found), notes_of_print(found)) == ("use", (), ())


def test_one_that_is_half_a_percent_short_is_printed_again(plate):
    random = np.random.default_rng(4)
    found = whole(plate, places_of("hut-plate", plate, Printer(0.995, 0.995), random))
    assert found.verdict == "reprint"
    (finding,) = refusals_of_print(found)
    assert finding.code == "printer.off"
    assert found.parts["body"][0][:2] == pytest.approx([0.995, 0.995], abs=1.5e-3)


@pytest.mark.parametrize("way", [(0.4, 0.0), (0.0, -0.4), (0.28, 0.28)])
def test_a_hole_that_lies_off_by_itself_is_named_and_counts_where_it_is(way, plate):
    random = np.random.default_rng(5)
    places = {hole: at + random.normal(0, 0.02, 2) for hole, at in true(plate).items()}
    places["rear-2"] = places["rear-2"] + way
    found = whole(plate, places, scale=1e-4)
    assert found.slipped == ("rear-2",)
    (note,) = notes_of_print(found)
    assert "rear-2 by 0." in note.message
    worst = max(found.expected, key=lambda one: one.off)
    assert worst.id == "rear-2"
    assert worst.off == pytest.approx(0.4, abs=0.1)
    assert found.verdict == "reprint"
    assert "rear-2" in refusals_of_print(found)[0].message


def true(jig: PrintedJig) -> dict[str, Array]:
    return dict(zip(jig.holes, jig.asked, strict=True))


def test_it_is_not_decided_by_scans_that_say_too_little(plate):
    """No distance was measured: the scale is as unsure as the scanner's."""
    places = places_of("hut-plate", plate, Printer(), np.random.default_rng(6))
    found = whole(plate, places, scale=4e-3)
    assert found.verdict == "measure"
    (finding,) = refusals_of_print(found)
    assert finding.code == "printer.unsure"
    assert finding.hint.startswith("Measure ")


def test_halves_scanned_apart_leave_their_joint_open_until_it_is_measured(two):
    random = np.random.default_rng(7)
    places = places_of("club-piste", two, Printer(), random)
    apart = [sight(places, body.holes, random) for body in two.bodies]
    found = fit_printed(two, NONE, 0.25, apart)
    assert found.verdict == "measure"
    assert "Join its halves" in refusals_of_print(found)[0].hint
    pairs = [("toe-1", "heel-3"), ("toe-2", "heel-4"), ("toe-1", "heel-4"), ("toe-2", "heel-3")]
    lengths = [float(np.hypot(*(places[a] - places[b]))) for a, b in pairs]
    read = tuple(
        PinDistance.model_construct(between=pair, edges="centre", value=length, over=None)
        for pair, length in zip(pairs, lengths, strict=True)
    )
    more = fit_printed(two, PinReadings(read), 0.25, apart)
    assert max(one.known for one in more.expected) < max(one.known for one in found.expected)
    assert more.verdict == "use"


def test_a_misread_caliper_beside_scans_is_told_from_a_hole(two):
    random = np.random.default_rng(8)
    places = places_of("club-piste", two, Printer(), random)
    length = float(np.hypot(*(places["toe-1"] - places["toe-4"])))
    wrong = PinDistance.model_construct(
        between=("toe-1", "toe-4"), edges="centre", value=length + 1.0, over=None
    )
    found = fit_printed(two, PinReadings((wrong,)), None, [sight(places, two.holes, random)])
    (finding,) = refusals_of_print(found)
    assert finding.code == "printer.gross-error"
    assert finding.message.startswith("toe-1 to toe-4, centre to centre: you wrote")
    assert found.slipped == ()


def test_holes_lie_within_what_is_said(plate):
    """Of 25 prints of as many printers; every hole's own slip among what is not known."""
    inside = []
    for seed in range(25):
        random = np.random.default_rng(seed)
        numbers = [*random.normal(1, 0.002, 2), random.normal(0, 0.1)]
        at = plate.places(np.array([*numbers, *random.normal(0, AGAIN, 2 * len(plate.holes))]))
        found = whole(plate, dict(zip(plate.holes, at, strict=True)), seed)
        told = plate.asked + [(one.dx, one.dy) for one in found.expected]
        inside += (np.hypot(*(at - told).T) <= [one.known for one in found.expected]).tolist()
    assert np.mean(inside) >= 0.93

"""What a gauge's readings say: how surely, which is misread, and when they say too little."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from printer_samples import (
    FEATURES,
    GAUGE,
    Printer,
    any_printer,
    diameter,
    distance,
    height,
    measured,
    misread,
    pairs,
    read,
    reads,
)
from printer_trials import (
    SHIPPED,
    bodies,
    calibration,
    compensated,
    farthest,
    misreadings,
)
from sharing import built_once

from jiggen.errors import CheckFailed, InputError
from jiggen.inputs.faults import UNITS
from jiggen.measure.printer.gauge_fit import (
    PARAMETERS,
    fit_gauge,
    loose_parameters,
    profile_of,
    refusals,
    to_add,
    warnings,
)
from jiggen.measure.printer.profile import lines
from jiggen.measure.printer.read import Distance, Height
from jiggen.measure.printer.slips import slip

CLUB = Printer(0.997, 1.002, 0.2, -0.18, 0.12, 0.995)


def diagonal(reading) -> bool:
    ends = isinstance(reading, Distance) and reading.between[0][1] + reading.between[1][1]
    return ends in ("14", "23")


def codes(findings) -> list[str]:
    return [finding.code for finding in findings]


def test_a_faultless_gauge_is_told_as_it_is():
    found = fit_gauge(read(CLUB))
    # µm and millionths: what the mean of two scales misses of an ellipse
    assert [*found.values.values()] == pytest.approx(CLUB.truth, abs=5e-5)
    assert refusals(found) == warnings(found) == ()


@pytest.fixture(scope="session")
def calibrated(tmp_path_factory):
    """1,000 seeded printers: scales, skew, hole, wall at random; caliper noise 0.02 mm."""
    return built_once(tmp_path_factory, "calibrated", lambda _: calibration())


@pytest.mark.parametrize("parameter", PARAMETERS)
def test_the_truth_is_within_the_stated_uncertainty_in_95_of_100_runs(calibrated, parameter):
    assert calibrated.covered[parameter] == pytest.approx(0.95, abs=0.02)


def test_faultless_readings_are_seldom_called_contradictory(calibrated):
    assert calibrated.contradicts <= 0.01


def test_a_misread_value_is_named():
    assert misreadings() >= 0.95


def test_compensated_and_then_printed_every_hole_is_in_its_place():
    worst = compensated(60)
    assert set(worst) == set(SHIPPED)
    assert max(worst.values()) <= 0.05  # mm, as the issue asks
    assert min(worst.values()) > 0.001  # the printers are not true, the fits not perfect


def test_without_compensation_the_same_holes_would_be_off():
    [(to_ski, holes), _] = bodies("club-piste")
    # 0.3 % of 155.3 mm, the farthest hole of the toe body: the example, nearer the mark
    off = farthest(Printer(0.997, 0.997), np.eye(2), to_ski, holes)
    assert off == pytest.approx(0.003 * np.hypot(155.3, 17.3), abs=1e-6)


def test_uncertainty_is_that_of_the_caliper():
    fine, coarse = fit_gauge(read(CLUB)), fit_gauge(replace(read(CLUB), caliper=0.04))
    doubled = {name: 2 * size for name, size in fine.uncertainties.items()}
    assert coarse.uncertainties == pytest.approx(doubled)


def test_two_readings_that_agree_to_the_last_digit_are_no_riddle():
    # B1 to B2 twice alike and B1 to B3 once: the one that nothing checks is in no doubt
    two = [distance("B1", "B3", "centre", 80.0), *[distance("B1", "B2", "centre", 80.0)] * 2]
    found = fit_gauge(measured(two))
    assert found.fit.gross_error is not None
    assert found.fit.gross_error.row > 0
    assert refusals(found) == ()


def test_one_distance_is_as_sure_as_reckoned_by_hand():
    # Two pegs 80 mm apart measured centre to centre once, and two along y: 0.02 / 80
    two = [distance("B1", "B2", "centre", 80.0), distance("B1", "B3", "centre", 80.0)]
    found = fit_gauge(measured(two))
    assert found.uncertainties["scale_x"] == pytest.approx(0.02 / 80)
    assert found.uncertainties["scale_y"] == pytest.approx(0.02 / 80)
    assert found.determined == ("scale_x", "scale_y")


def test_readings_coarser_than_said_make_everything_less_certain():
    random = np.random.default_rng(5)
    found = fit_gauge(replace(read(CLUB, random, noise=0.032), caliper=0.02))
    assert found.fit.spread == pytest.approx(1.6, abs=0.3)
    assert found.uncertainties["scale_x"] > 1.2 * fit_gauge(read(CLUB)).uncertainties["scale_x"]
    assert "printer.coarse" in codes(warnings(found))


@pytest.mark.parametrize(
    ("slipped", "seems"),
    [
        (lambda value: value + 1, "It looks like 1 mm too much."),
        (lambda value: value - 10, "It looks like 10 mm too little."),
        (lambda _: 172.25, "two digits swapped: 172.25 for 127.25"),
    ],
)
def test_a_misread_value_is_told_with_what_it_seems_to_have_been(slipped, seems):
    whole = read(replace(CLUB, scale_x=0.9952, hole=-0.14))
    [row] = [n for n, r in enumerate(whole.readings)
             if str(r) == "A1 to A2, outside to outside"]  # fmt: skip
    value = whole.readings[row].value
    assert f"{value:.2f}" == "127.25"
    spoilt = list(whole.readings)
    spoilt[row] = reads(spoilt[row], slipped(value))
    [finding] = refusals(fit_gauge(replace(whole, readings=tuple(spoilt))))
    assert finding.code == "printer.gross-error"
    assert finding.message.startswith("A1 to A2, outside to outside: you wrote")
    assert "the other readings say 127.2" in finding.message
    assert seems in finding.hint


def test_other_edges_than_written_are_recognised():
    whole = read(CLUB)
    spoilt = [whole.readings[0].model_copy(update={"edges": "inside"}), *whole.readings[1:]]
    [finding] = refusals(fit_gauge(replace(whole, readings=tuple(spoilt))))
    assert "It would fit as: A1 to A2, outside to outside." in finding.hint


@pytest.mark.parametrize(
    ("read_as", "meant", "unit", "words"),
    [
        (120.12, 119.13, "mm", "1 mm too much"),
        (102.12, 120.12, "mm", "two digits swapped: 102.12 for 120.12"),
        (12.012, 120.12, "mm", "the point one place too far left"),
        (4.73, 120.14, "mm", "read in inches"),
        (5.024 * 25.4, 4.924 * 25.4, "in", "0.1 in too much"),
        (120.12, 119.62, "mm", ""),
        (120.12, 117.3, "mm", ""),
    ],
)
def test_usual_slips(read_as, meant, unit, words):
    assert slip(read_as, meant, 0.02, UNITS[unit]) == words


def test_two_misread_values_are_no_single_one():
    whole = read(CLUB, np.random.default_rng(2))
    spoilt = list(whole.readings)
    for row, slipped in ((0, 1.0), (9, -1.0), (14, 0.7)):
        spoilt[row] = reads(spoilt[row], spoilt[row].value + slipped)
    [finding] = refusals(fit_gauge(replace(whole, readings=tuple(spoilt))))
    assert finding.code == "printer.disagree"
    assert "Measure these again first" in finding.hint


@pytest.mark.parametrize(
    ("readings", "message", "hint"),
    [
        (
            [distance("A1", "A2", "centre", 120.0)],
            "along y",
            "Measure A1 to A3, outside to outside as well",
        ),
        (  # one length over far edges: a larger scale or larger holes
            [distance("A1", "A2", "outside", 128.0), distance("A1", "A3", "outside", 128.0)],
            "along x and how long the printer makes things along y",
            "Measure diameter of A1 as well.",
        ),
    ],
)
def test_readings_that_do_not_say_the_scales_are_refused(readings, message, hint):
    with pytest.raises(CheckFailed) as caught:
        fit_gauge(measured(readings))
    [finding] = caught.value.findings
    assert finding.code == "printer.loose"
    assert message in finding.message
    assert hint in finding.hint


def test_the_readings_that_are_named_are_enough():
    few = measured([distance("A1", "A2", "outside", 128.0)])
    loose = loose_parameters(few)
    assert set(loose) == set(PARAMETERS)
    more = measured([*few.readings, *to_add(few, ("scale_x", "scale_y"))])
    assert not {"scale_x", "scale_y"} & set(loose_parameters(more))


def test_what_was_not_measured_is_taken_as_true_and_said():
    sides = [r for r in GAUGE if not isinstance(r, Height) and not diagonal(r)]
    found = fit_gauge(read(CLUB, asked=sides))
    assert not {"skew", "scale_z"} & {*found.determined}
    told = warnings(found)
    assert codes(told) == ["printer.unmeasured"] * 2
    assert "axes are perpendicular" in told[0].message
    assert "A1 to A4, outside" in told[0].hint or "A2 to A3, outside" in told[0].hint
    assert told[1].hint == "Measure a height as well."
    made = profile_of(found, "club")
    assert (made.skew, made.uncertainty.skew, made.scale_z) == (0.0, None, 1.0)
    assert made.scale_x == pytest.approx(0.997, abs=1e-4)


def test_a_reading_that_nothing_checks_is_named():
    asked = [*pairs("A", "outside"), *(diameter(n, 1.0) for n in ("A1", "A2")), height(12.0, 1.0)]
    [finding] = [one for one in warnings(fit_gauge(read(CLUB, asked=asked)))
                 if one.code == "printer.unchecked"]  # fmt: skip
    assert "height of 12 mm" in finding.message


@pytest.mark.parametrize(
    ("printer", "key", "words"),
    [
        (Printer(scale_x=0.975), "scale_x", "2.5 % too short"),
        (Printer(scale_y=1.0254), "scale_y", "2.5 % too long"),
        (Printer(scale_z=0.9), "scale_z", "10.0 % too short"),
        (Printer(skew=-1.3), "skew", "perpendicularity error of 1.30°"),
        (Printer(hole=-0.8), "hole", "0.80 mm too small"),
        (Printer(wall=0.7), "wall", "0.70 mm too large"),
    ],
)
def test_a_printer_that_wants_mending_gets_no_profile(printer, key, words):
    found = fit_gauge(read(printer))
    with pytest.raises(CheckFailed) as caught:
        profile_of(found, "club")
    [finding] = caught.value.findings
    assert (finding.code, finding.key) == ("printer.beyond", key)
    assert words in finding.message


def test_the_profile_undoes_what_the_printer_does():
    made = profile_of(fit_gauge(read(CLUB)), "club", "PETG")
    assert made.compensation.matrix == pytest.approx(
        np.linalg.inv(np.column_stack([CLUB.print([[1, 0]])[0], CLUB.print([[0, 1]])[0]])), abs=1e-4
    )
    assert (made.hole, made.wall) == pytest.approx((-0.18, 0.12), abs=1e-3)
    assert made.uncertainty.scale_x == pytest.approx(6.6e-5, rel=0.05)


@pytest.mark.parametrize("name", ["Club", "", "../x", "a" * 41, "a b", "-a"])
def test_a_name_that_no_file_should_have_is_refused(name):
    with pytest.raises(InputError) as caught:
        profile_of(fit_gauge(read(CLUB)), name)
    assert caught.value.findings[0].code == "printer.name"


def test_the_words_say_what_it_means():
    told = {row[0]: row[3] for row in lines(profile_of(fit_gauge(read(CLUB)), "club"))}
    # 0.3 % of 190 mm, the issue's own example
    assert told["scale x"].startswith("190 mm along x comes out 0.57 mm short (± 0.0")
    assert told["holes"] == "a hole comes out 0.18 mm too small"
    # 190 mm · tan 0.2° = 0.663 mm
    assert told["skew"] == "190 mm along y lean 0.66 mm towards +x"


def test_random_misreadings_are_spoilt_enough_to_count():
    random = np.random.default_rng(9)
    whole = read(any_printer(random), random)
    spoilt, row = misread(whole, random)
    changed = [n for n, (a, b) in enumerate(zip(whole.readings, spoilt.readings, strict=True))
               if a != b]  # fmt: skip
    assert changed == [row]
    assert abs(whole.readings[row].value - spoilt.readings[row].value) >= 0.25
    assert set(spoilt.features) == set(FEATURES)

"""A finished jig held against its layout: where its holes are, and what to do."""

from __future__ import annotations

from dataclasses import asdict, replace

import numpy as np
import pytest
from printed_samples import designed, finished, readings, sent, write_jig
from printer_samples import Printer, reads
from printer_trials import finished_jigs

from jiggen.errors import CheckFailed, InputError
from jiggen.measure.printer.printed import fit_printed, usual_limit
from jiggen.measure.printer.profile import Fits, Profile, save_profile
from jiggen.measure.printer.read import PinReadings, read_printed
from jiggen.measure.printer.to_measure import MOST, blank_text, worth_measuring
from jiggen.measure.printer.verdict import corrected, profile_then, refusals_of_print
from jiggen.report.printed import read_printout
from jiggen.report.readings import printed_text

SMALL = Printer(0.997, 0.997)
LEANING = Printer(0.996, 1.003, 0.3)
PATTERNS = [
    ("club-piste", 220.0),
    ("hut-plate", 220.0),
    ("skew-plate", 220.0),
    ("step-track", 220.0),
]  # two bodies, one turned, two, two turned; fmt: skip


@pytest.fixture(autouse=True)
def own_folder(tmp_path, monkeypatch):
    monkeypatch.setenv("JIGGEN_PRINTERS", str(tmp_path / "printers"))


def both(chosen, printer: Printer) -> dict[str, Printer]:
    return {body.name: printer for body in chosen.bodies}


def printout(tmp_path, pattern="club-piste", bed=220.0, compensation=None, **inputs):
    return read_printout(
        write_jig(tmp_path / "jig", designed(pattern, bed), compensation, **inputs)
    )


USUAL = Fits(bush_fit=0.1, hole_fit=0.0, slide=0.2)


@pytest.mark.parametrize(("pattern", "bed"), PATTERNS)
@pytest.mark.parametrize("printer", [Printer(), SMALL, LEANING], ids=["true", "small", "leaning"])
def test_every_distance_is_told_as_the_finished_jig_has_it(pattern, bed, printer, tmp_path):
    chosen = designed(pattern, bed)
    jig = printout(tmp_path, pattern, bed).jig
    assert len(jig.bodies) == len(chosen.bodies)
    own = [printer.scale_x, printer.scale_y, printer.skew] * len(jig.bodies)
    told = jig.places(np.array(own + [0.0] * (jig.size - len(own))))
    true = finished(chosen, both(chosen, printer))
    at = np.array([true[hole] for hole in jig.holes])
    between = (np.hypot(*(p[:, None] - p[None]).transpose(2, 0, 1)) for p in (told, at))
    assert next(between) == pytest.approx(next(between), abs=1e-9)


@pytest.mark.parametrize(("pattern", "bed"), PATTERNS)
def test_a_true_jig_may_be_used(pattern, bed, tmp_path):
    chosen, jig = designed(pattern, bed), printout(tmp_path, pattern, bed).jig
    found = fit_printed(jig, readings(finished(chosen, both(chosen, Printer())),
                                      worth_measuring(jig)))  # fmt: skip
    assert [hole.off for hole in found.expected] == pytest.approx([0.0] * len(jig.holes), abs=1e-6)
    assert max(hole.known for hole in found.expected) <= 0.13
    assert found.verdict == "use"
    assert refusals_of_print(found) == ()


def test_a_short_jig_is_printed_again_and_then_comes_out_true(tmp_path):
    chosen, jig = designed(), printout(tmp_path).jig
    pairs = worth_measuring(jig)
    found = fit_printed(jig, readings(finished(chosen, both(chosen, SMALL)), pairs))
    off = {hole.id: (hole.dx, hole.dy) for hole in found.expected}
    # 0.3 % of toe-1's place (155.3, 17.3)
    assert off["toe-1"] == pytest.approx((-0.466, -0.052), abs=0.02)
    assert found.verdict == "reprint"
    [finding] = refusals_of_print(found)
    assert finding.code == "printer.off"
    assert "toe-1 by 0.4" in finding.message
    made = corrected(found, profile_then(None, USUAL), "club")
    assert (made.scale_x, made.scale_y) == pytest.approx((0.997, 0.997), abs=2e-4)
    matrix = made.compensation.matrix
    again = finished(chosen, both(chosen, SMALL), matrix)
    asked = dict(zip(chosen.layout.ids, chosen.layout.positions, strict=True))
    assert max(float(np.hypot(*(again[hole] - asked[hole]))) for hole in asked) < 0.05


def test_a_jig_that_was_compensated_is_corrected_from_there(tmp_path):
    then = Profile(name="club", scale_x=0.995, scale_y=1.001, skew=0.2, hole=-0.2, wall=0.1,
                   scale_z=0.998, bush_fit=0.2)  # fmt: skip
    save_profile(then)
    done, fits = then.compensation, then.fits(0.1, 0.2)
    said = sent("club", done.matrix.tolist(), height=done.height)
    out = printout(tmp_path, compensation=said, **asdict(fits))
    chosen = designed()
    now = Printer(0.9965, 1.003, 0.1)
    places = finished(chosen, both(chosen, now), done.matrix)
    found = fit_printed(out.jig, readings(places, worth_measuring(out.jig)))
    before = profile_then(out.sent, out.fits)
    assert before == then
    made = corrected(found, before, "club-2")
    assert (made.scale_x, made.scale_y) == pytest.approx((0.9965, 1.003), abs=3e-4)
    assert made.skew == pytest.approx(0.1, abs=0.02)
    assert (made.hole, made.wall, made.scale_z, made.bush_fit) == (-0.2, 0.1, 0.998, 0.2)


def test_a_profile_that_is_gone_is_told_from_the_manifest(tmp_path):
    fits = Fits(bush_fit=0.15, hole_fit=0.18, slide=0.3)
    out = printout(tmp_path, compensation=sent(height=1.002), **asdict(fits))
    before = profile_then(out.sent, out.fits)
    assert before.fits(bush_fit=0.1, slide=0.2) == fits == out.fits
    assert before.compensation.height == pytest.approx(1.002)


@pytest.mark.parametrize("change", [{"bush_fit": 0.3}, {"hole": -0.1}, {"slide": 0.3}])
def test_a_profile_that_was_fitted_anew_is_not_what_the_jig_was_printed_with(tmp_path, change):
    then = Profile(name="club", hole=-0.18, bush_fit=0.15)
    save_profile(then.model_copy(update=change))
    out = printout(tmp_path, compensation=sent(), **asdict(then.fits(0.1, 0.2)))
    assert profile_then(out.sent, out.fits).name == "as-printed"


def test_each_body_has_its_own_printer(tmp_path):
    chosen, jig = designed(), printout(tmp_path).jig
    own = {"body-toe": Printer(0.998, 0.998), "body-heel": Printer(1.001, 1.001)}
    pairs = worth_measuring(jig)
    found = fit_printed(jig, replace(readings(finished(chosen, own), pairs), caliper=0.002))
    toe, heel = (values for values, _ in [found.parts[body] for body in own])
    assert toe[:2] == pytest.approx((0.998, 0.998), abs=2e-4)
    assert heel[:2] == pytest.approx((1.001, 1.001), abs=2e-4)


def test_a_gap_at_the_joint_is_half_of_it_to_either_side(tmp_path):
    chosen, jig = designed(), printout(tmp_path).jig
    places = finished(chosen, both(chosen, Printer()), gap=0.12)
    pairs = worth_measuring(jig)
    found = fit_printed(jig, replace(readings(places, pairs), caliper=0.001))
    assert found.parts["joint"][0][0] == pytest.approx(0.12, abs=0.01)
    off = {hole.id: hole.dx for hole in found.expected}
    assert (off["toe-5"], off["heel-1"]) == pytest.approx((0.06, -0.06), abs=0.01)


def test_few_readings_say_so(tmp_path):
    chosen, jig = designed(), printout(tmp_path).jig
    places = finished(chosen, both(chosen, Printer()))
    few = readings(places, [("toe-1", "toe-2"), ("toe-1", "toe-3")])
    found = fit_printed(jig, few)
    assert found.verdict == "measure"
    [finding] = refusals_of_print(found)
    assert finding.code == "printer.unsure"
    before = max(hole.known for hole in found.expected)
    more = PinReadings((*few.readings, *readings(places, [found.next_pair]).readings), 0.03)
    assert max(hole.known for hole in fit_printed(jig, more).expected) < before


def test_a_limit_decides(tmp_path):
    chosen, jig = designed(), printout(tmp_path).jig
    places = finished(chosen, both(chosen, Printer(0.9992, 0.9992)))
    read = readings(places, worth_measuring(jig))
    assert fit_printed(jig, read, 0.3).verdict == "use"
    assert fit_printed(jig, read, 0.1).verdict == "measure"  # off by more, but not surely
    worst = max(fit_printed(jig, read).expected, key=lambda one: one.off - one.known)
    assert fit_printed(jig, read, worst.off - worst.known - 1e-4).verdict == "reprint"


@pytest.mark.parametrize(("pattern", "bed"), PATTERNS[:2])
def test_holes_lie_within_what_is_said_and_misreadings_are_named(pattern, bed, tmp_path):
    told = finished_jigs(pattern, bed, tmp_path, runs=30)
    assert told.covered >= 0.9  # of all holes of all runs; the bench has more runs
    assert told.contradicts <= 0.02
    assert told.named >= 0.95


def test_a_misread_value_is_told_as_it_was_written(tmp_path):
    chosen, jig = designed(), printout(tmp_path).jig
    read = readings(finished(chosen, both(chosen, Printer())), worth_measuring(jig))
    first, *rest = read.readings
    spoilt = (reads(first, first.value + 1), *rest)
    [finding] = refusals_of_print(fit_printed(jig, replace(read, readings=spoilt)))
    assert finding.code == "printer.gross-error"
    # toe-1 (155.3, 17.3) to heel-3 (-161.8, 18.4) is 317.10, and 3.6 over the pins
    assert "you wrote 321.70, the other readings say 320.7" in finding.message
    assert "It looks like 1 mm too much." in finding.hint


def test_a_print_out_of_all_bounds_is_not_compensated(tmp_path):
    chosen, jig = designed(), printout(tmp_path).jig
    read = readings(finished(chosen, both(chosen, Printer(0.96, 0.96))), worth_measuring(jig))
    with pytest.raises(CheckFailed) as caught:
        corrected(fit_printed(jig, read), profile_then(None, USUAL), "club")
    assert caught.value.findings[0].code == "printer.beyond"


@pytest.mark.parametrize(("pattern", "bed"), PATTERNS)
def test_the_blank_file_lists_what_is_worth_measuring(pattern, bed, tmp_path):
    jig = printout(tmp_path, pattern, bed).jig
    pairs = worth_measuring(jig)
    assert 8 <= len(set(pairs)) == len(pairs) <= MOST
    x, y = np.array([jig.asked[jig.holes.index(a)] - jig.asked[jig.holes.index(b)]
                     for a, b in pairs]).T  # fmt: skip
    every = jig.asked[:, None] - jig.asked[None]
    assert abs(x).max() == pytest.approx(abs(every[..., 0]).max())  # the longest along
    assert (x * y).max() == pytest.approx((every[..., 0] * every[..., 1]).max())  # diagonals
    assert (x * y).min() == pytest.approx((every[..., 0] * every[..., 1]).min())
    text = blank_text(jig)
    path = tmp_path / "blank.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_printed(path, jig.holes)
    assert [finding.code for finding in caught.value.findings] == ["printer.nothing-measured"]
    path.write_text(text.replace('value = ""', "value = 100.0", 1), encoding="utf-8")
    assert len(read_printed(path, jig.holes).readings) == 1
    assert text == blank_text(jig)
    assert str(tmp_path) not in text


@pytest.mark.parametrize(
    "said",
    [
        sent(matrix=[[1.2, 0], [0, 1]]),
        sent(matrix=[[1.0, 0.4], [0, 1]]),
        sent(matrix=[[1.0, 0], [0, float("nan")]]),
        sent(height=0.9),
        {"printer": "club"},
    ],
)
def test_a_compensation_out_of_bounds_is_refused(said, tmp_path):
    with pytest.raises(InputError) as caught:
        printout(tmp_path, compensation=said)
    # What is no compensation at all is refused as any spoilt manifest is.
    assert {finding.code for finding in caught.value.findings} <= {
        "printer.no-jig",
        "record.invalid",
    }


def test_a_caliper_of_150_mm_is_asked_for_no_more_than_it_reaches(tmp_path):
    jig = read_printout(write_jig(tmp_path, designed("club-piste"))).jig
    far = blank_text(jig)
    assert max(map(jig.over_pins, worth_measuring(jig))) > 300
    assert far.index("more than 150 mm") > far.index("[[distance]]")  # what it reaches comes first
    pairs = worth_measuring(jig, reach=150.0)
    assert len(pairs) >= 8
    assert max(map(jig.over_pins, pairs)) <= 148
    assert "more than 150 mm" not in blank_text(jig, reach=150.0)


def test_a_print_that_passes_the_check_of_the_print_is_used(tmp_path):
    chosen = designed("club-piste")
    jig = read_printout(write_jig(tmp_path, chosen)).jig
    places = finished(chosen, both(chosen, Printer(0.999, 0.999)))  # 0.1 % short: not made again
    found = fit_printed(jig, readings(places, worth_measuring(jig)))
    assert found.limit == usual_limit(jig)
    assert max(one.off for one in found.expected) > 0.15
    assert (found.verdict, refusals_of_print(found)) == ("use", ())


def test_every_hole_over_the_limit_is_in_the_verdict(tmp_path):
    chosen = designed("club-piste")
    jig = read_printout(write_jig(tmp_path, chosen)).jig
    places = finished(chosen, both(chosen, Printer(0.9978, 0.9978)))
    found = fit_printed(jig, readings(places, worth_measuring(jig)), 0.2)
    [said] = refusals_of_print(found)
    over = [one for one in found.expected if one.off - one.known > 0.2]
    perhaps = [one for one in found.expected if one.off - one.known <= 0.2 < one.at_worst]
    assert over
    assert perhaps
    assert f"{len(perhaps)} others may be" in said.message or "1 other may be" in said.message
    assert printed_text(found, None).count("perhaps > 0.2") == 0
    lines = printed_text(found, corrected(found, Profile(name="x"), "x"))
    assert lines.count("  > 0.2") == len(over)
    assert lines.count("perhaps > 0.2") == len(perhaps)

"""Places from distances: starts, least squares, what is known how well, and misreadings."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import curve_fit
from scipy.spatial import procrustes
from scipy.spatial.transform import Rotation
from survey_plates import (
    EIGHT,
    EIGHT_SAID,
    TWINS,
    TWINS_SAID,
    Plate,
    every_pair,
    misread,
    noisy,
)
from survey_trials import any_plate, from_truth, shares

from jiggen.measure.adjustment import REGION
from jiggen.measure.survey.examination import compare_sides, examine
from jiggen.measure.survey.findings import refusals, warnings
from jiggen.measure.survey.fit import classical_scaling, robust, solve
from jiggen.measure.survey.network import Network

DATA = Path(__file__).parent / "data"
SIGMA = 0.05

# Chi-squared with 2 and 13 degrees of freedom, 95 %: 5.991 and 22.362.
# Source: NIST/SEMATECH e-Handbook of Statistical Methods, table 1.3.6.7.4 (from memory).
CHI2 = {2: 5.991, 13: 22.362}


def distances(places) -> np.ndarray:
    places = np.asarray(places, dtype=float)
    return np.hypot(*(places[:, None] - places[None]).transpose(2, 0, 1))


# -- classical scaling and alignment, against outside values --------------------------------------


def test_classical_scaling_gives_what_r_gives_for_its_own_data():
    # R, datasets::eurodist and stats::cmdscale: the values are in the file.
    table = np.loadtxt(DATA / "eurodist.csv", delimiter=",")
    found, published = classical_scaling(table[:, :21]), table[:, 21:]
    signs = np.sign((found * published).sum(axis=0))  # "rotations and reflections", R help
    assert np.abs(found * signs - published).max() < 5e-5  # as many digits as R prints


@pytest.mark.parametrize(
    ("sides", "area"),
    # Pythagorean triangles, Euclid, Elements X, 29 (lemma 1): exact lengths, exact areas.
    [((3.0, 4.0, 5.0), 6.0), ((5.0, 12.0, 13.0), 30.0)],
)
def test_classical_scaling_is_exact_for_euclidean_distances(sides, area):
    a, b, c = sides
    given = np.array([[0, a, c], [a, 0, b], [c, b, 0]])
    places = classical_scaling(given)
    # "n points with Euclidean distances fit exactly, up to shift, rotation, reflection": R help.
    assert distances(places) == pytest.approx(given, abs=1e-9)
    (x1, y1), (x2, y2) = places[1] - places[0], places[2] - places[0]
    assert abs(x1 * y2 - x2 * y1) / 2 == pytest.approx(area, abs=1e-9)


def test_classical_scaling_agrees_with_scikit_learn():
    manifold = pytest.importorskip("sklearn.manifold")
    if not hasattr(manifold, "ClassicalMDS"):
        pytest.skip("scikit-learn has classical scaling from 1.8 on")
    table = np.loadtxt(DATA / "eurodist.csv", delimiter=",")[:, :21]
    theirs = manifold.ClassicalMDS(n_components=2, metric="precomputed").fit_transform(table)
    _, _, apart = procrustes(theirs, classical_scaling(table))
    assert apart < 1e-12


def test_places_are_the_true_ones_after_rigid_alignment():
    found = solve(Network(EIGHT.survey(every_pair(EIGHT.names), **EIGHT_SAID)))
    flat = [np.column_stack([at, np.zeros(8)]) for at in (EIGHT.truth, found.places)]
    turn, apart = Rotation.align_vectors(flat[0], flat[1])  # scipy, no reflection allowed
    assert apart < 1e-5
    assert turn.magnitude() < 1e-9  # and nothing had to be turned: the frame is the survey's
    assert procrustes(EIGHT.truth, found.places)[2] < 1e-18


@pytest.mark.parametrize("farthest", [3, 4, 6])
def test_sparse_distances_are_not_folded_over(farthest):
    # A strip of triangles is only told from a folded one by what spans two of them.
    names = "abcdefghijklmn"
    places = {
        name: (100 - 15.0 * n, 20.0 - 40 * (n % 2) + 3 * float(np.sin(5 * n)))
        for n, name in enumerate(names)
    }
    strip = Plate(places, edges={"front": 130.0})
    measured = [*every_pair(names, farthest), ("front", "a"), ("front", "n")]
    found = solve(Network(strip.survey(measured, front=("a",), left=("a",))))
    assert found.squares < 1e-9
    assert distances(found.places) == pytest.approx(distances(strip.truth), abs=1e-6)


# -- how well places are known --------------------------------------------------------------------


def test_covariance_is_that_of_another_library():
    triangle = Plate({"a": (50.0, 20.0), "b": (50.0, -20.0), "c": (-30.0, 20.0)})
    survey = triangle.survey(every_pair("abc"), along=("c", "a"), origin=("c",), middle=("c",),
                             front=("a",), right=("b",))  # fmt: skip
    survey = noisy(survey, np.random.default_rng(3))
    fit = solve(Network(survey, SIGMA))
    ax, bx, by = fit.places[0, 0], *fit.places[1]

    def readings(_, ax, bx, by, da, db, dc):
        return [np.hypot(ax - bx, by) + (da + db) / 2, ax, np.hypot(bx, by) - (db + dc) / 2,
                da, db, dc]  # fmt: skip

    values = [reading.value for reading in survey.readings] + list(survey.diameters)
    kinds = [reading.kind for reading in survey.readings]
    assert kinds == ["outside", "centre", "inside"]
    guess = [80.0, 80.0, -40.0, 5.5, 5.5, 5.5]
    best, spread = curve_fit(  # scipy.optimize.curve_fit, slopes by finite differences
        readings, np.arange(6), values, guess, sigma=np.full(6, SIGMA), absolute_sigma=True
    )
    assert [ax, bx, by] == pytest.approx(best[:3], abs=1e-6)
    columns = [0, 2, 3]  # ax, bx, by among the unknowns
    assert fit.covariance[np.ix_(columns, columns)] == pytest.approx(spread[:3, :3], abs=1e-6)


def test_truth_lies_in_the_stated_region_in_95_of_100_surveys():
    random = np.random.default_rng(1)
    survey = EIGHT.survey(every_pair(EIGHT.names, 3), **EIGHT_SAID)
    runs, inside, all_inside = 1000, np.zeros(8), 0
    for _ in range(runs):
        fit = robust(solve(Network(noisy(survey, random, SIGMA), SIGMA)))
        off = fit.places - EIGHT.truth
        squares = np.einsum("ni,nij,nj->n", off, np.linalg.inv(fit.place_covariances), off)
        inside += squares < CHI2[2]
        joint = np.linalg.pinv(fit.covariance[:16, :16], rcond=1e-8)
        all_inside += off.ravel() @ joint @ off.ravel() < CHI2[13]
    assert fit.freedom == 5  # 18 distances and 8 diameters for 13 places and 8 diameters
    assert inside / runs == pytest.approx(np.full(8, 0.95), abs=0.02)
    assert all_inside / runs == pytest.approx(0.95, abs=0.02)


def test_region_is_that_of_a_place_in_a_plane():
    assert pytest.approx(CHI2[2], abs=5e-4) == REGION**2


def test_coarser_readings_than_said_are_said_to_be_coarser():
    random = np.random.default_rng(8)
    survey = noisy(EIGHT.survey(every_pair(EIGHT.names), **EIGHT_SAID), random, 0.25)
    found = examine(survey, SIGMA)
    assert found.plain.spread == pytest.approx(5.0, rel=0.35)  # 0.25 / 0.05; 15 readings too many
    stated = examine(survey, 0.25)
    assert stated.plain.spread == 1.0
    assert found.within == pytest.approx(stated.within, rel=0.35)


def test_a_reading_can_have_an_uncertainty_of_its_own():
    survey = TWINS.survey(every_pair(TWINS.names), **TWINS_SAID)
    fine = examine(survey).within
    ruler = [row for row, reading in enumerate(survey.readings) if reading.value > 150]
    coarse = [
        replace(reading, sigma=0.5 if row in ruler else None)
        for row, reading in enumerate(survey.readings)
    ]
    assert ruler
    assert (examine(replace(survey, readings=tuple(coarse))).within > fine).all()


# -- misreadings ----------------------------------------------------------------------------------


@pytest.mark.parametrize(("holes", "twins", "runs"), [(4, True, 150), (6, False, 150)])
def test_of_100_surveys_one_is_wrongly_refused_and_99_misreadings_are_named(holes, twins, runs):
    found = shares(holes, runs, twins=twins, quick=True)
    assert found.refused <= 0.01
    assert found.named >= 0.99
    assert found.accepted == 0


def test_what_would_not_show_is_said_where_too_little_is_measured():
    # every distance once: what lies across the plate is hardly checked, and was accepted before
    random = np.random.default_rng(11)
    silent = 0
    for _ in range(60):
        plate = any_plate(random, 6, twins=True)
        fit = from_truth(plate)
        said = {"pairs": TWINS_SAID["pairs"], "front": (plate.names[0],)}
        survey = noisy(plate.survey(every_pair(plate.names), **said), random)
        row = int(random.integers(len(survey.readings)))
        found = fit(misread(survey, row, float(random.choice([-1.0, 1.0]))))
        silent += not found.contradicts and row not in found.unchecked(len(survey.readings))
    assert silent == 0


def test_where_two_readings_could_be_wrong_both_are_named():
    random = np.random.default_rng(9)
    survey = EIGHT.survey(every_pair(EIGHT.names, 4), **EIGHT_SAID)  # 22 distances
    runs, among = 30, 0
    for _ in range(runs):
        row = int(random.integers(len(survey.readings)))
        found = solve(Network(misread(noisy(survey, random, SIGMA), row, 1.0), SIGMA)).gross_error
        assert found is not None
        among += row in (found.row, *found.rivals)
    assert among / runs >= 0.95


def test_without_the_misreading_the_rest_fits_as_before():
    clean = noisy(EIGHT.survey(every_pair(EIGHT.names), **EIGHT_SAID), np.random.default_rng(4))
    found = examine(misread(clean, 5, 1.0))
    assert found.plain.contradicts
    assert found.plain.gross_error is not None
    assert found.plain.gross_error.row == 5
    assert found.plain.gross_error.off == pytest.approx(1.0, abs=0.3)
    assert found.plain.gross_error.without.likelihood > 0.001
    # robust: the misreading bends the plate far less than plain least squares lets it
    true = EIGHT.truth
    assert np.abs(found.fit.places - true).max() < 0.6 * np.abs(found.plain.places - true).max()


@pytest.mark.parametrize("off", [54.0, -20.0])  # two digits swapped: 106.67 and 160.67
def test_a_gross_misreading_is_named_as_well(off):
    survey = noisy(TWINS.survey(every_pair(TWINS.names), **TWINS_SAID), np.random.default_rng(2))
    row = next(r for r, reading in enumerate(survey.readings) if 100 < reading.value < 140)
    found = examine(misread(survey, row, off))
    assert found.plain.gross_error is not None
    assert (found.plain.gross_error.row, found.plain.gross_error.likely) == (row, True)


def test_the_wrong_way_of_measuring_is_recognised():
    survey = TWINS.survey(every_pair(TWINS.names), **TWINS_SAID)
    row = next(r for r, reading in enumerate(survey.readings) if reading.kind == "inside")
    found = examine(misread(survey, row, 2 * TWINS.diameter))  # was outside to outside
    assert found.plain.gross_error is not None
    assert found.plain.gross_error.row == row
    [finding] = refusals(found, 0.3)
    assert f"It would fit as: {replace(survey.readings[row], kind='outside')}." in finding.hint


def test_nothing_is_doubted_where_nothing_checks():
    strip = EIGHT.survey(every_pair(EIGHT.names, 2), **EIGHT_SAID)  # 13 distances, none too many
    found = examine(strip)
    assert found.plain.freedom == 0
    assert found.plain.gross_error is None
    assert found.unchecked == tuple(range(13))


# -- left and right -------------------------------------------------------------------------------


def test_twins_are_alike_and_a_skew_pair_is_not():
    random = np.random.default_rng(6)
    survey = noisy(TWINS.survey(every_pair(TWINS.names), **TWINS_SAID), random)
    assert examine(survey).symmetry.verdict == "symmetric"
    skew = Plate({**TWINS.places, "b": (TWINS.places["b"][0] + 0.8, TWINS.places["b"][1])})
    found = examine(noisy(skew.survey(every_pair(skew.names), **TWINS_SAID), random))
    assert found.symmetry.verdict == "different"
    assert found.symmetry.worst == ("a", "b")
    assert found.symmetry.off == pytest.approx(0.8, abs=0.3)  # the axis follows the skew a little
    assert found.symmetry.off > found.symmetry.within


def test_symmetry_is_rightly_doubted_as_seldom_as_stated():
    random = np.random.default_rng(12)
    survey = TWINS.survey(every_pair(TWINS.names), **TWINS_SAID)
    fits = (from_truth(TWINS)(noisy(survey, random)) for _ in range(200))
    verdicts = [compare_sides(fit).verdict for fit in fits]
    assert verdicts.count("symmetric") >= 198  # stated: 1 in 1000 wrongly called different


def test_a_verdict_on_left_and_right_agrees_with_its_own_numbers():
    random = np.random.default_rng(13)
    verdicts = []
    for _ in range(60):
        x, y = TWINS.places["b"]
        skew = Plate({**TWINS.places, "b": (x + float(random.uniform(0.0, 0.6)), y)})
        survey = noisy(skew.survey(every_pair(skew.names), **TWINS_SAID), random)
        found = compare_sides(from_truth(TWINS)(survey))
        verdicts.append(found.verdict)
        assert (found.verdict == "different") == (found.off > found.within)
    assert 10 < verdicts.count("different") < 50


def test_symmetry_that_no_reading_tells_is_assumed():
    half = [("a", "b"), ("c", "d"), ("e", "f"), ("a", "c"), ("c", "e"), ("a", "e")]
    assert examine(TWINS.survey(half, **TWINS_SAID)).symmetry.verdict == "assumed"


def test_pairs_are_seen_where_none_is_named():
    said = {"along": ("e", "c"), "front": ("a", "b"), "left": ("a",), "middle": ("c", "d")}
    plate = Plate(
        {"a": (60.0, 20.0), "b": (60.0, -20.0), "c": (10.0, 18.0), "d": (10.0, -18.0),
         "e": (-40.0, 18.0), "f": (-40.0, -18.0)}
    )  # fmt: skip
    found = examine(noisy(plate.survey(every_pair(plate.names), **said), np.random.default_rng(1)))
    assert found.possible_pairs == (("a", "b"), ("c", "d"), ("e", "f"))
    skew = Plate({**plate.places, "f": (-41.0, -18.0)})
    assert examine(skew.survey(every_pair(skew.names), **said)).possible_pairs == ()


# -- the caliper itself -------------------------------------------------------------------------


def test_a_caliper_that_reads_all_too_long_shows_only_by_another_tool():
    random = np.random.default_rng(14)
    survey = noisy(EIGHT.survey(every_pair(EIGHT.names), **EIGHT_SAID), random)
    long = [replace(one, value=one.value * 1.003) for one in survey.readings]
    stretched = replace(survey, readings=tuple(long))
    found = examine(stretched)
    assert refusals(found, 0.3) == ()  # from within, nothing is wrong
    [said] = [one for one in warnings(found) if one.code == "survey.one-tool"]
    assert "0.3 % wrong does not show in its own readings" in said.message
    again = (replace(EIGHT.read("a", "h", "outside"), sigma=0.05),)
    assert examine(replace(survey, again=again)).scale.differs is False
    judged = examine(replace(stretched, again=again))
    assert judged.scale.long == pytest.approx(0.003, abs=0.001)
    assert [one.code for one in refusals(judged, 0.3)] == ["survey.scale"]
    assert judged.fit.places == pytest.approx(found.fit.places)  # it moves no hole


# -- edges and frames -----------------------------------------------------------------------------


def test_edges_alone_place_every_hole():
    measured = [(edge, name) for edge in ("front", "left") for name in TWINS.names]
    measured += [("right", "a"), ("rear", "c")]
    said = {"front": ("a", "b"), "left": ("a",), "middle": ("left", "right"), "origin": ("front",)}
    found = examine(TWINS.survey(measured, **said))
    expected = TWINS.truth - (TWINS.edges["front"], 0.0)
    assert found.fit.places == pytest.approx(expected, abs=1e-6)
    assert found.rigidity.rigid


def test_origin_is_a_hole_an_edge_or_a_middle():
    measured = [*every_pair(TWINS.names), ("rear", "e"), ("rear", "f")]
    for origin, at in (
        (("c",), TWINS.places["c"][0]),
        (("rear",), TWINS.edges["rear"]),
        (("a", "e"), (TWINS.places["a"][0] + TWINS.places["e"][0]) / 2),
    ):
        found = examine(TWINS.survey(measured, **TWINS_SAID, origin=origin))
        assert found.fit.places == pytest.approx(TWINS.truth - (at, 0.0), abs=1e-6)


@pytest.mark.parametrize("mirror", [1.0, -1.0])
@pytest.mark.parametrize("turned", [1.0, -1.0])
def test_front_and_left_remove_every_reflection(mirror, turned):
    places = {n: (turned * x, mirror * y) for n, (x, y) in EIGHT.places.items()}
    plate = Plate(places)
    order = sorted(places, key=lambda name: places[name][0])
    left = next(name for name in places if places[name][1] > 5)
    said = {
        "along": ("g", "a") if turned > 0 else ("a", "g"),
        "front": (order[-1],),
        "left": (left,),
    }
    found = examine(plate.survey(every_pair(plate.names), **said))
    assert found.fit.places == pytest.approx(plate.truth, abs=1e-6)


def test_everything_that_is_rigid_and_right_is_solved():
    random = np.random.default_rng(20)
    wrong = judged = 0
    for _ in range(40):
        count = int(random.integers(5, 9))
        at = random.uniform(-1.0, 1.0, (count, 2)) * (90.0, 35.0)
        if distances(at)[np.triu_indices(count, 1)].min() < 12.0:
            continue
        plate = Plate(dict(zip("abcdefgh"[:count], map(tuple, at - at.mean(axis=0)), strict=True)),
                      edges={"front": 140.0})  # fmt: skip
        pairs = [pair for pair in combinations(plate.names, 2) if random.random() < 0.8]
        front = max(plate.names, key=lambda name: plate.places[name][0])
        left = max(plate.names, key=lambda name: plate.places[name][1])
        measured = [*pairs, *(("front", name) for name in plate.names[:3])]
        survey = noisy(plate.survey(measured, front=(front,), left=(left,)), random)
        found = examine(survey)
        if found.rigidity.rigid and not found.others and not found.plain.contradicts:
            judged += 1
            wrong += bool(
                (np.abs(found.fit.places - plate.truth) > 3 * found.within[:, None]).any()
            )
    assert judged >= 15
    assert wrong == 0

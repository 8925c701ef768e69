"""Places that scans tell, as readings of a survey."""

from __future__ import annotations

import numpy as np
import pytest

from jiggen.errors import InputError
from jiggen.inputs.document import parse_document
from jiggen.measure.adjustment import derivative
from jiggen.measure.scan.matching import rigid
from jiggen.measure.survey.examination import examine
from jiggen.measure.survey.read import KIND, survey_of
from jiggen.measure.survey.scanned import Scanned, ScannedRows
from jiggen.request.plate import survey_toml

PLACES = {"a": (90.0, 20.0), "b": (90.0, -20.0), "c": (-40.0, 18.0), "d": (-40.0, -18.0),
          "e": (-80.0, 0.0)}  # fmt: skip


def data(places, covariance, **more):
    return {
        "format": 1,
        "name": "Bench",
        "drill": {"diameter": {"plain": 3.6, "metal": 4.1}, "depth": 9.0},
        "group": {"name": "plate", "datum": "boot-centre", "shift": 0.0},
        "holes": dict.fromkeys(PLACES, 5.5),
        "plate": {
            "origin": ["c", "d"], "front": ["a", "b"], "pairs": [["a", "b"], ["c", "d"]],
            "centre_line": ["e"],
        },
        "scanned": {
            "places": {n: [float(x), float(y)] for n, (x, y) in zip(PLACES, places, strict=True)},
            "covariance": [row[: n + 1].tolist() for n, row in enumerate(covariance)],
        },
    } | more  # fmt: skip


def surveyed(*args, **more):
    return survey_of(parse_document(survey_toml(data(*args, **more)), "s.toml", KIND))


def seen(seed=1, sigma=0.02):
    """The plate turned by 200 degrees, with errors of its covariance."""
    random = np.random.default_rng(seed)
    true = np.array([*PLACES.values()])
    stretch = true.ravel() / 100 * 0.03  # a scale that is not quite known
    covariance = sigma**2 * np.eye(10) + np.outer(stretch, stretch)
    off = random.multivariate_normal(np.zeros(10), covariance).reshape(-1, 2)
    turn = np.radians(200)
    way = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    both = np.kron(np.eye(5), way)
    return (true + off) @ way.T + (3.0, 400.0), both @ covariance @ both.T


def test_the_slopes_are_those_of_the_readings():
    places, covariance = seen()
    scanned = Scanned.model_validate(data(places, covariance)["scanned"])
    rows = ScannedRows(scanned, {name: n for n, name in enumerate(PLACES)})
    assert len(rows.values) == 2 * 5 - 3
    at = np.array([*PLACES.values()]) + np.random.default_rng(4).normal(0, 0.5, (5, 2))
    steps = derivative(lambda flat: rows.predicted(flat.reshape(-1, 2)), at.ravel())
    assert rows.slopes(at, 12)[:, :10] == pytest.approx(steps, abs=1e-6)
    assert not rows.slopes(at, 12)[:, 10:].any()
    assert {label[:15] for label in rows.labels} == {"scanned places,"}
    both = np.column_stack([at.ravel(), (at * (1, -1)).ravel()])
    assert rows.unlike(both)[0] == pytest.approx(rigid(at, places)[2] * np.sqrt(5), rel=1e-6)
    assert rows.unlike(both)[1] > 40


def test_the_truth_lies_within_the_region_whatever_way_the_plate_lay():
    true = np.add([*PLACES.values()], (40.0, 0.0))
    inside = []
    for seed in range(12):
        found = examine(surveyed(*seen(seed)))
        assert found.rigidity.rigid
        inside += (np.hypot(*(found.places - true).T) < found.within).tolist()
    assert 0.85 < np.mean(inside) <= 1.0  # of 60 places


def test_pairs_make_a_scan_surer_and_another_plate_is_told():
    places, covariance = seen()
    paired = examine(surveyed(places, covariance))
    file = data(places, covariance)
    file["plate"] = {"origin": ["c", "d"], "middle": ["a", "b", "c", "d"], "along": ["c", "a"]}
    alone = survey_of(parse_document(survey_toml(file), "s.toml", KIND))
    assert paired.within.sum() < 0.95 * examine(alone).within.sum()
    places[0] += (0.0, 0.6)
    found = examine(surveyed(places, covariance))
    assert found.symmetry.verdict == "different"
    assert "a" in found.symmetry.worst


def test_a_distance_beside_the_scan_checks_it():
    places, covariance = seen()
    long = float(np.hypot(170.0, 20.0)) + 5.5
    good = examine(surveyed(places, covariance, distances={"a-e": {"outside": long}}))
    assert not good.plain.contradicts
    bad = examine(surveyed(places, covariance, distances={"a-e": {"outside": long + 1.0}}))
    assert bad.plain.contradicts
    tool = examine(surveyed(places, covariance, other_tool={"a-e": {"outside": long * 1.03}}))
    assert tool.scale.differs


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (lambda s: s["places"].update(z=[0.0, 0.0]), "no hole"),
        (lambda s: s["places"]["a"].append(1.0), "x and y"),
        (lambda s: s["covariance"].pop(), "rows"),
        (lambda s: s["covariance"][0].__setitem__(0, -1.0), "surer than sure"),
        (lambda s: [s["places"].pop(name) for name in "abc"], "fewer than three"),
        (lambda s: s["places"].update({name: [1.0, 1.0] for name in "abcde"}), "all within 5 mm"),
        (lambda s: s["covariance"][3].__setitem__(2, 1e300), "beyond 10000"),
    ],
)
def test_a_table_that_does_not_fit_is_refused(change, words):
    file = data(*seen())
    change(file["scanned"])
    with pytest.raises(InputError, match=words):
        survey_of(parse_document(survey_toml(file), "s.toml", KIND))

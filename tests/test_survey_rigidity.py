"""What can still move, what to measure next, and what fits in two ways."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from survey_plates import EIGHT, EIGHT_SAID, TWINS, TWINS_SAID, Plate, every_pair, noisy

from jiggen.measure.survey.examination import examine
from jiggen.measure.survey.findings import refusals, warnings
from jiggen.measure.survey.fit import loosened, solve
from jiggen.measure.survey.network import Network
from jiggen.measure.survey.rigidity import find_rigidity

FOUR = Plate({name: EIGHT.places[name] for name in "abfg"})
FOUR_SAID = {"along": ("g", "a"), "front": ("a",), "left": ("a",)}
STRIP = every_pair(EIGHT.names, 2)  # a strip of triangles: 13 = 2 * 8 - 3 distances


def said(found, code: str, limit: float = 0.3):
    """The one refusal with that code."""
    [finding] = [each for each in refusals(found, limit) if each.code == f"survey.{code}"]
    return finding


def advised(hint: str) -> list[tuple[str, str]]:
    """The distances that a hint names, in order."""
    words = hint.replace(".", "").replace(",", "").split()
    return [(words[n - 1], words[n + 1]) for n, word in enumerate(words) if word == "to"]


# -- sets that are not rigid ----------------------------------------------------------------------


def test_a_strip_of_triangles_is_rigid_with_not_one_distance_too_many():
    held = examine(EIGHT.survey(STRIP, **EIGHT_SAID)).rigidity
    assert held.rigid
    # 8 holes of 2 coordinates and a diameter, less shift and turn: 24 - 3
    assert (held.unknowns, held.rank) == (21, 21)


@pytest.mark.parametrize("missing", STRIP)
def test_every_missing_distance_is_noticed_and_the_advice_mends_it(missing):
    measured = [pair for pair in STRIP if pair != missing]
    found = examine(EIGHT.survey(measured, **EIGHT_SAID))
    assert (found.rigidity.rank, found.rigidity.lacking) == (20, 1)
    finding = said(found, "loose")
    assert "cannot tell where hole" in finding.message
    [best] = advised(finding.hint)
    assert best not in measured
    assert examine(EIGHT.survey([*measured, best], **EIGHT_SAID)).rigidity.rigid


def test_a_hole_with_one_distance_swings():
    measured = [pair for pair in STRIP if pair != ("f", "h")]
    found = examine(EIGHT.survey(measured, **EIGHT_SAID))
    assert found.rigidity.loose == ("h",)
    finding = said(found, "loose")
    assert finding.message == "cannot tell where hole h is: it can still swing about g"
    assert np.isinf(found.within[7])
    assert np.isinf(found.deviations[7]).all()


def test_two_bodies_hinged_at_one_hole():
    measured = every_pair("abcd") + every_pair("defgh")
    found = examine(noisy(EIGHT.survey(measured, **EIGHT_SAID), np.random.default_rng(1)))
    assert found.rigidity.lacking == 1
    assert set(found.rigidity.loose) == set("abc")  # the smaller body moves against the larger
    finding = said(found, "loose")
    assert finding.message == (
        "cannot tell where holes a, b and c are: they hold together, but can still swing about d"
    )
    [(first, second)] = advised(finding.hint)
    assert first in "abc"
    assert second in "efgh"


def test_the_extra_distance_named_is_among_the_best_of_all():
    # What is known of all holes after each of the 12 distances that would do, one at a time.
    measured = every_pair("abcd") + every_pair("defgh")
    [best] = advised(said(examine(EIGHT.survey(measured, **EIGHT_SAID)), "loose").hint)
    spreads = {}
    for pair in set(every_pair(EIGHT.names)) - set(measured):
        fit = solve(Network(EIGHT.survey([*measured, pair], **EIGHT_SAID)))
        spreads[pair] = float(np.sqrt(np.trace(fit.covariance[:16, :16])))
    assert len(spreads) == 12
    # Not the very best: nobody knew yet at which angle the two bodies lie.
    assert spreads[best] <= sorted(spreads.values())[2]
    assert spreads[best] < max(spreads.values()) / 3


def test_a_four_bar_linkage():
    found = examine(FOUR.survey([("a", "b"), ("b", "f"), ("f", "g"), ("g", "a")], **FOUR_SAID))
    # 4 holes of 3 unknowns less shift and turn; Grübler's rule leaves one degree of freedom
    assert (found.rigidity.unknowns, found.rigidity.rank, found.rigidity.lacking) == (9, 8, 1)
    assert "can still swing about" in said(found, "loose").message
    assert set(advised(said(found, "loose").hint)) <= {("b", "g"), ("a", "f")}


def test_a_hole_nobody_measured_to():
    found = examine(FOUR.survey([("a", "b"), ("b", "f"), ("a", "f")], **FOUR_SAID))
    finding = said(found, "loose")
    assert finding.message == (
        "cannot tell where hole g is: nothing was measured from g to the others"
    )
    assert len(advised(finding.hint)) == found.rigidity.lacking == 2


def test_holes_in_one_line_give_way_sideways():
    plate = Plate({"a": (50.0, 18.0), "b": (0.0, 0.5), "c": (-50.0, -17.0), "d": (-50.0, 18.0)})
    measured = [("a", "b"), ("b", "c"), ("a", "c"), ("a", "d"), ("c", "d")]
    said_so = {"along": ("d", "a"), "front": ("a",), "left": ("a",)}
    finding = said(examine(plate.survey(measured, **said_so)), "loose")
    assert finding.message == (
        "cannot tell where hole b is: it lies in one line with a and c and can still give way "
        "sideways"
    )
    assert advised(finding.hint) == [("b", "d")]
    # With noise the line is never quite straight: then b is known far too badly.
    shaken = examine(noisy(plate.survey(measured, **said_so), np.random.default_rng(1)))
    assert "not known within 0.3 mm" in said(shaken, "uncertain").message
    assert shaken.within.argmax() == 1
    assert shaken.within[1] > 3.0
    assert advised(said(shaken, "uncertain").hint) == [("b", "d")]


def test_a_plate_that_can_be_turned_as_a_whole():
    found = examine(FOUR.survey(every_pair("abfg"), front=("a",), left=("a",)))
    assert found.rigidity.whole == ("turn",)
    assert found.rigidity.lacking == 0
    assert said(found, "whole").message == "cannot tell which way the plate points on the ski"


def test_pairs_hold_what_distances_alone_do_not():
    half = [("a", "b"), ("c", "d"), ("e", "f"), ("a", "c"), ("a", "d"), ("c", "e"), ("d", "e")]
    assert examine(TWINS.survey(half, **TWINS_SAID)).rigidity.rigid
    loose = [pair for pair in half if pair not in {("c", "e"), ("d", "e")}]
    found = examine(TWINS.survey(loose, **TWINS_SAID))
    assert found.rigidity.loose == ("e", "f")


# -- rank, against Laman's theorem ----------------------------------------------------------------


def independent(edges) -> bool:
    """No k holes have more than 2k - 3 of the edges among them: Laman 1970, theorem 5.6."""
    corners = sorted({corner for edge in edges for corner in edge})
    return all(
        sum(edge[0] in some and edge[1] in some for edge in edges) <= 2 * count - 3
        for count in range(2, len(corners) + 1)
        for some in map(set, combinations(corners, count))
    )


def laman_rank(edges) -> int:
    """Greedy, which is right since independent sets form a matroid."""
    chosen: list[tuple[str, str]] = []
    for edge in edges:
        if independent([*chosen, edge]):
            chosen.append(edge)
    return len(chosen)


def test_rank_is_that_of_lamans_theorem():
    random = np.random.default_rng(70)
    names = "abcfg"
    plate = Plate({name: EIGHT.places[name] for name in names})
    everything = every_pair(names)
    seen = set()
    for _ in range(60):
        measured = [pair for pair in everything if random.random() < random.uniform(0.3, 1.0)]
        if not measured:
            continue
        survey = plate.survey(measured, along=("g", "a"), front=("a",), left=("a",))
        held = find_rigidity(loosened(solve(Network(survey))))
        assert held.lacking == 2 * 5 - 3 - laman_rank(measured), measured
        assert held.unknowns - held.rank == held.lacking
        seen.add(held.lacking)
    assert seen >= {0, 1, 2, 3}


# -- rigid, and yet in two ways -------------------------------------------------------------------


def test_a_hole_with_two_distances_lies_on_either_side():
    measured = [*every_pair("abcdefg"), ("g", "h"), ("f", "h")]
    found = examine(EIGHT.survey(measured, **EIGHT_SAID))
    assert found.rigidity.rigid  # nothing moves, and still
    [other] = found.others
    assert other.moved == (7,)
    g, f = EIGHT.truth[6], EIGHT.truth[5]
    along = (f - g) / np.hypot(*(f - g))
    away = EIGHT.truth[7] - g
    mirrored = g + 2 * (away @ along) * along - away
    assert other.places[7] == pytest.approx(mirrored, abs=1e-3)
    finding = said(found, "two-ways")
    assert "the distances fit two places of hole h" in finding.message
    assert advised(finding.hint)[0][1] == "h"


@pytest.mark.parametrize("cure", ["distance", "side"])
def test_two_ways_are_told_apart_by_a_distance_or_by_naming_a_side(cure):
    measured = [*every_pair("abcdefg"), ("g", "h"), ("f", "h")]
    told = dict(EIGHT_SAID)
    if cure == "distance":
        measured.append(advised(said(examine(EIGHT.survey(measured, **told)), "two-ways").hint)[0])
    else:
        told["rear"] = ("h",)
    found = examine(EIGHT.survey(measured, **told))
    assert found.others == ()
    assert found.fit.places == pytest.approx(EIGHT.truth, abs=1e-5)


def test_a_part_that_hangs_on_two_holes_folds_over_as_one():
    measured = every_pair("abcd") + every_pair("cdefgh")
    told = {"along": ("g", "a"), "left": ("a",), "rear": ("h",)}  # not which end is the front
    found = examine(EIGHT.survey(measured, **told))
    assert {other.moved for other in found.others} == {(0, 1)}


def test_a_bipartite_set_is_rigid_in_several_ways():
    # K(3,3) is rigid with 9 = 2 * 6 - 3 distances, and folds in ways that mirror no part.
    # Bolker and Roth 1980: it is generically rigid (from memory).
    plate = Plate({name: EIGHT.places[name] for name in "abcdfg"})
    measured = [(one, other) for one in "adf" for other in "bcg"]
    found = examine(plate.survey(measured, along=("g", "a"), front=("a",), left=("a",)))
    assert found.rigidity.rigid
    assert found.others
    for other in found.others:
        for first, second in measured:
            i, j = plate.names.index(first), plate.names.index(second)
            apart = float(np.hypot(*(other.places[i] - other.places[j])))
            assert apart == pytest.approx(plate.distance(first, second), abs=0.3)


def test_edges_bound_the_plate():
    # e and f hang on c and d: they could lie behind them or before them, past a and b, and then
    # the plate would be turned round, as e and f are the rear ones.
    hanging = [("e", "f"), ("c", "e"), ("d", "e"), ("d", "f"), ("c", "f")]
    measured = [*every_pair("abcd"), *hanging]
    told = {"pairs": TWINS_SAID["pairs"], "rear": ("e", "f")}
    assert [other.moved for other in examine(TWINS.survey(measured, **told)).others] == [(4, 5)]
    # From the front edge to a: now c and d would lie beyond that edge.
    assert examine(TWINS.survey([*measured, ("front", "a")], **told)).others == ()


def test_sides_that_the_distances_contradict_are_named():
    found = examine(EIGHT.survey(every_pair(EIGHT.names), **{**EIGHT_SAID, "right": ("e",)}))
    finding = said(found, "sides")
    assert finding.message.startswith("e is named under right, but lies")
    swapped = {**TWINS_SAID, "pairs": (("a", "b"), ("d", "c"), ("e", "f"))}
    found = examine(TWINS.survey(every_pair(TWINS.names), **swapped))
    assert said(found, "sides").message == '["d", "c"] under pairs has the right hole first'


# -- warnings -------------------------------------------------------------------------------------


def test_readings_that_nothing_checks_are_listed_with_what_would_check_them():
    found = examine(EIGHT.survey([*every_pair("abcdefg"), ("g", "h"), ("f", "h")],
                                 **{**EIGHT_SAID, "rear": ("h",)}))  # fmt: skip
    [warning] = [each for each in warnings(found) if each.code == "survey.unchecked"]
    assert "f to h" in warning.message
    assert "g to h" in warning.message
    assert "a to b" not in warning.message
    [best] = advised(warning.hint)
    assert "h" in best


def test_a_full_set_has_no_fault_and_no_warning():
    found = examine(noisy(EIGHT.survey(every_pair(EIGHT.names), **EIGHT_SAID),
                          np.random.default_rng(3)))  # fmt: skip
    assert refusals(found, 0.3) == ()
    assert [one.code for one in warnings(found)] == ["survey.one-tool"]

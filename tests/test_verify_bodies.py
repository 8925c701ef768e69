"""A body's pads, windows, pockets and channels, and openings of any form, by its written mesh."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import mutations_standing as standing
import pytest
from mutation import Mutation

from jiggen.errors import InputError
from jiggen.outcome import Fault
from jiggen.tables import nuts
from jiggen.verify.bodies import judge_bodies
from jiggen.verify.evidence import Evidence
from jiggen.verify.gauges import judge_gauges
from jiggen.verify.parts import load_mesh
from jiggen.verify.reading.manifest import read_manifest
from jiggen.verify.results import Ledger


def judged(folder: Path, judge: Callable[[Evidence, Ledger], None]) -> list[Fault]:
    """What one check says of a folder's meshes, whatever else is wrong there."""
    manifest, ledger = read_manifest(folder), Ledger()
    loaded = {part.name: load_mesh(folder, part, manifest, Ledger()) for part in manifest.parts}
    meshes = {name: mesh for name, mesh in loaded.items() if mesh is not None}
    judge(Evidence(folder, manifest, meshes, {}), ledger)
    assert ledger.checks
    return ledger.faults


def judge_both(evidence: Evidence, ledger: Ledger) -> None:
    """Each body against its plan, and gauges in their places."""
    judge_bodies(evidence, ledger)
    judge_gauges(evidence, ledger)


@pytest.mark.parametrize(
    "mutation",
    [one for one in (*standing.STL, *standing.RECORD) if one.product == "jig"],
    ids=lambda one: one.name,
)
def test_each_change_of_a_body_is_named(mutation: Mutation, folder):
    mutation.apply(folder)
    found = judged(folder, judge_both)
    assert {fault.code for fault in found} & set(mutation.caught_by), found


def test_a_fault_says_where_and_how_much(folder):
    standing.boolean(
        folder, "body-toe", standing.block((60, 62), (27, 29), (-0.3, 0.3)), "fill", False
    )
    (fault,) = judged(folder, judge_bodies)
    assert fault.subject == "body-toe"
    assert "2.00 x 2.00 x 0.28 mm of plastic too much about (61.00, 28.00, -0.16)" in fault.message


def test_a_good_jig_is_as_planned(built):
    assert judged(built.folder, judge_both) == []


def test_a_bush_that_stops_short_is_told_with_heights(folder):
    narrow = standing.ring(155.3, 17.3, (7.0, 8.0), 6.5, 8.0)
    standing.boolean(folder, "body-toe", narrow, "fill", False)
    (fault,) = [one for one in judged(folder, judge_gauges) if one.code == "verify.bush"]
    assert fault.subject == "toe-1"
    assert "a bush of 7 mm + 0.1 mm does not go in" in fault.message
    assert "about (155.30, 17.30), z = 7.00 to 8.00" in fault.message


def test_the_least_nut_of_the_table_is_h13():
    for row in nuts():
        tolerance = {3: 0.18, 6: 0.22, 10: 0.27}  # IT13 in mm, over so many mm (from memory)
        wide = tolerance[max(size for size in tolerance if size < row.across_flats)]
        assert row.across_flats - row.least_flats == pytest.approx(wide)


def test_an_outline_that_crosses_itself_is_no_plan(folder):
    crossing = [[0, 0], [50, 20], [50, 0], [0, 20]]
    standing.edit_manifest(folder, lambda data: data["bodies"][0].update(outline=[crossing]))
    assert "verify.outline" in {fault.code for fault in judged(folder, judge_bodies)}


@pytest.mark.parametrize("bad", [{"towards": [0, 0, 0]}, {"flat": [0, 0, 1]}, {"lay": [0, 0, 2]}])
def test_a_fastener_without_a_true_direction_is_refused(bad, folder):
    standing.edit_manifest(folder, lambda data: data["fasteners"][0].update(bad))
    with pytest.raises(InputError, match=r"direction|flat"):
        read_manifest(folder)

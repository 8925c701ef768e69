"""The skis that a jig's parts serve: reckoned from the design, and found in the written files."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import trimesh

from jiggen.accuracy.centring import Loading, bend
from jiggen.accuracy.reach import find_reach, too_deep
from jiggen.accuracy.sweep import sweep_stations
from jiggen.design import Settings, SkiRange, design_jig
from jiggen.tables import material
from jiggen.verify.evidence import Evidence
from jiggen.verify.reach import judge_reach
from jiggen.verify.reading.manifest import read_manifest
from jiggen.verify.reading.mesh import Mesh, read_stl
from jiggen.verify.results import Ledger


def test_two_halves_serve_skis_of_62_mm_and_the_rails_stop_below_when_pressed(club_layout):
    jig = design_jig(club_layout, Settings(SkiRange(62, 70)))
    assert len(jig.bodies) == 2
    found = find_reach(jig)
    # By hand: legs whose faces stand 2 mm behind their noses, 1 mm beside the body on a 62 mm
    # ski, touch it on a 60 mm one; pressed by 20 N a rail gives way, so that on skis twice as
    # much wider they touch it still.
    assert found.stop == pytest.approx(60.0)
    least = material("PETG").modulus.low
    give = bend(jig.mechanism.rail, jig.half_width, found.least, Loading(modulus=least))
    assert found.least == pytest.approx(60.0 + 2 * give, abs=1e-6)
    assert (found.by, found.findings) == ("body", ())
    assert 61.0 < found.least < 61.5 and found.most > 80.0


def test_a_range_is_refused_where_pressed_rails_stop_before_its_narrowest_ski(club_layout):
    deep = Settings(SkiRange(62, 70), rail_depth=20.0)
    (finding,) = find_reach(design_jig(club_layout, deep)).findings
    assert finding.code == "accuracy.reach" and "62 mm were asked for" in finding.message
    assert find_reach(design_jig(club_layout, replace(deep, material="PLA"))).findings == ()


@pytest.mark.parametrize("skis", [SkiRange(62, 70), SkiRange(70, 130), SkiRange(84, 112)])
def test_the_parts_pass_one_another_at_both_ends_of_what_they_serve(club_layout, skis):
    jig = design_jig(club_layout, Settings(skis))
    found = find_reach(jig)
    # Ranges about one middle, by which the pinion's teeth are set.
    for width in (found.least + 1e-3, found.most - 1e-3):
        off = abs(width - skis.middle)
        ends = SkiRange(skis.middle - off, skis.middle + off)
        at = replace(jig, settings=replace(jig.settings, ski=ends))
        swept = sweep_stations(at, step=2 * off)
        mine = [pair for pair in swept.pairs if width in pair.failing]
        assert mine == [], (width, mine)
    assert found.by == {62: "body", 70: "rack", 84: "teeth"}[int(skis.least)]


def test_rails_that_meet_the_steel_edge_are_warned_of():
    settings = Settings(SkiRange(84, 112), rail_depth=12.0)
    (finding,) = too_deep(settings, (16.0, 14.0))
    assert finding.code == "accuracy.rail-depth" and "up to 11 mm" in finding.hint
    assert too_deep(replace(settings, rail_depth=11.0), (16.0, 14.0)) == ()
    assert too_deep(settings, ()) == ()


@pytest.fixture(scope="module")
def files(built):
    """The manifest of a built jig, and its parts' meshes."""
    manifest = read_manifest(built.folder)
    return manifest, {part.name: read_stl(built.folder / part.file) for part in manifest.parts}


def codes(manifest, meshes):
    ledger = Ledger()
    judge_reach(Evidence(Path(), manifest, meshes, {}), ledger)
    return {fault.code for fault in ledger.faults}, ledger


def stated(manifest, **change):
    reach = manifest.reach.model_copy(update=change)
    moving = manifest.accuracy.moving.model_copy(update={"reach": reach})
    accuracy = manifest.accuracy.model_copy(update={"moving": moving})
    return manifest.model_copy(update={"accuracy": accuracy})


def test_the_stated_reach_is_found_in_the_written_files(files):
    manifest, meshes = files
    found, ledger = codes(manifest, meshes)
    assert found == set()
    assert ledger.checks == 4 * 6  # of each rail


def test_a_reach_stated_wrongly_is_a_fault(files):
    manifest, meshes = files
    known = manifest.reach
    for change, code in (
        ({"stop": known.stop + 0.2}, "verify.stop"),
        ({"stop": known.stop - 0.2}, "verify.stop"),
        ({"least": known.stop - 0.2}, "verify.reach"),
        ({"least": known.least - 15.0}, "verify.reach"),
        ({"most": known.most + 15.0}, "verify.reach"),
        ({"most": manifest.inputs.ski.most - 1.0}, "verify.reach"),
    ):
        found, _ = codes(stated(manifest, **change), meshes)
        assert code in found, change
    found, _ = codes(manifest.model_copy(update={"accuracy": None}), meshes)
    assert found == {"verify.reach"}


def _moved(mesh, where, by):
    vertices = mesh.vertices.copy()
    vertices[where(vertices)] += by
    return Mesh(vertices, mesh.triangles)


def _filled(mesh, low, high):
    block = trimesh.creation.box(bounds=np.array([low, high]))
    whole = trimesh.Trimesh(mesh.vertices, mesh.triangles)
    made = trimesh.boolean.union([whole, block], engine="manifold")
    return Mesh(np.asarray(made.vertices), np.asarray(made.faces))


def test_files_that_no_longer_reach_so_far_are_a_fault(files):
    manifest, meshes = files
    rail = meshes["rail"]
    low, high = rail.vertices.min(axis=0), rail.vertices.max(axis=0)
    # As it lies on the bed the leg is at low y, the rack goes away from it; 24 mm of 42 mm of
    # teeth are filled from the far end on.
    blocked = _filled(rail, (high[0] - 8.0, high[1] - 24.0, 0.0), (high[0], high[1], high[2] / 3))

    def face(points):  # the upper edge of the leg's inner face, 8 mm from its outer one
        return (np.abs(points[:, 1] - low[1] - 8.0) < 0.3) & (points[:, 2] < 5.0)

    def edge(points):  # of the body, along one side
        return points[:, 1] < 0.01

    for name, harmed, code in (
        ("rail", blocked, "verify.reach"),
        ("rail", _moved(rail, face, (0.0, 0.3, 0.0)), "verify.stop"),
        ("body-toe", _moved(meshes["body-toe"], edge, (0.0, -0.2, 0.0)), "verify.stop"),
    ):
        found, _ = codes(manifest, {**meshes, name: harmed})
        assert code in found, (name, code)

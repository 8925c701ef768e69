"""A general slicer takes every part as it is; where none is installed this is skipped.

Judged by its report on each mesh, not by its exit code: that is 0 for broken meshes as well.
"""

from __future__ import annotations

import shutil
import subprocess

import faults
import numpy as np
import pytest
from sharing import built_once
from test_ladders import build

from jiggen.pipeline.products import build_jig
from jiggen.verify.toolpath import check_toolpaths

SLICER = shutil.which("prusa-slicer")  # Debian's archive; its report tells what it repaired
pytestmark = pytest.mark.skipif(SLICER is None, reason="no slicer installed")
LAYER, COARSE = 0.2, 0.4  # mm: as advised; in half as many layers, where heights do not matter
WIDTH = 0.45  # mm of a wall's line
COMPLAINTS = ("repair", "error", "warning", "support")
REPAIRED = ("open_edges", "facets_reversed", "facets_removed", "edges_fixed", "backwards_edges")


def report(path):
    """The slicer's report on a mesh: lines ``name = value``."""
    told = subprocess.run([SLICER, "--info", path], capture_output=True, text=True, check=True)
    lines = (line.split(" = ") for line in told.stdout.splitlines() if " = " in line)
    return {name.strip(): value.strip() for name, value in lines}


def is_sound(told, facets):
    return (
        told["manifold"] == "yes"
        and int(told["number_of_parts"]) == 1
        and int(told["number_of_facets"]) == facets
        and not set(told) & set(REPAIRED)
        and not any("repair" in name or "degenerate" in name for name in told)
    )


def test_every_part_is_sound_to_the_slicer(built):
    for part in built.record.values()["parts"]:
        path = built.folder / part["file"]
        corners = faults.read_facets(path)
        told = report(path)
        assert is_sound(told, len(corners)), told
        size = [float(told[f"size_{axis}"]) for axis in "xyz"]
        assert size == pytest.approx(np.ptp(corners.reshape(-1, 3), axis=0), abs=1e-3)
        assert float(told["volume"]) == pytest.approx(part["volume"], rel=0.005)


def test_the_report_tells_a_broken_part(folder):
    faults.open_mesh(folder, "knob")
    path = folder / "parts/knob.stl"
    assert not is_sound(report(path), len(faults.read_facets(path)))
    corners = faults.read_facets(folder / "parts/rail.stl")
    faults.write_facets(folder / "parts/rail.stl", corners[:, ::-1])
    assert not is_sound(report(folder / "parts/rail.stl"), len(corners))


def slice_outlines(model, printed, layer=0.2):
    """What the slicer says while it writes a model's outlines into `printed`.

    The outlines alone: what fills them takes most of the time, and has no say in any of this.
    """
    done = subprocess.run(
        [
            *(SLICER, "--export-gcode", "--dont-arrange", "--nozzle-diameter", "0.4"),
            *("--layer-height", f"{layer}", "--first-layer-height", f"{layer}"),
            *("--seam-position", "rear", "--perimeters", "1", "--fill-density", "0"),
            *("--top-solid-layers", "0", "--bottom-solid-layers", "0", "--skirts", "0"),
            *("--external-perimeter-extrusion-width", f"{WIDTH}", "--gcode-label-objects"),
            *("--bed-shape", "0x0,220x0,220x220,0x220", "--output", printed, model),
        ],
        capture_output=True,
        text=True,
    )
    return (done.stdout + done.stderr).lower()


@pytest.fixture(scope="session")
def ladders(tmp_path_factory):
    """The jig for many boots that other tests build."""
    return built_once(
        tmp_path_factory, "ladders", lambda target: build("club-piste", target, by=build_jig)
    )


@pytest.fixture(scope="session")
def sliced(built, tmp_path_factory):
    """What the slicer said of a part's file or a bed's, and what it wrote: once each."""

    def make(name):
        def run(folder):
            folder.mkdir()
            bed = name.endswith(".3mf")
            model = built.folder / (name if bed else f"parts/{name}.stl")
            said = slice_outlines(model, folder / "printed.gcode", COARSE if bed else LAYER)
            return said, folder / "printed.gcode"

        return built_once(tmp_path_factory, f"sliced-{name}", run)

    return make


@pytest.mark.parametrize("part", ["body-toe", "body-heel", "rail", "pinion", "knob"])
def test_every_part_is_sliced_without_a_word_of_repair(built, sliced, part):
    said, printed = sliced(part)
    assert not any(word in said for word in COMPLAINTS), said
    layers = printed.read_text().count(";LAYER_CHANGE")
    corners = faults.read_facets(built.folder / f"parts/{part}.stl")
    assert layers == pytest.approx(corners[..., 2].max() / LAYER, abs=0.01)


@pytest.mark.parametrize("part", ["body-toe", "body-heel"])
def test_a_half_for_many_boots_is_taken_as_well(ladders, tmp_path, part):
    """Its tongue is flared, its windows are not: coarse layers show as much of a complaint."""
    model = ladders.folder / f"parts/{part}.stl"
    assert is_sound(report(model), len(faults.read_facets(model)))
    said = slice_outlines(model, tmp_path / "printed.gcode", COARSE)
    assert not any(word in said for word in COMPLAINTS), said


def checked(folder, *files):
    """The check of what was sliced; how it is filled is left out, and so are those faults."""
    check = check_toolpaths(folder, files)
    filled = {"verify.gcode-walls", "verify.gcode-skins", "verify.gcode-infill"}
    filled |= {"verify.gcode-layer", "verify.gcode-material"}
    return check, {fault.code for fault in check.faults} - filled


@pytest.mark.parametrize("part", ["body-toe", "body-heel"])
def test_the_toolpath_has_every_hole_where_the_record_has_it(built, sliced, part):
    check, faults = checked(built.folder, sliced(part)[1])
    assert not faults
    (file,) = check.files
    wanted = {guide["id"] for guide in built.record.values()["guides"] if guide["part"] == part}
    assert {hole.id for hole in file.holes} == wanted
    assert max(hole.deviation for hole in file.holes) < 0.01
    # From below the lead-in of 0.5 mm, layer for layer, to the seat: the bush goes so deep.
    assert {hole.layers for hole in file.holes} == {57}


def test_a_bed_is_sliced_as_it_is_laid(built, sliced):
    """The 3MF with its metadata: loaded without a word, its pieces where the record lays them."""
    for bed in built.record.beds:
        said, printed = sliced(bed.file)
        assert not any(word in said for word in (*COMPLAINTS, "metadata")), said
        check, faults = checked(built.folder, printed)
        assert not faults
        (file,) = check.files
        # A bed with one piece is sliced as that part is.
        assert file.holds == (bed.file if len(bed.pieces) > 1 else bed.pieces[0].part)
        assert all(hole.deviation < 0.01 for hole in file.holes)


def test_a_moved_hole_is_seen_in_the_toolpath(folder, tmp_path):
    """What the reader finds is what is printed, not what was meant."""
    faults.move_hole(folder, "toe-3", 0.05)
    slice_outlines(folder / "parts/body-toe.stl", tmp_path / "moved.gcode", COARSE)
    check, found = checked(folder, tmp_path / "moved.gcode")
    assert "verify.gcode-hole" in found
    off = {hole.id: hole.deviation for hole in check.files[0].holes}
    assert off["toe-3"] == pytest.approx(0.05, abs=0.005)
    assert max(by for name, by in off.items() if name != "toe-3") < 0.01

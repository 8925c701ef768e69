"""A general slicer takes every part as it is; where none is installed this is skipped.

Judged by its report on each mesh, not by its exit code: that is 0 for broken meshes as well.
"""

from __future__ import annotations

import shutil
import subprocess

import faults
import numpy as np
import pytest

SLICER = shutil.which("prusa-slicer")  # Debian's archive; its report tells what it repaired
pytestmark = pytest.mark.skipif(SLICER is None, reason="no slicer installed")
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


@pytest.mark.parametrize("part", ["body-toe", "body-heel", "rail", "pinion", "knob"])
def test_every_part_is_sliced_without_a_word_of_repair(built, part, tmp_path):
    printed = tmp_path / "part.gcode"
    done = subprocess.run(
        [
            *(SLICER, "--export-gcode", "--nozzle-diameter", "0.4"),
            *("--layer-height", "0.2", "--first-layer-height", "0.2", "--seam-position", "rear"),
            # Its outlines alone: what fills them takes most of the time, and has no say in this.
            *("--perimeters", "1", "--fill-density", "0"),
            *("--top-solid-layers", "0", "--bottom-solid-layers", "0"),
            *("--bed-shape", "0x0,220x0,220x220,0x220", "--center", "110,110"),
            *("--output", printed, built.folder / f"parts/{part}.stl"),
        ],
        capture_output=True,
        text=True,
    )
    said = (done.stdout + done.stderr).lower()
    assert not any(word in said for word in ("repair", "error", "warning", "support")), said
    layers = printed.read_text().count(";LAYER_CHANGE")
    corners = faults.read_facets(built.folder / f"parts/{part}.stl")
    assert layers == pytest.approx(corners[..., 2].max() / 0.2, abs=1.01)

"""The main job, end to end: every shipped pattern verified, every seeded fault found."""

import json
import subprocess
import sys
from dataclasses import replace

import faults
import numpy as np
import pytest

from jiggen.design import Bed, Settings, SkiRange, design
from jiggen.drilling import SkiState
from jiggen.errors import CheckFailed
from jiggen.layout import layout
from jiggen.pattern import read_pattern, shipped_patterns
from jiggen.report.job import build_jig
from jiggen.verify import check, verify_folder

PATTERNS = {path.stem: path for path in shipped_patterns()}


@pytest.mark.parametrize("bed", [220.0, 400.0])
@pytest.mark.parametrize("ski", [(84.0, 112.0), (70.0, 130.0)])
@pytest.mark.parametrize("boot", [265.0, 305.0, 345.0])
@pytest.mark.parametrize("name", sorted(PATTERNS))
def test_every_shipped_pattern_is_verified_and_fits_the_bed(name, boot, ski, bed, tmp_path):
    pattern = read_pattern(PATTERNS[name])
    side = "right" if pattern.pair == "mirrored" else "left"
    core = "metal" if boot == 305.0 else "plain"
    settings = Settings(ski=SkiRange(*ski), bed=Bed(bed, bed, 250.0))
    done = build_jig(layout(pattern, boot, core=core, side=side), settings, tmp_path / "jig")
    assert done.verification.passed
    assert done.folder == tmp_path / "jig"
    for part in done.manifest["parts"]:
        corners = faults.read_facets(done.folder / part["file"])
        assert np.ptp(corners.reshape(-1, 3), axis=0) == pytest.approx(
            np.ptp(corners.reshape(-1, 3), axis=0).clip(max=(bed, bed, 250.0))
        )
    # Without supports: nothing in the air, no bridge too long, on the printer's bed.
    assert done.manifest["printing"]["parts"].keys() == {p["name"] for p in done.manifest["parts"]}
    for part in done.manifest["printing"]["parts"].values():
        checks = part["checks"]
        assert checks["overhang"]["found"] == 0.0
        assert checks["bridge"]["found"] <= 15.0
        assert checks["wall"]["found"] >= 0.8
    # The verification's own words: each hole found in both files.
    for hole in done.verification.as_dict()["holes"]:
        assert hole["step"] and hole["stl"]


def findings(verification, code):
    return [fault for fault in verification.faults if fault.code == code]


def only(verification, code):
    assert not verification.passed
    found = findings(verification, code)
    assert found, [fault.code for fault in verification.faults]
    return found


def test_a_good_folder_passes(folder):
    assert check(folder).passed


def test_a_hole_moved_by_a_tenth(folder):
    faults.move_hole(folder, "toe-1", 0.1)
    (fault,) = only(verify_folder(folder), "verify.moved")
    assert "toe-1" in str(fault)
    assert "0.100" in str(fault)


def test_a_hole_moved_in_the_step_file(folder):
    faults.move_hole_in_step(folder, "heel-2", 0.0, 0.1, np.eye(4))
    (fault,) = only(verify_folder(folder), "verify.moved")
    assert "heel-2" in str(fault) and "STEP" in str(fault)


def test_a_mirrored_part(folder):
    faults.mirror_part(folder, "body-toe", axis=1)
    assert any("body-toe" in str(fault) for fault in only(verify_folder(folder), "verify.mirrored"))


@pytest.mark.parametrize("factor", [25.4, 1.003])
def test_a_scaled_part(folder, factor):
    faults.scale_part(folder, "body-heel", factor)
    (fault, *_) = only(verify_folder(folder), "verify.scale")
    assert "body-heel" in str(fault) and f"{factor:g}" in str(fault)


def test_a_bore_two_tenths_too_small(folder):
    faults.shrink_bore(folder, "heel-3", 0.2)
    (fault,) = only(verify_folder(folder), "verify.diameter")
    assert "heel-3" in str(fault) and "6.900" in str(fault)


def test_a_filled_hole(folder):
    faults.fill_hole(folder, "toe-5")
    assert any("toe-5" in str(fault) for fault in only(verify_folder(folder), "verify.missing"))


def test_an_open_mesh(folder):
    faults.open_mesh(folder, "rail")
    assert any("rail" in str(fault) for fault in only(verify_folder(folder), "verify.open-mesh"))


def test_swapped_parts(folder):
    faults.swap_parts(folder, "body-toe", "body-heel")
    found = only(verify_folder(folder), "verify.swapped")
    assert any("body-toe" in str(fault) and "body-heel" in str(fault) for fault in found)


def test_the_page_stays_small_enough_to_send(built):
    assert (built.folder / "report.html").stat().st_size < 3_000_000


def test_a_changed_file_is_said(folder):
    faults.scale_part(folder, "knob", 1.0005, hashes=False)
    assert any("knob.stl" in str(fault) for fault in only(check(folder), "verify.hash"))


def test_jiggen_check_says_it_and_exits_with_1(folder):
    faults.move_hole(folder, "toe-1", 0.1)
    done = subprocess.run(
        [sys.executable, "-m", "jiggen", "check", str(folder)], capture_output=True, text=True
    )
    assert done.returncode == 1
    assert "toe-1" in done.stdout and "do not use" in done.stdout


def test_a_jig_that_fails_is_named_so(club_layout, tmp_path, monkeypatch):
    from jiggen.report import folder as verifying

    # The witness is shown a folder in which a hole was moved after it was written.
    def harmed(folder):
        faults.move_hole(folder, "toe-1", 0.1)
        return verify_folder(folder)

    monkeypatch.setattr(verifying, "verify_folder", harmed)
    done = build_jig(club_layout, Settings(ski=SkiRange(84, 112)), tmp_path / "jig")
    assert done.folder.name == "jig-failed"
    assert not (tmp_path / "jig").exists()
    assert (
        json.loads((done.folder / "manifest.json").read_text())["verification"]["passed"] is False
    )


def test_a_build_stops_before_it_writes_when_parts_would_touch(club_layout, tmp_path, monkeypatch):
    from jiggen.report import job

    def broken(holes, settings):
        made = design(holes, settings)
        station = replace(made.mechanism.station, roof_z=made.mechanism.rail.top_z - 0.5)
        return replace(made, mechanism=replace(made.mechanism, station=station))

    monkeypatch.setattr(job, "design", broken)
    with pytest.raises(CheckFailed) as caught:
        build_jig(club_layout, Settings(ski=SkiRange(84, 112)), tmp_path / "jig")
    assert any(
        "rail" in finding.message and "body" in finding.message for finding in caught.value.findings
    )
    assert list(tmp_path.iterdir()) == []


def test_a_ski_too_thin_stops_the_build_with_the_numbers(club_layout, tmp_path):
    with pytest.raises(CheckFailed, match=r"0\.72 mm of ski would be left under the point"):
        build_jig(
            club_layout,
            Settings(ski=SkiRange(84, 112)),
            tmp_path / "jig",
            state=SkiState(thickness=(11.0,)),
        )
    assert list(tmp_path.iterdir()) == []


def test_step_read_by_the_kernel_has_the_holes_where_the_layout_says(built, club_layout):
    """A second route: OpenCascade's own STEP reader, not our text reader."""
    import cadquery as cq

    shape = cq.importers.importStep(str(built.folder / "jig.step")).val()
    found = set()
    for face in shape.Faces():
        if face.geomType() == "CYLINDER":
            surface = face._geomAdaptor().Cylinder()
            axis = surface.Axis()
            if abs(surface.Radius() - 3.55) < 1e-6 and abs(abs(axis.Direction().Z()) - 1) < 1e-9:
                place = axis.Location()
                found.add((round(place.X(), 5), round(place.Y(), 5)))
    wanted = {(round(float(x), 5), round(float(y), 5)) for x, y in club_layout.positions}
    assert found == wanted

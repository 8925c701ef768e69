from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys

import faults
import numpy as np
import pytest
from verify_samples import (
    BODY_POSE,
    BORE,
    DRILL,
    HOLES,
    THROAT,
    good_sample,
    moved,
    read_facets,
    read_manifest_data,
    turned,
    write_facets,
)

from jiggen.verify import verify_folder

pytestmark = pytest.mark.usefixtures("nothing_engraved")


@pytest.fixture
def folder(tmp_path):
    copy = tmp_path / "jig"
    shutil.copytree(good_sample(), copy)
    return copy


def codes(verification):
    return {fault.code for fault in verification.faults}


def one(verification, code, subject, source=None):
    """The fault of that code about that subject; there must be just one."""
    found = [
        fault
        for fault in verification.of(code)
        if fault.subject == subject and source in (None, fault.source)
    ]
    assert len(found) == 1, [str(fault) for fault in verification.faults]
    assert not verification.passed
    return found[0]


def test_the_good_sample_passes_and_each_hole_is_measured_twice():
    verification = verify_folder(good_sample())
    assert verification.faults == ()
    assert verification.passed
    assert [hole.id for hole in verification.holes] == list(HOLES)
    for hole in verification.holes:
        for found in (hole.step, hole.stl):
            assert (found.x, found.y) == pytest.approx(HOLES[hole.id], abs=1e-4)
            assert (found.bore, found.throat) == pytest.approx((BORE, THROAT), abs=1e-3)
            assert found.tilt < 0.001
    assert verification.checks > 100


def test_the_verification_is_plain_data_and_the_same_each_time():
    first, second = (json.dumps(verify_folder(good_sample()).as_dict()) for _ in range(2))
    assert first == second
    data = json.loads(first)
    assert data["passed"] is True
    assert data["limits"]["position_stl"] == 0.02
    assert data["holes"][0]["wanted"] == {"x": 41.25, "y": 20.5, "bore": BORE, "throat": THROAT}


# --- holes ---------------------------------------------------------------------------------


def test_a_hole_moved_in_the_stl_is_named_with_its_distance(folder):
    faults.move_hole(folder, "toe-2", 0.08, -0.06)
    verification = verify_folder(folder)
    fault = one(verification, "verify.moved", "toe-2")
    assert fault.source == "STL"
    assert fault.found == pytest.approx(0.1, abs=0.002)
    assert fault.limit == 0.02
    assert "moved 0.100 mm (x +0.080, y -0.060)" in fault.message
    assert len(verification.of("verify.moved")) == 1


def test_a_hole_moved_in_the_step_is_named_with_its_distance(folder):
    faults.move_hole_in_step(folder, "heel-1", 0.0, 0.1, BODY_POSE)
    verification = verify_folder(folder)
    fault = one(verification, "verify.moved", "heel-1")
    assert fault.source == "STEP"
    assert fault.found == pytest.approx(0.1, abs=1e-6)
    assert fault.limit == 0.01
    assert len(verification.of("verify.moved")) == 1
    assert codes(verification) == {
        "verify.moved",
        "verify.shape",
    }  # and so it is not the STL's shape


@pytest.mark.parametrize(("dx", "passes"), [(0.018, True), (0.022, False)])
def test_the_limit_of_a_position_in_the_stl_is_two_hundredths(folder, dx, passes):
    faults.move_hole(folder, "toe-1", dx)
    assert bool(verify_folder(folder).of("verify.moved")) is not passes


def test_a_hole_moved_far_is_missing_and_what_is_there_is_extra(folder):
    faults.move_hole(folder, "toe-1", -8.0)
    verification = verify_folder(folder)
    assert "the nearest is 8.00 mm away" in one(verification, "verify.missing", "toe-1").message
    assert one(verification, "verify.extra", "body", "STL").found == pytest.approx(BORE, abs=0.01)


def test_a_leaning_bore_is_named_with_its_angle(folder):
    faults.move_hole(folder, "toe-1", -0.03, lean=np.tan(np.radians(0.25)))
    fault = one(verify_folder(folder), "verify.tilt", "toe-1")
    assert fault.found == pytest.approx(0.25, abs=0.002)
    assert fault.limit == 0.1


def test_a_bore_too_small_is_named_with_its_diameter(folder):
    faults.shrink_bore(folder, "heel-1", 0.2)
    verification = verify_folder(folder)
    fault = one(verification, "verify.diameter", "heel-1")
    assert fault.found == pytest.approx(BORE - 0.2, abs=1e-3)
    assert fault.wanted == BORE
    assert "-0.200 mm" in fault.message
    # and the lead-in that still ends at the old bore leans by 50° (0.6 mm over 0.5 mm)
    others = {"verify.shape", "verify.other-mesh", "verify.print-overhang"}
    assert codes(verification) == {"verify.diameter"} | others


def test_bores_too_small_in_the_step_are_named(folder):
    faults.shrink_bores_in_step(folder, "body", BORE, 0.2)
    verification = verify_folder(folder)
    for hole in HOLES:
        fault = one(verification, "verify.diameter", hole)
        assert (fault.source, fault.found) == ("STEP", pytest.approx(BORE - 0.2))


def test_a_filled_hole_is_missing_and_blocked(folder):
    faults.fill_hole(folder, "toe-1")
    verification = verify_folder(folder)
    one(verification, "verify.missing", "toe-1", "STL")
    assert one(verification, "verify.blocked", "toe-1").found == 0.0
    assert "verify.missing" not in {
        fault.code for fault in verification.faults if fault.source == "STEP"
    }


def test_a_skin_across_a_bore_blocks_it(folder):
    faults.fill_hole(folder, "toe-2", (7.0, 7.4))
    verification = verify_folder(folder)
    assert one(verification, "verify.blocked", "toe-2").wanted == DRILL
    assert verification.of("verify.missing") == ()


def test_a_bore_out_of_round_is_named(folder):
    def oval(points):
        x, y = HOLES["toe-1"]
        near = np.hypot(points[:, 0] - x, points[:, 1] - y) < BORE / 2 + 0.1
        points = points.copy()
        points[near, 0] = x + (points[near, 0] - x) * 1.02
        return points

    faults.edit_mesh(folder, "body", oval)
    fault = one(verify_folder(folder), "verify.round", "toe-1")
    assert fault.found == pytest.approx(0.01 * BORE / 2, rel=0.1)


def test_a_coarse_bore_is_named(folder):
    from verify_samples import SAGITTA, body_in_ski_frame, location

    to_bed = np.linalg.inv(np.array(read_manifest_data(folder)["parts"][0]["to_ski"]))
    flat = body_in_ski_frame().moved(location(to_bed))
    flat.exportStl(str(folder / "parts/body.stl"), 5 * SAGITTA, 1.0, relative=False)
    fault = one(verify_folder(folder), "verify.coarse", "toe-1")
    assert 0.006 < fault.found < 5 * SAGITTA + 0.001


def test_an_extra_hole_is_named_with_its_place(folder):
    faults.drill_extra(folder, "body", -20.0, 3.0, 4.1)
    fault = one(verify_folder(folder), "verify.extra", "body")
    assert fault.source == "STL"
    assert fault.found == pytest.approx(4.1, abs=0.01)
    assert "(-20.000, 3.000)" in fault.message


def test_holes_that_the_layout_lacks_are_extra_in_both_formats(folder):
    def forget(manifest):
        for key in ("holes", "guides"):
            manifest[key] = [entry for entry in manifest[key] if entry["id"] != "toe-2"]
        manifest["openings"] = []

    faults.edit_manifest(folder, forget)
    extra = verify_folder(folder).of("verify.extra")
    assert sorted((fault.source, round(fault.found)) for fault in extra) == [
        ("STEP", 8),
        ("STEP", 12),
        ("STL", 8),
        ("STL", 12),
    ]


def test_an_opening_wider_than_allowed_is_extra(folder):
    faults.edit_manifest(folder, lambda data: data["openings"][0].update(diameter=11.0))
    assert {fault.source for fault in verify_folder(folder).of("verify.extra")} == {"STEP", "STL"}


def test_a_hole_that_was_never_made_is_missing_in_both_formats(folder):
    def add(manifest):
        for key in ("holes", "guides"):
            manifest[key].append({**manifest[key][0], "id": "toe-9"})
        manifest["holes"][-1].update(x=20.0, y=20.0)

    faults.edit_manifest(folder, add)
    verification = verify_folder(folder)
    assert {fault.source for fault in verification.of("verify.missing")} == {"STEP", "STL"}
    assert verification.holes[-1].deviation is None


def test_a_guide_narrower_than_its_drill_is_named(folder):
    faults.edit_manifest(folder, lambda data: data["holes"][0].update(diameter=5.5))
    fault = one(verify_folder(folder), "verify.narrow", "toe-1")
    assert (fault.found, fault.wanted) == (THROAT, 5.5)


# --- parts ---------------------------------------------------------------------------------


@pytest.mark.parametrize(  # the rail is its own mirror image top to bottom
    ("part", "axis"), [("body", 0), ("body", 1), ("body", 2), ("rail", 0), ("rail", 1)]
)
def test_a_mirrored_part_is_named(folder, part, axis):
    faults.mirror_part(folder, part, axis)
    fault = one(verify_folder(folder), "verify.mirrored", part)
    assert fault.source == f"parts/{part}.stl"


@pytest.mark.parametrize("part", ["body", "rail"])
@pytest.mark.parametrize("factor", [25.4, 1 / 25.4, 1.003, 0.997])
def test_a_scaled_part_is_named_with_its_factor(folder, part, factor):
    faults.scale_part(folder, part, factor)
    verification = verify_folder(folder)
    fault = one(verification, "verify.scale", part)
    assert fault.found == pytest.approx(factor, rel=2e-4)
    assert f"{factor:.4g}"[:4] in fault.message
    one(verification, "verify.volume", part)


def test_swapped_parts_are_both_named(folder):
    faults.swap_parts(folder, "body", "rail")
    verification = verify_folder(folder)
    assert "'rail'" in one(verification, "verify.swapped", "body").message
    assert "'body'" in one(verification, "verify.swapped", "rail").message


def test_an_open_mesh_is_named(folder):
    faults.open_mesh(folder, "rail")
    verification = verify_folder(folder)
    assert one(verification, "verify.open-mesh", "rail").found == 3


def test_a_mesh_inside_out_is_named_and_still_measured(folder):
    path = folder / "parts/body.stl"
    write_facets(path, read_facets(path)[:, ::-1])
    verification = verify_folder(folder)
    assert "inside out" in one(verification, "verify.winding", "body").message
    assert all(hole.stl is not None for hole in verification.holes)


def test_one_facet_turned_is_named(folder):
    path = folder / "parts/rail.stl"
    corners = read_facets(path)
    corners[0] = corners[0, ::-1]
    write_facets(path, corners)
    one(verify_folder(folder), "verify.winding", "rail")


def test_a_second_body_in_a_mesh_is_named(folder):
    path = folder / "parts/rail.stl"
    corners = read_facets(path)
    write_facets(path, np.concatenate([corners, corners + np.array([0, 100, 0])]))
    assert one(verify_folder(folder), "verify.bodies", "rail").found == 2


def test_a_part_off_the_bed_is_named(folder):
    path = folder / "parts/rail.stl"
    write_facets(path, read_facets(path) + np.array([0, 0, 0.5]))
    assert one(verify_folder(folder), "verify.base", "rail").found == pytest.approx(0.5)


def test_another_volume_in_the_manifest_is_named(folder):
    faults.edit_manifest(folder, lambda data: data["parts"][1].update(volume=2000.0))
    assert one(verify_folder(folder), "verify.volume", "rail").wanted == 2000.0


@pytest.mark.parametrize(
    ("matrix", "why"),
    [
        (np.diag((-1.0, 1.0, 1.0, 1.0)), "mirrors"),
        (np.diag((1.003, 1.003, 1.003, 1.0)), "scales"),
        (np.diag((25.4, 25.4, 25.4, 1.0)), "scales"),
        (np.eye(4) + 1e-6 * np.eye(4, k=1), "scales or shears"),
    ],
)
def test_a_matrix_that_is_no_rigid_motion_is_named(folder, matrix, why):
    faults.set_to_ski(folder, "body", lambda to_ski: matrix @ to_ski)
    verification = verify_folder(folder)
    assert why in one(verification, "verify.not-rigid", "body").message


def test_a_rigid_but_wrong_place_moves_every_hole(folder):
    faults.set_to_ski(folder, "body", lambda to_ski: moved(0.0, 0.3) @ to_ski)
    verification = verify_folder(folder)
    assert [fault.subject for fault in verification.of("verify.moved")] == list(HOLES)
    assert all(
        fault.found == pytest.approx(0.3, abs=1e-3) for fault in verification.of("verify.moved")
    )


def test_a_piece_placed_elsewhere_than_in_the_step_is_named(folder):
    def shift(manifest):
        placed = manifest["parts"][1]["placed"][1]
        placed["to_ski"] = (moved(0.0, 0.0, 0.2) @ np.array(placed["to_ski"])).tolist()

    faults.edit_manifest(folder, shift)
    fault = one(verify_folder(folder), "verify.shape", "rail right")
    assert fault.found == pytest.approx(0.2, abs=1e-3)


# --- files ---------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["jig.step", "bed-1.3mf", "parts/body.stl"])
@pytest.mark.parametrize("how", ["missing", "cut", "empty", "noise", "folder"])
def test_a_broken_file_is_a_fault_not_a_traceback(folder, name, how):
    path = folder / name
    data = path.read_bytes()
    if how == "cut":
        path.write_bytes(data[: len(data) * 2 // 3])
    elif how == "empty":
        path.write_bytes(b"")
    elif how == "noise":
        path.write_bytes(np.random.default_rng(1).bytes(5000))
    else:
        path.unlink()
        if how == "folder":
            path.mkdir()
    verification = verify_folder(folder)
    code = "verify.file-missing" if how == "missing" else "verify.unreadable"
    one(verification, code, path.name, name)


def test_another_unit_in_the_3mf_is_named_with_its_size(folder):
    faults.set_3mf_unit(folder, "inch")
    fault = one(verify_folder(folder), "verify.unit", "bed-1.3mf")
    assert fault.found == 25.4
    faults.set_3mf_unit(folder, "furlong")
    assert "furlong" in one(verify_folder(folder), "verify.unit", "bed-1.3mf").message


def test_another_unit_in_the_step_is_named_with_its_size(folder):
    faults.edit_text(folder, "jig.step", lambda text: text.replace(".MILLI.,", ".CENTI.,"))
    verification = verify_folder(folder)
    assert one(verification, "verify.unit", "jig.step").found == pytest.approx(10.0)
    assert len(verification.of("verify.missing")) == 3


def test_pieces_missing_renamed_or_exchanged_in_the_step_are_named(folder):
    def rename(text):
        return text.replace("'rail right'", "'rail wrong'")

    faults.edit_text(folder, "jig.step", rename)
    verification = verify_folder(folder)
    one(verification, "verify.piece-missing", "rail right")
    one(verification, "verify.piece-extra", "rail wrong")


def test_another_product_under_a_pieces_name_is_named(folder):
    faults.edit_text(
        folder, "jig.step", lambda text: text.replace("PRODUCT('rail','rail'", "PRODUCT('x','x'")
    )
    found = verify_folder(folder).of("verify.swapped")
    assert {fault.subject for fault in found} == {"rail left", "rail right"}


def test_the_3mf_must_hold_the_meshes_of_the_stl_files(folder):
    faults.edit_3mf(folder, lambda text: text.replace('name="rail"', 'name="spare"'))
    verification = verify_folder(folder)
    one(verification, "verify.piece-missing", "rail", "bed-1.3mf")
    one(verification, "verify.piece-extra", "spare", "bed-1.3mf")
    assert {fault.subject for fault in verification.of("verify.swapped")} == {
        "rail left",
        "rail right",
    }


def test_a_vertex_moved_in_the_3mf_is_named(folder):
    def move(text):
        head, vertex, tail = text.partition('<vertex x="')
        return head + vertex + "9" + tail

    faults.edit_3mf(folder, move)
    one(verify_folder(folder), "verify.other-mesh", "body")


def test_a_piece_that_is_on_no_bed_is_named(folder):
    def drop(text):
        return text[: text.rindex("<item")] + "</build></model>"

    faults.edit_3mf(folder, drop)
    fault = one(verify_folder(folder), "verify.piece-missing", "rail right", "manifest.json")
    assert (fault.found, fault.wanted) == (0, 1)


def test_a_piece_that_is_on_the_bed_twice_is_named(folder):
    def again(text):
        item = text[text.rindex("<item") : text.rindex("</build>")]
        far = re.sub(r"0 0 0 1 \S+ \S+ 0", "0 0 0 1 5 150 0", item)
        return text.replace("</build>", far + "</build>")

    faults.edit_3mf(folder, again)
    fault = one(verify_folder(folder), "verify.count", "rail right", "manifest.json")
    assert (fault.found, fault.wanted) == (2, 1)


def test_a_piece_that_is_on_two_beds_is_named(folder):
    shutil.copy(folder / "bed-1.3mf", folder / "bed-2.3mf")
    faults.edit_manifest(
        folder, lambda data: data["beds"].append(data["beds"][0] | {"file": "bed-2.3mf"})
    )
    verification = verify_folder(folder)
    assert {fault.subject for fault in verification.of("verify.count")} == {
        "body",
        "rail left",
        "rail right",
    }


def test_a_piece_that_nobody_asked_for_is_named(folder):
    faults.edit_3mf(folder, lambda text: text.replace("rail right", "rail wrong"))
    verification = verify_folder(folder)
    one(verification, "verify.piece-extra", "rail wrong", "bed-1.3mf")
    one(verification, "verify.piece-missing", "rail right")


def test_a_bed_that_the_manifest_forgets_is_told(folder):
    faults.edit_manifest(folder, lambda data: data.update(beds=[]))
    assert len(verify_folder(folder).of("verify.piece-missing")) == 3


@pytest.mark.parametrize(
    ("transform", "found"),
    [
        ("1 0 0 0 1 0 0 0 1 1 0 0", {"verify.overlap", "verify.place"}),
        ("1 0 0 0 1 0 0 0 1 {x} 1.3 0", {"verify.place"}),
        ("1 0 0 0 1 0 0 0 1 {near} 0 0", {"verify.overlap", "verify.place"}),
        ("1 0 0 0 1 0 0 0 1 198 0 0", {"verify.off-bed", "verify.place"}),
        ("-1 0 0 0 1 0 0 0 1 200 100 0", {"verify.not-rigid"}),
        ("1.003 0 0 0 1.003 0 0 0 1.003 20 150 0", {"verify.not-rigid"}),
        ("0 1 0 -1 0 0 0 0 1 60 150 0", {"verify.turned", "verify.place"}),
        ("1 0 0 0 1 0 0 0 1 {x} {y} 2", {"verify.base"}),
    ],
)
def test_the_places_on_the_bed_are_checked(folder, transform, found):
    last = read_manifest_data(folder)["beds"][0]["pieces"][-1]
    x, y = last["x"], last["y"]

    def place(text):
        at = text.rindex('transform="')
        moved_to = transform.format(x=x, y=y, near=x - 2)
        return f'{text[:at]}transform="{moved_to}"/></build></model>'

    faults.edit_3mf(folder, place)
    assert codes(verify_folder(folder)) == found


def test_several_faults_at_once_are_all_told(folder):
    faults.move_hole(folder, "toe-1", 0.1)
    faults.shrink_bore(folder, "toe-2", 0.2)
    faults.open_mesh(folder, "rail")
    faults.set_3mf_unit(folder, "micron")
    verification = verify_folder(folder)
    assert {"verify.moved", "verify.diameter", "verify.open-mesh", "verify.unit"} <= codes(
        verification
    )


def test_a_turned_body_on_the_bed_makes_no_difference(folder):
    path = folder / "parts/body.stl"
    spin = moved(200.0, 50.0) @ turned(77.0)
    write_facets(path, read_facets(path) @ spin[:3, :3].T + spin[:3, 3])
    faults.set_to_ski(folder, "body", lambda to_ski: to_ski @ np.linalg.inv(spin))
    assert codes(verify_folder(folder)) == {"verify.other-mesh"}  # the 3MF has the old place


def test_the_witness_knows_neither_kernel_nor_model():
    program = (
        "import sys; from pathlib import Path; from jiggen.verify import check; "
        f"check(Path({str(good_sample())!r})); "
        "print([n for n in sys.modules if n.split('.')[0] in ('cadquery', 'OCP', 'vtk') "
        "or n.startswith(('jiggen.design', 'jiggen.solid', 'jiggen.export'))])"
    )
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True)
    assert done.stdout.strip() == "[]", done.stderr

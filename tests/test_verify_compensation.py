"""The verification of compensated parts: it undoes what the manifest says.

The printers here are synthetic; jiggen's own compensation is made with the export room, and the
verification and the printers' distortion know nothing of it.
"""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import faults
import numpy as np
import pytest
from verify_samples import (
    BORE,
    HOLES,
    LEAD,
    NECK,
    SEAT,
    THROAT,
    TOP,
    good_sample,
    read_facets,
    read_manifest_data,
    rehash,
    write_3mf,
)

from jiggen.design.pieces import pieces
from jiggen.export.compensation import Hollow, compensated, compensated_parts, compensation_entry
from jiggen.export.meshes import PartMesh, stl_bytes
from jiggen.export.threemf import write_beds
from jiggen.printer import Compensation, Profile
from jiggen.verify import verify_folder
from jiggen.verify.holes import Wanted, measure
from jiggen.verify.manifest import read_manifest
from jiggen.verify.mesh import Mesh, read_stl
from jiggen.verify.results import Ledger
from jiggen.verify.rings import MeshBody

NEAR = 0.05  # mm: how true a hole's place and size must come out, the task's own measure

CLUB = Profile(
    name="club-hall", scale_x=0.996, scale_y=0.999, scale_z=0.996, skew=0.2, hole=-0.14, wall=0.08
)
DONE = replace(CLUB.compensation(0.1, 0.2), pocket=0.1)
NOTHING = Compensation("club-hall", np.eye(2), 1.0, 0.0, 0.0, 0.0)


@pytest.fixture
def folder(tmp_path):
    return shutil.copytree(good_sample(), tmp_path / "jig")


def part(folder: Path, name: str) -> PartMesh:
    corners = read_facets(folder / f"parts/{name}.stl").reshape(-1, 3)
    points, index = np.unique(corners, axis=0, return_inverse=True)
    return PartMesh(name, points, index.reshape(-1, 3), 1)


def hollows(folder: Path, done: Compensation) -> list[Hollow]:
    """The sample's guides: a bush pocket with its lead-in over a throat, printed top down."""
    (entry,) = (e for e in read_manifest_data(folder)["parts"] if e["name"] == "body")
    to_bed = np.linalg.inv(entry["to_ski"])
    walls = []
    for x, y in HOLES.values():
        at, seat, neck = (to_bed @ (x, y, 0.0, 1.0))[:2], TOP - SEAT, TOP - NECK
        r, t = BORE / 2, THROAT / 2
        walls.append(Hollow(*at, (0.0, seat), (r, r + LEAD), done.pocket / 2))
        walls.append(Hollow(*at, (seat, neck), (t + 0.01, r), done.pocket / 2))
        walls.append(Hollow(*at, (seat, neck), (t, r), done.hole / 2, side=t))
        walls.append(Hollow(*at, (neck, TOP), (t, t), done.hole / 2))
    return walls


def write_part(folder: Path, name: str, done: Compensation) -> None:
    """Replace a part's STL, which must be nominal, by the compensated one."""
    walls = hollows(folder, done) if name == "body" else []
    mesh = compensated(part(folder, name), done, walls, done.moving if name == "rail" else 0.0)
    (folder / f"parts/{name}.stl").write_bytes(stl_bytes(mesh))


def say(folder: Path, done: Compensation, **others: object) -> None:
    def edit(manifest) -> None:
        manifest |= {"compensation": compensation_entry(done, ["rail"]), **others}

    faults.edit_manifest(folder, edit)


def compensate(folder: Path, done: Compensation, said: Compensation = DONE) -> None:
    """Make the sample for one printer; `said` is what its manifest claims."""
    for name in ("body", "rail"):
        write_part(folder, name, done)
    say(folder, said, beds=write_3mf(folder))
    rehash(folder)


def changed(**parts) -> Compensation:
    return replace(DONE, **parts)


def codes(verification) -> set[str]:
    return {fault.code for fault in verification.faults}


def named(verification, subject: str, words: str):
    """The fault ``verify.compensation`` about a part, in those words."""
    (found,) = (
        fault for fault in verification.of("verify.compensation") if fault.subject == subject
    )
    assert words in found.message
    assert not verification.passed
    return found


def test_what_was_done_is_undone_and_the_holes_are_where_they_belong(folder):
    compensate(folder, DONE)
    verification = verify_folder(folder)
    assert verification.faults == ()
    for hole in verification.holes:
        assert (hole.stl.x, hole.stl.y) == pytest.approx(HOLES[hole.id], abs=1e-4)
        assert hole.stl.bore == pytest.approx(BORE + 0.1, abs=1e-3)
        assert hole.stl.throat == pytest.approx(THROAT + 0.14, abs=1e-3)
        assert hole.step.bore == pytest.approx(BORE, abs=1e-6)
    raw = read_stl(folder / "parts/body.stl").vertices.max(axis=0)
    plain = read_stl(good_sample() / "parts/body.stl").vertices.max(axis=0)
    assert raw[0] - plain[0] > 0.3  # else nothing was verified


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_other_printers_pass_too(folder, sign):
    done = Compensation(
        "other", np.array([[1 + sign * 0.01, 0.0], [sign * 0.012, 1.002]]), 1 - sign * 0.005,
        -sign * 0.15, sign * 0.2, sign * 0.05,
    )  # fmt: skip
    compensate(folder, done, done)
    assert verify_folder(folder).faults == ()


def test_a_compensation_said_but_not_done_is_named(folder):
    compensate(folder, NOTHING)
    verification = verify_folder(folder)
    assert (
        named(verification, "body", "is not compensated at all: up to 0.").source
        == "parts/body.stl"
    )
    assert {fault.subject for fault in verification.of("verify.shape")} >= {
        "rail left",
        "rail right",
    }
    assert codes(verification) >= {"verify.moved", "verify.shape", "verify.diameter"}
    moved = max(verification.of("verify.moved"), key=lambda fault: fault.found)
    assert moved.found > 0.2
    assert moved.limit == 0.02


@pytest.mark.parametrize(
    ("matrix", "height", "words"),
    [
        (DONE.matrix @ DONE.matrix, DONE.height**2, "is compensated twice"),
        (np.linalg.inv(DONE.matrix), 1 / DONE.height, "is compensated the wrong way round"),
        (DONE.matrix.T, DONE.height, "is skewed the wrong way, its compensation transposed"),
        (DONE.matrix[::-1, ::-1], DONE.height, "is compensated for x along y, and for y along x"),
    ],
    ids=["twice", "wrong sign", "transposed", "x for y"],
)
def test_a_compensation_done_wrongly_is_named(folder, matrix, height, words):
    compensate(folder, changed(matrix=matrix, height=height))
    verification = verify_folder(folder)
    named(verification, "body", words)
    assert codes(verification) >= {"verify.moved", "verify.shape"}
    assert max(fault.found for fault in verification.of("verify.moved")) > 0.1


def test_skew_alone_in_the_wrong_direction_is_found(folder):
    said = changed(matrix=np.array([[1.0, -0.003], [0.0, 1.0]]), height=1.0)
    compensate(folder, replace(said, matrix=np.array([[1.0, 0.003], [0.0, 1.0]])), said)
    named(verify_folder(folder), "body", "the wrong way round")


def test_a_height_left_as_it_was_is_found(folder):
    compensate(folder, changed(height=1.0))
    verification = verify_folder(folder)
    found = {fault.subject: fault.found for fault in verification.of("verify.shape")}
    assert found["body"] == pytest.approx(TOP * 0.004, abs=2e-3)


def test_a_3mf_compensated_and_an_stl_not_is_found(folder):
    compensate(folder, DONE)
    for name in ("body", "rail"):
        shutil.copy(good_sample() / f"parts/{name}.stl", folder / f"parts/{name}.stl")
    rehash(folder)
    verification = verify_folder(folder)
    named(verification, "body", "is not compensated at all")
    other = {fault.subject: fault.message for fault in verification.of("verify.other-mesh")}
    assert set(other) == {"body", "rail"}
    assert "mm from where it should" in other["body"]


def test_an_stl_compensated_and_a_3mf_not_is_found(folder):
    write_3mf(folder)
    for name in ("body", "rail"):
        write_part(folder, name, DONE)
    say(folder, DONE)
    rehash(folder)
    assert codes(verify_folder(folder)) == {"verify.other-mesh"}


@pytest.mark.parametrize(
    ("done", "what", "off"),
    [
        (changed(pocket=0.0), "bore", -0.1),
        (changed(pocket=-0.1), "bore", -0.2),
        (changed(pocket=0.2), "bore", 0.1),
        (changed(hole=0.0), "throat", -0.14),
    ],
    ids=["pocket left", "pocket wrong sign", "pocket twice", "hole left"],
)
def test_a_diameter_not_made_as_said_is_found_at_every_hole(folder, done, what, off):
    compensate(folder, done)
    found = verify_folder(folder).of("verify.diameter")
    assert {fault.subject for fault in found} == set(HOLES)
    for fault in found:
        assert fault.message.startswith(what)
        assert fault.source == "STL"
        assert fault.found - fault.wanted == pytest.approx(off, abs=2e-3)


@pytest.mark.parametrize(
    ("moving", "off"), [(0.0, 0.08), (0.16, 0.08), (-0.08, 0.16)], ids=["left", "twice", "sign"]
)
def test_walls_not_set_in_as_said_are_found(folder, moving, off):
    compensate(folder, changed(moving=moving))
    verification = verify_folder(folder)
    shapes = verification.of("verify.shape")
    assert {fault.subject for fault in shapes} == {"rail left", "rail right"}
    assert [fault.found for fault in shapes] == pytest.approx([off, off], abs=2e-3)
    assert verification.of("verify.volume")[0].subject == "rail"


def test_one_wall_of_a_rail_out_of_place_is_found(folder):
    compensate(folder, DONE)
    path = folder / "parts/rail.stl"
    mesh = read_stl(path)
    end = mesh.vertices[:, 0] > mesh.vertices[:, 0].max() - 3.0
    mesh.vertices[end, 0] += 0.1
    path.write_bytes(stl_bytes(PartMesh("rail", mesh.vertices, mesh.triangles, 1)))
    rehash(folder)
    (left, _) = verify_folder(folder).of("verify.shape")
    assert left.found == pytest.approx(0.1, abs=0.01)


@pytest.mark.parametrize(
    ("done", "subject", "found"),
    [
        (changed(matrix=np.diag((1.03, 1.0))), "size of the parts", 0.03),
        (changed(matrix=np.array([[1.0, 0.03], [0.0, 1.0]])), "size of the parts", 0.03),
        (changed(height=0.97), "size of the parts", 0.03),
        (changed(pocket=0.7), "pocket", 0.7),
        (changed(hole=-0.65), "hole", -0.65),
        (changed(moving=0.61), "moving", 0.61),
    ],
    ids=["scale", "skew", "height", "pocket", "hole", "moving"],
)
def test_more_than_a_sound_printer_needs_is_refused_by_the_manifest_alone(
    folder, done, subject, found
):
    say(folder, done)
    fault = named(verify_folder(folder), subject, "for the printer")
    assert fault.source == "manifest.json"
    assert fault.found == pytest.approx(found)
    assert fault.limit == (0.02 if subject == "size of the parts" else 0.6)


def test_three_percent_fails_even_when_it_was_done_as_said(folder):
    done = changed(matrix=np.diag((1.03, 1.0)))
    compensate(folder, done, done)
    verification = verify_folder(folder)
    assert codes(verification) == {"verify.compensation"}
    assert "3.00 %" in verification.faults[0].message


def test_only_a_moving_part_may_be_set_in(folder):
    compensate(folder, DONE)
    faults.edit_manifest(
        folder, lambda manifest: manifest["compensation"].update(set_in=["rail", "body"])
    )
    named(verify_folder(folder), "body", "no moving part")


def test_a_singular_matrix_is_a_fault_and_no_crash(folder):
    say(folder, changed(matrix=np.zeros((2, 2))))
    assert "verify.compensation" in codes(verify_folder(folder))


@pytest.mark.parametrize("turn", ["-1 0 0 0 -1 0 0 0 1", "0 1 0 -1 0 0 0 0 1"])
def test_a_piece_must_lie_along_its_printers_axes(folder, turn):
    compensate(folder, DONE)
    place = 'transform="1 0 0 0 1 0 0 0 1 '
    assert "verify.turned" not in codes(verify_folder(folder))
    faults.edit_3mf(folder, lambda text: text.replace(place, f'transform="{turn} ', 1))
    assert "verify.turned" in codes(verify_folder(folder))


# -- a whole jig: compensated, then printed by the printer it was compensated for ----------------

PRINTERS = {
    "shrinks": Profile(name="shrinks", scale_x=0.996, scale_y=0.994, hole=-0.2),
    "skewed": Profile(name="skewed", skew=0.4, hole=-0.1),
    "all": Profile(name="all", scale_x=1.004, scale_y=0.993, scale_z=0.997, skew=-0.3, hole=-0.25),
    "wide": Profile(name="wide", scale_x=1.001, hole=0.15),
}


def printed(mesh: Mesh, printer: Profile, axes: np.ndarray, reach: np.ndarray) -> Mesh:
    """What the synthetic printer makes of a file: bed and height distorted, holes misjudged.

    `axes` (n, 2) are where the file's guides are, on the bed; vertices within `reach` (n,) mm of
    one are walls of that guide.
    """
    lean = np.radians(printer.skew)
    bed = np.array(
        [
            [printer.scale_x, printer.scale_y * np.sin(lean)],
            [0.0, printer.scale_y * np.cos(lean)],
        ]
    )
    points = mesh.vertices.copy()
    flat = points[:, :2] @ bed.T
    for axis, near in zip(axes @ bed.T, reach, strict=True):
        away = flat - axis
        distance = np.linalg.norm(away, axis=1)
        wall = (distance <= near) & (distance > 1e-6)
        flat[wall] += away[wall] / distance[wall, None] * (printer.hole / 2)
    points[:, :2] = flat
    points[:, 2] *= printer.scale_z
    return Mesh(points, mesh.triangles)


def errors(built, meshes: dict[str, PartMesh], printer: Profile) -> tuple[float, float]:
    """The worst error of place and of diameter after printing, measured as verification does."""
    manifest = read_manifest(built.folder)
    place = diameter = 0.0
    for entry in (part for part in manifest.parts if part.is_body):
        wanted = [Wanted(manifest.hole_of[g.id], g) for g in manifest.guides_of(entry.name)]
        back = np.linalg.inv(entry.matrix)
        linear = file_matrix(meshes[entry.name], built, entry)
        axes = np.array([(back @ (w.hole.x, w.hole.y, 0.0, 1.0))[:2] for w in wanted]) @ linear.T
        reach = np.array([w.guide.bore / 2 + 0.7 for w in wanted])
        mesh = Mesh(meshes[entry.name].vertices, meshes[entry.name].triangles)
        result = printed(mesh, printer, axes, reach).moved(entry.matrix)
        found = measure(entry.name, wanted, (), MeshBody(result), Ledger())
        assert set(found) == {w.hole.id for w in wanted}, "a hole not found verifies nothing"
        for w in wanted:
            hole = found[w.hole.id]
            place = max(place, hole.deviation)
            diameter = max(
                diameter, abs(hole.bore - w.guide.bore), abs(hole.throat - w.guide.throat)
            )
    return place, diameter


def file_matrix(mesh: PartMesh, built, entry) -> np.ndarray:
    """How a file's bed coordinates differ from the nominal ones: fitted, not asked."""
    nominal = read_stl(built.folder / entry.file).vertices
    fitted, *_ = np.linalg.lstsq(nominal[:, :2], mesh.vertices[:, :2], rcond=None)
    return fitted.T


@pytest.fixture(scope="module")
def nominal(built) -> dict[str, PartMesh]:
    found = {}
    for entry in built.manifest["parts"]:
        mesh = read_stl(built.folder / entry["file"])
        found[entry["name"]] = PartMesh(entry["name"], mesh.vertices, mesh.triangles, 1)
    return found


@pytest.mark.parametrize("name", PRINTERS)
def test_a_compensated_jig_comes_off_its_printer_true(built, nominal, name):
    printer = PRINTERS[name]
    done = printer.compensation(bush_fit=0.1, slide=0.2)
    files = compensated_parts(built.design, pieces(built.design), nominal, done)
    place, diameter = errors(built, files, printer)
    assert place <= NEAR
    assert diameter <= NEAR


@pytest.mark.parametrize("name", PRINTERS)
def test_and_without_compensation_it_does_not(built, nominal, name):
    place, diameter = errors(built, nominal, PRINTERS[name])
    assert place > 2 * NEAR
    assert diameter > NEAR


def test_a_whole_jig_compensated_on_disk_passes_its_verification(built, nominal, folder_of_jig):
    verification = verify_folder(folder_of_jig)
    assert verification.faults == ()
    assert len(verification.holes) == len(built.manifest["holes"])


@pytest.fixture
def folder_of_jig(built, nominal, tmp_path):
    """The real jig's folder, its printed files compensated after the fact."""
    made = shutil.copytree(built.folder, tmp_path / "club")
    files = compensated_parts(built.design, pieces(built.design), nominal, DONE)
    for mesh in files.values():
        (made / f"parts/{mesh.name}.stl").write_bytes(stl_bytes(mesh))
    names = {e["name"]: [p["name"] for p in e["placed"]] for e in built.manifest["parts"]}
    settings = built.design.settings
    beds = write_beds(files, names, settings.bed, settings.bed_margin, made)
    say(made, DONE, beds=beds)
    rehash(made)
    return made

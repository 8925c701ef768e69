from __future__ import annotations

import json
import shutil

import faults
import pytest
from verify_samples import good_sample, rehash

from jiggen.errors import InputError
from jiggen.verify import check, table, verdict, verify_folder

pytestmark = pytest.mark.usefixtures("nothing_engraved")


@pytest.fixture(scope="module")
def verified(tmp_path_factory):
    """The sample as a build leaves it: with its verification in the manifest."""
    folder = tmp_path_factory.mktemp("verified") / "jig"
    shutil.copytree(good_sample(), folder)
    faults.stored_verification(folder, verify_folder(folder).as_dict())
    return folder


@pytest.fixture
def folder(tmp_path, verified):
    copy = tmp_path / "jig"
    shutil.copytree(verified, copy)
    return copy


def test_an_untouched_folder_passes_and_is_not_written_to(folder, verified):
    verification = check(folder)
    assert verification.passed
    assert (
        verification.checks
        > json.loads((verified / "manifest.json").read_text())["verification"]["checks"]
    )
    for path in folder.rglob("*.*"):
        assert path.read_bytes() == (verified / path.relative_to(folder)).read_bytes()


def test_a_changed_file_is_named(folder):
    path = folder / "preview.png"
    path.write_bytes(b"another picture\n")
    (fault,) = check(folder).faults
    assert (fault.code, fault.source) == ("verify.hash", "preview.png")


def test_a_hole_moved_with_its_hash_left_is_told_both_ways(folder):
    faults.move_hole(folder, "toe-1", 0.1, hashes=False)
    verification = check(folder)
    assert [fault.source for fault in verification.of("verify.hash")] == ["parts/body.stl"]
    assert [fault.subject for fault in verification.of("verify.moved")] == ["toe-1"]


def test_a_missing_file_is_told_once_and_a_strange_one_is_told(folder):
    (folder / "bed-1.3mf").unlink()
    (folder / "body-new.STL").write_text("mine")
    (folder / ".DS_Store").write_text("a file manager's")
    verification = check(folder)
    assert [(fault.code, fault.source) for fault in verification.faults] == [
        ("verify.file-missing", "bed-1.3mf"),
        ("verify.unlisted", "body-new.STL"),
    ]


def test_what_a_person_keeps_beside_a_jig_is_a_note_and_what_may_be_printed_a_fault(folder):
    kept = ["body.gcode", "notes.txt", "parts/Kopf.GCODE", "photos/a.jpg"]
    for name in kept:
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text("mine")
    found = check(folder)
    assert found.passed and list(found.strange) == kept
    assert verdict(found).endswith(f"Your own, not verified: {', '.join(kept)}.")
    taken = [".notes.txt", "a.3mf", "a.DXF", "a.html", "a.pdf", "a.step", "a.stl", "a.svg", "b"]
    taken.append("photos/.b/c.jpg")
    (folder / "photos" / ".b").mkdir()
    for name in taken:
        (folder / name).write_text("mine")
    found = check(folder)
    assert [fault.source for fault in found.of("verify.unlisted")] == sorted(taken)
    assert list(found.strange) == kept


def test_a_folder_never_verified_or_failed_when_built_is_told(folder):
    faults.edit_manifest(folder, lambda data: data.update(verification=None))
    assert [fault.code for fault in check(folder).faults] == ["verify.unverified"]
    faults.edit_manifest(folder, lambda data: data.update(verification={"passed": False}))
    assert [fault.code for fault in check(folder).faults] == ["verify.failed-when-built"]


@pytest.mark.parametrize(
    ("change", "key"),
    [
        (lambda data: data.update(manifest=3), "manifest"),
        (lambda data: data.pop("holes"), "holes"),
        (lambda data: data.update(holes=[]), "holes"),
        (lambda data: data["holes"][1].update(x="left"), "holes[1].x"),
        (lambda data: data["holes"][1].update(x=float("nan")), "holes[1].x"),
        (lambda data: data["holes"][1].update(id="toe-1"), ""),
        (lambda data: data["guides"].pop(), ""),
        (lambda data: data["guides"][0].update(part="rail"), ""),
        (lambda data: data["guides"][0].update(bore_z=[5.0, 2.0]), "guides[0].bore_z"),
        (lambda data: data["parts"][0].update(file="../body.stl"), "parts[0].file"),
        (lambda data: data["parts"][0].update(file="/etc/passwd"), "parts[0].file"),
        (lambda data: data["parts"][0].update(volume=-1.0), "parts[0].volume"),
        (lambda data: data["parts"][0]["to_ski"].pop(), "parts[0].to_ski[3]"),
        (lambda data: data["parts"][1].update(count=3), ""),
        (lambda data: data["files"].update({"a": {"bytes": 1, "sha256": "x"}}), "files.a.sha256"),
    ],
)
def test_a_wrong_manifest_is_bad_input_with_its_place(folder, change, key):
    faults.edit_manifest(folder, change)
    with pytest.raises(InputError) as error:
        check(folder)
    assert error.value.exit_code == 2
    assert key in [finding.key for finding in error.value.findings]
    assert all("manifest.json" in finding.where for finding in error.value.findings)


@pytest.mark.parametrize("text", ["", "[]", "{", "null", "[" * 100_000, "\ufeff{}"])
def test_a_manifest_that_is_none_is_bad_input(folder, text):
    (folder / "manifest.json").write_text(text, encoding="utf-8")
    with pytest.raises(InputError):
        check(folder)


def test_a_folder_without_manifest_is_bad_input(tmp_path):
    for place in (tmp_path, tmp_path / "nowhere", good_sample() / "jig.step"):
        with pytest.raises(InputError):
            check(place)


def test_the_table_tells_where_each_hole_was_found(folder):
    verification = check(folder)
    whose, _, *lines = table(verification).splitlines()
    assert whose.startswith("Holes for boot 305 mm; x from the mounting mark")
    assert [head in lines[0] for head in ("hole", "wanted", "STEP", "STL", "deviation")] == [
        True
    ] * 5
    assert lines[2].split() == ["toe-1", *("41.250", "20.500") * 3, "0.000"]
    assert len({len(line) for line in lines}) == 1
    assert verdict(verification).startswith("Files verified: 3 holes")


def test_a_failed_verification_is_told_in_words_without_control_characters(folder):
    faults.fill_hole(folder, "toe-1")
    faults.edit_3mf(folder, lambda text: text.replace('name="rail"', 'name="&#x9b;31m\u2028rail"'))
    rehash(folder)
    verification = check(folder)
    assert "not found" in table(verification)
    text = verdict(verification)
    assert text.startswith("Verification FAILED")
    assert "[verify.missing]" in text
    assert all(character.isprintable() or character == "\n" for character in text)

from __future__ import annotations

import json
import shutil

import faults
import pytest
from verify_samples import good_sample

from jiggen.cli import main
from jiggen.verify import verify_folder

pytestmark = pytest.mark.usefixtures("nothing_engraved")


@pytest.fixture
def folder(tmp_path):
    copy = tmp_path / "jig"
    shutil.copytree(good_sample(), copy)
    faults.stored_verification(copy, verify_folder(copy).as_dict())
    return copy


def test_a_sound_folder_is_told_and_ends_with_0(folder, capsys):
    assert main(["check", str(folder)]) == 0
    told = capsys.readouterr()
    assert told.out.startswith("Files verified: 3 holes for boot 305 mm; ")
    assert "deviation" not in told.out
    assert told.err == ""
    assert main(["check", str(folder), "--holes"]) == 0
    with_holes = capsys.readouterr().out
    assert with_holes.startswith(told.out)
    assert "Holes for boot 305 mm; x from the mounting mark" in with_holes
    assert with_holes.rstrip().splitlines()[-1].startswith("heel-1 ")


def test_a_fault_is_told_with_hole_and_amount_and_ends_with_1(folder, capsys):
    faults.move_hole(folder, "toe-2", 0.1)
    assert main(["check", str(folder)]) == 1
    assert "toe-2: moved 0.100 mm" in capsys.readouterr().out


def test_a_folder_of_an_older_jiggen_is_read_and_told_to_be_built_again(folder, capsys):
    faults.edit_manifest(folder, lambda data: data.pop("jig_mark") and None)
    assert main(["check", str(folder)]) == 1
    told = capsys.readouterr().out
    assert "1 of " in told
    assert "jig mark: there is none: an older jiggen built this" in told
    assert "build it again  [verify.jig-mark]" in told


def test_json_is_one_document_whatever_comes_out(folder, capsys):
    assert main(["check", str(folder), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["passed"] is True
    faults.shrink_bore(folder, "toe-1", 0.2)
    assert main(["check", "--json", str(folder)]) == 1
    data = json.loads(capsys.readouterr().out)
    assert data["passed"] is False
    assert "verify.diameter" in {fault["code"] for fault in data["faults"]}
    assert main(["check", "--json", str(folder / "parts")]) == 2
    assert json.loads(capsys.readouterr().out)["errors"][0]["code"] == "verify.manifest"

"""`jiggen sheet` for the ski on the bench."""

import json

import pytest
import sheet_samples
from record_samples import check_core, redrilled

from jiggen.cli import main
from jiggen.drilling import DrillingLimits, SkiState
from jiggen.errors import CheckFailed, InputError


@pytest.fixture(scope="module")
def manifest():
    return sheet_samples.shipped("club-piste")


def test_a_thick_ski_gets_its_base_left_on_the_sheet(manifest):
    found = redrilled(manifest, SkiState(thickness=(20.0,)), DrillingLimits())
    holes = {hole["id"]: hole for hole in found["drilling"]["holes"]}
    # By hand: 20 - 9.2 - 1.8/tan 59° = 20 - 9.2 - 1.0815 = 9.7185, less what it may be too deep.
    deep = holes["toe-1"]["too_deep"]
    assert deep == pytest.approx(0.2)
    assert holes["toe-1"]["base_left"] == pytest.approx(9.7185 - deep, abs=1e-3)


def test_a_thin_ski_has_no_sheet_and_the_numbers_are_said(manifest):
    with pytest.raises(CheckFailed, match=r"1\.52 mm of ski would be left.* - 0\.20 depth error"):
        redrilled(manifest, SkiState(thickness=(12.0,)), DrillingLimits())


def test_another_core_than_the_jig_was_built_for_is_refused(manifest):
    check_core(manifest, "plain")
    with pytest.raises(InputError, match="guides the drill for a plain core, not metal"):
        check_core(manifest, "metal")


def test_the_command(built, tmp_path, capsys):
    out = tmp_path / "bench.pdf"
    words = ["sheet", str(built.folder), "--thickness", "22/20", "-o", str(out), "--json"]
    assert main(words) == 0
    assert json.loads(capsys.readouterr().out)["file"] == str(out)
    assert out.read_bytes().startswith(b"%PDF")
    out.unlink()
    assert main(["sheet", str(built.folder), "--thickness", "11", "-o", str(out)]) == 1
    assert not out.exists()
    assert "mm of ski would be left" in capsys.readouterr().err
    assert main(["sheet", str(built.folder), "--core", "metal", "-o", str(out)]) == 2

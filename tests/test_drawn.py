"""Drawings of a layout are verified against their record."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from mutations_drawings import DRAWINGS
from papers import drawn_folder, faults_of

from jiggen.layout import lay_out
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.find import shipped_patterns


def of(stem: str, boot: float, **how):
    return lay_out(read_pattern(find_pattern(stem)), boot, **how)


@pytest.mark.parametrize("stem", [path.stem for path in shipped_patterns()])
@pytest.mark.parametrize("boot", [275.0, 305.5, 345.0])
def test_no_drawing_of_a_shipped_pattern_is_faulty(stem: str, boot: float, tmp_path: Path):
    drawn_folder(tmp_path, of(stem, boot, mount_shift=-7.5, core="metal", side="right"))
    assert faults_of(tmp_path) == []


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("drawn")
    drawn_folder(folder, of("club-piste", 305.0))
    assert faults_of(folder) == []
    return folder


@pytest.mark.parametrize(
    ("apply", "codes"), [row[1:] for row in DRAWINGS], ids=[row[0] for row in DRAWINGS]
)
def test_a_changed_drawing_is_named(apply, codes, good: Path, tmp_path: Path):
    folder = shutil.copytree(good, tmp_path / "jig")
    apply(folder)
    found = faults_of(folder)
    assert {fault.code for fault in found} & set(codes)
    assert {fault.source for fault in found} <= {"layout.svg", "layout.dxf"}


def test_a_drawing_of_another_boot_is_named(good: Path, tmp_path: Path):
    folder = shutil.copytree(good, tmp_path / "jig")
    drawn_folder(tmp_path / "other", of("club-piste", 300.0))
    shutil.copy(tmp_path / "other" / "layout.dxf", folder)
    codes = {fault.code for fault in faults_of(folder)}
    assert codes >= {"verify.other-record", "verify.drawn-moved", "verify.drawn-words"}

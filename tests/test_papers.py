"""Sheet and page are verified against their record, after the folder that they tell of."""

from __future__ import annotations

import json
import shutil
import sys
from pathlib import Path

import pytest
from mutations_papers import PAGE, PAPERS, SHEET
from papers import drawn_folder, faults_of
from record_samples import drilled, report_html, sheet_pdf

from jiggen.drilling import Screw
from jiggen.layout import lay_out
from jiggen.outcome import Verification
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pipeline import build
from jiggen.record import JigRecord
from jiggen.record.results import Drilling
from jiggen.verify.reading.page import read_page
from jiggen.verify.reading.plan import DrawingError


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("paper")
    drawn_folder(folder, lay_out(read_pattern(find_pattern("club-piste")), 305.0))
    assert faults_of(folder) == []
    return folder


@pytest.mark.parametrize(
    ("apply", "codes"), [row[1:] for row in PAPERS], ids=[row[0] for row in PAPERS]
)
def test_a_changed_paper_is_named(apply, codes, good: Path, tmp_path: Path):
    folder = shutil.copytree(good, tmp_path / "jig")
    apply(folder)
    [name] = [n for n in (SHEET, PAGE) if (folder / n).read_bytes() != (good / n).read_bytes()]
    found = faults_of(folder, name)
    assert {fault.code for fault in found} & set(codes)
    assert {fault.source for fault in found} == {name}


@pytest.mark.parametrize("choices", [{"paper": "letter"}, {"ticket": "Order 4711"}])
def test_a_sheet_made_with_other_choices_is_as_good(choices, good: Path, tmp_path: Path):
    folder = shutil.copytree(good, tmp_path / "jig")
    data = json.loads((folder / "manifest.json").read_text())
    (folder / SHEET).write_bytes(sheet_pdf(data, **choices))
    assert faults_of(folder, SHEET) == []


def test_a_listed_screw_that_does_not_fit_is_named(good: Path, tmp_path: Path, monkeypatch):
    folder = shutil.copytree(good, tmp_path / "jig")
    data = json.loads((folder / "manifest.json").read_text())
    screws = {hole["id"]: Screw(6.0, (14.0,)) for hole in data["holes"]}
    data["drilling"] = drilled(data, data["holes"], screws=screws)
    (folder / "manifest.json").write_text(json.dumps(data))
    (folder / SHEET).write_bytes(sheet_pdf(data))
    assert faults_of(folder, SHEET) == []
    monkeypatch.setattr(Drilling, "screws", {14.0: 9})  # toe-5 has room for 6.9, and 8 go in
    (folder / SHEET).write_bytes(sheet_pdf(data))
    [fault] = faults_of(folder, SHEET)
    assert "lists screws [('9', '14')], those that fit are [('8', '14')]" in fault.message


def test_a_fault_of_the_papers_fails_the_build(monkeypatch: pytest.MonkeyPatch, tmp_path: Path):
    data = drawn_folder(
        tmp_path / "drawn", lay_out(read_pattern(find_pattern("club-piste")), 305.0)
    )
    record = JigRecord.model_validate(data)
    passed = record.verification
    assert passed is not None and passed.passed
    monkeypatch.setattr(sys.modules["jiggen.verify"], "verify_folder", lambda _: passed)
    other = data | {"inputs": data["inputs"] | {"core": "metal"}}

    def make(folder: Path) -> JigRecord:
        for name in ("layout.svg", "layout.dxf", "preview.png", "jig.step"):
            if (tmp_path / "drawn" / name).exists():
                shutil.copy(tmp_path / "drawn" / name, folder)
        return record.model_copy(update={"verification": None})

    def finish(sheet: dict) -> object:
        def write(folder: Path, found: JigRecord) -> None:
            if found.passed:
                (folder / SHEET).write_bytes(sheet_pdf(sheet))
            listed = build._listed(found, folder)
            (folder / PAGE).write_text(report_html(folder, listed.values()), encoding="utf-8")

        return write

    def built(name: str, sheet: dict) -> tuple[Path, JigRecord, Verification]:
        return build.verified_folder(tmp_path / name, make, finish=finish(sheet), force=False)

    folder, _, found = built("good", data)
    assert found.passed and folder.name == "good" and (folder / SHEET).is_file()
    folder, told, found = built("bad", other)
    assert folder.name == "bad-failed"
    assert not found.passed and not told.passed and not (folder / SHEET).exists()
    assert {fault.code for fault in found.faults} >= {"verify.other-record", "verify.sheet-words"}
    assert "verify.other-record" in (folder / PAGE).read_text(encoding="utf-8")
    assert faults_of(folder, PAGE) == []


def test_today_s_script_and_style_are_known():
    import hashlib
    from importlib.resources import files

    from jiggen.verify import pages

    for name, known in (("view.js", pages.SCRIPTS), ("page.css", pages.STYLES)):
        data = (files("jiggen.report.page") / name).read_bytes()
        assert hashlib.sha256(data).hexdigest() == known[-1]


FAT = {
    "elements": "<p>" * 300_000,
    "tags without an end": "<" * 1_000_000,
    "an attribute": '<p class="' + "a" * 1_000_000,
    "attributes": "<p" + ' class="a"' * 100_000 + ">",
    "spaces": "<p" + " " * 1_000_000 + ">",
    "a script": "<script>" * 120_000,
    "words": "a" * 1_000_000,
    "entities": "<p>" + "&amp;" * 200_000,
}


@pytest.mark.parametrize("name", FAT)
def test_a_fat_page_is_refused_and_costs_little(name: str):
    import time

    start = time.process_time()
    with pytest.raises(DrawingError):
        read_page(f"<!DOCTYPE html>\n{FAT[name]}".encode())
    assert time.process_time() - start < 5.0

"""The record against what was asked for: the pattern laid out anew, the job, the printer."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import faults
import pytest
from mutation import Mutation
from mutations_pattern import ASKED, DRILLING, LAYOUT, LEFT_OUT, MISSING, MUTATIONS, UNLISTED

from jiggen.errors import InputError
from jiggen.job import Job
from jiggen.outcome import MadeFor, Verification
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.read import parse_pattern
from jiggen.pattern.write import text_of
from jiggen.verify import verdict
from jiggen.verify.asked import judge_asked
from jiggen.verify.evidence import Evidence
from jiggen.verify.folder import judge_files
from jiggen.verify.reading.manifest import read_manifest
from jiggen.verify.results import Ledger

TEXTS = ("manifest.json", "job.toml", "pattern.toml")
BY_TEXT = {ASKED, LAYOUT, DRILLING, "verify.opening", "verify.bore", "verify.unreadable"}
BY_LIST = {LEFT_OUT, UNLISTED}
JIG = [one for one in MUTATIONS if one.product == "jig" and one.where in ("record", "folder")]


@pytest.fixture
def texts(built, tmp_path) -> Path:
    """The record of a good jig and what was asked for, without a part."""
    folder = tmp_path / "any name"
    folder.mkdir()
    for name in TEXTS:
        shutil.copy(built.folder / name, folder)
    return folder


def judged(folder: Path) -> Ledger:
    ledger = Ledger()
    judge_asked(Evidence(folder, read_manifest(folder), {}, {}), ledger)
    return ledger


def codes(ledger: Ledger) -> set[str]:
    return {fault.code for fault in ledger.faults}


def test_a_good_record_follows_from_its_texts_wherever_it_lies(texts):
    ledger = judged(texts)
    assert ledger.faults == []
    assert ledger.checks > 9 * 5  # of each hole group, x, y, diameter and depth


@pytest.mark.parametrize(
    "mutation",
    [one for one in JIG if set(one.caught_by) & BY_TEXT and "pieces" not in one.name],
    ids=str,
)
def test_no_other_record_passes(mutation: Mutation, texts):
    mutation.apply(texts)
    assert codes(judged(texts)) & set(mutation.caught_by)


@pytest.mark.parametrize("mutation", [one for one in JIG if set(one.caught_by) & BY_LIST], ids=str)
def test_every_file_that_a_jig_has_must_be_there_and_none_other(mutation: Mutation, folder):
    mutation.apply(folder)
    ledger = Ledger()
    judge_files(folder, read_manifest(folder), ledger)
    assert codes(ledger) & set(mutation.caught_by)


def test_what_file_managers_leave_is_no_fault(folder):
    (folder / ".DS_Store").write_bytes(b"x")
    (folder / "parts" / "desktop.ini").write_bytes(b"x")
    # RFC 1740: magic number and version of AppleDouble
    (folder / "parts" / "._body-toe.stl").write_bytes(bytes.fromhex("0005160700020000") + bytes(90))
    ledger = Ledger()
    judge_files(folder, read_manifest(folder), ledger)
    assert ledger.faults == []


def test_a_fault_tells_the_hole_and_both_places(texts):
    faults.edit_manifest(texts, lambda data: data["inputs"].update(boot=295.0))
    (fault,) = judged(texts).faults
    assert (fault.subject, fault.found, fault.wanted) == ("inputs.boot", 295.0, 305.0)
    faults.edit_manifest(texts, lambda data: data["inputs"].update(boot=305.0))
    faults.edit_manifest(texts, lambda data: data["holes"][0].update(depth=19.2))
    found = [fault for fault in judged(texts).faults if fault.code == LAYOUT]
    assert [str(fault) for fault in found] == [
        "manifest.json: toe-1: deep by 19.200 mm; by pattern and job 9.200 mm"
    ]


def test_a_folder_of_an_older_jiggen_is_told_what_it_lacks(texts):
    faults.edit_manifest(texts, lambda data: data.pop("asked"))
    for name in TEXTS[1:]:
        (texts / name).unlink()
    (fault,) = judged(texts).faults
    assert (fault.code, fault.source) == (MISSING, "job.toml")
    assert "build it again" in fault.message


def test_the_pattern_is_kept_to_the_letter(built):
    source = find_pattern("club-piste")
    assert (built.folder / "pattern.toml").read_bytes() == source.read_bytes()


def test_a_pattern_made_otherwise_is_written_and_reads_back():
    pattern = read_pattern(find_pattern("hut-plate"))
    moved = replace(pattern, name="Other")
    text = text_of(moved)
    assert text != pattern.text
    assert parse_pattern(text, moved.source) == moved
    assert text_of(replace(pattern, text="")) != pattern.text
    with pytest.raises(InputError):
        text_of(replace(pattern, name="\x1b[31m"))


def test_a_longer_range_of_boots_is_rounded_out_as_the_jig_is():
    from jiggen.design import Settings, SkiRange
    from jiggen.export.asked import asked_of_jig

    job = Job(read_pattern(find_pattern("club-piste")), (300.5, 309.5), Settings(SkiRange(84, 112)))
    assert "boots = [300.5, 309.5]" in asked_of_jig(job)["job.toml"]
    assert job.whole_boots == (300.0, 310.0)


def test_the_verdict_names_the_printer():
    done = MadeFor("shed\x1b[1m", -1.5, -1.5, -1.5, 0.1)
    found = Verification(True, 1, {}, (), made_for=done)
    said = verdict(found)
    assert "Made for printer shed\\x1b[1m alone: its files are -1.50 % longer along x" in said
    assert found.as_dict()["made_for"]["x"] == -1.5
    assert "no printer in particular" in verdict(replace(found, made_for=None))

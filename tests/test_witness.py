"""The verifier in a process of its own: it finds what this one finds, and its end is said."""

from __future__ import annotations

import errno
import os
import shutil
import signal
import subprocess
from collections.abc import Iterator
from functools import wraps
from importlib import import_module
from pathlib import Path

import pytest

from jiggen.cores import counted_as_enough
from jiggen.errors import CheckFailed, InputError
from jiggen.files import MANIFEST, PAGE, SHEET, STEP_FILE
from jiggen.pipeline.build import verified_folder
from jiggen.pipeline.witness import Here, Process, end_kept, witness
from jiggen.record import read_jig
from jiggen.verify import verify_folder, verify_papers
from jiggen.verify.reading import memory

verification = import_module("jiggen.verify.verification")  # a function has the package's name


@pytest.fixture(scope="module")
def verifier() -> Iterator[Process]:
    made = Process()
    yield made
    made.end()


def test_it_finds_what_this_process_finds(verifier: Process, folder: Path):
    for path in (*sorted((folder / "parts").iterdir()), folder / STEP_FILE):
        verifier.read_ahead(path)
    verifier.judge_ahead(folder)
    verifier.begin(folder)
    assert verifier.verification() == verify_folder(folder)
    assert verifier.papers(folder) == ()


def test_a_file_that_was_read_ahead_and_changed_since_is_read_again(
    verifier: Process, folder: Path
):
    part = folder / "parts" / "rail.stl"
    verifier.read_ahead(part)
    verifier.judge_ahead(folder)
    data = bytearray(part.read_bytes())
    data[84 + 12 : 84 + 16] = b"\0\0\xa0\x42"  # a corner's x is 80 mm
    part.write_bytes(data)
    verifier.begin(folder)
    found = verifier.verification()
    assert found == verify_folder(folder)
    assert not found.passed and "parts/rail.stl" in {fault.source for fault in found.faults}


def test_what_was_judged_ahead_is_judged_once(folder: Path, monkeypatch):
    judged: list[str] = []

    def judging(judge):
        @wraps(judge)
        def noted(*arguments: object) -> None:
            judged.append(judge.__name__)
            judge(*arguments)

        return noted

    early = {judge: judging(judge) for judge in verification.EARLY}
    every = tuple((what, early.get(judge, judge)) for what, judge in verification.JUDGES)
    monkeypatch.setattr(verification, "JUDGES", every)
    monkeypatch.setattr(verification, "EARLY", tuple(early.values()))
    wanted = verify_folder(folder)
    assert len(judged) == len(early)
    monkeypatch.setattr(memory, "_KEPT", {})
    verification.judge_ahead(folder)
    assert verify_folder(folder) == wanted
    assert len(judged) == 2 * len(early)


def test_what_looks_at_other_files_is_not_judged_ahead(folder: Path, monkeypatch):
    monkeypatch.setattr(verification, "EARLY", (verification.judge_engraving,))
    with pytest.raises(LookupError, match="STEP"):
        verification.judge_ahead(folder)


def test_a_paper_that_is_wrong_is_found(verifier: Process, folder: Path):
    (folder / SHEET).write_bytes(b"%PDF-1.4 nothing")
    verifier.begin_paper(folder, SHEET)
    faults = verifier.papers(folder)
    assert faults == verify_papers(folder)
    assert {fault.source for fault in faults} == {SHEET}


def test_what_it_raises_is_raised_here(verifier: Process, tmp_path: Path):
    verifier.begin(tmp_path)
    with pytest.raises(InputError, match="cannot read"):
        verifier.verification()
    assert verifier.at_rest


@pytest.mark.parametrize("moment", ["before", "meanwhile"])
def test_its_end_is_said_and_nothing_is_kept(folder: Path, tmp_path: Path, moment: str):
    record = read_jig(folder)
    process = Process()

    def make(place: Path):
        shutil.copytree(folder, place, dirs_exist_ok=True)
        if moment == "before":
            _kill(process)
        return record

    def meanwhile(place: Path, _: object) -> None:
        if moment == "meanwhile":
            _kill(process)

    target = tmp_path / "out" / "jig"
    with pytest.raises(CheckFailed, match="ended by signal 9") as raised:
        verified_folder(target, make, meanwhile=meanwhile, force=False, verifier=process)
    assert [one.code for one in raised.value.findings] == ["verify.process-ended"]
    assert [path.name for path in target.parent.iterdir()] == []


def _kill(process: Process) -> None:
    os.kill(process.process.pid, signal.SIGKILL)
    process.process.wait()


def test_one_waits_for_the_next_build_unless_there_are_enough_or_something_went_wrong():
    with witness() as here:
        assert isinstance(here, Here)
    with counted_as_enough(False):
        with witness() as first:
            assert isinstance(first, Process)
        with witness() as again:
            assert again is first
        with pytest.raises(ZeroDivisionError), witness():
            _ = 1 / 0
        assert not first.at_rest
        with witness() as other:
            assert other is not first and isinstance(other, Process) and other.at_rest
        with witness() as other:
            other.begin(Path("nowhere"))  # and nobody asks for what it found
        with witness() as last:
            assert last is not other and isinstance(last, Process) and last.at_rest
        end_kept()
        assert not last.at_rest


def test_where_the_system_has_no_more_processes_files_are_verified_here(monkeypatch):
    def refused(*_: object, **__: object) -> None:
        raise BlockingIOError(errno.EAGAIN, os.strerror(errno.EAGAIN))

    monkeypatch.setattr(subprocess, "Popen", refused)
    with counted_as_enough(False), witness() as found:
        assert isinstance(found, Here)


def test_it_ends_with_the_process_that_started_it_whatever_it_is_doing(folder: Path):
    process = Process()
    assert process.process.stdin and process.process.stdout
    process.begin(folder)
    process.process.stdin.close()
    assert process.process.stdout.read() == b""
    assert process.process.wait() == 0


def test_the_folder_that_it_passed_is_whole(verifier: Process, folder: Path, tmp_path: Path):
    record = read_jig(folder).model_copy(update={"verification": None, "printing": None})

    def make(place: Path):
        shutil.copytree(
            folder, place, dirs_exist_ok=True, ignore=shutil.ignore_patterns(SHEET, PAGE, MANIFEST)
        )
        return record

    def finish(place: Path, _: object) -> None:
        for name in (SHEET, PAGE):
            shutil.copy(folder / name, place)

    target = tmp_path / "out" / "jig"
    _, made, found = verified_folder(target, make, finish=finish, force=False, verifier=verifier)
    assert found.passed and made.passed
    names = [path.relative_to(folder) for path in folder.rglob("*") if path.is_file()]
    assert all((target / name).read_bytes() == (folder / name).read_bytes() for name in names)

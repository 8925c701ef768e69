"""A small evening built for real, found again, and the failures of single jigs."""

from __future__ import annotations

import json
import shutil
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import pytest

from jiggen.cli import main
from jiggen.design import Settings, SkiRange
from jiggen.drilling import DrillingLimits, SkiState
from jiggen.errors import CheckFailed, Finding, InputError
from jiggen.evening import Outcome, plan_evening
from jiggen.evening.check import Terms
from jiggen.evening.read import read_jobs
from jiggen.executors import Done, outcome_of
from jiggen.job import Job
from jiggen.measure.printer.profile import Profile
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pipeline import evening as building
from jiggen.pipeline.evening import build_evening, is_finished, key_of
from jiggen.pipeline.products import plan_jig
from jiggen.remount.shifts import RemountLimits
from jiggen.report.evening import run_sheet_pdf
from jiggen.shelf.store import open_shelf
from jiggen.verify.reading.pdf import read_pages

# Three jigs: a plate about the boot centre, for two boots; under metal; and 5 mm forward.
SMALL = """ticket;pattern;boot;ski toe;ski heel;core;shift;thickness
H1;hut-plate;285;96,5;94;;;22
H2;hut-plate;315;104;101;;;22/21
H3;hut-plate;305;96;94;metal;;
H4;hut-plate;305;96;94;;5;
"""
# Built for real are two: the plain one, and one that is under metal and 5 mm forward at once.
REAL = SMALL.replace("H4;hut-plate;305;96;94;;5;\n", "").replace(";metal;;", ";metal;5;")
TERMS = Terms(Settings(SkiRange(80, 100)), DrillingLimits(), RemountLimits())


@pytest.fixture(scope="module")
def jobs(tmp_path_factory) -> Path:
    path = tmp_path_factory.mktemp("evening") / "small.csv"
    path.write_text(SMALL)
    return path


@pytest.fixture(scope="module")
def plan(jobs):
    return plan_evening(read_jobs(jobs), TERMS)


def run(capsys, *words: str):
    capsys.readouterr()
    code = main(["evening", *words, "--json"])
    out, err = capsys.readouterr()
    assert err == ""
    return code, json.loads(out)


# -- for real ------------------------------------------------------------------------------------


def test_a_small_evening_for_real(tmp_path, capsys):
    # One test, so that with several test processes it is still built once.
    jobs, evening = tmp_path / "real.csv", tmp_path / "out"
    jobs.write_text(REAL)
    plan = plan_evening(read_jobs(jobs), TERMS)
    assert main(["evening", str(jobs), "-o", str(evening), "--workers", "1"]) == 0
    every_jig_is_verified_and_drills_what_the_sheet_says(evening, plan)
    the_sheet_says_what_was_asked((evening / "run-sheet.pdf").read_bytes())
    a_second_run_finds_every_jig_and_writes_the_same(evening, jobs, capsys)
    its_jigs_go_on_the_shelf_and_the_next_evening_prints_none(evening, jobs, capsys, tmp_path)
    folder = shutil.copytree(next(p for p in evening.iterdir() if p.is_dir()), tmp_path / "jig")
    a_folder_is_found_again_only_whole_verified_and_for_the_same_inputs(folder)
    a_plan_says_which_jigs_are_still_to_be_built(evening, jobs, capsys)


def every_jig_is_verified_and_drills_what_the_sheet_says(evening, plan):
    folders = sorted(path for path in evening.iterdir() if path.is_dir())
    assert len(folders) == len(plan.jigs) == plan.bound == 2
    manifests = {}
    for folder in folders:
        manifest = json.loads((folder / "manifest.json").read_text())
        assert manifest["verification"]["passed"] is True
        manifests[manifest["key"]] = manifest
    for jig in plan.jigs:
        made = manifests[key_of(jig.job)]
        said = {
            hole: (s["drill"], s["depth"], s["from_tip"])
            for s in made["drilling"]["stops"]
            for hole in s["holes"]
        }
        sheet = {hole: (s.drill, s.depth, s.from_tip) for s in jig.stops for hole in s.holes}
        assert said == sheet
        assert tuple(made["inputs"]["ski"].values()) == jig.job.skis


def the_sheet_says_what_was_asked(pdf: bytes):
    text = " ".join(page.text for page in read_pages(pdf))
    for said in ("3 pairs on 2 jigs", "H1", "any boot", "boot 285", "48.2 / 47", "shift +5"):
        assert said in text


def a_second_run_finds_every_jig_and_writes_the_same(evening, jobs, capsys):
    def stamps():
        files = (path for path in evening.glob("*/**/*") if path.is_file())
        return {path: path.stat().st_mtime_ns for path in files}

    before, sheet = stamps(), (evening / "run-sheet.pdf").read_bytes()
    code, said = run(capsys, str(jobs), "-o", str(evening))
    assert code == 0
    assert [jig["state"] for jig in said["jigs"]] == ["found"] * 2
    the_print_job_is_that_of_the_folders(said["print_job"], sheet, evening)
    assert stamps() == before
    assert (evening / "run-sheet.pdf").read_bytes() == sheet


def its_jigs_go_on_the_shelf_and_the_next_evening_prints_none(evening, jobs, capsys, tmp_path):
    file, sheet = tmp_path / "shelf.sqlite", (evening / "run-sheet.pdf").read_bytes()
    assert (
        run(capsys, str(jobs), "-o", str(evening), "--add-to-shelf", "--shelf", str(file))[0] == 0
    )
    assert (evening / "run-sheet.pdf").read_bytes() == sheet
    with open_shelf(file) as shelf:
        marks = {jig.mark for jig in shelf.jigs()}
        for mark in marks:
            shelf.do(mark, "printed")
    code, said = run(capsys, str(jobs), "-o", str(tmp_path / "next"), "--shelf", str(file))
    assert (code, said["to_make"], said["lower_bound"], said["print_job"]) == (0, 0, 0, None)
    assert {jig["jig_mark"] for jig in said["jigs"]} == marks
    assert [jig["state"] for jig in said["jigs"]] == ["owned"] * 2
    assert [path.name for path in (tmp_path / "next").iterdir()] == ["run-sheet.pdf"]
    before = run(capsys, str(jobs), "-o", str(evening))[1]["jigs"]
    facts = ("holes", "drill", "depth", "bush_top", "from_tip")
    now, then = (
        [[[stop[fact] for fact in facts] for stop in jig["stops"]] for jig in jigs]
        for jigs in (said["jigs"], before)
    )
    assert now == then


def a_folder_is_found_again_only_whole_verified_and_for_the_same_inputs(folder):
    manifest = json.loads((folder / "manifest.json").read_text())
    key, drawing = manifest["key"], (folder / "layout.svg").read_text()
    assert is_finished(folder, key)
    assert not is_finished(folder, "0" * 64)
    assert not is_finished(folder.parent, key)
    (folder / "layout.svg").write_text("<svg/>")
    assert not is_finished(folder, key)
    (folder / "layout.svg").write_text(drawing)
    (folder / "more.svg").write_text(drawing)
    assert not is_finished(folder, key)
    (folder / "more.svg").unlink()
    (folder / "notes.txt").write_text("mine")
    assert is_finished(folder, key)
    for harm in (
        manifest | {"verification": manifest["verification"] | {"passed": False}},
        [],
        {"key": key},
    ):
        (folder / "manifest.json").write_text(json.dumps(harm))
        assert not is_finished(folder, key)


def the_print_job_is_that_of_the_folders(said, pdf: bytes, evening):
    made = [json.loads(path.read_text()) for path in evening.glob("*/manifest.json")]
    beds = {(bed["file"], bed["grams"]) for bed in said["beds"]}
    assert len(beds) + said["beds_spared"] == sum(len(one["beds"]) for one in made)
    mass = sum(p["printed"] * p["count"] for one in made for p in one["plastic"]["parts"])
    assert said["grams_without_sharing"] == pytest.approx(mass, abs=0.1)
    # Two pinions of 3.9 g and two knobs of 6.8 g are there from the first jig: their files are
    # the same; the rails are for other skis.
    shared = {one["what"]: (one["each"], one["shared"]) for one in said["parts"]}
    assert shared["pinion"] == shared["knob"] == (4, 2)
    assert shared["rail, of 2 kinds"] == (8, 8)
    assert 2 * (3 + 6) < said["grams_without_sharing"] - said["grams"] < 2 * (4 + 7)
    text = " ".join(page.text for page in read_pages(pdf))
    for words in (
        "To print and to buy",
        "Beds in the order they are printed",
        "leave out 2",
        "Put on, from a jig before: 2 × knob, 2 × pinion",
    ):
        assert words in text


def a_plan_says_which_jigs_are_still_to_be_built(evening, jobs, capsys):
    plan = (str(jobs), "-o", str(evening), "--plan")
    assert [jig["state"] for jig in run(capsys, *plan)[1]["jigs"]] == ["found"] * 2
    assert main(["evening", *plan]) == 0
    out = capsys.readouterr().out
    assert out.count("already there") == 2 and "planned" not in out and "To build" not in out
    shutil.rmtree(next(path for path in evening.iterdir() if path.is_dir()))
    assert sorted(jig["state"] for jig in run(capsys, *plan)[1]["jigs"]) == ["found", "planned"]
    assert main(["evening", *plan]) == 0
    out = capsys.readouterr().out
    assert "To build: 1 of 2 jigs, 1 already there" in out
    assert "Of the 1 jig built so far:" in out


# -- keys ----------------------------------------------------------------------------------------


def test_a_key_changes_with_all_that_decides_a_jig_and_nothing_else():
    hut = read_pattern(find_pattern("hut-plate"))
    wanted = Job(hut, (305.0, 305.0), Settings(SkiRange(84.0, 112.0)))

    def key(**changes) -> str:
        return key_of(replace(wanted, **changes))

    others = [
        key(boots=(300.0, 305.0)),
        key_of(replace(wanted, settings=replace(wanted.settings, ski=SkiRange(84.0, 113.0)))),
        key(core="metal"),
        key(shift=1.0),
        key(side="right"),
        key(pattern=replace(hut, area=read_pattern(find_pattern("club-piste")).area)),
        key(settings=replace(wanted.settings, bush_fit=0.15)),
        key(limits=DrillingLimits(edge=9.0)),
        key(measured=SkiState(thickness=(22.0,))),
        key(printer=Profile(name="mine", hole=-0.1)),
    ]
    assert len({key(), *others}) == len(others) + 1
    assert key() == key(pattern=replace(hut, source="/elsewhere/hut.toml", note="another"))


# -- failures, without building ------------------------------------------------------------------


NOWHERE = ThreadPoolExecutor(1)  # it is handed through and does nothing
DIED = Finding("batch.worker-died", "the process that did this job ended by signal 9")


def serially(work, tasks, _executor):
    """In place of processes: that of the second task is killed, the others are worked off."""
    for n, task in enumerate(tasks):
        yield Done(task, *((None, (DIED,)) if n == 1 else outcome_of(work, task)))


@pytest.fixture
def quick(monkeypatch):
    """No design is made to find out what a jig can serve."""
    monkeypatch.setattr("jiggen.evening.families.fits", lambda *_: True)


@pytest.fixture
def pretended(quick, monkeypatch):
    """Building takes no time; the jig that is `hurt` fails, the second one is killed."""
    hurt: dict[str, Exception] = {}

    def pretend(job, target, *, key, force):
        if error := hurt.get(job.core):
            raise error

        class Made:
            class verification:  # noqa: N801
                passed = True

            class record:  # noqa: N801
                jig_mark = "K7F3H"

            folder, warnings = target, ()

        return Made

    monkeypatch.setattr("jiggen.pipeline.products.build_jig", pretend)
    monkeypatch.setattr(building, "do_all", serially)
    monkeypatch.setattr(building, "records_of", lambda _: ())
    return hurt


@pytest.mark.parametrize(
    "error",
    [
        CheckFailed(Finding("accuracy.mesh", "teeth lose mesh")),
        InputError(Finding("export.in-the-way", "in the way")),
        OSError(28, "No space left on device"),
        ZeroDivisionError("a defect"),
    ],
    ids=lambda error: type(error).__name__,
)
def test_what_goes_wrong_with_one_jig_spoils_no_other(pretended, plan, tmp_path, error):
    pretended["metal"] = error
    done = []
    outcomes = build_evening(plan, tmp_path, executor=NOWHERE, done=done.append)
    assert [done.count(outcome) for outcome in outcomes] == [1, 1, 1]
    states = {
        (jig.job.core, jig.job.shift): outcome.state
        for jig, outcome in zip(plan.jigs, outcomes, strict=True)
    }
    failed = {("metal", 0.0)} | {(plan.jigs[1].job.core, plan.jigs[1].job.shift)}
    assert {key for key, state in states.items() if state == "failed"} == failed
    assert set(states.values()) == {"built", "failed"}


def test_what_a_killed_process_left_is_removed(pretended, plan, tmp_path):
    name = building.task_of(plan.jigs[1].job, tmp_path, False).folder.name
    (tmp_path / f".{name}.halfdone.part" / "parts").mkdir(parents=True)
    outcomes = build_evening(plan, tmp_path, executor=NOWHERE)
    assert [fault.code for fault in outcomes[1].faults] == ["batch.worker-died"]
    assert not list(tmp_path.iterdir())


def test_failed_jigs_end_in_1_and_their_tickets_are_not_to_be_drilled(
    pretended, jobs, tmp_path, capsys
):
    pretended["metal"] = CheckFailed(Finding("accuracy.mesh", "teeth lose mesh"))
    code, said = run(capsys, str(jobs), "-o", str(tmp_path / "out"))
    assert code == 1
    failed = [jig for jig in said["jigs"] if jig["state"] == "failed"]
    tickets = {task["ticket"] for jig in failed for task in jig["tasks"]}
    assert "H3" in tickets
    assert set(said["do_not_drill"]) == tickets
    text = " ".join(p.text for p in read_pages((tmp_path / "out" / "run-sheet.pdf").read_bytes()))
    assert "DO NOT DRILL" in text
    code = main(["evening", str(jobs), "-o", str(tmp_path / "out")])
    out = capsys.readouterr().out
    assert code == 1
    assert "FAILED" in out
    assert "DO NOT DRILL: " in out


def test_names_from_files_stay_within_the_folder(pretended, tmp_path):
    text = find_pattern("hut-plate").read_text()
    for number, name in enumerate(("../../up", "/etc/x", "CON", "…", "x" * 80)):
        (tmp_path / f"p{number}.toml").write_text(text.replace("Arvenal Hut Plate", name))
    rows = "".join(f"T{n},p{n}.toml,305,96,94\n" for n in range(5))
    (tmp_path / "jobs.csv").write_text("ticket,pattern,boot,ski_toe,ski_heel\n" + rows)
    with pytest.raises(InputError) as caught:  # 80 characters are too many for a name
        plan_evening(read_jobs(tmp_path / "jobs.csv"), TERMS)
    assert any(finding.code == "pattern.name" for finding in caught.value.findings)
    hut = read_pattern(find_pattern("hut-plate"))
    for name in ("../../up", "/etc/x", "CON", "…", "a\\b:c", "x" * 300):
        wanted = Job(replace(hut, name=name), (305.0, 305.0), TERMS.settings)
        folder = building.task_of(wanted, tmp_path / "out", False).folder
        assert folder.parent == tmp_path / "out"
        assert folder.name.rpartition("-")[2].isalnum()
        assert len(folder.name) < 90


def test_boots_that_move_the_holes_get_halves_with_ladders():
    club = read_pattern(find_pattern("club-piste"))
    wanted = Job(club, (295.5, 305.0), Settings(SkiRange(84.0, 112.0)), shift=2.0)
    plan = plan_jig(wanted)
    assert plan.known.boots == (295.0, 305.0)
    ladders = [half.ladder for half in plan.known.reusable.halves if half.ladder]
    assert [ladder.half for ladder in ladders] == ["toe", "heel"]
    assert plan.design.settings.ski == SkiRange(84.0, 112.0)
    assert plan.design.layout.mount_shift == 2.0


# -- the command ---------------------------------------------------------------------------------


def test_a_plan_alone_builds_nothing(quick, jobs, tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, said = run(capsys, str(jobs), "--plan")
    assert code == 0
    assert [jig["state"] for jig in said["jigs"]] == ["planned"] * 3
    assert (said["pairs"], said["skis"], said["lower_bound"]) == (4, 8, 3)
    assert not list(tmp_path.iterdir())


def test_all_build_settings_reach_every_jig(jobs, capsys, monkeypatch, tmp_path):
    seen = []
    monkeypatch.setattr("jiggen.evening.families.fits", lambda job: seen.append(job) or True)
    (tmp_path / "shed.toml").write_text(
        'profile = 1\nname = "shed"\nmaterial = "ASA"\nhole = -0.1\nwall = 0.1\nslide = 0.3\n'
    )
    words = ["--material", "asa", "--body", "12", "--slide", "0.25", "--bush", "none"]
    words += ["--printer", str(tmp_path / "shed.toml"), "--sidewall", "rounded", "--edge", "9"]
    code, _ = run(capsys, str(jobs), "--plan", *words)
    assert code == 0
    for job in seen:
        made = job.settings
        assert (made.material, made.body, made.bush) == ("ASA", 12.0, "none")
        assert (made.sidewall, job.limits.edge, job.printer.name) == ("rounded", 9.0, "shed")
    # A jig must be possible as it is asked for, and as the printer needs its parts.
    assert len({job.settings.slide for job in seen}) == 2


def test_faults_are_errors_with_line_and_column(quick, tmp_path, capsys):
    path = tmp_path / "jobs.csv"
    path.write_text(SMALL.replace("96,5", "96,5,1").replace(";metal", ";steel"))
    assert main(["evening", str(path), "-o", str(tmp_path / "out")]) == 2
    err = capsys.readouterr().err
    assert f"{path}:2: ski_toe: " in err
    assert f"{path}:4: core: " in err
    assert not (tmp_path / "out").exists()


def test_a_ticket_that_cannot_be_printed_is_refused_before_anything_is_built(
    quick, tmp_path, capsys
):
    path = tmp_path / "jobs.csv"
    path.write_text(SMALL.replace("H1", "H山"))
    assert main(["evening", str(path), "-o", str(tmp_path / "out")]) == 2
    assert "ticket" in capsys.readouterr().err
    assert not (tmp_path / "out").exists()


@pytest.mark.parametrize("words", [["--ski-span", "-1"], ["--boots-span", "x"]])
def test_spans_that_are_none(jobs, words, capsys):
    assert main(["evening", str(jobs), *words]) == 2
    assert words[0] in capsys.readouterr().err


def test_an_out_folder_that_cannot_be(quick, jobs, tmp_path, capsys):
    (tmp_path / "file").write_text("")
    assert main(["evening", str(jobs), "-o", str(tmp_path / "file")]) == 2
    assert "--out" in capsys.readouterr().err


def test_outcomes_do_not_change_the_sheet_of_a_plan(plan, tmp_path):
    built, found = (
        run_sheet_pdf(plan, [Outcome(state, tmp_path / f"jig-{n}") for n in range(3)])
        for state in ("built", "found")
    )
    assert built == found


def test_a_cluster_that_does_not_answer(quick, jobs, tmp_path, capsys, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr("jiggen.executors.PATIENCE", 0.2)
    words = ["--cluster", "tcp://127.0.0.1:1", "-o", str(tmp_path / "out")]
    assert main(["evening", str(jobs), *words]) == 2
    assert "no cluster answers at tcp://127.0.0.1:1" in capsys.readouterr().err

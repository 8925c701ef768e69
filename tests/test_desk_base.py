"""The desk's base: forms from the options' rows, long work in processes, the guard's words."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from pathlib import Path

from desk_client import OWN
from starlette.testclient import TestClient

from jiggen.desk.forms import entered, fill
from jiggen.desk.works import Work, Works
from jiggen.errors import Finding, InputError
from jiggen.pipeline.witness import Process, witness
from jiggen.progress import announce
from jiggen.request.products import JIG


def say_and_return(value: int) -> int:
    announce("counting")
    if value < 0:
        raise InputError.of("test.below", "a number below 0", key="number")
    return value + 1


def sleep_long() -> None:
    with witness() as verifier:
        assert isinstance(verifier, Process)  # for one that is alone there is a core
        announce(str(verifier.process.pid))
        time.sleep(60)


def lives(number: int) -> bool:
    """Whether there is a process of that number; one that nobody has waited for is none."""
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    state = Path(f"/proc/{number}/stat")
    return not state.exists() or state.read_text().rpartition(")")[2].split()[0] != "Z"


def wait_for(fact: Callable[[], bool]) -> None:
    until = time.monotonic() + 60
    while not fact():
        assert time.monotonic() < until, "it does not end"
        time.sleep(0.02)


def ended(works: Works, work: Work) -> Work:
    wait_for(lambda: work.over)
    return work


def test_a_form_reads_what_the_command_line_reads():
    words = {"pattern": ["club-piste"], "boot": ["305"], "ski": ["84-112"], "shift": ["-5"]}
    filled = fill(JIG, words)
    assert filled.value is not None
    assert (filled.value.boot, filled.value.ski, filled.value.shift) == (305.0, (84.0, 112.0), -5.0)
    assert filled.command == "jiggen build club-piste --boot 305 --ski 84-112 --shift=-5"


def test_every_fault_stands_beside_its_field():
    filled = fill(JIG, {"pattern": ["club-piste"], "boot": ["three"], "core": ["wood"]})
    assert filled.value is None
    faulty = {name for name, field in filled.fields.items() if field.faults}
    assert faulty == {"boot", "core", "ski"}
    assert not filled.faults
    assert filled.groups[0].open


def test_nothing_is_wrong_with_an_empty_form():
    filled = fill(JIG, {})
    assert not filled.asked and not filled.faults
    assert not any(field.faults for field in filled.fields.values())


def test_lines_of_one_field_are_several_words():
    assert entered([("width-at", "150:96\r\n-150:94\n"), ("boot", " ")]) == {
        "width-at": ["150:96", "-150:94"]
    }


def test_work_tells_its_steps_and_its_result(works: Works):
    work = works.start("count", say_and_return, 4, key="count", address="/", then=lambda n: f"/{n}")
    assert ended(works, work).state == "done"
    assert (work.steps, work.result, work.next_address) == (["counting"], 5, "/5")


def test_what_is_wrong_with_work_is_kept(works: Works):
    work = ended(works, works.start("count", say_and_return, -1, key="below", address="/"))
    assert work.state == "failed" and not work.next_address
    assert [finding.message for finding in work.findings] == ["a number below 0"]


def test_work_of_one_key_is_begun_once_and_can_be_cancelled(works: Works):
    work = works.start("sleep", sleep_long, key="sleep", address="/")
    assert works.start("sleep", sleep_long, key="sleep", address="/") is work
    wait_for(lambda: bool(work.steps))
    verifier = int(work.steps[0])
    assert lives(verifier)
    works.cancel(work)
    assert ended(works, work).state == "cancelled"
    wait_for(lambda: not lives(verifier))
    again = works.start("count", say_and_return, 1, key="after", address="/")
    assert ended(works, again).result == 2


def test_pages_carry_the_policy_and_the_menu(desk: TestClient):
    answer = desk.get("/")
    assert answer.status_code == 200
    assert "default-src 'self'" in answer.headers["content-security-policy"]
    assert 'href="/jig"' in answer.text


def test_a_jig_is_drawn_as_it_is_entered(desk: TestClient):
    answer = desk.get("/jig?pattern=club-piste&boot=305&ski=84-112")
    assert answer.text.count("<circle cx=") == 9
    assert "jiggen build club-piste --boot 305 --ski 84-112" in answer.text
    faulty = desk.get("/jig?pattern=club-piste&boot=abc&ski=84-112")
    assert "<circle cx=" not in faulty.text and "is not a length" in faulty.text


def test_work_is_shown_and_what_is_unknown_is_not(desk: TestClient, works: Works):
    work = ended(works, works.start("count", say_and_return, -1, key="shown", address="/jig"))
    answer = desk.get(f"/work/{work.number}")
    assert "A number below 0." in answer.text
    assert desk.get("/work/9999").status_code == 404
    assert desk.get("/nothing").status_code == 404
    assert desk.get("/static/desk.css").headers["content-type"].startswith("text/css")
    assert desk.get("/static/../site.py").status_code == 404


def test_what_is_refused_is_said(desk: TestClient):
    answer = desk.post("/jig?pattern=none&boot=305", headers=OWN)
    assert answer.status_code == 422
    assert "Nothing was changed" in answer.text


def test_a_finding_of_two_options_stands_beside_both():
    filled = fill(JIG, {"pattern": ["club-piste"], "boot": ["305"], "ski": ["84-112"]})
    refused = filled.refused(InputError(Finding("design.bed", "too small", key="ski, bed")))
    assert refused.fields["bed"].faults and refused.fields["ski"].faults
    assert not refused.fields["boot"].faults


def test_names_that_there_are_are_offered(desk: TestClient):
    text = desk.get("/jig").text
    assert '<option value="club-piste">' in text and '<option value="PETG">' in text
    assert 'list="pattern-known"' in text

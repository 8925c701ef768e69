"""What is asked for on a page: patterns by picture, faults at once, an answer a moment later."""

from __future__ import annotations

import re
import threading
import time
from collections.abc import Iterator
from html import unescape
from pathlib import Path

import pytest
from desk_client import OWN, let_in
from starlette.testclient import TestClient

from jiggen.desk.answers import Answers
from jiggen.desk.works import Works
from jiggen.errors import InputError
from jiggen.pattern import find_pattern, read_pattern
from jiggen.pattern.find import shipped_patterns

ASKED = "pattern=club-piste&boot=305&ski=84-112"
CLUB = find_pattern("club-piste").read_bytes()


@pytest.fixture
def desk(works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    with let_in(works) as client:
        yield client


def faults_of(text: str, field: str) -> list[str]:
    """What stands beside a field."""
    beside = re.search(rf'<div id="{field}-faults".*?</div>', text, re.DOTALL)
    assert beside
    return re.findall(r'class="fault">([^<]*)', unescape(beside[0]))


def send(desk: TestClient, name: str, data: bytes, query: str = "to=trial&boot=305"):
    return desk.post(f"/patterns?{query}", files={"file": (name, data)}, headers=OWN)


def test_every_known_pattern_is_picked_by_its_picture_and_what_was_entered_is_kept(
    desk: TestClient, tmp_path: Path
):
    (tmp_path / "patterns").mkdir()
    (tmp_path / "patterns" / "broken.toml").write_text('name = "x"\nformat = 1\n')
    (tmp_path / "patterns" / "skew-plate.toml").write_bytes(CLUB)
    text = unescape(desk.get("/patterns?to=jig&boot=305&width-at=0:90&width-at=100:91").text)
    links = re.findall(r'<a href="(/jig\?[^"]*pattern=([^"&]*))"', text)
    hidden = str(find_pattern(shipped_patterns()[0]).parent / "skew-plate.toml")
    names = {path.stem for path in shipped_patterns()}
    assert {name for _, name in links} == names | {hidden.replace("/", "%2F")}
    assert all("boot=305&width-at=0%3A90&width-at=100%3A91" in link for link, _ in links)
    assert "patterns/broken.toml:" in text and "broken: it cannot" not in text
    holes = len(re.findall("<circle", text))
    drawn = [read_pattern(path) for path in shipped_patterns()]
    one_more = read_pattern(find_pattern("club-piste"))
    count = sum(
        1 + hole.both_sides for p in (*drawn, one_more) for g in p.groups for hole in g.holes
    )
    assert holes == count


def test_without_a_pattern_the_page_of_a_jig_shows_them(desk: TestClient):
    assert desk.get("/jig?boot=305").text.count("<figure>") == len(shipped_patterns())
    assert "<figure>" not in desk.get(f"/jig?{ASKED}").text
    assert "/patterns" not in desk.get("/gauge").text


@pytest.mark.parametrize(
    "name", ["My Plate.toml", "C:\\shop\\My Plate.TOML", "../../My Plate.toml"]
)
def test_a_sound_file_is_kept_under_a_plain_name(desk: TestClient, tmp_path: Path, name: str):
    answer = send(desk, name, CLUB)
    assert answer.headers["location"] == "/trial?boot=305&pattern=my-plate"
    assert [p.name for p in tmp_path.rglob("*") if p.is_file()] == ["my-plate.toml"]
    assert (tmp_path / "patterns" / "my-plate.toml").read_bytes() == CLUB
    assert send(desk, name, CLUB).status_code == 303  # the same again


@pytest.mark.parametrize(
    ("name", "data", "said"),
    [
        ("bad.toml", b'name = "x"\n[[group]]\nname = "a"\n', "bad.toml:2:1"),
        ("bad.toml", b"name = \xff\n", "bad.toml:1:8: Byte 8 (0xff) is not UTF-8 text"),
        ("bad.toml", b"#" * 1_000_001, "bad.toml: Larger than 1,000,000 bytes"),
        ("drawing.dxf", CLUB, "drawing.dxf: It is a drawing"),
        ("club-piste.toml", CLUB + b"\n", "there is already a pattern club-piste"),
        ("", b"", "no file was chosen"),
    ],
)
def test_any_other_file_is_refused_with_its_faults(
    desk: TestClient, tmp_path: Path, name: str, data: bytes, said: str
):
    answer = send(desk, name, data)
    assert answer.status_code == 422
    assert said.lower() in unescape(answer.text).lower()
    assert not (tmp_path / "patterns").exists()


def test_a_file_replaces_no_other(desk: TestClient, tmp_path: Path):
    send(desk, "mine.toml", CLUB)
    answer = send(desk, "mine.toml", CLUB + b"# another\n")
    assert answer.status_code == 422 and "already a pattern mine" in answer.text
    assert (tmp_path / "patterns" / "mine.toml").read_bytes() == CLUB


@pytest.mark.parametrize(
    ("query", "field", "said"),
    [
        ("pattern=wide&boot=305&ski=84-112", "ski", "44 mm from the centre line"),
        (f"{ASKED}&thickness=8", "thickness", "out of the base by 2.63 mm"),
        (f"{ASKED}&area=-200/100/40", "area", "outside the allowed area"),
        ("pattern=club-piste&boot=500&ski=84-112", "boot", "500"),
        ("pattern=nothing&boot=305&ski=84-112", "pattern", "no pattern"),
        ("pattern=club-piste&boot=3,o5&ski=84-112", "boot", "is not a length"),
    ],
)
def test_a_fault_that_needs_no_design_stands_beside_its_field_at_once(
    desk: TestClient, query: str, field: str, said: str
):
    send(desk, "wide.toml", CLUB.replace(b"17.3", b"44.0"))
    text = desk.get(f"/jig?{query}").text
    assert any(said in fault.lower() for fault in faults_of(text, field)), faults_of(text, field)
    assert "data-later" not in text and 'class="main"' not in text


def test_whether_one_jig_can_do_it_is_asked_later(desk: TestClient):
    quick = unescape(desk.get(f"/jig?{ASKED}").text)
    assert f'data-later="/jig/answer?{ASKED}"' in quick
    slow = desk.get(f"/jig/answer?{ASKED}").text
    assert "One jig can do this" in slow and "Expect 95 of 100 holes" in slow
    assert "data-later" not in slow


def test_what_no_jig_can_do_is_said_with_what_is_nearest(desk: TestClient):
    query = "pattern=club-piste&boot=305&ski=60-160"
    text = desk.get(f"/jig/answer?{query}").text
    assert "It cannot be built like this" in text and "60-105 and 85-160" in text


def wait_and_say(word: str) -> str:
    time.sleep(0.5 if word == "slow" else 0.0)
    if word == "wrong":
        raise InputError.of("test.wrong", "it is wrong")
    return word


def test_of_the_questions_of_one_page_the_latest_counts(works: Works):
    answers, found = Answers(works.executor), {}

    def ask(word: str, asker: str) -> None:
        found[word] = answers.ask(asker, wait_and_say, word)

    threads = [
        threading.Thread(target=ask, args=asked)
        for asked in (("slow", "one"), ("early", "two"), ("late", "two"), ("other", "three"))
    ]
    for thread in threads:
        thread.start()
        time.sleep(0.1)
    for thread in threads:
        thread.join(30)
    assert found == {
        "slow": ("slow", ()),
        "early": None,
        "late": ("late", ()),
        "other": ("other", ()),
    }
    value, findings = answers.ask("one", wait_and_say, "wrong") or ("", ())
    assert value is None and [one.message for one in findings] == ["it is wrong"]

"""The shelf's pages: a print found by its mark, what speaks against it, what was done with it."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from desk_client import OWN, let_in
from starlette.testclient import TestClient
from test_shelf_store import MARK, sample

from jiggen.desk.works import Works
from jiggen.request.shelf import SHELF_FILE
from jiggen.shelf.events import Event, now
from jiggen.shelf.store import open_shelf


@pytest.fixture
def desk(works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[TestClient]:
    monkeypatch.chdir(tmp_path)
    with open_shelf() as shelf, shelf._writing():
        shelf._put(sample(folder=tmp_path / "out" / "a"))
        shelf._note(Event(MARK, now(), "Resi", "added"))
    with let_in(works) as client:
        yield client


def test_an_empty_shelf_is_not_made_by_looking(
    works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    monkeypatch.chdir(tmp_path)
    with let_in(works) as client:
        assert "The shelf is empty" in client.get("/shelf").text
        assert "No jig marked K7F3H" in client.get(f"/shelf?mark={MARK}").text
        assert client.get(f"/shelf/{MARK}").status_code == 404
        done = {"doing": "printed"}
        assert client.post(f"/shelf/{MARK}/do", data=done, headers=OWN).status_code == 422
    assert not SHELF_FILE.exists()


@pytest.mark.parametrize("typed", ["K7F3H", "k7f3h", " k7 f3h "])
def test_a_mark_as_it_is_typed_leads_to_its_print(desk: TestClient, typed: str):
    answer = desk.get("/shelf", params={"mark": typed})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/shelf/{MARK}")


@pytest.mark.parametrize(
    ("typed", "said"), [("AAAA3", "no jig marked AAAA3"), ("K7F0H", "K7F0H"), ("K7", "K7")]
)
def test_a_mark_that_is_not_there_is_said_beside_the_field(desk: TestClient, typed: str, said: str):
    answer = desk.get("/shelf", params={"mark": typed})
    assert answer.status_code == 200
    assert said.lower() in answer.text.lower() and "field wrong" in answer.text


def test_the_list_says_what_speaks_against_a_print(desk: TestClient):
    text = desk.get("/shelf").text
    assert MARK in text and "it was never measured" in text
    assert "Arvenal Club Piste, boot 305, ski 84–112" in text


def test_what_is_done_is_noted_with_who(desk: TestClient):
    def did(**form: str) -> None:
        answer = desk.post(f"/shelf/{MARK}/do", data={"by": "Resi", **form}, headers=OWN)
        assert answer.status_code == 303

    did(doing="printed")
    did(doing="drilled", pairs="3")
    did(doing="drilled", pairs="-1")
    did(doing="note", text="the toe half is chipped <b>")
    with open_shelf() as shelf:
        jig = shelf.known(MARK)
    assert (jig.pairs, jig.state, jig.note) == (2, "in use", "the toe half is chipped <b>")
    text = desk.get(f"/shelf/{MARK}").text
    assert "chipped &lt;b&gt;" in text and 'value="Resi"' in text
    assert "Before you drill" in text


@pytest.mark.parametrize(
    ("form", "code"),
    [
        ({"doing": "added"}, 404),
        ({"doing": "measured"}, 404),
        ({"doing": "drilled", "pairs": "many"}, 422),
        ({"doing": "drilled", "pairs": "-1"}, 422),
        ({}, 404),
    ],
)
def test_what_makes_no_sense_changes_nothing(desk: TestClient, form: dict[str, str], code: int):
    assert desk.post(f"/shelf/{MARK}/do", data=form, headers=OWN).status_code == code
    with open_shelf() as shelf:
        assert [event.doing for event in shelf.events(MARK)] == ["added"]


def test_only_a_folder_that_is_there_can_be_added(desk: TestClient):
    answer = desk.post("/shelf/add", data={"folder": "../a"}, headers=OWN)
    assert answer.status_code == 422 and "no such folder" in answer.text
    assert desk.get("/shelf/AAAA3").status_code == 404

"""Which jig for this pair, on the page: the words of the command, and what to build."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from html import unescape
from pathlib import Path
from urllib.parse import parse_qs, urlsplit

import pytest
from desk_client import let_in
from starlette.testclient import TestClient

from jiggen.cli import main
from jiggen.desk.works import Works
from jiggen.shelf.store import open_shelf


@pytest.fixture
def desk(
    built, works: Works, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[TestClient]:
    monkeypatch.chdir(tmp_path)
    shutil.copytree(built.folder, tmp_path / "out" / "club")
    with open_shelf() as shelf:
        shelf.add(tmp_path / "out" / "club")
    with let_in(works) as client:
        yield client


def words_of(text: str) -> str:
    return " ".join(unescape(re.sub(r"<[^>]*>", " ", text)).split())


def test_the_jig_to_take_is_named_as_by_the_command(desk: TestClient, capsys):
    page = desk.get("/which", params={"pattern": "club-piste", "boot": "305", "ski": "98/96"}).text
    words = words_of(page)
    assert main(["shelf", "find", "club-piste", "--boot", "305", "--ski", "98/96"]) == 0
    out = capsys.readouterr().out
    mark = re.search(r"jig marked (\w{5})", out)[1]
    assert f"Take the jig marked {mark}" in words
    rails = re.search(r"Rails: .*?read about (.*)", out)[1]
    for reading in re.findall(r"\d+\.\d", rails):
        assert reading in words
    assert "It was never measured" in words and "Wear eye protection" in words
    assert "jiggen shelf find club-piste --boot 305 --ski 98/96" in words
    assert "Sheet and files" in words


@pytest.mark.parametrize(
    ("changed", "reason"),
    [({"boot": "306"}, "not 306 mm"), ({"ski": "130/128"}, "130"), ({"core": "metal"}, "metal")],
)
def test_where_none_fits_it_says_why_and_what_to_build(
    desk: TestClient, changed: dict[str, str], reason: str
):
    asked = {"pattern": "club-piste", "boot": "305", "ski": "98/96", **changed}
    page = desk.get("/which", params=asked).text
    words = words_of(page)
    assert "No jig on the shelf serves this pair" in words and reason in words
    address = unescape(re.search(r'class="button main" href="(/jig[^"]*)"', page)[1])
    given = parse_qs(urlsplit(address).query)
    assert (given["pattern"], given["boot"]) == (["club-piste"], [asked["boot"]])
    assert "Build" in desk.get(address).text


def test_what_is_wrong_stands_beside_its_field(desk: TestClient):
    page = desk.get("/which", params={"pattern": "club-piste", "boot": "26.5", "ski": "98"}).text
    assert "shoe size" in page and "Take the jig" not in page
    empty = desk.get("/which").text
    assert 'class="fault"' not in empty and "Take the jig" not in empty


def test_no_other_shelf_is_opened_for_a_page(desk: TestClient):
    asked = {"pattern": "club-piste", "boot": "305", "ski": "98", "shelf": "/etc/passwd"}
    words = words_of(desk.get("/which", params=asked).text)
    assert "Take the jig marked" in words and "passwd" not in words

"""The shelf at the desk, in a browser, with a jig that is there already."""

from __future__ import annotations

import shutil

import pytest
from accessibility import violations
from browser import Tab, chromium, find_chromium
from desks import desk_here

from jiggen.verify import certify

PROGRAM = find_chromium()
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium found")

MARKED = "document.querySelector('main a.mark')?.innerText"


@pytest.fixture(scope="module")
def desk(built, tmp_path_factory):
    place = tmp_path_factory.mktemp("desk") / "Werkstatt im Tal"
    place.mkdir()
    shutil.copytree(built.folder, place / "out" / built.folder.name)
    certify(place / "out" / built.folder.name)  # as it was when it was built
    with desk_here(place) as opened:
        yield opened


@pytest.fixture(scope="module")
def tab(desk, tmp_path_factory):
    with chromium(PROGRAM, tmp_path_factory.mktemp("profile")) as opened:
        opened.open(desk.address)
        opened.wait("location.search === ''")
        yield opened


def pair_at(tab: Tab, boot: str, ski: str) -> str | None:
    """The jig mark that the shelf names for a pair, if it has a jig for it."""
    tab.follow("nav a[href='/which']")
    tab.fill("#pattern", "club-piste")
    tab.fill("#boot", boot)
    tab.fill("#ski", ski)
    tab.follow("main form button.main")
    assert violations(tab) == []
    return tab.run(MARKED) if "Take the jig" in tab.words("main") else None


@pytest.fixture(scope="module")
def mark(desk, tab):
    """Of the jig that a person found among what was built, and put on the shelf."""
    tab.open(f"{desk.origin}/made")
    tab.follow("main .doors a")
    tab.follow("form[action='/shelf/add'] button")
    assert violations(tab) == []
    return tab.run("document.querySelector('h1').innerText")


def test_the_shelf_answers_for_three_pairs_one_of_which_has_no_jig(desk, tab, mark):
    tab.open(f"{desk.origin}/")
    assert pair_at(tab, "305", "98/96") == mark
    assert pair_at(tab, "305", "86/84") == mark
    assert pair_at(tab, "290", "98/96") is None
    tab.follow("main a.button.main")  # what to build
    assert tab.run("location.pathname") == "/jig"
    assert tab.run("document.querySelector('#boot').value") == "290"

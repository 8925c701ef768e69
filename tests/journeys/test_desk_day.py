"""A day at the desk, in a browser, with a jig and a gauge that are there already."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np
import pytest
from accessibility import violations
from browser import Tab, chromium, find_chromium
from desks import desk_here
from printer_samples import read_gauge
from test_desk_printer import CLUB, put_gauge, typed

from jiggen.cli import main
from jiggen.desk.folders import address_of, built_folders
from jiggen.desk.site import menu
from jiggen.verify import certify

PROGRAM = find_chromium()
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium found")

SAMPLE = Path(__file__).parents[1] / "data" / "survey.toml"
SLOW = 60.0  # s: what a busy machine may need for a plan
MARKED = "document.querySelector('main a.mark')?.innerText"


@pytest.fixture(scope="module")
def desk(built, tmp_path_factory):
    place = tmp_path_factory.mktemp("desk") / "Werkstatt im Tal"
    place.mkdir()
    shutil.copytree(built.folder, place / "out" / built.folder.name)
    certify(place / "out" / built.folder.name)  # as it was when it was built
    with desk_here(place) as opened, pytest.MonkeyPatch.context() as patch:
        patch.setenv("JIGGEN_PRINTERS", str(place / "printers"))
        put_gauge(place / "out" / "gauge")
        yield opened


@pytest.fixture(scope="module")
def tab(desk, tmp_path_factory):
    with chromium(PROGRAM, tmp_path_factory.mktemp("profile")) as opened:
        opened.open(desk.address)
        opened.wait("location.search === ''")
        yield opened


def enter(tab: Tab, name: str, words: str) -> None:
    """Fill in a field of rows among which faults come and go, and move nothing."""
    tab.fill(f"[id='{name}']", words)
    assert tab.run(f"document.getElementById({name!r}).value") == words


def pair_at(tab: Tab, boot: str, ski: str) -> str | None:
    """The jig mark that the shelf names for a pair, if it has a jig for it."""
    tab.follow("nav a[href='/which']")
    tab.fill("#pattern", "club-piste")
    tab.fill("#boot", boot)
    tab.fill("#ski", ski)
    tab.follow("main form button.main")
    assert violations(tab) == []
    return tab.run(MARKED) if "Take the jig" in tab.words("main") else None


def built_page(desk) -> str:
    """The page of the jig."""
    (folder,) = (path for path in (desk.folder / "out").iterdir() if path.name != "gauge")
    return address_of(folder)


@pytest.fixture(scope="module")
def mark(desk, tab):
    """Of the jig that a person found among what was built, and put on the shelf."""
    tab.open(f"{desk.origin}/made")
    tab.follow(f"main a[href='{built_page(desk)}']")
    tab.follow("form[action='/shelf/add'] button")
    tab.follow("button[value=printed]")
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


def test_on_a_phone_all_pages_are_behind_one_button(desk, tab):
    tab.open(f"{desk.origin}/shelf", width=390, height=844)
    shut = tab.box("header")[3]
    assert shut < 50  # one line
    tab.run("document.querySelector('.menu summary').focus()")
    tab.press("Enter")
    sizes = [tab.box(f"nav a:nth-child({n + 1})")[2:] for n in range(len(menu()))]
    assert min(map(min, sizes)) >= 44 and tab.box("header")[3] > 5 * shut
    assert violations(tab) == []
    tab.press("Tab")
    tab.press("Enter")
    tab.wait(f"location.pathname === {menu()[0].address!r}")


def test_an_evening_of_five_pairs_is_ticked_off_and_counted(desk, tab, mark):
    tab.open(f"{desk.origin}/evening")
    below = ("#ticket-2", "#ticket-3", "#name")
    places = [tab.box(one) for one in below]
    enter(tab, "ticket-1", "T1")
    tab.wait("document.querySelector('#row-1-faults .fault')")
    assert np.allclose([tab.box(one) for one in below], places, atol=0.5)
    for number, width in enumerate(("98", "94", "90", "88", "100"), start=1):
        row = {"ticket": f"T{number}", "pattern": "club-piste", "boot": "305"}
        for column, words in (row | {"ski_toe": width, "ski_heel": width}).items():
            enter(tab, f"{column}-{number}", words)
    tab.wait(f"document.querySelector('#plan')?.innerText.includes('{mark}')", SLOW)
    assert violations(tab) == []
    tab.fill("#name", "tal")
    tab.follow(".keep button")
    tab.wait("document.querySelector('#build a')", SLOW)
    tab.follow("#build a")
    tab.wait("document.querySelectorAll('button.box').length >= 5", SLOW)
    assert violations(tab) == []
    boxes = tab.run("[...document.querySelectorAll('button.box')].map(b => b.id)")
    assert len(boxes) == 10  # both skis of five pairs
    for box in boxes:
        tab.follow(f"[id='{box}']")
    pressed = "document.querySelectorAll('button.box[aria-pressed=true]').length"
    assert tab.run(pressed) == 10
    tab.follow(f"[id='{boxes[-1]}']")  # taken back
    assert tab.run(pressed) == 9
    second = tab.another()  # sees it, without being asked
    second.open(tab.run("location.href"))
    assert second.run(pressed) == 9
    tab.ask("Page.bringToFront")
    tab.follow(f"[id='{boxes[-1]}']")
    second.ask("Page.bringToFront")
    second.wait(f"{pressed} === 10")
    second.close()
    tab.ask("Page.bringToFront")
    assert violations(tab) == []
    tab.open(f"{desk.origin}/shelf/{mark}")
    assert "Pairs drilled 5" in tab.words(".facts")


def test_a_survey_of_the_sample_plate_becomes_the_pattern_of_the_command(desk, tab):
    tab.open(f"{desk.origin}/survey")
    tab._loaded = False
    tab.give("#file", SAMPLE)
    tab.loaded()
    tab.wait("document.querySelector('#sketch svg')", SLOW)
    assert violations(tab) == []
    tab.follow("form[action^='/survey/pattern'] button.main")
    assert tab.run("location.pathname") == "/jig"
    (pattern,) = (desk.folder / "patterns").glob("*.toml")
    assert main(["survey", str(SAMPLE), "-o", "told.toml"]) == 0  # in the desk's folder, as it is
    assert Path("told.toml").read_text("utf-8") == pattern.read_text("utf-8")


def test_a_gauge_s_readings_become_the_profile_of_the_command(desk, tab):
    words = typed(read_gauge(CLUB, np.random.default_rng(3)))
    (gauge,) = (one for one in built_folders() if one.name == "gauge")
    assert words.pop("gauge") and words.pop("typed")
    tab.open(f"{desk.origin}/printer/readings?gauge={gauge.key}")
    assert violations(tab) == []
    for name, reading in words.items():
        enter(tab, name, reading)
    tab.wait("document.querySelector('#found').innerText.includes('readings are entered')", SLOW)
    enter(tab, "name", "club")
    enter(tab, "material", "grey one")
    tab.follow("button[formaction='/printer/store']")
    assert tab.run("location.pathname + location.search") == "/printer?name=club"
    made = Path("printers/club.toml").read_bytes()
    Path("printers/club.toml").unlink()
    form = ["profile", "fit", "out/gauge/measurements.toml", "--name", "club"]
    assert main([*form, "--material", "grey one"]) == 0
    assert Path("printers/club.toml").read_bytes() == made

"""A person in a browser, from an empty workshop folder: one desk, used for everything in turn."""

from __future__ import annotations

import json
import os
import signal
import time
from io import BytesIO
from pathlib import Path
from zipfile import ZipFile

import pytest
from accessibility import violations
from browser import Tab, chromium, differs, find_chromium
from desks import Knock, desk_process

PROGRAM = find_chromium()
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium found")

FORM = "/jig?pattern=club-piste&boot=305&ski=84-112"
CIRCLES = "document.querySelectorAll('#drawing circle').length"
DRAWN = "document.querySelector('#drawing').innerHTML"
AT_WORK = "document.querySelectorAll('.steps li').length > 1"
BUILD = "#build button.main"
SLOW = 240.0  # s: what a busy machine may need for a build or a verification


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    place = tmp_path_factory.mktemp("desk") / "Werkstatt im Tal"
    place.mkdir()
    with desk_process(place) as opened:
        yield opened


@pytest.fixture(scope="module")
def tab(desk, tmp_path_factory):
    with chromium(PROGRAM, tmp_path_factory.mktemp("profile")) as opened:
        opened.browser.keep_downloads(tmp_path_factory.mktemp("Downloads"))
        opened.open(desk.address)
        opened.wait("location.search === ''")
        yield opened


def sound(desk, tab: Tab) -> None:
    """Nothing is wrong with the page that is open, and it was made by this computer alone."""
    assert violations(tab) == []
    assert tab.complaints == []
    assert [url for url in tab.requests if not url.startswith(f"{desk.origin}/")] == []


def contents(archive: bytes) -> dict[str, bytes]:
    """The files of a zip, without the folder that they are in."""
    with ZipFile(BytesIO(archive)) as opened:
        return {name.partition("/")[2]: opened.read(name) for name in opened.namelist()}


@pytest.fixture(scope="module")
def made(desk, tab):
    """The page of a jig that a person chose, saw and built, and what the browser stored."""
    tab.open(f"{desk.origin}/")
    tab.follow("nav a[href='/jig']")
    tab.fill("#pattern", "club-piste")
    tab.fill("#boot", "315")
    tab.fill("#ski", "84-112")
    tab.wait(f"{CIRCLES} > 8")
    before = tab.run(DRAWN)
    tab.fill("#boot", "305")
    tab.wait(f"{CIRCLES} > 8 && {DRAWN} !== {json.dumps(before)}")
    tab.wait("location.search.includes('boot=305')")
    assert tab.run("location.pathname + location.search") == FORM
    assert "jiggen build club-piste --boot 305 --ski 84-112" in tab.words("#command")
    tab.follow(BUILD)
    address = tab.run("location.href")
    tab.wait(AT_WORK, SLOW)
    sound(desk, tab)

    second = tab.another()  # sees the same
    second.open(address)
    second.wait(AT_WORK, SLOW)
    first_step = "document.querySelector('.steps li').innerText"
    told = second.run(first_step)
    assert "Cancel" in second.words("main")
    tab.ask("Page.bringToFront")
    tab.reload()  # and goes on
    assert tab.run("location.href") == address
    assert tab.wait(first_step) == told
    for one in (tab, second):
        one.ask("Page.bringToFront")
        one.wait("location.pathname.startsWith('/made/')", SLOW)
        one.wait("document.readyState === 'complete'")
    assert second.run("location.href") == tab.run("location.href")
    second.close()
    tab.ask("Page.bringToFront")
    return tab.run("location.href")


def test_a_jig_is_chosen_seen_built_turned_and_taken_away(desk, tab, made, built):
    tab.open(made)
    assert "verified: it may be printed" in tab.words("main .passed").lower()
    start = tab.picture("canvas")
    tab.drag("canvas", 120, 20)
    assert differs(start, tab.picture("canvas")) > 0.1
    sound(desk, tab)

    archive = tab.download("a[href$='/zip']")
    files = contents(archive.read_bytes())
    command = {
        path.relative_to(built.folder).as_posix(): path.read_bytes()
        for path in built.folder.rglob("*")
        if path.is_file()
    }
    assert files.keys() >= {"jig.step", "sheet.pdf", "manifest.json"}
    assert files.keys() <= command.keys()
    assert [name for name in files if files[name] != command[name]] == []
    sheet = tab.download("a[href$='/sheet.pdf']")
    assert sheet.read_bytes() == files["sheet.pdf"]
    assert tab.download("a[href$='/holes']").read_bytes().startswith(b"%PDF")
    assert tab.complaints == []


def test_what_fails_the_verification_offers_no_file(desk, tab, made):
    (folder,) = (path for path in (desk.folder / "out").iterdir() if path.is_dir())
    harmed = next((folder / "parts").glob("body*.stl"))
    kept = harmed.read_bytes()
    harmed.write_bytes(kept[:-50])
    try:
        tab.open(made)  # leads to its verification
        tab.wait("document.querySelector('main .failed')", SLOW)
        tab.open(made)
        assert "DO NOT PRINT" in tab.words("main .failed").upper()
        assert tab.run("document.querySelectorAll('a[download]').length") == 0
        for name in ("zip", "holes", "sheet.pdf", "jig.step"):
            path = made.removeprefix(desk.origin)
            answer = Knock.at(desk, path=f"{path}/{name}").send()
            assert answer.code == 422
            assert "content-disposition" not in answer.headers
        assert violations(tab) == []
    finally:
        harmed.write_bytes(kept)
    tab.open(made)
    tab.wait("document.querySelector('main .passed')", SLOW)


def test_the_same_jig_is_there_already(desk, tab, made):
    tab.open(f"{desk.origin}{FORM}")
    tab.follow("#build a")
    assert tab.run("location.href") == made


def test_a_build_is_cancelled_and_nothing_of_it_stays(desk, tab, made):
    before = desk.state()
    tab.open(f"{desk.origin}{FORM}&shift=-5")
    tab.follow(BUILD)
    tab.wait(AT_WORK, SLOW)
    tab.follow("form[action$='/cancel'] button")
    tab.wait("document.querySelector('#state .caution')")
    until = time.monotonic() + 10
    while desk.state() != before:
        assert time.monotonic() < until, "something of it stayed"
        time.sleep(0.1)
    assert violations(tab) == []


def workers(desk) -> dict[int, int]:
    """The processes that the desk started to build, and the processor's ticks that each took."""
    found = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            number, words = int(stat.parent.name), stat.read_text().rpartition(")")[2].split()
            command = (stat.parent / "cmdline").read_bytes()
        except OSError:  # ended meanwhile
            continue
        if int(words[1]) == desk.process.pid and b"spawn_main" in command:
            found[number] = int(words[11]) + int(words[12])
    return found


@pytest.mark.skipif(not Path("/proc/self/stat").exists(), reason="no /proc to look up processes in")
def test_a_worker_that_is_killed_is_told_and_the_desk_goes_on(desk, tab, made):
    before = desk.state()
    tab.open(f"{desk.origin}{FORM}&shift=-6")
    tab.follow(BUILD)
    tab.wait(AT_WORK, SLOW)
    for number in workers(desk):
        os.kill(number, signal.SIGKILL)
    tab.wait("document.querySelector('#state .failed')", SLOW)
    assert "signal 9" in tab.words("#state")
    assert violations(tab) == []
    assert tab.run("document.querySelector('#gone').hidden")
    tab.follow("#state a")
    assert tab.run("location.search").endswith("shift=-6")
    assert desk.state() == before


def test_the_desk_itself_ended_is_told_on_the_page_that_waits(desk, tab, made):
    """The last: nothing is asked of this desk any more."""
    tab.open(f"{desk.origin}{FORM}&shift=-7")
    tab.follow(BUILD)
    tab.wait(AT_WORK, SLOW)  # by new processes
    desk.process.send_signal(signal.SIGINT)
    tab.wait("!document.querySelector('#gone').hidden")
    assert desk.process.wait(20) == 0
    assert not [path for path in (desk.folder / "out").iterdir() if "-7" in path.name]

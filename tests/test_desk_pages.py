"""Every page of the desk in a browser: for all eyes and hands, on every screen, from here alone."""

import re
import shutil
from html import unescape
from pathlib import Path
from urllib.parse import urlencode, urljoin, urlsplit

import pytest
from accessibility import violations
from browser import SHIFT, Tab, chromium, find_chromium
from desks import Knock, desk_here
from test_desk_printer import put_gauge

from jiggen.desk.folders import key_of
from jiggen.files import parse_toml
from jiggen.request.plate import words_of
from jiggen.shelf.store import open_shelf
from jiggen.verify.certificate import remember

PROGRAM = find_chromium()
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium found")

PHONE, BENCH, WALL = 390, 1280, 1920
LEAST = 44  # px: a target for a dirty finger, WCAG 2.1, 2.5.5
# What is not led to by a link but by what one types: drawn, faulty, and refused.
TYPED = (
    "/jig?pattern=club-piste&boot=305&ski=84-112",
    "/jig?pattern=club-piste&boot=three&core=wood",
    "/jig?pattern=none&boot=305&ski=112-84&bed=x",
    "/evening?ticket-1=A1&pattern-1=club-pist&boot-1=305&ski_toe-1=three&core-2=wood",
    "/which?pattern=club-piste&boot=305&ski=98%2F96",
    "/which?pattern=club-piste&boot=290&ski=98%2F96",
    "/remount?pattern=club-piste&boot=305&hole=171%2F15.8%0Ax%2F3%0A-131%2F17",
    "/nothing/here",
)
SURVEY = Path(__file__).parent / "data" / "survey.toml"
# What each of these shows depends on what was built and measured.
PAGES = {
    *("/evening", "/remount", "/patterns", "/survey", "/scan", "/printer", "/printer/readings"),
    *("/printed", "/printed/readings", "/which", "/shelf", "/made", "/jig", "/nothing/here"),
}
# Links within a sentence are as high as its line (2.5.5 lets them be); a label ticks its box.
SMALL = """
[...document.querySelectorAll('a, button, input:not([type=hidden]), select, textarea, summary')]
  .filter(e => !(e.matches('a') && getComputedStyle(e).display === 'inline'))
  .map(e => e.matches('[type=checkbox], [type=radio]') ? e.closest('label') ?? e : e)
  .filter(e => e.checkVisibility())
  .map(e => [e, e.getBoundingClientRect()])
  .filter(([e, r]) => r.width && r.right > 0 && (r.width < LEAST - 0.5 || r.height < LEAST - 0.5))
  .map(([e, r]) => `${e.outerHTML.slice(0, 80)} is ${r.width.toFixed()} x ${r.height.toFixed()}`)
""".replace("LEAST", str(LEAST))
BUILD = "document.querySelector('#build button')"
UNFOLD = "document.querySelectorAll('details').forEach(d => d.open = true)"


@pytest.fixture(scope="module")
def desk(built, tmp_path_factory):
    """In a workshop with a jig that is on the shelf, and with a gauge."""
    place = tmp_path_factory.mktemp("Werkstatt im Tal")
    jig = shutil.copytree(built.folder, place / "out" / "jig")
    remember(jig)  # as it was when it was built
    with desk_here(place) as opened, pytest.MonkeyPatch.context() as patch:
        patch.setenv("JIGGEN_PRINTERS", str(place / "printers"))
        put_gauge(gauge := place / "out" / "gauge")
        remember(gauge)
        with open_shelf() as shelf:
            shelf.add(jig)
        yield opened


@pytest.fixture(scope="module")
def tab(desk, tmp_path_factory):
    with chromium(PROGRAM, tmp_path_factory.mktemp("profile")) as opened:
        opened.open(desk.address)
        opened.wait("location.search === ''")  # the token is taken out of the address
        yield opened


def links_of(desk, address: str) -> list[str] | None:
    """Where the links of a page lead to, or None for what is no page."""
    answer = Knock.at(desk, path=address.removeprefix(desk.origin)).send()
    if "text/html" not in answer.headers.get("content-type", ""):
        return None
    links = re.findall(r"<a\b(?![^>]* download)[^>]* href=\"([^\"]*)\"", answer.body.decode())
    return [urljoin(address, unescape(link)).partition("#")[0] for link in links]


def crawled(desk, starts: tuple[str, ...]) -> list[str]:
    """Every page that links lead to; of those that differ in what was typed alone, two."""
    begun = [f"{desk.origin}{start}" for start in starts]
    waiting, found = [*begun], []
    while waiting:
        address = waiting.pop(0)
        alike = [each for each in found if each.split("?")[0] == address.split("?")[0]]
        if address in found or (len(alike) >= 2 and address not in begun):
            continue
        if (links := links_of(desk, address)) is None:
            continue
        found.append(address)
        waiting += [link for link in links if link.startswith(f"{desk.origin}/")]
    return found


def measured(desk) -> tuple[str, ...]:
    """The pages of readings, each with some that are typed, wrong, or contradict one another."""
    plate = words_of(parse_toml(SURVEY.read_text(encoding="utf-8")))
    jig, gauge = (key_of(desk.folder / "out" / name) for name in ("jig", "gauge"))
    some = {"typed": "1", "units": "mm", "r.A~B": "abc"}
    return (
        f"/survey?{urlencode(plate)}",
        f"/survey?{urlencode(plate | {'read.1': '98,7', 'read.2': 'x'})}",
        f"/printer/readings?{urlencode(some | {'gauge': gauge, 'caliper': '7'})}",
        f"/printed/readings?{urlencode(some | {'jig': jig, 'over': '3,6'})}",
    )


@pytest.fixture(scope="module")
def pages(desk):
    found = crawled(desk, ("/", *TYPED, *measured(desk)))
    paths = {urlsplit(page).path for page in found}
    assert paths >= PAGES
    assert {path.split("/")[1] for path in paths if path.count("/") == 2} >= {"made", "shelf"}
    return found


def complaints_of(desk, tab: Tab, address: str, width: int, scheme: str) -> list[str]:
    """What is wrong with a page on a screen; then what cannot be read in the other colours."""
    tab.open(address, width=width, scheme=scheme)
    wrong = [f"asked for {url}" for url in tab.requests if not url.startswith(f"{desk.origin}/")]
    if not address.endswith("/nothing/here"):  # its 404 is complained of, rightly
        wrong += [f"complaint: {words}" for words in tab.complaints]
    tab.run(UNFOLD)
    wrong += violations(tab)
    wrong += tab.run(SMALL)
    for wide in (width, WALL) if width == BENCH else (width,):
        tab.look(wide, scheme=scheme)
        tab.settle()
        over = tab.run("document.documentElement.scrollWidth - innerWidth")
        wrong += [f"{over} px too wide at {wide}"] if over > 0 else []
    tab.look(width, scheme="light" if scheme == "dark" else "dark")
    wrong += violations(tab, "color-contrast")
    return [f"{address} {width} {scheme}: {words}" for words in wrong]


@pytest.mark.parametrize(("width", "scheme"), [(PHONE, "dark"), (BENCH, "light")])
def test_nothing_is_wrong_with_any_page(desk, tab, pages, width, scheme):
    wrong = [words for page in pages for words in complaints_of(desk, tab, page, width, scheme)]
    assert not wrong, "\n".join(wrong)


def test_the_dark_pages_are_dark(tab, pages):
    for scheme, dark in (("light", False), ("dark", True)):
        tab.open(pages[0], scheme=scheme)
        assert (tab.picture("html")[2, 2].mean() < 80) == dark


def test_each_page_is_walked_through_by_the_keyboard(tab, pages):
    """The first stop leads past the menu; Tab comes to everything in the order of the page."""
    for page in pages[:3]:
        tab.open(page)
        tab.press("Tab")
        assert tab.run("document.activeElement.hash") == "#main"
        tab.press("Enter")
        seen = []
        for _ in range(200):
            tab.press("Tab")
            where = tab.run("[...document.querySelectorAll('*')].indexOf(document.activeElement)")
            if where <= (seen[-1] if seen else 0):
                break
            assert tab.run(
                "(s => s.outlineStyle !== 'none' || s.boxShadow !== 'none')"
                "(getComputedStyle(document.activeElement))"
            ), f"{page}: the focus is not seen"
            seen.append(where)
        else:
            raise AssertionError("the keyboard does not come round")
        tab.press("Tab", SHIFT)


def test_pages_are_printed_without_what_is_clicked(tab, pages):
    tab.open(next(page for page in pages if "/jig?" in page))
    assert tab.printed().startswith(b"%PDF")
    tab.look(media="print")
    assert tab.box("nav")[3] == 0
    assert "ISO 11088" in tab.words("main") or "drill" in tab.words("main")


def test_rows_with_fields_come_anew_with_other_rows_alone(desk, tab):
    """What stands in them stays while its neighbours follow; the server's answer is given here."""
    tab.open(f"{desk.origin}/survey")
    rows = "<div id=rows data-part data-same=KEY><input id=one><i id=sum data-part>SUM</i></div>"

    def written(key: str, number: int) -> str:
        return rows.replace("KEY", key).replace("SUM", str(number))

    main = f"<form data-live action=/survey><input id=turn name=turn>{written('a', 1)}</form>"
    tab.run(f"document.querySelector('main').innerHTML = {main!r}")
    for key, number, kept in (("a", 2, "mine"), ("b", 3, "")):
        answer = f"async () => new Response({written(key, number)!r})"
        tab.run(f"document.querySelector('#one').value = 'mine', window.fetch = {answer}, 0")
        tab.fill("#turn", key)
        tab.wait(f"document.querySelector('#sum').textContent === '{number}'")
        assert tab.run("document.querySelector('#one').value") == kept


def test_a_button_too_small_and_words_too_pale_are_found(desk, tab):
    tab.open(f"{desk.origin}/jig?pattern=club-piste&boot=305&ski=84-112")
    tab.run(f"{BUILD}.style.cssText = 'min-height: 20px; height: 20px; padding: 0'")
    tab.run("document.querySelector('h1').style.color = '#bbb'")
    assert len(tab.run(SMALL)) == 1
    assert len(violations(tab, "color-contrast")) == 1

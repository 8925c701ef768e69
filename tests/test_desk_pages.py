"""Every page of the desk in a browser: for all eyes and hands, on every screen, from here alone."""

import pytest
from accessibility import violations
from browser import SHIFT, Tab, chromium, find_chromium
from desks import Knock, desk_here

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
    "/nothing/here",
)
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
LINKS = "[...document.links].filter(a => !a.hasAttribute('download')).map(a => a.href)"
BUILD = "document.querySelector('#build button')"
UNFOLD = "document.querySelectorAll('details').forEach(d => d.open = true)"


@pytest.fixture(scope="module")
def desk(tmp_path_factory):
    with desk_here(tmp_path_factory.mktemp("Werkstatt im Tal")) as opened:
        yield opened


@pytest.fixture(scope="module")
def tab(desk, tmp_path_factory):
    with chromium(PROGRAM, tmp_path_factory.mktemp("profile")) as opened:
        opened.open(desk.address)
        opened.wait("location.search === ''")  # the token is taken out of the address
        yield opened


def is_page(desk, address: str) -> bool:
    answer = Knock.at(desk, path=address.removeprefix(desk.origin)).send()
    return "text/html" in answer.headers.get("content-type", "")


def crawled(desk, tab: Tab, starts: tuple[str, ...]) -> list[str]:
    """Every page that links lead to; of those that differ in what was typed alone, three."""
    waiting, found = [f"{desk.origin}{start}" for start in starts], []
    while waiting:
        address = waiting.pop(0)
        alike = [each for each in found if each.split("?")[0] == address.split("?")[0]]
        if address in found or len(alike) >= 3 or not is_page(desk, address):
            continue
        found.append(address)
        tab.open(address)
        waiting += [
            link.split("#")[0] for link in tab.run(LINKS) if link.startswith(f"{desk.origin}/")
        ]
    return found


@pytest.fixture(scope="module")
def pages(desk, tab):
    found = crawled(desk, tab, ("/", *TYPED))
    assert len(found) > len(TYPED) + 1
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


def test_a_button_too_small_and_words_too_pale_are_found(desk, tab):
    tab.open(f"{desk.origin}/jig?pattern=club-piste&boot=305&ski=84-112")
    tab.run(f"{BUILD}.style.cssText = 'min-height: 20px; height: 20px; padding: 0'")
    tab.run("document.querySelector('h1').style.color = '#bbb'")
    assert len(tab.run(SMALL)) == 1
    assert len(violations(tab, "color-contrast")) == 1

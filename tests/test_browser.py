"""The browser that tests drive: it does what a person does, and notes what a page does."""

import threading
from functools import partial
from http.server import SimpleHTTPRequestHandler, ThreadingHTTPServer

import pytest
from accessibility import axe, violations
from browser import SHIFT, chromium, find_chromium

PROGRAM = find_chromium()
pytestmark = pytest.mark.skipif(PROGRAM is None, reason="no Chromium found")

FORM = """\
<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>Form</title><style>
body { margin: 0; font: 16px sans-serif; color: #111; background: #fff }
@media print { nav { display: none } }
main { padding-top: 3000px }
</style></head><body><nav><a href="#main">Down</a></nav><main id="main"><h1>Form</h1>
<form action="/other.html">
<label for="boot">Boot</label> <input id="boot" name="boot" value="305">
<label for="core">Core</label> <select id="core" name="core"><option>wood<option>metal</select>
<label><input type="checkbox" id="left" name="left"> Left</label>
<label for="file">File</label> <input type="file" id="file">
<button id="send">Send</button></form>
<p><a id="get" href="/part.bin" download="body 1.3mf">Body</a></p>
<p id="said"></p></main><script>
const say = text => { said.textContent += text + ' ' };
boot.addEventListener('input', () => say('boot=' + boot.value));
core.addEventListener('change', () => say(core.value));
file.addEventListener('change', () => say(file.files[0].name));
addEventListener('dragover', e => e.preventDefault());
addEventListener('drop', e => {
  e.preventDefault(); say('dropped ' + e.dataTransfer.files[0].name) });
boot.addEventListener('click', e => say(e.isTrusted ? 'hand' : 'script'));
</script></body></html>
"""
OTHER = "<meta name=viewport content='width=device-width'><title>Other</title>"
FAULTY = """\
<!DOCTYPE html><html><head><title>Faulty</title></head><body><main><h1>A</h1>
<img src="part.bin"><input><p style="color:#bbb;background:#fff">pale</p></main></body></html>
"""


class Quiet(SimpleHTTPRequestHandler):
    def log_message(self, *words):
        pass


@pytest.fixture(scope="module")
def address(tmp_path_factory):
    folder = tmp_path_factory.mktemp("site")
    (folder / "form.html").write_text(FORM, encoding="utf-8")
    (folder / "faulty.html").write_text(FAULTY, encoding="utf-8")
    (folder / "other.html").write_text(OTHER, encoding="utf-8")
    (folder / "part.bin").write_bytes(bytes(range(256)))
    with ThreadingHTTPServer(("127.0.0.1", 0), partial(Quiet, directory=folder)) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_port}"
        server.shutdown()


@pytest.fixture(scope="module")
def tab(tmp_path_factory):
    with chromium(PROGRAM, tmp_path_factory.mktemp("profile")) as opened:
        yield opened


def test_hands_fill_in_a_form_and_send_it(address, tab, tmp_path):
    tab.open(f"{address}/form.html")
    tab.fill("#boot", "31,5é")
    tab.choose("#core", "metal")
    tab.tick("#left")
    tab.tick("#left")
    (tmp_path / "plate.toml").write_text("x")
    tab.give("#file", tmp_path / "plate.toml")
    tab.drop("main", tmp_path / "plate.toml")
    said = tab.words("#said")
    assert said.startswith("hand boot= boot=3 ")
    assert said.endswith("boot=31,5é metal plate.toml dropped plate.toml")
    tab.click("#boot")
    tab.press("Tab")
    assert tab.run("document.activeElement.id") == "core"
    tab.press("Tab", SHIFT)
    assert tab.run("document.activeElement.id") == "boot"
    tab.follow("#send")
    assert tab.run("location.search") == "?boot=31%2C5%C3%A9&core=metal&left=on"
    with pytest.raises(AssertionError, match=r"nothing here is #gone"):
        tab.click("#gone")
    tab.open(f"{address}/form.html")
    with pytest.raises(AssertionError, match="has no glass"):
        tab.choose("#core", "glass")


def test_enter_sends_and_waiting_lasts_over_a_change_of_page(address, tab):
    tab.open(f"{address}/form.html")
    tab.run("setTimeout(() => document.forms[0].submit(), 100), 0")
    assert tab.wait("document.title === 'Other' && location.search") == "?boot=305&core=wood"
    tab.open(f"{address}/form.html")
    tab.click("#boot")
    tab.press("Enter")
    tab.wait("document.title === 'Other'")
    assert tab.wait("document.querySelector('title')") is True
    with pytest.raises(AssertionError, match="not within"):
        tab.wait("document.title === 'Never'", patience=0.2)


def test_files_are_downloaded_under_their_own_name(address, tab, tmp_path):
    tab.browser.keep_downloads(tmp_path / "kept")
    tab.open(f"{address}/form.html")
    for _ in range(2):  # the second replaces the first, and is not called "(1)"
        got = tab.download("#get")
        assert got == tmp_path / "kept" / "body 1.3mf"
        assert got.read_bytes() == bytes(range(256))
    assert [each.name for each in (tmp_path / "kept").iterdir()] == ["body 1.3mf"]


def test_two_tabs_note_what_each_asks_for(address, tab):
    tab.open(f"{address}/form.html")
    second = tab.another()
    second.open(f"{address}/other.html", width=390)
    assert second.run("innerWidth") == 390
    assert tab.run("innerWidth") == 1280
    assert tab.requests == [f"{address}/form.html"]
    assert f"{address}/other.html" in second.requests
    second.run("fetch('/nothing').then(() => 0)")
    assert any("404" in complaint for complaint in second.complaints)
    assert tab.complaints == []
    second.close()
    tab.open(f"{address}/other.html")
    tab.run("alert('sure?')")
    assert tab.complaints == ["asks: sure?"]


def test_print_and_colour_scheme_are_seen(address, tab):
    tab.open(f"{address}/form.html", scheme="dark")
    assert tab.run("matchMedia('(prefers-color-scheme: dark)').matches")
    assert tab.box("nav")[3] > 0
    tab.look(media="print")
    assert tab.box("nav")[3] == 0
    assert tab.printed().startswith(b"%PDF")


def test_what_a_screen_reader_says_is_known(address, tab):
    tab.open(f"{address}/form.html")
    spoken = {(each.role, each.name): each for each in tab.spoken()}
    assert spoken["textbox", "Boot"].value == "305"
    assert spoken["button", "Send"].focusable
    assert not spoken["heading", "Form"].focusable


def test_axe_finds_planted_faults_and_nothing_else(address, tab):
    assert axe()[0] >= (4, 4, 3)
    tab.open(f"{address}/form.html")
    assert violations(tab) == []
    tab.open(f"{address}/faulty.html")
    found = violations(tab)
    assert {line.partition(":")[0] for line in found} == {
        "html-has-lang",
        "image-alt",
        "label",
        "color-contrast",
    }
    assert any("p" in line and "contrast" in line for line in found)

"""A tab of a headless Chromium: what a person does in it, sees, and is told."""

from __future__ import annotations

import base64
import io
import json
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from devtools import PATIENCE, Devtools, devtools, find_chromium
from PIL import Image

__all__ = ["Tab", "chromium", "differs", "find_chromium", "share"]

# Keys that are no character: what the page is told, and the number that Windows gives them
# (learn.microsoft.com, Virtual-Key Codes); Enter also is a carriage return.
KEYS = {
    "Tab": 9,
    "Enter": 13,
    "Escape": 27,
    "Space": 32,
    "End": 35,
    "Home": 36,
    "ArrowLeft": 37,
    "ArrowUp": 38,
    "ArrowRight": 39,
    "ArrowDown": 40,
    "Backspace": 8,
    "Delete": 46,
}
TYPED = {"Enter": "\r", "Space": " "}
SHIFT = 8


class Spoken(NamedTuple):
    """What a screen reader says of one thing on the page."""

    role: str
    name: str
    value: str
    focusable: bool


class Tab:
    """One page, and all it asked for and complained of since it was opened."""

    def __init__(self, browser: Devtools) -> None:
        self.browser = browser
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self._loaded = False
        self._target = browser.ask("Target.createTarget", url="about:blank")["targetId"]
        attached = browser.ask("Target.attachToTarget", targetId=self._target, flatten=True)
        self._session = attached["sessionId"]
        browser.listen(self._session, self._note)
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **params: Any) -> Any:
        return self.browser.ask(method, self._session, **params)

    def another(self) -> Tab:
        """A second tab of the same browser, with its cookies."""
        return Tab(self.browser)

    def close(self) -> None:
        self.browser.ask("Target.closeTarget", targetId=self._target)

    def _note(self, method: str, params: dict[str, Any]) -> None:
        if method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(str(params["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled":
            self.complaints.append(str(params["args"]))
        elif method == "Log.entryAdded":
            self.complaints.append(params["entry"]["text"])
        elif method == "Page.javascriptDialogOpening":
            self.complaints.append(f"asks: {params['message']}")
            self.browser.tell("Page.handleJavaScriptDialog", self._session, accept=True)
        elif method == "Page.loadEventFired":
            self._loaded = True

    # ---- going to a page

    def open(
        self, page: Path | str, width: int = 1280, height: int = 900, scheme: str = "light"
    ) -> None:
        """Load a file or an address until it is whole and drawn; forget what was noted before."""
        self.ask("Page.bringToFront")  # only the tab in front is drawn
        self.look(width, height, scheme)
        self.requests.clear()
        self.complaints.clear()
        self._loaded = False
        self.ask("Page.navigate", url=page.as_uri() if isinstance(page, Path) else page)
        self.loaded()

    def look(
        self, width: int = 1280, height: int = 900, scheme: str = "light", media: str = "screen"
    ) -> None:
        """See the page on another screen, in another colour scheme, or as it is printed."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < 600,
        )
        self.ask("Emulation.setTouchEmulationEnabled", enabled=width < 600, maxTouchPoints=2)
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.ask("Emulation.setEmulatedMedia", media=media, features=features)

    def loaded(self) -> None:
        self.browser.wait(lambda: self._loaded, "the page's loading")
        self.settle()

    def reload(self) -> None:
        self._loaded = False
        self.ask("Page.reload")
        self.loaded()

    def settle(self) -> None:
        """Wait for two frames to be drawn, of the next page if this one leads on at once."""
        frames = "new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))"
        self.wait(f"{frames}.then(() => true)")

    def wait(self, condition: str, patience: float = PATIENCE) -> Any:
        """The value of a JavaScript expression once it is true; the page may change meanwhile."""
        told = f"Promise.resolve({condition}).then(v => v instanceof Node || v)"  # not as {}
        return self.browser.wait(lambda: self._evaluate(told), condition, patience)

    def _evaluate(self, condition: str) -> Any:
        try:
            return self.run(condition)
        except AssertionError:  # between two pages there is nothing to ask
            return None

    # ---- what is seen

    def run(self, script: str) -> Any:
        """The value of a JavaScript expression, a promise's when it is kept."""
        answer = self.ask(
            "Runtime.evaluate", expression=script, returnByValue=True, awaitPromise=True
        )
        assert "exceptionDetails" not in answer, answer["exceptionDetails"]
        return answer["result"].get("value")

    def box(self, selector: str) -> tuple[float, float, float, float]:
        """x, y, width and height of an element, in pixels from the page's corner."""
        found = self.run(
            f"(r => [r.x + scrollX, r.y + scrollY, r.width, r.height])"
            f"({_one(selector)}.getBoundingClientRect())"
        )
        return tuple(found)

    def picture(self, selector: str = "html") -> np.ndarray:
        """What is seen of an element, (height, width, 3) bytes, wherever on the page it is."""
        x, y, width, height = self.box(selector)
        clip = {"x": x, "y": y, "width": width, "height": height, "scale": 1}
        shot = self.ask("Page.captureScreenshot", clip=clip, captureBeyondViewport=True)
        return np.asarray(Image.open(io.BytesIO(base64.b64decode(shot["data"]))).convert("RGB"))

    def words(self, selector: str = "body") -> str:
        """What an element says to the eye, a single space between any two words."""
        return " ".join(self.run(f"{_one(selector)}.innerText").split())

    def printed(self) -> bytes:
        """The PDF that the browser's own printing makes of the page."""
        return base64.b64decode(self.ask("Page.printToPDF", preferCSSPageSize=True)["data"])

    def spoken(self) -> list[Spoken]:
        """All that is told to who does not see the page, in order (the accessibility tree)."""
        nodes = self.ask("Accessibility.getFullAXTree")["nodes"]
        return [_spoken(node) for node in nodes if not node["ignored"]]

    # ---- what is done

    def click(self, selector: str) -> None:
        """Press the left button of the mouse over the middle of an element, and let it go."""
        x, y = self._middle(selector)
        place = {"x": x, "y": y, "button": "left", "clickCount": 1}
        self.ask("Input.dispatchMouseEvent", type="mouseMoved", x=x, y=y)
        self.ask("Input.dispatchMouseEvent", type="mousePressed", buttons=1, **place)
        self.ask("Input.dispatchMouseEvent", type="mouseReleased", **place)

    def follow(self, selector: str) -> None:
        """Click on what leads to another page, and wait until that is whole."""
        self._loaded = False
        self.click(selector)
        self.loaded()

    def press(self, key: str, modifiers: int = 0) -> None:
        """A key that is no character, wherever the keyboard's focus is."""
        typed = {"text": TYPED[key]} if key in TYPED else {}
        name = TYPED[key] if key == "Space" else key
        both = {"key": name, "code": key, "windowsVirtualKeyCode": KEYS[key]}
        both["modifiers"] = modifiers
        self.ask("Input.dispatchKeyEvent", type="keyDown", **both, **typed)
        self.ask("Input.dispatchKeyEvent", type="keyUp", **both)

    def type(self, text: str) -> None:
        """Each sign with its key, wherever the keyboard's focus is."""
        for sign in text:
            self.ask("Input.dispatchKeyEvent", type="keyDown", key=sign, text=sign)
            self.ask("Input.dispatchKeyEvent", type="keyUp", key=sign)

    def fill(self, selector: str, text: str) -> None:
        """Click into a field and type over what is there."""
        self.click(selector)
        chord = {"key": "a", "code": "KeyA", "windowsVirtualKeyCode": 65, "modifiers": 2}
        self.ask("Input.dispatchKeyEvent", type="keyDown", commands=["selectAll"], **chord)
        self.ask("Input.dispatchKeyEvent", type="keyUp", **chord)
        self.press("Backspace")
        self.type(text)

    def choose(self, selector: str, value: str) -> None:
        """An entry of a list; its menu is the system's, so the page is told the outcome only."""
        there = f"[...{_one(selector)}.options].some(o => o.value === {json.dumps(value)})"
        assert self.run(there), f"{selector} has no {value}"
        tell = "['input', 'change'].forEach(k => e.dispatchEvent(new Event(k, {bubbles: true})))"
        self.run(f"(e => {{ e.value = {json.dumps(value)}; {tell}; }})({_one(selector)})")
        self.settle()

    def tick(self, selector: str, on: bool = True) -> None:
        """Click on a box unless it already is as wanted."""
        if self.run(f"{_one(selector)}.checked") != on:
            self.click(selector)
        assert self.run(f"{_one(selector)}.checked") == on, f"{selector} does not change"

    def give(self, selector: str, *files: Path) -> None:
        """Choose files for a field."""
        found = self.ask("Runtime.evaluate", expression=_one(selector))["result"]["objectId"]
        self.ask("DOM.setFileInputFiles", objectId=found, files=[str(file) for file in files])

    def drop(self, selector: str, *files: Path) -> None:
        """Drop files on an element."""
        x, y = self._middle(selector)
        data = {"items": [], "files": [str(file) for file in files], "dragOperationsMask": 1}
        for kind in ("dragEnter", "dragOver", "drop"):
            self.ask("Input.dispatchDragEvent", type=kind, x=x, y=y, data=data)

    def download(self, selector: str, patience: float = PATIENCE) -> Path:
        """Click on what is downloaded; the file once it is whole (`browser.keep_downloads`)."""
        before = len(self.browser.downloads)
        self.click(selector)
        done = self.browser.downloads
        self.browser.wait(lambda: len(done) > before, f"download of {selector}", patience)
        return done[-1]

    def drag(self, selector: str, right: float, down: float) -> None:
        """Drag the mouse from the middle of an element."""
        x, y = self._middle(selector)
        for kind, dx, dy in (
            ("mousePressed", 0, 0),
            ("mouseMoved", right, down),
            ("mouseReleased", right, down),
        ):
            place = {"x": x + dx, "y": y + dy, "button": "left", "buttons": 1, "clickCount": 1}
            self.ask("Input.dispatchMouseEvent", type=kind, **place)
        self.settle()

    def touch(
        self, selector: str, *fingers: tuple[tuple[float, float], tuple[float, float]]
    ) -> None:
        """Lay fingers on an element, each from one place to another, in pixels off its middle."""
        x, y = self._middle(selector)
        for kind, step in (("touchStart", 0), ("touchMove", 1), ("touchEnd", None)):
            points = (
                []
                if step is None
                else [
                    {"x": x + finger[step][0], "y": y + finger[step][1], "id": number}
                    for number, finger in enumerate(fingers)
                ]
            )
            self.ask("Input.dispatchTouchEvent", type=kind, touchPoints=points)
        self.settle()

    def _middle(self, selector: str) -> tuple[float, float]:
        self.run(f"{_one(selector)}.scrollIntoView({{block: 'center'}})")
        x, y, width, height = self.box(selector)
        left, top = self.run("[scrollX, scrollY]")
        return x - left + width / 2, y - top + height / 2


def _one(selector: str) -> str:
    """The first element of a selector, as JavaScript; that there is none is said by name."""
    name = json.dumps(selector)
    missing = f"(() => {{ throw new Error('nothing here is ' + {name}); }})()"
    return f"(document.querySelector({name}) ?? {missing})"


def _spoken(node: dict[str, Any]) -> Spoken:
    role, name, value = (
        str(node.get(key, {}).get("value", "")) for key in ("role", "name", "value")
    )
    properties = {each["name"]: each["value"].get("value") for each in node.get("properties", [])}
    return Spoken(role, name, value, bool(properties.get("focusable", False)))


@contextmanager
def chromium(program: str, profile: Path) -> Iterator[Tab]:
    """A browser with an empty `profile`, and a tab in it; ended when done."""
    with devtools(program, profile) as browser:
        yield Tab(browser)


def share(picture: np.ndarray, colour: tuple[float, float, float]) -> float:
    """How much of a picture is of a hue, however lit."""
    flat = picture.reshape(-1, 3).astype(float)
    lengths = np.linalg.norm(flat, axis=1)
    towards = flat @ (np.array(colour) / np.linalg.norm(colour)) / np.maximum(lengths, 1.0)
    return float(((towards > 0.99) & (lengths > 60)).mean())


def differs(one: np.ndarray, other: np.ndarray) -> float:
    """How much of two pictures is not alike."""
    return float((np.abs(one.astype(int) - other).max(axis=2) > 24).mean())

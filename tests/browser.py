"""A headless Chromium driven by its DevTools protocol over a pipe: no driver, no socket, no port.

The protocol: chromedevtools.github.io/devtools-protocol; over --remote-debugging-pipe the browser
reads JSON messages from file descriptor 3 and writes them to 4, each ended by a null byte.
"""

from __future__ import annotations

import base64
import fcntl
import io
import json
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
FLAGS = (
    "--headless",
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--disable-extensions",
    "--disable-dev-shm-usage",
    "--force-color-profile=srgb",
    "--hide-scrollbars",
    # WebGL drawn by the processor
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
    "--remote-debugging-pipe",
)
PATIENCE = 60.0  # seconds for any one answer
# The browser wants its ends of the pipes as descriptors 3 and 4.
LAUNCH = "import os, sys; os.dup2(int(sys.argv[1]), 3); os.dup2(int(sys.argv[2]), 4); " + (
    "os.execvp(sys.argv[3], sys.argv[3:])"
)


def find_chromium() -> str | None:
    return next(filter(None, map(shutil.which, NAMES)), None)


class Tab:
    """One page, and all it asked for and complained of since it was opened."""

    def __init__(self, to_browser: int, from_browser: int) -> None:
        self._to, self._from = to_browser, from_browser
        self._rest, self._count, self._session = b"", 0, ""
        self.requests: list[str] = []
        self.complaints: list[str] = []
        self._loaded = False

    def attach(self) -> None:
        target = self.ask("Target.createTarget", url="about:blank")["targetId"]
        self._session = self.ask("Target.attachToTarget", targetId=target, flatten=True)[
            "sessionId"
        ]
        for domain in ("Page", "Network", "Runtime", "Log"):
            self.ask(f"{domain}.enable")

    def ask(self, method: str, **params: Any) -> Any:
        self._count += 1
        message: dict[str, Any] = {"id": self._count, "method": method, "params": params}
        if self._session:
            message["sessionId"] = self._session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._to, data) :]
        for answer in self._messages():
            if answer.get("id") == self._count:
                assert "error" not in answer, f"{method}: {answer['error']}"
                return answer["result"]
        raise AssertionError("the browser ended")

    def _messages(self) -> Iterator[dict[str, Any]]:
        until = time.monotonic() + PATIENCE
        while True:
            while b"\0" not in self._rest:
                ready, _, _ = select.select([self._from], [], [], until - time.monotonic())
                assert ready, "the browser does not answer"
                data = os.read(self._from, 1 << 20)
                assert data, "the browser ended"
                self._rest += data
            text, _, self._rest = self._rest.partition(b"\0")
            message = json.loads(text)
            self._note(message.get("method"), message.get("params", {}))
            yield message

    def _note(self, method: str | None, params: dict[str, Any]) -> None:
        if method == "Network.requestWillBeSent":
            self.requests.append(params["request"]["url"])
        elif method == "Runtime.exceptionThrown":
            self.complaints.append(str(params["exceptionDetails"]))
        elif method == "Runtime.consoleAPICalled":
            self.complaints.append(str(params["args"]))
        elif method == "Log.entryAdded":
            self.complaints.append(params["entry"]["text"])
        elif method == "Page.loadEventFired":
            self._loaded = True

    def open(self, path: Path, width: int = 1280, height: int = 900, scheme: str = "light") -> None:
        """Load a file and wait until it is whole and drawn; forget what was noted before."""
        self.ask(
            "Emulation.setDeviceMetricsOverride",
            width=width,
            height=height,
            deviceScaleFactor=1,
            mobile=width < 600,
        )
        self.ask("Emulation.setTouchEmulationEnabled", enabled=width < 600, maxTouchPoints=2)
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        self.ask("Emulation.setEmulatedMedia", features=features)
        self.requests.clear()
        self.complaints.clear()
        self._loaded = False
        self.ask("Page.navigate", url=path.as_uri())
        until = time.monotonic() + PATIENCE
        while not self._loaded:
            assert time.monotonic() < until, "the page does not load"
            self.run("0")
        self.settle()

    def settle(self) -> None:
        """Wait for two frames to be drawn."""
        frames = "new Promise(r => requestAnimationFrame(() => requestAnimationFrame(r)))"
        self.run(f"{frames}.then(() => 0)")

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
            f"(document.querySelector({selector!r}).getBoundingClientRect())"
        )
        return tuple(found)

    def picture(self, selector: str = "html") -> np.ndarray:
        """What is seen of an element, (height, width, 3) bytes, wherever on the page it is."""
        x, y, width, height = self.box(selector)
        clip = {"x": x, "y": y, "width": width, "height": height, "scale": 1}
        shot = self.ask("Page.captureScreenshot", clip=clip, captureBeyondViewport=True)
        return np.asarray(Image.open(io.BytesIO(base64.b64decode(shot["data"]))).convert("RGB"))

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
        self.run(f"document.querySelector({selector!r}).scrollIntoView({{block: 'center'}})")
        x, y, width, height = self.box(selector)
        left, top = self.run("[scrollX, scrollY]")
        return x - left + width / 2, y - top + height / 2


@contextmanager
def chromium(program: str, profile: Path) -> Iterator[Tab]:
    """A browser with an empty `profile`, and a tab in it; ended when done."""
    # Numbers from 10 on, so that none of the ends already is 3 or 4.
    ours, theirs = _high(os.pipe()), _high(os.pipe())
    reads, writes = ours[0], theirs[1]
    command = [sys.executable, "-c", LAUNCH, str(reads), str(writes)]
    command += [program, *FLAGS, f"--user-data-dir={profile}"]
    browser = subprocess.Popen(
        command,
        pass_fds=(reads, writes),
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(reads)
    os.close(writes)
    try:
        tab = Tab(ours[1], theirs[0])
        tab.attach()
        yield tab
        tab._session = ""
        tab.ask("Browser.close")
        browser.wait(10)
    finally:
        browser.kill()
        browser.wait()
        os.close(ours[1])
        os.close(theirs[0])


def _high(pipe: tuple[int, int]) -> tuple[int, int]:
    ends = tuple(fcntl.fcntl(end, fcntl.F_DUPFD_CLOEXEC, 10) for end in pipe)
    for end in pipe:
        os.close(end)
    return ends


def share(picture: np.ndarray, colour: tuple[float, float, float]) -> float:
    """How much of a picture is of a hue, however lit."""
    flat = picture.reshape(-1, 3).astype(float)
    lengths = np.linalg.norm(flat, axis=1)
    towards = flat @ (np.array(colour) / np.linalg.norm(colour)) / np.maximum(lengths, 1.0)
    return float(((towards > 0.99) & (lengths > 60)).mean())


def differs(one: np.ndarray, other: np.ndarray) -> float:
    """How much of two pictures is not alike."""
    return float((np.abs(one.astype(int) - other).max(axis=2) > 24).mean())

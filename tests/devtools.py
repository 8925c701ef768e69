"""A headless Chromium over its DevTools protocol, through a pipe: no driver, no socket, no port.

The protocol: chromedevtools.github.io/devtools-protocol; over --remote-debugging-pipe the browser
reads JSON messages from file descriptor 3 and writes them to 4, each ended by a null byte.
"""

from __future__ import annotations

import fcntl
import json
import os
import select
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

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
Note = Callable[[str, dict[str, Any]], None]


def find_chromium() -> str | None:
    return next(filter(None, map(shutil.which, NAMES)), None)


class Devtools:
    """Asks the browser, and passes on what it tells unasked: to a session's note, or its own."""

    def __init__(self, to_browser: int, from_browser: int) -> None:
        self._to, self._from = to_browser, from_browser
        self._rest, self._count = b"", 0
        self._notes: dict[str, Note] = {"": self._download}
        self._kept: dict[str, tuple[Path, str]] = {}  # downloads that were begun, by their id
        self._folder = Path()
        self.downloads: list[Path] = []  # whole ones, in the order they were done

    def listen(self, session: str, note: Note) -> None:
        self._notes[session] = note

    def tell(self, method: str, session: str = "", **params: Any) -> int:
        """Send a message, and do not wait for its answer; its number."""
        self._count += 1
        message: dict[str, Any] = {"id": self._count, "method": method, "params": params}
        if session:
            message["sessionId"] = session
        data = json.dumps(message).encode() + b"\0"
        while data:
            data = data[os.write(self._to, data) :]
        return self._count

    def ask(self, method: str, session: str = "", **params: Any) -> Any:
        number = self.tell(method, session, **params)
        until = time.monotonic() + PATIENCE
        while True:
            answer = self._next(until)
            assert answer is not None, f"{method}: the browser does not answer"
            if answer.get("id") == number:
                assert "error" not in answer, f"{method}: {answer['error']}"
                return answer["result"]

    def wait(self, holds: Callable[[], Any], what: str, patience: float = PATIENCE) -> Any:
        """The first value of `holds()` that is true, looked at whenever the browser speaks."""
        until = time.monotonic() + patience
        while not (value := holds()):
            assert time.monotonic() < until, f"{what}: not within {patience:g} s"
            self._next(min(until, time.monotonic() + 0.05))
        return value

    def keep_downloads(self, folder: Path) -> None:
        """Put what is downloaded from now on into a folder, under the name the server gave."""
        self._folder = folder
        folder.mkdir(parents=True, exist_ok=True)
        self.ask(
            "Browser.setDownloadBehavior",
            behavior="allowAndName",  # by an id of its own, so that no name is ever changed
            downloadPath=str(folder),
            eventsEnabled=True,
        )

    def _download(self, method: str, params: dict[str, Any]) -> None:
        if method == "Browser.downloadWillBegin":
            self._kept[params["guid"]] = (self._folder, params["suggestedFilename"])
        elif method == "Browser.downloadProgress" and params["state"] == "completed":
            folder, name = self._kept.pop(params["guid"])
            self.downloads.append((folder / params["guid"]).rename(folder / name))

    def _next(self, until: float) -> dict[str, Any] | None:
        """The next message, an unasked one already passed on; None if none came in time."""
        while b"\0" not in self._rest:
            left = max(until - time.monotonic(), 0.0)
            if not select.select([self._from], [], [], left)[0]:
                return None
            data = os.read(self._from, 1 << 20)
            assert data, "the browser ended"
            self._rest += data
        text, _, self._rest = self._rest.partition(b"\0")
        message: dict[str, Any] = json.loads(text)
        if "method" in message and message.get("sessionId", "") in self._notes:
            self._notes[message.get("sessionId", "")](message["method"], message["params"])
        return message


@contextmanager
def devtools(program: str, profile: Path) -> Iterator[Devtools]:
    """A browser with an empty `profile`; ended when done."""
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
        opened = Devtools(ours[1], theirs[0])
        yield opened
        opened.ask("Browser.close")
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

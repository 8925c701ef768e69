"""A desk to knock at: started as a person starts it, and asked what no browser would ask."""

from __future__ import annotations

import hashlib
import os
import re
import signal
import socket
import subprocess
import sys
import threading
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from queue import Queue
from typing import Any
from urllib.parse import parse_qs, urlsplit

import pytest

from jiggen.desk import server
from jiggen.desk.answers import Answers
from jiggen.desk.works import Works
from jiggen.executors import outcome_of

ADDRESS = re.compile(r"http://\S+")
PATIENCE = 20.0  # s


@dataclass(frozen=True)
class Answer:
    """What came back: its code, its headers by name in small letters, its body."""

    code: int
    headers: dict[str, str]
    body: bytes


@dataclass(frozen=True)
class Desk:
    """A desk that is running; `address` is the one it shows, with the token of the run."""

    address: str
    folder: Path
    process: subprocess.Popen[str] | None = None

    @property
    def port(self) -> int:
        return urlsplit(self.address).port or 80

    @property
    def origin(self) -> str:
        return f"http://127.0.0.1:{self.port}"

    @property
    def token(self) -> str:
        return parse_qs(urlsplit(self.address).query)["token"][0]

    def state(self) -> dict[str, str]:
        """Every file of the workshop's folder, by the hash of its bytes."""
        return {
            str(path.relative_to(self.folder)): hashlib.sha256(path.read_bytes()).hexdigest()
            for path in sorted(self.folder.rglob("*"))
            if path.is_file()
        }


@dataclass(frozen=True)
class Knock:
    """A request as it goes over the wire; as it stands, one of the desk's own page."""

    desk: Desk
    method: str = "GET"
    path: str = "/"
    headers: tuple[tuple[str, str], ...] = ()
    body: tuple[bytes, ...] = ()  # in chunks

    @classmethod
    def at(cls, desk: Desk, method: str = "GET", path: str = "/", body: bytes = b"") -> Knock:
        cookie = f"jiggen-{desk.port}={desk.token}"
        headers = [("Host", f"127.0.0.1:{desk.port}"), ("Cookie", cookie)]
        if method == "POST":
            headers += [("Origin", desk.origin), ("Sec-Fetch-Site", "same-origin")]
            headers += [("Content-Type", "application/x-www-form-urlencoded")]
            headers += [("Content-Length", str(len(body)))]
        return cls(desk, method, path, tuple(headers), (body,) if body else ())

    def with_header(self, name: str, *values: str) -> Knock:
        """The same with another header, or with none if there are no `values`."""
        others = [pair for pair in self.headers if pair[0] != name]
        return replace(self, headers=(*others, *((name, value) for value in values)))

    def send(self) -> Answer:
        """Speak, and listen until the server has said all."""
        head = [f"{self.method} {self.path} HTTP/1.1", "Connection: close"]
        head += [f"{name}: {value}" for name, value in self.headers]
        with socket.create_connection(("127.0.0.1", self.desk.port), PATIENCE) as line:
            try:
                line.sendall("\r\n".join([*head, "", ""]).encode("latin-1"))
                for piece in self.body:
                    line.sendall(piece)
            except (BrokenPipeError, ConnectionResetError):
                pass  # it has heard enough
            return _heard(_received(line))


def chunked(pieces: Iterable[bytes]) -> tuple[bytes, ...]:
    """A body whose length nobody knows beforehand (RFC 9112, 7.1)."""
    return (*(b"%x\r\n%b\r\n" % (len(piece), piece) for piece in pieces), b"0\r\n\r\n")


def _received(line: socket.socket) -> bytes:
    heard = b""
    try:
        while more := line.recv(1 << 16):
            heard += more
            if b"text/event-stream" in heard:  # which has no end
                break
    except ConnectionResetError:  # it hung up while we were still speaking
        pass
    return heard


def _heard(text: bytes) -> Answer:
    head, _, body = text.partition(b"\r\n\r\n")
    first, *rest = head.decode("latin-1").split("\r\n")
    pairs = (line.partition(":") for line in rest)
    headers = {name.strip().lower(): value.strip() for name, _, value in pairs}
    return Answer(int(first.split()[1]), headers, body)


@contextmanager
def desk_here(folder: Path) -> Iterator[Desk]:
    """The same server within this process, in a folder, without loading the CAD kernel."""
    shown: Queue[str] = Queue()
    started: list[server.Server] = []

    class Held(server.Server):
        def __init__(self, *args: Any) -> None:
            super().__init__(*args)
            started.append(self)

    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setattr(server, "Server", Held)
        patch.setattr(Works, "warm", lambda self: None)
        patch.setattr(Answers, "ask", lambda self, asker, task, about: outcome_of(task, about))
        serve = partial(server.serve, 0, browser=False, say=shown.put)
        thread = threading.Thread(target=serve, daemon=True)
        thread.start()
        try:
            yield Desk(shown.get(timeout=PATIENCE), folder)
        finally:
            started[0].should_exit = True
            thread.join(PATIENCE)


@contextmanager
def desk_process(folder: Path, *options: str) -> Iterator[Desk]:
    """`jiggen desk --no-browser` as a process in a workshop's folder; stopped as by Ctrl-C."""
    command = [sys.executable, "-m", "jiggen", "desk", "--no-browser", *options]
    process = subprocess.Popen(
        command,
        cwd=folder,
        env=os.environ | {"PYTHONUNBUFFERED": "1"},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,  # so that ^C of the tests is not its own
    )
    assert process.stdout
    said = ""
    try:
        while not (found := ADDRESS.search(said)):
            line = process.stdout.readline()
            assert line, f"the desk did not start:\n{said}"
            said += line
        yield Desk(found[0].rstrip(".,"), folder, process)
        process.send_signal(signal.SIGINT)
        process.wait(PATIENCE)
    finally:
        if process.poll() is None:
            process.kill()
            process.wait()
        process.stdout.close()

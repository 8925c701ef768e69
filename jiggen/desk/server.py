"""The server: on this computer alone, on a free port, until it is stopped."""

import errno
import secrets
import socket
import tempfile
import webbrowser
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from threading import Timer

import uvicorn

from jiggen.desk.guard import LOOPBACK, TOKEN
from jiggen.desk.site import application
from jiggen.desk.works import Works
from jiggen.errors import InputError

USUAL_PORT = 8421  # the same from day to day, so that a bookmark stays good; any free one else
LONGEST_HEAD = 2**20  # bytes: all that was entered is in the address
LET_GO = 1  # s that open pages get when it is stopped
OPENING = """<!DOCTYPE html><meta charset="utf-8"><title>jiggen</title>
<meta http-equiv="refresh" content="0; url={0}"><a href="{0}">Open the desk</a>
"""


class Server(uvicorn.Server):
    """A server that says when it is ready, and lets streams end when it is stopped."""

    def __init__(self, config: uvicorn.Config, ready: Callable[[], None], works: Works) -> None:
        super().__init__(config)
        self._ready, self._works = ready, works

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to serve."""
        await super().startup(sockets)
        self._ready()

    async def shutdown(self, sockets: list[socket.socket] | None = None) -> None:
        """End what waits for news, then everything else."""
        self._works.end_news()
        await super().shutdown(sockets)


def serve(port: int | None, *, browser: bool, say: Callable[[str], None]) -> None:
    """Serve the pages for the current folder until it is stopped by a signal.

    `port` is 0 for any free one, None for the usual one or else any free one.  `say` is called
    with the address to open once it answers.  Raises InputError ``desk.port``.
    """
    listener = _listen(port)
    with listener:
        number, token = listener.getsockname()[1], secrets.token_urlsafe(32)
        address = f"http://{LOOPBACK}:{number}/?{TOKEN}={token}"
        works = Works()
        config = uvicorn.Config(
            application(number, token, works),
            log_level="critical",
            access_log=False,
            server_header=False,
            lifespan="off",
            ws="none",
            http="h11",
            h11_max_incomplete_event_size=LONGEST_HEAD,
            timeout_graceful_shutdown=LET_GO,
        )

        def ready() -> None:
            say(address)
            if browser:
                _open(address)

        try:
            works.warm()
            with suppress(KeyboardInterrupt):
                Server(config, ready, works).run(sockets=[listener])
        finally:
            works.close()


def _listen(port: int | None) -> socket.socket:
    """A socket that only this computer reaches."""
    for number in (port,) if port is not None else (USUAL_PORT, 0):
        listener = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            listener.bind((LOOPBACK, number))
        except OSError as error:
            listener.close()
            if number == USUAL_PORT and port is None and error.errno == errno.EADDRINUSE:
                continue
            message = f"port {number} cannot be used: {error.strerror or error}"
            hint = "Another desk may be running: choose another port, or leave it out."
            raise InputError.of("desk.port", message, key="port", hint=hint) from error
        return listener
    raise AssertionError("a free port was asked for")


def _open(address: str) -> None:
    """Open the browser by a file: the address is not for other people's lists of processes."""
    with tempfile.NamedTemporaryFile("w", suffix=".html", delete=False) as stream:
        stream.write(OPENING.format(address))  # to be read by its owner alone
    path = Path(stream.name)
    with suppress(webbrowser.Error):
        webbrowser.open(path.as_uri())
    Timer(20.0, path.unlink, kwargs={"missing_ok": True}).start()

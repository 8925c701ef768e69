"""The desk in this process, for tests: a client that is let in, in an empty workshop folder."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from starlette.testclient import TestClient

from jiggen.desk.guard import TOKEN
from jiggen.desk.site import application
from jiggen.desk.works import Works

PORT, SECRET = 8421, "a token of the run"
OWN = {"sec-fetch-site": "same-origin"}
"""Of what a page of the desk sends."""


@contextmanager
def let_in(works: Works) -> Iterator[TestClient]:
    """A client of the desk for the current folder."""
    app = application(PORT, SECRET, works)
    with TestClient(app, base_url=f"http://127.0.0.1:{PORT}", follow_redirects=False) as client:
        client.get("/", params={TOKEN: SECRET})
        yield client

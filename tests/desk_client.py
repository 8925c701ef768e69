"""The desk in this process, for tests: a client that is let in, in an empty workshop folder."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import contextmanager
from html import unescape

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


def part(page: str, name: str) -> str:
    """The words of a part of a page by its id, without the marks."""
    found = re.search(rf'<(\w+)[^>]*? id="{re.escape(name)}" data-part.*?>(.*?)</\1>', page, re.S)
    assert found, name
    return unescape(" ".join(re.sub(r"<[^>]+>", " ", found[2]).split()))

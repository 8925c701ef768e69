"""What may speak to the server: this computer's browser, from the server's own pages.

A name that another site lets point to 127.0.0.1 is the same origin to a browser: the check of the
Host header stops that, and nothing else would.
"""

import hmac
from collections.abc import Iterable
from http.cookies import CookieError, SimpleCookie
from urllib.parse import parse_qsl, quote, urlencode

from starlette.datastructures import MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

LOOPBACK = "127.0.0.1"
NAMES = (LOOPBACK, "localhost")
TOKEN = "token"  # of the run, in the address that is opened first
LARGEST_BODY = 64 * 2**20  # bytes
TOO_LARGE = "That is larger than 64 MB."
METHODS = ("GET", "HEAD", "POST")
HEADERS = {
    "content-security-policy": (
        "default-src 'self'; object-src 'none'; base-uri 'none'; form-action 'self'; "
        "frame-ancestors 'none'"
    ),
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "cache-control": "no-store",
}
MOVED = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8">
<meta http-equiv="refresh" content="0; url={0}"><title>jiggen</title></head>
<body><p><a href="{0}">Go on to the desk</a></p></body></html>
"""
REFUSED = """<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>jiggen</title></head>
<body><h1>Not from here</h1><p>{0}</p></body></html>
"""


class Guard:
    """Refuses requests of other hosts, origins and people, and closes the pages to other sites."""

    def __init__(self, app: ASGIApp, port: int, token: str) -> None:
        self.app, self.token = app, token
        self.hosts = {f"{name}:{port}" for name in NAMES}
        if port == 80:  # a browser leaves it out
            self.hosts |= set(NAMES)
        self.cookie = f"jiggen-{port}"  # cookies know no ports

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer one request."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
        if scope["type"] != "http":
            return

        async def closed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
            await send(message)

        answer = self._refusal(scope)
        if answer is None:
            read = 0

            async def bounded() -> Message:
                nonlocal read
                message = await receive()
                read += len(message.get("body", b""))
                if read > LARGEST_BODY:
                    raise HTTPException(413, TOO_LARGE)
                return message

            await self.app(scope, bounded, closed)
            return
        await answer(scope, receive, closed)

    def _refusal(self, scope: Scope) -> ASGIApp | None:
        """What is answered instead of the page; None for a request that is in order."""
        headers = [
            (name.decode("latin-1"), value.decode("latin-1")) for name, value in scope["headers"]
        ]
        hosts = _all(headers, "host")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return _told("The desk answers to 127.0.0.1 and localhost alone.", 403)
        if scope["method"] not in METHODS:
            return _told("Nothing is done by that method.", 405)
        lengths = _all(headers, "content-length")
        if any(not length.isdecimal() or int(length) > LARGEST_BODY for length in lengths):
            return _told(TOO_LARGE, 413)
        if scope["method"] == "POST" and not self._own(headers):
            return _told("That does not come from a page of this desk.", 403)
        query = parse_qsl(scope["query_string"].decode("latin-1"), keep_blank_values=True)
        given = [value for name, value in query if name == TOKEN]
        here = _address(scope["path"], [pair for pair in query if pair[0] != TOKEN])
        if given and scope["method"] != "POST":
            if not self._right(given[-1]):
                return _told("That address is of an earlier run: use the one shown now.", 403)
            # No redirect: a browser that comes from elsewhere would not send the cookie there.
            moved = HTMLResponse(MOVED.format(here))
            moved.set_cookie(self.cookie, self.token, httponly=True, samesite="strict", path="/")
            return moved
        if not self._right(_cookie(_all(headers, "cookie"), self.cookie)):
            words = (
                "Open the address that <b>jiggen desk</b> shows where it was started. "
                f'If you have done so in this browser, <a href="{here}">go on</a>.'
            )
            return HTMLResponse(REFUSED.format(words), 403)
        return None

    def _own(self, headers: list[tuple[str, str]]) -> bool:
        """Whether what changes something comes from a page of this server."""
        sites, origins = _all(headers, "sec-fetch-site"), _all(headers, "origin")
        if sites:
            return all(site in ("same-origin", "none") for site in sites)
        own = {f"http://{host}" for host in self.hosts}
        return bool(origins) and all(origin in own for origin in origins)

    def _right(self, token: str) -> bool:
        return hmac.compare_digest(token.encode(), self.token.encode())


def _all(headers: Iterable[tuple[str, str]], name: str) -> list[str]:
    return [value for found, value in headers if found.lower() == name]


def _cookie(headers: Iterable[str], name: str) -> str:
    try:
        found = SimpleCookie("; ".join(headers)).get(name)
    except CookieError:
        return ""
    return found.value if found else ""


def _address(path: str, query: list[tuple[str, str]]) -> str:
    """An address of this server for a page: never one of another, whatever `path` begins with."""
    asked = f"?{urlencode(query)}" if query else ""
    return f"/{quote(path.lstrip('/'))}{asked}".replace("&", "&amp;")


def _told(words: str, code: int) -> PlainTextResponse:
    return PlainTextResponse(f"{words}\n", code)

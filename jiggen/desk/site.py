"""The pages joined into one application, and what all of them have in common."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Sequence
from dataclasses import dataclass
from functools import cache, wraps
from importlib import import_module
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.applications import Starlette
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from starlette.routing import Route

from jiggen import __version__
from jiggen.cautions import CAUTIONS
from jiggen.desk.guard import Guard
from jiggen.desk.works import Works
from jiggen.errors import Finding, JiggenError
from jiggen.progress import keeping_notes, noted

PAGES = (
    "home",
    "jig",
    "which",
    "evening",
    "run",
    "shelf",
    "survey",
    "scan",
    "remount",
    "made",
    "trial",
    "gauge",
    "patterns",
    "printer",
    "printer_scan",
    "printed",
    "printed_scan",
    "work",
)  # as the menu has them
"""Modules of `jiggen.desk.pages` with their ``ROUTES``, and ``NAV`` where they are in the menu."""
STATIC = {
    "desk.css": ("jiggen.desk", "static/desk.css", "text/css"),
    "desk.js": ("jiggen.desk", "static/desk.js", "text/javascript"),
    "page.css": ("jiggen.report.page", "page.css", "text/css"),
    "view.js": ("jiggen.report.page", "view.js", "text/javascript"),
    "icon.svg": ("jiggen.desk", "static/icon.svg", "image/svg+xml"),
}


@dataclass(frozen=True)
class Place:
    """A page in the menu: its address, its name, and what is done there."""

    address: str
    name: str
    about: str


def application(port: int, token: str, works: Works) -> Guard:
    """The whole server, behind its guard."""
    routes = [Route("/static/{name}", _static)]
    for module in _modules():
        routes += module.ROUTES
    handlers: dict[Any, Any] = {JiggenError: _refused, HTTPException: _missing, 500: _broken}
    app = Starlette(routes=routes, exception_handlers=handlers)
    app.state.works = works
    return Guard(app, port, token)


def works_of(request: Request) -> Works:
    """What is done in the background."""
    works: Works = request.app.state.works
    return works


def page(request: Request, template: str, *, status: int = 200, **values: Any) -> HTMLResponse:
    """A page made of a template and `values`, in the frame that all pages share."""
    shared = {
        "menu": menu(),
        "path": request.url.path,
        "version": __version__,
        "cautions": CAUTIONS,
        "running": [work for work in works_of(request).latest() if not work.over],
    }
    return HTMLResponse(_templates().get_template(template).render(**shared, **values), status)


def go(address: str) -> RedirectResponse:
    """That the browser is to open another page, after something was changed."""
    return RedirectResponse(address, 303)


def posted(
    answer: Callable[[Request, FormData], Response],
) -> Callable[[Request], Awaitable[Response]]:
    """An endpoint for forms that change something: `answer` gets what was sent, in a thread."""

    @wraps(answer)
    async def endpoint(request: Request) -> Response:
        async with request.form() as form:
            return await run_in_threadpool(answer, request, form)

    return endpoint


def attempt(call: Callable[[], Any]) -> tuple[Any, tuple[Finding, ...], tuple[Finding, ...]]:
    """What `call` returns, or None; what is wrong; and what was noted on the way."""
    with keeping_notes():
        try:
            return call(), (), noted()
        except JiggenError as error:
            return None, error.findings, noted()


@cache
def _modules() -> tuple[Any, ...]:
    return tuple(import_module(f"jiggen.desk.pages.{name}") for name in PAGES)


def menu() -> Sequence[Place]:
    """The pages that are in the menu."""
    return [module.NAV for module in _modules() if hasattr(module, "NAV")]


@cache
def _templates() -> Environment:
    made = Environment(
        loader=PackageLoader("jiggen.desk", "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.policies["ext.i18n.trimmed"] = True
    return made


def _static(request: Request) -> Response:
    """A file of the pages' own: of a list, whatever name is asked for."""
    if request.path_params["name"] not in STATIC:
        raise HTTPException(404)
    package, name, kind = STATIC[request.path_params["name"]]
    return Response(files(package).joinpath(name).read_bytes(), media_type=kind)


def _refused(request: Request, error: Exception) -> Response:
    """A page that says what was wrong, in the words of the command line."""
    assert isinstance(error, JiggenError)
    return page(request, "refused.html", status=422, findings=error.findings)


def _missing(request: Request, error: Exception) -> Response:
    assert isinstance(error, HTTPException)
    if error.status_code != 404:
        return PlainTextResponse(f"{error.detail}\n", error.status_code)
    return page(request, "missing.html", status=404)


def _broken(request: Request, error: Exception) -> Response:
    words = " ".join(f"{type(error).__name__}: {error}".split())
    hint = "Nothing is wrong with your input as such. Report it with what you entered."
    finding = Finding("desk.fault", f"internal error: {words}", hint=hint)
    return page(request, "refused.html", status=500, findings=(finding,))

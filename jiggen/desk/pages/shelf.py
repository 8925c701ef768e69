"""The shelf: every print that the workshop owns, found by its jig mark; what was done with it."""

from __future__ import annotations

from typing import Any

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.folders import address_of, find_folder
from jiggen.desk.people import BY, who
from jiggen.desk.site import Place, attempt, go, page, posted
from jiggen.errors import Finding, InputError
from jiggen.marks import read_jig_mark
from jiggen.request.shelf import PAIRS, bush_limit
from jiggen.shelf.events import Doing
from jiggen.shelf.jigs import OwnedJig, warnings_of
from jiggen.shelf.store import open_shelf

NAV = Place("/shelf", "Shelf", "Which jigs there are, which fits the pair on the bench.")
BUTTONS: dict[Doing, str] = {
    "printed": "Printed, or printed again",
    "in use": "Take it into use",
    "new bushes": "New bushes fitted",
    "retired": "Retire it",
}
FORMS: tuple[Doing, ...] = ("drilled", "note")


def shelf(request: Request) -> Response:
    """All prints; the one whose mark was typed."""
    typed = request.query_params.get("mark", "")
    faults: tuple[Finding, ...] = ()
    if typed.strip():
        mark, faults, _ = attempt(lambda: read_jig_mark(typed))
        if not faults:
            with open_shelf() as found:
                jig, faults, _ = attempt(lambda: found.known(mark))
            if jig:
                return go(f"/shelf/{jig.mark}")
    return page(request, "shelf.html", typed=typed, faults=faults, rows=_rows())


def _rows() -> list[tuple[OwnedJig, tuple[Finding, ...]]]:
    with open_shelf() as found:
        jigs = sorted(found.jigs(), key=lambda jig: (jig.state == "retired", jig.pattern, jig.mark))
        limit = bush_limit()
        return [(jig, tuple(warnings_of(jig, limit))) for jig in jigs]


def show(request: Request) -> Response:
    """One print: what it serves, what speaks against it, what was done with it."""
    with open_shelf() as found:
        jig = found.find(_mark(request))
        if jig is None:
            raise HTTPException(404)
        events = found.events(jig.mark)
    return page(
        request,
        "shelf_jig.html",
        jig=jig,
        warnings=tuple(warnings_of(jig, bush_limit())),
        events=events[::-1],
        buttons=BUTTONS,
        there=jig.folder.is_dir(),
        made=address_of(jig.folder),
        by=who(request),
    )


def do(request: Request, form: FormData) -> Response:
    """Note that something was done with a print."""
    mark, doing, by = _mark(request), _word(form, "doing"), _word(form, BY)
    pairs, text = 0, _word(form, "text")
    known = next((one for one in (*BUTTONS, *FORMS) if one == doing), None)
    if known is None:
        raise HTTPException(404)
    if doing == "drilled":
        pairs = PAIRS.read(_word(form, "pairs"))
    with open_shelf() as found:
        found.do(mark, known, by, pairs=pairs, text=text)
    answer = go(f"/shelf/{mark}")
    answer.set_cookie(BY, by.encode("ascii", "ignore").decode(), httponly=True, samesite="strict")
    return answer


def add(request: Request, form: FormData) -> Response:
    """Put a built folder on the shelf, once it is verified again."""
    folder = find_folder(_word(form, "folder"))
    if folder is None:
        raise InputError.of("desk.folder", "there is no such folder any more")
    with open_shelf() as found:
        jig = found.add(folder.path, _word(form, BY) or who(request))
    return go(f"/shelf/{jig.mark}")


def _mark(request: Request) -> str:
    mark: str = request.path_params["mark"]
    return mark


def _word(form: FormData, name: str) -> str:
    value: Any = form.get(name, "")
    return value.strip() if isinstance(value, str) else ""


ROUTES = [
    Route("/shelf", shelf),
    Route("/shelf/add", posted(add), methods=["POST"]),
    Route("/shelf/{mark}", show, methods=["GET"]),
    Route("/shelf/{mark}/do", posted(do), methods=["POST"]),
]

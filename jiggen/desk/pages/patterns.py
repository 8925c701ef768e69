"""Patterns: picked by the picture of their holes; a file that is dropped is read and kept."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import Any
from urllib.parse import urlencode

from markupsafe import Markup
from starlette.datastructures import FormData
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route

from jiggen.desk.dropped import read_dropped
from jiggen.desk.forms import Words, entered
from jiggen.desk.site import go, page, posted
from jiggen.errors import Finding, InputError, JiggenError, printable
from jiggen.files import make_folder, write_whole
from jiggen.pattern.find import LOCAL, known_patterns
from jiggen.pattern.model import Pattern
from jiggen.pattern.read import read_pattern
from jiggen.report.patterns import Listed, boots_of, hole_count, list_patterns, picture
from jiggen.units import counted

TO = "to"  # in the address: the page that a pattern is picked for
PAGES = {"jig": "/jig", "trial": "/trial", "remount": "/remount"}
DRAWINGS = (".dxf", ".svg", ".csv")
WHOSE = {"local": "of this folder", "user": "your own", "shipped": "comes with jiggen"}
_writing = Lock()


@dataclass(frozen=True)
class Card:
    """A pattern to be picked: where that leads, its picture, what it is; or why it cannot be."""

    address: str
    name: str
    about: str
    picture: Markup
    faults: tuple[Finding, ...] = ()


def cards(to: str, words: Words) -> list[Card]:
    """Every pattern that can be found; what was entered otherwise, `words`, is kept."""
    return [_card(one, to, words) for one in list_patterns()]


def _card(one: Listed, to: str, words: Words) -> Card:
    known = one.known
    called = str(known.path) if known.hidden else known.name
    whose = WHOSE[known.origin]
    if one.pattern is None:
        return Card("", known.name, whose, Markup(""), one.findings)
    holes, boots = counted(hole_count(one.pattern.groups), "hole"), boots_of(one.pattern)
    about = f"{known.name}: {holes}, boots {boots}{' mm' if one.pattern.boot else ''}; {whose}"
    address = f"{PAGES[to]}?{_query({**words, 'pattern': [called]})}"
    return Card(address, printable(one.pattern.name), about, _picture(one.pattern))


@lru_cache(maxsize=200)
def _picture(pattern: Pattern) -> Markup:
    """The small drawing; what it is called stands beside it."""
    return Markup(picture(pattern).replace("<svg ", '<svg aria-hidden="true" ', 1))


def _query(words: Mapping[str, Any]) -> str:
    return urlencode(words, doseq=True)


def show(request: Request) -> Response:
    """Every pattern with its picture."""
    return _page(request)


def _page(request: Request, faults: tuple[Finding, ...] = ()) -> Response:
    to, words = _asked(request)
    return page(
        request,
        "patterns.html",
        status=422 if faults else 200,
        cards=cards(to, words),
        faults=faults,
        send=sending(to, words),
        back=f"{PAGES[to]}?{_query(words)}",
    )


def sending(to: str, words: Words) -> str:
    """The address that a pattern file is sent to."""
    return f"/patterns?{_query({TO: [to], **words})}"


def _asked(request: Request) -> tuple[str, dict[str, list[str]]]:
    """The page that a pattern is picked for, and what was entered there."""
    words = entered(request.query_params)
    to = words.pop(TO, ["jig"])[-1]
    return (to if to in PAGES else "jig"), words


def add(request: Request, form: FormData) -> Response:
    """Keep a file that was sent, if it is sound, and go on with it."""
    try:
        name = read_dropped(form, keep)
    except JiggenError as error:
        return _page(request, error.findings)
    to, words = _asked(request)
    return go(f"{PAGES[to]}?{_query({**words, 'pattern': [name]})}")


def keep(path: Path) -> str:
    """Copy a pattern file into ./patterns; returns the name it is called by.

    It replaces none, and takes no known one's name.  Raises InputError with all its faults.
    """
    if path.suffix in DRAWINGS:
        hint = "jiggen import makes a pattern file of it: drop that one."
        message = "it is a drawing or a table, and no pattern file"
        raise InputError.of("desk.drawing", message, where=str(path), hint=hint)
    read_pattern(path)
    name, data = path.stem, path.read_bytes()
    with _writing:
        for known in known_patterns():
            if known.name == name and not known.hidden:
                if known.path.read_bytes() == data:
                    return name
                message = f"there is already a pattern {name}; nothing was written"
                hint = "Give the file another name, and drop it again."
                where = str(known.path)
                raise InputError.of("desk.same-name", message, where=where, hint=hint)
        make_folder(LOCAL)
        write_whole(LOCAL / f"{name}.toml", data)
    return name


ROUTES = [
    Route("/patterns", show, methods=["GET"]),
    Route("/patterns", posted(add), methods=["POST"]),
]

"""HTML in pieces, each text and attribute in them escaped, and the document they make."""

import base64
import hashlib
import re
from collections.abc import Iterable, Sequence
from html import escape
from importlib.resources import files
from xml.etree import ElementTree as ET

from jiggen.files import MARK_NAME

UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")  # no HTML may hold them
VOID = {"img", "input", "link", "meta"}
DRAWN = {"svg", "title", "g", "line", "circle", "polygon", "polyline", "path", "rect", "text"}
NAMESPACE = re.compile(r"^\{[^}]*\}")


class Html(str):
    """Text that is HTML already: it is not escaped again."""

    __slots__ = ()


def node(tag: str, *content: str, **at: str | None) -> Html:
    """An element; of its attributes `at`, None is left out, and ``data_head`` is ``data-head``."""
    names = ((name.rstrip("_").replace("_", "-"), value) for name, value in at.items())
    attributes = (f' {name}="{escape(value)}"' for name, value in names if value is not None)
    inner = (text if isinstance(text, Html) else escape(text, quote=False) for text in content)
    start = f"<{tag}{''.join(attributes)}>"
    return Html(start if tag in VOID else f"{start}{''.join(inner)}</{tag}>")


def section(heading: str, *content: str, **at: str) -> Html:
    """A part of the page under its heading."""
    return node("section", node("h2", heading), *content, **at)


def note(words: str) -> Html:
    """Small print."""
    return node("p", words, class_="note")


def bullets(lines: Iterable[str]) -> Html:
    """A plain list."""
    return node("ul", *(node("li", line) for line in lines))


def table(
    heads: Sequence[str],
    rows: Iterable[Sequence[str]],
    *,
    words: Sequence[int] = (),
    stacked: bool = False,
) -> Html:
    """A table whose first column names the row; columns in `words` hold text, others numbers.

    One that is too wide for a phone is `stacked` there: each row a small block, each cell after
    its column's head.
    """
    columns = [(head, "words" if at in words else None) for at, head in enumerate(heads)]
    titles = (node("th", head, scope="col", class_=kind) for head, kind in columns)
    body = []
    for name, *cells in rows:
        rest = (
            node("td", cell, data_head=head, class_=kind)
            for cell, (head, kind) in zip(cells, columns[1:], strict=True)
        )
        body.append(node("tr", node("th", name, scope="row"), *rest))
    parts = node("thead", node("tr", *titles)), node("tbody", *body)
    return node("table", *parts, class_="stacked" if stacked else None)


def plain_drawing(element: ET.Element) -> Html:
    """The shapes and words of an SVG alone, without names that could meet others on the page."""
    inner = [element.text or ""]
    for child in element:
        if NAMESPACE.sub("", child.tag) in DRAWN:
            inner += [plain_drawing(child), child.tail or ""]
    at = {n: value for n, value in element.attrib.items() if n != "id" and not NAMESPACE.match(n)}
    return node(NAMESPACE.sub("", element.tag), *inner, **at)


def document(title: str, mark: str, scene: str, *body: str) -> str:
    """The whole page with its style, its script and the `scene`, JSON, that the script shows.

    `mark` is that of the record which it is of.
    """
    style, script = (
        (files("jiggen.report.page") / name).read_text(encoding="utf-8")
        for name in ("page.css", "view.js")
    )
    # How a policy names an inline text: W3C, Content Security Policy Level 2, hash sources.
    own_style, own_script = (
        f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode('ascii')}'"
        for text in (style, script)
    )
    # The browser itself refuses whatever is not this page's own, words from a pattern included.
    policy = (
        f"default-src 'none'; img-src data:; style-src {own_style}; script-src {own_script}; "
        "base-uri 'none'; form-action 'none'"
    )
    head = node(
        "head",
        node("meta", charset="utf-8"),
        node("meta", http_equiv="Content-Security-Policy", content=policy),
        node("meta", name="viewport", content="width=device-width, initial-scale=1"),
        node("meta", name=MARK_NAME, content=mark),
        node("title", title),
        node("link", rel="icon", href="data:,"),
        node("style", Html(style)),
    )
    data = Html(scene.replace("<", "\\u003c"))  # within a script, < could end it
    page = node(
        "body",
        node("main", *body),
        node("script", data, type="application/json", id="scene"),
        node("script", Html(script)),
    )
    return UNSEEN.sub("\ufffd", f"<!DOCTYPE html>\n{node('html', head, page, lang='en')}\n")

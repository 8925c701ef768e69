"""The page of a jig as text: only elements and attributes that jiggen writes, each in one way.

Whoever reads another page than a browser shows is deceived: so everything that could add, hide,
move or fetch, and whatever browsers repair, is refused.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from html import unescape

from jiggen.files import MARK_NAME
from jiggen.verify.reading.plan import DrawingError, Ring, number

LARGEST = 64 * 2**20  # bytes: most are the meshes that it shows
MOST = 60_000  # elements
DEEPEST = 30
HEAD = "<!DOCTYPE html>\n"
VOID = {"meta", "link", "img", "input"}
RAW = {"style", "script"}
PEN = {"fill", "stroke", "stroke-width", "stroke-dasharray"}
KNOWN: dict[str, set[str]] = {
    **{tag: set() for tag in ("head", "title", "style", "body", "main", "header", "h1", "h2")},
    **{tag: set() for tag in ("dt", "dd", "strong", "label", "ul", "li", "thead", "tr", "tbody")},
    **{tag: set() for tag in ("figure", "figcaption", "details", "summary", "h3", "code")},
    **{tag: {"class"} for tag in ("p", "dl", "span", "table")},
    "footer": set(),
    "html": {"lang"},
    "meta": {"charset", "content", "http-equiv", "name"},
    "link": {"href", "rel"},
    "div": {"class", "role"},
    "section": {"class", "id"},
    "img": {"alt", "src"},
    "canvas": {"aria-label", "role", "tabindex"},
    "button": {"type", "value"},
    "input": {"checked", "type", "value"},
    "th": {"class", "scope"},
    "td": {"class", "data-head"},
    "a": {"href"},
    "svg": {"aria-hidden", "aria-label", "class", "preserveAspectRatio", "role", "viewBox"},
    "g": PEN,
    "line": {"x1", "y1", "x2", "y2", *PEN},
    "text": {"x", "y", "font-family", "font-size", "text-anchor", *PEN},
    "circle": {"cx", "cy", "r", *PEN},
    "polygon": {"points", *PEN},
    "rect": {"width", "height", "rx"},
    "script": {"id", "type"},
}
ATTRIBUTE = re.compile(r' ([a-zA-Z][a-zA-Z0-9-]*)="([^"<>]*)"')
Row = tuple[str, ...]


@dataclass
class Page:
    """A page: marks of records, what it may run, what it shows; tables with their headings."""

    marks: list[str] = field(default_factory=list)
    policies: list[str] = field(default_factory=list)
    styles: list[str] = field(default_factory=list)
    scripts: list[tuple[str, str]] = field(default_factory=list)
    pictures: list[str] = field(default_factory=list)
    links: list[str] = field(default_factory=list)
    classes: list[str] = field(default_factory=list)
    rings: list[Ring] = field(default_factory=list)
    tables: list[tuple[Row, list[Row]]] = field(default_factory=list)
    words: list[str] = field(default_factory=list)

    @property
    def text(self) -> str:
        """All words that are shown, in order."""
        return " ".join(self.words)


def read_page(data: bytes) -> Page:
    """The page in a file.  Raises DrawingError."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        raise DrawingError("it is not a text in UTF-8") from None
    if not text.startswith(HEAD):
        raise DrawingError("it is not a page as jiggen writes it")
    reader = _Reader()
    for words, tag, raw in _pieces(text[len(HEAD) :]):
        reader.add(words, tag, raw)
    if len(reader.inside) > 1 or reader.count < 10:
        raise DrawingError("it is cut short")
    return reader.page


def _pieces(text: str) -> Iterator[tuple[str, str, str]]:
    """Words, the tag after them, and for style and script what is in it."""
    at = 0
    while (start := text.find("<", at)) >= 0:
        end = text.find(">", start)
        if end < 0:
            raise DrawingError("a tag without an end")
        words, tag, raw = text[at:start], text[start + 1 : end], ""
        at = end + 1
        if (name := tag.partition(" ")[0]) in RAW:
            stop = text.find(f"</{name}>", at)
            if stop < 0:
                raise DrawingError(f"a {name} without an end")
            raw, at = text[at:stop], stop
        yield words, tag, raw
    if text[at:].strip():
        raise DrawingError("words after its end")


class _Reader:
    def __init__(self) -> None:
        self.page = Page()
        self.inside = [""]
        self.count = 0
        self.cell: list[str] | None = None
        self.row: list[str] = []

    def add(self, words: str, tag: str, raw: str) -> None:
        if words.strip():
            self._say(unescape(words))
        self.count += 1
        if self.count > MOST or len(self.inside) > DEEPEST:
            raise DrawingError("more elements than a page has")
        if tag.startswith("/"):
            self._end(tag[1:])
            return
        name, _, rest = tag.partition(" ")
        rest = tag[len(name) :]
        if name not in KNOWN:
            raise DrawingError(f"it holds what jiggen does not write: <{name[:20]}>")
        found = list(ATTRIBUTE.finditer(rest))
        at = {match[1]: unescape(match[2]) for match in found}
        whole = sum(len(match[0]) for match in found) == len(rest) and len(at) == len(found)
        if not whole or not KNOWN[name].issuperset(at):
            raise DrawingError(f"<{name}> has what jiggen does not write")
        self._start(name, at, raw)
        if name not in VOID:
            self.inside.append(name)

    def _say(self, words: str) -> None:
        self.page.words.append(words)
        if self.cell is not None:
            self.cell.append(words)

    def _start(self, name: str, at: dict[str, str], raw: str) -> None:
        page = self.page
        if name == "meta" and at.get("name") == MARK_NAME:
            page.marks.append(at.get("content", ""))
        elif name == "meta" and "http-equiv" in at:
            page.policies.append(f"{at['http-equiv']}: {at.get('content', '')}")
        elif name == "style":
            page.styles.append(raw)
        elif name == "script":
            page.scripts.append((at.get("type", ""), raw))
        elif name == "img":
            page.pictures.append(at.get("src", ""))
        elif name in ("a", "link"):
            page.links.append(at.get("href", ""))
        elif name == "circle":
            x, y, radius = (number(at.get(key, "")) for key in ("cx", "cy", "r"))
            page.rings.append(Ring((x, -y), 2 * radius))
        elif name == "table":
            page.tables.append(((), []))
        elif name == "tr":
            self.row = []
        elif name in ("th", "td"):
            self.cell = []
        if "class" in at:
            page.classes.append(at["class"])

    def _end(self, name: str) -> None:
        if self.inside[-1] != name:
            raise DrawingError(f"</{name[:20]}> where it does not belong")
        self.inside.pop()
        if name in ("th", "td") and self.cell is not None:
            self.row.append(" ".join("".join(self.cell).split()))
            self.cell = None
        elif name == "tr" and self.page.tables:
            _, rows = self.page.tables[-1]
            if "thead" in self.inside:
                self.page.tables[-1] = (tuple(self.row), rows)
            else:
                rows.append(tuple(self.row))

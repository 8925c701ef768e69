"""HTML as a tree, so that every text and attribute is escaped by the library that writes it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType
from xml.etree import ElementTree as ET

Content = ET.Element | str
Attributes = Mapping[str, str]
NONE: Attributes = MappingProxyType({})
UNSEEN = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff]")  # no HTML may hold them


def node(tag: str, *content: Content, at: Attributes = NONE) -> ET.Element:
    """An element with attributes `at` and `content`, texts and elements, in that order."""
    element = ET.Element(tag, {name: _seen(value) for name, value in at.items()})
    for piece in content:
        if isinstance(piece, str):
            _append_text(element, _seen(piece))
        else:
            element.append(piece)
    return element


def _append_text(element: ET.Element, text: str) -> None:
    """Texts between elements belong to the element before them, in this tree."""
    if len(element):
        element[-1].tail = (element[-1].tail or "") + text
    else:
        element.text = (element.text or "") + text


def _seen(text: str) -> str:
    return UNSEEN.sub("\ufffd", text)


def classed(tag: str, name: str, *content: Content) -> ET.Element:
    """An element of the class `name`."""
    return node(tag, *content, at={"class": name})


def section(heading: str, *content: Content) -> ET.Element:
    """A part of the page under its heading."""
    return node("section", node("h2", heading), *content)


def bullets(lines: Iterable[Content]) -> ET.Element:
    """A plain list."""
    return node("ul", *(node("li", line) for line in lines))


def table(
    heads: Sequence[str],
    rows: Iterable[Sequence[Content]],
    *,
    words: Sequence[int] = (),
    stacked: bool = False,
) -> ET.Element:
    """A table whose first column names the row; columns in `words` hold text, others numbers.

    One that is too wide for a phone is `stacked` there: each row a small block, each cell after
    its column's head.
    """
    kinds = [{"class": "words"} if column in words else {} for column in range(len(heads))]
    columns = list(zip(heads, kinds, strict=True))
    titles = (node("th", head, at={"scope": "col", **kind}) for head, kind in columns)
    body = []
    for name, *cells in rows:
        rest = (
            node("td", cell, at={"data-head": head, **kind})
            for cell, (head, kind) in zip(cells, columns[1:], strict=True)
        )
        body.append(node("tr", node("th", name, at={"scope": "row"}), *rest))
    kind = {"class": "stacked"} if stacked else NONE
    return node("table", node("thead", node("tr", *titles)), node("tbody", *body), at=kind)


def written(root: ET.Element) -> str:
    """The tree as an HTML document."""
    return "<!DOCTYPE html>\n" + ET.tostring(root, encoding="unicode", method="html") + "\n"

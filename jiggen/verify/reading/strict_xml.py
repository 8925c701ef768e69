"""XML of which every element and attribute must be on a list; its parser is bounded.

No document types, so no entities; no comments, no processing instructions, no encoding but
UTF-8: one text that all readers read alike.
"""

from __future__ import annotations

import codecs
from collections.abc import Callable, Mapping, Set
from dataclasses import dataclass, field
from xml.parsers import expat

SHOWN = 60  # characters of a foreign name that a message quotes
MOST_ELEMENTS = 500_000  # a jig's model has 45 000
LANGUAGE = "http://www.w3.org/XML/1998/namespace}lang"


class XMLError(ValueError):
    """Not well formed, or more than a reader should be given."""


class ForeignError(XMLError):
    """Well formed, but with something in it that does not belong there."""


@dataclass(frozen=True)
class Form:
    """What an element may have: attributes, elements inside (least and most), words."""

    needed: Set[str] = frozenset()
    others: Set[str] = frozenset()
    inside: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    words: bool = False


def read_strictly(
    data: bytes,
    spaces: Mapping[str | None, str],
    forms: Mapping[str, Form],
    begin: Callable[[str, dict[str, str]], None],
    words: Callable[[str], None] | None = None,
) -> None:
    """Call `begin` for each element's name and attributes, `words` for text that may be there.

    `spaces` are the namespaces that may be declared, by prefix; elements are in the one without.
    `forms` are by the elements' names; that of "" holds the outermost.
    Raises XMLError, ForeignError.
    """
    if data.startswith(codecs.BOM_UTF8):
        raise ForeignError("a byte-order mark")
    core = spaces[None] + "}"
    stack: list[tuple[str, Form, dict[str, int]]] = [("", forms[""], {})]
    seen = 0

    def start(full: str, attributes: dict[str, str]) -> None:
        nonlocal seen
        seen += 1
        if seen > MOST_ELEMENTS:
            raise XMLError(f"more than {MOST_ELEMENTS} elements")
        name = full.removeprefix(core)
        holder, around, counts = stack[-1]
        if name not in around.inside or not full.startswith(core):
            where = f" in <{holder}>" if holder else ""
            raise ForeignError(f"an element <{_shown(full, core)}>{where}")
        counts[name] = counts.get(name, 0) + 1
        if counts[name] > around.inside[name][1]:
            raise ForeignError(f"more than {around.inside[name][1]} <{name}> in <{holder}>")
        form = forms[name]
        if attributes.keys() != form.needed:
            for key in attributes:
                if key not in form.needed and key not in form.others:
                    raise ForeignError(f"an attribute {_shown(key, core)!r} of <{name}>")
            if lacking := form.needed - attributes.keys():
                raise XMLError(f"<{name}> lacks its {min(lacking)!r}")
        stack.append((name, form, {}))
        begin(name, attributes)

    def stop(_: str) -> None:
        name, form, counts = stack.pop()
        for inner, (least, _most) in form.inside.items():
            if counts.get(inner, 0) < least:
                raise XMLError(f"<{name}> lacks its <{inner}>")

    def text(found: str) -> None:
        name, form, _ = stack[-1]
        if form.words and words:
            words(found)
        elif found.strip(" \t\r\n"):
            raise ForeignError(f"words in <{name}>")

    def declare(prefix: str | None, uri: str) -> None:
        if spaces.get(prefix) != uri:
            raise ForeignError(f"a namespace {_shown(uri or '', core)!r}")

    def head(_: str, encoding: str | None, standalone: int) -> None:
        if (encoding or "utf-8").lower() != "utf-8" or standalone == 0:
            raise ForeignError("an encoding that is not UTF-8, or a declaration outside of it")

    parser = expat.ParserCreate("utf-8", namespace_separator="}")
    parser.buffer_text = True
    parser.StartElementHandler, parser.EndElementHandler = start, stop
    parser.CharacterDataHandler, parser.XmlDeclHandler = text, head
    parser.StartNamespaceDeclHandler = declare
    parser.StartDoctypeDeclHandler = _refuse("a document type")
    parser.CommentHandler = _refuse("a comment")
    parser.ProcessingInstructionHandler = _refuse("a processing instruction")
    parser.StartCdataSectionHandler = _refuse("a CDATA section")
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        where = f"line {error.lineno}, column {error.offset + 1}"
        raise XMLError(f"not well formed: {expat.ErrorString(error.code)}, {where}") from None


def _refuse(what: str) -> Callable[..., None]:
    def refuse(*_: object) -> None:
        raise ForeignError(what)

    return refuse


def _shown(name: str, core: str) -> str:
    name = name.removeprefix(core).replace("}", " ")
    return name if len(name) <= SHOWN else f"{name[:SHOWN]}…"

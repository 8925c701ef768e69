"""An SVG text as a tree whose elements know their line; document types are refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from xml.parsers import expat

from jiggen.errors import InputError
from jiggen.importing.model import fault

SVG = "http://www.w3.org/2000/svg"
DEEPEST = 500  # elements within elements; no drawing comes near it
_STYLE = re.compile(r"([\w-]+)\s*:\s*([^;]*)")


@dataclass(eq=False)
class Node:
    """One element: local name (empty for another vocabulary's), attributes, line, children.

    Attributes of other vocabularies keep their local names only where SVG has none of that
    name: ``label`` and ``href`` are read.
    """

    tag: str
    attributes: dict[str, str]
    line: int
    children: list[Node] = field(default_factory=list)
    text: str = ""

    def get(self, name: str) -> str:
        """An attribute, empty when it is not there."""
        return self.attributes.get(name, "")

    @property
    def style(self) -> dict[str, str]:
        """The declarations of its own ``style`` attribute."""
        found = _STYLE.findall(self.get("style"))
        return {name.lower(): value.strip() for name, value in found}

    def walk(self) -> Iterator[Node]:
        """The element and all within it."""
        stack = [self]
        while stack:
            node = stack.pop()
            yield node
            stack += reversed(node.children)


def read_tree(data: bytes, file: str) -> Node:
    """The root of an SVG file's bytes.

    Raises InputError ``import.doctype`` for a file with a DOCTYPE, which alone can declare
    entities, and ``import.no-svg`` for what is no well-formed SVG.
    """
    reader = _Reader(file)
    try:
        reader.parser.Parse(data, True)
    except expat.ExpatError as error:
        said = f"not well formed: {expat.ErrorString(error.code)}"
        where = f"{file}:{error.lineno}:{error.offset + 1}"
        raise InputError(fault("no-svg", said, where, hint=NO_SVG)) from None
    root = reader.root
    if root is None or root.tag != "svg":
        raise InputError(fault("no-svg", "not an SVG drawing", file, hint=NO_SVG))
    return root


NO_SVG = "Save it from the drawing program as plain SVG."


class _Reader:
    def __init__(self, file: str) -> None:
        self.root: Node | None = None
        self._file = file
        self._open: list[Node] = []
        self.parser = expat.ParserCreate(namespace_separator="}")
        self.parser.buffer_text = True
        self.parser.StartDoctypeDeclHandler = self._doctype
        self.parser.StartElementHandler = self._start
        self.parser.EndElementHandler = self._end
        self.parser.CharacterDataHandler = self._text

    def _doctype(self, _name: str, _system: str | None, _public: str | None, _own: bool) -> None:
        raise InputError(
            fault(
                "doctype",
                "the file has a DOCTYPE, which is not read: it can make a small file endless",
                f"{self._file}:{self.parser.CurrentLineNumber}",
                hint="Save it as plain SVG, or take out the lines from <!DOCTYPE to its >.",
            )
        )

    def _start(self, name: str, attributes: dict[str, str]) -> None:
        if len(self._open) >= DEEPEST:
            raise InputError(
                fault("no-svg", "elements lie too deep in one another", self._file, hint=NO_SVG)
            )
        space, _, tag = name.rpartition("}")
        own = {key.rpartition("}")[2]: value for key, value in attributes.items() if "}" in key}
        own |= {key: value for key, value in attributes.items() if "}" not in key}
        line = self.parser.CurrentLineNumber
        node = Node(tag if space in ("", SVG) else "", own, line)
        if self._open:
            self._open[-1].children.append(node)
        else:
            self.root = node
        self._open.append(node)

    def _end(self, _name: str) -> None:
        self._open.pop()

    def _text(self, words: str) -> None:
        if self._open:
            self._open[-1].text += words

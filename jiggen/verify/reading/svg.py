"""The layout's SVG file: only what jiggen writes, so that no viewer can see it another way.

Nothing may move, style, hide or fetch: elements and attributes are those of the table below.
"""

from dataclasses import dataclass, field
from xml.parsers import expat

from jiggen.files import MARK_NAME
from jiggen.verify.reading.plan import MOST, DrawingError, Plan, Ring, Stroke, Word, number

_PEN = {"fill", "stroke", "stroke-width", "stroke-dasharray"}
_FONT = {"font-family", "font-size", "text-anchor"}
KNOWN = {
    "svg": {"xmlns", "width", "height", "viewBox"},
    "title": set[str](),
    "metadata": set[str](),
    "g": {"id", *_PEN},
    "line": {"x1", "y1", "x2", "y2", *_PEN},
    "circle": {"cx", "cy", "r", *_PEN},
    "polygon": {"points", *_PEN},
    "text": {"x", "y", *_PEN, *_FONT},
}
WITHIN = {"svg": {""}, "g": {"svg"}, "metadata": {"svg"}, "title": {"svg", "circle"}}
SPACE = "http://www.w3.org/2000/svg"
DEEPEST = 5
LONGEST = 2000  # characters of an attribute, and of words


def read_svg_plan(data: bytes) -> Plan:
    """The drawing in an SVG file, its y turned upwards.  Raises DrawingError."""
    parser = expat.ParserCreate("UTF-8")
    parser.buffer_text = True
    reader = _Reader()
    parser.StartDoctypeDeclHandler = reader.refuse
    parser.ProcessingInstructionHandler = reader.refuse
    parser.StartElementHandler = reader.start
    parser.EndElementHandler = reader.end
    parser.CharacterDataHandler = reader.text
    try:
        parser.Parse(data, True)
    except expat.ExpatError as error:
        message = f"not well formed: {expat.ErrorString(error.code)}, line {error.lineno}"
        raise DrawingError(message) from None
    return reader.plan()


@dataclass
class _Reader:
    inside: list[str] = field(default_factory=lambda: [""])
    layer: str = ""
    count: int = 0
    unit: tuple[float, float] = (0.0, 0.0)
    rings: list[Ring] = field(default_factory=list)
    strokes: list[Stroke] = field(default_factory=list)
    words: list[Word] = field(default_factory=list)
    marks: list[str] = field(default_factory=list)
    place: tuple[float, float] = (0.0, 0.0)
    read: str = ""

    def refuse(self, *_: object) -> None:
        raise DrawingError("it holds what jiggen does not write: a declaration")

    def start(self, name: str, at: dict[str, str]) -> None:
        self.count += 1
        if self.count > MOST or len(self.inside) > DEEPEST:
            raise DrawingError("more shapes, or more within one another, than a layout has")
        parents = WITHIN.get(name, {"g"})
        if name not in KNOWN or self.inside[-1] not in parents:
            raise DrawingError(f"it holds what jiggen does not draw: <{name[:40]}>")
        for key, value in at.items():
            if key not in KNOWN[name] or len(value) > LONGEST or "url" in value:
                raise DrawingError(f"<{name}> has what jiggen does not write: {key[:40]}")
        self.inside.append(name)
        self.read = ""
        if name == "svg":
            self._frame(at)
        elif name == "g":
            self.layer = at.get("id", "")
        elif name == "line":
            x1, y1, x2, y2 = (number(at.get(key, "")) for key in ("x1", "y1", "x2", "y2"))
            self.strokes.append(Stroke((x1, -y1), (x2, -y2), self.layer))
        elif name == "circle":
            x, y, radius = (number(at.get(key, "")) for key in ("cx", "cy", "r"))
            self.rings.append(Ring((x, -y), 2 * radius))
        elif name == "text":
            self.place = (number(at.get("x", "")), -number(at.get("y", "")))

    def _frame(self, at: dict[str, str]) -> None:
        box = at.get("viewBox", "").split(" ")
        if at.get("xmlns") != SPACE or len(box) != 4:
            raise DrawingError("it is not an SVG drawing as jiggen writes it")
        sizes = [at.get(key, "") for key in ("width", "height")]
        if not all(size.endswith("mm") for size in sizes):
            raise DrawingError(f"its size is not in mm: {sizes[0][:20]!r} by {sizes[1][:20]!r}")
        spans = [number(part) for part in box][2:]
        if min(spans) <= 0:
            raise DrawingError("its view box is empty")
        wide, high = (number(size[:-2]) / span for size, span in zip(sizes, spans, strict=True))
        self.unit = (wide, high)

    def text(self, words: str) -> None:
        if words.strip() and self.inside[-1] not in ("title", "metadata", "text"):
            raise DrawingError("it holds words that are not drawn")
        self.read += words
        if len(self.read) > LONGEST:
            raise DrawingError("it holds words without end")

    def end(self, name: str) -> None:
        self.inside.pop()
        words, self.read = self.read, ""
        if name == "text":
            self.words.append(Word(self.place, words))
        elif name == "title" and self.inside[-1] == "circle" and self.rings:
            ring = self.rings[-1]
            self.rings[-1] = Ring(ring.at, ring.diameter, words)
        elif name == "metadata" and words.startswith(f"{MARK_NAME} "):
            self.marks.append(words.removeprefix(f"{MARK_NAME} "))
        elif name == "g":
            self.layer = ""

    def plan(self) -> Plan:
        return Plan(
            self.unit,
            tuple(self.marks),
            tuple(self.rings),
            tuple(self.strokes),
            tuple(self.words),
        )
